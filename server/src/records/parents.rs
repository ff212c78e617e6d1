//! Parents: who can be one.

use crate::access::permit::Permit;
use crate::model::animal::{Animal, Born, Status};
use crate::model::death::Gone;
use crate::model::kinship::Known;
use crate::model::litter::NewParents;
use crate::model::reason::Reason;
use crate::model::taxon::Taxon;
use crate::records::error::{Refusal, Result};
use crate::records::{one_locked, view};
use crate::store::animals::{Lock, Parent};
use crate::store::{Tx, deaths, holdings};
use chrono::{Days, NaiveDate};
use holt_audit::terms::Sex;
use uuid::Uuid;

/// How long before a birth a sire may have died, where the species does not say how long it carries: two
/// years. Ours, and wide on purpose: it is to catch a wrong animal, not a long gestation.
const CARRIES_UP_TO_DAYS: u64 = 730;

/// A birth that an animal may be a parent of.
pub(super) struct Birth<'a> {
    pub(super) taxon: &'a Taxon,
    /// First and last day that it can have been; none where nothing is known.
    pub(super) days: Option<(NaiveDate, NaiveDate)>,
    /// Whether it was at the site that records it: then the dam was there, too.
    pub(super) here: bool,
    /// Why parents are right that do not fit by the records; empty refuses them.
    pub(super) because: &'a str,
}

/// Why an animal cannot be a parent.
enum Unfit {
    /// Whatever anybody says: one of the records must be corrected.
    Never(String),
    /// Unless somebody says why it is right all the same.
    Unless(String),
}

/// The animal that a reference means as dam or sire; none for no reference. Until the write ends, nobody says that it
/// never was.
///
/// # Errors
/// Refused where nothing goes by that reference, more than one animal does, or its record was withdrawn.
pub(super) async fn find(tx: &Tx, permit: &Permit, text: &str, field: &str) -> Result<Option<Animal>> {
    if text.is_empty() {
        return Ok(None);
    }
    let label = one_locked(tx, permit, text, tx.now(), Lock::Share).await.map_err(|error| match error {
        crate::records::error::Error::Refused(refusal) => refusal.at(field).into(),
        fault => fault,
    })?;
    let found = view(tx, permit, &label, tx.now()).await?;
    if found.status == Status::Mistake {
        let say = format!("{} never was: its record was withdrawn ({})", label.spoken(), found.mistake);
        return Err(Refusal::new(Reason::ParentDoesNotFit, say, "check which animal is meant")
            .at(field)
            .into());
    }
    Ok(Some(found))
}

/// An animal as a parent of a birth: of the right sex and species, born before it and old enough; a dam
/// alive and, for a birth here, held then; a sire alive at some time that lets it be his.
///
/// # Errors
/// Refused where it does not fit, unless the birth says why it is right all the same.
pub(super) async fn fit(
    tx: &Tx,
    permit: &Permit,
    parent: &Animal,
    sex: Sex,
    birth: &Birth<'_>,
    field: &str,
) -> Result<Parent> {
    let held =
        if sex == Sex::Female && birth.here { holdings::of(tx, &[parent.id]).await? } else { Vec::new() };
    let here = held.iter().filter(|holding| holding.site == permit.site().id);
    let candidate = Candidate {
        id: parent.id,
        spoken: parent.label().spoken(),
        sex: parent.sex,
        taxon: parent.taxon.clone(),
        born: parent.born,
        gone: deaths::gone(tx, parent.id).await?,
        held_here: here.map(|holding| (holding.began_on, holding.ended_on)).collect(),
    };
    Ok(candidate.fit(permit, sex, birth, field, "give the reason why these parents are right")?)
}

/// Animals that are named as parents, each with the field that names it.
pub(super) struct Named {
    pub(super) dam: Option<(Animal, String)>,
    pub(super) sires: Vec<(Animal, f64, String)>,
}

impl Named {
    /// Those that references mean; `within` is the path of the field that holds them.
    pub(super) async fn find(tx: &Tx, permit: &Permit, new: &NewParents, within: &str) -> Result<Self> {
        let field = format!("{within}dam");
        let dam = find(tx, permit, &new.dam, &field).await?.map(|dam| (dam, field));
        let mut sires = Vec::with_capacity(new.sires.len());
        for (n, (text, share)) in new.sires.iter().enumerate() {
            let field = format!("{within}sires[{n}].animal");
            if let Some(sire) = find(tx, permit, text, &field).await? {
                sires.push((sire, *share, field));
            }
        }
        Ok(Self { dam, sires })
    }

    pub(super) fn animals(&self) -> impl Iterator<Item = &Animal> + Send {
        self.dam.iter().map(|(dam, _)| dam).chain(self.sires.iter().map(|(sire, ..)| sire))
    }

    /// As parents of a birth.
    pub(super) async fn fit(self, tx: &Tx, permit: &Permit, birth: &Birth<'_>) -> Result<Vec<Parent>> {
        let mut parents: Vec<Parent> = Vec::with_capacity(self.sires.len() + 1);
        if let Some((dam, field)) = self.dam {
            parents.push(fit(tx, permit, &dam, Sex::Female, birth, &field).await?);
        }
        for (sire, share, field) in self.sires {
            let fit = fit(tx, permit, &sire, Sex::Male, birth, &field).await?;
            parents.push(Parent { share, ..fit });
        }
        Ok(parents)
    }
}

/// What of an animal decides whether it can be a parent.
#[derive(Clone)]
pub(super) struct Candidate {
    pub(super) id: Uuid,
    /// As people would say it.
    pub(super) spoken: String,
    pub(super) sex: Sex,
    pub(super) taxon: Taxon,
    pub(super) born: Option<Born>,
    pub(super) gone: Option<Gone>,
    /// First and last days over which the site of the birth held it.
    pub(super) held_here: Vec<(NaiveDate, Option<NaiveDate>)>,
}

impl Candidate {
    /// The animal as a parent of a birth, as [`fit`] says; `overrule` is how it is said why it is right all the
    /// same.
    ///
    /// # Errors
    /// The refusal where it does not fit.
    pub(super) fn fit(
        &self,
        permit: &Permit,
        sex: Sex,
        birth: &Birth<'_>,
        field: &str,
        overrule: &str,
    ) -> std::result::Result<Parent, Refusal> {
        let (because, known) = (String::new(), Known::default());
        let fits = Parent { id: self.id, sex, share: 1.0, because, known };
        let part = if sex == Sex::Female { "dam" } else { "sire" };
        let refused = |why: &str, mend: String| {
            let say = format!("{} cannot be the {part}: {why}", self.spoken);
            Err(Refusal::new(Reason::ParentDoesNotFit, say, mend).at(field))
        };
        match self.unfit(permit, sex, birth) {
            None => Ok(fits),
            Some(Unfit::Unless(_)) if !birth.because.is_empty() => {
                Ok(Parent { because: birth.because.to_owned(), ..fits })
            }
            Some(Unfit::Never(why)) => {
                refused(&why, "check which animal is meant, its sex, and the days of birth".to_owned())
            }
            Some(Unfit::Unless(why)) => {
                let mend = format!(
                    "check which animal is meant and the days; if it is right all the same, {overrule}"
                );
                refused(&why, mend).map_err(|refusal| refusal.fact("overruled_by", "parents_because"))
            }
        }
    }

    fn unfit(&self, permit: &Permit, sex: Sex, birth: &Birth<'_>) -> Option<Unfit> {
        if self.sex != sex && self.sex != Sex::Unknown {
            let is = if self.sex == Sex::Male { "male" } else { "female" };
            return Some(Unfit::Never(format!("it is {is}")));
        }
        if self.taxon.id != birth.taxon.id {
            return Some(Unfit::Never(format!("it is a {}", self.taxon.scientific_name)));
        }
        let (first, last) = birth.days?;
        if let Some(born) = self.born {
            if born.first >= last {
                return Some(Unfit::Never(format!("it was not born before {}", born.first)));
            }
            let oldest = (last - born.first).num_days();
            if let Some(days) = birth.taxon.breeds_from_days.filter(|days| oldest < i64::from(*days)) {
                let say =
                    format!("it was {oldest} days old at most, and its species breeds from {days} days on");
                return Some(Unfit::Unless(say));
            }
        }
        if sex == Sex::Male {
            let stated = birth.taxon.carries_up_to_days.and_then(|days| u64::try_from(days).ok());
            let carries = stated.unwrap_or(CARRIES_UP_TO_DAYS);
            let from = first.checked_sub_days(Days::new(carries)).unwrap_or(NaiveDate::MIN);
            return self.gone.filter(|gone| gone.on < from).map(|gone| {
                Unfit::Unless(format!("it {}, more than {carries} days before the birth", gone.spoken()))
            });
        }
        if let Some(gone) = self.gone.filter(|gone| gone.on < first) {
            return Some(Unfit::Unless(format!("it {}", gone.spoken())));
        }
        let held =
            self.held_here.iter().any(|(began, ended)| *began <= last && ended.is_none_or(|on| on >= first));
        (birth.here && !held)
            .then(|| Unfit::Unless(format!("{} did not hold it on {first}", permit.site().code)))
    }
}
