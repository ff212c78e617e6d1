//! `KinshipService`.

use crate::api::decode::Form;
use crate::api::encode::{day_between, id, label, sex};
use crate::api::groups::kin;
use crate::api::{Api, caller, status};
use crate::model::kinship::{Ancestor, Compared, Comparison, Family, Relative};
use crate::records::kinship as rules;
use holt_audit::kinship::Bounded;
use holt_proto::v1;
use holt_proto::v1::kinship_service_server::KinshipService;
use tonic::{Request, Response, Status};

/// Generations that are told where nobody says how many.
const GENERATIONS: u32 = 3;

pub(super) const fn figure(bounded: Bounded) -> v1::KinshipFigure {
    v1::KinshipFigure {
        value: bounded.figure.value,
        lowest: bounded.lowest,
        highest: bounded.highest,
        known: bounded.figure.known,
        supposed: bounded.figure.supposed,
    }
}

fn relative(relative: Relative) -> v1::KinRelative {
    v1::KinRelative {
        animal: Some(label(relative.animal)),
        kin: kin(relative.kin).into(),
        share: relative.share,
        sex: sex(relative.sex).into(),
        born_on: relative.born.map(|(first, last)| day_between(first, last)),
        kinship: Some(figure(relative.kinship)),
    }
}

fn ancestor(ancestor: Ancestor) -> v1::Ancestor {
    v1::Ancestor {
        animal: Some(label(ancestor.animal)),
        parent_of: id(ancestor.parent_of),
        kin: kin(ancestor.kin).into(),
        share: ancestor.share,
        generation: i32::try_from(ancestor.generation).unwrap_or(i32::MAX),
        founder: ancestor.founder,
    }
}

fn family(family: Family) -> v1::GetKinResponse {
    v1::GetKinResponse {
        animal: Some(label(family.animal)),
        inbreeding: Some(figure(family.inbreeding)),
        relatives: family.relatives.into_iter().map(relative).collect(),
        ancestors: family.ancestors.into_iter().map(ancestor).collect(),
        more_relatives: family.more_relatives,
        assumption: family.assumption,
        left_out: family.left_out,
    }
}

fn comparison(comparison: Comparison) -> v1::CompareKinshipResponse {
    let member = |one: Compared| v1::KinshipMember {
        animal: Some(label(one.animal)),
        inbreeding: Some(figure(one.inbreeding)),
        mean_kinship: one.mean_kinship,
    };
    let pairs = comparison.pairs.into_iter().map(|(first, second, kinship)| v1::KinshipPair {
        first_id: id(first),
        second_id: id(second),
        kinship: Some(figure(kinship)),
    });
    v1::CompareKinshipResponse {
        members: comparison.members.into_iter().map(member).collect(),
        pairs: pairs.collect(),
        gene_diversity: comparison.gene_diversity,
        assumption: comparison.assumption,
        left_out: comparison.left_out,
    }
}

#[tonic::async_trait]
impl KinshipService for Api {
    async fn get_kin(
        &self,
        request: Request<v1::GetKinRequest>,
    ) -> Result<Response<v1::GetKinResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let animal = form.animal("animal", &asked.animal);
        let generations = match u32::try_from(asked.generations) {
            Ok(0) => GENERATIONS,
            Ok(generations @ 1..=10) => generations,
            _ => {
                form.wrong("generations", format!("is {}", asked.generations), "give 1 to 10");
                GENERATIONS
            }
        };
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let told = rules::family(&self.records, &caller, &site, &animal, generations, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(family(told)))
    }

    async fn compare_kinship(
        &self,
        request: Request<v1::CompareKinshipRequest>,
    ) -> Result<Response<v1::CompareKinshipResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let group = form.text("group", &asked.group, 0..=100);
        let animals = if group.is_empty() { form.animals("animals", &asked.animals) } else { Vec::new() };
        if !group.is_empty() && !asked.animals.is_empty() {
            form.wrong("animals", "are given together with a group", "give animals or a group");
        }
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let told = rules::compare(&self.records, &caller, &site, &animals, &group, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(comparison(told)))
    }
}
