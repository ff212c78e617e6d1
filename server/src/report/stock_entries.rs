//! What stands behind the columns of a stock return: animal by animal, each with the records that it rests on.

use super::stock_return::{Question, count, fault, read, together};
use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::fact::Told;
use crate::model::page::{Page, Slice};
use crate::model::stock_return::{Books, StockEntries, StockEntry};
use crate::model::taxon::Taxon;
use crate::records::error::Result;
use crate::records::{Records, history, taxa};
use crate::store::{Snapshot, census as books};
use chrono::{DateTime, Utc};
use holt_audit::census::{Column, Entry, Source, Who};
use std::cmp::Ordering;
use std::collections::{BTreeSet, HashMap};
use uuid::Uuid;

/// What is asked beside the return.
#[derive(Clone, Debug, Default)]
pub struct Behind {
    /// Only these columns; all where there is none.
    pub columns: BTreeSet<Column>,
    /// Only this species, by a scientific name; all where empty.
    pub taxon: String,
}

/// The entries of the returns that a question asks for, a page at a time. The pages of one list rest on what was
/// known at one instant, whatever is recorded between them.
///
/// # Errors
/// Refused where there is no such site in scope, or no such species.
pub async fn of(
    records: &Records,
    caller: &Caller,
    question: &Question,
    behind: &Behind,
    page: &Page,
) -> Result<StockEntries> {
    let permits = records.permits(caller, Deed::Read, &question.site).await?;
    let (known_at, skipped) = match &page.after {
        Some(key) => {
            let (known_at, skipped) = read_key(key).ok_or_else(|| fault(format!("no such page: {key}")))?;
            (Some(known_at), skipped)
        }
        None => (question.known_at, 0),
    };
    let known_at = records.settled(caller, known_at).await?;
    let snapshot = records.look(caller, Some(known_at)).await?;
    let only = match behind.taxon.as_str() {
        "" => None,
        name => Some(taxa::one(&snapshot, name).await?.id),
    };
    let (taxa, books) = read(&snapshot, &permits, question).await?;
    let mut all = Vec::new();
    for group in together(&permits, question) {
        let asked = |entry: &Entry<Uuid>| {
            (behind.columns.is_empty() || behind.columns.contains(&entry.column))
                && only.is_none_or(|only| only == entry.species)
        };
        let mut some: Vec<Entry<Uuid>> =
            count(group, &books, question)?.entries.into_iter().filter(asked).collect();
        some.sort_by(|a, b| order(a, b, &taxa));
        all.extend(some);
    }
    let all: Vec<(usize, Entry<Uuid>)> =
        all.into_iter().enumerate().skip(skipped).take(page.size as usize + 1).collect();
    let key = |(n, _): &(usize, Entry<Uuid>)| format!("{} {}", known_at.timestamp_micros(), n + 1);
    let Slice { entries, next } = Slice::cut(all, page, key);
    let entries: Vec<Entry<Uuid>> = entries.into_iter().map(|(_, entry)| entry).collect();
    let entries = told(&snapshot, caller, (&permits, &books, &taxa), entries).await?;
    Ok(StockEntries { entries: Slice { entries, next }, as_known_at: known_at })
}

fn read_key(key: &str) -> Option<(DateTime<Utc>, usize)> {
    let (known_at, skipped) = key.split_once(' ')?;
    Some((DateTime::from_timestamp_micros(known_at.parse().ok()?)?, skipped.parse().ok()?))
}

/// By species, column and day, and then as in the books.
fn order(a: &Entry<Uuid>, b: &Entry<Uuid>, taxa: &HashMap<Uuid, Taxon>) -> Ordering {
    let name = |entry: &Entry<Uuid>| taxa.get(&entry.species).map(|taxon| taxon.scientific_name.as_str());
    let rest = |entry: &Entry<Uuid>| (entry.column, entry.day, entry.source);
    name(a).cmp(&name(b)).then_with(|| rest(a).cmp(&rest(b)))
}

/// Where an entry is read from.
struct Read {
    site: Uuid,
    who: Who<Uuid, Uuid>,
    record: Option<Uuid>,
}

impl Read {
    const fn animal(&self) -> Option<Uuid> {
        match self.who {
            Who::Animal(animal) => Some(animal),
            Who::Litter(_) => None,
        }
    }
}

fn read_from(entry: &Entry<Uuid>, books: &Books) -> Read {
    let of_litter = |n: usize, record| {
        let litter = &books.litters[n];
        Read { site: litter.site, who: Who::Litter(litter.litter), record }
    };
    match entry.source {
        Source::Stay(n) => {
            let stay = &books.stays[n];
            Read { site: stay.site, who: Who::Animal(stay.animal), record: Some(books.of_stays[n]) }
        }
        Source::Litter(n) => of_litter(n, None),
        Source::Change(n, change) => of_litter(n, Some(books.of_litters[n][change])),
    }
}

/// Entries with their names and with the facts that they rest on.
async fn told(
    snapshot: &Snapshot,
    caller: &Caller,
    (permits, books, taxa): (&[Permit], &Books, &HashMap<Uuid, Taxon>),
    entries: Vec<Entry<Uuid>>,
) -> Result<Vec<StockEntry>> {
    let read: Vec<Read> = entries.iter().map(|entry| read_from(entry, books)).collect();
    let of_animals: Vec<(Uuid, Uuid)> =
        read.iter().filter_map(|read| Some((read.animal()?, read.site))).collect();
    let mut names = books::names(snapshot, &of_animals).await?.into_iter();
    let mut facts = Facts::about(snapshot, caller, &entries, &read).await?;
    let code = |site: Uuid| permits.iter().find(|permit| permit.site().id == site);
    let mut told = Vec::with_capacity(entries.len());
    for (entry, read) in entries.into_iter().zip(read) {
        let nameless = || fault("an animal has no name".to_owned());
        let who = match read.who {
            Who::Animal(_) => Who::Animal(names.next().ok_or_else(nameless)?),
            Who::Litter(litter) => Who::Litter(litter),
        };
        let taxon = taxa.get(&entry.species).cloned();
        told.push(StockEntry {
            column: entry.column,
            taxon: taxon.ok_or_else(|| fault(format!("there is no species {}", entry.species)))?,
            site: code(read.site).map(|permit| permit.site().code.clone()).unwrap_or_default(),
            day: entry.day,
            counts: entry.counts,
            facts: facts.of(&entry, &read),
            who,
            record: read.record,
        });
    }
    Ok(told)
}

/// The facts that entries rest on.
struct Facts {
    told: HashMap<Uuid, Told>,
    /// By animal and kind.
    beside: HashMap<(Uuid, &'static str), Vec<Uuid>>,
}

/// What an entry of a column rests on beside the stay.
const fn beside(column: Column) -> Option<&'static str> {
    match column {
        Column::Died | Column::DiedYoung => Some("deaths"),
        Column::Born => Some("parents"),
        Column::Sexed => Some("sexings"),
        Column::Opening | Column::Arrived | Column::Departed | Column::Escaped | Column::Closing => None,
    }
}

impl Facts {
    async fn about(
        snapshot: &Snapshot,
        caller: &Caller,
        entries: &[Entry<Uuid>],
        read: &[Read],
    ) -> Result<Self> {
        let animals: BTreeSet<Uuid> = read.iter().filter_map(Read::animal).collect();
        let mut wanted: HashMap<Uuid, BTreeSet<&'static str>> = HashMap::new();
        for (entry, read) in entries.iter().zip(read) {
            if let Some((animal, kind)) = read.animal().zip(beside(entry.column)) {
                wanted.entry(animal).or_default().insert(kind);
            }
        }
        let of: Vec<Uuid> = wanted.keys().copied().collect();
        let mut by_kind: HashMap<(Uuid, &'static str), Vec<Uuid>> = HashMap::new();
        for row in books::beside(snapshot, &of).await? {
            let kind = wanted.get(&row.animal_id).and_then(|kinds| kinds.get(row.kind.as_str()));
            if let Some(kind) = kind {
                by_kind.entry((row.animal_id, kind)).or_default().push(row.id);
            }
        }
        let stays = read.iter().filter_map(|read| read.animal().and(read.record));
        let ids: Vec<Uuid> = stays.chain(by_kind.values().flatten().copied()).collect();
        let animals: Vec<Uuid> = animals.into_iter().collect();
        let told = history::these(snapshot, caller, &animals, &ids).await?;
        Ok(Self { told: told.into_iter().map(|fact| (fact.id, fact)).collect(), beside: by_kind })
    }

    fn of(&mut self, entry: &Entry<Uuid>, read: &Read) -> Vec<Told> {
        let Some(animal) = read.animal() else { return Vec::new() };
        let more = beside(entry.column).and_then(|kind| self.beside.get(&(animal, kind)));
        let ids = read.record.iter().chain(more.into_iter().flatten());
        ids.filter_map(|id| self.told.get(id).cloned()).collect()
    }
}
