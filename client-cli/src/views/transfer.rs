//! Transfers.

use super::row::row;
use super::{Thing, day, instant, short, some, spoken, written};
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::session::Zones;
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A step in the life of a transfer.
#[derive(Clone, Serialize)]
pub(crate) struct Step {
    step: String,
    site: String,
    person: Option<String>,
    happened_at: Option<String>,
    day_only: bool,
    recorded_at: Option<String>,
    note: Option<String>,
    #[serde(skip)]
    at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

/// A move of an animal between two sites.
#[derive(Clone, Serialize)]
pub(crate) struct Transfer {
    pub(crate) state: &'static str,
    withheld: bool,
    house_name: Option<String>,
    pub(crate) from_accession: String,
    to_accession: Option<String>,
    pub(crate) from_site: String,
    pub(crate) to_site: String,
    scientific_name: String,
    sex: &'static str,
    born_on: Option<String>,
    terms: &'static str,
    planned_on: Option<String>,
    loan_until: Option<String>,
    why: String,
    missing: Vec<String>,
    steps: Vec<Step>,
    animal_id: String,
    pub(crate) id: String,
    version: i64,
}

row! {
    /// A transfer as a line.
    Row of one: Transfer {
        state, withheld, house_name, from_accession, to_accession, from_site, to_site, scientific_name, sex,
        born_on, terms, planned_on, loan_until, why, missing,
        last_step_at: one.steps.last().and_then(|step| step.happened_at.clone()), id, version,
    }
}

impl Transfer {
    pub(crate) fn new(transfer: v1::Transfer, zones: &Zones) -> Self {
        let (state, terms, sex) = (transfer.state().word(), transfer.terms().word(), transfer.sex().word());
        let steps = transfer.steps.into_iter().map(|step| {
            let zone = zones.of(&step.site);
            Step {
                step: step.step,
                site: step.site,
                person: some(step.person),
                happened_at: written(step.happened_at, zone),
                day_only: step.day_only,
                recorded_at: written(step.recorded_at, zone),
                note: some(step.note),
                at: instant(step.happened_at),
                zone,
            }
        });
        Self {
            state,
            withheld: transfer.withheld,
            house_name: some(transfer.house_name),
            from_accession: transfer.from_accession,
            to_accession: some(transfer.to_accession),
            from_site: transfer.from_site,
            to_site: transfer.to_site,
            scientific_name: transfer.taxon,
            sex,
            born_on: day(transfer.born_on),
            terms,
            planned_on: day(transfer.planned_on),
            loan_until: day(transfer.loan_until),
            why: transfer.why,
            missing: transfer.missing,
            steps: steps.collect(),
            animal_id: transfer.animal_id,
            id: transfer.id,
            version: transfer.version,
        }
    }

    /// `Bramble (QUI-25-0001) from QUI to MER`.
    pub(crate) fn spoken(&self) -> String {
        let animal = spoken(self.house_name.as_deref(), &self.from_accession);
        format!("{animal} from {} to {}", self.from_site, self.to_site)
    }

    /// Where it stands now, in a sentence.
    pub(crate) fn told(&self) -> String {
        let accession = self.to_accession.as_ref();
        let given =
            accession.map(|number| format!(" {} gave it {number}.", self.to_site)).unwrap_or_default();
        format!("Transfer of {}: {}.{given} [{}]", self.spoken(), self.spoken_state(), short(&self.id))
    }

    /// What a move of this kind usually needs and this one does not have on record.
    pub(crate) fn missing(&self) -> &[String] {
        &self.missing
    }

    fn spoken_state(&self) -> String {
        let state = match self.state {
            "died-on-way" => "died on the way",
            "escaped-on-way" => "escaped on the way",
            state => state,
        };
        if self.withheld { format!("{state}, withheld") } else { state.to_owned() }
    }

    fn spoken_terms(&self) -> String {
        match (self.terms, &self.loan_until) {
            ("loan", Some(day)) => format!("loan until {day}"),
            ("loan", None) => "loan".to_owned(),
            _ => "ownership passes".to_owned(),
        }
    }

    /// It with its steps and with what is missing.
    pub(crate) fn paragraph(&self, page: &mut Page) {
        let state = self.spoken_state();
        let tone = if self.withheld { Tone::Warning } else { Tone::Strong };
        let head = format!("{}  {}  [{}]", page.paint(tone, &state), self.spoken(), short(&self.id));
        page.line(&head);
        let planned = self.planned_on.as_ref().map(|day| format!("; planned on {day}")).unwrap_or_default();
        page.indented(&format!("{}; {}{planned}", self.scientific_name, self.spoken_terms()), 2);
        page.indented(&format!("Why: {}", self.why), 2);
        if let Some(accession) = &self.to_accession {
            page.indented(&format!("{} gave it {accession}.", self.to_site), 2);
        }
        for step in &self.steps {
            let at = match step.at {
                Some(at) if step.day_only => moment::today(step.zone, at).to_string(),
                Some(at) => moment::spoken(at, step.zone),
                None => String::new(),
            };
            let person = step.person.as_ref().map(|person| format!(" ({person})")).unwrap_or_default();
            let note = step.note.as_ref().map(|note| format!(": {note}")).unwrap_or_default();
            page.hanging(&format!("  {at}  {} by {}{person}{note}", step.step, step.site), 4);
        }
        for missing in &self.missing {
            let missing = page.paint(Tone::Warning, &format!("missing: {missing}"));
            page.indented(&missing, 2);
        }
    }
}

impl Thing for Transfer {
    const MANY: &'static str = "transfers";
    const CAUTION: &'static str = "Holt records a move. It does not replace your vet, the licences of the \
        sites or local law.";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(transfers: &[Self], page: &mut Page) {
        let mut table = Table::new(["State", "Animal", "From", "To", "Terms", "Planned", "Missing", "Id"]);
        for transfer in transfers {
            let tone = if transfer.withheld { Tone::Warning } else { Tone::Calm };
            table.toned([
                (tone, transfer.spoken_state()),
                (Tone::Calm, spoken(transfer.house_name.as_deref(), &transfer.from_accession)),
                (Tone::Calm, transfer.from_site.clone()),
                (Tone::Calm, transfer.to_site.clone()),
                (Tone::Calm, transfer.spoken_terms()),
                (Tone::Calm, transfer.planned_on.clone().unwrap_or_default()),
                (Tone::Calm, transfer.missing.join("; ")),
                (Tone::Calm, short(&transfer.id).to_owned()),
            ]);
        }
        page.table(&table);
    }
}

impl Answer for Transfer {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        vec![self.row()]
    }

    fn page(&self, page: &mut Page) {
        self.paragraph(page);
        page.remark(Transfer::CAUTION);
    }
}
