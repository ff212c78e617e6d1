//! `GroupService`.

use crate::api::decode::Form;
use crate::api::encode::{counts, day_between, id, label, mass, sex};
use crate::api::{Api, caller, encode, status};
use crate::model::group::{Group, Joining, Kin, Leaving, Member, Role};
use crate::records::groups;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::group_service_server::GroupService;
use tonic::{Request, Response, Status};

fn group(group: Group) -> v1::Group {
    v1::Group {
        id: id(group.id),
        site: group.site,
        name: group.name,
        note: group.note,
        members: Some(counts(group.members)),
        enclosures: group.enclosures,
    }
}

pub(super) const fn role(role: Role) -> v1::GroupRole {
    match role {
        Role::Member => v1::GroupRole::Member,
        Role::Breeding => v1::GroupRole::Breeding,
        Role::Helper => v1::GroupRole::Helper,
        Role::Juvenile => v1::GroupRole::Juvenile,
        Role::OnTrial => v1::GroupRole::OnTrial,
    }
}

pub(super) const fn kin(kin: Kin) -> v1::Kin {
    match kin {
        Kin::Dam => v1::Kin::Dam,
        Kin::Sire => v1::Kin::Sire,
        Kin::Offspring => v1::Kin::Offspring,
        Kin::FullSibling => v1::Kin::FullSibling,
        Kin::HalfSibling => v1::Kin::HalfSibling,
    }
}

fn member(member: Member) -> v1::GroupMember {
    let relatives = member.relatives.into_iter();
    let animal = member.animal;
    v1::GroupMember {
        animal: Some(label(animal.label())),
        role: role(member.role).into(),
        since_at: Some(timestamp(member.since)),
        sex: sex(animal.sex).into(),
        born_on: animal.born.map(|born| day_between(born.first, born.last)),
        age_days: member.age_days.and_then(|days| i32::try_from(days).ok()),
        relatives: relatives
            .map(|(animal, of_kin)| v1::Relative { animal: Some(label(animal)), kin: kin(of_kin).into() })
            .collect(),
        latest_mass: animal.latest_mass.map(mass),
        latest_weighed_at: animal.latest_weighed_at.map(timestamp),
        enclosure: animal.enclosure,
        change_percent: member.change_percent,
        slope_percent_per_week: member.slope_percent_per_week,
    }
}

pub(super) fn role_of(form: &mut Form, field: &str, wire: i32) -> Role {
    let role = match v1::GroupRole::try_from(wire) {
        Ok(v1::GroupRole::Member) => Some(Role::Member),
        Ok(v1::GroupRole::Breeding) => Some(Role::Breeding),
        Ok(v1::GroupRole::Helper) => Some(Role::Helper),
        Ok(v1::GroupRole::Juvenile) => Some(Role::Juvenile),
        Ok(v1::GroupRole::OnTrial) => Some(Role::OnTrial),
        Ok(v1::GroupRole::Unspecified) | Err(_) => None,
    };
    form.choice(field, role, "member, breeding, helper, juvenile, on trial", Role::Member)
}

fn named(form: &mut Form, text: &str) -> String {
    form.text("group", text, 1..=100)
}

fn count(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

#[tonic::async_trait]
impl GroupService for Api {
    async fn create_group(
        &self,
        request: Request<v1::CreateGroupRequest>,
    ) -> Result<Response<v1::CreateGroupResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("GroupService/CreateGroup", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let name = form.text("name", &asked.name, 1..=100);
        let note = form.text("note", &asked.note, 0..=2000);
        form.done()?;
        let made = groups::create(&self.records, &caller, &write, &site, &name, &note)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::CreateGroupResponse { group: Some(group(made)) }))
    }

    async fn join_group(
        &self,
        request: Request<v1::JoinGroupRequest>,
    ) -> Result<Response<v1::JoinGroupResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("GroupService/JoinGroup", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let joining = Joining {
            group: named(&mut form, &asked.group),
            animals: form.animals("animals", &asked.animals),
            role: role_of(&mut form, "role", asked.role),
            at: form.instant("joined_at", asked.joined_at),
        };
        form.done()?;
        let told =
            groups::join(&self.records, &caller, &write, &site, &joining).await.map_err(status::from)?;
        Ok(Response::new(v1::JoinGroupResponse {
            joined: count(told.joined),
            group: Some(group(told.group)),
        }))
    }

    async fn leave_group(
        &self,
        request: Request<v1::LeaveGroupRequest>,
    ) -> Result<Response<v1::LeaveGroupResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("GroupService/LeaveGroup", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let leaving = Leaving {
            group: named(&mut form, &asked.group),
            animals: form.animals("animals", &asked.animals),
            why: form.text("why", &asked.why, 1..=500),
            at: form.instant("left_at", asked.left_at),
        };
        form.done()?;
        let told =
            groups::leave(&self.records, &caller, &write, &site, &leaving).await.map_err(status::from)?;
        Ok(Response::new(v1::LeaveGroupResponse { group: Some(group(told)) }))
    }

    async fn move_group(
        &self,
        request: Request<v1::MoveGroupRequest>,
    ) -> Result<Response<v1::MoveGroupResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("GroupService/MoveGroup", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let moving = named(&mut form, &asked.group);
        let enclosure = form.text("enclosure", &asked.enclosure, 1..=100);
        let at = form.instant("moved_at", asked.moved_at);
        form.done()?;
        let placed = groups::move_all(&self.records, &caller, &write, &site, &moving, &enclosure, at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::MoveGroupResponse {
            moved: count(placed.moved),
            occupants: count(placed.occupants),
            over_capacity: placed.over_capacity,
        }))
    }

    async fn get_group(
        &self,
        request: Request<v1::GetGroupRequest>,
    ) -> Result<Response<v1::GetGroupResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let wanted = named(&mut form, &asked.group);
        let as_of = form.optional_day("as_of", asked.as_of);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let roll = groups::get(&self.records, &caller, &site, &wanted, as_of, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::GetGroupResponse {
            group: Some(group(roll.group)),
            members: roll.members.into_iter().map(member).collect(),
            crate_readings: roll.crate_readings.into_iter().map(encode::crate_reading).collect(),
        }))
    }

    async fn list_groups(
        &self,
        request: Request<v1::ListGroupsRequest>,
    ) -> Result<Response<v1::ListGroupsResponse>, Status> {
        const METHOD: &str = "GroupService/ListGroups";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let as_of = form.optional_day("as_of", asked.as_of);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let found = groups::list(&self.records, &caller, &site, as_of, asked.also_empty, &page, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ListGroupsResponse {
            groups: found.entries.into_iter().map(group).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
