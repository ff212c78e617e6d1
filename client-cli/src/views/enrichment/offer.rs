//! What was offered.

use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::views::{Thing, day, instant, short, some, written};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// Something that was offered.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Offer {
    site: String,
    /// None where it was offered in an enclosure.
    group: Option<String>,
    /// None where it was offered to a group.
    enclosure: Option<String>,
    item: String,
    kind: &'static str,
    given_on: Option<String>,
    given_at: Option<String>,
    /// None where nobody looked.
    met: Option<&'static str>,
    used_minutes: Option<i32>,
    kcal: Option<f64>,
    note: Option<String>,
    recorded_at: Option<String>,
    id: String,
    #[serde(skip)]
    at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

impl Offer {
    pub(crate) fn new(offer: v1::EnrichmentOffer, zone: Tz) -> Self {
        Self {
            kind: offer.kind().word(),
            met: Some(offer.response().word()).filter(|word| !word.is_empty()),
            site: offer.site,
            group: some(offer.group),
            enclosure: some(offer.enclosure),
            item: offer.item,
            given_on: day(offer.given_on),
            given_at: written(offer.given_at, zone),
            used_minutes: offer.used_minutes,
            kcal: offer.kcal,
            note: some(offer.note),
            recorded_at: written(offer.recorded_at, zone),
            id: offer.id,
            at: instant(offer.given_at),
            zone,
        }
    }

    fn to(&self) -> String {
        match (&self.group, &self.enclosure) {
            (Some(group), _) => group.clone(),
            (None, Some(enclosure)) => format!("in {enclosure}"),
            (None, None) => String::new(),
        }
    }

    fn met(&self) -> String {
        let met = self.met.unwrap_or("not observed");
        match self.used_minutes {
            Some(minutes @ 1..) => format!("{met}, {minutes} min"),
            _ => met.to_owned(),
        }
    }

    fn time(&self) -> String {
        self.at.map(|at| moment::spoken(at, self.zone)).unwrap_or_default()
    }

    /// `Weir family: Herbs (sensory), at 2026-11-25 09:30 GMT; used, 12 min [0000002a]`
    pub(crate) fn spoken(&self) -> String {
        let (to, item, kind, met) = (self.to(), &self.item, self.kind, self.met());
        format!("{to}: {item} ({kind}), at {}; {met} [{}]", self.time(), short(&self.id))
    }
}

impl Thing for Offer {
    const MANY: &'static str = "offers";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(offers: &[Self], page: &mut Page) {
        let mut table = Table::new(["Offered", "To", "Item", "Kind", "Response", "Note", "Id"]);
        for offer in offers {
            table.row([
                offer.time(),
                offer.to(),
                offer.item.clone(),
                offer.kind.to_owned(),
                offer.met(),
                offer.note.clone().unwrap_or_default(),
                short(&offer.id).to_owned(),
            ]);
        }
        page.table(&table);
    }
}

/// What speaks against an offer.
#[derive(Clone, Serialize)]
struct Warning {
    objection: &'static str,
    say: String,
}

/// What was recorded just now.
#[derive(Serialize)]
pub(crate) struct Given {
    offers: Vec<Offer>,
    warnings: Vec<Warning>,
}

impl Given {
    pub(crate) fn new(answer: v1::RecordEnrichmentResponse, zone: Tz) -> Self {
        let warnings = answer.warnings.into_iter();
        Self {
            offers: answer.offers.into_iter().map(|offer| Offer::new(offer, zone)).collect(),
            warnings: warnings
                .map(|one| Warning { objection: one.objection().word(), say: one.say })
                .collect(),
        }
    }
}

impl Answer for Given {
    type Row = Offer;

    fn rows(&self) -> Vec<Offer> {
        self.offers.clone()
    }

    fn page(&self, page: &mut Page) {
        for offer in &self.offers {
            page.hanging(&offer.spoken(), 4);
        }
        for warning in &self.warnings {
            let say = page.paint(Tone::Warning, &format!("Objection: {}.", warning.say));
            page.hanging(&say, 4);
        }
    }
}
