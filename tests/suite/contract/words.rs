//! What people read says one thing in one way: no phrase of the house's list stands in help, in the comments of
//! the contract, in refusals or in any other sentence that the programs print.

use clap::Command;
use std::fs;
use std::path::{Path, PathBuf};

/// Phrases that no text for people has, each with what to write instead.
const NEVER: [(&str, &str); 42] = [
    ("on its way out", "being driven out"),
    ("pushed out", "driven out, at risk"),
    ("should weigh", "expected"),
    ("would not come", "declined the scale"),
    ("left alone", "no encounters today"),
    ("old age", "post-mortem asked for, or cause not established"),
    ("on record", "recorded"),
    ("is told", "shows, reports"),
    ("are told", "shows, reports"),
    ("it is not said", "nothing given"),
    ("unless given", "[default: …]"),
    ("told apart", "identified"),
    ("telling apart", "identification"),
    ("the young of", "offspring, young animals"),
    ("gives way", "dominance, displaces"),
    ("give way", "dominance, displaces"),
    ("gave way", "was replaced"),
    ("days on end", "consecutive days"),
    ("of late", "recently"),
    ("held against", "compared with"),
    ("hold against", "compare with"),
    ("in the middle", "median"),
    ("mend", "correct"),
    ("anew", "again"),
    ("befell", "happened to"),
    ("strike out", "withdraw"),
    ("struck out", "withdrawn"),
    ("take back", "withdraw"),
    ("takes back", "withdraws"),
    ("taken back", "withdrawn"),
    ("keeps people", "manages people"),
    ("said nothing", "silent, no data since"),
    ("speaks again", "sends data again"),
    ("became of the body", "disposal of the carcass"),
    ("title passes", "ownership passes"),
    ("pass a title", "pass the ownership"),
    ("as was known", "as known at"),
    ("was known at", "as known at"),
    ("not any more", "no longer"),
    ("any more", "no longer"),
    ("anybody's books", "stock"),
    ("too lately", "too recently"),
];

/// The one caution, which says it in its own words.
const CAUTION: &str = "Holt shows what is on record.";

/// What stands where, in words: `holt weigh --help: …`.
struct Text {
    place: String,
    words: String,
}

fn workspace(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(folder)
}

/// Whether `words` hold `phrase` as words of their own.
fn holds(words: &str, phrase: &str) -> bool {
    let part = |c: char| c.is_alphanumeric() || "-_{}".contains(c);
    words.match_indices(phrase).any(|(at, _)| {
        let before = phrase.starts_with(part) && words[..at].ends_with(part);
        let after = words[at + phrase.len()..].starts_with(part);
        !before && !after
    })
}

/// `is no number`: a thing is not another; that there is none of it may be said.
fn denies_badly(words: &str) -> bool {
    ["is no ", "are no "].iter().any(|phrase| {
        words.match_indices(phrase).any(|(at, _)| {
            let after = &words[at + phrase.len()..];
            let free = ["longer", "more than"].iter().any(|free| after.starts_with(free));
            !free && !words[..at].ends_with("there ")
        })
    })
}

/// A `too` that closes what is said.
fn closes_with_too(words: &str) -> bool {
    words
        .match_indices(", too")
        .any(|(at, too)| words[at + too.len()..].chars().next().is_none_or(|next| ".,;:)".contains(next)))
}

/// What is wrong with a text, each with what to write instead.
fn wrong(text: &Text) -> Vec<String> {
    let words =
        text.words.replace(CAUTION, "").split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    let listed = NEVER.iter().filter(|(phrase, _)| holds(&words, phrase));
    let mut found: Vec<String> =
        listed.map(|(phrase, write)| format!("{}: `{phrase}`; write: {write}", text.place)).collect();
    if denies_badly(&words) {
        found.push(format!("{}: `is no …`; write: is not a …", text.place));
    }
    if closes_with_too(&words) {
        found.push(format!("{}: `, too`; write: also, as well", text.place));
    }
    found
}

fn none_is_wrong(texts: &[Text]) {
    let found: Vec<String> = texts.iter().flat_map(wrong).collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

fn help(command: &Command, words: &str, texts: &mut Vec<Text>) {
    let said = [command.get_about(), command.get_long_about(), command.get_after_help()];
    let said = said.into_iter().chain([command.get_after_long_help()]).flatten().map(ToString::to_string);
    let options = command.get_arguments().flat_map(|option| [option.get_help(), option.get_long_help()]);
    for words_of in said.chain(options.flatten().map(ToString::to_string)) {
        texts.push(Text { place: format!("{words} --help"), words: words_of });
    }
    for each in command.get_subcommands().filter(|each| each.get_name() != "help") {
        help(each, &format!("{words} {}", each.get_name()), texts);
    }
}

#[test]
fn help_has_the_words_of_the_house() {
    let mut texts = Vec::new();
    help(&holt_cli::command(), "holt", &mut texts);
    assert!(texts.len() > 500, "{}", texts.len());
    none_is_wrong(&texts);
}

/// Files below a folder whose names end so, tests of the sources left out.
fn files(folder: &str, ending: &str) -> Vec<(String, String)> {
    let root = workspace(folder);
    let (mut folders, mut found) = (vec![root.clone()], Vec::new());
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.strip_prefix(&root).unwrap().display().to_string();
            if path.is_dir() {
                folders.push(path);
            } else if name.ends_with(ending) && !name.ends_with("tests.rs") {
                found.push((name, fs::read_to_string(path).unwrap()));
            }
        }
    }
    found
}

/// Comments of lines that follow one another, as one text each.
fn comments(name: &str, source: &str, mark: &str) -> Vec<Text> {
    let mut texts: Vec<Text> = Vec::new();
    let mut goes_on = false;
    for (line, text) in source.lines().enumerate() {
        let comment = text.trim_start().strip_prefix(mark);
        match (comment, texts.last_mut()) {
            (Some(comment), Some(last)) if goes_on => last.words.push_str(comment),
            (Some(comment), _) => {
                texts.push(Text { place: format!("{name}:{}", line + 1), words: comment.to_owned() });
            }
            (None, _) => {}
        }
        goes_on = comment.is_some();
    }
    texts
}

#[test]
fn the_contract_and_the_settings_have_them() {
    let protos = files("proto/holt/v1", ".proto");
    let mut texts: Vec<Text> =
        protos.iter().flat_map(|(name, source)| comments(name, source, "//")).collect();
    assert!(texts.len() > 2000, "{}", texts.len());
    let settings = fs::read_to_string(workspace("server/config.default.toml")).unwrap();
    texts.extend(comments("config.default.toml", &settings, "#"));
    for folder in ["server/protocols", "server/ethograms", "server/standards"] {
        let documents = files(folder, ".toml");
        texts.extend(documents.into_iter().map(|(place, words)| Text { place, words }));
    }
    none_is_wrong(&texts);
}

/// The sentences among the string literals of a source: those of several words, tests left out.
fn sentences(name: &str, source: &str) -> Vec<Text> {
    let source = source.split("#[cfg(test)]").next().unwrap();
    let mut texts = Vec::new();
    let mut rest = source;
    while let Some(at) = rest.find(['"', '/', '\'']) {
        let found = &rest[at..];
        if found.starts_with("//") {
            rest = found.find('\n').map_or("", |end| &found[end..]);
        } else if found.starts_with("'\"'") || found.starts_with("'\\\"'") {
            rest = &found[3..];
        } else if let Some(quoted) = found.strip_prefix('"') {
            let raw = rest[..at].ends_with(['r', '#']);
            let (words, after) = literal(quoted, raw);
            if words.trim().contains(' ') {
                let line = source[..source.len() - found.len()].lines().count();
                texts.push(Text { place: format!("{name}:{line}"), words });
            }
            rest = after;
        } else {
            rest = &found[1..];
        }
    }
    texts
}

/// A literal after its first quotation mark, and what follows it.
fn literal(source: &str, raw: bool) -> (String, &str) {
    let mut words = String::new();
    let mut letters = source.char_indices();
    while let Some((at, letter)) = letters.next() {
        match letter {
            '"' => return (words, &source[at + 1..]),
            '\\' if !raw => {
                letters.next();
                words.push(' ');
            }
            letter => words.push(letter),
        }
    }
    (words, "")
}

#[test]
fn sentences_of_both_programs_have_them() {
    let mut texts = Vec::new();
    for folder in ["client-cli/src", "proto/src", "server/src", "server/store/src/model", "server/audit/src"]
    {
        for (name, source) in files(folder, ".rs") {
            texts.extend(sentences(&format!("{folder}/{name}"), &source));
        }
    }
    let refusals = fs::read_to_string(workspace("server/store/src/error.rs")).unwrap();
    texts.extend(sentences("server/store/src/error.rs", &refusals));
    assert!(texts.len() > 2000, "{}", texts.len());
    none_is_wrong(&texts);
}

/// A program of any kind may have asked: what the server says names no command of one of them.
#[test]
fn the_server_names_no_command_of_the_client() {
    let mut texts = Vec::new();
    for folder in ["server/src/api", "server/src/records", "server/src/report", "server/audit/src"] {
        for (name, source) in files(folder, ".rs") {
            texts.extend(sentences(&format!("{folder}/{name}"), &source));
        }
    }
    let refusals = fs::read_to_string(workspace("server/store/src/error.rs")).unwrap();
    texts.extend(sentences("server/store/src/error.rs", &refusals));
    let named: Vec<&str> =
        texts.iter().filter(|text| text.words.contains("`holt ")).map(|text| text.place.as_str()).collect();
    assert_eq!(named, [""; 0]);
}

#[test]
fn what_the_list_has_is_found() {
    let found = |words: &str| wrong(&Text { place: String::new(), words: words.to_owned() }).len();
    assert_eq!(found("`25` is no number; mend it, too"), 3);
    assert_eq!(found("recommended: there is no animal of this name"), 0);
    assert_eq!(found(CAUTION), 0);
    let source =
        "let a = \"it was struck \\\n    out\"; // \"mend\"\n let b = '\"'; let c = \"as it should weigh\";";
    let texts = sentences("a.rs", source);
    assert_eq!(texts.iter().flat_map(wrong).count(), 2);
}
