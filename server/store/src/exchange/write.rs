//! Writing whole lives: one statement a table for a great many animals.

use crate::access::permit::Permit;
use crate::animals::{Parent, parent_row, sex_text};
use crate::doors::Tx;
use crate::entity::{accession, animal, birth, death, holding, mark, parent, placement, sexing, title};
use crate::error::Error;
use crate::facts::fact;
use crate::holdings::{began_text, ended_text};
use crate::model::animal::Born;
use crate::model::death::Manner;
use crate::model::holding::{Began, Ended};
use crate::model::mark::NewMark;
use crate::rows::Row;
use crate::titles::Owner;
use crate::weights::{self, NewWeight};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Sex;
use uuid::Uuid;

/// How many rows go into one statement.
const PORTION: usize = 5000;

/// An animal with all that is to be written of it.
pub struct NewLife {
    pub animal: Uuid,
    pub taxon: Uuid,
    pub accession: String,
    pub taken_on: NaiveDate,
    pub born: Option<Born>,
    pub sexes: Vec<(NaiveDate, Sex)>,
    pub parents: Vec<Parent>,
    pub marks: Vec<Wear>,
    pub stays: Vec<Residence>,
    /// Enclosure, from when and until when.
    pub placements: Vec<(Uuid, DateTime<Utc>, Option<DateTime<Utc>>)>,
    pub owner: Owner,
    pub owned: (DateTime<Utc>, Option<DateTime<Utc>>),
    pub readings: Vec<NewWeight>,
}

/// A mark over a stretch of time.
pub struct Wear {
    pub mark: NewMark,
    pub began_at: DateTime<Utc>,
    pub ended_at: Option<DateTime<Utc>>,
    pub ended_why: String,
}

/// A stretch of time at the site.
pub struct Residence {
    pub began_at: DateTime<Utc>,
    pub began_on: NaiveDate,
    pub how: Began,
    pub source: &'static str,
    pub name: String,
    pub end: Option<End>,
}

/// How it ended.
pub struct End {
    pub at: DateTime<Utc>,
    pub on: NaiveDate,
    pub day_only: bool,
    pub how: Ended,
    pub source: &'static str,
    pub name: String,
    /// For a death, its manner and what was found.
    pub death: Option<(Manner, String)>,
}

async fn portions<R: Row>(tx: &mut Tx, rows: &[R]) -> Result<(), Error> {
    for portion in rows.chunks(PORTION) {
        tx.insert(portion).await?;
    }
    Ok(())
}

/// Writes lives.
///
/// # Errors
/// [`Error::Broken`] where a transponder is in force on an animal that the caller may not see, or an animal is
/// on record somewhere else.
pub async fn insert(tx: &mut Tx, permit: &Permit, lives: Vec<NewLife>) -> Result<(), Error> {
    let site = permit.site().id;
    let animals: Vec<_> = lives
        .iter()
        .map(|life| animal::Model {
            id: life.animal,
            site_id: site,
            taxon_id: life.taxon,
            version: 1,
            recorded_at: tx.now(),
            recorded_by: tx.person(),
            request_id: tx.request_id(),
        })
        .collect();
    portions(tx, &animals).await?;
    let mut facts = Facts::default();
    for life in &lives {
        facts.gather(tx, site, life);
    }
    portions(tx, &facts.births).await?;
    portions(tx, &facts.sexings).await?;
    portions(tx, &facts.parents).await?;
    portions(tx, &facts.holdings).await?;
    portions(tx, &facts.accessions).await?;
    portions(tx, &facts.titles).await?;
    portions(tx, &facts.marks).await?;
    portions(tx, &facts.placements).await?;
    portions(tx, &facts.deaths).await?;
    let readings: Vec<NewWeight> = lives.into_iter().flat_map(|life| life.readings).collect();
    for portion in readings.chunks(PORTION) {
        weights::append(tx, permit, portion).await?;
    }
    Ok(())
}

/// Rows of each table.
#[derive(Default)]
struct Facts {
    births: Vec<birth::Model>,
    sexings: Vec<sexing::Model>,
    parents: Vec<parent::Model>,
    holdings: Vec<holding::Model>,
    accessions: Vec<accession::Model>,
    titles: Vec<title::Model>,
    marks: Vec<mark::Model>,
    placements: Vec<placement::Model>,
    deaths: Vec<death::Model>,
}

impl Facts {
    fn gather(&mut self, tx: &Tx, site_id: Uuid, life: &NewLife) {
        let animal_id = life.animal;
        self.births.push(fact!(
            tx,
            birth::Model {
                id: tx.new_id(),
                animal_id: animal_id,
                site_id: site_id,
                born_first: life.born.map(|born| born.first),
                born_last: life.born.map(|born| born.last),
                estimated: life.born.is_some_and(|born| born.estimated),
            }
        ));
        for &(determined_on, sex) in &life.sexes {
            self.sexings.push(fact!(
                tx,
                sexing::Model {
                    id: tx.new_id(),
                    animal_id: animal_id,
                    site_id: site_id,
                    sex: sex_text(sex).to_owned(),
                    determined_on: determined_on,
                }
            ));
        }
        for one in &life.parents {
            self.parents.push(parent_row(tx, animal_id, site_id, one));
        }
        self.accessions.push(fact!(
            tx,
            accession::Model {
                id: tx.new_id(),
                animal_id: animal_id,
                site_id: site_id,
                number: life.accession.clone(),
                taken_on: life.taken_on,
            }
        ));
        let (owner_site_id, owner_name) = life.owner.columns();
        self.titles.push(fact!(
            tx,
            title::Model {
                id: tx.new_id(),
                animal_id: animal_id,
                site_id: site_id,
                owner_site_id: owner_site_id,
                owner_name: owner_name,
                began_at: life.owned.0,
                ended_at: life.owned.1,
            }
        ));
        for worn in &life.marks {
            self.marks.push(fact!(
                tx,
                mark::Model {
                    id: tx.new_id(),
                    animal_id: animal_id,
                    site_id: site_id,
                    mark_id: tx.new_id(),
                    kind: worn.mark.kind.as_str().to_owned(),
                    code: worn.mark.code.clone(),
                    place_on_body: worn.mark.place_on_body.clone(),
                    issuer: worn.mark.issuer.clone(),
                    began_at: worn.began_at,
                    ended_at: worn.ended_at,
                    ended_why: worn.ended_why.clone(),
                }
            ));
        }
        for &(enclosure_id, began_at, ended_at) in &life.placements {
            self.placements.push(fact!(
                tx,
                placement::Model {
                    id: tx.new_id(),
                    animal_id: animal_id,
                    site_id: site_id,
                    enclosure_id: enclosure_id,
                    began_at: began_at,
                    ended_at: ended_at,
                }
            ));
        }
        for stay in &life.stays {
            self.stay(tx, site_id, animal_id, stay);
        }
    }

    fn stay(&mut self, tx: &Tx, site_id: Uuid, animal_id: Uuid, stay: &Residence) {
        let end = stay.end.as_ref();
        self.holdings.push(fact!(
            tx,
            holding::Model {
                id: tx.new_id(),
                animal_id: animal_id,
                site_id: site_id,
                began_at: stay.began_at,
                began_on: stay.began_on,
                began_how: began_text(stay.how).to_owned(),
                began_source: stay.source.to_owned(),
                began_name: stay.name.clone(),
                ended_at: end.map(|end| end.at),
                ended_on: end.map(|end| end.on),
                ended_how: end.map(|end| ended_text(end.how).to_owned()),
                began_country: String::new(),
                ended_country: String::new(),
                ended_source: end.map(|end| end.source.to_owned()).unwrap_or_default(),
                ended_name: end.map(|end| end.name.clone()).unwrap_or_default(),
                transfer_in: None,
                transfer_out: None,
            }
        ));
        let Some((end, (manner, note))) = end.and_then(|end| Some((end, end.death.as_ref()?))) else {
            return;
        };
        self.deaths.push(fact!(
            tx,
            death::Model {
                id: tx.new_id(),
                animal_id: animal_id,
                site_id: site_id,
                died_at: end.at,
                died_on: end.on,
                day_only: end.day_only,
                died_first: Some(end.on),
                died_last: Some(end.on),
                found_on: None,
                manner: manner.as_str().to_owned(),
                note: note.clone(),
                post_mortem: String::new(),
                post_mortem_result: String::new(),
                disposal: String::new(),
                disposal_name: String::new(),
            }
        ));
    }
}
