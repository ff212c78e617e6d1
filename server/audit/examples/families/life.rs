//! The true weight of one animal over its life, without noise: what an oracle knows of it.

use crate::chance::{about, between, normal, whole};
use crate::shape::Shape;
use holt_audit::chance::Chance;
use holt_audit::terms::Sex;

/// How a young animal grows.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Curve {
    Logistic,
    Gompertz,
    VonBertalanffy,
    /// Two spurts: on milk, and again once it feeds itself.
    TwoSpurts,
}

/// Part of the grown weight at which it counts as grown.
const GROWN: f64 = 0.95;

impl Curve {
    /// ln of the share of the grown mass at an age, where so much is there at birth and [`GROWN`] at an age. All
    /// ages in weeks.
    fn log_share(self, age: f64, at_birth: f64, grown_at: f64) -> f64 {
        let logit = |share: f64| (share / (1.0 - share)).ln();
        match self {
            Self::Logistic => {
                let rate = (logit(GROWN) - logit(at_birth)) / grown_at;
                -(-(logit(at_birth) + rate * age)).exp().ln_1p()
            }
            Self::Gompertz => {
                let rate = ((-at_birth.ln()).ln() - (-GROWN.ln()).ln()) / grown_at;
                at_birth.ln() * (-rate * age).exp()
            }
            Self::VonBertalanffy => {
                let (birth, grown) = (1.0 - at_birth.cbrt(), 1.0 - GROWN.cbrt());
                let rate = (birth / grown).ln() / grown_at;
                3.0 * (1.0 - birth * (-rate * age).exp()).ln()
            }
            Self::TwoSpurts => {
                let spurt = |at: f64| Self::Logistic.log_share(age, at_birth, at).exp();
                (0.35 * spurt(0.3 * grown_at) + 0.65 * spurt(1.1 * grown_at)).ln()
            }
        }
    }
}

/// What all of a kind share.
#[derive(Clone, Debug)]
pub(crate) struct Species {
    pub(crate) log: f64,
    /// By how much males are heavier, in ln mass.
    male: f64,
    curve: Curve,
    at_birth: f64,
    /// Age in weeks at which it is grown.
    pub(crate) grown_at: f64,
    /// Age in weeks at which it is weaned, and from which it is weighed.
    pub(crate) weaned_at: f64,
    pub(crate) weighed_from: f64,
    /// How long it carries, weeks.
    pub(crate) carries: f64,
    /// Weeks of the year at which rut and moult begin.
    rut_at: f64,
    moult_at: f64,
    pub(crate) mates_at: f64,
}

impl Species {
    pub(crate) fn drawn(chance: &mut Chance, shape: &Shape) -> Self {
        let curves = [Curve::Logistic, Curve::Gompertz, Curve::VonBertalanffy, Curve::TwoSpurts];
        let weighed_from = between(chance, 2.0, 6.0);
        Self {
            log: between(chance, shape.kind[0], shape.kind[1]),
            male: between(chance, 0.0, 0.22),
            curve: curves[whole(chance, 0, 4)],
            at_birth: between(chance, 0.03, 0.1),
            grown_at: between(chance, 26.0, 80.0),
            weaned_at: weighed_from + between(chance, 1.0, 6.0),
            weighed_from,
            carries: between(chance, 6.0, 14.0),
            rut_at: between(chance, 0.0, 52.0),
            moult_at: between(chance, 0.0, 52.0),
            mates_at: between(chance, 0.0, 52.0),
        }
    }
}

/// A time at which it carried, in weeks.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pregnancy {
    pub(crate) from: f64,
    pub(crate) until: f64,
    /// It ended without a birth.
    pub(crate) lost: bool,
    gain: f64,
    /// What she loses while she suckles.
    suckling: f64,
}

/// A time in which it loses and regains, in weeks.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Dip {
    pub(crate) from: f64,
    pub(crate) long: f64,
    depth: f64,
}

/// One animal.
#[derive(Clone, Debug)]
pub(crate) struct Life {
    pub(crate) sex: Sex,
    /// Week of its birth.
    pub(crate) born: f64,
    /// ln grams once grown.
    grown: f64,
    drift: f64,
    /// How strongly, and how many weeks late, it goes with the season.
    strong: f64,
    late: f64,
    pub(crate) pregnancies: Vec<Pregnancy>,
    pub(crate) ruts: Vec<Dip>,
    pub(crate) moults: Vec<Dip>,
    dips: Vec<Dip>,
    /// Spread of what one weighing errs by, by itself.
    pub(crate) noise: f64,
    /// Spread of its slow wandering.
    pub(crate) restless: f64,
    pub(crate) misses: f64,
    pub(crate) refuses: f64,
}

impl Life {
    /// An animal born in some week, with what befalls it until week `last`.
    pub(crate) fn drawn(
        chance: &mut Chance,
        shape: &Shape,
        species: &Species,
        sex: Sex,
        born: f64,
        last: f64,
    ) -> Self {
        let years = 0..6;
        let own = |chance: &mut Chance, range: [f64; 2]| between(chance, range[0], range[1]);
        let male = if sex == Sex::Male { species.male } else { 0.0 };
        let grown = species.log + male + normal(chance, 0.08);
        let mut ruts = Vec::new();
        let mut moults = Vec::new();
        for year in years {
            let start = |at: f64, chance: &mut Chance| 52.18 * f64::from(year) + at + normal(chance, 1.5);
            if shape.rut[1] > 0.0 && sex == Sex::Male {
                let from = start(species.rut_at, chance);
                ruts.push(Dip { from, long: between(chance, 10.0, 16.0), depth: own(chance, shape.rut) });
            }
            if shape.moult[1] > 0.0 {
                let from = start(species.moult_at, chance);
                moults.push(Dip { from, long: between(chance, 5.0, 9.0), depth: own(chance, shape.moult) });
            }
        }
        // Whoever is not grown takes no part.
        let grown_from = born + species.grown_at;
        ruts.retain(|dip| dip.from > grown_from);
        moults.retain(|dip| dip.from > grown_from);
        let mut dips = Vec::new();
        for _ in 0..about(chance, shape.dips * (last - born.max(0.0)).max(0.0) / 52.0) {
            let from = between(chance, born.max(0.0), last);
            dips.push(Dip { from, long: 10.0 / 7.0, depth: between(chance, 0.04, 0.08) });
        }
        // Being weaned.
        let weaned = born + species.weaned_at;
        dips.push(Dip { from: weaned, long: 2.5, depth: between(chance, 0.03, 0.09) });
        Self {
            sex,
            born,
            grown,
            drift: normal(chance, 0.01) / 52.0,
            strong: between(chance, 0.7, 1.3),
            late: between(chance, 0.0, 3.0),
            pregnancies: Vec::new(),
            ruts,
            moults,
            dips,
            noise: own(chance, shape.noise),
            restless: own(chance, shape.wander),
            misses: own(chance, shape.missed),
            refuses: own(chance, shape.refused),
        }
    }

    /// She carries from week `from` on.
    pub(crate) fn conceives(&mut self, chance: &mut Chance, species: &Species, from: f64) -> Pregnancy {
        let lost = chance.happens(0.08);
        let part = if lost { 0.6 } else { 1.0 };
        let pregnancy = Pregnancy {
            from,
            until: from + part * species.carries + normal(chance, 0.2),
            lost,
            gain: part * part * between(chance, 0.1, 0.25),
            suckling: if lost { 0.0 } else { between(chance, 0.0, 0.05) },
        };
        self.pregnancies.push(pregnancy);
        pregnancy
    }

    /// ln of the share of its grown mass that it has by its curve.
    pub(crate) fn log_share(&self, species: &Species, week: f64) -> f64 {
        species.curve.log_share((week - self.born).max(0.0), species.at_birth, species.grown_at)
    }

    /// It is as good as grown.
    pub(crate) fn is_grown(&self, species: &Species, week: f64) -> bool {
        week - self.born >= species.grown_at
    }

    /// ln grams in a week, given what the season makes of an animal that follows it at once.
    pub(crate) fn log(&self, species: &Species, season: impl Fn(f64) -> f64, week: f64) -> f64 {
        let carried: f64 = self.pregnancies.iter().map(|one| one.log(week)).sum();
        let lost: f64 = self.ruts.iter().chain(&self.moults).chain(&self.dips).map(|dip| dip.log(week)).sum();
        let grown = self.is_grown(species, week);
        let with_season = if grown { self.strong * season(week - self.late) } else { 0.5 * season(week) };
        self.grown + self.log_share(species, week) + self.drift * week.max(0.0) + with_season + carried + lost
    }
}

impl Pregnancy {
    fn log(&self, week: f64) -> f64 {
        if week < self.from {
            0.0
        } else if week < self.until {
            (self.gain * ((week - self.from) / (self.until - self.from)).powi(2)).ln_1p()
        } else {
            // Six weeks of milk, and six to make up for it.
            let along = (week - self.until) / 12.0;
            if along < 1.0 { -self.suckling * (std::f64::consts::PI * along).sin() } else { 0.0 }
        }
    }

    /// She carries, or suckles.
    pub(crate) fn is_busy(&self, week: f64) -> bool {
        (self.from..self.until + 20.0).contains(&week)
    }
}

impl Dip {
    fn log(&self, week: f64) -> f64 {
        let along = (week - self.from) / self.long;
        if (0.0..1.0).contains(&along) {
            -self.depth * 0.5 * (1.0 - (std::f64::consts::TAU * along).cos())
        } else {
            0.0
        }
    }
}
