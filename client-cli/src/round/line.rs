//! One line of a round as it is typed: `saf 715`.

use crate::watching::line::{Unclear, member, time};
use crate::watching::names::Member;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::notation::mass::{self, Unit};

/// What a line is understood by.
pub(crate) struct Terms<'a> {
    pub(crate) members: &'a [Member],
    /// The animal that is to be weighed again, if one is.
    pub(crate) again: Option<&'a Member>,
    /// Unit of masses that are typed without one.
    pub(crate) unit: Option<Unit>,
    pub(crate) zone: Tz,
    pub(crate) now: DateTime<Utc>,
}

/// What the scale showed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Shown {
    /// A mass, as it was typed, with its unit.
    Mass(String),
    /// The animal declined the scale.
    Declined,
}

/// What a line says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Line<'a> {
    /// An animal was on the scale, at a time that was typed, or else now.
    Weighed { at: Option<DateTime<Utc>>, animal: &'a Member, shown: Shown, note: String },
    /// Numbers are in this unit from here on.
    Unit(Unit),
    /// Who was not weighed yet.
    Missing,
    /// The last line was wrong.
    Undo,
    /// The round ends.
    End,
    /// What can be typed.
    Help,
    /// Nothing.
    Empty,
}

/// What can be typed.
pub(crate) const HELP: &str = "\
  saffron 715g            the beginning of a name, and what the scale showed
  saf 715                 without a unit: in that of the weight before, or of --unit
  715                     the same animal again, after `weigh again`
  umber x                 it declined the scale
  saf 715 note wet        with a remark
  06:40 saf 715           at a time other than now
  unit kg                 numbers are in kg from here on
  ?                       who was not weighed yet
  undo                    withdraw the last line
  end                     the round ends and is recorded";

fn unclear<T>(say: impl Into<String>, mend: impl Into<String>) -> Result<T, Unclear> {
    Err(Unclear { say: say.into(), mend: mend.into() })
}

/// Reads a line.
pub(crate) fn read<'a>(text: &str, terms: &Terms<'a>) -> Result<Line<'a>, Unclear> {
    let (at, text) = time(text.trim(), terms.zone, terms.now)?;
    let words: Vec<&str> = text.split_whitespace().collect();
    let lower = words.first().map(|word| word.to_lowercase());
    match (lower.as_deref().unwrap_or_default(), words.as_slice()) {
        ("", _) => Ok(Line::Empty),
        ("?" | "missing", [_]) => Ok(Line::Missing),
        ("help", [_]) => Ok(Line::Help),
        ("undo", [_]) => Ok(Line::Undo),
        ("end", [_]) => Ok(Line::End),
        ("unit", [_, unit]) => Unit::parse(unit).map(Line::Unit).map_err(|error| split(&error.to_string())),
        (_, words) => weighed(at, words, terms),
    }
}

/// A message that says what is wrong, and after a semicolon what to write instead.
fn split(message: &str) -> Unclear {
    let (say, mend) = message.split_once("; ").unwrap_or((message, "correct it"));
    Unclear { say: say.to_owned(), mend: mend.to_owned() }
}

/// An animal, what the scale showed, and a note. A name may have several words, and a mass as well (`9 lb 3 oz`): what is
/// read as one from as far to the left as possible is the mass.
fn weighed<'a>(at: Option<DateTime<Utc>>, words: &[&str], terms: &Terms<'a>) -> Result<Line<'a>, Unclear> {
    let noted = words.iter().position(|word| word.eq_ignore_ascii_case("note"));
    let (words, note) = match noted {
        Some(n) => (&words[..n], words[n + 1..].join(" ")),
        None => (words, String::new()),
    };
    if let Some(shown) = shown(words, terms.unit) {
        let Some(animal) = terms.again else {
            return unclear("no animal named", "write its name before the weight, such as `saf 715g`");
        };
        return Ok(Line::Weighed { at, animal, shown: shown?, note });
    }
    for n in 1..words.len() {
        if let Some(shown) = shown(&words[n..], terms.unit) {
            let animal = member(&words[..n].join(" "), terms.members)?;
            return Ok(Line::Weighed { at, animal, shown: shown?, note });
        }
    }
    let animal = member(&words.join(" "), terms.members)?;
    unclear(
        format!("nothing said of what the scale showed for {}", animal.spoken()),
        "write it after the name, with its unit, or `x` if it declined the scale",
    )
}

/// What words say of the scale, where they are about it: a mass begins with a digit.
fn shown(words: &[&str], unit: Option<Unit>) -> Option<Result<Shown, Unclear>> {
    let text = words.join(" ");
    if matches!(text.to_lowercase().as_str(), "x" | "declined") {
        return Some(Ok(Shown::Declined));
    }
    // A serial number may stand for a name: what follows it is the mass then.
    let rest = words.get(1..).filter(|rest| rest.first().is_some_and(|word| begins_with_digit(word)));
    if !begins_with_digit(&text) || rest.is_some() && mass::parse(&text, unit).is_err() {
        return None;
    }
    Some(match mass::parse(&text, unit) {
        Ok(_) => Ok(Shown::Mass(with_unit(&text, unit))),
        Err(mass::MassError::NoUnit(_)) => {
            unclear(format!("`{text}` has no unit"), "write `715g` once, or `unit g`: then numbers are in g")
        }
        Err(error) => Err(split(&error.to_string())),
    })
}

fn begins_with_digit(text: &str) -> bool {
    text.starts_with(|letter: char| letter.is_ascii_digit())
}

/// A mass with the unit in which it is meant.
fn with_unit(text: &str, unit: Option<Unit>) -> String {
    match unit {
        Some(unit) if !text.contains(char::is_alphabetic) => format!("{text}{unit}"),
        _ => text.to_owned(),
    }
}

/// The one unit that a mass was typed in; none where it has two, such as pounds and ounces.
pub(crate) fn unit_of(typed: &str) -> Option<Unit> {
    let words: Vec<&str> =
        typed.split(|letter: char| !letter.is_alphabetic()).filter(|word| !word.is_empty()).collect();
    match words.as_slice() {
        [one] => Unit::parse(one).ok(),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn members() -> Vec<Member> {
        [("Saffron", 3), ("Sage", 4), ("Little Ash", 42), ("Room 2", 7)]
            .map(|(name, serial)| Member {
                id: serial.to_string(),
                accession: format!("QUI-26-{serial:04}"),
                house_name: Some(name.to_owned()),
            })
            .into()
    }

    fn read_with(text: &str, unit: Option<Unit>, again: bool) -> Result<String, String> {
        let members = members();
        let now = DateTime::parse_from_rfc3339("2026-11-25T07:00:00Z").unwrap().with_timezone(&Utc);
        let again = again.then_some(&members[1]);
        let terms = Terms { members: &members, again, unit, zone: Tz::Europe__Dublin, now };
        match read(text, &terms) {
            Ok(Line::Weighed { at, animal, shown, note }) => {
                let at = at.map(|at| at.format("%H:%M ").to_string()).unwrap_or_default();
                let shown = match shown {
                    Shown::Mass(text) => text,
                    Shown::Declined => "declined".to_owned(),
                };
                Ok(format!("{at}{} {shown} {note}", animal.spoken()).trim().to_owned())
            }
            Ok(other) => Ok(format!("{other:?}")),
            Err(unclear) => Err(format!("{}; {}", unclear.say, unclear.mend)),
        }
    }

    #[test]
    fn a_line_names_an_animal_and_says_what_the_scale_showed() {
        for (text, unit, wanted) in [
            ("saf 715g", None, "Saffron 715g"),
            ("saf 715", Some(Unit::G), "Saffron 715g"),
            ("saf 0,705 kg", Some(Unit::G), "Saffron 0,705 kg"),
            ("SAGE x", None, "Sage declined"),
            ("sage declined note would not come", None, "Sage declined would not come"),
            ("little ash 1.4kg", None, "Little Ash 1.4kg"),
            ("room 2 715", Some(Unit::G), "Room 2 715g"),
            ("42 715", Some(Unit::G), "Little Ash 715g"),
            ("42 9 lb 3 oz", None, "Little Ash 9 lb 3 oz"),
            ("QUI-26-0003 715g", None, "Saffron 715g"),
            ("06:40 saf 715g note wet", None, "06:40 Saffron 715g wet"),
            ("unit kg", None, "Unit(Kg)"),
            ("?", None, "Missing"),
            ("undo", None, "Undo"),
            ("end", None, "End"),
            ("  ", None, "Empty"),
        ] {
            assert_eq!(read_with(text, unit, false), Ok(wanted.to_owned()), "{text}");
        }
        for (text, wanted) in [("142g", "Sage 142g"), ("x", "Sage declined"), ("saf 142g", "Saffron 142g")] {
            assert_eq!(read_with(text, None, true), Ok(wanted.to_owned()), "{text}");
        }
    }

    #[test]
    fn what_is_no_reading_says_what_to_type() {
        for (text, wanted) in [
            ("saf", "nothing said of what the scale showed for Saffron"),
            ("saf 715", "`715` has no unit; write `715g` once"),
            ("sa 715g", "`sa` could be Saffron or Sage"),
            ("zzz 715g", "nobody here is called `zzz`"),
            ("715g", "no animal named"),
            ("saf 715 stone", "`stone` is not a unit of mass"),
            ("saf -7g", "nobody here is called `saf -7g`"),
            ("unit stone", "`stone` is not a unit"),
            ("23:59 saf 715g", "23:59 is still to come"),
        ] {
            let said = read_with(text, None, false).unwrap_err();
            assert!(said.starts_with(wanted), "{text}: {said}");
        }
    }

    #[test]
    fn the_unit_of_the_first_weight_is_that_of_the_next() {
        for (typed, unit) in
            [("715g", Some(Unit::G)), ("1.4 kg", Some(Unit::Kg)), ("9 lb 3 oz", None), ("715", None)]
        {
            assert_eq!(unit_of(typed), unit, "{typed}");
        }
    }
}
