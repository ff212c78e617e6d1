//! Those that carry, may carry, have given birth, moult or are in rut: what that does to what they are expected to
//! weigh.

use super::animal::{Animal, Around, LEVEL, SLOPE, WANDER};
use super::filter::Vector;
use super::onsets::{Change, Course};
use super::stage::Stage;

/// Birth: least fall, in ln mass and as a part of what was gained, and how far below what she weighed before.
const BIRTH: f64 = 0.035;
const BIRTH_PART: f64 = 0.45;
const BELOW_BASE: f64 = 0.09;
/// Spread of two readings about what she weighed before she carried, in ln mass.
const BASE: f64 = 0.04;
/// Weeks after a birth in which weight is restless.
const NURSING: f64 = 12.0;

impl Animal {
    /// A gain of a grown animal that is sure: she may carry.
    pub(super) fn gains(&mut self, at: f64, around: &Around) {
        if self.stage != Stage::Grown {
            return;
        }
        let Some(gain) = self.onsets.gain(at).filter(|gain| gain.odds > 6.0 && gain.now > 0.03) else {
            return;
        };
        if self.life.may_carry() {
            self.carries(at, Some(&gain));
        } else if gain.odds > 12.0 {
            // It is heavier now.
            let level = self.state.mean[LEVEL];
            self.state.frees(LEVEL, level + self.state.mean[WANDER], 0.02 * 0.02);
            self.state.frees(WANDER, 0.0, around.noise.wander.powi(2));
            self.forgets();
        }
    }

    /// She carries, or may, from now on.
    pub(super) fn carries(&mut self, at: f64, gain: Option<&Change>) {
        if matches!(self.stage, Stage::Carrying { .. }) {
            return;
        }
        let gain = gain.copied().or_else(|| self.onsets.gain(at).filter(|gain| gain.odds > 2.0));
        let base = self.state.mean[LEVEL] - gain.map_or(0.0, |gain| gain.moved[LEVEL]);
        let since = gain.map_or(at, |gain| gain.since);
        self.stage = Stage::Carrying { since, base };
        let level = self.state.mean[LEVEL];
        self.state.frees(LEVEL, level, 0.02 * 0.02);
        self.state.frees(SLOPE, 0.01, 0.01 * 0.01);
        // A loss that was told stays so: she can only weigh more.
        self.onsets.clear();
    }

    /// Whether a fall is that of a birth: back to about what she weighed before.
    pub(super) fn is_birth(&self, log: f64, expected: f64) -> bool {
        let level = self.state.mean[LEVEL];
        let base = match self.stage {
            Stage::Carrying { base, .. } => base,
            Stage::Grown if self.life.may_carry() && self.readings > 8 => {
                return level - self.usual > 0.03 && expected - log > 0.05 && log > self.usual - 0.05;
            }
            _ => return false,
        };
        let gained = level - base;
        expected - log > (BIRTH_PART * gained).max(BIRTH) && log > base - BELOW_BASE
    }

    /// A loss of one that carries, or has given birth: how far her latest two readings lie below what she weighed
    /// before. While she carries she can only weigh more, so this counts on one side alone.
    pub(super) fn below_base(&self) -> Option<Change> {
        let (since, base) = match self.stage {
            Stage::Carrying { since, base } => (since, base),
            Stage::Nursing { until, base } => (until - NURSING, base?),
            _ => return None,
        };
        let [(earlier, other), (_, last)] = self.recent.last_chunk::<2>().copied()?;
        if earlier <= since {
            return None;
        }
        let now = 0.5 * (last + other) - base;
        let odds = 0.5 * (now / BASE).powi(2);
        (now < 0.0).then_some(Change {
            odds,
            since: earlier,
            course: Course::Slow,
            now,
            moved: Vector::default(),
            before: Some(base),
            pace: None,
        })
    }

    /// Her weight, or its, begins again: what it lost before says nothing of what comes.
    fn forgets(&mut self) {
        self.onsets.clear();
        self.open = None;
        self.sharp = None;
        self.waiting = None;
    }

    /// A birth was recorded.
    pub(super) fn bears(&mut self, at: f64) {
        if !matches!(self.stage, Stage::Nursing { .. }) {
            self.birth = Some(at);
        }
    }

    /// She has given birth, or has stopped carrying.
    pub(super) fn gives_birth(&mut self, at: f64) {
        let (base, doubt, before) = match self.stage {
            Stage::Carrying { base, .. } => (base - 0.01, 0.035, Some(base)),
            Stage::Grown if self.state.mean[LEVEL] - self.usual > 0.03 => {
                (self.usual, 0.04, Some(self.usual))
            }
            _ => (self.state.mean[LEVEL] - 0.06, 0.07, None),
        };
        self.state.frees(LEVEL, base, doubt * doubt);
        self.state.frees(SLOPE, 0.0, 0.002 * 0.002);
        self.stage = Stage::Nursing { until: at + NURSING, base: before };
        self.forgets();
    }

    /// It carried nothing.
    pub(super) fn carries_no_more(&mut self) {
        if let Stage::Carrying { base, .. } = self.stage {
            let level = 0.5 * (base + self.state.mean[LEVEL]);
            self.state.frees(LEVEL, level, 0.06 * 0.06);
            self.state.frees(SLOPE, 0.0, 0.0005 * 0.0005);
            self.stage = Stage::Grown;
            self.forgets();
        }
    }

    /// It moults or is in rut from now on, or has ended it.
    pub(super) fn rests(&mut self, begins: bool) {
        match (begins, self.stage) {
            (true, Stage::Grown | Stage::Nursing { .. }) => {
                self.stage = Stage::Resting { base: self.state.mean[LEVEL] };
                self.forgets();
            }
            (false, Stage::Resting { base }) => {
                let level = self.state.mean[LEVEL];
                self.state.frees(LEVEL, level.max(base - 0.03), 0.04 * 0.04);
                self.state.frees(SLOPE, 0.0, 0.0005 * 0.0005);
                self.stage = Stage::Grown;
                self.forgets();
            }
            _ => {}
        }
    }
}
