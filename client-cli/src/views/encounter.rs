//! Encounters with the public, and their limits.

use super::row::row;
use super::{CHECKED_ONLY, Thing, count, day, instant, short, some, spoken, written};
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// What one animal may be asked to do; what is none is not limited.
#[derive(Clone, Copy, Default, Serialize)]
struct Limits {
    minutes_a_day: Option<i32>,
    minutes_a_week: Option<i32>,
    encounters_a_day: Option<i32>,
    rest_minutes: Option<i32>,
    free_days_a_week: Option<i32>,
}

impl From<v1::EncounterLimits> for Limits {
    fn from(limits: v1::EncounterLimits) -> Self {
        Self {
            minutes_a_day: limits.minutes_a_day,
            minutes_a_week: limits.minutes_a_week,
            encounters_a_day: limits.encounters_a_day,
            rest_minutes: limits.rest_minutes,
            free_days_a_week: limits.free_days_a_week,
        }
    }
}

impl Limits {
    /// `45 minutes a day, 60 minutes of rest`; empty where nothing is limited.
    fn spoken(self) -> String {
        let of = |n: Option<i32>, one: &str, many: &str| {
            n.map(|n| if n == 1 { format!("1 {one}") } else { format!("{n} {many}") })
        };
        let each = [
            of(self.minutes_a_day, "minute a day", "minutes a day"),
            of(self.minutes_a_week, "minute in seven days", "minutes in seven days"),
            of(self.encounters_a_day, "encounter a day", "encounters a day"),
            of(self.rest_minutes, "minute of rest", "minutes of rest"),
            of(self.free_days_a_week, "free day in seven", "free days in seven"),
        ];
        each.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}

/// An animal.
#[derive(Clone, Serialize)]
struct Animal {
    accession: String,
    house_name: Option<String>,
}

impl From<v1::AnimalLabel> for Animal {
    fn from(animal: v1::AnimalLabel) -> Self {
        Self { accession: animal.accession, house_name: some(animal.house_name) }
    }
}

impl Animal {
    fn spoken(&self) -> String {
        spoken(self.house_name.as_deref(), &self.accession)
    }
}

/// Limits with what they hold for.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Rule {
    scientific_name: Option<String>,
    accession: Option<String>,
    house_name: Option<String>,
    #[serde(flatten)]
    limits: Limits,
}

row! {
    /// The same as a line.
    RuleRow of one: Rule {
        scientific_name, accession, house_name, minutes_a_day: one.limits.minutes_a_day,
        minutes_a_week: one.limits.minutes_a_week, encounters_a_day: one.limits.encounters_a_day,
        rest_minutes: one.limits.rest_minutes, free_days_a_week: one.limits.free_days_a_week,
    }
}

impl From<v1::EncounterRule> for Rule {
    fn from(rule: v1::EncounterRule) -> Self {
        let animal = rule.animal.map(Animal::from);
        let (accession, house_name) =
            animal.map(|animal| (Some(animal.accession), animal.house_name)).unwrap_or_default();
        Self {
            scientific_name: some(rule.taxon),
            accession,
            house_name,
            limits: rule.limits.unwrap_or_default().into(),
        }
    }
}

impl Rule {
    fn of(&self) -> String {
        match (&self.scientific_name, &self.accession) {
            (Some(name), _) => name.clone(),
            (None, accession) => spoken(self.house_name.as_deref(), accession.as_deref().unwrap_or_default()),
        }
    }

    pub(crate) fn spoken(&self) -> String {
        let limits = self.limits.spoken();
        if limits.is_empty() {
            return format!("{}: no limits.", self.of());
        }
        format!("{}: {limits}.", self.of())
    }
}

impl Thing for Rule {
    const MANY: &'static str = "limits";
    type Row = RuleRow;

    fn row(&self) -> RuleRow {
        self.into()
    }

    fn table(rules: &[Self], page: &mut Page) {
        for rule in rules {
            page.hanging(&rule.spoken(), 4);
        }
    }
}

/// An encounter.
#[derive(Clone, Serialize)]
pub(crate) struct Encounter {
    site: String,
    kind: &'static str,
    began_at: Option<String>,
    ended_at: Option<String>,
    minutes: Option<i64>,
    animals: Vec<Animal>,
    people: Option<i32>,
    incident: Option<String>,
    note: Option<String>,
    recorded_at: Option<String>,
    id: String,
    #[serde(skip)]
    at: Option<(DateTime<Utc>, DateTime<Utc>)>,
    #[serde(skip)]
    zone: Tz,
}

row! {
    /// The same as a line.
    EncounterRow of one: Encounter {
        kind, began_at, ended_at, minutes, animals: one.animals.iter().map(Animal::spoken).collect::<Vec<_>>(),
        people, incident, note, id,
    }
}

impl Encounter {
    pub(crate) fn new(encounter: v1::Encounter, zone: Tz) -> Self {
        let at = instant(encounter.began_at).zip(instant(encounter.ended_at));
        Self {
            kind: encounter.kind().word(),
            site: encounter.site,
            began_at: written(encounter.began_at, zone),
            ended_at: written(encounter.ended_at, zone),
            minutes: at.map(|(began, ended)| (ended - began).num_minutes()),
            animals: encounter.animals.into_iter().map(Animal::from).collect(),
            people: (encounter.people > 0).then_some(encounter.people),
            incident: some(encounter.incident),
            note: some(encounter.note),
            recorded_at: written(encounter.recorded_at, zone),
            id: encounter.id,
            at,
            zone,
        }
    }

    fn names(&self) -> String {
        let name = |animal: &Animal| animal.house_name.clone().unwrap_or_else(|| animal.accession.clone());
        self.animals.iter().map(name).collect::<Vec<_>>().join(", ")
    }

    fn time(&self) -> String {
        self.at.map(|(began, _)| moment::spoken(began, self.zone)).unwrap_or_default()
    }

    fn lasted(&self) -> String {
        self.minutes.map(|minutes| format!("{minutes} min")).unwrap_or_default()
    }

    /// `talk, 2026-11-25 11:00 GMT for 20 min: Bramble, Sedge [0000002a]`
    pub(crate) fn spoken(&self) -> String {
        let people = self
            .people
            .and_then(|people| usize::try_from(people).ok())
            .map(|people| format!(" with {}", count(people, "person", "people")))
            .unwrap_or_default();
        let incident =
            self.incident.as_ref().map(|incident| format!("; incident: {incident}")).unwrap_or_default();
        format!(
            "{}, {} for {}{people}: {}{incident} [{}]",
            self.kind,
            self.time(),
            self.lasted(),
            self.names(),
            short(&self.id)
        )
    }
}

impl Thing for Encounter {
    const MANY: &'static str = "encounters";
    type Row = EncounterRow;

    fn row(&self) -> EncounterRow {
        self.into()
    }

    fn table(encounters: &[Self], page: &mut Page) {
        let heads = ["Began", "Lasted", "What", "Animals", "People", "Incident", "Note", "Id"];
        let mut table = Table::new(heads).numbers([1, 4]);
        for encounter in encounters {
            let tone = if encounter.incident.is_some() { Tone::Warning } else { Tone::Calm };
            table.toned([
                (Tone::Calm, encounter.time()),
                (Tone::Calm, encounter.lasted()),
                (Tone::Calm, encounter.kind.to_owned()),
                (Tone::Calm, encounter.names()),
                (Tone::Calm, encounter.people.map(|people| people.to_string()).unwrap_or_default()),
                (tone, encounter.incident.clone().unwrap_or_default()),
                (Tone::Calm, encounter.note.clone().unwrap_or_default()),
                (Tone::Calm, short(&encounter.id).to_owned()),
            ]);
        }
        page.table(&table);
    }
}

/// A limit that was not kept.
#[derive(Clone, Serialize)]
struct Breach {
    accession: String,
    house_name: Option<String>,
    limit: &'static str,
    day: Option<String>,
    told: i32,
    set: i32,
    say: String,
}

impl From<v1::EncounterBreach> for Breach {
    fn from(breach: v1::EncounterBreach) -> Self {
        let limit = breach.limit().word();
        let animal = Animal::from(breach.animal.unwrap_or_default());
        Self {
            accession: animal.accession,
            house_name: animal.house_name,
            limit,
            day: day(breach.broken_on),
            told: breach.told,
            set: breach.set,
            say: breach.say,
        }
    }
}

/// An encounter that was recorded, or tried, and what it breaks.
#[derive(Serialize)]
pub(crate) struct Recorded {
    #[serde(flatten)]
    encounter: Encounter,
    breaches: Vec<Breach>,
    unlimited: Vec<Animal>,
    #[serde(skip)]
    checked_only: bool,
}

impl Recorded {
    pub(crate) fn new(answer: v1::RecordEncounterResponse, checked_only: bool, zone: Tz) -> Self {
        Self {
            encounter: Encounter::new(answer.encounter.unwrap_or_default(), zone),
            breaches: answer.breaches.into_iter().map(Breach::from).collect(),
            unlimited: answer.unlimited.into_iter().map(Animal::from).collect(),
            checked_only,
        }
    }

    pub(crate) fn breaks_any(&self) -> bool {
        !self.breaches.is_empty()
    }
}

impl Answer for Recorded {
    type Row = EncounterRow;

    fn rows(&self) -> Vec<EncounterRow> {
        vec![self.encounter.row()]
    }

    fn page(&self, page: &mut Page) {
        if self.checked_only {
            page.line(CHECKED_ONLY);
        } else {
            page.hanging(&self.encounter.spoken(), 4);
        }
        for breach in &self.breaches {
            let say = page.paint(Tone::Warning, &format!("Over its limit: {}.", breach.say));
            page.hanging(&say, 4);
        }
        if self.breaches.is_empty() {
            page.line("No limit is broken.");
        }
        if !self.unlimited.is_empty() {
            let names = self.unlimited.iter().map(Animal::spoken).collect::<Vec<_>>().join(", ");
            page.hanging(&format!("Without limits: {names}. Set some: `holt encounter limit`."), 4);
        }
    }
}

/// What is left of the limits of an animal.
#[derive(Clone, Serialize)]
pub(crate) struct Allowance {
    accession: String,
    house_name: Option<String>,
    may_meet: bool,
    minutes_left: Option<i32>,
    encounters_left: Option<i32>,
    rests_until: Option<String>,
    must_stay_free: bool,
    /// None where it has no limits.
    limits: Option<Limits>,
    /// Whether they are its own, and not those of its species.
    own: bool,
    breaches: Vec<Breach>,
    #[serde(skip)]
    rests: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

row! {
    /// The same as a line.
    AllowanceRow of one: Allowance {
        accession, house_name, may_meet, minutes_left, encounters_left, rests_until, must_stay_free,
        breaches: one.breaches.iter().map(|breach| breach.say.as_str()).collect::<Vec<_>>(),
    }
}

impl Allowance {
    pub(crate) fn new(allowance: v1::EncounterAllowance, zone: Tz) -> Self {
        let animal = Animal::from(allowance.animal.unwrap_or_default());
        Self {
            accession: animal.accession,
            house_name: animal.house_name,
            may_meet: allowance.may_meet,
            minutes_left: allowance.minutes_left,
            encounters_left: allowance.encounters_left,
            rests_until: written(allowance.rests_until_at, zone),
            must_stay_free: allowance.must_stay_free,
            limits: allowance.limits.map(Limits::from),
            own: allowance.own,
            breaches: allowance.breaches.into_iter().map(Breach::from).collect(),
            rests: instant(allowance.rests_until_at),
            zone,
        }
    }

    /// Whether it may be met at the time asked about.
    pub(crate) const fn may_meet_now(&self) -> bool {
        self.may_meet && self.rests.is_none()
    }

    fn remark(&self) -> String {
        let Some(_) = self.limits else { return "no limits are set".to_owned() };
        let rests = self
            .rests
            .map(|until| format!("rests until {}", until.with_timezone(&self.zone).format("%H:%M")));
        let free = self.must_stay_free.then(|| "its day must stay free".to_owned());
        [rests, free].into_iter().flatten().collect::<Vec<_>>().join("; ")
    }
}

impl Thing for Allowance {
    const MANY: &'static str = "animals with limits";
    type Row = AllowanceRow;

    fn row(&self) -> AllowanceRow {
        self.into()
    }

    fn table(allowances: &[Self], page: &mut Page) {
        let mut table = Table::new(["Animal", "Today", "Minutes", "Encounters", ""]).numbers([2, 3]);
        let number = |n: Option<i32>| n.map(|n| n.to_string()).unwrap_or_default();
        for allowance in allowances {
            let (tone, today) = match (allowance.may_meet, allowance.rests.is_some()) {
                (false, _) => (Tone::Warning, "no encounters"),
                (true, true) => (Tone::Warning, "after its rest"),
                (true, false) => (Tone::Calm, "may"),
            };
            table.toned([
                (Tone::Calm, spoken(allowance.house_name.as_deref(), &allowance.accession)),
                (tone, today.to_owned()),
                (Tone::Calm, number(allowance.minutes_left)),
                (Tone::Calm, number(allowance.encounters_left)),
                (Tone::Calm, allowance.remark()),
            ]);
        }
        page.table(&table);
        let broken: Vec<&Breach> = allowances.iter().flat_map(|allowance| &allowance.breaches).collect();
        if !broken.is_empty() {
            page.gap();
            page.line("Not kept in the last seven days:");
            for breach in broken {
                page.hanging(&format!("  {}", breach.say), 4);
            }
        }
        page.remark(
            "Minutes and encounters are the remaining allowance of today and of seven consecutive days. The \
             limits are the site's own. They do not replace a look at the animals, your vet or local law.",
        );
    }
}
