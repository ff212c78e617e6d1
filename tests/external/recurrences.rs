//! Recurrence rules against their printed expansions.
//!
//! Source: RFC 5545 §3.8.5.3 (rules), expanded with python-dateutil; rows marked (own) are not in
//! the RFC.

use crate::table;
use holt_audit::schedule::Recurrence;

#[test]
fn every_example_falls_on_its_days() {
    let mut seen = 0;
    for row in table::read("rfc5545_rrule").rows() {
        let (start, _) = row.text("dtstart").split_once('T').unwrap();
        let start = chrono::NaiveDate::parse_from_str(start, "%Y%m%d").unwrap();
        let rule = Recurrence::parse(row.text("rrule"), start).unwrap();
        let expected: Vec<&str> = row.text("dates").split_whitespace().collect();
        let days: Vec<String> = rule.days().take(expected.len() + 1).map(|day| day.to_string()).collect();
        if row.text("rrule").contains("COUNT=") {
            assert_eq!(days, expected, "{}", row.text("name"));
        } else {
            assert_eq!(days[..expected.len()], expected[..], "{}", row.text("name"));
        }
        seen += 1;
    }
    assert_eq!(seen, 19);
}
