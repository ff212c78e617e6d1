//! Refusals, held to what the contract says of their reason.

use holt_proto::{ERROR_DOMAIN, FILE_DESCRIPTOR_SET};
use prost::Message;
use prost_types::FileDescriptorSet;
use std::collections::BTreeMap;
use std::sync::OnceLock;
use tonic::Status;
use tonic_types::StatusExt;

/// Number in `descriptor.proto` of the enums of a file and of the values of an enum.
const ENUMS: i32 = 5;
const VALUES: i32 = 2;

/// What the contract says of each reason, by its name without prefix: the comment in
/// `error_reason.proto`.
///
/// # Panics
/// If the contract enumerates no reasons.
#[must_use]
pub fn documented() -> &'static BTreeMap<String, String> {
    static ALL: OnceLock<BTreeMap<String, String>> = OnceLock::new();
    ALL.get_or_init(|| {
        let set = FileDescriptorSet::decode(FILE_DESCRIPTOR_SET).unwrap();
        let file = set.file.iter().find(|file| file.name() == "holt/v1/error_reason.proto").unwrap();
        let comments = file.source_code_info.as_ref().unwrap();
        file.enum_type[0]
            .value
            .iter()
            .enumerate()
            .skip(1)
            .map(|(n, value)| {
                let path = [ENUMS, 0, VALUES, i32::try_from(n).unwrap()];
                let place = comments.location.iter().find(|place| place.path == path).unwrap();
                let name = value.name().trim_start_matches("ERROR_REASON_").to_owned();
                (name, place.leading_comments().split_whitespace().collect::<Vec<_>>().join(" "))
            })
            .collect()
    })
}

/// The reason that a refusal carries, once all that the contract says of this reason holds of it: its code,
/// and the metadata that it always has.
///
/// # Panics
/// If it carries none, or does not hold to the contract.
#[must_use]
pub fn reason(status: &Status) -> String {
    let info = status.get_details_error_info().unwrap_or_else(|| panic!("no ErrorInfo in {status:?}"));
    let said = documented().get(&info.reason).unwrap_or_else(|| panic!("no such reason: {status:?}"));
    assert_eq!(info.domain, ERROR_DOMAIN);
    assert!(said.contains(&code_name(status)), "{said}\n{status:?}");
    if let Some((_, metadata)) = said.split_once("metadata ").filter(|(_, rest)| !rest.contains(" if ")) {
        for key in metadata.split('`').skip(1).step_by(2) {
            assert!(info.metadata.contains_key(key), "no `{key}` in {status:?}");
        }
    }
    assert!(!status.message().is_empty() && info.metadata.contains_key("mend"), "{status:?}");
    info.reason
}

/// `FAILED_PRECONDITION`.
fn code_name(status: &Status) -> String {
    let mut name = String::new();
    for c in format!("{:?}", status.code()).chars() {
        if c.is_ascii_uppercase() && !name.is_empty() {
            name.push('_');
        }
        name.push(c.to_ascii_uppercase());
    }
    name
}
