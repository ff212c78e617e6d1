//! Text as people write it: in one form of Unicode (NFC), with nothing in it that does not show, and nothing that
//! makes a line show other than it is.

use std::borrow::Cow;
use unicode_normalization::char::is_combining_mark;
use unicode_normalization::{UnicodeNormalization, is_nfc};

/// No letter of any script carries more.
const MOST_MARKS: usize = 8;

/// Whether a text is one line, or may have several.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lines {
    /// A name, a code: ends of lines and tabs are refused, too.
    One,
    /// A note, a document.
    Many,
}

/// Why a text cannot be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TextError {
    /// A character that does not show, or turns the direction of those around it.
    #[error("has the hidden character U+{:04X}", u32::from(*.0))]
    Hidden(char),
    /// An end of a line or a tab where there is one line.
    #[error("has more than one line, or a tab")]
    Lines,
    /// An accent without a letter to carry it, or too many on one.
    #[error("has the accent U+{:04X} without a letter", u32::from(*.0))]
    Loose(char),
}

impl TextError {
    /// What to do instead.
    #[must_use]
    pub const fn mend(self) -> &'static str {
        match self {
            Self::Hidden(_) => "type it again instead of copying it, or leave that character out",
            Self::Lines => "write it on one line",
            Self::Loose(_) => "type the letter with its accent",
        }
    }
}

/// A text in the form in which it is kept: without white space around it, in NFC.
///
/// # Errors
/// [`TextError`] names the first character that cannot be taken.
pub fn clean(text: &str, lines: Lines) -> Result<Cow<'_, str>, TextError> {
    let text = text.trim();
    let mut marks = MOST_MARKS;
    for c in text.chars() {
        match c {
            '\n' | '\t' | '\r' if lines == Lines::Many => {}
            '\n' | '\t' | '\r' => return Err(TextError::Lines),
            c if is_hidden(c) => return Err(TextError::Hidden(c)),
            _ => {}
        }
        if is_combining_mark(c) {
            marks += 1;
            if marks > MOST_MARKS {
                return Err(TextError::Loose(c));
            }
        } else {
            // White space carries no accent.
            marks = if c.is_whitespace() { MOST_MARKS } else { 0 };
        }
    }
    Ok(if is_nfc(text) { Cow::Borrowed(text) } else { Cow::Owned(text.nfc().collect()) })
}

/// Whether a character is a control, does not show, or turns the direction of the text around it: Unicode's general
/// categories Cc and Zl, Zp, its Default_Ignorable_Code_Point and Bidi_Control, and interlinear annotation. Variation
/// selectors, which go with a letter, may stand.
const fn is_hidden(c: char) -> bool {
    matches!(c,
        '\0'..='\u{1F}' | '\u{7F}'..='\u{9F}'
        | '\u{AD}' | '\u{34F}' | '\u{61C}' | '\u{115F}'..='\u{1160}' | '\u{17B4}'..='\u{17B5}'
        | '\u{180B}'..='\u{180E}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}'
        | '\u{3164}' | '\u{FEFF}' | '\u{FFA0}' | '\u{FFF0}'..='\u{FFFB}' | '\u{FFFE}'..='\u{FFFF}'
        | '\u{1BCA0}'..='\u{1BCA3}' | '\u{1D173}'..='\u{1D17A}' | '\u{E0000}'..='\u{E00FF}'
        | '\u{E01F0}'..='\u{E0FFF}')
}

/// A text for people to recognise it by: of a long one its beginning.
#[must_use]
pub fn clipped(text: &str, most: usize) -> Cow<'_, str> {
    match text.char_indices().nth(most) {
        Some((end, _)) => Cow::Owned(format!("{}…", &text[..end])),
        None => Cow::Borrowed(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_does_not_show_is_named_by_its_code_point() {
        for (text, says) in [
            ("a\u{202E}b", "has the hidden character U+202E"),
            ("a\u{200B}b", "has the hidden character U+200B"),
            ("a\u{2066}b", "has the hidden character U+2066"),
            ("a\u{1B}[31mb", "has the hidden character U+001B"),
            ("a\0b", "has the hidden character U+0000"),
            ("a\u{E0041}b", "has the hidden character U+E0041"),
            ("a\nb", "has more than one line, or a tab"),
            ("\u{301}a", "has the accent U+0301 without a letter"),
            ("a \u{301}", "has the accent U+0301 without a letter"),
        ] {
            assert_eq!(clean(text, Lines::One).unwrap_err().to_string(), says, "{text:?}");
        }
        assert_eq!(clean("a\r\n\tb", Lines::Many).unwrap(), "a\r\n\tb");
        assert!(clean(&format!("a{}", "\u{301}".repeat(9)), Lines::One).is_err());
    }

    #[test]
    fn one_letter_is_kept_in_one_way() {
        assert_eq!(clean(" Zoe\u{308} ", Lines::One).unwrap(), "Zo\u{EB}");
        for text in ["Müller", "Đorđe", "كلب", "水獺", "Ngọc", "ไทย", "हिन्दी", "❤\u{FE0F}"]
        {
            assert_eq!(clean(text, Lines::One).unwrap(), text);
        }
    }

    #[test]
    fn a_long_text_is_told_by_its_beginning() {
        assert_eq!(clipped("äöü", 3), "äöü");
        assert_eq!(clipped("äöü!", 3), "äöü…");
    }

    proptest! {
        #[test]
        fn what_is_clean_stays_as_it_is(text in "\\PC{0,40}") {
            if let Ok(once) = clean(&text, Lines::Many) {
                prop_assert_eq!(clean(&once, Lines::Many), Ok(Cow::Borrowed(&*once)));
            }
        }
    }
}
