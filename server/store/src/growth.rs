//! Who is held against whom as they grow.

use crate::access::permit::Permit;
use crate::animals::sex_text;
use crate::doors::Snapshot;
use crate::error::Error;
use crate::facts::known;
use crate::filter::Filter;
use crate::model::animal::Label;
use crate::weights::{label, waits};
use chrono::NaiveDate;
use holt_audit::terms::{Mass, Sex};
use sea_orm::FromQueryResult;
use uuid::Uuid;

/// A young of a litter, with what it weighed on a day.
#[derive(Clone, Debug)]
pub struct Young {
    pub animal: Label,
    pub mass: Option<Mass>,
}

/// The young of the litter of an animal, itself included, in order of identifiers, each with its last
/// reading of a day. Of one litter are those that were told apart from it, and those of the same dam whose
/// births are known to lie no more than a day apart.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn litter(
    snapshot: &Snapshot,
    permit: &Permit,
    animal: Uuid,
    on: NaiveDate,
) -> Result<Vec<Young>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        accession: Option<String>,
        house_name: Option<String>,
        mass_mg: Option<i64>,
    }
    let sql = format!(
        "WITH young AS (
           SELECT $1::uuid AS animal_id, $3::uuid AS site_id
           UNION
           SELECT o.animal_id, $3 FROM litter_changes c
             JOIN litter_changes o ON o.litter_id = c.litter_id AND o.kind = 'told_apart' AND {known_o}
            WHERE c.animal_id = $1 AND {known_c}
           UNION
           SELECT q.animal_id, $3 FROM parents p
             JOIN births b ON b.animal_id = p.animal_id AND {known_b}
             JOIN parents q ON q.parent_id = p.parent_id AND q.kind = 'dam' AND {known_q}
             JOIN births d ON d.animal_id = q.animal_id AND {known_d}
            WHERE p.animal_id = $1 AND p.kind = 'dam' AND {known_p}
              AND b.born_first = b.born_last AND d.born_first = d.born_last
              AND abs(b.born_first - d.born_first) <= 1
         )
         SELECT y.animal_id, {label}, r.mass_mg
           FROM young y
           LEFT JOIN LATERAL (
             SELECT w.mass_mg FROM weights w
              WHERE w.animal_id = y.animal_id AND w.weighed_on = $4 AND {known_w}
                AND w.mass_mg IS NOT NULL AND NOT {waits_w} AND w.method <> 'estimate'
              ORDER BY w.weighed_at DESC, w.id DESC LIMIT 1) r ON true
          ORDER BY y.animal_id",
        known_c = known("c", 2),
        known_o = known("o", 2),
        known_b = known("b", 2),
        known_d = known("d", 2),
        known_p = known("p", 2),
        known_q = known("q", 2),
        known_w = known("w", 2),
        waits_w = waits("w"),
        label = label("y", 2),
    );
    let values = [animal.into(), snapshot.known_at().into(), permit.site().id.into(), on.into()];
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows
        .into_iter()
        .map(|row| Young {
            animal: Label {
                id: row.animal_id,
                accession: row.accession.unwrap_or_default(),
                house_name: row.house_name.unwrap_or_default(),
            },
            mass: row.mass_mg.map(Mass::from_mg),
        })
        .collect())
}

/// One reading of an animal of known age.
#[derive(Clone, Copy, Debug)]
pub struct Aged {
    pub animal: Uuid,
    pub days: i32,
    pub mass: Mass,
}

/// Readings of the animals of a species at a site whose day of birth is known, by animal and age. Weeks in
/// which one carried are not left out: the young do not, and the grown weigh little in a growth curve.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn aged(
    snapshot: &Snapshot,
    permit: &Permit,
    taxon: Uuid,
    only: Option<Sex>,
) -> Result<Vec<Aged>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        days: i32,
        mass_mg: i64,
    }
    let mut filter = Filter::after([taxon.into(), snapshot.known_at().into()]);
    filter.and(
        "(SELECT x.sex FROM sexings x WHERE x.animal_id = w.animal_id AND x.superseded_at IS NULL
           ORDER BY x.determined_on DESC LIMIT 1) = ?",
        only.map(|only| [sex_text(only).into()]),
    );
    let (filter, site, values) = filter.then(permit.site().id);
    let sql = format!(
        "SELECT w.animal_id, w.weighed_on - b.born_first AS days, w.mass_mg
           FROM weights w
           JOIN animals a ON a.id = w.animal_id
           JOIN births b ON b.animal_id = w.animal_id AND {known_b}
          WHERE w.site_id = ${site} AND a.taxon_id = $1 AND {known_w}
            AND b.born_first = b.born_last AND NOT b.estimated AND w.weighed_on >= b.born_first
            AND w.mass_mg IS NOT NULL AND NOT {waits_w} AND w.method <> 'estimate'{filter}
          ORDER BY w.animal_id, w.weighed_at, w.id",
        known_b = known("b", 2),
        known_w = known("w", 2),
        waits_w = waits("w"),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    Ok(rows
        .into_iter()
        .map(|row| Aged { animal: row.animal_id, days: row.days, mass: Mass::from_mg(row.mass_mg) })
        .collect())
}
