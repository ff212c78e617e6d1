//! What is known of an animal at one time: its birth, sex and parents, readings, assessments and papers.

use super::{Change, Work, malformed, out_of_order};
use crate::model::fact::{FactKind, Version};
use crate::model::moment::Moment;
use crate::model::reason::Reason;
use crate::records::error::{Error, Refusal, Result};
use crate::records::parents::{self, Birth};
use crate::records::{assessments, one_locked, papers, weights};
use crate::store::animals::{Lock, Parent};
use crate::store::{corrections, holdings};
use chrono::NaiveDate;
use holt_audit::terms::Sex;
use serde_json::{Map, Value, json};

impl Work<'_> {
    pub(super) async fn birth(&mut self, change: &Change) -> Result<()> {
        let (first, last) = change.born.map_or_else(
            || (self.fact.day("born_first"), self.fact.day("born_last")),
            |(first, last)| (Some(first), Some(last)),
        );
        let estimated = change.estimated.map_or(self.fact.row["estimated"].clone(), Value::from);
        let held = holdings::of(self.tx, &[self.animal.id]).await?;
        if let (Some((first, last)), Some(earliest)) = (first.zip(last), held.first()) {
            let holding = corrections::standing(self.tx, self.animal.id, FactKind::Holding).await?;
            let born_here = holding.iter().find(|holding| holding.text("began_how") == Some("birth"));
            if let Some(born_here) = born_here {
                if first != last {
                    return Err(malformed(
                        "change.born_on",
                        "it was born at the site, so its day of birth is known",
                        "give the whole day",
                    )
                    .into());
                }
                // The day is that of the site where it was born, which may have proposed this.
                let site = self.consents.filter(|site| site.id == born_here.site());
                let site = site.unwrap_or_else(|| self.permit.site());
                let (at, on, _) = self.moment(site, Moment::On(first), |day| site.start_of(day))?;
                if let Some(began) = born_here.instant("began_at") {
                    self.move_beginning(began, at, on).await?;
                }
            } else if first > earliest.began_on {
                return Err(out_of_order(
                    format!("it arrived on {} and cannot be born on {first} or later", earliest.began_on),
                    "correct the day of arrival first",
                )
                .at("change.born_on")
                .into());
            }
            for parent in corrections::standing(self.tx, self.animal.id, FactKind::Parent).await? {
                let (text, before) = (parent.text("parent_id"), parent.text("because").unwrap_or_default());
                let because = change.parents_because.as_deref().unwrap_or(before);
                let days = Some((first, last));
                let fit = match self.fit(&parent, text.unwrap_or_default(), days, because).await {
                    // A parent at another site, recorded there: what the site may not see it cannot judge.
                    Err(Error::Refused(refusal)) if refusal.reason == Reason::NotFound => continue,
                    fit => fit?,
                };
                if let Some(fit) = fit.filter(|fit| fit.because != before) {
                    let columns = json!({ "because": fit.because });
                    self.replace(&parent, columns.as_object().cloned().unwrap_or_default()).await?;
                }
            }
            for young in corrections::young(self.tx, self.animal.id).await? {
                if let Some(born) = young.born_last.filter(|born| *born <= first) {
                    return Err(out_of_order(
                        format!("its offspring was born on {born}"),
                        "correct that birth, or its parents, first",
                    )
                    .at("change.born_on")
                    .into());
                }
            }
        }
        let first_put = std::mem::take(&mut self.done);
        self.put(json!({ "born_first": first, "born_last": last, "estimated": estimated })).await?;
        self.done.extend(first_put);
        Ok(())
    }

    pub(super) async fn sex(&mut self, change: &Change) -> Result<()> {
        let sex = change.sex.map_or_else(
            || self.fact.text("sex").unwrap_or_default().to_owned(),
            |sex| crate::store::animals::sex_text(sex).to_owned(),
        );
        for young in corrections::young(self.tx, self.animal.id).await? {
            if matches!((young.kind.as_str(), sex.as_str()), ("dam", "male") | ("sire", "female")) {
                return Err(Refusal::new(
                    Reason::ParentDoesNotFit,
                    format!("it is recorded as a {}", young.kind),
                    "correct the parents of its offspring first",
                )
                .at("change.sex")
                .into());
            }
        }
        let on = match change.moment {
            None => self.fact.day("determined_on"),
            Some(moment) => Some(self.beginning(moment)?.1),
        };
        self.put(json!({ "sex": sex, "determined_on": on })).await
    }

    /// The animal that is meant, as what a parent on record says it is: dam or sire of the animal, had that
    /// been born on these days.
    pub(super) async fn fit(
        &self,
        parent: &Version,
        text: &str,
        days: Option<(NaiveDate, NaiveDate)>,
        because: &str,
    ) -> Result<Option<Parent>> {
        let Some(found) = parents::find(self.tx, self.permit, text, "change.parent").await? else {
            return Ok(None);
        };
        let sex = if parent.text("kind") == Some("dam") { Sex::Female } else { Sex::Male };
        let birth = Birth { taxon: &self.animal.taxon, days, here: false, because };
        let fit = parents::fit(self.tx, self.permit, &found, sex, &birth, "change.parent").await?;
        Ok(Some(fit))
    }

    pub(super) async fn parent(&mut self, change: &Change) -> Result<()> {
        let mut columns = Map::new();
        if let Some(text) = &change.parent {
            let born = self.animal.born.map(|born| (born.first, born.last));
            let because = change.parents_because.as_deref().unwrap_or_default();
            let found = self.fit(self.fact, text, born, because).await?;
            if found.as_ref().is_some_and(|found| found.id == self.animal.id) {
                return Err(Refusal::new(
                    Reason::ParentDoesNotFit,
                    "it is the animal itself",
                    "check which animal is meant",
                )
                .at("change.parent")
                .into());
            }
            if let Some(found) = found {
                columns.insert("parent_id".to_owned(), json!(found.id));
                columns.insert("because".to_owned(), json!(found.because));
            }
        }
        if let Some(share) = change.share {
            columns.insert("share".to_owned(), json!(share));
        }
        if let Some(by) = change.known_by {
            columns.insert("known_by".to_owned(), json!(by.as_str()));
        }
        self.put(Value::Object(columns)).await
    }

    pub(super) async fn weight(&mut self, change: &Change) -> Result<()> {
        let mut columns = Map::new();
        let site = self.permit.site();
        let same = change.mass.is_some_and(|mass| self.fact.row.get("mass_mg") == Some(&json!(mass.mg())));
        if let Some(mass) = change.mass.filter(|_| !same) {
            weights::refuse_no_mass(mass)?;
            // Whoever corrects a reading has looked at it: it awaits no second one.
            columns.extend([
                ("mass_mg".to_owned(), json!(mass.mg())),
                ("tried".to_owned(), json!(false)),
                ("doubtful".to_owned(), json!(false)),
                ("accepted".to_owned(), json!(true)),
            ]);
        }
        match change.accepted {
            Some(true) => columns.extend([("accepted".to_owned(), json!(true))]),
            Some(false) => {
                columns.extend([("accepted".to_owned(), json!(false)), ("doubtful".to_owned(), json!(true))]);
            }
            // What somebody vouched for was a reading of that animal, at that time.
            None if change.mass.is_none() && (change.animal.is_some() || change.moment.is_some()) => {
                columns.extend([("accepted".to_owned(), json!(false))]);
            }
            None => {}
        }
        if let Some(note) = &change.note {
            columns.insert("note".to_owned(), json!(note));
        }
        let mut at = self.fact.instant("weighed_at").unwrap_or_default();
        if let Some(moment) = change.moment {
            let (instant, on, day_only) = self.moment(site, moment, |day| site.noon_of(day))?;
            at = instant;
            columns.extend([
                ("weighed_at".to_owned(), json!(at)),
                ("weighed_on".to_owned(), json!(on)),
                ("day_only".to_owned(), json!(day_only)),
            ]);
        }
        let mut of = self.animal.label();
        if let Some(text) = &change.animal {
            of = one_locked(self.tx, self.permit, text, at, Lock::Change).await?;
            // A site also sees animals that it never held: one that it is about to receive, one that it owns.
            let held = holdings::of(self.tx, &[of.id]).await?;
            if !held.iter().any(|holding| holding.site == site.id && holding.has_it(at)) {
                return Err(self.astray(FactKind::Weight.spoken(), at).at("change.animal").into());
            }
            columns.insert("animal_id".to_owned(), json!(of.id));
        }
        if corrections::weighed_at(self.tx, of.id, at, self.fact.id()).await? {
            return Err(Refusal::new(
                Reason::Exists,
                format!("another reading of {} stands at that time", of.spoken()),
                "withdraw one of the two, or give another time",
            )
            .at("change.happened_at")
            .into());
        }
        self.put(Value::Object(columns)).await?;
        self.weighed.push(self.animal.label());
        if of.id != self.animal.id {
            self.weighed.push(of);
        }
        Ok(())
    }

    pub(super) async fn assessment(&mut self, change: &Change) -> Result<()> {
        let mut columns = Map::new();
        if let Some(note) = &change.note {
            columns.insert("note".to_owned(), json!(note));
        }
        if let Some(findings) = &change.findings {
            let protocol = self.fact.uuid("protocol_id").unwrap_or_default();
            assessments::refuse_unfit(self.tx, protocol, findings).await?;
            columns.insert(
                "findings".to_owned(),
                serde_json::to_value(findings).map_err(crate::store::Error::from)?,
            );
        }
        if let Some(moment) = change.moment {
            let site = self.permit.site();
            let (at, on, _) = self.moment(site, moment, |day| site.noon_of(day))?;
            columns.extend([("assessed_at".to_owned(), json!(at)), ("assessed_on".to_owned(), json!(on))]);
        }
        self.put(Value::Object(columns)).await
    }

    pub(super) async fn paper(&mut self, change: &Change) -> Result<()> {
        let Some(content) = &change.paper else { return Ok(()) };
        papers::refuse_not_issued_yet(self.tx, self.permit, content, "change.paper.issued_on")?;
        self.put(Value::Object(crate::store::papers::columns(content))).await
    }
}
