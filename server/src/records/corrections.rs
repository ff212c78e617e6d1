//! Corrections: a fact is changed or struck out, with a reason; what was recorded stays as it was known.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::{Animal, Label};
use crate::model::assessment::Finding;
use crate::model::concern::Concern;
use crate::model::death::Manner;
use crate::model::fact::{FactKind, Told, Version};
use crate::model::paper::Content;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::animals::enclosure;
use crate::records::error::{Refusal, Result, Violation};
use crate::records::parents::{self, Birth};
use crate::records::{
    Records, assessments, fresh, guard_version, history, litters, one_animal, papers, view, weights,
};
use crate::store::animals::{Lock, Parent};
use crate::store::{Tx, corrections, holdings, retrying};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use holt_audit::terms::{Counts, Mass, Sex};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// How long after it was recorded those who weigh may correct a reading without a registrar.
const NEW_READING: TimeDelta = TimeDelta::days(7);

/// When something was: the instant, or the day alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    At(DateTime<Utc>),
    On(NaiveDate),
}

/// The code of a mark, and what it is as that of a transponder: code and issuer, or what is wrong and what
/// to do instead.
#[derive(Clone, Debug)]
pub struct Code {
    pub text: String,
    pub transponder: std::result::Result<(String, String), (String, String)>,
}

/// What a fact is to say instead; none where it is to stay.
#[derive(Clone, Debug, Default)]
pub struct Change {
    pub born: Option<(NaiveDate, NaiveDate)>,
    pub estimated: Option<bool>,
    pub sex: Option<Sex>,
    pub parent: Option<String>,
    pub share: Option<f64>,
    /// Why parents are right that do not fit by the records.
    pub parents_because: Option<String>,
    pub mass: Option<Mass>,
    pub animal: Option<String>,
    pub enclosure: Option<String>,
    pub code: Option<Code>,
    pub place_on_body: Option<String>,
    pub manner: Option<Manner>,
    pub note: Option<String>,
    pub findings: Option<Vec<Finding>>,
    pub paper: Option<Content>,
    pub moment: Option<Moment>,
    /// Some(None): it did not end.
    pub ended: Option<Option<Moment>>,
}

/// What is asked to be corrected.
#[derive(Clone, Debug)]
pub struct Asked {
    pub animal: String,
    pub fact: Uuid,
    /// None: the fact is struck out.
    pub change: Option<Change>,
    pub because: String,
    /// Version of the animal that this was based on; 0 to skip the guard.
    pub version: i64,
}

/// What stands after a correction.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Corrected {
    /// The facts that were changed, the one that was meant first.
    pub facts: Vec<Told>,
    pub version: i64,
    pub concerns: Vec<Concern>,
}

/// A correction under way.
struct Work<'a> {
    tx: &'a mut Tx,
    permit: &'a Permit,
    animal: &'a Animal,
    fact: &'a Version,
    why: &'a str,
    /// Identifiers of what was changed.
    done: Vec<Uuid>,
    /// Animals whose readings were changed.
    weighed: Vec<Label>,
}

/// Changes what a fact says, or strikes it out.
///
/// # Errors
/// Refused without the role there; where there is no such fact, it was corrected meanwhile, another site
/// recorded it, the change does not fit its kind, or what it would say contradicts another fact.
pub async fn correct(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    asked: &Asked,
) -> Result<Corrected> {
    let permit = records.permit(caller, Deed::Correct, site).await?;
    retrying("correct_fact", || async {
        let mut tx = fresh!(records.store.write(caller, request).await?);
        tx.at_site(permit.site().id);
        let label = one_animal(&tx, Some(&permit), &asked.animal, tx.now(), Lock::Change).await?;
        let animal = view(&tx, &permit, &label, tx.now()).await?;
        guard_version("animal", asked.version, animal.version)?;
        let fact = corrections::find(&tx, animal.id, asked.fact).await?;
        let fact = fact.ok_or_else(|| Refusal::not_found("fact", &asked.fact.to_string()))?;
        if !fact.stands() {
            return Err(Refusal::new(
                Reason::VersionPassed,
                format!("this {} was corrected or ended meanwhile", fact.kind.spoken()),
                "look at the animal's history again, and correct what stands now",
            )
            .fact("version", animal.version.to_string())
            .into());
        }
        may_correct(caller, &permit, &animal, &fact, tx.now())?;
        let why =
            format!("{}: {}", if asked.change.is_some() { "corrected" } else { "struck out" }, asked.because);
        let mut work = Work {
            tx: &mut tx,
            permit: &permit,
            animal: &animal,
            fact: &fact,
            why: &why,
            done: Vec::new(),
            weighed: Vec::new(),
        };
        match &asked.change {
            Some(change) => work.change(change).await?,
            None => work.strike_out().await?,
        }
        work.nothing_astray().await?;
        let (done, weighed) = (work.done, work.weighed);
        let concerns = weights::watch_again(records, &mut tx, &permit, &weighed).await?;
        let version = crate::store::animals::bump(&mut tx, animal.id).await?;
        for other in weighed.iter().filter(|other| other.id != animal.id) {
            crate::store::animals::bump(&mut tx, other.id).await?;
        }
        let owners: Vec<Uuid> =
            std::iter::once(animal.id).chain(weighed.iter().map(|label| label.id)).collect();
        let facts = history::these(&tx, caller, &owners, &done).await?;
        Ok(tx.commit(Corrected { facts, version, concerns }).await?)
    })
    .await
}

/// Whether the caller may correct a fact: what the site recorded, and who and what the animal is, where the
/// site holds it; without a registrar's role, readings of the last days: rounds are shared, and whoever sees
/// the slip mends it under their own name.
fn may_correct(
    caller: &Caller,
    permit: &Permit,
    animal: &Animal,
    fact: &Version,
    now: DateTime<Utc>,
) -> std::result::Result<(), Refusal> {
    let site = permit.site();
    if let Err(denied) = caller.may(Deed::Register, site) {
        let new = fact.kind == FactKind::Weight
            && fact.instant("recorded_at").is_some_and(|at| now - at <= NEW_READING);
        if !new {
            return Err(denied.into());
        }
    }
    let holds = animal.holder == site.code && animal.status == crate::model::animal::Status::Held;
    if fact.site() == site.id || (is_of_the_animal(fact.kind) && holds) {
        Ok(())
    } else {
        Err(of_another_site(fact.kind))
    }
}

/// Who and what an animal is, wherever it was found out.
const fn is_of_the_animal(kind: FactKind) -> bool {
    matches!(kind, FactKind::Birth | FactKind::Sex | FactKind::Parent | FactKind::Mark)
}

pub(super) fn of_another_site(kind: FactKind) -> Refusal {
    Refusal::new(
        Reason::FactOfAnotherSite,
        format!("another site recorded the {}", kind.spoken()),
        "ask that site's registrar to correct it",
    )
}

fn malformed(field: &str, say: impl Into<String>, mend: &str) -> Refusal {
    Refusal::malformed(vec![Violation { field: field.to_owned(), say: say.into(), mend: mend.to_owned() }])
}

fn out_of_order(say: impl Into<String>, mend: &str) -> Refusal {
    Refusal::new(Reason::OutOfOrder, say, mend)
}

impl Change {
    /// Names of what is given.
    fn given(&self) -> Vec<&'static str> {
        [
            ("born_on", self.born.is_some()),
            ("born_estimated", self.estimated.is_some()),
            ("sex", self.sex.is_some()),
            ("parent", self.parent.is_some()),
            ("share", self.share.is_some()),
            ("parents_because", self.parents_because.is_some()),
            ("mass", self.mass.is_some()),
            ("animal", self.animal.is_some()),
            ("enclosure", self.enclosure.is_some()),
            ("code", self.code.is_some()),
            ("place_on_body", self.place_on_body.is_some()),
            ("manner", self.manner.is_some()),
            ("note", self.note.is_some()),
            ("findings", self.findings.is_some()),
            ("paper", self.paper.is_some()),
            ("happened_at", self.moment.is_some()),
            ("ended_at", self.ended.is_some()),
        ]
        .into_iter()
        .filter_map(|(name, given)| given.then_some(name))
        .collect()
    }

    /// Refuses what a fact of this kind does not say.
    fn fits(&self, kind: FactKind) -> std::result::Result<(), Refusal> {
        let fields: &[&str] = match kind {
            FactKind::Birth => &["born_on", "born_estimated", "parents_because"],
            FactKind::Sex => &["sex", "happened_at"],
            FactKind::Parent => &["parent", "share", "parents_because"],
            FactKind::Weight => &["mass", "animal", "note", "happened_at"],
            FactKind::Placement => &["enclosure", "happened_at", "ended_at"],
            FactKind::Membership => &["happened_at", "ended_at"],
            FactKind::Mark => &["code", "place_on_body", "happened_at", "ended_at"],
            FactKind::Holding => &["happened_at", "ended_at"],
            FactKind::Title => &["happened_at"],
            FactKind::Paper => &["paper"],
            FactKind::Assessment => &["findings", "note", "happened_at"],
            FactKind::Death => &["manner", "note", "happened_at"],
            FactKind::Loan
            | FactKind::Accession
            | FactKind::Transfer
            | FactKind::Merge
            | FactKind::ToldApart => &[],
        };
        if fields.is_empty() {
            let say = format!("a {} is never corrected", kind.spoken());
            return Err(malformed("fact_id", say, "correct the facts that it goes with"));
        }
        let given = self.given();
        if given.is_empty() {
            return Err(malformed(
                "change",
                "nothing is changed",
                &format!("give one of {}", fields.join(", ")),
            ));
        }
        let odd: Vec<Violation> = given
            .into_iter()
            .filter(|name| !fields.contains(name))
            .map(|name| Violation {
                field: format!("change.{name}"),
                say: format!("a {} does not say that", kind.spoken()),
                mend: format!("of it, {} can be changed", fields.join(", ")),
            })
            .collect();
        if odd.is_empty() { Ok(()) } else { Err(Refusal::malformed(odd)) }
    }
}

impl Work<'_> {
    async fn change(&mut self, change: &Change) -> Result<()> {
        change.fits(self.fact.kind)?;
        match self.fact.kind {
            FactKind::Birth => self.birth(change).await,
            FactKind::Sex => self.sex(change).await,
            FactKind::Parent => self.parent(change).await,
            FactKind::Weight => self.weight(change).await,
            FactKind::Assessment => self.assessment(change).await,
            FactKind::Death => self.death(change).await,
            FactKind::Holding => self.holding(change).await,
            FactKind::Paper => self.paper(change).await,
            FactKind::Title | FactKind::Placement | FactKind::Membership | FactKind::Mark => {
                self.stretch(change).await
            }
            FactKind::Loan
            | FactKind::Accession
            | FactKind::Transfer
            | FactKind::Merge
            | FactKind::ToldApart => Ok(()),
        }
    }

    /// Supersedes the fact that is meant by one with other columns.
    async fn put(&mut self, changes: Value) -> Result<()> {
        let changes: Map<String, Value> = changes.as_object().cloned().unwrap_or_default();
        if changes.iter().all(|(column, value)| self.fact.row.get(column) == Some(value)) {
            let say = format!("the {} says that already", self.fact.kind.spoken());
            return Err(malformed("change", say, "nothing needs to be done").into());
        }
        self.replace(self.fact, changes).await
    }

    /// Supersedes a fact by one with other columns. Who and what the animal is, its holder answers for.
    async fn replace(&mut self, old: &Version, mut columns: Map<String, Value>) -> Result<()> {
        let site = self.permit.site();
        if old.site() != site.id {
            if !is_of_the_animal(old.kind) {
                return Err(of_another_site(old.kind).into());
            }
            columns.insert("site_id".to_owned(), json!(site.id));
        }
        let new = corrections::replace(self.tx, old, &columns, self.why).await?;
        self.done.push(new.id());
        Ok(())
    }

    /// The instant of a moment and its day, and whether the day alone is known; refused in the future.
    fn moment(
        &self,
        moment: Moment,
        of_day: impl Fn(NaiveDate) -> DateTime<Utc>,
    ) -> std::result::Result<(DateTime<Utc>, NaiveDate, bool), Refusal> {
        let (site, now) = (self.permit.site(), self.tx.now());
        let (at, day, day_only) = match moment {
            Moment::At(at) => (at, site.day_of(at), false),
            Moment::On(day) if day > site.day_of(now) => {
                return Err(Refusal::in_the_future("day", "change.happened_on"));
            }
            Moment::On(day) => (of_day(day).min(now), day, true),
        };
        if at > now {
            Err(Refusal::in_the_future("time", "change.happened_at"))
        } else {
            Ok((at, day, day_only))
        }
    }

    fn beginning(&self, moment: Moment) -> std::result::Result<(DateTime<Utc>, NaiveDate, bool), Refusal> {
        self.moment(moment, |day| self.permit.site().start_of(day))
    }

    fn end(&self, moment: Moment) -> std::result::Result<(DateTime<Utc>, NaiveDate, bool), Refusal> {
        self.moment(moment, |day| self.permit.site().close_of(day))
    }

    async fn birth(&mut self, change: &Change) -> Result<()> {
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
                        "it was born at the site, so the day is known",
                        "give the whole day",
                    )
                    .into());
                }
                let (at, on, _) = self.beginning(Moment::On(first))?;
                if let Some(began) = born_here.instant("began_at") {
                    self.move_beginning(began, at, on).await?;
                }
            } else if first > earliest.began_on {
                return Err(out_of_order(
                    format!("it came on {} and cannot be born on {first} or later", earliest.began_on),
                    "correct the day of arrival first",
                )
                .at("change.born_on")
                .into());
            }
            for parent in corrections::standing(self.tx, self.animal.id, FactKind::Parent).await? {
                let (text, before) = (parent.text("parent_id"), parent.text("because").unwrap_or_default());
                let because = change.parents_because.as_deref().unwrap_or(before);
                let fit = self.fit(&parent, text.unwrap_or_default(), Some((first, last)), because).await?;
                if let Some(fit) = fit.filter(|fit| fit.because != before) {
                    let columns = json!({ "because": fit.because });
                    self.replace(&parent, columns.as_object().cloned().unwrap_or_default()).await?;
                }
            }
            for young in corrections::young(self.tx, self.animal.id).await? {
                if let Some(born) = young.born_last.filter(|born| *born <= first) {
                    return Err(out_of_order(
                        format!("a young of it was born on {born}"),
                        "correct that birth, or who its parents are, first",
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

    async fn sex(&mut self, change: &Change) -> Result<()> {
        let sex = change.sex.map_or_else(
            || self.fact.text("sex").unwrap_or_default().to_owned(),
            |sex| crate::store::animals::sex_text(sex).to_owned(),
        );
        for young in corrections::young(self.tx, self.animal.id).await? {
            if matches!((young.kind.as_str(), sex.as_str()), ("dam", "male") | ("sire", "female")) {
                return Err(Refusal::new(
                    Reason::ParentDoesNotFit,
                    format!("it is on record as a {}", young.kind),
                    "correct who the parents of its young are first",
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
    async fn fit(
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

    async fn parent(&mut self, change: &Change) -> Result<()> {
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
        self.put(Value::Object(columns)).await
    }

    async fn weight(&mut self, change: &Change) -> Result<()> {
        let mut columns = Map::new();
        let site = self.permit.site();
        if let Some(mass) = change.mass {
            weights::refuse_no_mass(mass)?;
            // Whoever corrects a reading has looked at it: it awaits no second one.
            columns.extend([
                ("mass_mg".to_owned(), json!(mass.mg())),
                ("tried".to_owned(), json!(false)),
                ("doubtful".to_owned(), json!(false)),
            ]);
        }
        if let Some(note) = &change.note {
            columns.insert("note".to_owned(), json!(note));
        }
        let mut at = self.fact.instant("weighed_at").unwrap_or_default();
        if let Some(moment) = change.moment {
            let (instant, on, day_only) = self.moment(moment, |day| site.noon_of(day))?;
            at = instant;
            columns.extend([
                ("weighed_at".to_owned(), json!(at)),
                ("weighed_on".to_owned(), json!(on)),
                ("day_only".to_owned(), json!(day_only)),
            ]);
        }
        let mut of = self.animal.label();
        if let Some(text) = &change.animal {
            of = one_animal(self.tx, Some(self.permit), text, at, Lock::Change).await?;
            columns.insert("animal_id".to_owned(), json!(of.id));
        }
        if corrections::weighed_at(self.tx, of.id, at, self.fact.id()).await? {
            return Err(Refusal::new(
                Reason::Exists,
                format!("another reading of {} stands at that time", of.spoken()),
                "strike one of the two out, or give another time",
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

    async fn assessment(&mut self, change: &Change) -> Result<()> {
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
            let (at, on, _) = self.moment(moment, |day| self.permit.site().noon_of(day))?;
            columns.extend([("assessed_at".to_owned(), json!(at)), ("assessed_on".to_owned(), json!(on))]);
        }
        self.put(Value::Object(columns)).await
    }

    async fn death(&mut self, change: &Change) -> Result<()> {
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
            moved = Some((at, on));
        }
        self.put(Value::Object(columns)).await?;
        match moved {
            Some(end) => self.move_end(died, Some(end)).await,
            None => Ok(()),
        }
    }

    async fn holding(&mut self, change: &Change) -> Result<()> {
        let (began, ended) = (self.fact.instant("began_at"), self.fact.instant("ended_at"));
        if let Some(moment) = change.moment {
            match self.fact.text("began_how") {
                Some("birth") => return Err(elsewhere("began with its birth", "correct the birth instead")),
                Some("transfer") => return Err(passed("began")),
                _ => {}
            }
            let (at, on, _) = self.beginning(moment)?;
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
            return Err(
                malformed("change", "the holding says that already", "nothing needs to be done").into()
            );
        }
        Ok(())
    }

    /// Moves the day on which it was told apart out of its litter.
    async fn leave_litter(&mut self, apart: &Version, on: NaiveDate) -> Result<()> {
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
        litters::enough(&rest, on, one, "told apart").map_err(|refusal| refusal.at("change.happened_on"))?;
        if apart.day("happened_on") != Some(on) {
            self.replace(apart, Map::from_iter([("happened_on".to_owned(), json!(on))])).await?;
            crate::store::litters::bump(self.tx, id).await?;
        }
        Ok(())
    }

    async fn paper(&mut self, change: &Change) -> Result<()> {
        let Some(content) = &change.paper else { return Ok(()) };
        papers::refuse_not_issued_yet(self.tx, self.permit, content, "change.paper.issued_on")?;
        self.put(Value::Object(crate::store::papers::columns(content))).await
    }

    /// A title, a placement or a mark.
    async fn stretch(&mut self, change: &Change) -> Result<()> {
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
        let mut began = self.fact.instant("began_at").unwrap_or_default();
        if let Some(moment) = change.moment {
            began = self.beginning(moment)?.0;
            columns.insert("began_at".to_owned(), json!(began));
        }
        let mut ended = self.fact.instant("ended_at");
        if let Some(end) = change.ended {
            ended = end.map(|moment| self.end(moment)).transpose()?.map(|(at, ..)| at);
            columns.insert("ended_at".to_owned(), json!(ended));
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
    async fn move_beginning(&mut self, from: DateTime<Utc>, to: DateTime<Utc>, on: NaiveDate) -> Result<()> {
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
    async fn move_end(&mut self, from: DateTime<Utc>, to: Option<(DateTime<Utc>, NaiveDate)>) -> Result<()> {
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
            let mut columns = Map::from_iter([("ended_at".to_owned(), json!(to.map(|(at, _)| at)))]);
            if matches!(met.kind, FactKind::Holding | FactKind::Loan) {
                columns.insert("ended_on".to_owned(), json!(to.map(|(_, on)| on)));
            }
            if to.is_none() {
                let blank: &[&str] = match met.kind {
                    FactKind::Holding => &["ended_source", "ended_name", "ended_country"],
                    FactKind::Mark | FactKind::Membership => &["ended_why"],
                    _ => &[],
                };
                columns.extend(blank.iter().map(|column| ((*column).to_owned(), json!(""))));
                if matches!(met.kind, FactKind::Holding | FactKind::Loan) {
                    columns.insert("ended_how".to_owned(), Value::Null);
                }
            }
            self.replace(&met, columns).await?;
        }
        Ok(())
    }

    async fn strike_out(&mut self) -> Result<()> {
        match self.fact.kind {
            FactKind::Weight => self.weighed.push(self.animal.label()),
            FactKind::Death => {
                corrections::withdraw(self.tx, self.fact, self.why).await?;
                let died = self.fact.instant("died_at").unwrap_or_default();
                return self.move_end(died, None).await;
            }
            FactKind::Sex => {
                let all = corrections::standing(self.tx, self.animal.id, FactKind::Sex).await?;
                if all.len() == 1 {
                    return Err(elsewhere("is all that is known", "correct it to `unknown` instead"));
                }
            }
            FactKind::Parent
            | FactKind::Placement
            | FactKind::Membership
            | FactKind::Mark
            | FactKind::Paper
            | FactKind::Assessment => {}
            FactKind::Birth
            | FactKind::Holding
            | FactKind::Title
            | FactKind::Loan
            | FactKind::Accession
            | FactKind::Transfer
            | FactKind::Merge
            | FactKind::ToldApart => {
                let kind = self.fact.kind.spoken();
                let say = format!("a {kind} is never struck out: an animal has one");
                return Err(malformed("fact_id", say, "correct it instead").into());
            }
        }
        Ok(corrections::withdraw(self.tx, self.fact, self.why).await?)
    }

    /// Refuses a correction that leaves something where no site held the animal.
    async fn nothing_astray(&self) -> Result<()> {
        let animals = std::iter::once(self.animal.id).chain(self.weighed.iter().map(|label| label.id));
        for animal in animals {
            if let Some(stray) = corrections::stray(self.tx, animal).await? {
                let day = self.permit.site().day_of(stray.at);
                return Err(out_of_order(
                    format!("a {} of {day} would lie where the site did not hold the animal", stray.kind),
                    "correct or strike out that one first, or give another time",
                )
                .fact("kind", stray.kind)
                .fact("day", day.to_string())
                .into());
            }
        }
        Ok(())
    }
}

fn elsewhere(how: &str, mend: &str) -> crate::records::error::Error {
    out_of_order(format!("it {how}"), mend).at("change").into()
}

fn passed(how: &str) -> crate::records::error::Error {
    elsewhere(
        &format!("{how} with a transfer, at one instant for both sites"),
        "that instant is not corrected here",
    )
}
