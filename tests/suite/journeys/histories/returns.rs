//! Returns: what they say of a site is what the tables hold, and what they say of all sites is who lives.

use super::stage::ZONES;
use super::witness::Witness;
use chrono::{Days, NaiveDate};
use holt_proto::time::day;
use holt_proto::v1;
use holt_server::clock::Clock;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

/// The count over the tables to which the census is held with several writers, too.
const COUNT: &str = include_str!("../census/conservation/count.sql");

/// Young that are counted in litters and not yet told apart.
const YOUNG: &str = "SELECT coalesce(sum(CASE kind WHEN 'born' THEN 1 WHEN 'sexed' THEN 0 ELSE -1 END
                                     * (males + females + unknown)), 0)::bigint
                       FROM standing.litter_changes WHERE site_id = ANY ($1) AND superseded_at IS NULL";

/// Males, females and unknown by species and column.
type Counted = BTreeMap<(String, String), [i64; 3]>;

fn columns(line: &v1::StockLine) -> [(&'static str, Option<v1::Counts>); 8] {
    [
        ("opening", line.opening),
        ("arrived", line.arrived),
        ("born", line.born),
        ("died_young", line.died_young),
        ("died", line.died),
        ("departed", line.departed),
        ("escaped", line.escaped),
        ("closing", line.closing),
    ]
}

/// The same columns of what stands behind a return.
const COLUMNS: [v1::StockColumn; 8] = [
    v1::StockColumn::Opening,
    v1::StockColumn::Arrived,
    v1::StockColumn::Born,
    v1::StockColumn::DiedYoung,
    v1::StockColumn::Died,
    v1::StockColumn::Departed,
    v1::StockColumn::Escaped,
    v1::StockColumn::Closing,
];

fn three(counts: Option<v1::Counts>) -> [i64; 3] {
    let counts = counts.unwrap_or_default();
    [counts.males, counts.females, counts.unknown]
}

fn sum(counts: Option<v1::Counts>) -> i64 {
    three(counts).iter().sum()
}

/// Whether what was there, came and went makes what is there.
fn adds_up(line: &v1::StockLine) -> bool {
    let came = sum(line.opening) + sum(line.arrived) + sum(line.born);
    let went = sum(line.died_young) + sum(line.died) + sum(line.departed) + sum(line.escaped);
    came - went == sum(line.closing) && sum(line.sexed) == 0 && line.balances
}

impl Witness<'_> {
    pub(super) fn today(&self, site: usize) -> NaiveDate {
        self.stage.house.clock.now().with_timezone(&ZONES[site]).date_naive()
    }

    /// Holds the returns of some days to the tables.
    pub(super) async fn hold_returns(&mut self) {
        let site = self.chance.below(3);
        let today = self.today(site);
        let back = |days: usize| today - Days::new(u64::try_from(days).unwrap());
        let (one, other) = (back(self.chance.below(50)), back(self.chance.below(20)));
        let (first, last) = (one.min(other), one.max(other));
        let code = self.stage.codes[site].clone();
        let ask = v1::GetStockReturnRequest {
            site: code.clone(),
            days: Some(v1::DaySpan { first: Some(day(first)), last: Some(day(last)) }),
            ..Default::default()
        };
        let all = Arc::clone(self.stage.auditor_of_all());
        let own = Arc::clone(self.stage.auditor(site));
        let Some(told) = self.one_return(&all, &[0, 1, 2], &ask).await else { return };
        let tables = self.count(&code, first, last).await;
        let mut census = Counted::new();
        for line in &told.lines {
            let species = line.taxon.as_ref().unwrap().scientific_name.clone();
            for (column, counts) in columns(line) {
                census.insert((species.clone(), column.to_owned()), three(counts));
            }
        }
        census.retain(|_, counts| *counts != [0; 3]);
        if census != tables {
            let said = format!("the return of {code} {first}..{last}: {census:?}; the tables: {tables:?}");
            self.tally().violated(&said);
        }
        // The site itself may know less of the sex of an animal that has left, and counts as many.
        if let Some(own) = self.one_return(&own, &[site], &ask).await {
            let totals =
                |told: &v1::StockReturn| columns(told.total.as_ref().unwrap()).map(|(_, counts)| sum(counts));
            if totals(&own) != totals(&told) {
                let said = format!("{code} counts {:?} for itself, and {:?}", totals(&own), totals(&told));
                self.tally().violated(&said);
            }
        }
        self.hold_entries(&all, &[0, 1, 2], &ask, &told).await;
        self.hold_all_together().await;
    }

    /// What stands behind a return adds up to it, and is read by whoever reads the return.
    async fn hold_entries(
        &mut self,
        who: &super::stage::Actor,
        sites: &[usize],
        ask: &v1::GetStockReturnRequest,
        told: &v1::StockReturn,
    ) {
        let (site, days, page) =
            (ask.site.clone(), ask.days, Some(v1::PageRequest { size: 1000, ..Default::default() }));
        let ask = v1::ListStockEntriesRequest { site, days, page, ..Default::default() };
        let entries = match self.read(who, sites, &ask).await {
            Ok(answer) => answer.entries,
            Err(status) => {
                self.tally()
                    .violated(&format!("the entries of a return were not answered: {ask:?}: {status:?}"));
                return;
            }
        };
        let mut sums = [[0; 3]; COLUMNS.len()];
        for entry in &entries {
            if let Some(n) = COLUMNS.iter().position(|column| *column == entry.column()) {
                let adds = three(entry.counts);
                (0..3).for_each(|sex| sums[n][sex] += adds[sex]);
            }
        }
        let of_return = columns(told.total.as_ref().unwrap()).map(|(_, counts)| three(counts));
        if sums != of_return {
            self.tally()
                .violated(&format!("entries add up to {sums:?}, the return says {of_return:?}: {entries:?}"));
        }
        let bare = |entry: &&v1::StockEntry| entry.animal.is_some() && entry.facts.is_empty();
        if let Some(entry) = entries.iter().find(bare) {
            self.tally().violated(&format!("an entry rests on no fact: {entry:?}"));
        }
    }

    async fn one_return(
        &mut self,
        who: &super::stage::Actor,
        sites: &[usize],
        ask: &v1::GetStockReturnRequest,
    ) -> Option<v1::StockReturn> {
        let answer = self.read(who, sites, ask).await;
        let mut tally = self.tally();
        tally.returns += 1;
        let told = match answer.map(|answer| answer.returns) {
            Ok(mut returns) if returns.len() == 1 => returns.swap_remove(0),
            other => {
                tally.violated(&format!("a return was not answered: {ask:?}: {other:?}"));
                return None;
            }
        };
        if !told.balances || !told.lines.iter().chain(&told.total).all(adds_up) {
            tally.violated(&format!("a return does not add up: {told:?}"));
        }
        Some(told)
    }

    /// All sites together close with the animals that live in Holt, those on their way among them.
    async fn hold_all_together(&mut self) {
        let last = (0..3).map(|site| self.today(site)).max().unwrap();
        let ask = v1::GetStockReturnRequest {
            days: Some(v1::DaySpan { first: Some(day(last - Days::new(40))), last: Some(day(last)) }),
            together: true,
            ..Default::default()
        };
        let all = Arc::clone(self.stage.auditor_of_all());
        let Some(told) = self.one_return(&all, &[0, 1, 2], &ask).await else { return };
        let young: i64 =
            sqlx::query_scalar(YOUNG).bind(&self.sites).fetch_one(&mut *self.owner).await.unwrap();
        let held: BTreeSet<Uuid> = self.held().await.into_iter().map(|(animal, _)| animal).collect();
        let living = i64::try_from(held.len()).unwrap() + young;
        let closing = sum(told.total.as_ref().unwrap().closing);
        if closing != living {
            self.tally().violated(&format!("{living} live, and all sites together close with {closing}"));
        }
    }

    async fn count(&mut self, code: &str, first: NaiveDate, last: NaiveDate) -> Counted {
        // A merge is no change of any table that is counted: what stands of the animals is.
        sqlx::query("SET search_path = standing, public").execute(&mut *self.owner).await.unwrap();
        let rows: Vec<(String, String, i64, i64, i64)> = sqlx::query_as(COUNT)
            .bind([code].as_slice())
            .bind(first)
            .bind(last)
            .fetch_all(&mut *self.owner)
            .await
            .unwrap();
        sqlx::query("RESET search_path").execute(&mut *self.owner).await.unwrap();
        let mut counted = Counted::new();
        for (species, column, males, females, unknown) in rows {
            counted.insert((species, column), [males, females, unknown]);
        }
        counted.retain(|_, counts| *counts != [0; 3]);
        counted
    }
}
