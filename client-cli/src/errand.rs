//! What a command needs to run its errand: the server, what is meant, and where to print.

use crate::args::Global;
use crate::connect::Wire;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::output::{Answer, Output};
use crate::profile::Settings;
use crate::session::{Session, SignIn};
use crate::tokens::Keep;
use crate::typing::Typing;
use crate::world::{AskLine, AskSecret, World};
use chrono::Days;
use chrono_tz::Tz;
use holt_proto::call::Paged;
use holt_proto::time::day;
use holt_proto::v1;
use std::collections::BTreeSet;
use std::io::Read;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

/// What comes of a command.
pub(crate) type Outcome = Result<Exit, Failure>;

/// What a command needs.
pub(crate) struct Errand<'w> {
    pub(crate) settings: Settings,
    pub(crate) session: Session,
    pub(crate) output: Output<'w>,
    pub(crate) input: Input<'w>,
}

/// Where a command reads.
pub(crate) struct Input<'w> {
    pub(crate) stream: &'w mut (dyn Read + Send),
    pub(crate) ask_secret: &'w mut AskSecret,
    pub(crate) ask_line: Option<&'w mut AskLine>,
    pub(crate) is_terminal: bool,
}

impl Input<'_> {
    /// Everything that is on standard input.
    fn bytes(&mut self) -> Result<Vec<u8>, Failure> {
        let mut bytes = Vec::new();
        self.stream.read_to_end(&mut bytes).map_err(|error| {
            Failure::machine(format!("standard input cannot be read: {error}"), "see what it is connected to")
        })?;
        Ok(bytes)
    }

    /// The content of a file that was named; `-` is standard input.
    pub(crate) fn file(&mut self, path: &Path) -> Result<Vec<u8>, Failure> {
        if path == Path::new("-") {
            return self.bytes();
        }
        std::fs::read(path).map_err(|error| Failure::named_file(path, &error))
    }

    /// The text of a file that was named; `-` is standard input.
    pub(crate) fn text(&mut self, path: &Path) -> Result<String, Failure> {
        String::from_utf8(self.file(path)?)
            .map_err(|_| Failure::refused("the file is not UTF-8", "save it as UTF-8"))
    }

    /// The lines of standard input, without their ends.
    pub(crate) fn lines(&mut self) -> Result<Vec<String>, Failure> {
        let text = String::from_utf8(self.bytes()?)
            .map_err(|_| Failure::usage("standard input is not UTF-8", "write the password as UTF-8"))?;
        Ok(text.lines().map(str::to_owned).collect())
    }

    /// Lines as they are typed, with what their words may be completed to.
    pub(crate) fn typing(&mut self, names: Vec<String>) -> Typing<'_> {
        Typing::new(&mut *self.stream, self.ask_line.as_deref_mut(), self.is_terminal, names)
    }

    /// Asks for a password where there is somebody to ask.
    pub(crate) fn secret(&mut self, prompt: &str) -> Result<String, Failure> {
        let mend = "use --password-stdin";
        if !self.is_terminal {
            return Err(Failure::usage("no terminal to ask for the password", mend));
        }
        (self.ask_secret)(prompt)
            .map_err(|error| Failure::machine(format!("the password cannot be read: {error}"), mend))
    }
}

/// The session of a command.
pub(crate) fn session(global: &Global, settings: &Settings, world: &World) -> Result<Session, Failure> {
    let patience = Duration::from_secs(global.timeout.into());
    let server = &settings.server.value;
    let ca_file = settings.ca_file.as_ref().map(|setting| setting.value.as_path());
    let wire = Wire::new(server, ca_file, patience, global.plaintext)?;
    let sign_in = match (&global.token_file, world.variable("HOLT_TOKEN")) {
        (Some(path), _) => SignIn::Given(token_of(path)?),
        (None, Some(token)) => SignIn::Given(token.to_owned()),
        (None, None) => SignIn::Kept(Keep::new(settings.places.state()?, server)),
    };
    Ok(Session::new(wire, sign_in, patience, Arc::clone(&world.clock)))
}

fn token_of(path: &Path) -> Result<String, Failure> {
    let text = std::fs::read_to_string(path).map_err(|error| Failure::named_file(path, &error))?;
    Ok(text.trim().to_owned())
}

impl Errand<'_> {
    /// Prints an answer.
    pub(crate) fn show(&mut self, answer: &impl Answer) -> Outcome {
        self.output.show(answer)?;
        Ok(Exit::Done)
    }

    /// Says which records are missing from what was shown.
    pub(crate) fn say_unreadable(&mut self) -> Result<(), Failure> {
        let v1::UnreadableRecords { records, count } = self.session.unreadable();
        for record in &records {
            let v1::UnreadableRecord { kind, id, say } = record;
            self.output.note(&format!("Holt cannot read the {kind} {id}: it is missing here ({say})."))?;
        }
        if records.is_empty() {
            return Ok(());
        }
        let more = usize::try_from(count).unwrap_or_default().saturating_sub(records.len());
        if more > 0 {
            self.output.note(&format!("{more} more records are missing."))?;
        }
        self.output.note("Report this to whoever runs the server.")
    }

    /// The site that was named, if one was.
    pub(crate) fn named_site(&self) -> Option<String> {
        self.settings.site.as_ref().map(|site| site.value.clone())
    }

    /// The site that is meant: the one named, or the only one where the caller has a role.
    pub(crate) async fn site(&self) -> Result<String, Failure> {
        if let Some(site) = self.named_site() {
            return Ok(site);
        }
        self.own_site().await?.map_err(|sites| {
            let known = if sites.is_empty() { sites } else { format!(" (yours: {sites})") };
            Failure::usage(
                format!("no site given{known}"),
                "use --site QUI or HOLT_SITE=QUI, or set it once with `holt profile set site QUI`",
            )
        })
    }

    /// The same, and its zone.
    pub(crate) async fn here(&self) -> Result<(String, Tz), Failure> {
        let site = self.site().await?;
        let zone = self.session.zone(&site).await?;
        Ok((site, zone))
    }

    /// The site that is meant where it is clear; none where it is not.
    pub(crate) async fn site_if_clear(&self) -> Result<Option<String>, Failure> {
        match self.named_site() {
            Some(site) => Ok(Some(site)),
            None => Ok(self.own_site().await?.ok()),
        }
    }

    /// The only site where the caller has a role, or else all that they name.
    pub(crate) async fn own_site(&self) -> Result<Result<String, String>, Failure> {
        let person = self.session.ask(v1::GetSelfRequest {}).await?.person.unwrap_or_default();
        let everywhere = person.grants.iter().any(|grant| grant.every_site);
        let sites: BTreeSet<&str> =
            person.grants.iter().filter(|grant| !grant.every_site).map(|grant| grant.site.as_str()).collect();
        Ok(match sites.first() {
            Some(only) if sites.len() == 1 && !everywhere => Ok((*only).to_owned()),
            _ => Err(sites.into_iter().collect::<Vec<_>>().join(", ")),
        })
    }
}

/// Finds the one thing that an identifier, or the beginning or end of one, means.
pub(crate) fn the_one<'t, T>(
    what: &str,
    text: &str,
    things: &'t [T],
    id_of: impl Fn(&T) -> &str,
) -> Result<Option<&'t T>, Failure> {
    let wanted = text.trim().to_ascii_lowercase();
    let found: Vec<&T> = things
        .iter()
        .filter(|thing| id_of(thing).starts_with(&wanted) || id_of(thing).ends_with(&wanted))
        .collect();
    match found.as_slice() {
        [] => Ok(None),
        [one] => Ok(Some(one)),
        several => Err(Failure::refused(
            format!("`{text}` could be any of {} {what}s", several.len()),
            "write more of its id",
        )),
    }
}

/// Days over which a record is looked for by a part of its id.
const LATELY: Days = Days::new(31);

/// The identifier that a part of one means, among what a site recorded in the last month: `ask` asks for it, and the command
/// `list` lists it for people.
pub(crate) async fn lately<C: Paged>(
    session: &Session,
    site: &str,
    part: &str,
    (what, list): (&str, &str),
    ask: impl FnOnce(String, v1::DaySpan) -> C,
    id_of: impl Fn(&C::Entry) -> &str,
) -> Result<String, Failure> {
    if part.len() == 36 {
        return Ok(part.to_owned());
    }
    let today = session.today(session.zone(site).await?);
    let days = v1::DaySpan { first: Some(day(today - LATELY)), last: Some(day(today)) };
    let entries = session.all(ask(site.to_owned(), days), usize::MAX).await?;
    let found = the_one(what, part, &entries, &id_of)?;
    found.map(|entry| id_of(entry).to_owned()).ok_or_else(|| nothing_of(what, part, list))
}

/// How many are wanted of a list; all where nobody says.
pub(crate) fn most(limit: Option<u32>) -> usize {
    limit.and_then(|limit| usize::try_from(limit).ok()).unwrap_or(usize::MAX)
}

/// There is no such thing.
pub(crate) fn nothing_of(what: &str, text: &str, list: &str) -> Failure {
    Failure::not_found(format!("there is no {what} `{text}` that you may see"), format!("see `{list}`"))
}

/// An identifier, or enough of one to mean something.
pub(crate) fn id_part(text: &str) -> Result<String, String> {
    let enough = text.len() >= 4 && text.chars().all(|c| c.is_ascii_hexdigit() || c == '-');
    if enough {
        Ok(text.to_owned())
    } else {
        Err("write at least four characters from the beginning or the end of its id".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_identifier_may_be_cut_to_what_is_its_alone() {
        let ids = ["0190a1b2-0000-7000-8000-00000000002a", "0190a1b2-0000-7000-8000-00000000002b"];
        let found = |text: &str| the_one("concern", text, &ids, |id| id);
        assert_eq!(found("002a").unwrap(), Some(&ids[0]));
        assert_eq!(found("0000002B").unwrap(), Some(&ids[1]));
        assert_eq!(found("ffff").unwrap(), None);
        assert_eq!(found("0190a1b2").unwrap_err().exit, Exit::Refused);
        assert!(id_part("2a").is_err());
        assert!(id_part("bramble").is_err());
        assert!(id_part("002a").is_ok());
    }
}
