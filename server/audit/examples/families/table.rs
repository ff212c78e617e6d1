//! What is printed.

#![expect(clippy::print_stdout, reason = "it is run for the table it prints")]

use crate::Herds;
use crate::chance::count;
use crate::measure::{Delays, Figures, Quiet, limit_for};
use crate::run::{Case, Class, Loss, Run};
use crate::world::World;

/// A rule on all worlds of all shapes.
pub(crate) struct Measured<'a> {
    herds: &'a [Herds],
    /// By shape and world.
    runs: Vec<Vec<Run>>,
    /// The score from which on something counts.
    pub(crate) limit: f64,
}

/// Highest limit that is tried.
const HIGHEST: f64 = 100.0;
/// Classes of animals that lose by themselves.
const SINGLE: [Class; 3] = [Class::Grown, Class::Mother, Class::Young];

impl<'a> Measured<'a> {
    pub(crate) fn new(herds: &'a [Herds], mut run: impl FnMut(&World, &[Case]) -> Run) -> Self {
        let of = |herds: &Herds| herds.worlds.iter().map(|(world, cases)| run(world, cases)).collect();
        Self { herds, runs: herds.iter().map(of).collect(), limit: 0.0 }
    }

    /// At the limit where it raises so many false concerns an animal-year.
    pub(crate) fn at_rate(mut self, rate: f64) -> Self {
        self.limit = limit_for(rate, 0.0, HIGHEST, |limit| self.all(limit).false_rate());
        self
    }

    pub(crate) fn false_rate(&self) -> f64 {
        self.all(self.limit).false_rate()
    }

    /// False concerns a year by what an animal, or a group, is.
    pub(crate) fn by_class(&self) -> String {
        let all = self.all(self.limit).quiet;
        let each: Vec<String> =
            all.iter().map(|(class, quiet)| format!("{class:?} {:.3}", quiet.rates()[0])).collect();
        each.join(", ")
    }

    fn all(&self, limit: f64) -> Figures {
        Figures::of(
            self.herds
                .iter()
                .zip(&self.runs)
                .flat_map(|(herds, runs)| herds.worlds.iter().map(|(world, _)| world).zip(runs)),
            limit,
        )
    }

    fn of_shape(&self, place: usize) -> Figures {
        let worlds = self.herds[place].worlds.iter().map(|(world, _)| world);
        Figures::of(worlds.zip(&self.runs[place]), self.limit)
    }
}

/// A mean with the share that was told at all, and how it compares with the oracle.
fn days(own: &Delays, best: &Delays) -> String {
    if own.is_empty() {
        return "-".to_owned();
    }
    let seen = if own.seen_percent() < 99.5 { format!(" {:.0}%", own.seen_percent()) } else { String::new() };
    let times = if best.is_empty() { String::new() } else { format!(" x{:.1}", own.mean() / best.mean()) };
    format!("{:.0}{times}{seen}", own.mean())
}

/// The whole table of a rule: shape by shape.
pub(crate) fn whole(name: &str, measured: &Measured<'_>, oracles: &[Measured<'_>]) {
    let best: Vec<Vec<Figures>> = oracles
        .iter()
        .map(|oracle| (0..measured.herds.len()).map(|place| oracle.of_shape(place)).collect())
        .collect();
    let shapes: Vec<Figures> = (0..measured.herds.len()).map(|place| measured.of_shape(place)).collect();
    println!("\n{name}\n");
    println!(
        "{:<24} {:>6} {:>6} {:>6} {:>6} {:>6} | {:>13} {:>13} {:>13} {:>13} | {:>6} {:>4}",
        "shape",
        "false",
        "1styr",
        "later",
        "urgent",
        "group",
        "0.5 %/week",
        "1 %/week",
        "2 %/week",
        "12 % fall",
        "aside",
        "row"
    );
    let name_of = |herds: &Herds| herds.worlds.first().map_or("", |(world, _)| world.shape.name);
    for (place, (herds, figures)) in measured.herds.iter().zip(&shapes).enumerate() {
        let of_loss =
            |loss: usize| days(&figures.pooled(&SINGLE, loss), &best[loss][place].pooled(&SINGLE, loss));
        row(name_of(herds), figures, of_loss);
    }
    let all = measured.all(measured.limit);
    let best_all: Vec<Figures> = oracles.iter().map(|oracle| oracle.all(oracle.limit)).collect();
    row("all", &all, |loss| days(&all.pooled(&SINGLE, loss), &best_all[loss].pooled(&SINGLE, loss)));
    println!("\nby class of animal, all shapes:");
    for (name, class) in [
        ("grown", Class::Grown),
        ("carries or suckles", Class::Mother),
        ("young", Class::Young),
        ("all of a group", Class::Group),
    ] {
        let of_loss = |loss: usize| days(&all.delays(class, loss), &best_all[loss].delays(class, loss));
        let four: Vec<String> = (0..4).map(|loss| format!("{:>13}", of_loss(loss))).collect();
        let [raised, urgent] = all.quiet.get(&class).map_or([0.0; 2], Quiet::rates);
        println!("  {name:<20} {raised:>6.3} false a year, {urgent:.3} urgent | {}", four.join(" "));
    }
    let stops = all.delays(Class::Young, 4);
    println!(
        "  young that stop: mean {:.0} days, median {:.0}, {:.0} % told within 26 weeks",
        stops.mean(),
        stops.median(),
        stops.seen_percent()
    );
    let called: Vec<String> =
        (0..4).map(|loss| format!("{:.0} %", all.delays(Class::Group, loss).scale_percent())).collect();
    println!("  losses of a group called a scale: {}", called.join(", "));
    println!("  poor feeds told of the group: {} of {}", all.feeds_told, all.feeds);
    let entries = &all.entries;
    let per_round = |n: usize| 1000.0 * count(n) / count(entries.rounds);
    println!(
        "  entries: {} right, {:.2} % set aside ({} within what would have fitted), {} of {} wrong ones taken;\n  \
         of 1000 rounds without cause {:.1} with an exchange, {:.1} with a scale that is off; {:.3} false concerns \
         about a scale a group-year",
        entries.right,
        100.0 * count(entries.set_aside) / count(entries.right),
        entries.inside,
        entries.taken_wrong,
        entries.wrong,
        per_round(entries.exchanges),
        per_round(entries.scale_off),
        all.scale_off_rate(),
    );
}

fn row(name: &str, figures: &Figures, of_loss: impl Fn(usize) -> String) {
    let aside = 100.0 * count(figures.entries.set_aside) / count(figures.entries.right);
    println!(
        "{name:<24} {:>6.3} {:>6.3} {:>6.3} {:>6.3} {:>6.3} | {:>13} {:>13} {:>13} {:>13} | {aside:>5.1}% {:>4}",
        figures.false_rate(),
        figures.first_rate(),
        figures.later_rate(),
        figures.urgent_rate(),
        figures.group_rate(),
        of_loss(0),
        of_loss(1),
        of_loss(2),
        of_loss(3),
        figures.entries.longest,
    );
}

/// The heading of [`pooled`].
pub(crate) fn head(name: &str) {
    println!("\n{name}\n");
    println!(
        "{:<30} {:>7} {:>6} {:>6} | {:>13} {:>13} {:>13} {:>13} | group: {:>13} {:>13} {:>13}",
        "rule",
        "limit",
        "false",
        "group",
        "0.5 %/week",
        "1 %/week",
        "2 %/week",
        "12 % fall",
        "0.5 %/week",
        "1 %/week",
        "2 %/week"
    );
}

/// A rule on all shapes together, in a row.
pub(crate) fn pooled(name: &str, measured: &Measured<'_>, oracles: &[Measured<'_>]) {
    let all = measured.all(measured.limit);
    let best: Vec<Figures> = oracles.iter().map(|oracle| oracle.all(oracle.limit)).collect();
    let single = |loss: usize| days(&all.pooled(&SINGLE, loss), &best[loss].pooled(&SINGLE, loss));
    let group = |loss: usize| days(&all.delays(Class::Group, loss), &best[loss].delays(Class::Group, loss));
    println!(
        "{name:<30} {:>7.2} {:>6.3} {:>6.3} | {:>13} {:>13} {:>13} {:>13} |        {:>13} {:>13} {:>13}",
        measured.limit,
        all.false_rate(),
        all.group_rate(),
        single(0),
        single(1),
        single(2),
        single(3),
        group(0),
        group(1),
        group(2),
    );
}

/// The oracle, which is another for each loss.
pub(crate) fn oracle(oracles: &[Measured<'_>]) {
    for (oracle, loss) in oracles.iter().zip(Loss::ALL) {
        let all = oracle.all(oracle.limit);
        let place = Loss::ALL.iter().position(|one| *one == loss).unwrap_or(0);
        let (single, group) = (all.pooled(&SINGLE, place), all.delays(Class::Group, place));
        println!(
            "oracle of {loss:?}: limit {:.2}, {:.3} false an animal-year, {:.3} a group-year; {:.0} days, of all of \
             a group {:.0}",
            oracle.limit,
            all.false_rate(),
            all.group_rate(),
            single.mean(),
            group.mean(),
        );
    }
}
