//! With whom an animal was: who owned it, on what terms it was lent, from whom it came and to whom it went.

use super::stretches::{ended, lasting};
use super::{Change, Work, elsewhere, malformed, out_of_order, passed};
use crate::model::animal::Destination;
use crate::model::fact::{FactKind, Version};
use crate::records::error::Result;
use crate::store::{corrections, sites};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::{Map, Value, json};

/// The columns in which a fact has a party: the site, where it is one in Holt, and the name of one outside.
type Party = [&'static str; 2];

const OWNER: Party = ["owner_site_id", "owner_name"];
const LENDER: Party = ["lender_site_id", "lender_name"];
const BORROWER: Party = ["borrower_site_id", "borrower_name"];

/// The party of a fact: the site and the name.
fn party(fact: &Version, columns: Party) -> [Value; 2] {
    columns.map(|column| fact.row.get(column).cloned().unwrap_or_default())
}

fn as_columns(party: &[Value; 2], columns: Party) -> Map<String, Value> {
    columns.into_iter().map(str::to_owned).zip(party.clone()).collect()
}

impl Work<'_> {
    /// A title: where it passed from one owner to the next, it ends for the one as it begins for the other, and so
    /// does a loan that passed with it.
    pub(super) async fn title(&mut self, change: &Change) -> Result<()> {
        let owner = match &change.owner {
            Some(text) => Some(self.new_owner(text).await?),
            None => None,
        };
        let columns = owner.as_ref().map(|owner| as_columns(owner, OWNER)).unwrap_or_default();
        let moved = change.moment.map(|moment| self.beginning(moment)).transpose()?;
        match moved.zip(self.fact.instant("began_at")) {
            Some(((to, on, _), began)) if to != began => {
                self.move_passing(change, columns, began, (to, on)).await?;
            }
            _ => self.stretch(change, columns).await?,
        }
        match owner {
            Some(owner) => self.lend_from(&owner).await,
            None => Ok(()),
        }
    }

    /// The owner that a text means, who did not own the animal right before or after.
    async fn new_owner(&self, text: &str) -> Result<[Value; 2]> {
        let sites = sites::all(self.tx).await?;
        let site = sites.into_iter().find(|site| site.code.eq_ignore_ascii_case(text));
        let owner = match &site {
            Some(site) => [json!(site.id), json!("")],
            None => [Value::Null, json!(text)],
        };
        let all = corrections::standing(self.tx, self.animal.id, FactKind::Title).await?;
        let next_to = |title: &&Version| {
            let touches = |one: &Version, other: &Version| {
                one.instant("ended_at").is_some_and(|ended| Some(ended) == other.instant("began_at"))
            };
            touches(title, self.fact) || touches(self.fact, title)
        };
        if all.iter().filter(next_to).any(|title| party(title, OWNER) == owner) {
            return Err(out_of_order(
                format!("{text} owned it right before or after that as well"),
                "withdraw the later of the two ownerships instead",
            )
            .at("change.owner")
            .into());
        }
        Ok(owner)
    }

    /// What was lent while the title lasted was lent by its owner.
    async fn lend_from(&mut self, owner: &[Value; 2]) -> Result<()> {
        let lender = party(self.fact, OWNER);
        let until = self.fact.instant("ended_at");
        let began = self.fact.instant("began_at");
        for loan in corrections::standing(self.tx, self.animal.id, FactKind::Loan).await? {
            let since = loan.instant("began_at");
            let meets = until.is_none_or(|until| since < Some(until))
                && loan.instant("ended_at").is_none_or(|ended| Some(ended) > began);
            if !meets || party(&loan, LENDER) != lender {
                continue;
            }
            if party(&loan, BORROWER) == *owner {
                let say = "that one had it on loan from its owner";
                return Err(out_of_order(say, "withdraw that loan first").at("change.owner").into());
            }
            self.replace(&loan, as_columns(owner, LENDER)).await?;
        }
        Ok(())
    }

    async fn move_passing(
        &mut self,
        change: &Change,
        columns: Map<String, Value>,
        began: DateTime<Utc>,
        (to, on): (DateTime<Utc>, NaiveDate),
    ) -> Result<()> {
        let Some(before) = self.owned_before(began).await? else {
            return self.stretch(change, columns).await;
        };
        let [earlier, later] = self.lent_around(began).await?;
        let starts =
            [Some(&before), earlier.as_ref()].map(|fact| fact.and_then(|fact| fact.instant("began_at")));
        if starts.into_iter().flatten().any(|first| to <= first) {
            return Err(out_of_order("its earlier owner was not yet its owner then", "give a later time")
                .at("change.happened_at")
                .into());
        }
        let end = Map::from_iter([("ended_at".to_owned(), json!(to))]);
        let begin = Map::from_iter([("began_at".to_owned(), json!(to)), ("began_on".to_owned(), json!(on))]);
        // In the order in which no two own or lend it at any time; what is meant is told first.
        if to < began {
            self.replace(&before, end).await?;
            self.stretch(change, columns).await?;
            self.done.rotate_left(1);
        } else {
            self.stretch(change, columns).await?;
            self.replace(&before, end).await?;
        }
        let mut lent =
            [earlier.map(|loan| (ended(&loan, Some((to, on))), loan)), later.map(|loan| (begin, loan))];
        if to > began {
            lent.reverse();
        }
        for (columns, loan) in lent.into_iter().flatten() {
            self.replace(&loan, columns).await?;
        }
        Ok(())
    }

    /// The title that ended as one began.
    async fn owned_before(&self, began: DateTime<Utc>) -> Result<Option<Version>> {
        let all = corrections::standing(self.tx, self.animal.id, FactKind::Title).await?;
        Ok(all.into_iter().find(|title| title.instant("ended_at") == Some(began)))
    }

    /// The loan that ended as a title passed, and the one that went on from the new owner.
    async fn lent_around(&self, passed: DateTime<Utc>) -> Result<[Option<Version>; 2]> {
        let all = corrections::standing(self.tx, self.animal.id, FactKind::Loan).await?;
        let earlier = all.iter().find(|loan| {
            loan.instant("ended_at") == Some(passed) && loan.text("ended_how") == Some("title_passed")
        });
        let later = all.iter().find(|loan| loan.instant("began_at") == Some(passed));
        Ok([earlier.cloned(), later.filter(|_| earlier.is_some()).cloned()])
    }

    /// Takes back that the animal passed to another owner: the earlier one went on owning, and lending, it.
    pub(super) async fn never_passed(&mut self) -> Result<()> {
        let began = self.fact.instant("began_at").unwrap_or_default();
        let Some(before) = self.owned_before(began).await? else {
            let say = "is the first that is known";
            return Err(elsewhere(say, "correct its owner or its day instead"));
        };
        let holdings = corrections::standing(self.tx, self.animal.id, FactKind::Holding).await?;
        let received = |holding: &Version| {
            holding.instant("began_at") == Some(began) && holding.text("began_how") == Some("transfer")
        };
        if holdings.iter().any(received) {
            return Err(elsewhere("passed with a transfer between two sites", "correct its owner instead"));
        }
        let [earlier, later] = self.lent_around(began).await?;
        let ended = self.fact.instant("ended_at").is_some();
        if earlier.is_some() && later.is_none() && ended {
            let say = "ended a loan, and the animal has left since";
            return Err(elsewhere(say, "correct its owner instead"));
        }
        corrections::withdraw(self.tx, self.fact, self.why).await?;
        let until = self.fact.row.get("ended_at").cloned().unwrap_or_default();
        self.replace(&before, Map::from_iter([("ended_at".to_owned(), until)])).await?;
        let Some(earlier) = earlier else { return Ok(()) };
        let columns = match &later {
            None => lasting(&earlier),
            Some(later) => {
                corrections::withdraw(self.tx, later, self.why).await?;
                let as_later =
                    |column: &str| (column.to_owned(), later.row.get(column).cloned().unwrap_or_default());
                ["ended_at", "ended_on", "ended_how", "until_on", "terms"].into_iter().map(as_later).collect()
            }
        };
        self.replace(&earlier, columns).await
    }

    /// The terms of a loan.
    pub(super) async fn loan(&mut self, change: &Change) -> Result<()> {
        let until = change.loan_until.flatten().zip(self.fact.day("began_on"));
        if let Some((until, began)) = until.filter(|(until, began)| until < began) {
            return Err(out_of_order(
                format!("the loan would end on {until}, before it begins on {began}"),
                "correct one of the two days",
            )
            .at("change.loan_until")
            .into());
        }
        let mut columns = Map::new();
        if let Some(until) = change.loan_until {
            columns.insert("until_on".to_owned(), json!(until));
        }
        if let Some(terms) = &change.loan_terms {
            columns.insert("terms".to_owned(), json!(terms));
        }
        self.put(Value::Object(columns)).await
    }

    /// Takes a loan back that never was. Who owns the animal stays as it is recorded.
    pub(super) async fn never_lent(&mut self) -> Result<()> {
        if self.fact.uuid("transfer_id").is_some() {
            let mend = "correct its terms, or record its end";
            return Err(elsewhere("began with a transfer, of which it stands in two books", mend));
        }
        Ok(corrections::withdraw(self.tx, self.fact, self.why).await?)
    }

    /// From where and whom it came, and where and to whom it went.
    pub(super) async fn origin_and_destination(&mut self, change: &Change) -> Result<()> {
        let text = |text: &Option<String>| text.as_ref().map(|text| json!(text));
        let came = [
            ("began_source", change.source.map(|source| json!(source.as_str()))),
            ("began_name", text(&change.source_name)),
            ("began_country", text(&change.source_country)),
        ];
        let went = [
            ("ended_source", change.destination.map(|destination| json!(destination.as_str()))),
            ("ended_name", text(&change.destination_name)),
            ("ended_country", text(&change.destination_country)),
        ];
        let given = |columns: &[(&str, Option<Value>)]| columns.iter().any(|(_, value)| value.is_some());
        if given(&came) {
            self.began_by_itself()?;
            if self.fact.text("began_how") != Some("arrival") {
                return Err(elsewhere("began with its identification", "correct the litter instead"));
            }
        }
        if given(&went) {
            self.ended_by_itself()?;
        }
        let escaped = self.fact.text("ended_how") == Some("escape");
        if change.destination.is_some_and(|to| escaped || to == Destination::Escape) {
            return Err(malformed(
                "change.destination",
                "an escape is not a departure to a place",
                "say that the holding lasts, then record what happened",
            )
            .into());
        }
        let columns: Map<String, Value> = came
            .into_iter()
            .chain(went)
            .filter_map(|(column, value)| Some((column.to_owned(), value?)))
            .filter(|(column, value)| self.fact.row.get(column) != Some(value))
            .collect();
        if columns.is_empty() {
            return Ok(());
        }
        self.replace(self.fact, columns).await?;
        match &change.destination_name {
            Some(name) => self.lend_to(name).await,
            None => Ok(()),
        }
    }

    /// An animal that went on loan did so as it left, and not where it never left.
    pub(super) async fn lent_as_it_left(
        &mut self,
        left: DateTime<Utc>,
        to: Option<(DateTime<Utc>, NaiveDate)>,
    ) -> Result<()> {
        for loan in corrections::meeting(self.tx, self.animal.id, "began_at", left).await? {
            if loan.kind != FactKind::Loan || loan.text("borrower_name") == Some("") {
                continue;
            }
            let Some((at, on)) = to else {
                corrections::withdraw(self.tx, &loan, self.why).await?;
                continue;
            };
            if loan.instant("ended_at").is_some_and(|ended| ended <= at) {
                let mend = "correct its return first";
                return Err(out_of_order("the loan with which it left ended before that", mend).into());
            }
            let columns = [("began_at".to_owned(), json!(at)), ("began_on".to_owned(), json!(on))];
            self.replace(&loan, Map::from_iter(columns)).await?;
        }
        Ok(())
    }

    /// Whoever an animal went to on loan borrowed it.
    async fn lend_to(&mut self, name: &str) -> Result<()> {
        let [ended, borrower] = ["ended_at", "ended_name"].map(|column| self.fact.text(column));
        for loan in corrections::standing(self.tx, self.animal.id, FactKind::Loan).await? {
            let went_with = loan.text("began_at") == ended && loan.text("borrower_name") == borrower;
            if !went_with || borrower == Some("") {
                continue;
            }
            if name.is_empty() {
                let say = "is empty, and the animal went there on loan";
                return Err(malformed("change.destination_name", say, "name who borrowed it").into());
            }
            self.replace(&loan, as_columns(&[Value::Null, json!(name)], BORROWER)).await?;
        }
        Ok(())
    }

    /// Refuses to change the beginning of a holding that began with something else on record.
    pub(super) fn began_by_itself(&self) -> Result<()> {
        match self.fact.text("began_how") {
            Some("birth") => Err(elsewhere("began with its birth", "correct the birth instead")),
            Some("transfer") => Err(passed("began")),
            _ => Ok(()),
        }
    }

    /// Refuses to change the end of a holding that lasts, or ended with something else on record.
    pub(super) fn ended_by_itself(&self) -> Result<()> {
        match self.fact.text("ended_how") {
            None => Err(elsewhere("lasts", "record the death, departure or transfer that ends it")),
            Some("death") => Err(elsewhere("ended with its death", "correct the death instead")),
            Some("transfer") => Err(passed("ended")),
            _ => Ok(()),
        }
    }
}
