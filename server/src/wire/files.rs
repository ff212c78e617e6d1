//! How many files, and with them connections, the process may have open.

use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};

/// Raises the limit to `wanted` where it is lower and may be raised; answers what it is then.
#[must_use]
pub fn raise_open_files(wanted: u64) -> u64 {
    let limit = getrlimit(Resource::Nofile);
    let most = limit.maximum.map_or(wanted, |most| most.min(wanted));
    if limit.current.is_some_and(|current| current < most) {
        let raised = Rlimit { current: Some(most), maximum: limit.maximum };
        if let Err(error) = setrlimit(Resource::Nofile, raised) {
            tracing::warn!(%error, wanted, "the limit of open files cannot be raised");
        }
    }
    getrlimit(Resource::Nofile).current.unwrap_or(u64::MAX)
}
