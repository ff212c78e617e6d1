//! `CorrectionService`.

use crate::api::decode::{Form, LEAST_SHARE};
use crate::api::{Api, animals, assessments, caller, encode, groups, litters, papers, status};
use crate::model::fact::FactKind;
use crate::model::kinship::Known;
use crate::model::litter::NewParents;
use crate::records::corrections::parentage::{self, Found};
use crate::records::corrections::{self, Asked, Change, Code, Corrected};
use crate::records::mistakes;
use holt_audit::terms::Mass;
use holt_proto::notation::mark;
use holt_proto::v1;
use holt_proto::v1::correction_service_server::CorrectionService;
use tonic::{Request, Response, Status};

pub(super) fn change(form: &mut Form, wire: Option<v1::FactChange>) -> Change {
    let Some(wire) = wire else {
        form.wrong("change", "is missing", "give the correct value");
        return Change::default();
    };
    let born = form.born("change.born_on", wire.born_on, false).map(|born| (born.first, born.last));
    let code = wire.code.as_ref().map(|code| form.text("change.code", code, 1..=100));
    let share = wire.share.map(|share| form.number("change.share", share, LEAST_SHARE..=1.0, ""));
    let ended = form.moment("change.ended", wire.ended_at, wire.ended_on);
    if wire.still_lasts && ended.is_some() {
        form.wrong("change.still_lasts", "is given together with an end", "give one of the two");
    }
    let loan_until = form.optional_day("change.loan_until", wire.loan_until);
    if wire.without_loan_until && loan_until.is_some() {
        form.wrong("change.without_loan_until", "is given together with a last day", "give one of the two");
    }
    if wire.accepted == Some(true) {
        form.wrong(
            "change.accepted",
            "is true",
            "accept the reading itself; here only false is possible, which withdraws the acceptance",
        );
    }
    let animal = |form: &mut Form, field: &str, text: &Option<String>| {
        text.as_ref().map(|text| form.animal(field, text))
    };
    Change {
        born,
        estimated: wire.born_estimated,
        sex: wire.sex.map(|sex| form.sex("change.sex", sex)),
        parent: animal(form, "change.parent", &wire.parent),
        share,
        known_by: wire.known_by.map(|by| animals::known_by(form, "change.known_by", by)),
        parents_because: wire.parents_because.map(|why| form.text("change.parents_because", &why, 1..=500)),
        mass: wire.mass.map(|mass| Mass::from_mg(mass.milligrams)),
        accepted: wire.accepted,
        animal: animal(form, "change.animal", &wire.animal),
        enclosure: wire.enclosure.map(|name| form.text("change.enclosure", &name, 1..=100)),
        code: code.map(|text| {
            let read = mark::parse(&text);
            let transponder = read
                .map(|sound| (sound.code, sound.issuer.to_string()))
                .map_err(|error| (error.to_string(), error.mend().to_owned()));
            Code { text, transponder }
        }),
        owner: wire.owner.map(|owner| form.text("change.owner", &owner, 1..=200)),
        source: wire.source.map(|source| animals::source(form, "change.source", source)),
        source_name: wire.source_name.map(|name| form.text("change.source_name", &name, 0..=200)),
        source_country: wire
            .source_country
            .map(|country| papers::country(form, "change.source_country", &country)),
        destination: wire.destination.map(|to| animals::destination(form, "change.destination", to)),
        destination_name: wire
            .destination_name
            .map(|name| form.text("change.destination_name", &name, 0..=200)),
        destination_country: wire
            .destination_country
            .map(|country| papers::country(form, "change.destination_country", &country)),
        found_on: form.optional_day("change.found_on", wire.found_on),
        loan_until: if wire.without_loan_until { Some(None) } else { loan_until.map(Some) },
        loan_terms: wire.loan_terms.map(|terms| form.text("change.loan_terms", &terms, 0..=1000)),
        role: wire.role.map(|role| groups::role_of(form, "change.role", role)),
        place_on_body: wire.place_on_body.map(|place| form.text("change.place_on_body", &place, 0..=100)),
        manner: wire.manner.map(|manner| animals::manner(form, "change.manner", manner)),
        note: wire.note.map(|note| form.text("change.note", &note, 0..=500)),
        findings: (!wire.findings.is_empty())
            .then(|| assessments::findings(form, "change.findings", &wire.findings)),
        paper: wire.paper.map(|paper| papers::content(form, "change.paper", &paper)),
        moment: form.moment("change.happened", wire.happened_at, wire.happened_on),
        ended: if wire.still_lasts { Some(None) } else { ended.map(Some) },
    }
}

fn told(corrected: Corrected) -> (Vec<v1::Fact>, i64, Vec<v1::Concern>) {
    let facts = corrected.facts.into_iter().map(encode::fact).collect();
    (facts, corrected.version, corrected.concerns.into_iter().map(encode::concern).collect())
}

#[tonic::async_trait]
impl CorrectionService for Api {
    async fn correct_fact(
        &self,
        request: Request<v1::CorrectFactRequest>,
    ) -> Result<Response<v1::CorrectFactResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("CorrectionService/CorrectFact", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let wanted = Asked {
            animal: form.animal("animal", &asked.animal),
            fact: form.uuid("fact_id", &asked.fact_id),
            because: form.text("because", &asked.because, 1..=500),
            change: Some(change(&mut form, asked.change)),
            version: asked.version,
        };
        form.done()?;
        let corrected = corrections::correct(&self.records, &caller, &write, &site, &wanted)
            .await
            .map_err(status::from)?;
        let (facts, version, concerns) = told(corrected);
        Ok(Response::new(v1::CorrectFactResponse { facts, version, concerns }))
    }

    async fn withdraw_fact(
        &self,
        request: Request<v1::WithdrawFactRequest>,
    ) -> Result<Response<v1::WithdrawFactResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("CorrectionService/WithdrawFact", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let wanted = Asked {
            animal: form.animal("animal", &asked.animal),
            fact: form.uuid("fact_id", &asked.fact_id),
            because: form.text("because", &asked.because, 1..=500),
            change: None,
            version: asked.version,
        };
        form.done()?;
        let corrected = corrections::correct(&self.records, &caller, &write, &site, &wanted)
            .await
            .map_err(status::from)?;
        let (facts, version, concerns) = told(corrected);
        Ok(Response::new(v1::WithdrawFactResponse { facts, version, concerns }))
    }

    async fn set_parents(
        &self,
        request: Request<v1::SetParentsRequest>,
    ) -> Result<Response<v1::SetParentsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("CorrectionService/SetParents", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        if asked.dam.is_empty() && asked.sires.is_empty() {
            form.wrong("dam", "is missing, and no sire is given", "name the dam, a sire, or both");
        }
        let found = Found {
            animal: form.animal("animal", &asked.animal),
            parents: NewParents {
                dam: animals::reference(&mut form, "dam", &asked.dam),
                sires: litters::sires(&mut form, "", &asked.sires),
                because: form.text("parents_because", &asked.parents_because, 0..=500),
            },
            known: Known {
                by: animals::known_by(&mut form, "known_by", asked.known_by),
                note: form.text("note", &asked.note, 0..=500),
            },
            version: asked.version,
        };
        form.done()?;
        let set =
            parentage::set(&self.records, &caller, &write, &site, &found).await.map_err(status::from)?;
        let (facts, version, _) = told(set);
        Ok(Response::new(v1::SetParentsResponse { facts, version }))
    }

    async fn withdraw_animal(
        &self,
        request: Request<v1::WithdrawAnimalRequest>,
    ) -> Result<Response<v1::WithdrawAnimalResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("CorrectionService/WithdrawAnimal", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let mistake = mistake(&mut form, &asked.animal, &asked.because, asked.version);
        form.done()?;
        let told = mistakes::withdraw(&self.records, &caller, &write, &site, &mistake).await;
        let told = told.map_err(status::from)?;
        let facts = counts(&told);
        Ok(Response::new(v1::WithdrawAnimalResponse { animal: Some(animals::encode(told.animal)), facts }))
    }

    async fn reinstate_animal(
        &self,
        request: Request<v1::ReinstateAnimalRequest>,
    ) -> Result<Response<v1::ReinstateAnimalResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("CorrectionService/ReinstateAnimal", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let mistake = mistake(&mut form, &asked.animal, &asked.because, asked.version);
        form.done()?;
        let told = mistakes::reinstate(&self.records, &caller, &write, &site, &mistake).await;
        let told = told.map_err(status::from)?;
        let facts = counts(&told);
        Ok(Response::new(v1::ReinstateAnimalResponse { animal: Some(animals::encode(told.animal)), facts }))
    }
}

fn mistake(form: &mut Form, animal: &str, because: &str, version: i64) -> mistakes::Asked {
    let animal = form.animal("animal", animal);
    mistakes::Asked { animal, because: form.text("because", because, 1..=500), version }
}

fn counts(told: &mistakes::Told) -> Vec<v1::FactCount> {
    let count = |(kind, count): &(FactKind, usize)| v1::FactCount {
        kind: encode::fact_kind(*kind).into(),
        count: i32::try_from(*count).unwrap_or(i32::MAX),
    };
    told.facts.iter().map(count).collect()
}
