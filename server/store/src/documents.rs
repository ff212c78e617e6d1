//! Versions of what all sites share: protocols, ethograms, reference curves of growth.

use crate::doors::Snapshot;
use crate::error::Error;
use sea_orm::FromQueryResult;

/// A kind of document.
#[derive(Clone, Copy, Debug)]
pub enum Kind {
    Protocol,
    Ethogram,
    GrowthReference,
}

impl Kind {
    const fn table(self) -> &'static str {
        match self {
            Self::Protocol => "protocols",
            Self::Ethogram => "ethograms",
            Self::GrowthReference => "growth_references",
        }
    }

    /// As people say it.
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Protocol => "protocol",
            Self::Ethogram => "ethogram",
            Self::GrowthReference => "reference curve",
        }
    }
}

/// The last version of a document; 0 where there is none.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn last_version(snapshot: &Snapshot, kind: Kind, code: &str) -> Result<i32, Error> {
    #[derive(FromQueryResult)]
    struct Last {
        last: i32,
    }
    let sql = format!("SELECT coalesce(max(version), 0) AS last FROM {} WHERE code = $1", kind.table());
    Ok(snapshot.rows::<Last>(&sql, [code.into()]).await?.first().map_or(0, |row| row.last))
}
