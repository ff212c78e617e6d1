//! How often, and how soon, on families and on herds of every shape: measures rules about weight side by side.
//!
//! ```text
//! cargo run --release -p holt-audit --example families [worlds of each shape] [first seed] [rule …]
//! ```
//!
//! Sites of one kind of animal are followed for five years (`shape.rs` lists their shapes, `life.rs` how an
//! animal weighs, `family.rs` who is born, joins and leaves). While nothing is wrong, each concern about weight
//! is a false one. Then, at drawn weeks, an animal begins to lose 0.5, 1 or 2 % a week, loses 12 % in four days,
//! or gains no more while it grows; or all of a group lose: days until that is told. A rule is fed what people
//! enter, in that order (`rule.rs`). Rules with a limit are measured at their own, and at the limit at which they
//! raise as few false concerns as the model, or one in ten animal-years.
//!
//! `model` measures what the service asks, the model of what each animal is expected to weigh, at the limit that it finds
//! by itself for one false concern in ten animal-years. `rates` shows what its constants and its limits are derived from.
//!
//! What a poor feed does to all of a group counts as false where it is told of one animal, and not where it is
//! told of the group. Dips of ten days, moult and rut count as nothing wrong.

mod chance;
mod clerk;
mod family;
mod life;
mod measure;
mod model;
mod oracle;
mod practice;
mod rule;
mod run;
mod shape;
mod table;
mod world;

use model::Model;
use oracle::Oracle;
use practice::{Method, Practice};
use run::{Case, Loss, Run};
use shape::SHAPES;
use table::Measured;
use world::World;

/// The false rate that every rule with a limit is also measured at.
const WANTED: f64 = 0.1;

/// Worlds of a shape, with the losses that are tried out in each.
struct Herds {
    worlds: Vec<(World, Vec<Case>)>,
}

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let count: u64 = args.first().and_then(|text| text.parse().ok()).unwrap_or(3);
    let first: u64 = args.get(1).and_then(|text| text.parse().ok()).unwrap_or(1);
    let only = &args[args.len().min(2)..];
    let wanted = |name: &str| only.is_empty() || only.iter().any(|one| name.contains(one.as_str()));
    let herds: Vec<Herds> = (0..)
        .zip(&SHAPES)
        .map(|(place, shape)| Herds {
            worlds: (first..first + count)
                .map(|seed| {
                    let seed = 1000 * seed + place;
                    let world = World::new(shape, seed);
                    let cases = run::cases(&world, seed);
                    (world, cases)
                })
                .collect(),
        })
        .collect();

    // The oracle is the yardstick of every table, so it is there always.
    let oracles: Vec<Measured<'_>> = Loss::ALL[..4]
        .iter()
        .map(|&loss| {
            let one = Measured::new(&herds, |world, cases| {
                let cases: Vec<Case> = cases.iter().filter(|case| case.loss == loss).copied().collect();
                run::run(world, &mut Oracle::new(world, loss), &cases)
            });
            one.at_rate(WANTED)
        })
        .collect();
    let model =
        Measured::new(&herds, |world, cases| run::run(world, &mut Model::new(world.kind, WANTED), cases));
    if wanted("model") {
        table::whole(
            "the model of what each is expected to weigh, asked for one in ten animal-years",
            &model,
            &oracles,
        );
    }
    if only.iter().any(|one| one == "rates") {
        model::rates(&herds);
    }
    if only.iter().all(|one| one == "model" || one == "rates") && !only.is_empty() {
        return;
    }
    let quiet = model.false_rate();
    table::head("rules of practice and charts, all shapes together");
    for (name, method, usual) in [
        ("below the last weight, %", Method::BelowLast, Some(10.0)),
        ("below the mean of the year, %", Method::BelowYear, Some(10.0)),
        ("moving average, errors", Method::Ewma, None),
        ("cumulative sum, spreads", Method::Cusum, None),
    ] {
        if !wanted("practice") {
            continue;
        }
        let run = |world: &World, cases: &[Case]| -> Run {
            run::run(world, &mut Practice::new(world.kind, method, WANTED), cases)
        };
        let mut measured = Measured::new(&herds, run);
        if let Some(limit) = usual {
            measured.limit = limit;
            table::pooled(name, &measured, &oracles);
        }
        for rate in [quiet, WANTED] {
            measured = measured.at_rate(rate);
            table::pooled(name, &measured, &oracles);
        }
    }
    table::oracle(&oracles);
}
