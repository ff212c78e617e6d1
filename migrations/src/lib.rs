//! The Holt schema: an ordered list of SQL files, run by sqlx's own migrator, which keeps checksums and
//! holds an advisory lock, so that several servers may start at once.
//!
//! How to add one, and what never to do, stands in `migrations/README.md`.

use sqlx::SqlSafeStr;
use sqlx::migrate::{Migration, MigrationType, Migrator};
use std::borrow::Cow;

/// The migrations in order: number, name, SQL.
const FILES: &[(i64, &str, &str)] = &[
    (1, "ground", include_str!("../sql/0001_ground.sql")),
    (2, "sites", include_str!("../sql/0002_sites.sql")),
    (3, "people", include_str!("../sql/0003_people.sql")),
    (4, "animals", include_str!("../sql/0004_animals.sql")),
    (5, "marks", include_str!("../sql/0005_marks.sql")),
    (6, "holdings", include_str!("../sql/0006_holdings.sql")),
    (7, "weights", include_str!("../sql/0007_weights.sql")),
    (8, "assessments", include_str!("../sql/0008_assessments.sql")),
    (9, "checks", include_str!("../sql/0009_checks.sql")),
    (10, "transfers", include_str!("../sql/0010_transfers.sql")),
    (11, "concerns", include_str!("../sql/0011_concerns.sql")),
    (12, "ledger", include_str!("../sql/0012_ledger.sql")),
    (13, "litters", include_str!("../sql/0013_litters.sql")),
    (14, "groups", include_str!("../sql/0014_groups.sql")),
    (15, "crate_readings", include_str!("../sql/0015_crate_readings.sql")),
    (16, "seals", include_str!("../sql/0016_seals.sql")),
    (17, "merges", include_str!("../sql/0017_merges.sql")),
    (18, "mistakes", include_str!("../sql/0018_mistakes.sql")),
    (19, "papers", include_str!("../sql/0019_papers.sql")),
    (20, "loans", include_str!("../sql/0020_loans.sql")),
    (23, "taxon_traits", include_str!("../sql/0023_taxon_traits.sql")),
    (24, "growth_references", include_str!("../sql/0024_growth_references.sql")),
    (25, "ethograms", include_str!("../sql/0025_ethograms.sql")),
    (26, "watches", include_str!("../sql/0026_watches.sql")),
    (27, "upsets", include_str!("../sql/0027_upsets.sql")),
    (28, "climate", include_str!("../sql/0028_climate.sql")),
    (29, "feeding", include_str!("../sql/0029_feeding.sql")),
    (30, "enrichment", include_str!("../sql/0030_enrichment.sql")),
    (31, "encounters", include_str!("../sql/0031_encounters.sql")),
    (32, "amendments", include_str!("../sql/0032_amendments.sql")),
    (33, "documents", include_str!("../sql/0033_documents.sql")),
    (34, "proposals", include_str!("../sql/0034_proposals.sql")),
    (35, "weight_states", include_str!("../sql/0035_weight_states.sql")),
    (36, "life_states", include_str!("../sql/0036_life_states.sql")),
    (37, "standards", include_str!("../sql/0037_standards.sql")),
    (38, "partners", include_str!("../sql/0038_partners.sql")),
    (40, "guards", include_str!("../sql/0040_guards.sql")),
    (41, "ancestors", include_str!("../sql/0041_ancestors.sql")),
    (50, "standing", include_str!("../sql/0050_standing.sql")),
    (90, "bounds", include_str!("../sql/0090_bounds.sql")),
];

/// A migrator over [`FILES`]. Run it as the owner of the database, before the service connects.
#[must_use]
pub fn migrator() -> Migrator {
    Migrator::with_migrations(
        FILES
            .iter()
            .map(|&(version, name, sql)| {
                Migration::new(version, Cow::Borrowed(name), MigrationType::Simple, sql.into_sql_str(), false)
            })
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::FILES;
    use std::fs;
    use std::path::Path;

    #[test]
    fn every_file_is_in_the_list_once_and_in_order() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sql");
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        let listed: Vec<String> = FILES.iter().map(|(n, name, _)| format!("{n:04}_{name}.sql")).collect();
        assert_eq!(names, listed);
    }

    #[test]
    fn every_file_begins_with_the_invariant_it_holds() {
        for (n, name, sql) in FILES {
            assert!(sql.starts_with("-- Invariant: "), "{n:04}_{name}.sql");
        }
    }
}
