//! Parents: who can be one.

use crate::access::permit::Permit;
use crate::model::animal::{Animal, Taxon};
use crate::model::reason::Reason;
use crate::records::error::{Refusal, Result};
use crate::records::{one_animal, view};
use crate::store::animals::{Lock, Parent};
use crate::store::{Tx, animals, holdings};
use chrono::{Days, NaiveDate};
use holt_audit::terms::Sex;

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

/// The animal that a reference means as dam or sire; none for no reference.
///
/// # Errors
/// Refused where nothing goes by that reference, or more than one animal does.
pub(super) async fn find(tx: &Tx, permit: &Permit, text: &str, field: &str) -> Result<Option<Animal>> {
    if text.is_empty() {
        return Ok(None);
    }
    let label =
        one_animal(tx, Some(permit), text, tx.now(), Lock::None).await.map_err(|error| match error {
            crate::records::error::Error::Refused(refusal) => refusal.at(field).into(),
            fault => fault,
        })?;
    Ok(Some(view(tx, permit, &label, tx.now()).await?))
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
    let fits = Parent { id: parent.id, sex, share: 1.0, because: String::new() };
    let part = if sex == Sex::Female { "dam" } else { "sire" };
    let refused = |why: &str, mend: &str| {
        Refusal::new(
            Reason::ParentDoesNotFit,
            format!("{} cannot be the {part}: {why}", parent.label().spoken()),
            mend,
        )
        .at(field)
    };
    match unfit(tx, permit, parent, sex, birth).await? {
        None => Ok(fits),
        Some(Unfit::Unless(_)) if !birth.because.is_empty() => {
            Ok(Parent { because: birth.because.to_owned(), ..fits })
        }
        Some(Unfit::Never(why)) => {
            Err(refused(&why, "check which animal is meant, its sex, and the days of birth").into())
        }
        Some(Unfit::Unless(why)) => Err(refused(
            &why,
            "check which animal is meant and the days; if it is right all the same, say why: \
             --parents-because",
        )
        .fact("overruled_by", "parents_because")
        .into()),
    }
}

async fn unfit(
    tx: &Tx,
    permit: &Permit,
    parent: &Animal,
    sex: Sex,
    birth: &Birth<'_>,
) -> Result<Option<Unfit>> {
    if parent.sex != sex && parent.sex != Sex::Unknown {
        let is = if parent.sex == Sex::Male { "male" } else { "female" };
        return Ok(Some(Unfit::Never(format!("it is {is}"))));
    }
    if parent.taxon.id != birth.taxon.id {
        return Ok(Some(Unfit::Never(format!("it is a {}", parent.taxon.scientific_name))));
    }
    let Some((first, last)) = birth.days else { return Ok(None) };
    if let Some(born) = parent.born {
        if born.first >= last {
            return Ok(Some(Unfit::Never(format!("it was not born before {}", born.first))));
        }
        let oldest = (last - born.first).num_days();
        if let Some(days) = birth.taxon.breeds_from_days.filter(|days| oldest < i64::from(*days)) {
            let say = format!("it was {oldest} days old at most, and its species breeds from {days} days on");
            return Ok(Some(Unfit::Unless(say)));
        }
    }
    let died = animals::died_on(tx, parent.id).await?;
    if sex == Sex::Male {
        let stated = birth.taxon.carries_up_to_days.and_then(|days| u64::try_from(days).ok());
        let carries = stated.unwrap_or(CARRIES_UP_TO_DAYS);
        let from = first.checked_sub_days(Days::new(carries)).unwrap_or(NaiveDate::MIN);
        let late = died.filter(|died| *died < from);
        return Ok(late.map(|died| {
            Unfit::Unless(format!("it died on {died}, more than {carries} days before the birth"))
        }));
    }
    if let Some(died) = died.filter(|died| *died < first) {
        return Ok(Some(Unfit::Unless(format!("it died on {died}"))));
    }
    if birth.here {
        let site = permit.site();
        let held = holdings::of(tx, &[parent.id]).await?.iter().any(|holding| {
            holding.site == site.id
                && holding.began_on <= last
                && holding.ended_on.is_none_or(|ended| ended >= first)
        });
        if !held {
            return Ok(Some(Unfit::Unless(format!("{} did not hold it on {first}", site.code))));
        }
    }
    Ok(None)
}
