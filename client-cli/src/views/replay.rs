//! What would have been raised when.

use super::{count, day, some, spoken};
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// A change that people would have been told of.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Told {
    /// `today` or `otherwise`: under which thresholds.
    thresholds: &'static str,
    on: Option<String>,
    accession: String,
    house_name: Option<String>,
    /// Of the group that it is about; none where it is about one animal.
    enclosure: Option<String>,
    taxon: Option<String>,
    about: &'static str,
    change: &'static str,
    level: &'static str,
    since: Option<String>,
}

/// A replay.
#[derive(Serialize)]
pub(crate) struct Replay {
    told: Vec<Told>,
    raised_today: i32,
    /// None where no other thresholds were asked for.
    raised_otherwise: Option<i32>,
    animals: i32,
    animal_years: f64,
    caution: String,
}

fn told(under: &'static str, replayed: &v1::Replayed) -> Vec<Told> {
    let told = replayed.told.iter().map(|one| Told {
        thresholds: under,
        on: day(one.told_on),
        accession: one.accession.clone(),
        house_name: some(one.house_name.clone()),
        enclosure: some(one.enclosure.clone()),
        taxon: some(one.taxon.clone()),
        about: one.kind().word(),
        change: one.change().word(),
        level: one.level().word(),
        since: day(one.began_on),
    });
    told.collect()
}

impl From<v1::ReplayConcernsResponse> for Replay {
    fn from(answer: v1::ReplayConcernsResponse) -> Self {
        let today = answer.today.unwrap_or_default();
        let otherwise = answer.otherwise;
        let mut all = told("today", &today);
        all.extend(otherwise.iter().flat_map(|replayed| told("otherwise", replayed)));
        Self {
            told: all,
            raised_today: today.raised,
            raised_otherwise: otherwise.map(|replayed| replayed.raised),
            animals: answer.animals,
            animal_years: answer.animal_years,
            caution: answer.caution,
        }
    }
}

impl Told {
    fn spoken(&self) -> String {
        match (&self.enclosure, &self.taxon) {
            (Some(enclosure), Some(taxon)) => format!("{taxon} in {enclosure}"),
            _ => spoken(self.house_name.as_deref(), &self.accession),
        }
    }
}

impl Replay {
    fn table(&self, page: &mut Page, under: &str) {
        let mut table = Table::new(["Day", "Animal", "About", "Change", "Level", "Since"]);
        for one in self.told.iter().filter(|one| one.thresholds == under) {
            table.row([
                one.on.clone().unwrap_or_default(),
                one.spoken(),
                one.about.to_owned(),
                one.change.to_owned(),
                one.level.to_owned(),
                one.since.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }

    fn rate(&self, raised: i32) -> String {
        let raised_words = count(usize::try_from(raised).unwrap_or_default(), "concern", "concerns");
        if self.animal_years > 0.0 {
            format!("{raised_words} raised, {:.2} a year of an animal", f64::from(raised) / self.animal_years)
        } else {
            format!("{raised_words} raised")
        }
    }
}

impl Answer for Replay {
    type Row = Told;

    fn rows(&self) -> Vec<Told> {
        self.told.clone()
    }

    fn page(&self, page: &mut Page) {
        let animals = count(usize::try_from(self.animals).unwrap_or_default(), "animal", "animals");
        page.line(&format!("{animals}, {:.1} animal-years in all.", self.animal_years));
        page.gap();
        page.line(&format!("By today's thresholds: {}.", self.rate(self.raised_today)));
        self.table(page, "today");
        if let Some(raised) = self.raised_otherwise {
            page.gap();
            page.line(&format!("By the thresholds given: {}.", self.rate(raised)));
            self.table(page, "otherwise");
        }
        page.remark(&self.caution);
    }
}
