//! Watches on record, and what was seen in them.

use super::concern::Concern;
use super::row::row;
use super::watch::minutes;
use super::{Thing, count, instant, short, some, written};
use crate::moment;
use crate::output::{Answer, Page, Table};
use crate::session::Zones;
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;
use serde::Serialize;

/// A watch on record.
#[derive(Serialize)]
pub(crate) struct Watched {
    group: String,
    began_at: Option<String>,
    /// None while it runs.
    ended_at: Option<String>,
    minutes: f64,
    watcher: Option<String>,
    ethogram: String,
    ethogram_version: i32,
    /// Empty where it was the whole group.
    only: Vec<String>,
    events: Vec<Event>,
    id: String,
    #[serde(skip)]
    spoken: String,
}

/// Something that was seen; of a scan, one animal.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Event {
    watch_id: String,
    number: i32,
    happened_at: Option<String>,
    what: &'static str,
    animal: Option<String>,
    behaviour: Option<String>,
    receiver: Option<String>,
    at_food: Option<&'static str>,
    outcome: Option<&'static str>,
    party: Option<i32>,
    place: Option<String>,
    seconds: Option<i32>,
    note: Option<String>,
    #[serde(skip)]
    clock: String,
}

row! {
    /// A watch as a line.
    Row of one: Watched {
        group, began_at, ended_at, minutes, watcher, only, events: one.count(), id,
    }
}

impl Watched {
    pub(crate) fn new(watch: v1::Watch, zone: Tz) -> Self {
        let label = |animal: &v1::AnimalLabel| {
            some(animal.house_name.clone()).unwrap_or_else(|| animal.accession.clone())
        };
        let name = |id: &str| {
            let of_it = watch.animals.iter().find(|animal| animal.id == id);
            some(of_it.map_or_else(|| id.to_owned(), label))
        };
        let (began, ended) = (instant(watch.began_at), instant(watch.ended_at));
        let events = watch.events.iter().flat_map(|event| Event::of(&watch.id, event, zone, &name)).collect();
        Self {
            events,
            began_at: written(watch.began_at, zone),
            ended_at: written(watch.ended_at, zone),
            minutes: watch.minutes,
            watcher: some(watch.watcher),
            ethogram: watch.ethogram,
            ethogram_version: watch.ethogram_version,
            only: watch.focal_animals.iter().map(label).collect(),
            group: watch.group,
            id: watch.id,
            spoken: spoken(began, ended, zone),
        }
    }

    /// Events as people count them: a scan is one.
    fn count(&self) -> usize {
        let mut numbers: Vec<i32> = self.events.iter().map(|event| event.number).collect();
        numbers.dedup();
        numbers.len()
    }
}

/// `2026-03-02 08:00 GMT to 08:30`.
fn spoken(began: Option<DateTime<Utc>>, ended: Option<DateTime<Utc>>, zone: Tz) -> String {
    let began = began.map(|at| moment::spoken(at, zone)).unwrap_or_default();
    match ended {
        Some(end) => format!("{began} to {}", end.with_timezone(&zone).format("%H:%M")),
        None => format!("{began}, not ended"),
    }
}

impl Event {
    fn of(
        watch_id: &str,
        event: &v1::WatchEvent,
        zone: Tz,
        name: &impl Fn(&str) -> Option<String>,
    ) -> Vec<Self> {
        let at = instant(event.happened_at);
        let bare = |what| Self {
            watch_id: watch_id.to_owned(),
            number: event.number,
            happened_at: written(event.happened_at, zone),
            what,
            clock: at.map(|at| at.with_timezone(&zone).format("%H:%M:%S").to_string()).unwrap_or_default(),
            ..Self::default()
        };
        match &event.what {
            Some(What::Interaction(one)) => vec![Self {
                animal: name(&one.actor),
                behaviour: some(one.behaviour.clone()),
                receiver: if one.receiver.is_empty() { None } else { name(&one.receiver) },
                at_food: one.at_food.then_some("yes"),
                outcome: Some(one.outcome().word()).filter(|word| !word.is_empty()),
                ..bare("did")
            }],
            Some(What::Scan(scan)) => scan
                .seen
                .iter()
                .map(|one| Self {
                    animal: name(&one.animal),
                    behaviour: some(one.behaviour.clone()),
                    party: (one.party > 0).then_some(one.party),
                    place: some(one.place.clone()),
                    ..bare("scan")
                })
                .collect(),
            Some(What::Bout(one)) => vec![Self {
                animal: name(&one.animal),
                behaviour: some(one.behaviour.clone()),
                seconds: Some(one.seconds),
                ..bare("followed")
            }],
            Some(What::Sight(one)) => {
                let animal = if one.animal.is_empty() { None } else { name(&one.animal) };
                vec![Self { animal, ..bare(if one.out { "out" } else { "in" }) }]
            }
            Some(What::Feed(_)) => vec![bare("food")],
            Some(What::Remark(text)) => vec![Self { note: Some(text.clone()), ..bare("note") }],
            Some(What::End(_)) => vec![bare("ended")],
            None => Vec::new(),
        }
    }
}

impl Thing for Watched {
    const MANY: &'static str = "watches";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(watches: &[Self], page: &mut Page) {
        let mut table = Table::new(["Group", "When", "Observed", "By", "Events", "Id"]).numbers([4]);
        for one in watches {
            let group = match one.only.as_slice() {
                [] => one.group.clone(),
                only => format!("{} ({} only)", one.group, only.join(", ")),
            };
            table.row([
                group,
                one.spoken.clone(),
                minutes(one.minutes),
                one.watcher.clone().unwrap_or_default(),
                one.count().to_string(),
                short(&one.id).to_owned(),
            ]);
        }
        page.table(&table);
    }
}

/// Watches with every event.
#[derive(Serialize)]
pub(crate) struct Events(#[serde(rename = "watches")] pub(crate) Vec<Watched>);

impl Answer for Events {
    type Row = Event;

    fn rows(&self) -> Vec<Event> {
        self.0.iter().flat_map(|watch| watch.events.clone()).collect()
    }

    fn page(&self, page: &mut Page) {
        if self.0.is_empty() {
            page.line("No observations.");
        }
        for watch in &self.0 {
            page.heading(&format!("{}, {}  [{}]", watch.group, watch.spoken, short(&watch.id)));
            let mut table =
                Table::new(["No.", "At", "What", "Animal", "Behaviour", "To", "More"]).numbers([0]);
            for event in &watch.events {
                let seconds = event.seconds.map(|seconds| format!("{seconds} s"));
                let party = event.party.map(|party| format!("party {party}"));
                let food = event.at_food.map(|_| "over food".to_owned());
                let more = [
                    food,
                    event.outcome.map(str::to_owned),
                    party,
                    event.place.clone(),
                    seconds,
                    event.note.clone(),
                ];
                table.row([
                    event.number.to_string(),
                    event.clock.clone(),
                    event.what.to_owned(),
                    event.animal.clone().unwrap_or_default(),
                    event.behaviour.clone().unwrap_or_default(),
                    event.receiver.clone().unwrap_or_default(),
                    more.into_iter().flatten().collect::<Vec<_>>().join(", "),
                ]);
            }
            page.table(&table);
        }
    }
}

/// An event that was withdrawn.
#[derive(Serialize)]
pub(crate) struct Withdrawn {
    number: i32,
    watch_id: String,
    group: String,
    events: i32,
    concerns: Vec<Concern>,
}

/// The same as a line.
#[derive(Default, Serialize)]
pub(crate) struct WithdrawnRow {
    number: i32,
    watch_id: String,
    group: String,
    events: i32,
}

impl Withdrawn {
    pub(crate) fn new(number: i32, answer: v1::WithdrawEventResponse, zones: &Zones) -> Self {
        let watch = answer.watch.unwrap_or_default();
        Self {
            number,
            watch_id: watch.watch_id,
            group: watch.group,
            events: watch.events,
            concerns: answer.concerns.into_iter().map(|concern| Concern::new(concern, zones)).collect(),
        }
    }
}

impl Answer for Withdrawn {
    type Row = WithdrawnRow;

    fn rows(&self) -> Vec<WithdrawnRow> {
        let (watch_id, group) = (self.watch_id.clone(), self.group.clone());
        vec![WithdrawnRow { number: self.number, watch_id, group, events: self.events }]
    }

    fn page(&self, page: &mut Page) {
        let left = count(usize::try_from(self.events).unwrap_or_default(), "event", "events");
        page.line(&format!("Withdrew event {} of {}; {left} remaining.", self.number, self.group));
        for concern in &self.concerns {
            page.gap();
            concern.paragraph(page);
        }
    }
}
