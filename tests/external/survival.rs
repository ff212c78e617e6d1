//! The product-limit estimate against the one that R prints for the leukaemia data of Miller 1997.

use crate::table;
use holt_audit::stats::kaplan_meier::{Followed, steps};

#[test]
fn survival_with_and_without_maintenance() {
    let data = table::read("km_aml");
    let printed = table::read("km_aml_steps");
    for group in ["M", "N"] {
        let followed: Vec<Followed> = data
            .rows()
            .filter(|row| row.text("group") == group)
            .map(|row| Followed { entered: 0.0, until: row.number("time"), died: row.text("event") == "1" })
            .collect();
        let ours = steps(&followed);
        let theirs: Vec<_> = printed.rows().filter(|row| row.text("group") == group).collect();
        assert_eq!(ours.len(), theirs.len());
        for (step, row) in ours.iter().zip(theirs) {
            let counts = (step.at_risk.to_string(), step.died.to_string());
            assert_eq!(counts, (row.text("n_risk").to_owned(), row.text("n_event").to_owned()));
            assert!((step.at - row.number("time")).abs() < 1e-12);
            assert!((step.survival - row.number("survival")).abs() < 5.1e-4, "{step:?}");
            assert!((step.standard_error - row.number("std_err")).abs() < 5.1e-5, "{step:?}");
        }
    }
}
