//! A mapping: which column of a spreadsheet is which field, which of its words mean which of Holt's, and how its
//! days and masses are written.

use crate::failure::Failure;
use holt_proto::notation::mass::Unit;
use holt_proto::v1;
use serde::Deserialize;
use std::collections::BTreeMap;

/// The fields that a column can be, each with what it holds.
pub(crate) const FIELDS: [(&str, &str); 27] = [
    ("number", "number in your books; Holt recognises the animal by it"),
    ("species", "scientific name"),
    ("common-name", "common name of the species; with one, Holt adds an unknown species"),
    ("name", "house name"),
    ("sex", "male, female or unknown [default: unknown]"),
    ("born", "day of birth, or as much of it as is known"),
    ("estimated", "whether the day of birth is an estimate: yes or no"),
    (
        "from",
        "born-here, collection, wild, rescue, confiscation, private or on-site-before [default: the last]",
    ),
    ("from-name", "name of the collection, place or person it came from"),
    ("arrived", "day of arrival [default for born-here: day of birth]"),
    ("transponder", "code of its transponder"),
    ("ring", "code of its ring"),
    ("tattoo", "its tattoo"),
    ("place-on-body", "place of the transponder, ring or tattoo on the body"),
    ("dam", "its dam: number, accession, transponder, ring or name"),
    ("sire", "its sire: number, accession, transponder, ring or name"),
    ("parents-because", "why these parents are right although they do not fit the records"),
    ("enclosure", "enclosure that it lives in"),
    ("owner", "owner [default: the site]"),
    ("died", "day of death"),
    ("manner", "natural, euthanasia, accident, by-animal or unknown [default: unknown]"),
    ("left", "day of departure"),
    ("to", "collection, wild, private or escape [default: collection]"),
    ("to-name", "name of the collection, place or person it went to"),
    ("note", "what was found at its death"),
    ("weight", "latest weight, with its unit unless the mapping gives one"),
    ("weighed", "day on which it was weighed"),
];

/// How a day is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct DayForm {
    form: String,
    /// Year, month and day in the order in which they are written.
    order: Vec<char>,
    separator: char,
}

/// A mapping, as its file says it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    columns: BTreeMap<String, String>,
    #[serde(default)]
    values: BTreeMap<String, BTreeMap<String, String>>,
    #[serde(default)]
    constants: BTreeMap<String, String>,
    #[serde(default = "usual_days")]
    days: String,
    #[serde(default)]
    masses: Option<String>,
}

fn usual_days() -> String {
    "YYYY-MM-DD".to_owned()
}

/// A mapping that was understood.
#[derive(Debug)]
pub(crate) struct Mapping {
    /// Header of the column of each field.
    pub(crate) columns: BTreeMap<String, String>,
    /// Of each field, words of the sheet in small letters and what they mean.
    values: BTreeMap<String, BTreeMap<String, String>>,
    /// Of fields that have no column, what holds for every row.
    pub(crate) constants: BTreeMap<String, String>,
    pub(crate) days: DayForm,
    pub(crate) masses: Option<Unit>,
}

impl Mapping {
    /// Reads a mapping file.
    pub(crate) fn read(bytes: &[u8]) -> Result<Self, Failure> {
        let mend = "see `holt exchange from-sheet --help` for a mapping";
        let text = std::str::from_utf8(bytes)
            .map_err(|_| Failure::usage("the mapping is not UTF-8", "save it as UTF-8"))?;
        let file: File = toml::from_str(text).map_err(|error| {
            Failure::usage(format!("the mapping is not understood: {}", error.message()), mend)
        })?;
        let named = file.columns.keys().chain(file.values.keys()).chain(file.constants.keys());
        if let Some(unknown) = named.into_iter().find(|field| !FIELDS.iter().any(|(known, _)| known == field))
        {
            let fields = FIELDS.map(|(field, _)| field).join(", ");
            return Err(Failure::usage(
                format!("the mapping has an unknown field `{unknown}`"),
                format!("the fields are {fields}"),
            ));
        }
        if let Some(twice) = file.constants.keys().find(|field| file.columns.contains_key(*field)) {
            let say = format!("the mapping has both a column and a constant for `{twice}`");
            return Err(Failure::usage(say, "leave one of them out"));
        }
        for needed in ["number", "species"] {
            let is_there = file.columns.contains_key(needed)
                || (needed == "species" && file.constants.contains_key(needed));
            if !is_there {
                return Err(Failure::usage(
                    format!("the mapping has no column for `{needed}`"),
                    format!("add `{needed} = \"Header of its column\"` under [columns]"),
                ));
            }
        }
        let folded = |words: BTreeMap<String, String>| {
            words.into_iter().map(|(word, meaning)| (word.trim().to_lowercase(), meaning)).collect()
        };
        Ok(Self {
            columns: file.columns,
            values: file.values.into_iter().map(|(field, words)| (field, folded(words))).collect(),
            constants: file.constants,
            days: DayForm::of(&file.days)?,
            masses: file.masses.map(|unit| Unit::parse(&unit)).transpose().map_err(|error| {
                Failure::usage(format!("the mapping's `masses`: {error}"), "write kg, g, mg, lb or oz")
            })?,
        })
    }

    /// What a word of the sheet means in a field: itself, unless the mapping says otherwise.
    pub(crate) fn meaning<'a>(&'a self, field: &str, word: &'a str) -> &'a str {
        let known = self.values.get(field).and_then(|words| words.get(&word.trim().to_lowercase()));
        known.map_or(word, String::as_str)
    }
}

impl DayForm {
    fn of(form: &str) -> Result<Self, Failure> {
        let wrong = || {
            Failure::usage(
                format!("`{form}` is not a form of a day"),
                "write YYYY, MM and DD as the sheet does, such as DD/MM/YYYY",
            )
        };
        let mut order: Vec<char> = form.chars().filter(char::is_ascii_alphabetic).collect();
        order.dedup();
        let separators: Vec<char> = form.chars().filter(|c| !c.is_ascii_alphabetic()).collect();
        let separator = match separators.as_slice() {
            [one, other] if one == other => *one,
            _ => return Err(wrong()),
        };
        let written = |part: &char| match part {
            'Y' => "YYYY",
            'M' => "MM",
            'D' => "DD",
            _ => "",
        };
        let again = order.iter().map(written).collect::<Vec<_>>().join(&separator.to_string());
        let all = ['Y', 'M', 'D'].iter().all(|part| order.contains(part));
        if order.len() != 3 || !all || again != form {
            return Err(wrong());
        }
        Ok(Self { form: form.to_owned(), order, separator })
    }

    /// A day as it is written, or a month with its year, or a year alone.
    pub(crate) fn read(&self, text: &str) -> Result<v1::Day, String> {
        let parts: Vec<&str> = text.split(self.separator).map(str::trim).collect();
        let order: Vec<char> = match parts.len() {
            3 => self.order.clone(),
            2 => self.order.iter().copied().filter(|part| *part != 'D').collect(),
            1 => vec!['Y'],
            _ => Vec::new(),
        };
        let mut day = v1::Day::default();
        let mut sound = !order.is_empty();
        for (part, text) in order.iter().zip(&parts) {
            let digits = text.bytes().all(|byte| byte.is_ascii_digit());
            let fits = if *part == 'Y' { text.len() == 4 } else { (1..=2).contains(&text.len()) };
            sound &= digits && fits;
            let number = text.parse().unwrap_or_default();
            match part {
                'Y' => day.year = number,
                'M' => day.month = number,
                _ => day.day = number,
            }
        }
        if !sound || holt_proto::time::day_bounds(day).is_err() {
            return Err(format!("`{text}` is not a day of the form {}", self.form));
        }
        Ok(day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_as_they_are_written_and_no_other_way() {
        let british = DayForm::of("DD/MM/YYYY").unwrap();
        let read = |text: &str| british.read(text).map(|day| day.to_string());
        assert_eq!(read("17/05/2021").as_deref(), Ok("2021-05-17"));
        assert_eq!(read("7/5/2021").as_deref(), Ok("2021-05-07"));
        assert_eq!(read("05/2021").as_deref(), Ok("2021-05"));
        assert_eq!(read("2021").as_deref(), Ok("2021"));
        for text in
            ["2021-05-17", "17/05/21", "31/02/2021", "17.05.2021", "05/17/2021", "", "May 2021", "1/2/3/4"]
        {
            assert!(read(text).is_err(), "{text}");
        }
        let iso = DayForm::of("YYYY-MM-DD").unwrap();
        assert_eq!(iso.read("2021-05-17").map(|day| day.to_string()).as_deref(), Ok("2021-05-17"));
        for form in ["", "DD/MM", "DD/MM/YY", "DD/MM-YYYY", "MM/MM/YYYY", "YYYYMMDD", "DDD/MM/YYYY"] {
            assert!(DayForm::of(form).is_err(), "{form}");
        }
    }

    #[test]
    fn a_mapping_that_cannot_be_meant_is_refused_with_the_field() {
        for (text, say) in [
            ("[columns]\nnumber = \"ID\"", "no column for `species`"),
            ("[columns]\nspecies = \"S\"", "no column for `number`"),
            ("[columns]\nnumber = \"ID\"\nspecies = \"S\"\ncolour = \"C\"", "unknown field `colour`"),
            (
                "[columns]\nnumber = \"ID\"\nspecies = \"S\"\n[constants]\nspecies = \"x\"",
                "both a column and a constant",
            ),
            ("days = \"soon\"\n[columns]\nnumber = \"ID\"\nspecies = \"S\"", "`soon` is not a form of a day"),
            ("masses = \"stone\"\n[columns]\nnumber = \"ID\"\nspecies = \"S\"", "`stone` is not a unit"),
            ("columns = 3", "the mapping is not understood"),
            ("[columns]\nnumber = \"ID\"\nspecies = \"S\"\n[rows]\n", "the mapping is not understood"),
        ] {
            let failure = Mapping::read(text.as_bytes()).unwrap_err();
            assert!(failure.say.contains(say), "{text}: {}", failure.say);
        }
        let text = "[columns]\nnumber = \"ID\"\n[constants]\nspecies = \"Lontra canadensis\"\n[values.sex]\nM = \"male\"";
        let mapping = Mapping::read(text.as_bytes()).unwrap();
        assert_eq!((mapping.meaning("sex", " m "), mapping.meaning("sex", "female")), ("male", "female"));
    }
}
