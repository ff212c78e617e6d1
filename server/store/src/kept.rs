//! Versions of documents, each kind in a table of its own: protocols, ethograms, reference curves of growth, standards.

use crate::documents::table;
use crate::doors::{Snapshot, Tx};
use crate::entity::{ethogram, growth_reference, protocol, standard};
use crate::error::{Error, stored};
use crate::model::document::{Kept, Kind};
use holt_audit::ethogram::Ethogram;
use holt_audit::growth::Reference;
use holt_audit::standard::Standard;
use holt_audit::welfare::Protocol;
use sea_orm::{FromQueryResult, Value};
use serde::Serialize;
use serde::de::DeserializeOwned;
use uuid::Uuid;

/// A document of which versions are kept.
pub trait Document: Clone + Serialize + DeserializeOwned + Send + Sync {
    const KIND: Kind;

    /// Its code and its version.
    fn named(&self) -> (&str, u32);

    /// Writes its row.
    fn write(
        &self,
        tx: &mut Tx,
        id: Uuid,
        site: Option<Uuid>,
    ) -> impl Future<Output = Result<(), Error>> + Send;
}

macro_rules! documents {
    ($($document:ident is $kind:ident in $table:ident;)*) => {
        $(
            impl Document for $document {
                const KIND: Kind = Kind::$kind;

                fn named(&self) -> (&str, u32) {
                    (&self.code, self.version)
                }

                async fn write(&self, tx: &mut Tx, id: Uuid, site: Option<Uuid>) -> Result<(), Error> {
                    let row = $table::Model {
                        id,
                        code: self.code.clone(),
                        version: i32::try_from(self.version).unwrap_or(i32::MAX),
                        content: serde_json::to_value(self)?,
                        recorded_at: tx.now(),
                        recorded_by: tx.person(),
                        request_id: tx.request_id(),
                        site_id: site,
                    };
                    tx.insert(&[row]).await
                }
            }
        )*
    };
}

documents! {
    Ethogram is Ethogram in ethogram;
    Protocol is Protocol in protocol;
    Reference is GrowthReference in growth_reference;
    Standard is Standard in standard;
}

async fn found<D: Document>(
    snapshot: &Snapshot,
    condition: &str,
    values: impl IntoIterator<Item = Value>,
) -> Result<Vec<Kept<D>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        content: serde_json::Value,
    }
    let table = table(D::KIND);
    let sql = format!("SELECT id, content FROM {table} WHERE {condition} ORDER BY code, version");
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let read = |row: Row| Ok(Kept { id: row.id, document: stored(table, "content", row.content)? });
    snapshot.legible(D::KIND.spoken(), rows, |row| row.id, read)
}

/// All versions of all documents of a kind, by code and version.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn all<D: Document>(snapshot: &Snapshot) -> Result<Vec<Kept<D>>, Error> {
    found(snapshot, "true", []).await
}

/// A version of a document.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn one<D: Document>(
    snapshot: &Snapshot,
    code: &str,
    version: i32,
) -> Result<Option<Kept<D>>, Error> {
    Ok(found(snapshot, "code = $1 AND version = $2", [code.into(), version.into()]).await?.pop())
}

/// Keeps a version of a document, for all sites or for one.
///
/// # Errors
/// [`Error::Broken`] where the version is taken.
pub async fn insert<D: Document>(tx: &mut Tx, document: &D, site: Option<Uuid>) -> Result<Kept<D>, Error> {
    let id = tx.new_id();
    document.write(tx, id, site).await?;
    Ok(Kept { id, document: document.clone() })
}
