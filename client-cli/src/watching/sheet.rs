//! Watches as a sheet: what a session keeps until it is on record, and what is written by hand.

use super::Draft;
use crate::failure::{Failure, Flaw};
use crate::moment::{self, When, WhenWord};
use crate::sheet::{Line, Sheet};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;
use std::collections::HashMap;
use uuid::Uuid;

/// The columns a sheet of watches may have.
const COLUMNS: [&str; 14] = [
    "watch",
    "group",
    "ethogram",
    "at",
    "what",
    "animal",
    "behaviour",
    "receiver",
    "food",
    "outcome",
    "party",
    "place",
    "seconds",
    "note",
];

/// Names the watches of sheets among all identifiers made of names (RFC 9562, 5.5).
const SHEETS: Uuid = Uuid::from_u128(0x3b1d_52c6_7b0e_4f0a_9c55_2f6e_10d7_a4e8);

/// What a sheet is read by.
pub(crate) struct Terms<'a> {
    pub(crate) site: &'a str,
    pub(crate) zone: Tz,
    pub(crate) now: DateTime<Utc>,
    /// What is meant where the sheet does not say.
    pub(crate) group: Option<&'a str>,
    pub(crate) ethogram: Option<(&'a str, i32)>,
}

/// A watch of a sheet, with the row of each of its events.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Read {
    pub(crate) draft: Draft,
    pub(crate) rows: Vec<u64>,
}

/// Writes a watch, times as those of a zone.
pub(crate) fn write(draft: &Draft, zone: Tz) -> Result<String, Failure> {
    let wrong = |error: csv::Error| Failure::machine(error.to_string(), "");
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS).map_err(wrong)?;
    let ethogram = match draft.version {
        0 => draft.ethogram.clone(),
        version => format!("{}@{version}", draft.ethogram),
    };
    let mut row = |at: DateTime<Utc>, what: &str, cells: &[(&str, String)]| {
        let at = moment::written(at, zone);
        let cell = |column: &&str| match *column {
            "watch" => draft.watch_id.clone(),
            "group" => draft.group.clone(),
            "ethogram" => ethogram.clone(),
            "at" => at.clone(),
            "what" => what.to_owned(),
            column => cells
                .iter()
                .find(|(name, _)| *name == column)
                .map(|(_, text)| text.clone())
                .unwrap_or_default(),
        };
        writer.write_record(COLUMNS.iter().map(cell)).map_err(wrong)
    };
    row(draft.began_at, "began", &[("animal", draft.focal.join("; "))])?;
    for (at, what) in &draft.events {
        match what {
            What::Interaction(one) => {
                let food = if one.at_food { "yes" } else { "" };
                row(
                    *at,
                    "did",
                    &[
                        ("animal", one.actor.clone()),
                        ("behaviour", one.behaviour.clone()),
                        ("receiver", one.receiver.clone()),
                        ("food", food.to_owned()),
                        ("outcome", one.outcome().word().to_owned()),
                    ],
                )?;
            }
            What::Scan(scan) => {
                for one in &scan.seen {
                    let party = if one.party > 0 { one.party.to_string() } else { String::new() };
                    row(
                        *at,
                        "scan",
                        &[
                            ("animal", one.animal.clone()),
                            ("behaviour", one.behaviour.clone()),
                            ("party", party),
                            ("place", one.place.clone()),
                        ],
                    )?;
                }
            }
            What::Bout(one) => row(
                *at,
                "followed",
                &[
                    ("animal", one.animal.clone()),
                    ("behaviour", one.behaviour.clone()),
                    ("seconds", one.seconds.to_string()),
                ],
            )?,
            What::Sight(one) => {
                row(*at, if one.out { "out" } else { "in" }, &[("animal", one.animal.clone())])?;
            }
            What::Feed(_) => row(*at, "food", &[])?,
            What::Remark(text) => row(*at, "note", &[("note", text.clone())])?,
            What::End(_) => row(*at, "ended", &[])?,
        }
    }
    let bytes = writer.into_inner().map_err(|error| Failure::machine(error.to_string(), ""))?;
    String::from_utf8(bytes).map_err(|error| Failure::machine(error.to_string(), ""))
}

/// A row with its columns by name.
struct Row<'a> {
    number: u64,
    places: &'a HashMap<&'static str, usize>,
    fields: csv::StringRecord,
}

impl Row<'_> {
    fn get(&self, column: &str) -> &str {
        self.places.get(column).and_then(|place| self.fields.get(*place)).unwrap_or_default()
    }
}

/// Reads watches. Everything that is wrong is told at once, and nothing is read then: events are known by
/// their order, so that a sheet is sent as a whole.
pub(crate) fn read(bytes: &[u8], terms: &Terms<'_>) -> Result<Vec<Read>, Failure> {
    let mut sheet = Sheet::open(bytes)?;
    let places = places(&sheet.header)?;
    let mut reader = Reader { terms, watches: Vec::new(), scan: None, flaws: Vec::new() };
    while let Some(Line { row, fields }) = sheet.next()? {
        reader.row(&Row { number: row.unwrap_or_default(), places: &places, fields });
    }
    if !reader.flaws.is_empty() {
        let several = reader.flaws.len();
        let first = &reader.flaws[0];
        let mut failure = if several == 1 {
            Failure::refused(first.say.clone(), first.mend.clone())
        } else {
            Failure::refused(format!("the sheet has {several} errors"), "correct them; nothing was sent")
        };
        failure.flaws = reader.flaws;
        return Err(failure);
    }
    if reader.watches.is_empty() {
        return Err(Failure::refused(
            "the file has no observation",
            "write a row for its beginning (`began`), one for each thing seen, and one for its end (`ended`)",
        ));
    }
    Ok(reader.watches)
}

fn places(header: &csv::StringRecord) -> Result<HashMap<&'static str, usize>, Failure> {
    let columns = format!("the first row names the columns; they are {}", COLUMNS.join(", "));
    let mut places = HashMap::new();
    for (place, name) in header.iter().enumerate() {
        let Some(column) = COLUMNS.iter().find(|column| column.eq_ignore_ascii_case(name)) else {
            return Err(Failure::refused(format!("the header has an unknown column: `{name}`"), columns));
        };
        if places.insert(*column, place).is_some() {
            return Err(Failure::refused(format!("the column `{name}` is there twice"), columns));
        }
    }
    if let Some(missing) = ["at", "what"].into_iter().find(|column| !places.contains_key(column)) {
        return Err(Failure::refused(format!("the header has no column `{missing}`"), columns));
    }
    Ok(places)
}

struct Reader<'a> {
    terms: &'a Terms<'a>,
    watches: Vec<Read>,
    /// When the scan was made that the row before belongs to.
    scan: Option<DateTime<Utc>>,
    flaws: Vec<Flaw>,
}

impl Reader<'_> {
    fn wrong(&mut self, row: &Row<'_>, column: &str, say: impl Into<String>, mend: impl Into<String>) {
        let field = format!("row {}, {column}", row.number);
        self.flaws.push(Flaw { field, say: say.into(), mend: mend.into() });
    }

    fn row(&mut self, row: &Row<'_>) {
        let Some(at) = self.at(row) else { return };
        if row.get("what").eq_ignore_ascii_case("began") {
            self.begin(row, at);
            return;
        }
        let Some(what) = self.what(row) else { return };
        let label = row.get("watch").to_owned();
        let Some(read) = self
            .watches
            .last_mut()
            .filter(|read| label.is_empty() || read.draft.watch_id == id(&label, &read.draft, self.terms))
        else {
            self.wrong(
                row,
                "what",
                "no beginning stands before it",
                "begin each observation with a row `began`: without it counts mean nothing",
            );
            return;
        };
        // Rows of one time are one scan, until one names an animal again.
        let twice = |more: &v1::GroupScan, scan: &v1::GroupScan| {
            more.seen.iter().any(|one| scan.seen.iter().any(|other| other.animal == one.animal))
        };
        match (what, read.draft.events.last_mut()) {
            (What::Scan(more), Some((_, What::Scan(scan))))
                if self.scan == Some(at) && !twice(&more, scan) =>
            {
                scan.seen.extend(more.seen);
            }
            (what, _) => {
                self.scan = matches!(what, What::Scan(_)).then_some(at);
                read.draft.events.push((at, what));
                read.rows.push(row.number);
            }
        }
    }

    fn at(&mut self, row: &Row<'_>) -> Option<DateTime<Utc>> {
        let text = row.get("at");
        let meant = match text.parse::<WhenWord>() {
            Err(error) => {
                let message = error.to_string();
                let (say, mend) = message.split_once("; ").unwrap_or((&message, "correct it"));
                self.wrong(row, "at", say, mend);
                return None;
            }
            Ok(word) => word.resolve(self.terms.zone, self.terms.now),
        };
        match meant {
            Ok(When::At(at)) => Some(at),
            Ok(When::On(day)) => {
                self.wrong(
                    row,
                    "at",
                    format!("{day} has no time of the day"),
                    format!("write \"{day} 06:40\""),
                );
                None
            }
            Err(error) => {
                self.wrong(row, "at", error.to_string(), error.mend());
                None
            }
        }
    }

    fn begin(&mut self, row: &Row<'_>, at: DateTime<Utc>) {
        let group = Some(row.get("group")).filter(|group| !group.is_empty()).or(self.terms.group);
        let Some(group) = group else {
            self.wrong(
                row,
                "group",
                "no group given",
                "fill it in, or name the group: holt observe GROUP --file",
            );
            return;
        };
        let (ethogram, version) = match row.get("ethogram") {
            "" => {
                self.terms.ethogram.map_or((String::new(), 0), |(code, version)| (code.to_owned(), version))
            }
            text => match text.split_once('@').map(|(code, version)| (code, version.parse::<i32>())) {
                None => (text.to_owned(), 0),
                Some((code, Ok(version))) if version > 0 => (code.to_owned(), version),
                Some(_) => {
                    self.wrong(
                        row,
                        "ethogram",
                        format!("`{text}` names no version"),
                        "write small-carnivore@1",
                    );
                    return;
                }
            },
        };
        let focal = row.get("animal").split(';').map(str::trim).filter(|name| !name.is_empty());
        let mut draft = Draft {
            watch_id: String::new(),
            group: group.to_owned(),
            ethogram,
            version,
            began_at: at,
            focal: focal.map(str::to_owned).collect(),
            events: Vec::new(),
        };
        draft.watch_id = id(row.get("watch"), &draft, self.terms);
        self.scan = None;
        self.watches.push(Read { draft, rows: Vec::new() });
    }

    fn what(&mut self, row: &Row<'_>) -> Option<What> {
        let text = |column: &str| row.get(column).to_owned();
        let needed = |reader: &mut Self, column: &str| {
            let text = row.get(column);
            if text.is_empty() {
                reader.wrong(row, column, "is empty", "fill it in");
            }
            text.to_owned()
        };
        let before = self.flaws.len();
        let what = match row.get("what").to_lowercase().as_str() {
            "did" | "" => What::Interaction(v1::Interaction {
                actor: needed(self, "animal"),
                behaviour: needed(self, "behaviour"),
                receiver: text("receiver"),
                at_food: self.yes(row, "food"),
                outcome: self.outcome(row).into(),
            }),
            "scan" => What::Scan(v1::GroupScan {
                seen: vec![v1::ScannedAnimal {
                    animal: needed(self, "animal"),
                    behaviour: needed(self, "behaviour"),
                    party: self.number(row, "party", 0),
                    place: text("place"),
                }],
            }),
            "followed" => What::Bout(v1::Bout {
                animal: needed(self, "animal"),
                behaviour: text("behaviour"),
                seconds: self.number(row, "seconds", 1),
            }),
            word @ ("out" | "in") => {
                What::Sight(v1::SightChange { animal: text("animal"), out: word == "out" })
            }
            "food" => What::Feed(v1::FeedGiven {}),
            "note" => What::Remark(needed(self, "note")),
            "ended" => What::End(v1::WatchEnd {}),
            other => {
                let say = format!("`{other}` is not an event of an observation");
                self.wrong(
                    row,
                    "what",
                    say,
                    "write began, did, scan, followed, out, in, food, note or ended",
                );
                return None;
            }
        };
        (self.flaws.len() == before).then_some(what)
    }

    fn yes(&mut self, row: &Row<'_>, column: &str) -> bool {
        match row.get(column).to_lowercase().as_str() {
            "" | "no" | "0" | "false" => false,
            "yes" | "1" | "true" | "x" => true,
            other => {
                self.wrong(
                    row,
                    column,
                    format!("`{other}` is neither yes nor no"),
                    "write yes, or leave it empty",
                );
                false
            }
        }
    }

    fn number(&mut self, row: &Row<'_>, column: &str, least: i32) -> i32 {
        let text = row.get(column);
        if text.is_empty() && least == 0 {
            return 0;
        }
        text.parse().ok().filter(|n| *n >= least).unwrap_or_else(|| {
            self.wrong(
                row,
                column,
                format!("`{text}` is not a number from {least} up"),
                "write digits alone",
            );
            0
        })
    }

    fn outcome(&mut self, row: &Row<'_>) -> v1::InteractionOutcome {
        let text = row.get("outcome");
        let known = if text.is_empty() { Some(v1::InteractionOutcome::Unspecified) } else { Word::of(text) };
        known.unwrap_or_else(|| {
            let words: Vec<&str> = v1::InteractionOutcome::ALL.iter().map(|(word, _)| *word).collect();
            self.wrong(
                row,
                "outcome",
                format!("`{text}` is not an outcome"),
                format!("write {}, or leave it empty", words.join(", ")),
            );
            v1::InteractionOutcome::Unspecified
        })
    }
}

/// The identifier of a watch: that which the sheet gives, or one made of where and when it began, so that
/// the sheet sent again, and longer, is the same watch.
fn id(label: &str, draft: &Draft, terms: &Terms<'_>) -> String {
    if let Ok(id) = label.parse::<Uuid>() {
        return id.to_string();
    }
    let began = draft.began_at.to_rfc3339();
    let name = format!("{}\n{}\n{began}\n{label}", terms.site, draft.group.to_lowercase());
    Uuid::new_v5(&SHEETS, name.as_bytes()).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn terms() -> Terms<'static> {
        let now = "2026-03-02T12:00:00Z".parse().unwrap();
        Terms {
            site: "QUI",
            zone: Tz::Europe__Dublin,
            now,
            group: Some("Weir family"),
            ethogram: Some(("otters", 0)),
        }
    }

    const MORNING: &str = "\
at;what;animal;behaviour;receiver;food;party;place;note
2026-03-02 08:00;began;;;;;;;
2026-03-02 08:05;did;Bramble;chase;Sedge;;;;
2026-03-02 08:10;food;;;;;;;
2026-03-02 08:11;;Bramble;displace;Sedge;yes;;;
2026-03-02 08:20;scan;Bramble;rest;;;1;nest;
2026-03-02 08:20;scan;Alder;rest;;;1;nest;
2026-03-02 08:25;out;Sedge;;;;;;
2026-03-02 08:26;note;;;;;;;\"windy; cold\"
2026-03-02 08:30;ended;;;;;;;
";

    #[test]
    fn what_a_spreadsheet_writes_is_read() {
        for text in [MORNING.to_owned(), MORNING.replace('\n', "\r\n"), format!("\u{feff}{MORNING}")] {
            let read = read(text.as_bytes(), &terms()).unwrap();
            let [Read { draft, rows }] = read.as_slice() else { panic!("{read:?}") };
            assert_eq!(rows, &[3, 4, 5, 6, 8, 9, 10], "the scan is one event");
            assert!(draft.is_ended());
            assert_eq!((draft.group.as_str(), draft.ethogram.as_str()), ("Weir family", "otters"));
            let What::Scan(scan) = &draft.events[3].1 else { panic!() };
            assert_eq!(scan.seen.len(), 2);
            assert_eq!(draft.events[5].1, What::Remark("windy; cold".to_owned()));
        }
    }

    #[test]
    fn what_is_written_is_read_again() {
        let draft = read(MORNING.as_bytes(), &terms()).unwrap().remove(0).draft;
        let draft = Draft { focal: vec!["Bramble".to_owned(), "Sedge".to_owned()], version: 3, ..draft };
        let written = write(&draft, Tz::Europe__Dublin).unwrap();
        let elsewhere = Terms { group: None, ethogram: None, ..terms() };
        assert_eq!(read(written.as_bytes(), &elsewhere).unwrap().remove(0).draft, draft);
    }

    #[test]
    fn everything_that_is_wrong_is_told_with_its_row() {
        let wrong = "\
at,what,animal,behaviour,receiver,food,party,seconds
2026-03-02 08:05,did,Bramble,chase,Sedge,,,
2026-03-02 08:00,began,,,,,,
2026-03-02,did,Bramble,chase,Sedge,,,
2026-03-02 08:05,did,,chase,Sedge,maybe,,
2026-03-02 08:06,flew,Bramble,,,,,
2026-03-02 08:06,followed,Bramble,rest,,,,0
";
        let failure = read(wrong.as_bytes(), &terms()).unwrap_err();
        let fields: Vec<&str> = failure.flaws.iter().map(|flaw| flaw.field.as_str()).collect();
        assert_eq!(
            fields,
            ["row 2, what", "row 4, at", "row 5, animal", "row 5, food", "row 6, what", "row 7, seconds"]
        );
        for (file, say) in [
            ("what,animal\n", "the header has no column `at`"),
            ("at,what,colour\n", "the header has an unknown column: `colour`"),
            ("at,what\n", "the file has no observation"),
        ] {
            assert_eq!(read(file.as_bytes(), &terms()).unwrap_err().say, say);
        }
    }

    #[test]
    fn a_sheet_sent_again_is_the_same_watch_and_another_time_is_another() {
        let id = |text: &str| read(text.as_bytes(), &terms()).unwrap()[0].draft.watch_id.clone();
        assert_eq!(id(MORNING), id(&MORNING.replace("08:30;ended", "08:40;ended")));
        assert_ne!(id(MORNING), id(&MORNING.replace("08:00;began", "07:00;began")));
    }

    proptest! {
        #[test]
        fn no_file_makes_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = read(&bytes, &terms());
            let mut file = b"at;what;animal\n2026-03-02 08:00;began;\n".to_vec();
            file.extend(bytes);
            let _ = read(&file, &terms());
        }
    }
}
