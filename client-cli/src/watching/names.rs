//! Names that are typed in a hurry: a beginning is enough where it means one thing.

use holt_proto::v1::{AnimalLabel, Behaviour};
use serde::{Deserialize, Serialize};

/// Something that can be named, with all that it is called.
pub(crate) trait Named {
    fn names(&self) -> Vec<&str>;
}

/// Why a word names nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Unnamed {
    /// It could be any of these.
    Several(Vec<String>),
    /// Nothing is called so; these come near.
    Nobody(Vec<String>),
}

/// The one thing that a word means: what is called exactly so, or the only one that is called something
/// that begins so.
pub(crate) fn pick<'t, T: Named>(word: &str, things: &'t [T]) -> Result<&'t T, Unnamed> {
    let word = fold(word);
    let called = |thing: &&T, test: &dyn Fn(&str) -> bool| thing.names().iter().any(|name| test(&fold(name)));
    let exact: Vec<&T> = things.iter().filter(|thing| called(thing, &|name| name == word)).collect();
    let found: Vec<&T> = if exact.is_empty() {
        things.iter().filter(|thing| called(thing, &|name| name.starts_with(&word))).collect()
    } else {
        exact
    };
    let first = |thing: &T| thing.names().first().map(|name| (*name).to_owned()).unwrap_or_default();
    match found.as_slice() {
        [one] => Ok(one),
        [] => {
            let near = things.iter().filter(|thing| {
                called(thing, &|name| strsim::damerau_levenshtein(name, &word) <= 1 + word.len() / 4)
            });
            Err(Unnamed::Nobody(near.map(first).collect()))
        }
        several => Err(Unnamed::Several(several.iter().map(|thing| first(thing)).collect())),
    }
}

/// Names as they can be typed in one word; a number alone is quicker typed than completed.
pub(crate) fn typed_words<'n>(names: impl Iterator<Item = &'n str>) -> Vec<String> {
    let words = names.map(|name| name.split_whitespace().collect::<String>());
    words.filter(|word| !word.bytes().all(|byte| byte.is_ascii_digit())).collect()
}

/// Capitals and spaces make no difference.
fn fold(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace()).flat_map(char::to_lowercase).collect()
}

/// A member of the group that is watched.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Member {
    pub(crate) id: String,
    pub(crate) accession: String,
    pub(crate) house_name: Option<String>,
}

impl Member {
    /// As it is told back.
    pub(crate) fn spoken(&self) -> &str {
        self.house_name.as_deref().unwrap_or(&self.accession)
    }
}

impl From<AnimalLabel> for Member {
    fn from(animal: AnimalLabel) -> Self {
        Self {
            id: animal.id,
            accession: animal.accession,
            house_name: Some(animal.house_name).filter(|name| !name.is_empty()),
        }
    }
}

impl Named for Member {
    /// House name, accession, and the end of the accession without zeros before it: 42 of QUI-26-0042.
    fn names(&self) -> Vec<&str> {
        let serial = self.accession.rsplit('-').next().map(|serial| serial.trim_start_matches('0'));
        self.house_name.as_deref().into_iter().chain([self.accession.as_str()]).chain(serial).collect()
    }
}

impl Named for Behaviour {
    fn names(&self) -> Vec<&str> {
        vec![&self.code, &self.name]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn group() -> Vec<Member> {
        [("Bramble", 1), ("Bracken", 2), ("Little Ash", 12), ("Ash", 120)]
            .map(|(name, serial)| Member {
                id: serial.to_string(),
                accession: format!("QUI-26-{serial:04}"),
                house_name: Some(name.to_owned()),
            })
            .into()
    }

    #[test]
    fn a_beginning_is_enough_where_it_means_one() {
        let group = group();
        let named = |word| pick(word, &group).map(|member| member.spoken());
        for (word, wanted) in [
            ("bram", "Bramble"),
            ("BRACKEN", "Bracken"),
            ("little", "Little Ash"),
            ("littleash", "Little Ash"),
            ("ash", "Ash"),
            ("2", "Bracken"),
            ("12", "Little Ash"),
            ("QUI-26-0120", "Ash"),
        ] {
            assert_eq!(named(word), Ok(wanted), "{word}");
        }
        let both = vec!["Bramble".to_owned(), "Bracken".to_owned()];
        assert_eq!(named("bra"), Err(Unnamed::Several(both)));
        assert_eq!(named("brmable"), Err(Unnamed::Nobody(vec!["Bramble".to_owned()])));
        assert_eq!(named("teasel"), Err(Unnamed::Nobody(Vec::new())));
    }
}
