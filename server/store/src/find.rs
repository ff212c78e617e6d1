//! Finding animals by a part of what they go by.

use crate::animals::code_of;
use crate::doors::Snapshot;
use crate::error::Error;
use crate::marks;
use crate::model::find::{Clue, FoundBy, Nearness};
use chrono::{DateTime, Utc};
use sea_orm::FromQueryResult;
use std::fmt::Write;
use uuid::Uuid;

/// From how many characters on a text is looked for within names.
const WITHIN_FROM: usize = 3;

/// How many entries of one index are looked at: a beginning that so many share tells nothing of an animal.
const MOST_OF_AN_END: usize = 1000;

/// How many marks are read through for what stands within them.
const MOST_READ_THROUGH: usize = 200_000;

#[derive(FromQueryResult)]
struct Row {
    animal_id: Uuid,
    what: String,
    text: String,
    far: i32,
    in_force: bool,
}

/// The animals that the caller may see and that go by a text or by something that begins or ends with it, the
/// nearest first; where these are fewer than `most` and the text is a word, also those that have it within a name,
/// a ring, a tattoo or a number.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn by_text(
    snapshot: &Snapshot,
    text: &str,
    now: DateTime<Utc>,
    most: usize,
) -> Result<Vec<(Uuid, Clue)>, Error> {
    let code = code_of(text);
    let mut branches = by_id(text.parse::<Uuid>().is_ok());
    branches.push_str(&ends("accessions", "number", "upper($1)", "'accession'", "true", "true"));
    let in_force = "(x.ended_at IS NULL OR x.ended_at > $3)";
    let kinds = "x.kind <> 'natural'";
    branches.push_str(&ends("marks", "folded", "lower($1)", "x.kind", in_force, kinds));
    if !code.is_empty() && code != text {
        branches.push_str(&ends(
            "marks",
            "folded",
            "lower($2)",
            "x.kind",
            in_force,
            "x.kind = 'transponder'",
        ));
    }
    let near = ranked(snapshot, &branches, text, &code, now, most).await?;
    // Reading through names costs more than all the rest: not for digits, which no name has within, nor where the
    // text is the whole of a number or a code.
    let is_whole = near.iter().any(|row| row.far == 0 && row.what != "house_name");
    let is_word = text.chars().count() >= WITHIN_FROM && text.chars().any(char::is_alphabetic);
    if near.len() >= most || is_whole || !is_word {
        return near.into_iter().map(clue).collect();
    }
    branches.push_str(&within(in_force));
    ranked(snapshot, &branches, text, &code, now, most).await?.into_iter().map(clue).collect()
}

/// The branch that finds by identifier, where the text is one; else one that finds nothing and says what the
/// columns are.
fn by_id(is_one: bool) -> String {
    let id = if is_one { "$1::uuid" } else { "NULL::uuid" };
    format!(
        "SELECT a.id AS animal_id, 'id' AS what, a.id::text AS text, 0 AS far, true AS in_force FROM animals a WHERE a.id = {id}"
    )
}

/// The branches that find in one table what begins or ends with a text. The last character that there is, set
/// behind a text, is the end of all that begins with it.
fn ends(table: &str, column: &str, text: &str, what: &str, in_force: &str, condition: &str) -> String {
    let mut branches = String::new();
    let shown = if table == "marks" { "code" } else { column };
    for (key, from) in [(column, text.to_owned()), ("turned", format!("reverse({text})"))] {
        let _ = write!(
            branches,
            " UNION ALL (SELECT x.animal_id, {what} AS what, x.{shown} AS text,
                    CASE WHEN x.{key} = {from} THEN 0 ELSE 1 END AS far, {in_force} AS in_force
               FROM public.{table} x
              WHERE x.superseded_at IS NULL AND {condition}
                AND x.{key} ~>=~ {from} AND x.{key} ~<~ ({from} || U&'\\+10FFFF')
              ORDER BY x.{key} USING ~<~ LIMIT {MOST_OF_AN_END})"
        );
    }
    branches
}

/// The branch that reads through marks of the sites in scope, and of the animals that they hold.
fn within(in_force: &str) -> String {
    format!(
        " UNION ALL SELECT x.animal_id, x.kind, x.code, 2, {in_force} FROM (
            SELECT m.animal_id, m.kind, m.code, m.folded, m.ended_at FROM public.marks m
             WHERE m.superseded_at IS NULL AND m.kind IN ('house_name', 'ring', 'tattoo', 'former_number')
               AND ((SELECT holt_everywhere()) OR m.site_id = ANY ((SELECT holt_sites())::uuid[])
                    OR m.animal_id IN (SELECT h.animal_id FROM public.holdings h
                                        WHERE h.site_id = ANY ((SELECT holt_sites())::uuid[])
                                          AND h.superseded_at IS NULL AND h.ended_at IS NULL))
             LIMIT {MOST_READ_THROUGH}) x
          WHERE strpos(x.folded, lower($1)) > 0"
    )
}

/// What branches find: each animal once, by what comes nearest.
async fn ranked(
    snapshot: &Snapshot,
    branches: &str,
    text: &str,
    code: &str,
    now: DateTime<Utc>,
    most: usize,
) -> Result<Vec<Row>, Error> {
    let sql = format!(
        "WITH given AS (SELECT $1::text, $2::text, $3::timestamptz),
              found AS ({branches}),
              meant AS (
           -- A record that was given up means the animal that it was found to be.
           SELECT DISTINCT ON (holt_animal(f.animal_id))
                  holt_animal(f.animal_id) AS animal_id, f.what, f.text, f.far, f.in_force
             FROM found f ORDER BY 1, f.far, f.in_force DESC, f.text)
         SELECT m.animal_id, m.what, m.text, m.far, m.in_force FROM meant m
          ORDER BY m.far, m.in_force DESC,
                   EXISTS (SELECT FROM holdings h WHERE h.animal_id = m.animal_id
                              AND h.superseded_at IS NULL AND h.ended_at IS NULL) DESC,
                   m.text, m.animal_id
          LIMIT $4"
    );
    let most = i64::try_from(most).unwrap_or(i64::MAX);
    snapshot.rows::<Row>(&sql, [text.into(), code.into(), now.into(), most.into()]).await
}

fn clue(row: Row) -> Result<(Uuid, Clue), Error> {
    let by = match row.what.as_str() {
        "id" => FoundBy::Id,
        "accession" => FoundBy::Accession,
        kind => FoundBy::Mark(marks::kind(kind)?),
    };
    let nearness = match row.far {
        0 => Nearness::Whole,
        1 => Nearness::End,
        _ => Nearness::Within,
    };
    Ok((row.animal_id, Clue { by, text: row.text, nearness, in_force: row.in_force }))
}
