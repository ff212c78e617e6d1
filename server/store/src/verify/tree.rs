//! The chain of seals, and the tree grown again leaf by leaf under them.

use super::Found;
use crate::error::Error;
use crate::model::ledger::{Break, BreakKind};
use crate::seals::{SealRow, SiteSealRow, count, hash};
use chrono::{DateTime, Utc};
use holt_audit::seal::chain::sites_root;
use holt_audit::seal::{Frontier, Hash, Link, Seal};
use std::collections::BTreeMap;
use uuid::Uuid;

/// A leaf of the tree.
pub(super) struct Leaf {
    pub entry: Uuid,
    pub at: DateTime<Utc>,
    pub site: Option<Uuid>,
    pub hash: Hash,
}

/// Each seal says what it said, and names the one before it.
pub(super) fn chain(rows: &[SealRow], found: &mut Found) -> Result<(), Error> {
    let mut expected = 0;
    let mut before: Option<Hash> = None;
    for row in rows {
        let link = row.link()?;
        let number = link.sequence;
        if number != expected {
            let gone = if number == expected + 1 {
                format!("seal {expected} is gone")
            } else {
                format!("seals {expected} to {} are gone", number - 1)
            };
            found.about_seal(BreakKind::SealRemoved, expected, gone);
        } else if before.is_some_and(|before| before != link.previous) {
            let say =
                format!("seal {number} names another seal before it than seal {} as it is now", number - 1);
            found.about_seal(BreakKind::SealChanged, number - 1, say);
        }
        if hash(&row.digest, "digest")? != link.digest() {
            let say = format!("seal {number} does not say what it said when it was made");
            found.about_seal(BreakKind::SealChanged, number, say);
        }
        expected = number + 1;
        before = Some(link.digest());
    }
    Ok(())
}

/// The tree as it grows again.
pub(super) struct Tree {
    seals: Vec<Link>,
    /// What each seal says of the trees of sites that it found grown.
    site_seals: BTreeMap<(u64, Uuid), Seal>,
    /// Which seal comes next.
    next: usize,
    whole: Frontier,
    sites: BTreeMap<Uuid, Frontier>,
    /// The last leaf under the next seal.
    last: Option<(DateTime<Utc>, Uuid)>,
    /// Whether leaves under the next seal stand in another order than that of their recording.
    out_of_order: bool,
    /// Whether a root differed or leaves were missing, so that all later roots differ, too.
    lost: bool,
}

impl Tree {
    /// A tree without leaves, and the seals that it is to fit.
    pub(super) fn under(seals: &[SealRow], sites: Vec<SiteSealRow>) -> Result<Self, Error> {
        let seals = seals.iter().map(SealRow::link).collect::<Result<Vec<_>, _>>()?;
        let site_seals = sites
            .into_iter()
            .map(|row| {
                let seal = Seal { size: count(row.size, "size")?, root: hash(&row.root, "root")? };
                Ok(((count(row.sequence, "sequence")?, row.site_id), seal))
            })
            .collect::<Result<_, Error>>()?;
        let next = usize::from(seals.first().is_some_and(|link| link.seal.size == 0));
        Ok(Self {
            seals,
            site_seals,
            next,
            whole: Frontier::new(),
            sites: BTreeMap::new(),
            last: None,
            out_of_order: false,
            lost: false,
        })
    }

    /// One more leaf; where a seal was made over what is there now, the roots are compared.
    pub(super) fn grow(&mut self, leaf: &Leaf, position: u64, found: &mut Found) {
        let expected = self.whole.size();
        if position != expected && !self.lost {
            self.lost = true;
            found.report(Break {
                kind: BreakKind::LeavesRemoved,
                table: "leaves",
                row: leaf.entry.to_string(),
                entry: None,
                position: Some(expected),
                seal: None,
                say: format!(
                    "{} entries are gone with their leaves, before place {position} of the tree",
                    position.abs_diff(expected)
                ),
            });
        }
        let order = (leaf.at, leaf.entry);
        self.out_of_order |= self.last.replace(order).is_some_and(|before| before > order);
        self.whole.push(leaf.hash);
        if let Some(site) = leaf.site {
            self.sites.entry(site).or_default().push(leaf.hash);
        }
        while let Some(link) = self.seals.get(self.next).filter(|link| link.seal.size <= self.whole.size()) {
            let link = link.clone();
            self.next += 1;
            if !self.lost {
                self.compare(&link, found);
            }
            self.last = None;
            self.out_of_order = false;
        }
    }

    fn compare(&mut self, link: &Link, found: &mut Found) {
        let number = link.sequence;
        if self.whole.seal() != link.seal {
            self.lost = true;
            if self.out_of_order {
                let say =
                    format!("entries under seal {number} stand in another order than they were sealed in");
                found.about_seal(BreakKind::LeavesReordered, number, say);
            } else {
                let say = format!("the entries under seal {number} are not those that it was made over");
                found.about_seal(BreakKind::RootDiffers, number, say);
            }
        }
        let said = self.site_seals.range((number, Uuid::nil())..=(number, Uuid::max()));
        let differ: Vec<Uuid> = said
            .filter(|((_, site), seal)| self.sites.get(site).map(Frontier::seal) != Some(**seal))
            .map(|((_, site), _)| *site)
            .collect();
        for site in differ {
            self.lost = true;
            if !found.concerns(Some(site)) {
                continue;
            }
            found.report(Break {
                kind: BreakKind::SiteRootDiffers,
                table: "site_seals",
                row: format!("{site}/{number}"),
                entry: None,
                position: None,
                seal: Some(number),
                say: format!("the site's entries under seal {number} are not those that it was made over"),
            });
        }
        let sites = sites_root(self.sites.iter().map(|(site, tree)| (site, tree.seal())));
        if !self.lost && sites != link.sites {
            self.lost = true;
            let say =
                format!("seal {number} was made over other trees of single sites than those that are there");
            found.about_seal(BreakKind::SiteRootDiffers, number, say);
        }
    }

    /// Seals over more than is there, and entries over which no seal is left.
    pub(super) fn rest(&self, found: &mut Found) {
        let there = self.whole.size();
        if let Some(link) = self.seals.get(self.next).filter(|_| !self.lost) {
            let (number, size) = (link.sequence, link.seal.size);
            let say = format!("seal {number} was made over {size} entries, and only {there} are there");
            found.about_seal(BreakKind::TailCut, number, say);
        }
        let Some(newest) = self.seals.last() else { return };
        if there > newest.seal.size {
            let say = format!("{} entries were sealed, and their seal is gone", there - newest.seal.size);
            found.about_seal(BreakKind::SealRemoved, newest.sequence + 1, say);
        }
    }
}
