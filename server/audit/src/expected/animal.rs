//! One animal: what it is believed to weigh, and whether it loses.

use super::curve::Curve;
use super::gaussian::{Gaussian, Motion, N, Vector, View};
use super::noise::Noise;
use super::onsets::{Change, Course, Onsets};
use super::stage::{Life, Stage};
use serde::{Deserialize, Serialize};

const LEVEL: usize = 0;
const SLOPE: usize = 1;
const WANDER: usize = 2;
/// Own cosine and sine of one wave a year, then of two.
const SEASON: usize = 3;

/// Innovations beyond so many spreads are held back.
const MOST: f64 = 2.5;
/// Readings that the usual noise weighs as much as, and most that are remembered for an animal's own.
const USUAL: f64 = 12.0;
const REMEMBERED: f64 = 60.0;
/// Spreads, and ln mass, beyond which a reading waits for another.
const DOUBT: f64 = 3.6;
const LEAST_DOUBT: f64 = 0.085;
/// How far apart two readings may lie, in ln mass, to confirm each other, unless the animal's own noise says more.
const ALIKE: f64 = 0.04;
/// Half an hour, in weeks.
const MINUTES: f64 = 0.5 / 168.0;
/// Readings in a row that wait, at most.
const MOST_WAITING: u32 = 2;
/// Birth: least fall, in ln mass and as a part of what was gained, and how far below what she weighed before.
const BIRTH: f64 = 0.035;
const BIRTH_PART: f64 = 0.45;
const BELOW_BASE: f64 = 0.09;
/// Weeks after a birth in which weight is restless.
const NURSING: f64 = 12.0;
/// Latest readings that are kept to learn how readings differ.
const KEPT: usize = 16;

/// What is known of a kind when a reading is judged.
#[derive(Clone, Copy, Debug)]
pub(super) struct Around {
    pub(super) noise: Noise,
    /// ln grams of grown animals of its sex.
    pub(super) grown: Option<f64>,
    pub(super) breeds_from: Option<f64>,
    pub(super) gestation: Option<f64>,
    pub(super) seasonal: bool,
    pub(super) curve: Curve,
}

/// A reading as the animal's own filter takes it in.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    /// Weeks.
    pub(super) at: f64,
    /// ln grams as they were entered.
    pub(super) shown: f64,
    /// The same freed of the scale and of what its like share.
    pub(super) log: f64,
    /// Variance of what that errs by beside the animal's own noise.
    pub(super) variance: f64,
}

/// A reading that waits for another.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Waiting {
    at: f64,
    /// ln grams as they were entered.
    shown: f64,
    /// ln mass off what was expected.
    off: f64,
    /// Readings in a row that did not fit.
    row: u32,
}

/// What became of a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Entry {
    Taken,
    /// It confirms one that waited: both are taken.
    Confirms,
    /// It fell as a birth makes fall: to be asked about, and no loss.
    Birth,
    Waits,
}

/// All that is kept of one animal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Animal {
    pub(super) life: Life,
    pub(super) stage: Stage,
    state: Gaussian,
    pub(super) at: f64,
    pub(super) readings: u32,
    /// Variance of its readings as a multiple of the usual.
    own: f64,
    onsets: Onsets,
    waiting: Option<Waiting>,
    /// Fall from one reading to the next that a second confirmed: moment, ln mass lost, odds.
    sharp: Option<Fall>,
    /// Latest readings: moment and ln grams freed of what its like share.
    recent: Vec<(f64, f64)>,
    /// What the open episode of odds reached.
    pub(super) peak: f64,
    /// She gives birth then, once a reading is later than that.
    birth: Option<f64>,
    /// What it has usually weighed: follows slowly, and no jump.
    usual: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Fall {
    since: f64,
    /// ln grams expected before, freed.
    before: f64,
    odds: f64,
}

impl Animal {
    /// An animal at its first reading.
    pub(super) fn first(life: Life, seen: &Seen, around: &Around) -> Self {
        let young = life.is_young(seen.at, around);
        let below = around.grown.map_or(0.0, |grown| grown - seen.log);
        let (slope, doubt) = match (young, life.born) {
            (true, _) if around.grown.is_some_and(|grown| around.curve.pace(seen.log - grown).1 > 8.0) => {
                let (pace, _) = around.curve.pace(-below);
                (pace, 0.25 * pace + 0.003)
            }
            (true, _) => {
                let left = 1.0 - life.age(seen.at).unwrap_or(0.0) / around.breeds_from.unwrap_or(52.0);
                (0.08 * left.max(0.1).powi(2), 0.05 * left.max(0.15))
            }
            // Nobody knows how old it is.
            (false, None) if below > 0.12 => (0.02 * (below - 0.12).min(0.6), 0.012),
            _ => (0.0, 0.0004),
        };
        // Its own season beside that of its like.
        let (one, two) = if around.seasonal { (0.02, 0.01) } else { (0.008, 0.005) };
        let mut mean = [0.0; N];
        mean[LEVEL] = seen.log;
        mean[SLOPE] = slope;
        let wander = around.noise.wander.powi(2);
        let variances = [4.0, doubt * doubt, wander, one * one, one * one, two * two, two * two];
        let mut new = Self {
            life,
            stage: if young { Stage::Growing } else { Stage::Grown },
            state: Gaussian::new(mean, variances),
            at: seen.at,
            readings: 1,
            own: 1.0,
            onsets: Onsets::default(),
            waiting: None,
            sharp: None,
            recent: vec![(seen.at, seen.log)],
            peak: 0.0,
            birth: None,
            usual: seen.log,
        };
        let view = new.view(seen.at, seen.variance, around);
        new.state.learns(&view, 0.0);
        new
    }

    fn view(&self, at: f64, variance: f64, around: &Around) -> View {
        let mut row = [1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0];
        row[SEASON..].copy_from_slice(&waves(at));
        View { row, noise: self.own * around.noise.single.powi(2) + variance }
    }

    /// What a reading at a moment is expected to show, freed of what its like share, and the variance of that.
    pub(super) fn foresees(&self, at: f64, around: &Around) -> (f64, f64) {
        let mut state = self.state.clone();
        state.moves(&self.motion(at, around));
        let view = self.view(at, 0.0, around);
        (state.expects(&view), state.variance(&view))
    }

    /// How it moves on until a moment.
    fn motion(&self, at: f64, around: &Around) -> Motion {
        let weeks = (at - self.at).max(0.0);
        let slope = self.state.mean[SLOPE];
        let growing = self.stage == Stage::Growing;
        let slowing = match around.grown {
            Some(grown) if growing && slope > 0.0 => {
                around.curve.slowing((self.state.mean[LEVEL] - grown).min(0.0), slope)
            }
            _ if growing => 0.05,
            _ => 1.0 / 26.0,
        };
        let stage = self.stage.unrest(around.noise.wander);
        let keep_slope = (-slowing.max(stage.slowing) * weeks).exp();
        let rate = slowing.max(stage.slowing).max(1e-9);
        let memory = if growing { around.noise.memory.min(0.8) } else { around.noise.memory };
        let kept = memory.powf(weeks);
        let wander = stage.wander.max(around.noise.wander).powi(2) * self.own;
        let uneven = if growing { 0.04 * slope.max(0.0) } else { 0.0 };
        Motion {
            keep: [1.0, keep_slope, kept, 1.0, 1.0, 1.0, 1.0],
            gain: (1.0 - keep_slope) / rate,
            noise: [
                stage.level.powi(2) * weeks,
                (uneven.powi(2) + stage.slope.powi(2)) * weeks,
                wander * (1.0 - kept * kept),
                1e-7 * weeks,
                1e-7 * weeks,
                1e-7 * weeks,
                1e-7 * weeks,
            ],
        }
    }

    /// Takes in a reading, or lets it wait.
    pub(super) fn takes(&mut self, seen: &Seen, around: &Around) -> Entry {
        self.stage = self.stage.by(seen.at, &self.life, around);
        if self.birth.is_some_and(|birth| birth <= seen.at) {
            self.birth = None;
            self.gives_birth(seen.at);
        }
        let motion = self.motion(seen.at, around);
        let begun = 0.5 * (self.at + seen.at);
        self.state.moves(&motion);
        self.onsets.moves(&motion);
        self.at = seen.at;
        let view = self.view(seen.at, seen.variance, around);
        let (expected, variance) = (self.state.expects(&view), self.state.variance(&view));
        let news = seen.log - expected;
        let spread = variance.sqrt();
        if self.is_birth(seen.log, expected) {
            self.gives_birth(seen.at);
            let view = self.view(seen.at, seen.variance, around);
            let news = seen.log - self.state.expects(&view);
            self.state.learns(&view, news);
            self.remembers(seen);
            return Entry::Birth;
        }
        if news.abs() > reach(spread) {
            return self.doubts(seen, news, expected, spread, around);
        }
        self.waiting = None;
        let held = news.clamp(-MOST * spread, MOST * spread);
        let gain = self.state.learns(&view, held);
        self.onsets.takes(begun, seen.at, &view, held, variance, &gain);
        self.readings += 1;
        let z = held / spread;
        let weight = 1.0 / (USUAL + f64::from(self.readings)).min(REMEMBERED);
        self.own = (self.own * (1.0 + weight * (z * z - 1.0))).clamp(0.3, 6.0);
        self.remembers(seen);
        if self.sharp.is_some_and(|fall| seen.log > fall.before - 0.04) {
            self.sharp = None;
        }
        self.gains(seen.at, around);
        Entry::Taken
    }

    /// A reading that does not fit waits for one that agrees, and for no more than two others.
    fn doubts(&mut self, seen: &Seen, news: f64, expected: f64, spread: f64, around: &Around) -> Entry {
        let Some(waiting) = self.waiting else {
            self.waiting = Some(Waiting { at: seen.at, shown: seen.shown, off: news, row: 1 });
            return Entry::Waits;
        };
        // The very number again within minutes is the same slip, typed twice.
        if seen.at - waiting.at < MINUTES && seen.shown == waiting.shown {
            return Entry::Waits;
        }
        let apart = (3.0 * self.own.sqrt() * around.noise.single).max(ALIKE);
        let agrees = (waiting.off - news).abs() <= apart;
        if !agrees && waiting.row < MOST_WAITING {
            self.waiting = Some(Waiting { at: seen.at, shown: seen.shown, off: news, row: waiting.row + 1 });
            return Entry::Waits;
        }
        let off = if agrees { 0.5 * (waiting.off + news) } else { news };
        if agrees && off < -LEAST_DOUBT {
            self.sharp = Some(Fall { since: waiting.at, before: expected, odds: (off / spread).powi(2) });
        }
        // It weighs that now.
        self.waiting = None;
        self.state.frees(LEVEL, self.state.mean[LEVEL] + off, 0.03 * 0.03);
        self.state.frees(WANDER, 0.0, around.noise.wander.powi(2));
        self.onsets.clear();
        self.readings += 1;
        self.remembers(seen);
        Entry::Confirms
    }

    fn remembers(&mut self, seen: &Seen) {
        let weeks = self.recent.last().map_or(1.0, |(then, _)| (seen.at - then).clamp(0.0, 8.0));
        if self.stage == Stage::Growing {
            self.usual = seen.log;
        } else {
            self.usual += (seen.log - self.usual).clamp(-0.02, 0.02) * (1.0 - (-weeks / 15.0).exp());
        }
        let season: f64 = waves(seen.at).iter().zip(&self.state.mean[SEASON..]).map(|(wave, size)| wave * size).sum();
        self.recent.push((seen.at, seen.log - season));
        if self.recent.len() > KEPT {
            self.recent.remove(0);
        }
    }

    /// Earlier readings, and the latest: pairs that tell how readings differ.
    pub(super) fn pairs(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        let (at, log) = self.recent.last().copied().unwrap_or_default();
        let before = &self.recent[..self.recent.len().saturating_sub(1)];
        before.iter().map(move |(then, was)| (at - then, log - was))
    }

    /// A gain of a grown animal that is sure: she may carry.
    fn gains(&mut self, at: f64, around: &Around) {
        if self.stage != Stage::Grown {
            return;
        }
        let Some(gain) = self.onsets.gain(at).filter(|gain| gain.odds > 6.0 && gain.now > 0.03) else { return };
        if self.life.may_carry() {
            self.carries(at, Some(&gain));
        } else if gain.odds > 12.0 {
            // It is heavier now.
            let level = self.state.mean[LEVEL];
            self.state.frees(LEVEL, level + self.state.mean[WANDER], 0.02 * 0.02);
            self.state.frees(WANDER, 0.0, around.noise.wander.powi(2));
            self.onsets.clear();
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
        self.onsets.clear();
    }

    /// Whether a fall is that of a birth: back to about what she weighed before.
    fn is_birth(&self, log: f64, expected: f64) -> bool {
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

    /// A birth was recorded.
    pub(super) fn bears(&mut self, at: f64) {
        if !matches!(self.stage, Stage::Nursing { .. }) {
            self.birth = Some(at);
        }
    }

    /// She has given birth, or carries no more.
    pub(super) fn gives_birth(&mut self, at: f64) {
        let (base, doubt) = match self.stage {
            Stage::Carrying { base, .. } => (base - 0.01, 0.035),
            Stage::Grown if self.state.mean[LEVEL] - self.usual > 0.03 => (self.usual, 0.04),
            _ => (self.state.mean[LEVEL] - 0.06, 0.07),
        };
        self.state.frees(LEVEL, base, doubt * doubt);
        self.state.frees(SLOPE, 0.0, 0.002 * 0.002);
        self.stage = Stage::Nursing { until: at + NURSING };
        self.onsets.clear();
        self.waiting = None;
        self.sharp = None;
    }

    /// It carried nothing.
    pub(super) fn carries_no_more(&mut self) {
        if let Stage::Carrying { base, .. } = self.stage {
            let level = 0.5 * (base + self.state.mean[LEVEL]);
            self.state.frees(LEVEL, level, 0.06 * 0.06);
            self.state.frees(SLOPE, 0.0, 0.0005 * 0.0005);
            self.stage = Stage::Grown;
            self.onsets.clear();
        }
    }

    /// It moults or is in rut from now on, or no more.
    pub(super) fn rests(&mut self, begins: bool) {
        match (begins, self.stage) {
            (true, Stage::Grown | Stage::Nursing { .. }) => {
                self.stage = Stage::Resting { base: self.state.mean[LEVEL] };
                self.onsets.clear();
            }
            (false, Stage::Resting { base }) => {
                let level = self.state.mean[LEVEL];
                self.state.frees(LEVEL, level.max(base - 0.03), 0.04 * 0.04);
                self.state.frees(SLOPE, 0.0, 0.0005 * 0.0005);
                self.stage = Stage::Grown;
                self.onsets.clear();
            }
            _ => {}
        }
    }

    /// The likeliest loss: since when, by how much, and its odds.
    pub(super) fn loss(&self) -> Option<Change> {
        let slow = self.onsets.loss(self.at);
        let fall = self.sharp.map(|fall| {
            let (level, wander) = (self.state.mean[LEVEL], self.state.mean[WANDER]);
            Change {
                odds: fall.odds,
                since: fall.since,
                course: Course::Sharp,
                now: (level + wander - fall.before).min(0.0),
                moved: Vector::default(),
            }
        });
        [slow, fall].into_iter().flatten().max_by(|a, b| a.odds.total_cmp(&b.odds))
    }

    pub(super) const fn slope(&self) -> f64 {
        self.state.mean[SLOPE]
    }

    pub(super) const fn level(&self) -> f64 {
        self.state.mean[LEVEL]
    }
}

/// How far off a reading may be before it waits for another, given its spread, in ln mass.
pub(super) fn reach(spread: f64) -> f64 {
    (DOUBT * spread).max(LEAST_DOUBT)
}

/// The waves of a year at a moment, in weeks.
pub(super) fn waves(at: f64) -> [f64; 4] {
    let turn = std::f64::consts::TAU * at / YEAR;
    let (sin, cos) = turn.sin_cos();
    [cos, sin, cos * cos - sin * sin, 2.0 * sin * cos]
}

/// Weeks of a year.
pub(super) const YEAR: f64 = 365.25 / 7.0;
