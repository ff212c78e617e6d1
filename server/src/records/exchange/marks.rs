//! Transponders of animals that are taken in: on one animal at a time.

use super::{Intake, wrong};
use crate::access::permit::Permit;
use crate::model::mark::MarkKind;
use crate::model::reason::Reason;
use crate::records::error::Result;
use crate::store::Tx;
use crate::store::animals::{self, Lens};
use crate::store::exchange::{self, NewLife, Wear};
use chrono::{DateTime, Utc};
use std::collections::{BTreeMap, HashMap};

/// A transponder of an animal of the request.
struct Borne<'a> {
    n: usize,
    /// Where in the life.
    m: usize,
    wear: &'a Wear,
}

fn overlap(
    (from, until): (DateTime<Utc>, Option<DateTime<Utc>>),
    (other_from, other_until): (DateTime<Utc>, Option<DateTime<Utc>>),
) -> bool {
    other_until.is_none_or(|other| from < other) && until.is_none_or(|until| other_from < until)
}

/// Refuses a transponder that is in force on two animals at once, and says on which other one.
pub(super) async fn refuse_in_use(
    intake: &mut Intake<'_>,
    tx: &Tx,
    permit: &Permit,
    ready: &BTreeMap<usize, NewLife>,
) -> Result<()> {
    let mut by_code: HashMap<String, Vec<Borne>> = HashMap::new();
    for (&n, life) in ready {
        for (m, wear) in life.marks.iter().enumerate() {
            if wear.mark.kind == MarkKind::Transponder {
                by_code.entry(wear.mark.code.to_lowercase()).or_default().push(Borne { n, m, wear });
            }
        }
    }
    let codes: Vec<String> = by_code.keys().cloned().collect();
    let bearers = exchange::bearers(tx, &codes).await?;
    let others: Vec<_> = bearers.iter().map(|bearer| bearer.animal_id).collect();
    let lens = Lens { site: Some(permit.site().id), at: tx.now(), day: permit.site().day_of(tx.now()) };
    let others = animals::views(tx, &others, lens).await?;
    let spoken: HashMap<_, _> = others.iter().map(|other| (other.id, other.label().spoken())).collect();
    let mut refused = Vec::new();
    for (code, borne) in &by_code {
        for (k, one) in borne.iter().enumerate() {
            let span = (one.wear.began_at, one.wear.ended_at);
            let in_file =
                borne[..k].iter().find(|other| overlap(span, (other.wear.began_at, other.wear.ended_at)));
            let on_record = bearers
                .iter()
                .find(|bearer| bearer.folded == *code && overlap(span, (bearer.began_at, bearer.ended_at)));
            let on = match (in_file, on_record) {
                (Some(other), _) => format!("animal {} of the same request", other.n + 1),
                (None, Some(bearer)) => {
                    spoken.get(&bearer.animal_id).cloned().unwrap_or_else(|| "another animal".to_owned())
                }
                (None, None) => continue,
            };
            let say = format!("transponder {} is in force on {on}", one.wear.mark.code);
            let mend = "scan it again; if it is right, end the mark on the other animal first";
            let field = format!("marks[{}].code", one.m);
            refused.push((one.n, wrong(Reason::TransponderInUse, field, say, mend)));
        }
    }
    for (n, refusal) in refused {
        intake.wrong(n, refusal);
    }
    Ok(())
}
