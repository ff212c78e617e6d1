//! `LedgerService`.

use crate::api::decode::Form;
use crate::api::encode::id;
use crate::api::{Api, caller, status};
use crate::model::ledger::{Break, BreakKind};
use crate::records::ledger::{self, Asked};
use holt_audit::seal::{Hash, Link};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::LedgerBreakKind;
use holt_proto::v1::ledger_service_server::LedgerService;
use tonic::{Request, Response, Status};

fn count(n: u64) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

fn hashes(path: &[Hash]) -> Vec<String> {
    path.iter().map(Hash::to_string).collect()
}

fn seal(link: &Link) -> v1::Seal {
    v1::Seal {
        sequence: count(link.sequence),
        size: count(link.seal.size),
        root: link.seal.root.to_string(),
        sites_root: link.sites.to_string(),
        sealed_at: Some(timestamp(link.sealed_at)),
        previous: link.previous.to_string(),
        digest: link.digest().to_string(),
    }
}

const fn kind(kind: BreakKind) -> LedgerBreakKind {
    match kind {
        BreakKind::RowChanged => LedgerBreakKind::RowChanged,
        BreakKind::RowMoved => LedgerBreakKind::RowMoved,
        BreakKind::RowRemoved => LedgerBreakKind::RowRemoved,
        BreakKind::RowSlippedIn => LedgerBreakKind::RowSlippedIn,
        BreakKind::EntryChanged => LedgerBreakKind::EntryChanged,
        BreakKind::EntryRemoved => LedgerBreakKind::EntryRemoved,
        BreakKind::EntrySlippedIn => LedgerBreakKind::EntrySlippedIn,
        BreakKind::LeavesRemoved => LedgerBreakKind::LeavesRemoved,
        BreakKind::LeavesReordered => LedgerBreakKind::LeavesReordered,
        BreakKind::RootDiffers => LedgerBreakKind::RootDiffers,
        BreakKind::SiteRootDiffers => LedgerBreakKind::SiteRootDiffers,
        BreakKind::SealChanged => LedgerBreakKind::SealChanged,
        BreakKind::SealRemoved => LedgerBreakKind::SealRemoved,
        BreakKind::TailCut => LedgerBreakKind::TailCut,
    }
}

fn found(what: Break) -> v1::LedgerBreak {
    v1::LedgerBreak {
        kind: kind(what.kind).into(),
        table: what.table.to_owned(),
        row: what.row,
        entry_id: what.entry.map(id).unwrap_or_default(),
        position: what.position.map(count),
        seal: what.seal.map(count),
        say: what.say,
    }
}

/// The number of a seal, 0 and up.
fn number(form: &mut Form, field: &str, wire: i64) -> u64 {
    u64::try_from(wire).unwrap_or_else(|_| {
        form.wrong(field, format!("{wire} is not a number of a seal"), "give 0 or more");
        0
    })
}

#[tonic::async_trait]
impl LedgerService for Api {
    async fn seal_ledger(
        &self,
        request: Request<v1::SealLedgerRequest>,
    ) -> Result<Response<v1::SealLedgerResponse>, Status> {
        let (caller, _) = caller::open(request)?;
        let (newest, sealed) = ledger::seal(&self.records, &caller).await.map_err(status::from)?;
        Ok(Response::new(v1::SealLedgerResponse { seal: Some(seal(&newest)), sealed: count(sealed) }))
    }

    async fn list_seals(
        &self,
        request: Request<v1::ListSealsRequest>,
    ) -> Result<Response<v1::ListSealsResponse>, Status> {
        const METHOD: &str = "LedgerService/ListSeals";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let found = ledger::list(&self.records, &caller, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListSealsResponse {
            seals: found.entries.iter().map(seal).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }

    async fn verify_ledger(
        &self,
        request: Request<v1::VerifyLedgerRequest>,
    ) -> Result<Response<v1::VerifyLedgerResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.optional_site("site", &asked.site);
        form.done()?;
        let verified = ledger::check(&self.records, &caller, &site).await.map_err(status::from)?;
        Ok(Response::new(v1::VerifyLedgerResponse {
            rows: count(verified.rows),
            entries: count(verified.entries),
            unsealed: count(verified.unsealed),
            newest: Some(seal(&verified.newest)),
            found: count(verified.found),
            breaks: verified.breaks.into_iter().map(found).collect(),
        }))
    }

    async fn get_inclusion_proof(
        &self,
        request: Request<v1::GetInclusionProofRequest>,
    ) -> Result<Response<v1::GetInclusionProofResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.site("site", &asked.site),
            animal: form.animal("animal", &asked.animal),
            record: form.uuid("record_id", &asked.record_id),
            seal: number(&mut form, "seal", asked.seal),
        };
        form.done()?;
        let proof = ledger::prove(&self.records, &caller, &wanted).await.map_err(status::from)?;
        Ok(Response::new(v1::GetInclusionProofResponse {
            table: proof.table.to_owned(),
            row: proof.row,
            row_content: proof.row_content,
            entry_id: id(proof.entry),
            recorded_at: Some(timestamp(proof.recorded_at)),
            entry_content: proof.entry_content,
            position: count(proof.position),
            path: hashes(&proof.path),
            seal: Some(seal(&proof.link)),
        }))
    }

    async fn get_consistency_proof(
        &self,
        request: Request<v1::GetConsistencyProofRequest>,
    ) -> Result<Response<v1::GetConsistencyProofResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let older = number(&mut form, "older", asked.older);
        let newer = number(&mut form, "newer", asked.newer);
        form.done()?;
        let proof = ledger::continues(&self.records, &caller, older, newer).await.map_err(status::from)?;
        Ok(Response::new(v1::GetConsistencyProofResponse {
            older: Some(seal(&proof.older)),
            newer: Some(seal(&proof.newer)),
            path: hashes(&proof.path),
        }))
    }
}
