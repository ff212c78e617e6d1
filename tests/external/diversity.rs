//! Variety against R vegan 2.6-4 (its `dune` data, site 1), checked with scikit-bio 0.7.4; the other rows
//! are arithmetic.

use crate::table;
use holt_audit::diversity::diversity;

#[test]
fn indices_of_other_libraries() {
    for row in table::read("diversity").rows() {
        let counts: Vec<u32> = row.text("counts").split(' ').map(|n| n.parse().unwrap()).collect();
        let told = diversity(&counts).unwrap();
        let close = |ours: f64, column: &str| {
            assert!((ours - row.number(column)).abs() < 1e-11, "{} {column} {ours}", row.text("name"));
        };
        close(told.shannon_nats, "shannon_nat");
        close(told.shannon_bits, "shannon_bits");
        close(told.gini_simpson, "gini_simpson");
        close(told.inverse_simpson, "inv_simpson");
        close(told.effective, "hill1");
        match told.evenness {
            Some(evenness) => close(evenness, "pielou"),
            None => assert_eq!(row.text("pielou"), "", "evenness of one category is not defined"),
        }
        assert_eq!(told.total.to_string(), row.text("N"));
        assert_eq!(told.categories.to_string(), row.text("S"));
    }
}
