//! Reading whole lives, as the books of one site tell them.

use crate::access::permit::Permit;
use crate::doors::Snapshot;
use crate::entity::{birth, death, holding, mark, parent, placement, sexing, title, weight};
use crate::error::Error;
use crate::facts::known;
use crate::model::animal::{ArrivalSource, Born, Destination};
use crate::model::death::Manner;
use crate::model::exchange::{Coming, Leaving};
use crate::model::exchange::{Life, LivedIn, Parentage, Stay, Weighed, Worn};
use crate::model::holding::When;
use crate::model::kinship::{Known, KnownBy};
use crate::model::mark::NewMark;
use crate::model::page::{Page, Slice};
use crate::model::site::Enclosure;
use crate::model::weight::{Outcome, Reading, Taken};
use crate::rows::{Row, columns, name};
use crate::taxa::described;
use crate::{animals, deaths, marks, sites, weights};
use holt_audit::terms::{Mass, Sex};
use sea_orm::{FromQueryResult, Value};
use std::collections::HashMap;
use uuid::Uuid;

/// Most lives on a page.
const MOST_LIVES: u32 = 200;

/// Most readings on a page, unless one animal alone has more: a message has its limit.
const MOST_READINGS: i64 = 20_000;

#[derive(FromQueryResult)]
struct Head {
    animal_id: Uuid,
    number: String,
    scientific_name: String,
    common_name: String,
    readings: i64,
}

/// The lives of animals that a site ever held, by accession.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn lives(snapshot: &Snapshot, permit: &Permit, page: &Page) -> Result<Slice<Life>, Error> {
    let heads = heads(snapshot, permit, page).await?;
    let ids: Vec<Uuid> = heads.entries.iter().map(|head| head.animal_id).collect();
    let books = Books::of(snapshot, permit, &ids).await?;
    let entries = heads.entries.into_iter().map(|head| books.life(permit, head)).collect::<Result<_, _>>()?;
    Ok(Slice { entries, next: heads.next })
}

/// Which animals are on a page.
async fn heads(snapshot: &Snapshot, permit: &Permit, page: &Page) -> Result<Slice<Head>, Error> {
    let sql = format!(
        "SELECT c.animal_id, c.number, t.scientific_name, t.common_name,
                (SELECT count(*) FROM weights w WHERE w.animal_id = c.animal_id AND w.site_id = $1 AND {}) AS readings
           FROM accessions c JOIN animals a ON a.id = c.animal_id {described}
          WHERE c.site_id = $1 AND {} AND c.number > $3
            AND EXISTS (SELECT FROM holdings h WHERE h.animal_id = c.animal_id AND h.site_id = $1 AND {})
          ORDER BY c.number LIMIT $4",
        known("w", 2),
        known("c", 2),
        known("h", 2),
        described = described("a.taxon_id", 2),
    );
    let page = Page { size: page.size.min(MOST_LIVES), after: page.after.clone() };
    let values = [
        permit.site().id.into(),
        snapshot.known_at().into(),
        page.after.clone().unwrap_or_default().into(),
        (i64::from(page.size) + 1).into(),
    ];
    let rows = snapshot.rows::<Head>(&sql, values).await?;
    let mut heads = Slice::cut(rows, &page, |head| head.number.clone());
    let mut readings = 0;
    let fit = heads.entries.iter().take_while(|head| {
        readings += head.readings;
        readings <= MOST_READINGS
    });
    let fit = fit.count().max(1);
    if fit < heads.entries.len() {
        heads.entries.truncate(fit);
        heads.next = heads.entries.last().map(|head| head.number.clone());
    }
    Ok(heads)
}

/// What is on record of the animals of a page, by animal.
struct Books {
    births: HashMap<Uuid, Vec<birth::Model>>,
    sexings: HashMap<Uuid, Vec<sexing::Model>>,
    parents: HashMap<Uuid, Vec<parent::Model>>,
    marks: HashMap<Uuid, Vec<mark::Model>>,
    holdings: HashMap<Uuid, Vec<holding::Model>>,
    deaths: HashMap<Uuid, Vec<death::Model>>,
    titles: HashMap<Uuid, Vec<title::Model>>,
    placements: HashMap<Uuid, Vec<placement::Model>>,
    weights: HashMap<Uuid, Vec<weight::Model>>,
    /// Accessions at the site of those parents that ever had one.
    parents_here: HashMap<Uuid, String>,
    /// Of sites, their names; of those that an animal came from or went to, by transfer.
    sites: HashMap<Uuid, String>,
    /// From and to which site a transfer led.
    moves: HashMap<Uuid, (Uuid, Uuid)>,
    enclosures: HashMap<Uuid, Enclosure>,
    /// Codes of sites, for owners.
    codes: HashMap<Uuid, String>,
}

/// The standing facts of one table about these animals, in an order within each.
async fn facts<R: Row>(
    snapshot: &Snapshot,
    ids: &[Uuid],
    own: Option<Uuid>,
    order: &str,
    animal: impl Fn(&R) -> Uuid,
) -> Result<HashMap<Uuid, Vec<R>>, Error> {
    let mut values: Vec<Value> = vec![ids.to_vec().into(), snapshot.known_at().into()];
    let of_site = if own.is_some() { " AND f.site_id = $3" } else { "" };
    values.extend(own.map(Value::from));
    let sql = format!(
        "SELECT {} FROM {} f WHERE f.animal_id = ANY ($1) AND {}{of_site} ORDER BY {order}",
        columns::<R>().join(", "),
        name::<R>(),
        known("f", 2)
    );
    let mut by_animal: HashMap<Uuid, Vec<R>> = HashMap::new();
    for row in snapshot.rows::<R>(&sql, values).await? {
        by_animal.entry(animal(&row)).or_default().push(row);
    }
    Ok(by_animal)
}

impl Books {
    async fn of(snapshot: &Snapshot, permit: &Permit, ids: &[Uuid]) -> Result<Self, Error> {
        let here = Some(permit.site().id);
        let parents =
            facts(snapshot, ids, None, "f.kind, f.share DESC, f.parent_id", |row: &parent::Model| {
                row.animal_id
            })
            .await?;
        let holdings = facts(snapshot, ids, here, "f.began_at", |row: &holding::Model| row.animal_id).await?;
        let parent_ids = parents.values().flatten().map(|parent| parent.parent_id).collect::<Vec<_>>();
        let transfers = holdings.values().flatten().flat_map(|held| [held.transfer_in, held.transfer_out]);
        let transfers = transfers.flatten().collect::<Vec<_>>();
        let (sites, codes) = sites::all(snapshot).await?.into_iter().fold(
            (HashMap::new(), HashMap::new()),
            |(mut names, mut codes), site| {
                names.insert(site.id, site.name);
                codes.insert(site.id, site.code);
                (names, codes)
            },
        );
        let enclosures = sites::enclosures(snapshot, permit).await?;
        Ok(Self {
            births: facts(snapshot, ids, None, "f.id", |row: &birth::Model| row.animal_id).await?,
            sexings: facts(snapshot, ids, None, "f.determined_on, f.id", |row: &sexing::Model| row.animal_id)
                .await?,
            marks: facts(snapshot, ids, None, "f.began_at, f.kind, f.code", |row: &mark::Model| {
                row.animal_id
            })
            .await?,
            deaths: facts(snapshot, ids, here, "f.id", |row: &death::Model| row.animal_id).await?,
            titles: facts(snapshot, ids, None, "f.began_at", |row: &title::Model| row.animal_id).await?,
            placements: facts(snapshot, ids, here, "f.began_at", |row: &placement::Model| row.animal_id)
                .await?,
            weights: facts(snapshot, ids, here, "f.weighed_at", |row: &weight::Model| row.animal_id).await?,
            parents_here: accessions(snapshot, permit, &parent_ids).await?,
            moves: moves(snapshot, &transfers).await?,
            enclosures: enclosures.into_iter().map(|enclosure| (enclosure.id, enclosure)).collect(),
            parents,
            holdings,
            sites,
            codes,
        })
    }

    fn life(&self, permit: &Permit, head: Head) -> Result<Life, Error> {
        let id = head.animal_id;
        let born = self.births.get(&id).and_then(|births| births.first()).and_then(|birth| {
            let (first, last) = birth.born_first.zip(birth.born_last)?;
            Some(Born { first, last, estimated: birth.estimated })
        });
        let sexes = self.sexings.get(&id).into_iter().flatten();
        let parents = self.parents.get(&id).into_iter().flatten();
        let marks = self.marks.get(&id).into_iter().flatten();
        let placements = self.placements.get(&id).into_iter().flatten();
        let readings = self.weights.get(&id).into_iter().flatten();
        let owner = self.titles.get(&id).and_then(|titles| titles.last());
        let owner = owner.map(|title| match title.owner_site_id {
            Some(owner) if owner == permit.site().id => String::new(),
            Some(owner) => self.codes.get(&owner).cloned().unwrap_or_default(),
            None => title.owner_name.clone(),
        });
        let stays = self.holdings.get(&id).into_iter().flatten();
        Ok(Life {
            id: Some(id),
            accession: head.number,
            taxon: head.scientific_name,
            common_name: head.common_name,
            sexes: sexes
                .map(|row| Ok((Some(row.determined_on), animals::sex(&row.sex)?)))
                .collect::<Result<_, Error>>()?,
            born,
            parents: parents.filter_map(|row| self.parentage(row).transpose()).collect::<Result<_, _>>()?,
            marks: marks.map(worn).collect::<Result<_, _>>()?,
            stays: stays.map(|held| self.stay(permit, held, born)).collect::<Result<_, _>>()?,
            placements: placements.map(|row| self.lived_in(row)).collect::<Result<_, _>>()?,
            owner: owner.unwrap_or_default(),
            readings: readings.map(weighed).collect::<Result<_, _>>()?,
        })
    }

    /// A parent, where it was ever on the books of the site: of others these books know nothing.
    fn parentage(&self, row: &parent::Model) -> Result<Option<Parentage>, Error> {
        let Some(animal) = self.parents_here.get(&row.parent_id).cloned() else { return Ok(None) };
        let sex = if row.kind == "dam" { Sex::Female } else { Sex::Male };
        let by = KnownBy::ALL.into_iter().find(|by| by.as_str() == row.known_by);
        let by = by.ok_or_else(|| Error::corrupt("parents", "known_by", &row.known_by))?;
        let known = Known { by, note: row.note.clone() };
        Ok(Some(Parentage { animal, sex, share: row.share, because: row.because.clone(), known }))
    }

    fn lived_in(&self, row: &placement::Model) -> Result<LivedIn, Error> {
        let enclosure = self.enclosures.get(&row.enclosure_id);
        let enclosure =
            enclosure.ok_or_else(|| Error::corrupt("placements", "enclosure_id", &row.enclosure_id))?;
        Ok(LivedIn {
            enclosure: enclosure.name.clone(),
            kind: Some(enclosure.kind),
            from: Some(row.began_at),
            until: row.ended_at,
        })
    }

    /// A holding as it looks from the site alone.
    fn stay(&self, permit: &Permit, row: &holding::Model, born: Option<Born>) -> Result<Stay, Error> {
        let site = permit.site();
        let began_at = (row.began_at != site.start_of(row.began_on)).then_some(row.began_at);
        let when = When { day: row.began_on, at: began_at };
        let name = |transfer: Option<Uuid>, end: fn(&(Uuid, Uuid)) -> Uuid| {
            let other = transfer.and_then(|id| self.moves.get(&id)).map(end);
            other.and_then(|id| self.sites.get(&id)).cloned().unwrap_or_default()
        };
        let coming = match row.began_how.as_str() {
            "birth" => Coming::Birth { day: row.began_on },
            "transfer" => Coming::Arrival {
                when,
                source: ArrivalSource::Collection,
                from: name(row.transfer_in, |(from, _)| *from),
            },
            // Until then it was counted in its litter, which goes by no name elsewhere.
            "told_apart" => match born.filter(|born| born.first == born.last && born.first <= row.began_on) {
                Some(born) => Coming::Birth { day: born.first },
                None => Coming::Arrival { when, source: ArrivalSource::OnSiteBefore, from: String::new() },
            },
            _ => Coming::Arrival { when, source: source(&row.began_source)?, from: row.began_name.clone() },
        };
        let (Some(ended_at), Some(ended_on)) = (row.ended_at, row.ended_on) else {
            return Ok(Stay { coming, left: None });
        };
        let death = self.deaths.get(&row.animal_id).and_then(|deaths| deaths.first());
        let death = death.filter(|_| row.ended_how.as_deref() == Some("death"));
        let day_only = ended_at == site.close_of(ended_on) || death.is_some_and(|death| death.day_only);
        let ended_when = When { day: ended_on, at: (!day_only).then_some(ended_at) };
        let how = match row.ended_how.as_deref() {
            Some("death") => {
                let manner = death.map(|death| manner(&death.manner)).transpose()?;
                Leaving::Death {
                    manner: manner.unwrap_or(Manner::Unknown),
                    note: death.map(|death| death.note.clone()).unwrap_or_default(),
                }
            }
            Some("transfer") => Leaving::Departure {
                destination: Destination::Collection,
                name: name(row.transfer_out, |(_, to)| *to),
            },
            Some("escape") => {
                Leaving::Departure { destination: Destination::Escape, name: row.ended_name.clone() }
            }
            _ => Leaving::Departure {
                destination: destination(&row.ended_source)?,
                name: row.ended_name.clone(),
            },
        };
        Ok(Stay { coming, left: Some((ended_when, how)) })
    }
}

fn source(text: &str) -> Result<ArrivalSource, Error> {
    use ArrivalSource::{Collection, Confiscation, OnSiteBefore, Private, Rescue, Wild};
    [Collection, Wild, Rescue, Confiscation, Private, OnSiteBefore]
        .into_iter()
        .find(|source| source.as_str() == text)
        .ok_or_else(|| Error::corrupt("holdings", "began_source", text))
}

fn destination(text: &str) -> Result<Destination, Error> {
    use Destination::{Collection, Escape, Private, Wild};
    [Collection, Wild, Private, Escape]
        .into_iter()
        .find(|destination| destination.as_str() == text)
        .ok_or_else(|| Error::corrupt("holdings", "ended_source", text))
}

fn manner(text: &str) -> Result<Manner, Error> {
    deaths::manner(text).ok_or_else(|| Error::corrupt("deaths", "manner", text))
}

fn worn(row: &mark::Model) -> Result<Worn, Error> {
    Ok(Worn {
        mark: NewMark {
            kind: marks::kind(&row.kind)?,
            code: row.code.clone(),
            place_on_body: row.place_on_body.clone(),
            issuer: row.issuer.clone(),
        },
        from: Some(row.began_at),
        until: row.ended_at,
        ended_why: row.ended_why.clone(),
    })
}

fn weighed(row: &weight::Model) -> Result<Weighed, Error> {
    let taken = if row.day_only { Taken::On(row.weighed_on) } else { Taken::At(row.weighed_at) };
    let outcome = row.mass_mg.map_or(Outcome::Tried, |mg| Outcome::Mass(Mass::from_mg(mg)));
    let reading = Reading {
        animal: String::new(),
        taken,
        outcome,
        scale: row.scale.clone(),
        method: weights::method(&row.method)?,
        note: row.note.clone(),
    };
    Ok(Weighed { reading, doubtful: row.doubtful && !row.accepted })
}

/// Accessions of animals at the site, of those that have one.
async fn accessions(
    snapshot: &Snapshot,
    permit: &Permit,
    ids: &[Uuid],
) -> Result<HashMap<Uuid, String>, Error> {
    #[derive(FromQueryResult)]
    struct Number {
        animal_id: Uuid,
        number: String,
    }
    let sql = format!(
        "SELECT c.animal_id, c.number FROM accessions c WHERE c.animal_id = ANY ($1) AND c.site_id = $3 AND {}",
        known("c", 2)
    );
    let values = [ids.to_vec().into(), snapshot.known_at().into(), permit.site().id.into()];
    let rows = snapshot.rows::<Number>(&sql, values).await?;
    Ok(rows.into_iter().map(|row| (row.animal_id, row.number)).collect())
}

/// From and to which site transfers led.
async fn moves(snapshot: &Snapshot, ids: &[Uuid]) -> Result<HashMap<Uuid, (Uuid, Uuid)>, Error> {
    #[derive(FromQueryResult)]
    struct Move {
        id: Uuid,
        from_site_id: Uuid,
        to_site_id: Uuid,
    }
    let sql = "SELECT m.id, m.from_site_id, m.to_site_id FROM transfers m WHERE m.id = ANY ($1)";
    let rows = snapshot.rows::<Move>(sql, [ids.to_vec().into()]).await?;
    Ok(rows.into_iter().map(|row| (row.id, (row.from_site_id, row.to_site_id))).collect())
}
