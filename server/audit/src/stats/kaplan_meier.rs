//! The product-limit estimate of survival, also where animals are followed only from some age on.
//!
//! Sources: Kaplan & Meier 1958, J Am Stat Assoc 53:457; late entry: Tsai, Jewell & Wang 1987, Biometrika 74:883;
//! standard error: Greenwood 1926.

use super::count;

/// One that was followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Followed {
    /// From when on it was; 0 for from the beginning.
    pub entered: f64,
    /// Until when.
    pub until: f64,
    /// Whether it died then; otherwise it was lost from sight.
    pub died: bool,
}

/// The estimate after a time at which some died.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// The time.
    pub at: f64,
    /// How many were at risk: followed just before it. Who is lost at the same time still was.
    pub at_risk: usize,
    /// How many died.
    pub died: usize,
    /// Share that lives longer.
    pub survival: f64,
    /// Its standard error; 0 where none lives longer.
    pub standard_error: f64,
}

/// The steps of the estimate, in order of time.
#[must_use]
pub fn steps(followed: &[Followed]) -> Vec<Step> {
    let mut times: Vec<f64> = followed.iter().filter(|one| one.died).map(|one| one.until).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    let (mut survival, mut greenwood) = (1.0, 0.0);
    times
        .into_iter()
        .map(|at| {
            let at_risk = followed.iter().filter(|one| one.entered < at && at <= one.until).count();
            let died = followed.iter().filter(|one| one.died && one.until.total_cmp(&at).is_eq()).count();
            let (risk, deaths) = (count(at_risk), count(died));
            survival *= 1.0 - deaths / risk;
            greenwood += if at_risk > died { deaths / (risk * (risk - deaths)) } else { 0.0 };
            Step { at, at_risk, died, survival, standard_error: survival * greenwood.sqrt() }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_comes_late_is_at_risk_from_then_on_only() {
        let one = |entered, until, died| Followed { entered, until, died };
        let told = steps(&[one(0.0, 2.0, true), one(0.0, 9.0, false), one(3.0, 5.0, true)]);
        let risks: Vec<_> = told.iter().map(|step| (step.at_risk, step.died)).collect();
        assert_eq!(risks, [(2, 1), (2, 1)]);
        assert!((told[1].survival - 0.25).abs() < 1e-12);
        assert_eq!(steps(&[]), []);
    }
}
