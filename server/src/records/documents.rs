//! What a curator publishes for all sites, version after version: what holds of protocols, ethograms and reference curves
//! alike.

use crate::model::reason::Reason;
use crate::records::error::{Refusal, Result, Violation};
use crate::store::Snapshot;
use crate::store::documents::{self, Kind};
use serde::Serialize;
use serde_json::Value;

/// Refuses a version that is not the next: were one left out, the last could be so high that no other follows.
pub(super) async fn refuse_not_next(snapshot: &Snapshot, kind: Kind, code: &str, version: u32) -> Result<()> {
    let (last, what) = (documents::last_version(snapshot, kind, code).await?, kind.spoken());
    let next = i64::from(last) + 1;
    if i64::from(version) == next {
        return Ok(());
    }
    if version >= 1 && i64::from(version) < next {
        let say = format!("version {version} of the {what} `{code}` exists");
        return Err(Refusal::new(Reason::Exists, say, format!("load it as version {next}")).into());
    }
    let say = match last {
        0 => format!("the first version of the {what} `{code}` is 1, and not {version}"),
        last => format!("the last version of the {what} `{code}` is {last}, so the next is not {version}"),
    };
    Err(Refusal::new(Reason::VersionNotNext, say, format!("load it as version {next}"))
        .fact("next", next.to_string())
        .at("version")
        .into())
}

/// Refuses control characters in any text of a document: people read it in terminals.
pub(super) fn refuse_unprintable(document: &impl Serialize) -> Result<()> {
    let content = serde_json::to_value(document).map_err(crate::store::Error::from)?;
    Ok(walk("", &content)?)
}

fn walk(path: &str, value: &Value) -> std::result::Result<(), Refusal> {
    match value {
        Value::String(text) if text.chars().any(|c| c.is_control() && c != '\n' && c != '\t') => {
            Err(Refusal::malformed(vec![Violation {
                field: path.to_owned(),
                say: "has control characters".to_owned(),
                mend: "leave them out".to_owned(),
            }]))
        }
        Value::Array(all) => {
            all.iter().enumerate().try_for_each(|(n, one)| walk(&format!("{path}[{n}]"), one))
        }
        Value::Object(all) => all.iter().try_for_each(|(name, one)| {
            walk(&if path.is_empty() { name.clone() } else { format!("{path}.{name}") }, one)
        }),
        _ => Ok(()),
    }
}
