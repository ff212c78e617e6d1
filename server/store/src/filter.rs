//! Conditions that a query has only where they are asked for. PostgreSQL plans each statement once for all
//! values (see `connect.rs`), so a condition such as `$1 IS NULL OR a = $1` would keep it from the index.

use sea_orm::Value;
use std::fmt::Write;

/// Conditions and their values, to follow a `WHERE` that is there.
pub(super) struct Filter {
    sql: String,
    values: Vec<Value>,
}

impl Filter {
    /// No condition yet; `values` are the parameters that the query has already.
    pub(super) fn after(values: impl IntoIterator<Item = Value>) -> Self {
        Self { sql: String::new(), values: values.into_iter().collect() }
    }

    /// Adds a condition where there is a value for it. Each `?` of the condition is the next value.
    pub(super) fn and<const N: usize>(&mut self, condition: &str, values: Option<[Value; N]>) {
        let Some(values) = values else { return };
        self.sql.push_str(" AND ");
        let mut parts = condition.split('?');
        self.sql.push_str(parts.next().unwrap_or_default());
        for (value, part) in values.into_iter().zip(parts) {
            self.values.push(value);
            let _ = write!(self.sql, "${}{part}", self.values.len());
        }
    }

    /// The conditions as SQL, the number of one more parameter, and all parameters with it.
    pub(super) fn then(mut self, last: impl Into<Value>) -> (String, usize, Vec<Value>) {
        self.values.push(last.into());
        (self.sql, self.values.len(), self.values)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_asked_for_is_a_condition() {
        let mut filter = Filter::after([Value::from(1)]);
        filter.and("a = ?", Some([Value::from(2)]));
        filter.and("b = ?", None::<[Value; 1]>);
        filter.and("c BETWEEN ? AND ?", Some([Value::from(3), Value::from(4)]));
        let (sql, last, values) = filter.then(5);
        assert_eq!(sql, " AND a = $2 AND c BETWEEN $3 AND $4");
        assert_eq!((last, values.len()), (5, 5));
    }
}
