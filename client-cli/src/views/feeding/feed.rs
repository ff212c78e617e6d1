//! What was given.

use crate::moment;
use crate::output::{Answer, Page, Table};
use crate::views::{Thing, day, instant, short, some, spoken, spoken_mass, tenth, written};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// Something that was given.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Feed {
    site: String,
    /// None where an animal was fed alone.
    group: Option<String>,
    /// None where it was given to a group.
    accession: Option<String>,
    house_name: Option<String>,
    food: String,
    given_mg: i64,
    given_kcal: f64,
    given_on: Option<String>,
    given_at: Option<String>,
    how: &'static str,
    enrichment: bool,
    /// None where nobody has looked.
    left_mg: Option<i64>,
    eaten_kcal: Option<f64>,
    lasted_minutes: Option<i32>,
    note: Option<String>,
    recorded_at: Option<String>,
    id: String,
    #[serde(skip)]
    at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

impl Feed {
    pub(crate) fn new(feed: v1::Feed, zone: Tz) -> Self {
        let how = feed.method().word();
        let (accession, house_name) =
            feed.animal.map(|animal| (some(animal.accession), some(animal.house_name))).unwrap_or_default();
        Self {
            site: feed.site,
            group: some(feed.group),
            accession,
            house_name,
            food: feed.food,
            given_mg: feed.given.map(|mass| mass.milligrams).unwrap_or_default(),
            given_kcal: tenth(feed.given_kcal),
            given_on: day(feed.given_on),
            given_at: written(feed.given_at, zone),
            how,
            enrichment: feed.as_enrichment,
            left_mg: feed.left.map(|mass| mass.milligrams),
            eaten_kcal: feed.eaten_kcal.map(tenth),
            lasted_minutes: feed.lasted_minutes,
            note: some(feed.note),
            recorded_at: written(feed.recorded_at, zone),
            id: feed.id,
            at: instant(feed.given_at),
            zone,
        }
    }

    pub(super) fn to(&self) -> String {
        match (&self.group, &self.accession) {
            (Some(group), _) => group.clone(),
            (None, Some(accession)) => format!("{} alone", spoken(self.house_name.as_deref(), accession)),
            (None, None) => String::new(),
        }
    }

    pub(super) fn left(&self) -> String {
        match self.left_mg {
            None => "not recorded".to_owned(),
            Some(0) => "nothing".to_owned(),
            Some(mg) => spoken_mass(mg),
        }
    }

    pub(super) fn how(&self) -> String {
        if self.enrichment { format!("{}, enrichment", self.how) } else { self.how.to_owned() }
    }

    pub(super) fn lasted(&self) -> String {
        self.lasted_minutes.map(|minutes| format!("{minutes} min")).unwrap_or_default()
    }

    pub(super) fn time(&self) -> String {
        self.at.map(|at| at.with_timezone(&self.zone).format("%H:%M").to_string()).unwrap_or_default()
    }

    pub(super) fn food(&self) -> String {
        format!("{} {}", spoken_mass(self.given_mg), self.food)
    }

    /// `06:35  400 g Trout, bowl; left: 30 g`, and of an animal that was fed alone its name.
    pub(super) fn line(&self) -> String {
        let alone = if self.accession.is_some() { format!(" for {}", self.to()) } else { String::new() };
        format!("{}  {}{alone}, {}; leftovers: {}", self.time(), self.food(), self.how(), self.left())
    }

    pub(super) fn short_id(&self) -> String {
        short(&self.id).to_owned()
    }

    /// `Weir family: 400 g Trout, bowl, at 2026-11-25 06:30 GMT; left: nothing [0000002a]`
    pub(crate) fn spoken(&self) -> String {
        let at = self.at.map(|at| moment::spoken(at, self.zone)).unwrap_or_default();
        let lasted = self.lasted_minutes.map(|minutes| format!(", lasted {minutes} min")).unwrap_or_default();
        format!(
            "{}: {}, {}, at {at}; leftovers: {}{lasted} [{}]",
            self.to(),
            self.food(),
            self.how(),
            self.left(),
            self.short_id()
        )
    }
}

impl Thing for Feed {
    const MANY: &'static str = "feeds";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(feeds: &[Self], page: &mut Page) {
        let mut table = Table::new(["Given", "To", "What", "How", "Leftovers", "Lasted", "Note", "Id"]);
        for feed in feeds {
            table.row([
                feed.at.map(|at| moment::spoken(at, feed.zone)).unwrap_or_default(),
                feed.to(),
                feed.food(),
                feed.how(),
                feed.left(),
                feed.lasted(),
                feed.note.clone().unwrap_or_default(),
                feed.short_id(),
            ]);
        }
        page.table(&table);
    }
}

/// What was recorded just now.
#[derive(Serialize)]
pub(crate) struct Given(pub(crate) Vec<Feed>);

impl Answer for Given {
    type Row = Feed;

    fn rows(&self) -> Vec<Feed> {
        self.0.clone()
    }

    fn page(&self, page: &mut Page) {
        for feed in &self.0 {
            page.hanging(&feed.spoken(), 4);
        }
    }
}
