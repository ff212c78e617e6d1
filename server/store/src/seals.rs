//! Seals: entries are put under them in the background, and read from under them for proofs.

use crate::doors::{Snapshot, Store};
use crate::error::Error;
use crate::model::page::{Page, Slice};
use chrono::{DateTime, Utc};
use holt_audit::seal::chain::sites_root;
use holt_audit::seal::{Frontier, Hash, Link, Seal};
use sea_orm::FromQueryResult;
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Entries put under one seal at most, so that a long absence of the sealer makes no long transaction.
pub const MOST: u64 = 10_000;

/// Number of the lock for which sealers wait.
const SEALERS: i64 = 0x5EA1;

const COLUMNS: &str = "sequence, size, root, peaks, sites, sealed_at, previous, digest";

/// A seal as it is kept.
#[derive(FromQueryResult)]
pub(super) struct SealRow {
    pub sequence: i64,
    pub size: i64,
    pub root: Vec<u8>,
    pub peaks: Vec<u8>,
    pub sites: Vec<u8>,
    pub sealed_at: DateTime<Utc>,
    pub previous: Vec<u8>,
    pub digest: Vec<u8>,
}

impl SealRow {
    pub(super) fn link(&self) -> Result<Link, Error> {
        Ok(Link {
            sequence: count(self.sequence, "sequence")?,
            seal: Seal { size: count(self.size, "size")?, root: hash(&self.root, "root")? },
            sites: hash(&self.sites, "sites")?,
            sealed_at: self.sealed_at,
            previous: hash(&self.previous, "previous")?,
        })
    }
}

/// The tree of a site as a seal found it.
#[derive(FromQueryResult)]
pub(super) struct SiteSealRow {
    pub site_id: Uuid,
    pub sequence: i64,
    pub size: i64,
    pub root: Vec<u8>,
    pub peaks: Vec<u8>,
}

pub(super) fn hash(bytes: &[u8], column: &'static str) -> Result<Hash, Error> {
    let bytes: [u8; 32] = bytes.try_into().map_err(|_| Error::corrupt("seals", column, "no 32 bytes"))?;
    Ok(Hash::from_bytes(bytes))
}

pub(super) fn count(number: i64, column: &'static str) -> Result<u64, Error> {
    u64::try_from(number).map_err(|_| Error::corrupt("seals", column, &number))
}

fn signed(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

fn frontier(size: i64, peaks: &[u8]) -> Result<Frontier, Error> {
    let peaks = peaks.chunks(32).map(|peak| hash(peak, "peaks")).collect::<Result<_, _>>()?;
    Frontier::resume(count(size, "size")?, peaks).map_err(|error| Error::corrupt("seals", "peaks", &error))
}

fn bytes(peaks: &[Hash]) -> Vec<u8> {
    peaks.iter().flat_map(|peak| *peak.as_bytes()).collect()
}

/// A leaf that waits for its seal.
#[derive(FromQueryResult)]
struct Waiting {
    entry_id: Uuid,
    site_id: Option<Uuid>,
    leaf: Vec<u8>,
}

impl Store {
    /// Puts entries that are not sealed yet under one more seal, and counts them; none where all are sealed. An entry that is
    /// committed meanwhile has no place yet, so it cannot slip in before those that have.
    ///
    /// # Errors
    /// [`Error::Contention`] where another sealer was quicker: the number of a seal is given once.
    pub async fn seal(&self) -> Result<Option<u64>, Error> {
        let tx = self.sealing().await?;
        // One after the other: the number of the seal would let one through only, and the rest try again.
        tx.execute("SELECT pg_advisory_xact_lock($1)", [SEALERS.into()]).await?;
        let waiting = tx
            .rows::<Waiting>(
                "SELECT entry_id, site_id, leaf FROM leaves WHERE position IS NULL
                  ORDER BY recorded_at, entry_id LIMIT $1",
                [signed(MOST).into()],
            )
            .await?;
        if waiting.is_empty() {
            return Ok(None);
        }
        let last = newest_row(&tx).await?;
        let before = last.link()?;
        let mut tree = frontier(last.size, &last.peaks)?;
        let mut sites: BTreeMap<Uuid, Frontier> = BTreeMap::new();
        for row in site_trees(&tx).await? {
            sites.insert(row.site_id, frontier(row.size, &row.peaks)?);
        }
        let mut grown = BTreeSet::new();
        let mut places = Vec::with_capacity(waiting.len());
        for one in &waiting {
            let leaf = hash(&one.leaf, "leaf")?;
            let site_position = one.site_id.map(|site| {
                let own = sites.entry(site).or_default();
                own.push(leaf);
                grown.insert(site);
                own.size() - 1
            });
            places.push(json!({ "id": one.entry_id, "place": tree.size(), "site_place": site_position }));
            tree.push(leaf);
        }
        let link = Link {
            sequence: before.sequence + 1,
            seal: tree.seal(),
            sites: sites_root(sites.iter().map(|(site, tree)| (site, tree.seal()))),
            sealed_at: self.now(),
            previous: before.digest(),
        };
        // First of all the number: a second sealer waits here, and then finds it taken.
        tx.execute(
            &format!("INSERT INTO seals ({COLUMNS}) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)"),
            [
                signed(link.sequence).into(),
                signed(link.seal.size).into(),
                link.seal.root.as_bytes().to_vec().into(),
                bytes(tree.peaks()).into(),
                link.sites.as_bytes().to_vec().into(),
                link.sealed_at.into(),
                link.previous.as_bytes().to_vec().into(),
                link.digest().as_bytes().to_vec().into(),
            ],
        )
        .await?;
        let placed = tx
            .execute(
                "UPDATE leaves v SET position = r.place, site_position = r.site_place
                   FROM jsonb_to_recordset($1) AS r (id uuid, place bigint, site_place bigint)
                  WHERE v.entry_id = r.id",
                [serde_json::Value::from(places).into()],
            )
            .await?;
        if usize::try_from(placed) != Ok(waiting.len()) {
            return Err(Error::Contention);
        }
        for site in grown {
            let tree = &sites[&site];
            tx.execute(
                "INSERT INTO site_seals (site_id, sequence, size, root, peaks) VALUES ($1, $2, $3, $4, $5)",
                [
                    site.into(),
                    signed(link.sequence).into(),
                    signed(tree.size()).into(),
                    tree.seal().root.as_bytes().to_vec().into(),
                    bytes(tree.peaks()).into(),
                ],
            )
            .await?;
        }
        tx.commit().await?;
        Ok(Some(link.seal.size - before.seal.size))
    }
}

/// The newest tree of each site.
async fn site_trees(snapshot: &Snapshot) -> Result<Vec<SiteSealRow>, Error> {
    snapshot
        .rows(
            "SELECT s.site_id, s.sequence, s.size, s.root, s.peaks FROM sites i
              CROSS JOIN LATERAL (SELECT * FROM site_seals x WHERE x.site_id = i.id
                                   ORDER BY x.sequence DESC LIMIT 1) s",
            [],
        )
        .await
}

async fn newest_row(snapshot: &Snapshot) -> Result<SealRow, Error> {
    let sql = format!("SELECT {COLUMNS} FROM seals ORDER BY sequence DESC LIMIT 1");
    let row = snapshot.rows::<SealRow>(&sql, []).await?.pop();
    row.ok_or_else(|| Error::corrupt("seals", "sequence", "there is not even the seal over nothing"))
}

/// The newest seal.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn newest(snapshot: &Snapshot) -> Result<Link, Error> {
    newest_row(snapshot).await?.link()
}

/// The seal of a number.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn numbered(snapshot: &Snapshot, sequence: u64) -> Result<Option<Link>, Error> {
    let sql = format!("SELECT {COLUMNS} FROM seals WHERE sequence = $1");
    let row = snapshot.rows::<SealRow>(&sql, [signed(sequence).into()]).await?.pop();
    row.map(|row| row.link()).transpose()
}

/// Seals, newest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(snapshot: &Snapshot, page: &Page) -> Result<Slice<Link>, Error> {
    let before = page.after.as_ref().and_then(|key| key.parse().ok()).unwrap_or(i64::MAX);
    let sql = format!("SELECT {COLUMNS} FROM seals WHERE sequence < $1 ORDER BY sequence DESC LIMIT $2");
    let rows = snapshot.rows::<SealRow>(&sql, [before.into(), (i64::from(page.size) + 1).into()]).await?;
    let links = rows.iter().map(SealRow::link).collect::<Result<_, _>>()?;
    Ok(Slice::cut(links, page, |link: &Link| link.sequence.to_string()))
}

/// All seals in order.
pub(super) async fn all(snapshot: &Snapshot) -> Result<Vec<SealRow>, Error> {
    snapshot.rows(&format!("SELECT {COLUMNS} FROM seals ORDER BY sequence"), []).await
}

/// The trees of sites at all seals, in order.
pub(super) async fn of_sites(snapshot: &Snapshot) -> Result<Vec<SiteSealRow>, Error> {
    snapshot
        .rows("SELECT site_id, sequence, size, root, peaks FROM site_seals ORDER BY sequence, site_id", [])
        .await
}

/// The leaves of the first `size` entries, in order: hashes alone.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn leaves(snapshot: &Snapshot, size: u64) -> Result<Vec<Hash>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        leaf: Vec<u8>,
    }
    let rows = snapshot
        .rows::<Row>("SELECT leaf FROM leaves WHERE position < $1 ORDER BY position", [signed(size).into()])
        .await?;
    rows.iter().map(|row| hash(&row.leaf, "leaf")).collect()
}
