//! What histories came to, and the acts of the one that is played.

use std::collections::BTreeMap;

/// Acts that are shown with a violation.
const LAST_ACTS: usize = 25;

/// What is said of a request or an answer, without what is empty in it.
pub(super) fn brief(said: &str) -> String {
    let empty = |part: &&str| {
        ![": None", ": \"\"", ": []", ": false", ": 0", ": Unspecified"].iter().any(|end| part.ends_with(end))
    };
    let parts: Vec<&str> = said.split(", ").filter(empty).collect();
    parts.join(", ").replace("00000000-0000-7000-8000-", "-")
}

#[derive(Default)]
pub(super) struct Tally {
    pub(super) histories: usize,
    /// Histories in which a merge was accepted; in which one was taken back.
    pub(super) merged: usize,
    pub(super) unmerged: usize,
    pub(super) asked: usize,
    pub(super) accepted: usize,
    /// Copies of requests, sent once more or at the same time.
    pub(super) copies: usize,
    pub(super) refused: BTreeMap<String, usize>,
    /// Accepted writes by method.
    pub(super) of: BTreeMap<&'static str, usize>,
    /// Sets of rules that the tables were held to.
    pub(super) checked: usize,
    /// Answers that were read through for what is foreign; of them, those about an animal that is.
    pub(super) looked: usize,
    pub(super) foreign: usize,
    pub(super) pages: usize,
    pub(super) returns: usize,
    /// Merges that were taken back at once, after which both records were held to what they were.
    pub(super) undone: usize,
    pub(super) violations: Vec<String>,
    /// Seed of the history that is played, and what was done in it.
    pub(super) seed: u64,
    pub(super) acts: Vec<String>,
    pub(super) has_merged: bool,
    pub(super) has_unmerged: bool,
    /// Whether something was violated in it: what follows would be said twice.
    pub(super) broken: bool,
}

impl Tally {
    pub(super) fn begin(&mut self, seed: u64) {
        self.seed = seed;
        self.acts.clear();
        self.broken = false;
        (self.has_merged, self.has_unmerged) = (false, false);
    }

    pub(super) fn end(&mut self) {
        self.histories += 1;
        self.merged += usize::from(self.has_merged);
        self.unmerged += usize::from(self.has_unmerged);
    }

    /// Keeps a violation with the acts that led to it; of each history the first.
    pub(super) fn violated(&mut self, what: &str) {
        if self.broken {
            return;
        }
        self.broken = true;
        let last = self.acts.len().saturating_sub(LAST_ACTS);
        let acts = self.acts[last..].join("\n  ");
        self.violations.push(format!("HOLT_SEED={} HOLT_HISTORIES=1: {}\n  {acts}", self.seed, brief(what)));
    }

    /// Adds what another came to.
    pub(super) fn add(&mut self, other: Self) {
        self.histories += other.histories;
        self.merged += other.merged;
        self.unmerged += other.unmerged;
        self.asked += other.asked;
        self.accepted += other.accepted;
        self.copies += other.copies;
        self.checked += other.checked;
        self.looked += other.looked;
        self.foreign += other.foreign;
        self.pages += other.pages;
        self.returns += other.returns;
        self.undone += other.undone;
        self.violations.extend(other.violations);
        for (reason, times) in other.refused {
            *self.refused.entry(reason).or_default() += times;
        }
        for (method, times) in other.of {
            *self.of.entry(method).or_default() += times;
        }
    }

    pub(super) fn table(&self) -> String {
        format!(
            "histories {}, with merges {}, with merges taken back {}; writes asked {}, accepted {}, refused {}, \
             sent again or at once {}; looks at the tables {}, answers read {}, of them about animals of others {}, \
             pages {}, returns {}, merges undone and held to what was {}; violations {}\nrefused: {:?}\naccepted: {:?}",
            self.histories,
            self.merged,
            self.unmerged,
            self.asked,
            self.accepted,
            self.asked - self.accepted,
            self.copies,
            self.checked,
            self.looked,
            self.foreign,
            self.pages,
            self.returns,
            self.undone,
            self.violations.len(),
            self.refused,
            self.of,
        )
    }
}
