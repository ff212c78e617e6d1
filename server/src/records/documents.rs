//! Protocols, ethograms, reference curves of growth and standards: a curator publishes them for all sites,
//! version after version; a site adopts the version that it works by, and may keep documents of its own.

use crate::access::permit::{Caller, Leave, Permit};
use crate::access::roles::Deed;
use crate::model::document::{Basis, InUse, Kept, Kind, on, owner};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Error, Refusal, Result, Violation};
use crate::records::{Records, fresh};
use crate::store::documents::{self, in_use, table};
use crate::store::kept::{self, Document};
use crate::store::{self, Snapshot, Tx, retrying};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::ethogram::{Ethogram, SoundEthogram};
use holt_audit::growth::{Reference, SoundReference};
use holt_audit::standard::{SoundStandard, Standard};
use holt_audit::welfare::{Flaw, Protocol, Sound};
use std::ops::Deref;

/// What is sound of a kind of document: it can be used.
pub trait Usable:
    Deref<Target = Self::Document> + TryFrom<Self::Document, Error = Vec<Flaw>> + Send + Sync
{
    type Document: Document;
    /// Why one that is not is refused, in a word and in a sentence.
    const REASON: Reason;
    const UNUSABLE: &str;
    /// What to do instead with one that cannot even be read.
    const MEND: &str;
}

impl Usable for Sound {
    type Document = Protocol;
    const REASON: Reason = Reason::ProtocolMalformed;
    const UNUSABLE: &str = "the protocol contradicts itself";
    const MEND: &str = "see the example in the README; each key is checked";
}

impl Usable for SoundEthogram {
    type Document = Ethogram;
    const REASON: Reason = Reason::Malformed;
    const UNUSABLE: &str = "the ethogram cannot be used";
    const MEND: &str =
        "give code, version, title, and [[behaviour]] tables with code, name, kind and meaning";
}

impl Usable for SoundReference {
    type Document = Reference;
    const REASON: Reason = Reason::Malformed;
    const UNUSABLE: &str = "the reference curve cannot be used";
    const MEND: &str = "give code, version, title, species, source, and [[age]] tables with days, l, m and s";
}

impl Usable for SoundStandard {
    type Document = Standard;
    const REASON: Reason = Reason::Malformed;
    const UNUSABLE: &str = "the standard cannot be used";
    const MEND: &str = "give code, version, title, source, year, and [[clause]] tables with number, text, basis, \
                        evidence and rule";
}

/// What is told of why a line cannot be read, at most: it quotes what stands there.
const QUOTED: usize = 100;

/// Reads a document that is to be used, or says which line or place of it is wrong and quotes nothing else of it.
fn read<S: Usable>(document: &str) -> Result<S> {
    let read: S::Document = toml::from_str(document).map_err(|error| {
        let before = error.span().and_then(|span| document.get(..span.start)).unwrap_or_default();
        let line = before.matches('\n').count() + 1;
        let what: String = error.message().chars().take(QUOTED).collect();
        let kind = S::Document::KIND.spoken();
        let say = format!("line {line} of the document is not valid in a {kind}: {what}");
        Refusal::new(S::REASON, say, S::MEND).at("toml")
    })?;
    Ok(S::try_from(read).map_err(|flaws| flawed(S::REASON, S::UNUSABLE, flaws))?)
}

pub(super) fn flawed(reason: Reason, say: &str, flaws: Vec<Flaw>) -> Refusal {
    let mut refusal = Refusal::new(reason, say, "correct each place named");
    if let [only] = flaws.as_slice() {
        refusal.say = format!("{}: {}", only.path, only.what);
        refusal.mend.clone_from(&only.mend);
    }
    refusal.at = flaws
        .into_iter()
        .map(|flaw| Violation { field: flaw.path, say: flaw.what, mend: flaw.mend })
        .collect();
    refusal
}

/// A document that is on record can be used.
pub(crate) fn sound<S: Usable>(document: S::Document) -> Result<S> {
    S::try_from(document).map_err(|flaws| corrupt(table(S::Document::KIND), "content", &flaws))
}

/// A row whose content was taken once and contradicts itself now.
pub(super) fn corrupt(table: &'static str, column: &'static str, flaws: &[Flaw]) -> Error {
    let what = flaws.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
    Error::Fault(store::Error::corrupt(table, column, &what))
}

/// All versions of all documents of a kind that the caller may see: those that all share, and those of the sites whose
/// records the caller reads.
///
/// # Errors
/// Faults only.
pub async fn all<D: Document>(records: &Records, caller: &Caller) -> Result<Vec<Kept<D>>> {
    let reading = caller.reach(Deed::Read).unwrap_or_else(|_| caller.oneself());
    let snapshot = records.store.read(&reading, None).await?;
    Ok(kept::all(&snapshot).await?)
}

/// Loads the next version of a document: one that all sites share where no site is named, one of the site's own
/// otherwise.
///
/// # Errors
/// Refused without the role of curator, or without the role at the site; where the document cannot be used, the code is not
/// one for such a document, or the version is not the next.
pub async fn load<S: Usable>(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    document: &str,
) -> Result<Kept<S::Document>> {
    let document: S = read(document)?;
    if site.is_empty() {
        let reach = caller.may_everywhere(Deed::Curate)?;
        return keep(records, &reach, request, None, &*document).await;
    }
    let permit = records.permit(caller, Deed::KeepDocuments, site).await?;
    keep(records, &permit, request, Some(&permit), &*document).await
}

async fn keep<D: Document>(
    records: &Records,
    leave: &impl Leave,
    request: &Request,
    own: Option<&Permit>,
    document: &D,
) -> Result<Kept<D>> {
    let (code, version) = document.named();
    refuse_code(own.map(|permit| permit.site().code.as_str()), code)?;
    retrying("load_document", || async {
        let mut tx = fresh!(records.store.write(leave, request).await?);
        refuse_not_next(&tx, D::KIND, code, version).await?;
        let kept = kept::insert(&mut tx, document, own.map(|permit| permit.site().id)).await?;
        Ok(tx.commit(kept).await?)
    })
    .await
}

/// The shared version that a text would be, in words; refused where it could not be published now.
pub(super) async fn publishable<S: Usable>(snapshot: &Snapshot, text: &str) -> Result<String> {
    next_shared(snapshot, &*read::<S>(text)?).await
}

/// Keeps the next version of a shared document.
pub(super) async fn publish<S: Usable>(tx: &mut Tx, text: &str) -> Result<()> {
    let document: S = read(text)?;
    next_shared(tx, &*document).await?;
    kept::insert(tx, &*document, None).await?;
    Ok(())
}

async fn next_shared<D: Document>(snapshot: &Snapshot, document: &D) -> Result<String> {
    let (code, version) = document.named();
    refuse_code(None, code)?;
    refuse_not_next(snapshot, D::KIND, code, version).await?;
    Ok(format!("version {version} of the {} `{code}`", D::KIND.spoken()))
}

/// The code of a document of a site's own begins with the site's, and that of no shared one looks like it.
fn refuse_code(site: Option<&str>, code: &str) -> std::result::Result<(), Refusal> {
    let owner = owner(code);
    if owner.as_deref() == site {
        return Ok(());
    }
    let (say, mend) = match (site, owner) {
        (Some(site), _) => {
            let begin = site.to_ascii_lowercase();
            (
                format!("`{code}` is not a code for a document of {site} alone"),
                format!("begin it with `{begin}-`"),
            )
        }
        (None, owner) => (
            format!("`{code}` is a code for a document of {} alone", owner.unwrap_or_default()),
            "choose a code that does not begin with three letters and a hyphen".to_owned(),
        ),
    };
    Err(Refusal::malformed(vec![Violation { field: "code".to_owned(), say, mend }]))
}

/// A version that is adopted from a day on, or an adoption that is withdrawn.
#[derive(Clone, Debug)]
pub struct Adopted {
    pub kind: Kind,
    pub code: String,
    /// Today where none is named.
    pub on: Option<NaiveDate>,
}

/// Adopts a version of a document: the site works by it from a day on. What was adopted from the same day
/// gives way; what was recorded by another version keeps that.
///
/// # Errors
/// Refused without the role there; where there is no such version, or the day is in the future.
pub async fn adopt(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    asked: &Adopted,
    version: i32,
) -> Result<InUse> {
    let permit = records.permit(caller, Deed::KeepDocuments, site).await?;
    retrying("adopt_version", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let (document, today) = ((asked.kind, asked.code.as_str()), permit.site().day_of(tx.now()));
        let day = asked.on.unwrap_or(today);
        if day > today {
            return Err(Refusal::in_the_future("day", "adopted_on").into());
        }
        let last = usable(&tx, &permit, document).await?;
        if version > last {
            let (what, code) = (asked.kind.spoken(), &asked.code);
            let say =
                format!("the last version of the {what} `{code}` is {last}, and {version} was asked for");
            let mend = format!("adopt a version from 1 to {last}");
            return Err(Refusal { say, mend, ..Refusal::not_found(what, code) }.at("version").into());
        }
        let why = format!("version {version} was adopted from the same day");
        documents::withdraw(&mut tx, &permit, document, day, &why).await?;
        documents::adopt(&mut tx, &permit, document, version, day).await?;
        let reply = one(&tx, &permit, document, today).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Withdraws an adoption that never was so. What was recorded meanwhile keeps the version by which it was recorded.
///
/// # Errors
/// Refused without the role there, or where the site adopted nothing from that day.
pub async fn withdraw(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    asked: &Adopted,
    because: &str,
) -> Result<InUse> {
    let permit = records.permit(caller, Deed::KeepDocuments, site).await?;
    retrying("withdraw_adoption", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let (document, today) = ((asked.kind, asked.code.as_str()), permit.site().day_of(tx.now()));
        let day = asked.on.unwrap_or(today);
        usable(&tx, &permit, document).await?;
        if !documents::withdraw(&mut tx, &permit, document, day, because).await? {
            let (what, code, site) = (asked.kind.spoken(), &asked.code, &permit.site().code);
            let say = format!("{site} adopted no version of the {what} `{code}` from {day}");
            let mend = "look at the adoptions of the site, and name the day of one".to_owned();
            return Err(Refusal { say, mend, ..Refusal::not_found("adoption", code) }
                .at("adopted_on")
                .into());
        }
        let reply = one(&tx, &permit, document, today).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// The last version of a document that a site may work by.
async fn usable(snapshot: &Snapshot, permit: &Permit, (kind, code): (Kind, &str)) -> Result<i32> {
    let last = documents::last_version(snapshot, kind, code).await?;
    if last == 0 || owner(code).is_some_and(|owner| owner != permit.site().code) {
        return Err(Refusal::not_found(kind.spoken(), code).into());
    }
    Ok(last)
}

async fn one(tx: &Tx, permit: &Permit, (kind, code): (Kind, &str), day: NaiveDate) -> Result<InUse> {
    let all = in_use(tx, permit, day).await?;
    let found = all.into_iter().find(|one| one.kind == kind && one.code == code);
    found.ok_or_else(|| Refusal::not_found(kind.spoken(), code).into())
}

/// What a site works by on a day, as known at an instant.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    day: Option<NaiveDate>,
    known_at: Option<DateTime<Utc>>,
) -> Result<Vec<InUse>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.store.read(&permit, known_at).await?;
    let day = day.unwrap_or_else(|| permit.site().day_of(known_at.unwrap_or_else(|| records.store.now())));
    Ok(in_use(&snapshot, &permit, day).await?)
}

/// The version of a document by which a site works on a day: the one that it adopted, or else the last.
///
/// # Errors
/// Refused where there is no such document.
pub(crate) async fn in_force(
    snapshot: &Snapshot,
    permit: &Permit,
    (kind, code): (Kind, &str),
    day: NaiveDate,
) -> Result<(i32, Basis)> {
    let last = usable(snapshot, permit, (kind, code)).await?;
    let adopted = documents::adoptions(snapshot, permit, Some((kind, code))).await?.into_values().next();
    Ok(on(&adopted.unwrap_or_default(), day).map_or((last, Basis::Last), |one| (one.version, Basis::Adopted)))
}

/// The version by which something of a day is recorded, where one may be named. A site that adopted one records by no
/// other; on the day of a change either is right.
///
/// # Errors
/// Refused where there is no such document, or the site works by another version of it.
pub(super) async fn to_record_by(
    snapshot: &Snapshot,
    permit: &Permit,
    document: (Kind, &str),
    named: i32,
    day: NaiveDate,
) -> Result<(i32, Basis)> {
    let (version, basis) = in_force(snapshot, permit, document, day).await?;
    if named == 0 || (basis == Basis::Adopted && named == version) {
        return Ok((version, basis));
    }
    if basis != Basis::Adopted {
        return Ok((named, Basis::Named));
    }
    match in_force(snapshot, permit, document, day.pred_opt().unwrap_or(day)).await? {
        (before, Basis::Adopted) if before == named => Ok((named, Basis::Adopted)),
        (_, Basis::Last | Basis::Named) => Ok((named, Basis::Named)),
        (_, Basis::Adopted) => {
            let ((kind, code), site) = (document, &permit.site().code);
            let what = kind.spoken();
            let say =
                format!("{site} works by version {version} of the {what} `{code}` on {day}, not by {named}");
            let mend = format!("name no version, or have {site} adopt version {named} first");
            Err(Refusal::new(Reason::VersionNotAdopted, say, mend)
                .fact("adopted", version.to_string())
                .at(kind.as_str())
                .into())
        }
    }
}

/// Refuses a version that is not the next: were one left out, the last could be so high that no other follows.
async fn refuse_not_next(snapshot: &Snapshot, kind: Kind, code: &str, version: u32) -> Result<()> {
    let (last, what) = (documents::last_version(snapshot, kind, code).await?, kind.spoken());
    let next = i64::from(last) + 1;
    if i64::from(version) == next {
        return Ok(());
    }
    if version >= 1 && i64::from(version) < next {
        let say = format!("version {version} of the {what} `{code}` exists");
        return Err(Refusal::new(Reason::Exists, say, format!("give it version {next}")).into());
    }
    let say = match last {
        0 => format!("the first version of the {what} `{code}` is 1, not {version}"),
        last => format!("the last version of the {what} `{code}` is {last}, so the next is not {version}"),
    };
    Err(Refusal::new(Reason::VersionNotNext, say, format!("give it version {next}"))
        .fact("next", next.to_string())
        .at("version")
        .into())
}
