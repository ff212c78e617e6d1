//! Every call of the contract can be made by hand.

use prost_reflect::DescriptorPool;
use std::path::{Path, PathBuf};

/// Calls that no command makes, and why.
const NOT_BY_HAND: [(&str, &str); 3] = [
    ("GetTransfer", "a transfer is found among those listed, by the beginning or end of its id"),
    ("FollowWatch", "for programs that show a watch as it goes; `holt observe` records it as a whole"),
    ("SendReadings", "for devices; `holt climate send` sends the same portions one by one"),
];

fn sources(folder: &Path, text: &mut String) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, text);
        } else {
            text.push_str(&std::fs::read_to_string(path).unwrap());
        }
    }
}

#[test]
fn every_call_of_the_contract_is_made_by_some_command() {
    let client: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("../client-cli/src");
    let mut text = String::new();
    sources(&client.join("commands"), &mut text);
    for file in ["errand.rs", "session.rs", "round/send.rs", "exchange/send.rs", "watching/mod.rs"] {
        text.push_str(&std::fs::read_to_string(client.join(file)).unwrap());
    }
    let pool = DescriptorPool::decode(holt_proto::FILE_DESCRIPTOR_SET).unwrap();
    let ours = pool.services().filter(|service| service.full_name().starts_with("holt.v1."));
    for method in ours.flat_map(|service| service.methods().collect::<Vec<_>>()) {
        let made = text.contains(&format!("v1::{}", method.input().name()));
        let excused = NOT_BY_HAND.iter().any(|(name, _)| *name == method.name());
        assert_ne!(made, excused, "{}", method.full_name());
    }
}
