//! Every reason of refusal is one that some test meets.
//!
//! What a test meets is held to the contract by [`holt_tests::reason`]: its code and its metadata.

use holt_tests::refusal::documented;
use std::fs;
use std::path::{Path, PathBuf};

/// Reasons that no test meets, with why. This list only shrinks: a test that meets one takes it off.
const NOT_MET: [(&str, &str); 0] = [];

/// Sources of the suite other than this file.
fn sources() -> Vec<String> {
    let suite = Path::new(env!("CARGO_MANIFEST_DIR")).join("suite");
    let mut folders: Vec<PathBuf> = vec![suite];
    let mut found = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ext| ext == "rs")
                && !path.ends_with("contract/reasons.rs")
            {
                found.push(fs::read_to_string(path).unwrap());
            }
        }
    }
    found
}

/// `ANIMAL_DEAD` as a variant: `AnimalDead`.
fn variant(name: &str) -> String {
    name.split('_').map(|word| format!("{}{}", &word[..1], word[1..].to_lowercase())).collect()
}

#[test]
fn each_is_met_by_some_test() {
    let sources = sources();
    // As it stands in `ErrorInfo`, or in the refusal of a reading.
    let met = |name: &str| {
        let (told, of_a_reading) = (format!("\"{name}\""), format!("ErrorReason::{}", variant(name)));
        sources.iter().any(|source| source.contains(&told) || source.contains(&of_a_reading))
    };
    let not_met: Vec<&str> = documented().keys().map(String::as_str).filter(|name| !met(name)).collect();
    assert_eq!(not_met, NOT_MET.map(|(name, _)| name));
}

/// Each says which code it comes with, unless it is only ever the refusal of a reading.
#[test]
fn each_says_its_code() {
    for (name, said) in documented() {
        let codes = [
            "CANCELLED",
            "INVALID_ARGUMENT",
            "DEADLINE_EXCEEDED",
            "NOT_FOUND",
            "ALREADY_EXISTS",
            "PERMISSION_DENIED",
            "RESOURCE_EXHAUSTED",
            "FAILED_PRECONDITION",
            "ABORTED",
            "INTERNAL",
            "UNAVAILABLE",
            "UNAUTHENTICATED",
        ];
        let told = codes.iter().filter(|code| said.contains(*code)).count();
        assert!(told == 1 || (told == 0 && said.ends_with("Refusal of a reading.")), "{name}: {said}");
    }
}
