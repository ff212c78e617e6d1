//! `holt round`

use super::weigh::{close, options, unit};
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment;
use crate::round::file;
use crate::round::line::{self, HELP, Line, Shown};
use crate::round::roll::{Kept, Roll};
use crate::round::row::Terms;
use crate::round::send::{Answered, Identity, Sent, send};
use crate::round::typed::{Means, Noted, write};
use crate::session::{Session, request_id};
use crate::unsent::{Folder, Unsent};
use crate::views::round::{Round as Recorded, told};
use crate::watching::names::{Member, Named, typed_words};
use crate::words::{self, Word};
use chrono::{DateTime, SubsecRound, Utc};
use chrono_tz::Tz;
use clap::Args;
use holt_proto::notation::mass::Unit;
use holt_proto::v1::{self, ReadingOutcome};

/// Weigh animals one by one: type each with what the scale shows
#[derive(Args, Debug)]
#[command(after_help = "\
Type the beginning of a name and what the scale shows: `saf 715g`. Holt asks for a second weighing while the \
animal is still on the scale, and says who is missing. `help` shows what you can type, `end` records the round.

This machine keeps what you type until it is recorded: if the server does not answer, nothing is lost. \
Where it did not answer from the beginning, Holt takes the names of the last round of the same group here.

Examples:
  holt round \"Weir family\"
  holt round \"Weir family\" --unit g --scale kitchen
  holt round --method trained")]
pub(crate) struct Round {
    /// The group: its name, or its id [default: all animals of the site]
    group: Option<String>,

    /// Unit of weights that are typed without one: kg, g, mg, t, lb, oz
    #[arg(long, value_parser = unit)]
    unit: Option<Unit>,

    /// The scale
    #[arg(long, value_name = "NAME")]
    scale: Option<String>,

    /// How they are weighed
    #[arg(long, value_parser = words::parser::<v1::WeighingMethod>())]
    method: Option<v1::WeighingMethod>,
}

impl Round {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let (Roll { site, zone, whom, members, .. }, away) = self.roll(errand).await?;
        for path in Folder::ROUNDS.waiting(&errand.settings.places)? {
            let path = path.display();
            errand.output.note(&format!("A round is not recorded yet; send it: holt weigh --file {path}"))?;
        }
        let began = errand.session.now().with_timezone(&zone).format("%Y-%m-%d-%H%M");
        let name = format!("{began}-{}.csv", request_id().get(..8).unwrap_or_default());
        let means = Means {
            scale: self.scale.unwrap_or_default(),
            method: self.method.map(|method| method.word().to_owned()).unwrap_or_default(),
        };
        let kept = Folder::ROUNDS.file(&errand.settings.places, &name)?;
        let mut desk = Desk {
            site,
            zone,
            members,
            means,
            kept,
            unit: self.unit,
            noted: Vec::new(),
            outcomes: Vec::new(),
            again: None,
            away,
        };
        desk.listen(&whom, errand).await?;
        desk.record(errand).await
    }

    /// Whom to weigh, and whether that is what was known before because no server answers.
    async fn roll(&self, errand: &mut Errand<'_>) -> Result<(Roll, bool), Failure> {
        let settings = &errand.settings;
        let named = errand.named_site();
        let kept =
            Kept::of(&settings.places, &settings.server.value, named.as_deref(), self.group.as_deref())?;
        let failure = match self.ask_roll(errand).await {
            Ok(roll) => {
                kept.save(&roll)?;
                return Ok((roll, false));
            }
            Err(failure) => failure,
        };
        let known = if failure.exit == Exit::NoAnswer { kept.load() } else { None };
        let Some(roll) = known else { return Err(failure) };
        errand.output.note(&format!(
            "No server answers. The names are those of {}; nothing is checked until the end, and all is kept here.",
            moment::spoken(roll.known_at, roll.zone)
        ))?;
        Ok((roll, true))
    }

    async fn ask_roll(&self, errand: &Errand<'_>) -> Result<Roll, Failure> {
        let (site, zone) = errand.here().await?;
        let (whom, members) = self.members(&errand.session, &site).await?;
        Ok(Roll { site, zone, whom, members, known_at: errand.session.now() })
    }

    /// Whom to weigh, and how they are called together.
    async fn members(&self, session: &Session, site: &str) -> Result<(String, Vec<Member>), Failure> {
        let (whom, animals) = match &self.group {
            Some(group) => {
                let ask = v1::GetGroupRequest {
                    site: site.to_owned(),
                    group: group.clone(),
                    as_of: None,
                    as_known_at: None,
                };
                let roll = session.ask(ask).await?;
                let animals = roll.members.into_iter().filter_map(|member| member.animal).collect();
                (roll.group.unwrap_or_default().name, animals)
            }
            None => {
                let ask = v1::ListAnimalsRequest { site: site.to_owned(), ..Default::default() };
                let labels = session.all(ask, usize::MAX).await?.into_iter().map(label);
                (site.to_owned(), labels.collect::<Vec<_>>())
            }
        };
        if animals.is_empty() {
            let mend = match self.group {
                Some(_) => "take animals into it first: `holt group join`",
                None => "register the animals first: `holt animal`, or `holt exchange from-sheet`",
            };
            return Err(Failure::refused(format!("{whom} has no animal"), mend));
        }
        Ok((whom, animals.into_iter().map(Member::from).collect()))
    }
}

/// An animal of a list by what it is called.
fn label(animal: v1::Animal) -> v1::AnimalLabel {
    v1::AnimalLabel { id: animal.id, accession: animal.accession, house_name: animal.house_name }
}

/// Where a round is typed.
struct Desk {
    site: String,
    zone: Tz,
    members: Vec<Member>,
    means: Means,
    kept: Unsent,
    unit: Option<Unit>,
    noted: Vec<Noted>,
    /// What the server says of each, by now; none where it was not asked.
    outcomes: Vec<Option<ReadingOutcome>>,
    /// Which animal is to be weighed again.
    again: Option<usize>,
    /// The server did not answer: from then on it is asked at the end only.
    away: bool,
}

impl Desk {
    /// Takes lines until the round ends, or until the lines end.
    async fn listen(&mut self, whom: &str, errand: &mut Errand<'_>) -> Result<(), Failure> {
        let Errand { session, output, input, .. } = errand;
        output.note(&format!(
            "Weighing {whom}: {}. Type a name and what the scale shows; `help` shows what else, `end` records the round.",
            self.spoken(self.missing()),
        ))?;
        let mut lines = input.typing(typed_words(self.members.iter().flat_map(Named::names)));
        loop {
            let prompt = self.again.map(|n| format!("{} again> ", self.members[n].spoken()));
            let text = lines.next(output, prompt.as_deref().unwrap_or("> "), || self.resend())?;
            let now = session.now().trunc_subsecs(0);
            let Some(text) = text else { return Ok(()) };
            let again = self.again.map(|n| &self.members[n]);
            let terms = line::Terms { members: &self.members, again, unit: self.unit, zone: self.zone, now };
            match line::read(&text, &terms) {
                Ok(Line::Empty) => {}
                Ok(Line::Help) => output.prompt(&format!("{HELP}\n"))?,
                Ok(Line::Missing) => output.note(&self.said_missing())?,
                Ok(Line::Undo) => output.note(&self.undo()?)?,
                Ok(Line::End) => return Ok(()),
                Ok(Line::Unit(unit)) => self.unit = Some(unit),
                Ok(Line::Weighed { at, animal, shown, note }) => {
                    let accession = animal.accession.clone();
                    let noted = Noted { accession, at: at.unwrap_or(now), shown, note };
                    for said in self.note(noted, session).await? {
                        output.note(&said)?;
                    }
                }
                Err(unclear) => output.note(&format!("? {}; {}", unclear.say, unclear.mend))?,
            }
        }
    }

    /// Notes a reading, and answers what is to be said of it, and of earlier ones that look different now.
    async fn note(&mut self, noted: Noted, session: &Session) -> Result<Vec<String>, Failure> {
        if let Shown::Mass(text) = &noted.shown
            && let Some(unit) = line::unit_of(text)
        {
            self.unit = Some(unit);
        }
        let member = self.members.iter().position(|one| one.accession == noted.accession);
        self.noted.push(noted);
        self.outcomes.push(None);
        self.save()?;
        let before = self.again.take();
        if self.away {
            return Ok(vec![self.unchecked()]);
        }
        let answered = match self.checked(session).await {
            Ok(answered) => answered,
            Err(failure) if failure.exit == Exit::NoAnswer => {
                self.away = true;
                let kept =
                    "No server answers: from here on nothing is checked until the end, and all is kept here.";
                return Ok(vec![self.unchecked(), kept.to_owned()]);
            }
            Err(failure) => {
                let say = failure.say.clone();
                return Err(failure.saying(say, self.resend()));
            }
        };
        let last = self.noted.len() - 1;
        let mut said = Vec::new();
        for (n, one) in answered.iter().enumerate() {
            let outcome = one.outcome();
            if n == last || self.outcomes[n] != Some(outcome) {
                said.push(self.told(n, one));
            }
            self.outcomes[n] = Some(outcome);
        }
        // What came last is said first.
        said.reverse();
        match self.outcomes[last] {
            Some(ReadingOutcome::Refused) => {
                self.drop_last()?;
                self.again = before;
            }
            Some(ReadingOutcome::SecondWeighing) => self.again = member,
            _ => {}
        }
        Ok(said)
    }

    fn told(&self, n: usize, one: &Answered) -> String {
        let clock = self.clock(self.noted[n].at);
        if one.outcome() == ReadingOutcome::Refused {
            return format!("? {}", told(one, self.zone));
        }
        format!("{clock}  {}", told(one, self.zone))
    }

    /// What the server would say of the round so far.
    async fn checked(&self, session: &Session) -> Result<Vec<Answered>, Failure> {
        let Sent { lines, broke_off, .. } = self.sent(&Identity::Fresh, &self.text()?, true, session).await?;
        broke_off.map_or(Ok(lines), Err)
    }

    async fn sent(
        &self,
        identity: &Identity<'_>,
        text: &str,
        validate_only: bool,
        session: &Session,
    ) -> Result<Sent, Failure> {
        let terms = Terms { zone: self.zone, now: session.now(), unit: None, at: None };
        let mut entries = file::read(text.as_bytes(), &terms)?;
        for entry in &mut entries {
            entry.row = None;
        }
        Ok(send(session, &self.site, entries, identity, validate_only).await)
    }

    fn unchecked(&self) -> String {
        format!("{}, not checked", self.last())
    }

    /// What was typed last.
    fn last(&self) -> String {
        let Some(noted) = self.noted.last() else { return String::new() };
        let name = self.members.iter().find(|one| one.accession == noted.accession).map(Member::spoken);
        let shown = match &noted.shown {
            Shown::Mass(text) => text,
            Shown::Declined => "declined",
        };
        format!("{}  {}  {shown}", self.clock(noted.at), name.unwrap_or_default())
    }

    fn clock(&self, at: DateTime<Utc>) -> String {
        at.with_timezone(&self.zone).format("%H:%M").to_string()
    }

    fn missing(&self) -> impl Iterator<Item = &Member> {
        self.members.iter().filter(|one| self.noted.iter().all(|noted| noted.accession != one.accession))
    }

    fn spoken<'m>(&self, members: impl Iterator<Item = &'m Member>) -> String {
        members.map(Member::spoken).collect::<Vec<_>>().join(", ")
    }

    fn said_missing(&self) -> String {
        let missing = self.spoken(self.missing());
        if missing.is_empty() {
            "All of them were on the scale.".to_owned()
        } else {
            format!("Not weighed: {missing}.")
        }
    }

    fn undo(&mut self) -> Result<String, Failure> {
        let Some(last) = self.noted.last().cloned() else {
            return Ok("? there is nothing to undo".to_owned());
        };
        let said = self.last();
        self.drop_last()?;
        self.again = self
            .members
            .iter()
            .position(|one| one.accession == last.accession)
            .filter(|_| self.outcomes.last() == Some(&Some(ReadingOutcome::SecondWeighing)))
            .filter(|_| self.noted.last().is_some_and(|before| before.accession == last.accession));
        Ok(format!("withdrawn: {said}"))
    }

    fn drop_last(&mut self) -> Result<(), Failure> {
        self.noted.pop();
        self.outcomes.pop();
        self.save()
    }

    fn text(&self) -> Result<String, Failure> {
        write(&self.noted, &self.means, self.zone)
    }

    fn save(&self) -> Result<(), Failure> {
        self.kept.save(&self.text()?)
    }

    fn resend(&self) -> String {
        format!("nothing is lost; send it later: holt weigh --file {}", self.kept.path().display())
    }

    /// Sends the round. Where that does not go well, the file stays and it is said how to send it.
    async fn record(self, errand: &mut Errand<'_>) -> Outcome {
        errand.output.note(&self.said_missing())?;
        if self.noted.is_empty() {
            self.kept.forget()?;
            return Ok(Exit::Done);
        }
        let text = self.text()?;
        // As `holt weigh --file` sends the kept file: whichever of the two comes second records nothing twice.
        let identity = Identity::File { content: text.as_bytes(), options: options(None, "") };
        let sent = self.sent(&identity, &text, false, &errand.session).await?;
        if let Some(failure) = sent.broke_off {
            let say = failure.say.clone();
            return Err(failure.saying(say, self.resend()));
        }
        let zones = errand.session.zones().await?;
        let recorded = Recorded::new(&self.site, false, sent, &zones);
        let exit = close(&recorded, errand)?;
        if exit == Exit::Done {
            self.kept.forget()?;
        } else {
            let path = self.kept.path().display();
            errand
                .output
                .note(&format!("What was refused is kept: correct {path}, then: holt weigh --file {path}"))?;
        }
        Ok(exit)
    }
}
