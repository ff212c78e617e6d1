//! Checks seals and proofs on this machine, so that nobody has to trust the server.

use crate::failure::Failure;
use holt_audit::seal::proof::{verify_consistency, verify_inclusion};
use holt_audit::seal::{Hash, Link, Seal};
use holt_proto::{time, v1};
use serde_json::Value;

/// Why a proof does not show what it is to show, in words.
pub(crate) type Flaw = String;

/// A seal as the server tells it.
///
/// # Errors
/// It is not of its form: this is no answer of a Holt server.
pub(crate) fn link(wire: Option<v1::Seal>) -> Result<Link, Failure> {
    let read = || {
        let wire = wire?;
        let link = Link {
            sequence: wire.sequence.try_into().ok()?,
            seal: Seal { size: wire.size.try_into().ok()?, root: wire.root.parse().ok()? },
            sites: wire.sites_root.parse().ok()?,
            sealed_at: time::instant(wire.sealed_at?).ok()?,
            previous: wire.previous.parse().ok()?,
        };
        (link.digest().to_string() == wire.digest).then_some(link)
    };
    read().ok_or_else(|| {
        Failure::machine(
            "the server returned a seal that contradicts itself",
            "use a `holt` of the same version as the server; if it stays so, report it to whoever runs the server",
        )
    })
}

fn path(wire: &[String]) -> Result<Vec<Hash>, Flaw> {
    wire.iter()
        .map(|hash| hash.parse())
        .collect::<Result<_, _>>()
        .map_err(|_| "a hash of the proof is not valid".to_owned())
}

/// Whether `newer` continues the seal that was kept.
pub(crate) fn continues(kept: &Link, told: &Link, newer: &Link, hashes: &[String]) -> Result<(), Flaw> {
    if told != kept {
        return Err(format!("seal {} is not the one that was kept", kept.sequence));
    }
    verify_consistency(kept.seal, newer.seal, &path(hashes)?).map_err(|broken| broken.to_string())
}

/// Whether the record of an identifier is under a seal: its content has the hash that stands in its entry,
/// and the entry is the leaf from which the path leads to the root.
pub(crate) fn included(proof: &v1::GetInclusionProofResponse, record: &str, link: &Link) -> Result<(), Flaw> {
    if !proof.row.eq_ignore_ascii_case(record) {
        return Err("the proof is about another record".to_owned());
    }
    let entry: Value =
        serde_json::from_str(&proof.entry_content).map_err(|_| "the entry cannot be read".to_owned())?;
    let digest = Hash::of_content(proof.row_content.as_bytes()).to_string();
    let mut lines = entry["lines"].as_array().into_iter().flatten();
    let said = lines.any(|line| {
        line["table"] == proof.table.as_str()
            && line["row"] == proof.row.as_str()
            && line["sha256"] == digest.as_str()
    });
    if !said {
        return Err("the entry does not show that this record was written so".to_owned());
    }
    let position =
        u64::try_from(proof.position).map_err(|_| "the place of the entry is not valid".to_owned())?;
    let leaf = Hash::of_leaf(proof.entry_content.as_bytes());
    verify_inclusion(leaf, position, link.seal, &path(&proof.path)?).map_err(|broken| broken.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use holt_audit::seal::frontier::root;
    use holt_audit::seal::proof::{consistency, inclusion};

    fn sealed(sequence: u64, leaves: &[Hash]) -> Link {
        Link {
            sequence,
            seal: Seal { size: leaves.len() as u64, root: root(leaves) },
            sites: Hash::of_nothing(),
            sealed_at: "2026-03-02T09:00:00Z".parse().unwrap(),
            previous: Hash::of_nothing(),
        }
    }

    fn hashes(path: Vec<Hash>) -> Vec<String> {
        path.into_iter().map(String::from).collect()
    }

    fn proof() -> (v1::GetInclusionProofResponse, Link) {
        let row_content = "{\"mass_mg\":5}".to_owned();
        let digest = Hash::of_content(row_content.as_bytes());
        let entry_content =
            format!("{{\"lines\":[{{\"row\":\"ab\",\"sha256\":\"{digest}\",\"table\":\"weights\"}}]}}");
        let leaves =
            [Hash::of_leaf(b"before"), Hash::of_leaf(entry_content.as_bytes()), Hash::of_leaf(b"after")];
        let proof = v1::GetInclusionProofResponse {
            table: "weights".to_owned(),
            row: "ab".to_owned(),
            row_content,
            entry_content,
            position: 1,
            path: hashes(inclusion(&leaves, 1).unwrap()),
            ..Default::default()
        };
        (proof, sealed(1, &leaves))
    }

    #[test]
    fn a_record_is_proved_by_its_content_and_by_nothing_else() {
        let (whole, link) = proof();
        assert_eq!(included(&whole, "AB", &link), Ok(()));
        let changes: [fn(&mut v1::GetInclusionProofResponse); 5] = [
            |proof| proof.row_content = "{\"mass_mg\":6}".to_owned(),
            |proof| proof.entry_content = proof.entry_content.replace("weights", "deaths"),
            |proof| proof.position = 2,
            |proof| proof.path[0] = Hash::of_leaf(b"other").to_string(),
            |proof| proof.row = "cd".to_owned(),
        ];
        for (n, change) in changes.into_iter().enumerate() {
            let (mut proof, link) = (whole.clone(), link.clone());
            change(&mut proof);
            assert!(included(&proof, "ab", &link).is_err(), "change {n}");
        }
        let other = Link { seal: Seal { root: Hash::of_leaf(b"x"), ..link.seal }, ..link };
        assert!(included(&whole, "ab", &other).is_err());
    }

    #[test]
    fn a_kept_seal_is_continued_only_by_what_grew_from_it() {
        let leaves: Vec<Hash> = (0..7_u8).map(|n| Hash::of_leaf(&[n])).collect();
        let (kept, newer) = (sealed(1, &leaves[..3]), sealed(2, &leaves));
        let way = hashes(consistency(&leaves, 3).unwrap());
        assert_eq!(continues(&kept, &kept, &newer, &way), Ok(()));
        let mut rewritten = leaves;
        rewritten[1] = Hash::of_leaf(b"rewritten");
        let newer = sealed(2, &rewritten);
        let way = hashes(consistency(&rewritten, 3).unwrap());
        assert!(continues(&kept, &kept, &newer, &way).is_err());
        assert!(continues(&kept, &sealed(1, &rewritten[..3]), &newer, &way).is_err());
    }

    #[test]
    fn a_seal_that_contradicts_itself_is_none() {
        let told = sealed(4, &[Hash::of_leaf(b"one")]);
        let wire = v1::Seal {
            sequence: 4,
            size: 1,
            root: told.seal.root.to_string(),
            sites_root: told.sites.to_string(),
            sealed_at: Some(time::timestamp(told.sealed_at)),
            previous: told.previous.to_string(),
            digest: told.digest().to_string(),
        };
        assert_eq!(link(Some(wire.clone())).unwrap(), told);
        assert!(link(Some(v1::Seal { size: 2, ..wire })).is_err());
        assert!(link(None).is_err());
    }
}
