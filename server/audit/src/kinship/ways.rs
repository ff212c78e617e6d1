//! Ways back through a pedigree, followed level by level.

use super::pedigree::{Kind, Nodes};

/// Stands for no parent.
const NOBODY: usize = usize::MAX;

/// Room to follow what nodes come from.
pub(super) struct Ways<'n> {
    nodes: &'n Nodes,
    each: Vec<Way>,
    /// Nodes that are still to be taken, by their level.
    open: Vec<Vec<usize>>,
    /// Nodes whose `shared` was set.
    set: Vec<usize>,
}

/// What is looked at of one node, together in memory.
struct Way {
    /// What part of the one followed comes from it.
    part: f64,
    /// What it has in common with the one followed.
    shared: f64,
    /// Up to two parents, of which each gives a half. An open parentage looks its candidates up.
    from: [usize; 2],
    level: usize,
    seen: bool,
    one_of: bool,
}

impl<'n> Ways<'n> {
    pub(super) fn of(nodes: &'n Nodes) -> Self {
        let way = |at: usize| {
            let one_of = nodes.kind(at) == Kind::OneOf;
            let parent =
                |n: usize| nodes.from(at).get(n).filter(|_| !one_of).map_or(NOBODY, |(from, _)| *from);
            let (from, level) = ([parent(0), parent(1)], nodes.level(at));
            Way { part: 0.0, shared: 0.0, from, level, seen: false, one_of }
        };
        let each: Vec<Way> = (0..nodes.len()).map(way).collect();
        let levels = each.iter().map(|way| way.level + 1).max().unwrap_or(0);
        Self { nodes, each, open: vec![Vec::new(); levels], set: Vec::new() }
    }

    fn put(&mut self, at: usize) {
        let way = &mut self.each[at];
        if !std::mem::replace(&mut way.seen, true) {
            self.open[way.level].push(at);
        }
    }

    /// Gives what comes from a node on to what that comes from.
    fn give(&mut self, at: usize, part: f64) {
        if self.each[at].one_of {
            for &(from, share) in self.nodes.from(at) {
                self.each[from].part += share * part;
                self.put(from);
            }
            return;
        }
        for from in self.each[at].from {
            if from != NOBODY {
                self.each[from].part += part / 2.0;
                self.put(from);
            }
        }
    }

    /// Takes all that a node comes from, itself first and the founders last: when one is taken, all that come from
    /// it have been.
    fn back(&mut self, start: usize, mut take: impl FnMut(&mut Way, usize, f64)) {
        self.each[start].part = 1.0;
        self.put(start);
        for level in (0..=self.each[start].level).rev() {
            let mut taken = std::mem::take(&mut self.open[level]);
            for at in taken.drain(..) {
                let way = &mut self.each[at];
                way.seen = false;
                let part = std::mem::take(&mut way.part);
                take(way, at, part);
                self.give(at, part);
            }
            self.open[level] = taken;
        }
    }

    /// Works out what one node has in common with each mate, beside what all have, until that is forgotten.
    pub(super) fn follow(&mut self, one: usize, mates: impl Iterator<Item = usize>, new: &[f64]) {
        let mut set = std::mem::take(&mut self.set);
        self.back(one, |way, at, part| {
            way.shared = part * new[at];
            set.push(at);
        });
        self.set = set;
        // Back from the mates to learn whom they come from, and down again with what is shared.
        let mut highest = 0;
        for mate in mates {
            highest = highest.max(self.each[mate].level);
            self.put(mate);
        }
        for level in (0..=highest).rev() {
            let taken = std::mem::take(&mut self.open[level]);
            for &at in &taken {
                self.give(at, 0.0);
            }
            self.open[level] = taken;
        }
        for level in 0..=highest {
            let mut taken = std::mem::take(&mut self.open[level]);
            for at in taken.drain(..) {
                let passed = self.passed(at);
                let way = &mut self.each[at];
                way.seen = false;
                way.shared += passed;
                self.set.push(at);
            }
            self.open[level] = taken;
        }
    }

    fn passed(&self, at: usize) -> f64 {
        let way = &self.each[at];
        if way.one_of {
            return self.nodes.from(at).iter().map(|&(from, part)| part * self.each[from].shared).sum();
        }
        let shared = |from: usize| if from == NOBODY { 0.0 } else { self.each[from].shared };
        f64::midpoint(shared(way.from[0]), shared(way.from[1]))
    }

    /// What was found that a node has in common with the one followed.
    pub(super) fn shared(&self, at: usize) -> f64 {
        self.each[at].shared
    }

    /// Makes room for the next to be followed.
    pub(super) fn forget(&mut self) {
        for at in self.set.drain(..) {
            self.each[at].shared = 0.0;
        }
    }

    /// Relationship with itself of the mixture that a node comes from, beside what all have in common: the sum
    /// over all ancestors of what is new in each, times the square of the part that comes from it.
    pub(super) fn quadratic(&mut self, node: usize, new: &[f64]) -> f64 {
        let mut sum = 0.0;
        // The node itself is not among what it comes from.
        self.back(node, |_, at, part| sum += if at == node { 0.0 } else { part * part * new[at] });
        sum
    }
}
