//! Codes on the papers of CITES: where specimens come from, and what they are moved for.
//!
//! The codes are those of Resolution Conf. 12.3 of the convention (Permits and certificates); the table
//! `cites_codes.csv` of the external checks has them all.

/// Source codes that an animal can have, with what they mean, shortened. `A` and `Y` are of plants.
pub const SOURCES: [(char, &str); 9] = [
    ('W', "taken from the wild"),
    ('X', "taken in the marine environment outside the jurisdiction of any State"),
    ('R', "ranched"),
    ('D', "Appendix I, bred for commercial purposes in a registered operation"),
    ('C', "bred in captivity"),
    ('F', "born in captivity, and not bred in the meaning of the convention"),
    ('U', "unknown; must be justified"),
    ('I', "confiscated or seized; beside another code"),
    ('O', "from before the convention; beside another code"),
];

/// Source codes of plants alone.
const OF_PLANTS: [char; 2] = ['A', 'Y'];

/// Source codes that say something about another one.
const BESIDE_ANOTHER: [char; 2] = ['I', 'O'];

/// Purpose codes with what they mean, shortened.
pub const PURPOSES: [(char, &str); 12] = [
    ('B', "breeding in captivity"),
    ('E', "education"),
    ('G', "botanical garden"),
    ('H', "hunting trophy"),
    ('L', "law enforcement, judicial, forensic"),
    ('M', "medical, biomedical research"),
    ('N', "reintroduction, introduction into the wild"),
    ('P', "personal"),
    ('Q', "circus, travelling exhibition"),
    ('S', "scientific"),
    ('T', "commercial"),
    ('Z', "zoo"),
];

/// Why a text is none of the codes.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CodeError {
    /// No code of the list.
    #[error("`{0}` is not a code of the convention's list")]
    Unknown(char),
    /// A code of plants.
    #[error("source code {0} is for plants")]
    OfPlants(char),
    /// A code that stands beside another one, alone.
    #[error("source code {0} stands beside another one, never alone")]
    Alone(char),
    /// Two codes of which each stands alone, or one twice.
    #[error("`{0}` names more than one source")]
    TooMany(String),
    /// More or less than one letter.
    #[error("`{0}` is not one letter")]
    NotOne(String),
}

impl CodeError {
    /// What to do instead.
    #[must_use]
    pub fn mend(&self) -> String {
        match self {
            Self::Alone(_) => "give the other source as well, such as `C I`".to_owned(),
            Self::TooMany(_) => "give one source, and I or O beside it if it applies".to_owned(),
            Self::NotOne(_) => format!("give one of {}", letters(&PURPOSES)),
            Self::Unknown(_) | Self::OfPlants(_) => {
                format!(
                    "give the code as the paper has it: sources {}, purposes {}",
                    letters(&SOURCES),
                    letters(&PURPOSES)
                )
            }
        }
    }
}

fn letters(codes: &[(char, &str)]) -> String {
    codes.iter().map(|(code, _)| code.to_string()).collect::<Vec<_>>().join(" ")
}

/// Reads the source codes of an animal: one, and I or O beside it. Written in any case, with spaces, commas
/// or slashes between them, as papers have them; answered in capitals with a space between.
///
/// # Errors
/// [`CodeError`], which says what to do instead.
pub fn sources(text: &str) -> Result<String, CodeError> {
    let mut found: Vec<char> = Vec::new();
    for code in text.chars().filter(|c| !c.is_whitespace() && !matches!(c, ',' | '/' | '+')) {
        let code = code.to_ascii_uppercase();
        if OF_PLANTS.contains(&code) {
            return Err(CodeError::OfPlants(code));
        }
        if !SOURCES.iter().any(|(known, _)| *known == code) {
            return Err(CodeError::Unknown(code));
        }
        if found.contains(&code) {
            return Err(CodeError::TooMany(text.to_owned()));
        }
        found.push(code);
    }
    let (beside, own): (Vec<char>, Vec<char>) =
        found.into_iter().partition(|code| BESIDE_ANOTHER.contains(code));
    match (own.as_slice(), beside.first()) {
        ([_, _, ..], _) => Err(CodeError::TooMany(text.to_owned())),
        ([], Some(alone)) => Err(CodeError::Alone(*alone)),
        _ => Ok(own.into_iter().chain(beside).map(String::from).collect::<Vec<_>>().join(" ")),
    }
}

/// Reads a purpose code.
///
/// # Errors
/// [`CodeError`], which says what to do instead.
pub fn purpose(text: &str) -> Result<String, CodeError> {
    let mut letters = text.trim().chars();
    let (Some(code), None) = (letters.next(), letters.next()) else {
        return Err(CodeError::NotOne(text.to_owned()));
    };
    let code = code.to_ascii_uppercase();
    if PURPOSES.iter().any(|(known, _)| *known == code) {
        Ok(code.to_string())
    } else {
        Err(CodeError::Unknown(code))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const TABLE: &str = include_str!("../../../tests/external/tables/cites_codes.csv");

    /// Codes of a kind in the table, with what they mean.
    fn table(kind: &str) -> Vec<(char, &'static str)> {
        let rows = TABLE.lines().filter(|line| !line.starts_with('#')).skip(1);
        let cells = rows.map(|line| line.splitn(3, ',').collect::<Vec<_>>());
        cells.filter(|row| row[0] == kind).map(|row| (row[1].chars().next().unwrap(), row[2])).collect()
    }

    /// Every code of Res. Conf. 12.3, by the table with its source line, is read or refused as it should be.
    #[test]
    fn the_codes_are_those_of_the_convention() {
        let sources_there = table("source");
        assert_eq!(sources_there.len(), 11);
        for (code, meaning) in sources_there {
            let read = sources(&code.to_string());
            if meaning.contains("with another code") {
                assert_eq!(read, Err(CodeError::Alone(code)), "{code}: {meaning}");
                assert_eq!(sources(&format!("{code}C")), Ok(format!("C {code}")));
            } else if meaning.contains("plants") && !meaning.contains('/') {
                assert_eq!(read, Err(CodeError::OfPlants(code)), "{code}: {meaning}");
            } else {
                assert_eq!(read, Ok(code.to_string()), "{code}: {meaning}");
            }
        }
        let purposes_there = table("purpose");
        assert_eq!(purposes_there.len(), PURPOSES.len());
        for (code, meaning) in purposes_there {
            assert_eq!(purpose(&code.to_string()), Ok(code.to_string()), "{code}: {meaning}");
        }
    }

    #[test]
    fn codes_are_read_as_papers_have_them() {
        for (text, read) in [("c", "C"), ("C/I", "C I"), ("I, c", "C I"), ("W O I", "W O I"), ("", "")] {
            assert_eq!(sources(text).as_deref(), Ok(read), "{text}");
        }
        for (text, error) in [
            ("CW", CodeError::TooMany("CW".to_owned())),
            ("C C", CodeError::TooMany("C C".to_owned())),
            ("I O", CodeError::Alone('I')),
            ("B", CodeError::Unknown('B')),
            ("Y", CodeError::OfPlants('Y')),
        ] {
            assert_eq!(sources(text), Err(error), "{text}");
        }
        for text in ["", "ZZ", "K"] {
            assert!(purpose(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn what_is_read_is_read_again(text in "[a-zA-Z ,/]{0,6}") {
            if let Ok(read) = sources(&text) {
                prop_assert_eq!(sources(&read), Ok(read));
            }
        }
    }
}
