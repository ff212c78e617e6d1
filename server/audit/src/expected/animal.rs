//! One animal: what it is believed to weigh, and how each reading moves that.

use super::answer::Entry;
use super::curve::Curve;
use super::doubt::{Odd, Waiting};
use super::filter::{Gaussian, Motion, N, View};
use super::noise::Noise;
use super::onsets::Onsets;
use super::open::{Fall, Open};
use super::slips::Fits;
use super::stage::{Life, Stage};
use super::together::waves_of_all;
use crate::stats::theil_sen;
use serde::{Deserialize, Serialize};

pub(super) const LEVEL: usize = 0;
pub(super) const SLOPE: usize = 1;
pub(super) const WANDER: usize = 2;
/// Own cosine and sine of one wave a year, then of two.
const SEASON: usize = 3;

/// Innovations beyond so many spreads are held back.
const MOST: f64 = 2.5;
/// Readings that the usual noise weighs as much as, and most that are remembered for an animal's own.
const USUAL: f64 = 12.0;
const REMEMBERED: f64 = 60.0;
/// Weeks, and fewest readings in them, that tell how fast it gains or loses of late.
const PACE_WEEKS: f64 = 10.0;
const PACE_READINGS: usize = 4;
/// Part of what the grown weigh from which nobody wonders that growth ends.
const NEARLY_GROWN: f64 = 0.85;
/// Gain of ln mass a week above which it is uneven by more than its readings err: found on the chicks of an open
/// dataset, which gain 0.3 to 0.5 a week (`tests/external/expected.rs`).
const FAST: f64 = 0.15;
/// How sure it is what one weighs that has just turned grown, and is beside others from then on.
const TURNS: f64 = 0.03;
/// How much one that has just turned grown still gains or loses, ln mass a week, as a standard deviation.
const GROWN_GAINS: f64 = 0.004;
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

/// All that is kept of one animal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Animal {
    pub(super) life: Life,
    pub(super) stage: Stage,
    pub(super) state: Gaussian,
    /// The moment that the state stands for, and that of its latest reading. Weeks.
    pub(super) at: f64,
    pub(super) read_at: f64,
    pub(super) readings: u32,
    /// Variance of its readings as a multiple of the usual.
    pub(super) own: f64,
    pub(super) onsets: Onsets,
    pub(super) waiting: Option<Waiting>,
    /// Fall from one reading to the next that a second confirmed.
    pub(super) sharp: Option<Fall>,
    /// A loss that was told and is not over, or is being treated.
    pub(super) open: Option<Open>,
    /// Latest readings: moment and ln grams freed of what its like share and of its own season.
    pub(super) recent: Vec<(f64, f64)>,
    /// What the open episode of odds reached.
    pub(super) peak: f64,
    /// She gives birth then, once a reading is later than that.
    pub(super) birth: Option<f64>,
    /// What it has usually weighed: follows slowly, and no jump.
    pub(super) usual: f64,
    /// It is young, and weighs nearly what the grown do.
    pub(super) nearly_grown: bool,
}

impl Animal {
    /// An animal at its first reading; `alone` where it has nobody to share a season with.
    pub(super) fn first(life: Life, seen: &Seen, around: &Around, alone: bool) -> Self {
        let young = life.is_young(seen.at, around);
        let below = around.grown.map_or(0.0, |grown| grown - seen.log);
        let (slope, doubt) = match (young, life.born) {
            (true, _) if around.grown.is_some_and(|grown| around.curve.pace(seen.log - grown).1 > 8.0) => {
                let (pace, _) = around.curve.pace(-below);
                (pace, 0.25 * pace + 0.003)
            }
            (true, _) => {
                let (age, breeds) = (life.age(seen.at).unwrap_or(0.0), around.breeds_from.unwrap_or(52.0));
                let left = 1.0 - age / breeds;
                // In their first days some kinds double within a week, and others hardly gain.
                let first = (-age / (0.03 * breeds).max(1.0)).exp();
                (0.08 * left.max(0.1).powi(2) + 0.12 * first, 0.05 * left.max(0.15) + 0.2 * first)
            }
            // Nobody knows how old it is.
            (false, None) if below > 0.12 => (0.02 * (below - 0.12).min(0.6), 0.012),
            _ => (0.0, 0.0004),
        };
        // Its own season beside that of its like, or all of it.
        let (one, two) = match (around.seasonal, alone) {
            (true, true) => {
                let [one, two, _] = waves_of_all(true);
                (one, two)
            }
            (true, false) => (0.02, 0.01),
            (false, _) => (0.008, 0.005),
        };
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
            read_at: seen.at,
            readings: 1,
            own: 1.0,
            onsets: Onsets::default(),
            waiting: None,
            sharp: None,
            open: None,
            recent: vec![(seen.at, seen.log)],
            peak: 0.0,
            birth: None,
            usual: seen.log,
            nearly_grown: false,
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

    /// What a reading is expected to show now, freed of what its like share, and the variance of that.
    pub(super) fn foresees(&self, around: &Around) -> (f64, f64) {
        let view = self.view(self.at, 0.0, around);
        (self.state.expects(&view), self.state.variance(&view))
    }

    /// Lets time pass until a moment. A moment before the state's own changes nothing. `apart` is by how much what the
    /// growing share there lies above what the grown do: for one that turns grown, that is its own from then on.
    pub(super) fn reaches(&mut self, at: f64, around: &Around, apart: f64) {
        let at = at.max(self.at);
        let grew = self.stage == Stage::Growing;
        self.stage = self.stage.by(at, &self.life, around);
        if grew && self.stage != Stage::Growing {
            self.turns_grown(apart);
        }
        if self.birth.is_some_and(|birth| birth <= at) {
            self.birth = None;
            self.gives_birth(at);
        }
        let motion = self.motion(at, around);
        self.state.moves(&motion);
        self.onsets.moves(&motion);
        if let Some(open) = &mut self.open {
            open.moves(&motion);
        }
        self.at = at;
        self.nearly_grown = self.stage == Stage::Growing
            && around.grown.is_some_and(|grown| self.state.mean[LEVEL] > grown + NEARLY_GROWN.ln());
    }

    /// It is beside others from now on, and gains no more: neither is a loss.
    fn turns_grown(&mut self, apart: f64) {
        self.state.frees(LEVEL, self.state.mean[LEVEL] + apart, TURNS * TURNS);
        self.state.frees(SLOPE, 0.0, GROWN_GAINS * GROWN_GAINS);
        self.usual += apart;
        for (_, log) in &mut self.recent {
            *log += apart;
        }
        self.onsets = Onsets::default();
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
            // Nobody knows what it comes to: the faster it gains, the sooner that slows down.
            _ if growing => (0.5 * slope).clamp(0.05, 0.3),
            _ => 1.0 / 26.0,
        };
        let stage = self.stage.unrest(around.noise.wander);
        let keep_slope = (-slowing.max(stage.slowing) * weeks).exp();
        let rate = slowing.max(stage.slowing).max(1e-9);
        let memory = if growing { around.noise.memory.min(0.8) } else { around.noise.memory };
        let kept = memory.powf(weeks);
        let wander = stage.wander.max(around.noise.wander).powi(2) * self.own;
        // Who gains fast gains by fits and starts.
        let fast = if growing { (slope - FAST).max(0.0) } else { 0.0 };
        let uneven = if growing { 0.03 * slope.max(0.0) + 0.3 * fast } else { 0.0 };
        let fits = 0.5 * fast;
        Motion {
            keep: [1.0, keep_slope, kept, 1.0, 1.0, 1.0, 1.0],
            gain: (1.0 - keep_slope) / rate,
            noise: [
                (fits.powi(2) + stage.level.powi(2)) * weeks,
                (uneven.powi(2) + stage.slope.powi(2)) * weeks,
                wander * (1.0 - kept * kept),
                1e-7 * weeks,
                1e-7 * weeks,
                1e-7 * weeks,
                1e-7 * weeks,
            ],
        }
    }

    /// What would fit, entered on the scale of a reading, given what its like share and the scale shows more.
    pub(super) fn fits(&self, seen: &Seen, around: &Around) -> Fits {
        let view = self.view(seen.at, seen.variance, around);
        Fits::new(self.state.expects(&view) + seen.shown - seen.log, self.state.variance(&view).sqrt())
    }

    /// Takes in a reading, or lets it wait where it does not fit and nobody vouches for it. Time has passed up to it.
    pub(super) fn takes(&mut self, seen: &Seen, fits: bool, odd: Odd, around: &Around) -> Entry {
        let begun = 0.5 * (self.read_at + seen.at);
        self.read_at = seen.at;
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
        if !fits {
            return self.doubts(seen, news, (expected, spread), odd, around);
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

    pub(super) fn remembers(&mut self, seen: &Seen) {
        let weeks = self.recent.last().map_or(1.0, |(then, _)| (seen.at - then).clamp(0.0, 8.0));
        if self.stage == Stage::Growing {
            self.usual = seen.log;
        } else {
            self.usual += (seen.log - self.usual).clamp(-0.02, 0.02) * (1.0 - (-weeks / 15.0).exp());
        }
        let season: f64 =
            waves(seen.at).iter().zip(&self.state.mean[SEASON..]).map(|(wave, size)| wave * size).sum();
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

    /// See [`super::Member::pace`].
    pub(super) fn pace(&self) -> Option<f64> {
        if matches!(self.stage, Stage::Carrying { .. }) {
            return None;
        }
        let late = self.recent.iter().filter(|(at, _)| self.read_at - at <= PACE_WEEKS);
        let (xs, ys): (Vec<f64>, Vec<f64>) = late.copied().unzip();
        if xs.len() < PACE_READINGS {
            return None;
        }
        theil_sen::fit(&xs, &ys, 0.95, &mut theil_sen::Pairs::default()).map(|line| line.slope)
    }

    pub(super) const fn slope(&self) -> f64 {
        self.state.mean[SLOPE]
    }

    pub(super) const fn level(&self) -> f64 {
        self.state.mean[LEVEL]
    }
}

/// The waves of a year at a moment, in weeks.
pub(super) fn waves(at: f64) -> [f64; 4] {
    let turn = std::f64::consts::TAU * at / YEAR;
    let (sin, cos) = turn.sin_cos();
    [cos, sin, cos * cos - sin * sin, 2.0 * sin * cos]
}

/// Weeks of a year.
pub(super) const YEAR: f64 = 365.25 / 7.0;
