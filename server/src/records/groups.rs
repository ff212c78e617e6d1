//! Groups: animals that live as one social unit.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Animal;
use crate::model::crate_reading::Of;
use crate::model::group::{Group, Joining, Leaving, Member, Parents, Roll, age_days, kin};
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::lens_of;
use crate::records::error::{Refusal, Result};
use crate::records::expected;
use crate::records::placements::{Away, Placed, ids_of, move_into, named};
use crate::records::{Records, fresh};
use crate::store::animals::Lens;
use crate::store::groups::{self, Wanted};
use crate::store::{Snapshot, Tx, animals, crate_readings, holdings, retrying};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Makes a group without members.
///
/// # Errors
/// Refused without the role there, or where the site has a group of that name.
pub async fn create(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    name: &str,
    note: &str,
) -> Result<Group> {
    let permit = records.permit(caller, Deed::Place, site).await?;
    retrying("create_group", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let group = groups::insert(&mut tx, &permit, name, note).await?;
        Ok(tx.commit(group).await?)
    })
    .await
}

/// What joining comes to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Joined {
    /// Animals that joined, or changed their role.
    pub joined: usize,
    pub group: Group,
}

/// Takes animals into a group, or gives members another role: all of them, or none.
///
/// # Errors
/// Refused without the role there; where there is no such group, the site does not hold one of the animals,
/// one belongs to another group, or the time does not fit.
pub async fn join(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    joining: &Joining,
) -> Result<Joined> {
    let permit = records.permit(caller, Deed::Place, site).await?;
    retrying("join_group", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let at = past(&tx, joining.at, "joined_at")?;
        let group = one(&tx, &permit, &joining.group, lens_of(permit.site(), None, tx.now())).await?;
        let wanted = ids_of(&named(&tx, &permit, &joining.animals).await?);
        for holding in holdings::of(&tx, &wanted).await? {
            if holding.ended_at.is_none() && at < holding.began_at {
                return Err(early("the site did not hold one of the animals then", "joined_at").into());
            }
        }
        let mut joined = wanted;
        for membership in groups::open(&tx, &joined).await? {
            let animal = membership.animal_id;
            if membership.group_id != group.id {
                return Err(elsewhere(&tx, &permit, animal).await?.into());
            }
            if membership.role == joining.role.as_str() {
                joined.retain(|other| *other != animal);
                continue;
            }
            if at < membership.began_at {
                return Err(early("one of the animals took its role after that", "joined_at").into());
            }
            groups::close(&mut tx, membership, at, "another role").await?;
        }
        groups::begin(&mut tx, &permit, group.id, &joined, joining.role, at).await?;
        let group = one(&tx, &permit, &joining.group, lens_of(permit.site(), None, tx.now())).await?;
        Ok(tx.commit(Joined { joined: joined.len(), group }).await?)
    })
    .await
}

/// Ends memberships: all of them, or none.
///
/// # Errors
/// Refused without the role there; where there is no such group, one of the animals does not belong to it,
/// or the time does not fit.
pub async fn leave(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    leaving: &Leaving,
) -> Result<Group> {
    let permit = records.permit(caller, Deed::Place, site).await?;
    retrying("leave_group", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let at = past(&tx, leaving.at, "left_at")?;
        let group = one(&tx, &permit, &leaving.group, lens_of(permit.site(), None, tx.now())).await?;
        let wanted = ids_of(&named(&tx, &permit, &leaving.animals).await?);
        let mut open = groups::open(&tx, &wanted).await?;
        for (n, animal) in wanted.iter().enumerate() {
            let place = open.iter().position(|one| one.animal_id == *animal && one.group_id == group.id);
            let Some(place) = place else {
                return Err(Refusal::new(
                    Reason::NotFound,
                    format!("{} does not belong to {}", spoken(&tx, &permit, *animal).await?, group.name),
                    "look at the members of the group",
                )
                .fact("what", "member")
                .at(format!("animals[{n}]"))
                .into());
            };
            let membership = open.swap_remove(place);
            if at < membership.began_at {
                return Err(early("one of the animals took its role after that", "left_at").into());
            }
            groups::close(&mut tx, membership, at, &leaving.why).await?;
        }
        let group = one(&tx, &permit, &leaving.group, lens_of(permit.site(), None, tx.now())).await?;
        Ok(tx.commit(group).await?)
    })
    .await
}

/// Moves all members of a group into an enclosure at one instant: all of them, or none.
///
/// # Errors
/// Refused without the role there; where there is no such group or enclosure, the group has no member, or
/// the time does not fit one of them.
pub async fn move_all(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    group: &str,
    enclosure: &str,
    at: Option<DateTime<Utc>>,
) -> Result<Placed> {
    let permit = records.permit(caller, Deed::Place, site).await?;
    retrying("move_group", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let at = past(&tx, at, "moved_at")?;
        let group = one(&tx, &permit, group, lens_of(permit.site(), None, tx.now())).await?;
        let members = groups::members(&tx, &permit, group.id, tx.now()).await?;
        let ids: Vec<String> = members.iter().map(|member| member.animal.to_string()).collect();
        if ids.is_empty() {
            return Err(Refusal::new(
                Reason::NotFound,
                format!("{} has no member", group.name),
                "take animals into it first",
            )
            .fact("what", "member")
            .at("group")
            .into());
        }
        let wanted = named(&tx, &permit, &ids).await?;
        let placed = move_into(&mut tx, &permit, &wanted, Away::Left, enclosure, (at, "moved_at")).await?;
        Ok(tx.commit(placed).await?)
    })
    .await
}

/// An instant that has come; now where none is given.
fn past(tx: &Tx, at: Option<DateTime<Utc>>, field: &str) -> std::result::Result<DateTime<Utc>, Refusal> {
    let at = at.unwrap_or_else(|| tx.now());
    if at > tx.now() { Err(Refusal::in_the_future("time", field)) } else { Ok(at) }
}

fn early(say: &str, field: &str) -> Refusal {
    Refusal::new(Reason::OutOfOrder, say, "correct the time").at(field)
}

async fn spoken(tx: &Tx, permit: &Permit, animal: Uuid) -> Result<String> {
    let lens = lens_of(permit.site(), None, tx.now());
    Ok(animals::views(tx, &[animal], lens).await?.first().map(|one| one.label().spoken()).unwrap_or_default())
}

async fn elsewhere(tx: &Tx, permit: &Permit, animal: Uuid) -> Result<Refusal> {
    Ok(Refusal::new(
        Reason::OutOfOrder,
        format!("{} belongs to another group", spoken(tx, permit, animal).await?),
        "let it leave that group first",
    )
    .at("animals"))
}

/// The group of a name or an identifier, through a lens.
///
/// # Errors
/// Refused where the site has none of it.
pub(crate) async fn one(snapshot: &Snapshot, permit: &Permit, name: &str, lens: Lens) -> Result<Group> {
    let wanted = Wanted { named: Some(name.to_owned()), empty: true };
    let page = Page { size: 1, after: None };
    let mut found = groups::list(snapshot, permit, &wanted, lens, &page).await?.entries;
    found.pop().ok_or_else(|| Refusal::not_found("group", name).into())
}

/// A group as of the close of a day, as was known at an instant, with its members.
///
/// # Errors
/// Refused where there is no such site in scope, or it has no such group.
pub async fn get(
    records: &Records,
    caller: &Caller,
    site: &str,
    name: &str,
    as_of: Option<NaiveDate>,
    known_at: Option<DateTime<Utc>>,
) -> Result<Roll> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let lens = lens_of(permit.site(), as_of, records.store.now());
    let snapshot = records.look(caller, known_at).await?;
    let group = one(&snapshot, &permit, name, lens).await?;
    let memberships = groups::members(&snapshot, &permit, group.id, lens.at).await?;
    let ids: Vec<Uuid> = memberships.iter().map(|membership| membership.animal).collect();
    let views = animals::views(&snapshot, &ids, lens).await?;
    let parents = groups::parents(&snapshot, &ids).await?;
    let seen = expected::look(records, &snapshot, &permit, &ids, lens.at).await?;
    let of = |animal: Uuid| seen.iter().find(|seen| seen.latest(animal).is_some());
    let none = Parents::default();
    let parents_of = |animal: &Animal| (animal.id, parents.get(&animal.id).unwrap_or(&none));
    let mut members: Vec<Member> = memberships
        .iter()
        .filter_map(|membership| {
            let animal = views.iter().find(|view| view.id == membership.animal)?;
            let relatives = views.iter().filter(|other| other.id != animal.id).filter_map(|other| {
                kin(parents_of(animal), parents_of(other)).map(|kin| (other.label(), kin))
            });
            Some(Member {
                role: membership.role,
                since: membership.began_at,
                age_days: age_days(animal, lens.day),
                relatives: relatives.collect(),
                change_percent: of(animal.id).map(|seen| seen.change_percent(animal.id)),
                slope_percent_per_week: of(animal.id)
                    .and_then(|seen| seen.pace(animal.id))
                    .map(|pace| 100.0 * pace.exp_m1()),
                animal: animal.clone(),
            })
        })
        .collect();
    members.sort_by(|a, b| a.animal.accession.cmp(&b.animal.accession));
    let crate_readings = crate_readings::of(&snapshot, &permit, Of::Group(group.id), lens).await?;
    Ok(Roll { group, members, crate_readings })
}

/// Groups of a site as of the close of a day, as was known at an instant.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    as_of: Option<NaiveDate>,
    also_empty: bool,
    page: &Page,
    known_at: Option<DateTime<Utc>>,
) -> Result<Slice<Group>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let lens = lens_of(permit.site(), as_of, records.store.now());
    let snapshot = records.look(caller, known_at).await?;
    let wanted = Wanted { named: None, empty: also_empty };
    Ok(groups::list(&snapshot, &permit, &wanted, lens, page).await?)
}
