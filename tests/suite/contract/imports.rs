//! Which way arrows run: who may name whom, and what is said in one place only.
//!
//! Read from the sources themselves. Tests inside them may name what they like.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// For each folder of `server/src`, or file beside them, the others that it may name. Arrows never turn:
/// `main → app → api → records → store → model`. The store is a crate of its own, with the model and access.
const ARROWS: [(&str, &[&str]); 10] = [
    ("main", &["app", "config", "demo"]),
    // A show that starts a server of its own and then speaks to it through the wire, as any client does.
    ("demo", &["access", "app", "clock", "config", "records", "store"]),
    ("app", &["access", "api", "clock", "config", "jobs", "records", "store", "wire"]),
    ("jobs", &["records"]),
    ("api", &["access", "model", "records", "report", "store", "wire"]),
    // Connections, before anything is said on them.
    ("wire", &[]),
    ("report", &["access", "model", "records", "store"]),
    ("records", &["access", "model", "store"]),
    // What is never printed in settings is what the store connects with.
    ("config", &["store"]),
    ("lib", &[]),
];

/// Within the store's crate, what holds no database: whom each of these folders may name.
const WITHOUT_DATABASE: [(&str, &[&str]); 2] = [("access", &["model"]), ("model", &[])];

/// Of the wire, only what turns faults of the store into statuses names the store.
const API_FILES_THAT_NAME_THE_STORE: [&str; 1] = ["api/status.rs"];

fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// A source file without comments and without its tests.
struct Source {
    /// Path below the folder that was asked for: `store/doors.rs`.
    path: String,
    lines: Vec<(usize, String)>,
}

impl Source {
    fn top(&self) -> &str {
        let top = self.path.split('/').next().unwrap();
        top.strip_suffix(".rs").unwrap_or(top)
    }

    /// Lines that hold any of these words, as `file:line: text`.
    fn lines_with(&self, words: &[&str]) -> Vec<String> {
        self.lines
            .iter()
            .filter(|(_, line)| words.iter().any(|word| names(line, word)))
            .map(|(n, line)| format!("{}:{n}: {}", self.path, line.trim()))
            .collect()
    }
}

/// Whether a line holds `word` where no longer word does.
fn names(line: &str, word: &str) -> bool {
    let part = |c: char| c.is_alphanumeric() || c == '_';
    line.match_indices(word).any(|(at, _)| {
        let longer_before = word.starts_with(part) && line[..at].ends_with(part);
        let longer_after = word.ends_with(part) && line[at + word.len()..].starts_with(part);
        !longer_before && !longer_after
    })
}

fn sources(folder: &str) -> Vec<Source> {
    let root = workspace().join(folder);
    let mut found = Vec::new();
    let mut folders = vec![root.clone()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ext| ext == "rs") && !path.ends_with("tests.rs") {
                let text = fs::read_to_string(&path).unwrap();
                let path = path.strip_prefix(&root).unwrap().to_str().unwrap().to_owned();
                found.push(Source { path, lines: code(&text) });
            }
        }
    }
    found.sort_by(|a, b| a.path.cmp(&b.path));
    assert!(!found.is_empty(), "there is no source in {folder}");
    found
}

/// Lines of code with their numbers: comments are left out, and everything from the tests on, which stand
/// last in a file.
fn code(text: &str) -> Vec<(usize, String)> {
    let lines: Vec<&str> = text.lines().collect();
    let tests =
        lines.windows(2).position(|pair| pair[0] == "#[cfg(test)]" && pair[1].starts_with("mod tests"));
    lines[..tests.unwrap_or(lines.len())]
        .iter()
        .enumerate()
        .filter(|(_, line)| !line.trim_start().starts_with("//"))
        .map(|(n, line)| (n + 1, (*line).to_owned()))
        .collect()
}

/// The modules below the crate's root that a line names.
fn targets(line: &str) -> Vec<String> {
    ["crate::", "holt_server::"]
        .iter()
        .flat_map(|root| line.match_indices(root).map(|(at, _)| &line[at + root.len()..]))
        .map(|rest| {
            assert!(!rest.starts_with('{'), "one `use` for each module, please: {line}");
            rest.chars().take_while(|c| c.is_ascii_lowercase() || *c == '_').collect()
        })
        .filter(|name: &String| !name.is_empty())
        .collect()
}

#[test]
fn arrows_never_turn() {
    let allowed: BTreeMap<&str, &[&str]> = ARROWS.into_iter().collect();
    let mut used: BTreeSet<(String, String)> = BTreeSet::new();
    let mut turned = Vec::new();
    for source in sources("server/src") {
        let from = source.top();
        for (n, line) in &source.lines {
            for to in targets(line) {
                used.insert((from.to_owned(), to.clone()));
                let may = from == to || allowed.get(from).is_some_and(|list| list.contains(&to.as_str()));
                let store = from == "api" && to == "store";
                if !may || (store && !API_FILES_THAT_NAME_THE_STORE.contains(&source.path.as_str())) {
                    turned.push(format!("{from} → {to}: {}:{n}: {}", source.path, line.trim()));
                }
            }
        }
    }
    assert!(turned.is_empty(), "{turned:#?}");
    let idle: Vec<_> = ARROWS
        .iter()
        .flat_map(|(from, list)| list.iter().map(|to| ((*from).to_owned(), (*to).to_owned())))
        .filter(|arrow| !used.contains(arrow))
        .collect();
    assert!(idle.is_empty(), "allowed and not needed: {idle:?}");
}

#[test]
fn model_and_access_hold_no_database() {
    let mut turned = Vec::new();
    for (folder, may) in WITHOUT_DATABASE {
        for source in sources("server/store/src").iter().filter(|source| source.top() == folder) {
            for (n, line) in &source.lines {
                let other = targets(line).into_iter().find(|to| to != folder && !may.contains(&to.as_str()));
                if let Some(other) = other {
                    turned.push(format!("{folder} → {other}: {}:{n}: {}", source.path, line.trim()));
                }
            }
            turned.extend(source.lines_with(&["sea_orm", "sqlx", "tokio"]));
        }
    }
    assert!(turned.is_empty(), "{turned:#?}");
}

/// Lines of the server and its store that hold one of `words`, in files other than `places`.
fn elsewhere(words: &[&str], places: &[&str]) -> Vec<String> {
    let mut all = sources("server/src");
    all.extend(sources("server/store/src"));
    all.iter()
        .filter(|source| !places.iter().any(|place| source.path.starts_with(place)))
        .flat_map(|source| source.lines_with(words))
        .collect()
}

#[test]
fn only_the_store_speaks_to_the_database() {
    // That nobody else can name the libraries is in the manifest; text of SQL is looked for here.
    for library in ["sea-orm", "sqlx"] {
        assert!(!dependencies("server").contains(library), "{library}");
    }
    for source in sources("server/src") {
        let sql = source.lines_with(&[
            "SELECT",
            "INSERT INTO",
            "DELETE FROM",
            "SET LOCAL",
            "set_config",
            "FOR UPDATE",
        ]);
        assert!(sql.is_empty(), "{sql:#?}");
    }
}

#[test]
fn transactions_begin_at_the_doors() {
    let begun = elsewhere(&["begin()", "begin_with_config", "TransactionTrait"], &["doors/mod.rs"]);
    assert!(begun.is_empty(), "{begun:#?}");
}

#[test]
fn the_wire_is_named_at_the_wire() {
    // `app.rs` puts the services together; the demo is a client of theirs.
    let places = ["api/", "app.rs", "demo/"];
    let proto = elsewhere(&["holt_proto"], &places);
    assert!(proto.is_empty(), "{proto:#?}");
    // A line says who is at its other end in the words of the transport, so that the shield can ask.
    let places = [&places[..], &["wire/line.rs"]].concat();
    let tonic = elsewhere(&["tonic", "tonic_types", "prost", "prost_types"], &places);
    assert!(tonic.is_empty(), "{tonic:#?}");
}

#[test]
fn statuses_are_built_in_one_place() {
    let mut built = Vec::new();
    for source in sources("server/src").iter().filter(|source| source.path != "api/status.rs") {
        for (n, line) in &source.lines {
            for (at, _) in line.match_indices("Status::") {
                let what: String = line[at + "Status::".len()..]
                    .chars()
                    .take_while(|c| c.is_alphanumeric() || *c == '_')
                    .collect();
                // Values of enums that are called Status, too; a method that takes a status makes none.
                let is_variant = what.starts_with(char::is_uppercase);
                // A path that is none of ours has no reason of ours.
                let is_unknown_path = source.path == "api/shield.rs" && what == "unimplemented";
                if !is_variant && !is_unknown_path && what != "into_http" {
                    built.push(format!("{}:{n}: {}", source.path, line.trim()));
                }
            }
        }
    }
    assert!(built.is_empty(), "{built:#?}");
}

#[test]
fn time_chance_and_environment_come_in_as_values() {
    let time = elsewhere(&["Utc::now", "Local::now", "SystemTime::now"], &["clock.rs"]);
    assert!(time.is_empty(), "{time:#?}");
    // The numbers of calls and incidents are no records' identifiers; a client makes its own request ids.
    let places = ["clock.rs", "api/shield.rs", "api/status.rs", "demo/load.rs"];
    let ids = elsewhere(&["Uuid::now_v7", "Uuid::new_v4"], &places);
    assert!(ids.is_empty(), "{ids:#?}");
    let environment = elsewhere(&["env::var", "env::var_os", "env::vars"], &["config.rs", "main.rs"]);
    assert!(environment.is_empty(), "{environment:#?}");
}

#[test]
fn the_audit_asks_nobody() {
    for source in sources("server/audit/src") {
        let asked =
            source.lines_with(&["Utc::now", "SystemTime", "std::env", "std::fs", "std::net", "async"]);
        assert!(asked.is_empty(), "{asked:#?}");
    }
}

/// Names of the packages that a package depends on when it is built for use.
fn dependencies(package: &str) -> BTreeSet<String> {
    let manifest = fs::read_to_string(workspace().join(package).join("Cargo.toml")).unwrap();
    let mut inside = false;
    let mut found = BTreeSet::new();
    for line in manifest.lines() {
        if line.starts_with('[') {
            inside = line == "[dependencies]";
        } else if let Some((name, _)) = line.split_once('=').filter(|_| inside) {
            found.insert(name.trim().to_owned());
        }
    }
    assert!(!found.is_empty(), "{package} depends on nothing");
    found
}

#[test]
fn packages_depend_one_way() {
    let own = |package: &str| -> Vec<String> {
        dependencies(package).into_iter().filter(|name| name.starts_with("holt-")).collect()
    };
    assert_eq!(own("server/audit"), [""; 0]);
    assert_eq!(own("migrations"), [""; 0]);
    assert_eq!(own("proto"), [""; 0]);
    // The client checks the proofs of the ledger by itself, and computes nothing else.
    assert_eq!(own("client-cli"), ["holt-audit", "holt-proto"]);
    assert_eq!(own("server"), ["holt-audit", "holt-proto", "holt-store"]);
    assert_eq!(own("server/store"), ["holt-audit", "holt-migrations"]);
    let heavy = ["tokio", "sea-orm", "sqlx", "tonic", "prost", "tracing", "futures"];
    let audit = dependencies("server/audit");
    assert!(heavy.iter().all(|name| !audit.contains(*name)), "{audit:?}");
}

#[test]
fn no_room_is_for_odds_and_ends() {
    for folder in [
        "proto/src",
        "server/src",
        "server/audit/src",
        "server/store/src",
        "client-cli/src",
        "migrations/src",
        "tests",
    ] {
        for source in sources(folder) {
            let odd = source.path.split(['/', '.']).find(|part| {
                ["common", "util", "utils", "helper", "helpers", "misc", "shared", "types"].contains(part)
            });
            assert_eq!(odd, None, "{folder}/{}: name it for what it holds", source.path);
        }
    }
}
