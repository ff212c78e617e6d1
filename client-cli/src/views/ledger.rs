//! Seals, what a check of the ledger found, and proofs.

use super::{Thing, count, short, some, written};
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use chrono_tz::Tz;
use holt_audit::seal::Link;
use holt_proto::v1;
use serde::Serialize;

/// A seal.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Seal {
    pub(crate) seal: u64,
    pub(crate) entries: u64,
    sealed_at: String,
    root: String,
    sites_root: String,
    previous: String,
    digest: String,
}

impl From<&Link> for Seal {
    fn from(link: &Link) -> Self {
        Self {
            seal: link.sequence,
            entries: link.seal.size,
            sealed_at: moment::written(link.sealed_at, Tz::UTC),
            root: link.seal.root.to_string(),
            sites_root: link.sites.to_string(),
            previous: link.previous.to_string(),
            digest: link.digest().to_string(),
        }
    }
}

impl Thing for Seal {
    const MANY: &'static str = "seals";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(seals: &[Self], page: &mut Page) {
        let mut table = Table::new(["Seal", "Entries", "Sealed", "Digest"]).numbers([0, 1]);
        for seal in seals {
            let beginning = seal.digest.get(..16).unwrap_or_default().to_owned();
            table.row([seal.seal.to_string(), seal.entries.to_string(), seal.sealed_at.clone(), beginning]);
        }
        page.table(&table);
    }
}

/// A break that was found.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Break {
    kind: &'static str,
    table: Option<String>,
    row: Option<String>,
    entry_id: Option<String>,
    position: Option<i64>,
    seal: Option<i64>,
    say: String,
}

impl From<v1::LedgerBreak> for Break {
    fn from(found: v1::LedgerBreak) -> Self {
        Self {
            kind: found.kind().word(),
            table: some(found.table),
            row: some(found.row),
            entry_id: some(found.entry_id),
            position: found.position,
            seal: found.seal,
            say: found.say,
        }
    }
}

/// What a check of the ledger found.
#[derive(Serialize)]
pub(crate) struct Verified {
    agrees: bool,
    /// The site that was checked; none where everything was.
    site: Option<String>,
    rows: i64,
    entries: i64,
    unsealed: i64,
    newest_seal: Seal,
    /// The seal that was kept, and what does not fit it.
    kept_seal: Option<Seal>,
    kept_seal_flaw: Option<String>,
    found: i64,
    breaks: Vec<Break>,
}

impl Verified {
    pub(crate) fn new(
        site: String,
        answer: v1::VerifyLedgerResponse,
        newest: &Link,
        kept: Option<(&Link, Option<String>)>,
    ) -> Self {
        let (kept_seal, kept_seal_flaw) =
            kept.map_or((None, None), |(kept, flaw)| (Some(Seal::from(kept)), flaw));
        Self {
            agrees: answer.found == 0 && kept_seal_flaw.is_none(),
            site: some(site),
            rows: answer.rows,
            entries: answer.entries,
            unsealed: answer.unsealed,
            newest_seal: Seal::from(newest),
            kept_seal,
            kept_seal_flaw,
            found: answer.found,
            breaks: answer.breaks.into_iter().map(Break::from).collect(),
        }
    }

    pub(crate) const fn agrees(&self) -> bool {
        self.agrees
    }
}

fn counted(n: i64, one: &str, many: &str) -> String {
    count(usize::try_from(n).unwrap_or(0), one, many)
}

impl Answer for Verified {
    type Row = Break;

    fn rows(&self) -> Vec<Break> {
        let flaw = self.kept_seal_flaw.iter().map(|flaw| Break {
            kind: "kept-seal",
            seal: self.kept_seal.as_ref().and_then(|kept| i64::try_from(kept.seal).ok()),
            say: flaw.clone(),
            ..Break::default()
        });
        flaw.chain(self.breaks.iter().cloned()).collect()
    }

    fn page(&self, page: &mut Page) {
        let of =
            self.site.as_ref().map_or_else(|| "everything".to_owned(), |site| format!("what is {site}'s"));
        let looked = format!(
            "Looked at {of}: {}, {}, the seals up to {}.",
            counted(self.rows, "row", "rows"),
            counted(self.entries, "entry", "entries"),
            self.newest_seal.seal
        );
        if self.agrees {
            page.line("The records agree with the ledger, and the ledger with its seals.");
        } else {
            let alarm = page.paint(Tone::Alarm, "History was changed.");
            page.line(&alarm);
        }
        page.line(&looked);
        match (&self.kept_seal, &self.kept_seal_flaw) {
            (Some(kept), None) => page.line(&format!(
                "Seal {}, which you kept, continues to seal {}: checked here.",
                kept.seal, self.newest_seal.seal
            )),
            (Some(kept), Some(flaw)) => {
                page.line(&format!("Seal {}, which you kept, does not continue: {flaw}.", kept.seal));
            }
            (None, _) => {}
        }
        if self.unsealed > 0 {
            page.line(&format!("Not sealed yet: {}.", counted(self.unsealed, "entry", "entries")));
        }
        if self.breaks.is_empty() {
            return;
        }
        page.gap();
        let mut table = Table::new(["Break", "Table", "Row", "Place", "What is wrong"]).numbers([3]);
        for one in &self.breaks {
            table.row([
                one.kind.to_owned(),
                one.table.clone().unwrap_or_default(),
                one.row.as_deref().map(short).unwrap_or_default().to_owned(),
                one.position.map(|place| place.to_string()).unwrap_or_default(),
                one.say.clone(),
            ]);
        }
        page.table(&table);
        let told = i64::try_from(self.breaks.len()).unwrap_or(i64::MAX);
        if self.found > told {
            page.remark(&format!("{} more are not listed.", self.found - told));
        }
    }
}

/// A record, and whether it is under a seal.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Proved {
    holds: bool,
    flaw: Option<String>,
    table: String,
    row: String,
    recorded_at: Option<String>,
    entry_id: String,
    position: i64,
    seal: u64,
    entries: u64,
    root: String,
    row_content: String,
    entry_content: String,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    path: Vec<String>,
}

impl Proved {
    pub(crate) fn new(
        proof: v1::GetInclusionProofResponse,
        link: &Link,
        flaw: Option<String>,
        zone: Tz,
    ) -> Self {
        Self {
            holds: flaw.is_none(),
            flaw,
            table: proof.table,
            row: proof.row,
            recorded_at: written(proof.recorded_at, zone),
            entry_id: proof.entry_id,
            position: proof.position,
            seal: link.sequence,
            entries: link.seal.size,
            root: link.seal.root.to_string(),
            row_content: proof.row_content,
            entry_content: proof.entry_content,
            path: proof.path,
        }
    }

    pub(crate) const fn holds(&self) -> bool {
        self.holds
    }
}

impl Answer for Proved {
    type Row = Self;

    fn rows(&self) -> Vec<Self> {
        // A line has one value in each field: the way itself is for JSON.
        vec![Self { path: Vec::new(), ..self.clone() }]
    }

    fn page(&self, page: &mut Page) {
        match &self.flaw {
            None => page.line(&format!(
                "The record is under seal {}: checked here, from its content up to the root.",
                self.seal
            )),
            Some(flaw) => {
                let alarm = page.paint(Tone::Alarm, "This is not a proof");
                page.line(&format!("{alarm}: {flaw}."));
            }
        }
        let mut table = Table::new(["", ""]);
        for (name, value) in [
            ("Record", format!("{} {}", self.table, self.row)),
            ("Recorded", self.recorded_at.clone().unwrap_or_default()),
            ("Entry", self.entry_id.clone()),
            ("Place", format!("{} of {}", self.position, self.entries)),
            ("Root", self.root.clone()),
        ] {
            table.row([name.to_owned(), value]);
        }
        page.table(&table);
        page.remark(&self.row_content);
    }
}
