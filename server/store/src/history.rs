//! The life of one animal: every version of every fact about it, in the order in which it happened.

use crate::doors::Snapshot;
use crate::error::Error;
use crate::filter::Filter;
use crate::model::fact::{Change, FactKind};
use chrono::{DateTime, Utc};
use sea_orm::FromQueryResult;
use serde_json::Value;
use uuid::Uuid;

/// A version as it is kept, with what it says under names of its own.
#[derive(FromQueryResult)]
pub struct Entry {
    kind: String,
    pub id: Uuid,
    /// The site that it is about.
    pub site: String,
    /// The site whose person recorded it.
    pub recorder_id: Uuid,
    pub recorder: String,
    pub at: Option<DateTime<Utc>>,
    pub day_only: bool,
    pub ended_at: Option<DateTime<Utc>>,
    pub says: Value,
    pub recorded_at: DateTime<Utc>,
    pub recorded_by: String,
    pub superseded_at: Option<DateTime<Utc>>,
    pub superseded_why: Option<String>,
    change: Option<String>,
    key: String,
    /// The accession of the record that it was entered for, where that is another than the animal goes by.
    pub entered_for: Option<String>,
    /// Whether a merge sets it aside.
    pub set_aside: bool,
}

impl Entry {
    /// What kind of thing it is about.
    ///
    /// # Errors
    /// [`Error::Fault`] where the query names another.
    pub fn kind(&self) -> Result<FactKind, Error> {
        Ok(serde_json::from_value(Value::from(self.kind.as_str()))?)
    }

    /// What became of it.
    ///
    /// # Errors
    /// [`Error::Fault`] where the query names something else.
    pub fn change(&self) -> Result<Option<Change>, Error> {
        Ok(self
            .change
            .as_ref()
            .map(|change| serde_json::from_value(Value::from(change.as_str())))
            .transpose()?)
    }

    /// The place of the entry in the history, to go on from.
    #[must_use]
    pub fn key(&self) -> String {
        self.key.clone()
    }
}

/// Which entries are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Only what changed since then.
    pub since: Option<DateTime<Utc>>,
    /// Only these versions.
    pub ids: Option<Vec<Uuid>>,
    /// Only what follows this key.
    pub after: Option<String>,
    /// At most so many.
    pub most: Option<i64>,
}

/// Every kind of fact: name, table, when it was (in SQL), whether only the day is known, when it ended, and
/// what it says. `f` is the fact, `s` its site.
const KINDS: [(&str, &str, &str, &str, &str, &str); 17] = [
    (
        "birth",
        "public.births f",
        "(f.born_first::timestamp AT TIME ZONE s.time_zone)",
        "true",
        "NULL",
        "jsonb_build_object('first', f.born_first, 'last', f.born_last, 'estimated', f.estimated)",
    ),
    (
        "sex",
        "public.sexings f",
        "(f.determined_on::timestamp AT TIME ZONE s.time_zone)",
        "true",
        "NULL",
        "jsonb_build_object('sex', f.sex)",
    ),
    (
        "parent",
        "public.parents f",
        "(SELECT b.born_first::timestamp AT TIME ZONE s.time_zone FROM public.births b
           WHERE b.animal_id = f.animal_id AND {known_b})",
        "true",
        "NULL",
        "jsonb_build_object('kind', f.kind, 'share', f.share, 'known_by', nullif(f.known_by, 'not_said'), 'note', f.note, 'parent',
           (SELECT c.number FROM public.accessions c WHERE c.animal_id = f.parent_id AND {known_c}
             ORDER BY c.recorded_at, c.id LIMIT 1), 'id', f.parent_id)",
    ),
    (
        "accession",
        "public.accessions f",
        "(f.taken_on::timestamp AT TIME ZONE s.time_zone)",
        "true",
        "NULL",
        "jsonb_build_object('number', f.number)",
    ),
    (
        "holding",
        "public.holdings f",
        "f.began_at",
        "false",
        "f.ended_at",
        "jsonb_build_object('began_how', f.began_how, 'began_source', f.began_source, 'began_name', f.began_name,
           'began_country', f.began_country, 'ended_how', f.ended_how, 'ended_source', f.ended_source,
           'ended_name', f.ended_name, 'ended_country', f.ended_country)",
    ),
    (
        "title",
        "public.titles f LEFT JOIN sites o ON o.id = f.owner_site_id",
        "f.began_at",
        "false",
        "f.ended_at",
        "jsonb_build_object('owner', coalesce(o.code, f.owner_name))",
    ),
    (
        "placement",
        "public.placements f LEFT JOIN enclosures e ON e.id = f.enclosure_id",
        "f.began_at",
        "false",
        "f.ended_at",
        "jsonb_build_object('enclosure', e.name)",
    ),
    (
        "membership",
        "public.memberships f LEFT JOIN groups g ON g.id = f.group_id",
        "f.began_at",
        "false",
        "f.ended_at",
        "jsonb_build_object('group', g.name, 'role', f.role, 'ended_why', f.ended_why)",
    ),
    (
        "mark",
        "public.marks f",
        "f.began_at",
        "false",
        "f.ended_at",
        "jsonb_build_object('kind', f.kind, 'code', f.code, 'place', f.place_on_body, 'ended_why', f.ended_why)",
    ),
    (
        "life_state",
        "public.life_states f",
        "f.began_at",
        "false",
        "f.ended_at",
        "jsonb_build_object('state', f.state, 'suspected', f.suspected, 'ended_how', f.ended_how,
           'ended_why', f.ended_why, 'note', f.note)",
    ),
    (
        "mistake",
        "public.mistakes f",
        "f.recorded_at",
        "false",
        "f.superseded_at",
        "jsonb_build_object('because', f.because)",
    ),
    (
        "loan",
        "public.loans f LEFT JOIN sites l ON l.id = f.lender_site_id LEFT JOIN sites w ON w.id = f.borrower_site_id",
        "f.began_at",
        "false",
        "f.ended_at",
        "jsonb_build_object('lender', coalesce(l.code, f.lender_name), 'borrower', coalesce(w.code, f.borrower_name),
           'until', f.until_on, 'terms', f.terms, 'ended_how', f.ended_how)",
    ),
    (
        "paper",
        "public.papers f",
        "(coalesce(f.issued_on::timestamp AT TIME ZONE s.time_zone, f.recorded_at))",
        "(f.issued_on IS NOT NULL)",
        "NULL",
        "jsonb_build_object('kind', f.kind, 'number', f.number, 'occasion', f.occasion,
           'country', f.issued_by_country, 'by', f.issued_by, 'until', f.valid_until, 'appendix', f.cites_appendix,
           'source', f.source_codes, 'purpose', f.purpose_code, 'note', f.note)",
    ),
    (
        "weight",
        "public.weights f",
        "f.weighed_at",
        "f.day_only",
        "NULL",
        "jsonb_build_object('mass_mg', f.mass_mg, 'doubtful', f.doubtful, 'accepted', f.accepted, 'scale', f.scale,
           'method', f.method, 'note', f.note)",
    ),
    (
        "assessment",
        "public.assessments f JOIN protocols p ON p.id = f.protocol_id",
        "f.assessed_at",
        "false",
        "NULL",
        "jsonb_build_object('protocol', p.code, 'version', p.version, 'findings', f.findings, 'note', f.note)",
    ),
    (
        "encounter",
        "(SELECT p.*, n.kind AS what, n.began_at, n.ended_at, n.incident, n.superseded_at, n.superseded_why
            FROM public.encounter_animals p JOIN encounters n ON n.id = p.encounter_id) f",
        "f.began_at",
        "false",
        "f.ended_at",
        "jsonb_build_object('kind', f.what, 'incident', f.incident)",
    ),
    (
        "death",
        "public.deaths f",
        "f.died_at",
        "f.day_only",
        "NULL",
        "jsonb_build_object('first', f.died_first, 'last', f.died_last, 'found', f.found_on, 'manner', f.manner,
           'note', f.note, 'post_mortem', f.post_mortem, 'result', f.post_mortem_result, 'disposal', f.disposal,
           'disposal_name', f.disposal_name)",
    ),
];

/// The entries of an animal as known at the instant of the snapshot, in the order in which they happened.
/// One statement, whatever there is.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn of(snapshot: &Snapshot, animals: &[Uuid], wanted: &Wanted) -> Result<Vec<Entry>, Error> {
    let known = |alias: &str, n: usize| crate::facts::known(alias, n);
    let values = [animals.to_vec().into(), snapshot.known_at().into()];
    let (condition, change, values) = match wanted.since {
        None => (known("f", 2), "NULL::text".to_owned(), values.to_vec()),
        Some(since) => {
            let (now, then) = (known("f", 2), known("f", 3));
            let change = format!("CASE WHEN {now} THEN 'added' ELSE 'gone' END");
            (format!("{now} <> {then}"), change, [values.to_vec(), vec![since.into()]].concat())
        }
    };
    let mut each: Vec<String> = Vec::with_capacity(KINDS.len() + 2);
    for (n, (kind, table, at, day_only, ended, says)) in KINDS.into_iter().enumerate() {
        let filled =
            |text: &str| text.replace("{known_b}", &known("b", 2)).replace("{known_c}", &known("c", 2));
        each.push(format!(
            "SELECT '{kind}' AS kind, {n} AS rank, f.id, f.animal_id AS record_id, 0 AS seq, f.site_id, s.code AS site, s.time_zone,
                    {at} AS at, {day_only} AS day_only, {ended} AS ended_at, {says} AS says, f.recorded_at,
                    f.recorded_by, f.request_id, f.superseded_at, f.superseded_why, {change} AS change
               FROM {table} JOIN sites s ON s.id = f.site_id
              WHERE f.animal_id = ANY (holt_records($1)) AND {condition}",
            at = filled(at),
            says = filled(says),
            ended = if ended == "NULL" { "NULL::timestamptz" } else { ended },
        ));
    }
    let steps = match wanted.since {
        None => "f.recorded_at <= $2".to_owned(),
        Some(_) => "f.recorded_at <= $2 AND f.recorded_at > $3".to_owned(),
    };
    each.push(format!(
        "SELECT 'transfer', 15, t.id, t.animal_id, f.seq, f.site_id, s.code, s.time_zone, f.happened_at, f.day_only, NULL,
                jsonb_build_object('step', f.step, 'from', a.code, 'to', b.code, 'note', f.note), f.recorded_at,
                f.recorded_by, f.request_id, NULL::timestamptz, NULL::text, {change}
           FROM public.transfers t JOIN transfer_steps f ON f.transfer_id = t.id JOIN sites s ON s.id = f.site_id
           JOIN sites a ON a.id = t.from_site_id JOIN sites b ON b.id = t.to_site_id
          WHERE t.animal_id = ANY (holt_records($1)) AND {steps}",
        change = if wanted.since.is_some() { "'added'" } else { "NULL::text" },
    ));
    each.push(format!(
        "SELECT 'merge', 16, f.id, f.into_id, 0, f.site_id, s.code, s.time_zone, f.recorded_at, false, NULL,
                jsonb_build_object('because', f.because, 'id', f.animal_id, 'other',
                  (SELECT c.number FROM public.accessions c WHERE c.animal_id = f.animal_id AND {known_c}
                    ORDER BY c.recorded_at, c.id LIMIT 1)), f.recorded_at,
                f.recorded_by, f.request_id, f.superseded_at, f.superseded_why, {change}
           FROM merges f JOIN sites s ON s.id = f.site_id
          WHERE f.into_id = ANY (holt_records($1)) AND {condition}",
        known_c = known("c", 2),
    ));
    each.push(format!(
        "SELECT 'told_apart', 17, f.id, f.animal_id, 0, f.site_id, s.code, s.time_zone,
                (f.happened_on::timestamp AT TIME ZONE s.time_zone), true, NULL,
                jsonb_build_object('born_on', l.born_on, 'dam',
                  (SELECT c.number FROM public.litter_parents p JOIN public.accessions c ON c.animal_id = p.parent_id AND {known_c}
                    WHERE p.litter_id = l.id AND p.kind = 'dam' AND {known_p}
                    ORDER BY c.recorded_at, c.id LIMIT 1)), f.recorded_at,
                f.recorded_by, f.request_id, f.superseded_at, f.superseded_why, {change}
           FROM public.litter_changes f JOIN sites s ON s.id = f.site_id JOIN litters l ON l.id = f.litter_id
          WHERE f.animal_id = ANY (holt_records($1)) AND {condition}",
        known_c = known("c", 2),
        known_p = known("p", 2),
    ));
    let mut filter = Filter::after(values);
    filter.and("x.id = ANY (?)", wanted.ids.clone().map(|ids| [ids.into()]));
    filter.and("x.key > ?", wanted.after.clone().map(|key| [key.into()]));
    let (conditions, last, values) = filter.then(wanted.most.unwrap_or(i64::MAX));
    // Keys are compared as bytes. Times before the year 0 are none of ours; what has no time comes first.
    let sql = format!(
        "SELECT x.kind, x.id, coalesce(r.id, x.site_id) AS recorder_id, x.site, coalesce(r.code, x.site) AS recorder, x.at, x.day_only, x.ended_at, x.says, x.recorded_at,
                coalesce(p.name, '') AS recorded_by, x.key, x.change,
                CASE WHEN x.record_id <> ALL ($1) THEN coalesce((
                  SELECT n.number FROM public.accessions n WHERE n.animal_id = x.record_id AND {known_n}
                   ORDER BY n.recorded_at, n.id LIMIT 1), x.record_id::text) END AS entered_for,
                EXISTS (SELECT FROM public.identities i
                         WHERE i.record_id = x.record_id AND i.linked AND holt_set_aside(x.id, i.animal_id)) AS set_aside,
                CASE WHEN x.superseded_at <= $2 THEN x.superseded_at END AS superseded_at,
                CASE WHEN x.superseded_at <= $2 THEN x.superseded_why END AS superseded_why
           FROM (SELECT y.*, (coalesce(to_char(y.at AT TIME ZONE 'UTC', 'YYYYMMDDHH24MISSUS'), '')
                              || '/' || lpad(y.rank::text, 2, '0')
                              || '/' || to_char(y.recorded_at AT TIME ZONE 'UTC', 'YYYYMMDDHH24MISSUS')
                              || '/' || y.id || '/' || lpad(y.seq::text, 6, '0')) COLLATE \"C\" AS key
                   FROM ({}) y) x
           LEFT JOIN people p ON p.id = x.recorded_by
           LEFT JOIN sites r ON r.id = holt_recorder(x.request_id, x.recorded_by)
          WHERE true{conditions}
          ORDER BY x.key LIMIT ${last}",
        each.join(" UNION ALL "),
        known_n = known("n", 2),
    );
    snapshot.rows(&sql, values).await
}
