//! `WatchService`.

use crate::access::permit::Caller;
use crate::api::decode::Form;
use crate::api::documents::basis;
use crate::api::encode::{self, id};
use crate::api::streams::Answers;
use crate::api::{Api, caller, status};
use crate::model::concern::CAUTION;
use crate::model::watch::{Event, Listed, Look, NewWatch, Outcome, Summary, Watch, What};
use crate::records::watches::{self, Asked};
use chrono::{DateTime, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::watch_event::What as Wire;
use holt_proto::v1::watch_service_server::WatchService;
use tonic::{Request, Response, Status, Streaming};

/// Events that are taken in at once.
const MOST_EVENTS: usize = 2000;

/// Longest that one animal is followed without a break: a day, in seconds.
const LONGEST_BOUT: i32 = 86_400;

fn interaction(form: &mut Form, field: &str, wire: &v1::Interaction) -> What<String> {
    let outcome = match v1::InteractionOutcome::try_from(wire.outcome) {
        Ok(v1::InteractionOutcome::Unspecified) => Some(Outcome::Usual),
        Ok(v1::InteractionOutcome::ReceiverYielded) => Some(Outcome::ReceiverYielded),
        Ok(v1::InteractionOutcome::ActorYielded) => Some(Outcome::ActorYielded),
        Ok(v1::InteractionOutcome::Undecided) => Some(Outcome::Undecided),
        Err(_) => None,
    };
    let choices = "receiver yielded, actor yielded, undecided";
    let receiver = form.text(&format!("{field}.receiver"), &wire.receiver, 0..=100);
    What::Interaction {
        actor: form.animal(&format!("{field}.actor"), &wire.actor),
        behaviour: form.text(&format!("{field}.behaviour"), &wire.behaviour, 1..=100),
        receiver: (!receiver.is_empty()).then_some(receiver),
        at_food: wire.at_food,
        outcome: form.choice(&format!("{field}.outcome"), outcome, choices, Outcome::Usual),
    }
}

fn scan(form: &mut Form, field: &str, wire: &v1::GroupScan) -> What<String> {
    if !(1..=500).contains(&wire.seen.len()) {
        form.wrong(&format!("{field}.seen"), format!("names {} animals", wire.seen.len()), "name 1 to 500");
    }
    let look = |form: &mut Form, field: &str, wire: &v1::ScannedAnimal| {
        if wire.party < 0 {
            form.wrong(&format!("{field}.party"), "is below 0", "number parties from 1");
        }
        Look {
            animal: form.animal(&format!("{field}.animal"), &wire.animal),
            behaviour: form.text(&format!("{field}.behaviour"), &wire.behaviour, 1..=100),
            party: wire.party,
            place: form.text(&format!("{field}.place"), &wire.place, 0..=100),
        }
    };
    let each = wire.seen.iter().take(500).enumerate();
    What::Scan { seen: each.map(|(n, wire)| look(form, &format!("{field}.seen[{n}]"), wire)).collect() }
}

fn bout(form: &mut Form, field: &str, wire: &v1::Bout) -> What<String> {
    if !(1..=LONGEST_BOUT).contains(&wire.seconds) {
        form.wrong(&format!("{field}.seconds"), format!("is {}", wire.seconds), "give 1 to 86400 seconds");
    }
    let behaviour = form.text(&format!("{field}.behaviour"), &wire.behaviour, 0..=100);
    What::Bout {
        animal: form.animal(&format!("{field}.animal"), &wire.animal),
        behaviour: (!behaviour.is_empty()).then_some(behaviour),
        seconds: u32::try_from(wire.seconds).unwrap_or_default(),
    }
}

/// Nobody writes down more in one watch, however many portions it comes in.
const LAST_NUMBER: i32 = 1_000_000;

fn event(form: &mut Form, field: &str, wire: &v1::WatchEvent) -> Event<String> {
    if !(1..=LAST_NUMBER).contains(&wire.number) {
        let mend = format!("number events from 1 to {LAST_NUMBER}");
        form.wrong(&format!("{field}.number"), format!("is {}", wire.number), mend);
    }
    let at = form.instant(&format!("{field}.happened_at"), wire.happened_at);
    if wire.happened_at.is_none() {
        form.wrong(&format!("{field}.happened_at"), "is missing", "give its time");
    }
    let what = match &wire.what {
        Some(Wire::Interaction(wire)) => interaction(form, &format!("{field}.interaction"), wire),
        Some(Wire::Scan(wire)) => scan(form, &format!("{field}.scan"), wire),
        Some(Wire::Bout(wire)) => bout(form, &format!("{field}.bout"), wire),
        Some(Wire::Sight(wire)) => {
            let animal = form.text(&format!("{field}.sight.animal"), &wire.animal, 0..=100);
            What::Sight { animal: (!animal.is_empty()).then_some(animal), out: wire.out }
        }
        Some(Wire::Feed(_)) => What::Feed,
        Some(Wire::Remark(text)) => {
            What::Remark { text: form.text(&format!("{field}.remark"), text, 1..=1000) }
        }
        Some(Wire::End(_)) => What::End,
        None => {
            form.wrong(field, "has no event", "say what happened");
            What::End
        }
    };
    Event { number: wire.number, at: at.unwrap_or(DateTime::<Utc>::UNIX_EPOCH), what }
}

fn new_watch(form: &mut Form, asked: &v1::RecordWatchRequest) -> NewWatch {
    let began_at = form.instant("began_at", asked.began_at);
    if asked.began_at.is_none() {
        form.wrong("began_at", "is missing", "give the beginning of the observation");
    }
    let version = form.version_of("ethogram_version", asked.ethogram_version);
    let count = asked.events.len();
    if count > MOST_EVENTS {
        form.wrong("events", format!("has {count} events"), "send 2000 at most, the rest in another request");
    }
    let focal = if asked.focal_animals.is_empty() {
        Vec::new()
    } else {
        form.animals("focal_animals", &asked.focal_animals)
    };
    let events = asked.events.iter().take(MOST_EVENTS).enumerate();
    NewWatch {
        id: form.uuid("watch_id", &asked.watch_id),
        group: form.text("group", &asked.group, 1..=100),
        ethogram: form.text("ethogram", &asked.ethogram, 1..=100),
        version,
        began_at: began_at.unwrap_or(DateTime::<Utc>::UNIX_EPOCH),
        focal,
        events: events.map(|(n, wire)| event(form, &format!("events[{n}]"), wire)).collect(),
    }
}

fn told(what: What<uuid::Uuid>) -> Wire {
    match what {
        What::Interaction { actor, behaviour, receiver, at_food, outcome } => {
            let outcome = match outcome {
                Outcome::Usual => v1::InteractionOutcome::Unspecified,
                Outcome::ReceiverYielded => v1::InteractionOutcome::ReceiverYielded,
                Outcome::ActorYielded => v1::InteractionOutcome::ActorYielded,
                Outcome::Undecided => v1::InteractionOutcome::Undecided,
            };
            Wire::Interaction(v1::Interaction {
                actor: id(actor),
                behaviour,
                receiver: receiver.map(id).unwrap_or_default(),
                at_food,
                outcome: outcome.into(),
            })
        }
        What::Scan { seen } => Wire::Scan(v1::GroupScan {
            seen: seen
                .into_iter()
                .map(|look| v1::ScannedAnimal {
                    animal: id(look.animal),
                    behaviour: look.behaviour,
                    party: look.party,
                    place: look.place,
                })
                .collect(),
        }),
        What::Bout { animal, behaviour, seconds } => Wire::Bout(v1::Bout {
            animal: id(animal),
            behaviour: behaviour.unwrap_or_default(),
            seconds: i32::try_from(seconds).unwrap_or(i32::MAX),
        }),
        What::Sight { animal, out } => {
            Wire::Sight(v1::SightChange { animal: animal.map(id).unwrap_or_default(), out })
        }
        What::Feed => Wire::Feed(v1::FeedGiven {}),
        What::Remark { text } => Wire::Remark(text),
        What::End => Wire::End(v1::WatchEnd {}),
    }
}

fn count(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn summary(summary: Summary) -> v1::WatchSummary {
    v1::WatchSummary {
        watch_id: id(summary.id),
        group: summary.group,
        began_at: Some(timestamp(summary.began_at)),
        ended_at: summary.ended_at.map(timestamp),
        minutes: summary.minutes,
        events: count(summary.events),
        site: summary.site,
    }
}

fn listed(listed: Listed) -> v1::Watch {
    let Listed { watch, animals } = listed;
    let (ended_at, minutes) = (watch.ended_at().map(timestamp), watch.minutes());
    let Watch { focal, events, .. } = watch;
    let focal_animals = animals.iter().filter(|one| focal.contains(&one.id)).cloned();
    v1::Watch {
        id: id(watch.id),
        site: watch.site,
        group: watch.group,
        ethogram: watch.ethogram,
        ethogram_version: watch.ethogram_version,
        watcher: watch.watcher,
        began_at: Some(timestamp(watch.began_at)),
        ended_at,
        minutes,
        focal_animals: focal_animals.map(encode::label).collect(),
        events: events
            .into_iter()
            .map(|event| v1::WatchEvent {
                number: event.number,
                happened_at: Some(timestamp(event.at)),
                what: Some(told(event.what)),
            })
            .collect(),
        animals: animals.into_iter().map(encode::label).collect(),
        recorded_at: Some(timestamp(watch.recorded_at)),
    }
}

impl Api {
    async fn watched(
        &self,
        caller: &Caller,
        asked: &v1::RecordWatchRequest,
    ) -> Result<v1::RecordWatchResponse, Status> {
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("WatchService/RecordWatch", &asked.request_id, asked, only);
        let site = form.site("site", &asked.site);
        let new = new_watch(&mut form, asked);
        form.done()?;
        let taken =
            watches::record(&self.records, caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(v1::RecordWatchResponse {
            recorded: count(taken.recorded),
            known: count(taken.known),
            watch: Some(summary(taken.summary)),
            concerns: taken.concerns.into_iter().map(encode::concern).collect(),
            caution: CAUTION.to_owned(),
            version_basis: taken.basis.map(basis).unwrap_or_default(),
        })
    }
}

#[tonic::async_trait]
impl WatchService for Api {
    type FollowWatchStream = Answers<v1::FollowWatchResponse>;

    async fn record_watch(
        &self,
        request: Request<v1::RecordWatchRequest>,
    ) -> Result<Response<v1::RecordWatchResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        Ok(Response::new(self.watched(&caller, &asked).await?))
    }

    async fn follow_watch(
        &self,
        request: Request<Streaming<v1::FollowWatchRequest>>,
    ) -> Result<Response<Self::FollowWatchStream>, Status> {
        let (mut caller, portions) = caller::open(request)?;
        // Each portion has the time of a call; the stream as a whole lasts for as long as somebody speaks.
        caller.deadline = None;
        let api = self.clone();
        let answers = self.streams.answer(portions, move |portion: v1::FollowWatchRequest| {
            let (api, caller) = (api.clone(), caller.clone());
            async move {
                let answer = api.watched(&caller, &portion.portion.unwrap_or_default()).await?;
                Ok(v1::FollowWatchResponse { answer: Some(answer) })
            }
        })?;
        Ok(Response::new(answers))
    }

    async fn withdraw_event(
        &self,
        request: Request<v1::WithdrawEventRequest>,
    ) -> Result<Response<v1::WithdrawEventResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("WatchService/WithdrawEvent", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let event = (form.uuid("watch_id", &asked.watch_id), asked.number);
        let because = form.text("because", &asked.because, 1..=500);
        form.done()?;
        let taken = watches::withdraw(&self.records, &caller, &write, &site, event, &because)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::WithdrawEventResponse {
            watch: Some(summary(taken.summary)),
            concerns: taken.concerns.into_iter().map(encode::concern).collect(),
        }))
    }

    async fn list_watches(
        &self,
        request: Request<v1::ListWatchesRequest>,
    ) -> Result<Response<v1::ListWatchesResponse>, Status> {
        const METHOD: &str = "WatchService/ListWatches";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.site("site", &asked.site),
            group: form.text("group", &asked.group, 0..=100),
            days: form.days("days", asked.days),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let found = watches::list(&self.records, &caller, &wanted, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListWatchesResponse {
            watches: found.entries.into_iter().map(listed).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
