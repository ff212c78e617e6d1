//! What the animals' houses are like.

use super::{Thing, instant, some, written};
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A device.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Device {
    site: String,
    pub(crate) enclosure: String,
    pub(crate) name: String,
    measure: &'static str,
    may_be_silent_minutes: i32,
    note: Option<String>,
    id: String,
}

impl From<v1::Device> for Device {
    fn from(device: v1::Device) -> Self {
        let measure = device.measure().word();
        Self {
            site: device.site,
            enclosure: device.enclosure,
            name: device.name,
            measure,
            may_be_silent_minutes: device.may_be_silent_minutes,
            note: some(device.note),
            id: device.id,
        }
    }
}

impl Device {
    pub(crate) fn spoken_measure(&self) -> String {
        self.measure.replace('-', " ")
    }
}

impl Thing for Device {
    const MANY: &'static str = "devices";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(devices: &[Self], page: &mut Page) {
        let mut table = Table::new(["Enclosure", "Device", "Reads", "Note"]);
        for device in devices {
            table.row([
                device.enclosure.clone(),
                device.name.clone(),
                device.spoken_measure(),
                device.note.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}

/// The unit of a measure, with a space before it where one is written.
pub(super) fn unit(measure: &str) -> &'static str {
    match measure {
        "temperature" | "water-temperature" => " °C",
        "humidity" => " %",
        _ => "",
    }
}

fn range(low: Option<f64>, high: Option<f64>, measure: &str) -> String {
    let unit = unit(measure);
    match (low, high) {
        (Some(low), Some(high)) => format!("{low} to {high}{unit}"),
        (Some(low), None) => format!("{low}{unit} or more"),
        (None, Some(high)) => format!("{high}{unit} or less"),
        (None, None) => String::new(),
    }
}

/// What must be kept.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Rules {
    enclosure: String,
    measure: &'static str,
    rules: Vec<Rule>,
    raise_after_minutes: i32,
    at_once_beyond: f64,
    margin: f64,
    clear_after_minutes: i32,
}

#[derive(Clone, Serialize)]
struct Rule {
    low: Option<f64>,
    high: Option<f64>,
    season_first: Option<String>,
    season_last: Option<String>,
    hours_first: Option<String>,
    hours_last: Option<String>,
}

/// What must be kept, as a line.
#[derive(Default, Serialize)]
pub(crate) struct RulesRow {
    enclosure: String,
    measure: &'static str,
    kept: String,
}

impl From<v1::ClimateRules> for Rules {
    fn from(rules: v1::ClimateRules) -> Self {
        let measure = rules.measure().word();
        let each = rules.rules.into_iter().map(|rule| Rule {
            low: rule.low,
            high: rule.high,
            season_first: some(rule.season_first),
            season_last: some(rule.season_last),
            hours_first: some(rule.hours_first),
            hours_last: some(rule.hours_last),
        });
        Self {
            enclosure: rules.enclosure,
            measure,
            rules: each.collect(),
            raise_after_minutes: rules.raise_after_minutes,
            at_once_beyond: rules.at_once_beyond,
            margin: rules.margin,
            clear_after_minutes: rules.clear_after_minutes,
        }
    }
}

impl Rules {
    fn kept(&self) -> String {
        let each = self.rules.iter().map(|rule| {
            let mut say = range(rule.low, rule.high, self.measure);
            if let Some((first, last)) = rule.season_first.as_ref().zip(rule.season_last.as_ref()) {
                say.push_str(&format!(" from {first} to {last}"));
            }
            if let Some((first, last)) = rule.hours_first.as_ref().zip(rule.hours_last.as_ref()) {
                say.push_str(&format!(", {first} to {last} o'clock"));
            }
            say
        });
        each.collect::<Vec<_>>().join("; else ")
    }

    /// `Burrow House: temperature 20 to 22 °C; an alarm after 15 minutes, at once beyond 4.`
    pub(crate) fn spoken(&self) -> String {
        let measure = self.measure.replace('-', " ");
        if self.rules.is_empty() {
            return format!("{}: no range for {measure}.", self.enclosure);
        }
        format!(
            "{}: {measure} {}; an alarm after {} minutes outside, at once when {} outside.",
            self.enclosure,
            self.kept(),
            self.raise_after_minutes,
            self.at_once_beyond
        )
    }
}

impl Thing for Rules {
    const MANY: &'static str = "rules";
    type Row = RulesRow;

    fn row(&self) -> RulesRow {
        RulesRow { enclosure: self.enclosure.clone(), measure: self.measure, kept: self.kept() }
    }

    fn table(rules: &[Self], page: &mut Page) {
        for rules in rules {
            page.line(&rules.spoken());
        }
    }
}

/// What became of readings.
#[derive(Serialize)]
pub(crate) struct Taken {
    recorded: i32,
    known: i32,
    refused: Vec<Refused>,
}

#[derive(Clone, Default, Serialize)]
pub(crate) struct Refused {
    /// Row of the file; none where it was typed.
    row: Option<u64>,
    say: String,
    mend: String,
}

impl Taken {
    /// Answers to portions, each with the rows of the file that its readings were in.
    pub(crate) fn new<'r>(
        answers: impl IntoIterator<Item = (&'r [u64], v1::RecordReadingsResponse)>,
    ) -> Self {
        let mut taken = Self { recorded: 0, known: 0, refused: Vec::new() };
        for (rows, answer) in answers {
            taken.recorded += answer.recorded;
            taken.known += answer.known;
            taken.refused.extend(answer.refused.into_iter().map(|refused| Refused {
                row: usize::try_from(refused.row).ok().and_then(|n| rows.get(n).copied()),
                say: refused.say,
                mend: refused.mend,
            }));
        }
        taken
    }

    pub(crate) fn all_right(&self) -> bool {
        self.refused.is_empty()
    }
}

impl Answer for Taken {
    type Row = Refused;

    fn rows(&self) -> Vec<Refused> {
        self.refused.clone()
    }

    fn page(&self, page: &mut Page) {
        for refused in self.refused.iter().take(20) {
            let row = refused.row.map(|row| format!("row {row}  ")).unwrap_or_default();
            page.hanging(&format!("{row}refused: {}; {}", refused.say, refused.mend), 4);
        }
        if self.refused.len() > 20 {
            page.line(&format!("… and {} more", self.refused.len() - 20));
        }
        page.line(&format!(
            "{} recorded, {} already recorded, {} refused.",
            self.recorded,
            self.known,
            self.refused.len()
        ));
    }
}

/// An alarm.
#[derive(Clone, Serialize)]
struct Alarm {
    matter: &'static str,
    worst: Option<f64>,
    began_at: Option<String>,
    raised_at: Option<String>,
    ended_at: Option<String>,
    #[serde(skip)]
    say: String,
}

impl Alarm {
    fn new(alarm: v1::ClimateAlarm, measure: &str, zone: Tz) -> Self {
        let matter = alarm.matter();
        let silent = matter == v1::ClimateMatter::Silent;
        let at = |wire| instant(wire).map(|at| moment::spoken(at, zone)).unwrap_or_default();
        let what = match matter {
            v1::ClimateMatter::TooLow => format!("too low: down to {}{}", alarm.worst, unit(measure)),
            v1::ClimateMatter::TooHigh => format!("too high: up to {}{}", alarm.worst, unit(measure)),
            _ => "silent".to_owned(),
        };
        let until = alarm.ended_at.map(|end| format!(" until {}", at(Some(end)))).unwrap_or_default();
        Self {
            say: format!("{what}, since {}{until}", at(alarm.began_at)),
            matter: matter.word(),
            worst: (!silent).then_some(alarm.worst),
            began_at: written(alarm.began_at, zone),
            raised_at: written(alarm.raised_at, zone),
            ended_at: written(alarm.ended_at, zone),
        }
    }
}

/// How a device stands.
#[derive(Serialize)]
pub(crate) struct State {
    #[serde(flatten)]
    device: Device,
    value: Option<f64>,
    read_at: Option<String>,
    low: Option<f64>,
    high: Option<f64>,
    alarms: Vec<Alarm>,
    #[serde(skip)]
    at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

/// How the enclosures stand.
#[derive(Serialize)]
pub(crate) struct Standing {
    devices: Vec<State>,
    rules: Vec<Rules>,
    caution: String,
}

/// How a device stands, as a line.
#[derive(Default, Serialize)]
pub(crate) struct StateRow {
    enclosure: String,
    device: String,
    measure: &'static str,
    value: Option<f64>,
    read_at: Option<String>,
    low: Option<f64>,
    high: Option<f64>,
    alarms: String,
}

impl State {
    pub(crate) fn new(state: v1::DeviceState, zone: Tz) -> Self {
        let device = Device::from(state.device.unwrap_or_default());
        let measure = device.measure;
        let latest = state.latest;
        let read_at = latest.as_ref().and_then(|latest| latest.read_at);
        Self {
            value: latest.map(|latest| latest.value),
            at: instant(read_at),
            read_at: written(read_at, zone),
            low: state.low,
            high: state.high,
            alarms: state.alarms.into_iter().map(|alarm| Alarm::new(alarm, measure, zone)).collect(),
            device,
            zone,
        }
    }

    /// In one line: `Burrow lamp in Burrow House: 17.1 °C at 07:20, to be kept at 20 to 22 °C  too low`.
    pub(crate) fn line(&self, page: &Page, now: DateTime<Utc>) -> String {
        let Device { name, enclosure, measure, .. } = &self.device;
        let read = match (self.value, self.at) {
            (Some(value), Some(at)) => {
                format!("{value}{} at {}", unit(measure), moment::today_or_day(at, self.zone, now))
            }
            _ => "no data yet".to_owned(),
        };
        let kept = Some(range(self.low, self.high, measure)).filter(|kept| !kept.is_empty());
        let kept = kept.map(|kept| format!(", range {kept}")).unwrap_or_default();
        let alarms: Vec<String> = self
            .alarms
            .iter()
            .map(|alarm| page.paint(Tone::Alarm, &alarm.matter.replace('-', " ")))
            .collect();
        let alarms = if alarms.is_empty() { String::new() } else { format!("  {}", alarms.join(", ")) };
        format!("{name} in {enclosure}: {read}{kept}{alarms}")
    }
}

impl Standing {
    pub(crate) fn new(answer: v1::GetClimateResponse, zone: Tz) -> Self {
        Self {
            devices: answer.devices.into_iter().map(|state| State::new(state, zone)).collect(),
            rules: answer.rules.into_iter().map(Rules::from).collect(),
            caution: answer.caution,
        }
    }

    pub(crate) fn any_alarm(&self) -> bool {
        self.devices.iter().any(|state| !state.alarms.is_empty())
    }
}

impl Answer for Standing {
    type Row = StateRow;

    fn rows(&self) -> Vec<StateRow> {
        let row = |state: &State| StateRow {
            enclosure: state.device.enclosure.clone(),
            device: state.device.name.clone(),
            measure: state.device.measure,
            value: state.value,
            read_at: state.read_at.clone(),
            low: state.low,
            high: state.high,
            alarms: state.alarms.iter().map(|alarm| alarm.say.as_str()).collect::<Vec<_>>().join("; "),
        };
        self.devices.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        if self.devices.is_empty() {
            page.line("No devices. Add one: `holt climate add`.");
            return;
        }
        let mut table = Table::new(["Enclosure", "Device", "Reads", "Last", "At", "Range"]).numbers([3]);
        for state in &self.devices {
            let tone = if state.alarms.is_empty() { Tone::Calm } else { Tone::Alarm };
            let value = state.value.map(|value| format!("{value}{}", unit(state.device.measure)));
            table.toned([
                (tone, state.device.enclosure.clone()),
                (tone, state.device.name.clone()),
                (tone, state.device.spoken_measure()),
                (tone, value.unwrap_or_else(|| "never".to_owned())),
                (tone, state.at.map(|at| moment::spoken(at, state.zone)).unwrap_or_default()),
                (tone, range(state.low, state.high, state.device.measure)),
            ]);
        }
        page.table(&table);
        let alarms: Vec<String> = self
            .devices
            .iter()
            .flat_map(|state| {
                state.alarms.iter().map(|alarm| format!("{}: {}", state.device.name, alarm.say))
            })
            .collect();
        page.gap();
        if alarms.is_empty() {
            page.line("No alarm.");
        }
        for alarm in &alarms {
            page.hanging(&format!("ALARM  {alarm}"), 7);
        }
        page.remark(&self.caution);
    }
}

/// What a device says of a stretch of time.
#[derive(Serialize)]
struct Exposure {
    #[serde(flatten)]
    device: Device,
    readings: i64,
    known_hours: f64,
    below_hours: f64,
    above_hours: f64,
    below_degree_hours: f64,
    above_degree_hours: f64,
    silent_hours: f64,
    alarms: Vec<Alarm>,
}

/// What the devices say of a stretch of time.
#[derive(Serialize)]
pub(crate) struct Exposures {
    devices: Vec<Exposure>,
    caution: String,
}

/// What a device says of it, as a line.
#[derive(Default, Serialize)]
pub(crate) struct ExposureRow {
    enclosure: String,
    device: String,
    measure: &'static str,
    readings: i64,
    known_hours: f64,
    below_hours: f64,
    above_hours: f64,
    below_degree_hours: f64,
    above_degree_hours: f64,
    silent_hours: f64,
    alarms: usize,
}

impl Exposures {
    pub(crate) fn new(answer: v1::GetExposureResponse, zone: Tz) -> Self {
        let devices = answer.devices.into_iter().map(|told| {
            let device = Device::from(told.device.unwrap_or_default());
            let measure = device.measure;
            Exposure {
                device,
                readings: told.readings,
                known_hours: told.known_hours,
                below_hours: told.below_hours,
                above_hours: told.above_hours,
                below_degree_hours: told.below_degree_hours,
                above_degree_hours: told.above_degree_hours,
                silent_hours: told.silent_hours,
                alarms: told.alarms.into_iter().map(|alarm| Alarm::new(alarm, measure, zone)).collect(),
            }
        });
        Self { devices: devices.collect(), caution: answer.caution }
    }
}

impl Answer for Exposures {
    type Row = ExposureRow;

    fn rows(&self) -> Vec<ExposureRow> {
        let row = |told: &Exposure| ExposureRow {
            enclosure: told.device.enclosure.clone(),
            device: told.device.name.clone(),
            measure: told.device.measure,
            readings: told.readings,
            known_hours: told.known_hours,
            below_hours: told.below_hours,
            above_hours: told.above_hours,
            below_degree_hours: told.below_degree_hours,
            above_degree_hours: told.above_degree_hours,
            silent_hours: told.silent_hours,
            alarms: told.alarms.len(),
        };
        self.devices.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        if self.devices.is_empty() {
            page.line("No devices. Add one: `holt climate add`.");
            return;
        }
        let heads = ["Device", "Readings", "Known h", "Below h", "by °h", "Above h", "by °h", "Silent h"];
        let mut table = Table::new(heads).numbers([1, 2, 3, 4, 5, 6, 7]);
        let hours = |hours: f64| format!("{hours:.1}");
        for told in &self.devices {
            table.row([
                told.device.name.clone(),
                told.readings.to_string(),
                hours(told.known_hours),
                hours(told.below_hours),
                hours(told.below_degree_hours),
                hours(told.above_hours),
                hours(told.above_degree_hours),
                hours(told.silent_hours),
            ]);
        }
        page.table(&table);
        page.gap();
        for told in &self.devices {
            for alarm in &told.alarms {
                page.hanging(&format!("{}: {}", told.device.name, alarm.say), 4);
            }
        }
        page.remark(
            "°h: hours, each multiplied by how far outside it was. While a device was silent, nothing is known.",
        );
        page.remark(&self.caution);
    }
}
