//! `holt observe`

use super::ethogram;
use super::kept::{Reference, reference};
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment;
use crate::session::{Zones, request_id};
use crate::unsent::{Folder, Unsent};
use crate::views::watch::Recorded;
use crate::watching::Draft;
use crate::watching::line::{self, HELP, Line, Terms};
use crate::watching::names::{Member, Named, Unnamed, pick, typed_words};
use crate::watching::sheet::{self, Read};
use crate::watching::told::Words;
use chrono::{DateTime, SubsecRound, Utc};
use chrono_tz::Tz;
use clap::Args;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;
use std::path::PathBuf;

/// Observe a group: who does what to whom, typed line by line
#[derive(Args, Debug)]
#[command(after_help = "\
During an observation, note everything that one animal in sight does to another, and who goes out of sight: \
Holt divides counts by the time in sight. Type one line an event; beginnings of names and behaviours are \
enough. `help` shows what you can type, `end` records the observation.

This machine keeps what you type until it is recorded: if the server does not answer, nothing is lost.

A file is CSV with a header: at, what (began, did, scan, followed, out, in, food, note, ended), animal, \
behaviour, receiver, food, outcome, party, place, seconds, note; group, ethogram and watch if there are \
several. Times are those of the site. If you send a file again, Holt records nothing twice.

Examples:
  holt observe \"Weir family\"
  holt observe \"Weir family\" --only Bramble --by small-carnivore
  holt observe \"Weir family\" --file morning.csv --check-only
  holt observe --file kept.csv")]
pub(crate) struct Observe {
    /// The group: its name, or its id
    #[arg(required_unless_present = "file")]
    group: Option<String>,

    /// Observe only this animal, not the whole group; may be given several times
    #[arg(long, value_name = "ANIMAL", conflicts_with = "file")]
    only: Vec<String>,

    /// Ethogram to observe by [default: the only one]
    #[arg(long = "by", value_name = "CODE[@VERSION]", value_parser = reference)]
    ethogram: Option<Reference>,

    /// Read observations from a CSV file; - is standard input
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,

    /// Check everything and record nothing
    #[arg(long, requires = "file")]
    check_only: bool,
}

impl Observe {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match &self.file {
            Some(path) => {
                let bytes = errand.input.file(path)?;
                let exit = self.sheet(&bytes, errand).await?;
                if !self.check_only {
                    Folder::OBSERVATIONS.sent(&errand.settings.places, path)?;
                }
                Ok(exit)
            }
            None => self.typed(errand).await,
        }
    }

    /// Watches of a file, one after the other.
    async fn sheet(&self, bytes: &[u8], errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let zones = errand.session.zones().await?;
        let mut ethogram = self.ethogram.as_ref().map(|one| (one.code.clone(), one.version));
        let group = self.group.as_deref();
        let (zone, now) = (zones.of(&site), errand.session.now());
        let read = |ethogram: Option<&(String, i32)>| {
            let ethogram = ethogram.map(|(code, version)| (code.as_str(), *version));
            sheet::read(bytes, &sheet::Terms { site: &site, zone, now, group, ethogram })
        };
        let mut watches = read(ethogram.as_ref())?;
        if watches.iter().any(|read| read.draft.ethogram.is_empty()) {
            let only = ethogram::find(&errand.session, &site, None).await?;
            ethogram = Some((only.code, only.version));
            watches = read(ethogram.as_ref())?;
        }
        let mut recorded = Recorded::new(self.check_only);
        for Read { draft, rows } in watches {
            let answer = errand.session.ask(draft.request(&site, self.check_only)).await;
            match answer {
                Ok(answer) => recorded.add(answer, Vec::new(), &zones),
                Err(failure) if recorded.is_empty() => return Err(by_row(failure, &rows)),
                Err(failure) => {
                    errand.show(&recorded)?;
                    return Err(by_row(failure, &rows));
                }
            }
            if !draft.is_ended() {
                let began = moment::spoken(draft.began_at, zone);
                errand.output.note(&format!(
                    "The observation that began at {began} has no end: it counts to the last event."
                ))?;
            }
        }
        errand.show(&recorded)
    }

    /// A session at a terminal, or lines that are piped in.
    async fn typed(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let zones = session.zones().await?;
        let zone = zones.of(&site);
        let group = self.group.clone().unwrap_or_default();
        let roll = session
            .ask(v1::GetGroupRequest { site: site.clone(), group, as_of: None, as_known_at: None })
            .await?;
        let group = roll.group.unwrap_or_default();
        let members: Vec<Member> =
            roll.members.into_iter().filter_map(|member| member.animal).map(Member::from).collect();
        if members.is_empty() {
            return Err(Failure::refused(
                format!("{} has no member", group.name),
                "take animals into it first: `holt group join`",
            ));
        }
        let ethogram = ethogram::find(session, &site, self.ethogram.as_ref()).await?;
        let focal = self.only.iter().map(|name| Ok(chosen(name, &members)?.id.clone()));
        let draft = Draft {
            watch_id: request_id(),
            group: group.name,
            ethogram: ethogram.code,
            version: ethogram.version,
            began_at: session.now().trunc_subsecs(0),
            focal: focal.collect::<Result<_, Failure>>()?,
            events: Vec::new(),
        };
        for path in Folder::OBSERVATIONS.waiting(&errand.settings.places)? {
            let path = path.display();
            errand
                .output
                .note(&format!("An observation is not recorded yet; send it: holt observe --file {path}"))?;
        }
        let began = draft.began_at.with_timezone(&zone).format("%Y-%m-%d-%H%M");
        let name = format!("{began}-{}.csv", draft.watch_id.get(..8).unwrap_or(&draft.watch_id));
        let kept = Folder::OBSERVATIONS.file(&errand.settings.places, &name)?;
        let mut desk =
            Desk { members, behaviours: ethogram.behaviours, zone, kept, draft, typed: Vec::new() };
        desk.save()?;
        desk.listen(errand)?;
        desk.record(&site, &zones, errand).await
    }
}

/// The member that an argument means.
fn chosen<'m>(name: &str, members: &'m [Member]) -> Result<&'m Member, Failure> {
    pick(name, members).map_err(|error| {
        let (say, names) = match error {
            Unnamed::Several(names) => {
                (format!("`{name}` could be {}", names.join(" or ")), "more of it".to_owned())
            }
            Unnamed::Nobody(near) if near.is_empty() => {
                let all: Vec<&str> = members.iter().filter_map(|one| one.names().first().copied()).collect();
                (format!("nobody in the group is called `{name}`"), all.join(", "))
            }
            Unnamed::Nobody(near) => (format!("nobody in the group is called `{name}`"), near.join(" or ")),
        };
        Failure::usage(say, format!("write {names}")).at("--only")
    })
}

/// What the server says of an event, said of its row.
fn by_row(mut failure: Failure, rows: &[u64]) -> Failure {
    for flaw in &mut failure.flaws {
        let place = flaw.field.strip_prefix("events[").and_then(|rest| rest.split_once(']'));
        let Some((number, column)) = place else { continue };
        let row = number.parse::<usize>().ok().and_then(|n| rows.get(n));
        let column = column.rsplit('.').next().unwrap_or_default();
        if let Some(row) = row {
            flaw.field = format!("row {row}, {column}");
        }
    }
    failure
}

/// Where a watch is typed.
struct Desk {
    members: Vec<Member>,
    behaviours: Vec<v1::Behaviour>,
    zone: Tz,
    kept: Unsent,
    draft: Draft,
    /// How many events each line so far was.
    typed: Vec<usize>,
}

impl Desk {
    fn words(&self) -> Words<'_> {
        Words { members: &self.members, behaviours: &self.behaviours }
    }

    fn clock(&self, at: DateTime<Utc>) -> String {
        at.with_timezone(&self.zone).format("%H:%M:%S").to_string()
    }

    /// Takes lines until the watch ends, or until the lines end.
    fn listen(&mut self, errand: &mut Errand<'_>) -> Result<(), Failure> {
        let Errand { session, output, input, .. } = errand;
        let names: Vec<&str> = self.members.iter().map(Member::spoken).collect();
        output.note(&format!(
            "Observing {}: {}. One line an event; `help` shows what you can type, `end` records it.",
            self.draft.group,
            names.join(", ")
        ))?;
        let names =
            self.members.iter().flat_map(Named::names).chain(self.behaviours.iter().flat_map(Named::names));
        let mut lines = input.typing(typed_words(names));
        loop {
            let text = lines.next(output, "> ", || self.resend())?;
            let now = session.now().trunc_subsecs(0);
            let terms = Terms { members: &self.members, behaviours: &self.behaviours, zone: self.zone, now };
            let line = text.map_or(Ok(Line::End(None)), |text| line::read(&text, &terms));
            match line {
                Ok(Line::Empty) => {}
                Ok(Line::Help) => output.prompt(&format!("{HELP}\n"))?,
                Ok(Line::Undo) => output.note(&self.undo()?)?,
                Ok(Line::Seen(at, what)) => output.note(&self.note(at.unwrap_or(now), what)?)?,
                Ok(Line::End(at)) => {
                    let end = at.unwrap_or(now).max(self.latest());
                    self.note(end, vec![What::End(v1::WatchEnd {})])?;
                    return Ok(());
                }
                Err(unclear) => output.note(&format!("? {}; {}", unclear.say, unclear.mend))?,
            }
        }
    }

    fn save(&self) -> Result<(), Failure> {
        self.kept.save(&sheet::write(&self.draft, self.zone)?)
    }

    fn latest(&self) -> DateTime<Utc> {
        self.draft.events.iter().map(|(at, _)| *at).max().unwrap_or(self.draft.began_at)
    }

    /// Notes what was seen, and says it back.
    fn note(&mut self, at: DateTime<Utc>, what: Vec<What>) -> Result<String, Failure> {
        if at < self.draft.began_at {
            let began = self.clock(self.draft.began_at);
            return Ok(format!("? the observation began at {began}; an event before that is not part of it"));
        }
        let told: Vec<String> = what.iter().map(|what| self.words().spoken(what)).collect();
        self.typed.push(what.len());
        self.draft.events.extend(what.into_iter().map(|what| (at, what)));
        self.save()?;
        Ok(format!("{}  {}", self.clock(at), told.join("; ")))
    }

    fn undo(&mut self) -> Result<String, Failure> {
        let Some(count) = self.typed.pop() else { return Ok("? there is nothing to undo".to_owned()) };
        let left = self.draft.events.len() - count;
        let gone: Vec<String> =
            self.draft.events[left..].iter().map(|(_, what)| self.words().spoken(what)).collect();
        self.draft.events.truncate(left);
        self.save()?;
        Ok(format!("withdrawn: {}", gone.join("; ")))
    }

    fn resend(&self) -> String {
        format!("nothing is lost; send it later: holt observe --file {}", self.kept.path().display())
    }

    /// Sends the watch. Where that does not go well, the file stays and it is said how to send it.
    async fn record(self, site: &str, zones: &Zones, errand: &mut Errand<'_>) -> Outcome {
        let answer = match errand.session.ask(self.draft.request(site, false)).await {
            Ok(answer) => answer,
            Err(failure) => {
                let say = failure.say.clone();
                return Err(failure.saying(say, self.resend()));
            }
        };
        let tally = self.words().tally(self.draft.events.iter().map(|(_, what)| what));
        let mut recorded = Recorded::new(false);
        recorded.add(answer, tally, zones);
        self.kept.forget()?;
        errand.show(&recorded)?;
        if recorded.raised() && errand.output.is_flat() {
            errand.output.note("Concerns were raised or changed: see `holt concern list`.")?;
        }
        Ok(Exit::Done)
    }
}
