//! What begins and ends: holdings, and what begins and ends with them.

use super::{Change, Work, malformed, out_of_order};
use crate::model::fact::{FactKind, Version};
use crate::model::reason::Reason;
use crate::records::animals::enclosure;
use crate::records::deaths::refuse_seen_later;
use crate::records::error::{Refusal, Result};
use crate::records::litters;
use crate::store::corrections;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Counts;
use serde_json::{Map, Value, json};

impl Work<'_> {
    pub(super) async fn death(&mut self, change: &Change) -> Result<()> {
        let mut columns = Map::new();
        if let Some(note) = &change.note {
            columns.insert("note".to_owned(), json!(note));
        }
        if let Some(manner) = change.manner {
            columns.insert("manner".to_owned(), json!(manner));
        }
        let died = self.fact.instant("died_at").unwrap_or_default();
        let mut moved = None;
        if let Some(moment) = change.moment {
            let (at, on, day_only) = self.end(moment)?;
            columns.extend([
                ("died_at".to_owned(), json!(at)),
                ("died_on".to_owned(), json!(on)),
                ("day_only".to_owned(), json!(day_only)),
                ("died_first".to_owned(), json!(on)),
                ("died_last".to_owned(), json!(on)),
            ]);
            if let Some(found) = self.fact.day("found_on").filter(|found| *found < on) {
                return Err(out_of_order(
                    format!("it was found dead on {found}"),
                    "give that day or one before it",
                )
                .at("change.happened_on")
                .into());
            }
            let spoken = self.animal.label().spoken();
            refuse_seen_later(self.tx, self.animal.id, &spoken, (true, at, on), "change.happened_on").await?;
            moved = Some((at, on));
        }
        self.put(Value::Object(columns)).await?;
        match moved {
            Some(end) => self.move_end(died, Some(end)).await,
            None => Ok(()),
        }
    }

    pub(super) async fn holding(&mut self, change: &Change) -> Result<()> {
        let (began, ended) = (self.fact.instant("began_at"), self.fact.instant("ended_at"));
        if let Some(moment) = change.moment {
            match self.fact.text("began_how") {
                Some("birth") => return Err(elsewhere("began with its birth", "correct the birth instead")),
                Some("transfer") => return Err(passed("began")),
                _ => {}
            }
            let (at, on, _) = self.beginning(moment)?;
            if let Some(born) = self.animal.born.map(|born| born.first).filter(|born| *born > on) {
                return Err(out_of_order(
                    format!("it was born on {born} or later and cannot arrive on {on}"),
                    "correct the birth first",
                )
                .at("change.happened_on")
                .into());
            }
            if let Some(began) = began {
                self.move_beginning(began, at, on).await?;
            }
            // A young that was told apart leaves its litter on the day on which it is held by itself.
            for apart in corrections::standing(self.tx, self.animal.id, FactKind::ToldApart).await? {
                self.leave_litter(&apart, on).await?;
            }
        }
        if let Some(end) = change.ended {
            match self.fact.text("ended_how") {
                None => {
                    return Err(elsewhere("lasts", "record the death, departure or transfer that ends it"));
                }
                Some("death") => return Err(elsewhere("ended with its death", "correct the death instead")),
                Some("transfer") => return Err(passed("ended")),
                _ => {}
            }
            let end = end.map(|moment| self.end(moment)).transpose()?.map(|(at, on, _)| (at, on));
            if let Some(ended) = ended {
                self.move_end(ended, end).await?;
            }
        }
        if self.done.is_empty() {
            return Err(malformed("change", "the holding is already so", "nothing needs to be done").into());
        }
        Ok(())
    }

    /// Moves the day on which it was told apart out of its litter.
    pub(super) async fn leave_litter(&mut self, apart: &Version, on: NaiveDate) -> Result<()> {
        let began_with_it = self.fact.text("began_how") == Some("told_apart");
        let Some(id) = apart.uuid("litter_id").filter(|_| began_with_it) else { return Ok(()) };
        let litter = litters::locked(self.tx, self.permit, id, 0).await?;
        if on < litter.born_on {
            return Err(litters::before_birth(&litter, "change.happened_on").into());
        }
        let counted = |column: &str| apart.row.get(column).and_then(Value::as_i64).unwrap_or(0);
        let one =
            Counts { males: counted("males"), females: counted("females"), unknown: counted("unknown") };
        let rest = litter.without(apart.id());
        litters::enough(&rest, on, one, "identified").map_err(|refusal| refusal.at("change.happened_on"))?;
        if apart.day("happened_on") != Some(on) {
            self.replace(apart, Map::from_iter([("happened_on".to_owned(), json!(on))])).await?;
            crate::store::litters::bump(self.tx, id).await?;
        }
        Ok(())
    }

    /// A title: where it passed from one owner to the next, it ends for the one as it begins for the other.
    pub(super) async fn title(&mut self, change: &Change) -> Result<()> {
        let Some((moment, began)) = change.moment.zip(self.fact.instant("began_at")) else {
            return self.stretch(change).await;
        };
        let to = self.beginning(moment)?.0;
        let all = corrections::standing(self.tx, self.animal.id, FactKind::Title).await?;
        let Some(before) = all.iter().find(|title| title.instant("ended_at") == Some(began)) else {
            return self.stretch(change).await;
        };
        if before.instant("began_at").is_some_and(|first| to <= first) {
            return Err(out_of_order("its earlier owner was not yet its owner then", "give a later time")
                .at("change.happened_at")
                .into());
        }
        // In the order in which no two own it at any time.
        let end = Map::from_iter([("ended_at".to_owned(), json!(to))]);
        if to < began {
            self.replace(before, end).await?;
            return self.stretch(change).await;
        }
        self.stretch(change).await?;
        self.replace(before, end).await
    }

    /// A placement, a membership, a mark, a life state, or a title that follows no other.
    pub(super) async fn stretch(&mut self, change: &Change) -> Result<()> {
        let mut columns = Map::new();
        if let Some(name) = &change.enclosure {
            let enclosure = enclosure(self.tx, self.permit, name).await?;
            columns.insert("enclosure_id".to_owned(), json!(enclosure));
        }
        if let Some(code) = &change.code {
            let mut sound = code.text.clone();
            if self.fact.text("kind") == Some("transponder") {
                let refuse = |(say, mend): &(String, String)| {
                    Refusal::new(Reason::TransponderMalformed, say, mend).at("change.code")
                };
                let (as_written, issuer) = code.transponder.as_ref().map_err(refuse)?;
                sound.clone_from(as_written);
                columns.insert("issuer".to_owned(), json!(issuer));
            }
            columns.insert("code".to_owned(), json!(sound));
        }
        if let Some(place) = &change.place_on_body {
            columns.insert("place_on_body".to_owned(), json!(place));
        }
        if let Some(note) = &change.note {
            columns.insert("note".to_owned(), json!(note));
        }
        let mut began = self.fact.instant("began_at").unwrap_or_default();
        if let Some(moment) = change.moment {
            began = self.beginning(moment)?.0;
            columns.insert("began_at".to_owned(), json!(began));
        }
        let mut ended = self.fact.instant("ended_at");
        if let Some(end) = change.ended {
            ended = end.map(|moment| self.end(moment)).transpose()?.map(|(at, ..)| at);
            columns.insert("ended_at".to_owned(), json!(ended));
            if self.fact.kind == FactKind::LifeState && ended.is_none() {
                columns.extend([("ended_how".to_owned(), Value::Null), ("ended_why".to_owned(), json!(""))]);
            } else if self.fact.kind == FactKind::LifeState && self.fact.text("ended_how").is_none() {
                columns.insert("ended_how".to_owned(), json!("over"));
            }
        }
        if ended.is_some_and(|ended| ended <= began) {
            return Err(out_of_order("it would end before it begins", "correct both times")
                .at("change.happened_at")
                .into());
        }
        self.put(Value::Object(columns)).await
    }

    /// What began at an instant begins at another: a holding, and the title, placement and marks that began
    /// with it.
    pub(super) async fn move_beginning(
        &mut self,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
        on: NaiveDate,
    ) -> Result<()> {
        if from == to {
            return Ok(());
        }
        for met in corrections::meeting(self.tx, self.animal.id, "began_at", from).await? {
            if met.instant("ended_at").is_some_and(|ended| ended <= to) {
                return Err(out_of_order(
                    format!("the {} ended before that", met.kind.spoken()),
                    "correct its end first",
                )
                .into());
            }
            let mut columns = Map::from_iter([("began_at".to_owned(), json!(to))]);
            if matches!(met.kind, FactKind::Holding | FactKind::Loan) {
                columns.insert("began_on".to_owned(), json!(on));
            }
            self.replace(&met, columns).await?;
        }
        Ok(())
    }

    /// What ended at an instant ends at another, or lasts.
    pub(super) async fn move_end(
        &mut self,
        from: DateTime<Utc>,
        to: Option<(DateTime<Utc>, NaiveDate)>,
    ) -> Result<()> {
        if to.is_some_and(|(at, _)| at == from) {
            return Ok(());
        }
        for met in corrections::meeting(self.tx, self.animal.id, "ended_at", from).await? {
            let began = met.instant("began_at");
            if let Some((at, _)) = to.filter(|(at, _)| began.is_some_and(|began| *at <= began)) {
                return Err(out_of_order(
                    format!(
                        "the {} began at {} only",
                        met.kind.spoken(),
                        began.unwrap_or(at).format("%Y-%m-%d %H:%M UTC")
                    ),
                    "correct its beginning first",
                )
                .into());
            }
            self.replace(&met, ended(&met, to)).await?;
        }
        Ok(())
    }
}

/// The columns by which a fact ends at an instant and its day, or lasts.
fn ended(fact: &Version, to: Option<(DateTime<Utc>, NaiveDate)>) -> Map<String, Value> {
    let mut columns = Map::from_iter([("ended_at".to_owned(), json!(to.map(|(at, _)| at)))]);
    if matches!(fact.kind, FactKind::Holding | FactKind::Loan) {
        columns.insert("ended_on".to_owned(), json!(to.map(|(_, on)| on)));
    }
    if to.is_none() {
        let blank: &[&str] = match fact.kind {
            FactKind::Holding => &["ended_source", "ended_name", "ended_country"],
            FactKind::Mark | FactKind::Membership | FactKind::LifeState => &["ended_why"],
            _ => &[],
        };
        columns.extend(blank.iter().map(|column| ((*column).to_owned(), json!(""))));
        if matches!(fact.kind, FactKind::Holding | FactKind::Loan | FactKind::LifeState) {
            columns.insert("ended_how".to_owned(), Value::Null);
        }
    }
    columns
}

/// The columns by which a fact that ended lasts.
pub(in crate::records) fn lasting(fact: &Version) -> Map<String, Value> {
    ended(fact, None)
}

pub(super) fn elsewhere(how: &str, mend: &str) -> crate::records::error::Error {
    out_of_order(format!("it {how}"), mend).at("change").into()
}

fn passed(how: &str) -> crate::records::error::Error {
    elsewhere(
        &format!("{how} with a transfer, at one instant for both sites"),
        "that instant cannot be corrected here",
    )
}
