//! Words that must not stand in an answer.

use std::collections::HashMap;

/// Length of the end by which a word is looked for first.
const END: usize = 8;

/// Words of eight bytes and more, to be looked for in bytes.
#[derive(Default)]
pub(super) struct Tokens {
    by_end: HashMap<[u8; END], Vec<String>>,
}

impl Tokens {
    pub(super) fn of(words: Vec<String>) -> Self {
        let mut this = Self::default();
        for word in words {
            if let Some(end) = word.as_bytes().last_chunk::<END>() {
                this.by_end.entry(*end).or_default().push(word);
            }
        }
        this
    }

    pub(super) fn has(&self, word: &str) -> bool {
        let end = word.as_bytes().last_chunk::<END>();
        end.and_then(|end| self.by_end.get(end)).is_some_and(|words| words.iter().any(|one| one == word))
    }

    /// The first of them that stands in some bytes.
    pub(super) fn within(&self, bytes: &[u8]) -> Option<String> {
        for at in END..=bytes.len() {
            let before = &bytes[..at];
            let Some(words) = before.last_chunk::<END>().and_then(|end| self.by_end.get(end)) else {
                continue;
            };
            if let Some(word) = words.iter().find(|word| before.ends_with(word.as_bytes())) {
                return Some(word.clone());
            }
        }
        None
    }
}

#[test]
fn a_word_is_found_wherever_it_stands_and_only_whole() {
    let tokens = Tokens::of(vec!["00000000-0000-7000-8000-00000000002a".to_owned(), "Nmaab00017".to_owned()]);
    assert!(tokens.has("Nmaab00017") && !tokens.has("Nmaab00018"));
    assert_eq!(tokens.within(b"x Nmaab00017y").as_deref(), Some("Nmaab00017"));
    assert_eq!(tokens.within(b"Nmaac00017, Nmaab0001"), None);
    assert!(tokens.within(b"$00000000-0000-7000-8000-00000000002a").is_some());
    assert_eq!(tokens.within(b"10000000-0000-7000-8000-00000000002a"), None);
}
