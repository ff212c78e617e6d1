//! The sealed ledger: sealing, checking, proving.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::ledger::{Consistency, Inclusion, Verified};
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::records::error::{Error as Fault, Refusal, Result, Violation};
use crate::records::{Records, one_animal};
use crate::store::{Error, Snapshot, ledger, retrying, seals, verify};
use holt_audit::seal::{Link, proof};
use uuid::Uuid;

/// Puts everything that is recorded by now under a seal; answers how many entries that were.
///
/// # Errors
/// Faults only.
pub(crate) async fn seal_rest(records: &Records) -> Result<u64> {
    let mut entries = 0;
    loop {
        let sealed =
            retrying("seal_ledger", || async { Ok::<_, Fault>(records.store.seal().await?) }).await?;
        entries += sealed.unwrap_or(0);
        // A seal that is not full took all that there was.
        if sealed.is_none_or(|sealed| sealed < seals::MOST) {
            return Ok(entries);
        }
    }
}

/// Seals what is not sealed yet; answers the newest seal, and how many entries that were.
///
/// # Errors
/// Refused without the role anywhere.
pub async fn seal(records: &Records, caller: &Caller) -> Result<(Link, u64)> {
    let reach = caller.reach(Deed::CheckLedger)?;
    records.store.knock(&reach).await?;
    let entries = seal_rest(records).await?;
    let snapshot = records.store.read(&reach, None).await?;
    Ok((seals::newest(&snapshot).await?, entries))
}

/// The seals, newest first.
///
/// # Errors
/// Refused without the role anywhere.
pub async fn list(records: &Records, caller: &Caller, page: &Page) -> Result<Slice<Link>> {
    let reach = caller.reach(Deed::CheckLedger)?;
    let snapshot = records.store.read(&reach, None).await?;
    Ok(seals::list(&snapshot, page).await?)
}

/// Holds the records against the ledger, and the ledger against its seals: those of one site, or all.
///
/// # Errors
/// Refused without the role there; for all, without the role at every site.
pub async fn check(records: &Records, caller: &Caller, site: &str) -> Result<Verified> {
    let site = if site.is_empty() {
        records.store.knock(&caller.may_everywhere(Deed::CheckLedger)?).await?;
        None
    } else {
        let permit = records.permit(caller, Deed::CheckLedger, site).await?;
        records.store.knock(&permit).await?;
        Some(permit.site().id)
    };
    let snapshot = everything(records, caller).await?;
    Ok(verify::verify(&snapshot, site).await?)
}

/// One instant of everything, for what is answered in hashes alone.
async fn everything(records: &Records, caller: &Caller) -> Result<Snapshot> {
    records.oversee(caller, Deed::CheckLedger, None).await
}

/// Which record is to be proved.
#[derive(Clone, Debug)]
pub struct Asked {
    pub site: String,
    pub animal: String,
    pub record: Uuid,
    /// The seal to prove it under; 0 for the newest.
    pub seal: u64,
}

/// Shows that a record is under a seal.
///
/// # Errors
/// Refused where there is no such site, animal, record or seal that the caller may see, or the seal was made
/// before the record.
pub async fn prove(records: &Records, caller: &Caller, asked: &Asked) -> Result<Inclusion> {
    let permit = records.permit(caller, Deed::Read, &asked.site).await?;
    let unknown = || Refusal::not_found("record", &asked.record.to_string());
    let mut snapshot = records.look(caller, None).await?;
    let now = records.store.now();
    let animal = one_animal(&snapshot, Some(&permit), &asked.animal, now).await?.id;
    let row = ledger::row(&snapshot, animal, asked.record).await?.ok_or_else(unknown)?;
    let mut entry = ledger::entry(&snapshot, &row).await?.ok_or_else(unknown)?;
    if entry.position.is_none() {
        drop(snapshot);
        seal_rest(records).await?;
        snapshot = records.look(caller, None).await?;
        entry = ledger::entry(&snapshot, &row).await?.ok_or_else(unknown)?;
    }
    let link = numbered(&snapshot, asked.seal).await?;
    let position = entry.position.filter(|position| *position < link.seal.size).ok_or_else(|| {
        Refusal::not_found(&format!("record under seal {}", link.sequence), &asked.record.to_string())
    })?;
    drop(snapshot);
    let leaves = leaves(&everything(records, caller).await?, &link).await?;
    let path = usize::try_from(position).ok().and_then(|place| proof::inclusion(&leaves, place).ok());
    Ok(Inclusion {
        table: row.table,
        row: row.key,
        row_content: row.content,
        entry: entry.id,
        recorded_at: entry.recorded_at,
        entry_content: entry.content,
        position,
        path: path.ok_or_else(|| Error::corrupt("leaves", "position", &position))?,
        link,
    })
}

/// Shows that one seal continues another; 0 as the newer one means the newest.
///
/// # Errors
/// Refused without the role anywhere, or where there is no such seal.
pub async fn continues(records: &Records, caller: &Caller, older: u64, newer: u64) -> Result<Consistency> {
    records.store.knock(&caller.reach(Deed::CheckLedger)?).await?;
    let snapshot = everything(records, caller).await?;
    let old = seals::numbered(&snapshot, older).await?;
    let older = old.ok_or_else(|| Refusal::not_found("seal", &older.to_string()))?;
    let newer = numbered(&snapshot, newer).await?;
    if newer.sequence < older.sequence {
        return Err(Refusal::malformed(vec![Violation {
            field: "newer".to_owned(),
            say: format!("seal {} is older than seal {}", newer.sequence, older.sequence),
            mend: "exchange the two".to_owned(),
        }])
        .into());
    }
    let leaves = leaves(&snapshot, &newer).await?;
    let path = usize::try_from(older.seal.size).ok().and_then(|size| proof::consistency(&leaves, size).ok());
    let path = path.ok_or_else(|| Error::corrupt("seals", "size", &older.seal.size))?;
    Ok(Consistency { older, newer, path })
}

/// The seal of a number; the newest for 0.
async fn numbered(snapshot: &Snapshot, sequence: u64) -> Result<Link> {
    if sequence == 0 {
        return Ok(seals::newest(snapshot).await?);
    }
    let found = seals::numbered(snapshot, sequence).await?;
    found.ok_or_else(|| Refusal::not_found("seal", &sequence.to_string()).into())
}

/// All leaves under a seal. A tree with a hole proves nothing.
async fn leaves(snapshot: &Snapshot, link: &Link) -> Result<Vec<holt_audit::seal::Hash>> {
    let leaves = seals::leaves(snapshot, link.seal.size).await?;
    if leaves.len() as u64 == link.seal.size {
        Ok(leaves)
    } else {
        Err(Refusal::new(
            Reason::LedgerBroken,
            format!(
                "only {} of the {} entries under seal {} are there: Holt cannot prove anything",
                leaves.len(),
                link.seal.size,
                link.sequence
            ),
            "let an auditor verify the ledger, and tell whoever runs the server",
        )
        .into())
    }
}
