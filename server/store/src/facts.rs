//! What all fact tables have in common: the columns that say when a version was known.

/// Builds a new version of a fact: the content as given, the rest stamped by the write.
macro_rules! fact {
    ($tx:expr, $($model:ident)::+ { $($field:ident: $value:expr),* $(,)? }) => {
        $($model)::+ {
            $($field: $value,)*
            recorded_at: $tx.now(),
            recorded_by: $tx.person(),
            request_id: $tx.request_id(),
            superseded_at: None,
            superseded_in: None,
            superseded_why: None,
        }
    };
}

pub(super) use fact;

/// SQL that holds for the versions of `alias` that were known at parameter `$n`.
pub(super) fn known(alias: &str, n: usize) -> String {
    format!(
        "({alias}.recorded_at <= ${n} AND ({alias}.superseded_at IS NULL OR {alias}.superseded_at > ${n}))"
    )
}

/// SQL that holds for the intervals of `alias` that cover parameter `$n`.
pub(super) fn covers(alias: &str, n: usize) -> String {
    format!("({alias}.began_at <= ${n} AND ({alias}.ended_at IS NULL OR {alias}.ended_at > ${n}))")
}
