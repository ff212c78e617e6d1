//! What begins and ends: holdings, and what begins and ends with them.

use super::{Change, Work, malformed, out_of_order};
use crate::model::fact::{FactKind, Version};
use crate::model::moment::Moment;
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
        if let Some(found) = change.found_on {
            columns.insert("found_on".to_owned(), json!(found));
        }
        let died = self.fact.instant("died_at").unwrap_or_default();
        let mut moved = None;
        // Of a death whose day is not known, the animal is off the books on the day on which it was found.
        let known = change.moment.is_some() || self.fact.day("died_first") == self.fact.day("died_on");
        let left = change.moment.or(change.found_on.filter(|_| !known).map(Moment::On));
        if let Some(moment) = left {
            let (at, on, day_only) = self.end(moment)?;
            columns.extend([
                ("died_at".to_owned(), json!(at)),
                ("died_on".to_owned(), json!(on)),
                ("day_only".to_owned(), json!(day_only)),
            ]);
            if known {
                columns.extend([("died_first".to_owned(), json!(on)), ("died_last".to_owned(), json!(on))]);
            }
            let spoken = self.animal.label().spoken();
            refuse_seen_later(self.tx, self.animal.id, &spoken, (true, at, on), "change.happened_on").await?;
            moved = Some((at, on));
        }
        self.refuse_found_before(change, moved.map(|(_, on)| on))?;
        self.put(Value::Object(columns)).await?;
        match moved {
            Some(end) => self.move_end(died, Some(end)).await,
            None => Ok(()),
        }
    }

    /// Refuses that it was found dead before it died, or in the future.
    fn refuse_found_before(&self, change: &Change, off: Option<NaiveDate>) -> Result<()> {
        let found = change.found_on.or_else(|| self.fact.day("found_on"));
        let first = match change.moment {
            Some(_) => off,
            None => self.fact.day("died_first"),
        };
        if let Some((found, _)) = found.zip(first).filter(|(found, first)| found < first) {
            let field = if change.found_on.is_some() { "change.found_on" } else { "change.happened_on" };
            let say = format!("it was found dead on {found}");
            return Err(out_of_order(say, "a death is on that day or before it").at(field).into());
        }
        if change.found_on.is_some_and(|found| found > self.permit.site().day_of(self.tx.now())) {
            return Err(Refusal::in_the_future("day on which it was found", "change.found_on").into());
        }
        Ok(())
    }

    pub(super) async fn holding(&mut self, change: &Change) -> Result<()> {
        let (began, ended) = (self.fact.instant("began_at"), self.fact.instant("ended_at"));
        self.origin_and_destination(change).await?;
        if let Some(moment) = change.moment {
            self.began_by_itself()?;
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
            self.ended_by_itself()?;
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

    /// A placement, a membership, a mark, a life state, or a title; other columns that it is to have are given.
    pub(super) async fn stretch(&mut self, change: &Change, mut columns: Map<String, Value>) -> Result<()> {
        if let Some(role) = change.role {
            columns.insert("role".to_owned(), json!(role.as_str()));
        }
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
        // An animal that came back from a loan: the loan lasted until then.
        for met in corrections::meeting(self.tx, self.animal.id, "ended_at", from).await? {
            if met.kind == FactKind::Loan {
                self.replace(&met, ended(&met, Some((to, on)))).await?;
            }
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
        self.lent_as_it_left(from, to).await
    }
}

/// The columns by which a fact ends at an instant and its day, or lasts.
pub(super) fn ended(fact: &Version, to: Option<(DateTime<Utc>, NaiveDate)>) -> Map<String, Value> {
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
