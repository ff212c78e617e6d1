//! Energy at rest by mass: Small Animal Clinical Nutrition, 5th ed., table 5-2 (70 · kg^0.75 kcal a day,
//! after Kleiber), recomputed to six decimals.

use crate::table;
use holt_audit::ration::{MAMMAL_AT_REST, at_rest};
use holt_audit::terms::Mass;

#[test]
fn energy_at_rest_from_a_mouse_to_an_elephant() {
    let rows = table::read("kleiber");
    let mut seen = 0;
    for row in rows.rows() {
        let told = at_rest(Mass::from_grams(1000.0 * row.number("kg")), MAMMAL_AT_REST);
        assert!((told - row.number("rer_70_kg075")).abs() < 1e-6, "{told}");
        seen += 1;
    }
    assert_eq!(seen, 12);
}
