//! The filter of expected weights against a reference library's state space on an open series.

use crate::table::{self, agrees};
use holt_audit::expected::filter::{Gaussian, Motion, N, View};

/// Filters the rows of one model of the table, and compares what was expected and what was made of it.
fn compare(model: &str, mut state: Gaussian, view: View, motion: impl Fn(f64) -> Motion) {
    let table = table::read("state_space_nile");
    let mut rows = 0;
    for row in table.rows().filter(|row| row.text("model") == model) {
        if row.number("gap") > 0.0 {
            state.moves(&motion(row.number("gap")));
        }
        agrees(state.expects(&view) + 1.0, row.number("expected") + 1.0, 1e-9);
        agrees(state.variance(&view), row.number("variance"), 1e-9);
        let news = row.number("volume") - state.expects(&view);
        state.learns(&view, news);
        agrees(state.expects(&view), row.number("filtered"), 1e-9);
        agrees(state.variance(&view) - view.noise, row.number("filtered_variance"), 1e-7);
        rows += 1;
    }
    assert!(rows >= 60, "{rows} rows of {model}");
}

fn first(values: &[f64]) -> [f64; N] {
    std::array::from_fn(|place| values.get(place).copied().unwrap_or_default())
}

#[test]
fn local_level_of_the_nile() {
    let state = Gaussian::new(first(&[0.0]), first(&[1e7]));
    let view = View { row: first(&[1.0]), noise: 15099.0 };
    compare("level", state, view, |gap| Motion {
        keep: first(&[1.0]),
        gain: 0.0,
        noise: first(&[1469.1 * gap]),
    });
}

#[test]
fn damped_trend_with_memory_and_years_left_out() {
    let state = Gaussian::new(first(&[1000.0]), first(&[1e5, 100.0, 9000.0]));
    let view = View { row: first(&[1.0, 0.0, 1.0]), noise: 8000.0 };
    compare("damped trend and memory", state, view, |gap| {
        let (slope, memory) = ((-0.1 * gap).exp(), 0.8_f64.powf(gap));
        Motion {
            keep: first(&[1.0, slope, memory]),
            gain: (1.0 - slope) / 0.1,
            noise: first(&[400.0 * gap, 4.0 * gap, 9000.0 * (1.0 - memory * memory)]),
        }
    });
}
