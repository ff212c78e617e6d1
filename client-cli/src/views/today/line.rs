//! A line of the page, as facts and as people read it.

use crate::output::Tone;
use serde::Serialize;

/// What a line is about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Section {
    #[default]
    Today,
    Concerns,
    Due,
    WithoutCheck,
    Night,
    Feeds,
    OutOfGroup,
    SinceYesterday,
}

impl Section {
    /// Its heading; the first line has none.
    const fn label(self) -> &'static str {
        match self {
            Self::Today => "",
            Self::Concerns => "Concerns",
            Self::Due => "Due",
            Self::WithoutCheck => "Without a check",
            Self::Night => "Night",
            Self::Feeds => "Feeds",
            Self::OutOfGroup => "Out of group",
            Self::SinceYesterday => "Since yesterday",
        }
    }
}

/// What a line is to its section.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Kind {
    /// The section in a few words, with its counts.
    Heading,
    #[default]
    Entry,
    /// How many entries there is no room for.
    More,
    /// Sections that have nothing, in one line.
    Nothing,
}

/// How pressing a line is: the first ones get room first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Rank {
    /// Look now.
    Now,
    /// Look today.
    Today,
    /// It is due, or it is over.
    #[default]
    InTurn,
    /// Good to know.
    ToKnow,
}

/// A line.
#[derive(Clone, Debug, Default, Serialize)]
pub(crate) struct Line {
    pub(super) section: Section,
    pub(super) kind: Kind,
    pub(super) site: Option<String>,
    /// Level of a concern, or how something stands.
    pub(super) state: &'static str,
    pub(super) who: Option<String>,
    /// Group, or else enclosure.
    pub(super) place: Option<String>,
    /// Things that it counts.
    pub(super) count: usize,
    pub(super) say: String,
    /// What shows all of it.
    pub(super) command: Option<String>,
    pub(super) id: Option<String>,
    #[serde(skip)]
    pub(super) rank: Rank,
}

impl Line {
    /// What stands before its sentence, and how that is meant.
    fn lead(&self) -> (Tone, &'static str) {
        match (self.kind, self.state) {
            (Kind::Heading, _) => (Tone::Strong, self.section.label()),
            (_, "urgent") => (Tone::Alarm, "URGENT"),
            (_, "act") => (Tone::Warning, "ACT"),
            (_, "watch") => (Tone::Strong, "NEXT ROUND"),
            (_, "overdue") => (Tone::Warning, "OVERDUE"),
            (_, "due") => (Tone::Calm, "Due"),
            (_, "too-low") => (Tone::Alarm, "TOO LOW"),
            (_, "too-high") => (Tone::Alarm, "TOO HIGH"),
            (_, "silent") => (Tone::Alarm, "SILENT"),
            (_, "was-too-low") => (Tone::Warning, "Was too low"),
            (_, "was-too-high") => (Tone::Warning, "Was too high"),
            (_, "was-silent") => (Tone::Warning, "Was silent"),
            _ => (Tone::Calm, ""),
        }
    }

    /// It for people, with its lead first; the site is named if there are several.
    pub(super) fn text(&self, names_site: bool) -> (Tone, String, String) {
        let (tone, lead) = self.lead();
        let lead = match self.kind {
            Kind::Heading if lead.is_empty() => self.say.clone(),
            Kind::Heading => format!("{lead}:"),
            Kind::Nothing => String::new(),
            Kind::Entry | Kind::More => format!("  {lead}"),
        };
        let site = self.site.as_ref().filter(|_| names_site).map(|site| format!("{site} "));
        let say = if self.section == Section::Today && self.kind == Kind::Heading { "" } else { &self.say };
        let command = self.command.as_ref().filter(|_| self.kind == Kind::More);
        let command = command.map(|command| format!(": {command}")).unwrap_or_default();
        let gap = if lead.trim().is_empty() || say.is_empty() { "" } else { " " };
        (tone, lead, format!("{gap}{}{say}{command}", site.unwrap_or_default()))
    }
}
