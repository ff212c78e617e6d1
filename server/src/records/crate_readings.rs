//! Crate readings: several animals of a litter or a group on one scale. They are kept as they were taken, and
//! are no reading of any single animal.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::crate_reading::{CrateReading, Named, NewCrateReading, Of};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::weight::Taken;
use crate::records::animals::lens_of;
use crate::records::error::{Refusal, Result};
use crate::records::weights::HEAVIEST;
use crate::records::{Records, fresh, groups, litters};
use crate::store::{Tx, crate_readings, retrying};
use chrono::NaiveDate;
use holt_audit::terms::Mass;

/// Records a reading of a litter or a group.
///
/// # Errors
/// Refused without the role there; where the site has no such litter or group, the time is to come or before
/// the litter's birth, the mass cannot be, or more young are said to be in the crate than in the litter.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewCrateReading,
) -> Result<CrateReading> {
    let permit = records.permit(caller, Deed::Weigh, site).await?;
    retrying("record_crate_reading", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let (now, site) = (tx.now(), permit.site());
        let (at, on, field) = match new.taken {
            Taken::Now => (now, site.day_of(now), "weighed_at"),
            Taken::At(at) => (at, site.day_of(at), "weighed_at"),
            Taken::On(day) if day == site.day_of(now) => (site.noon_of(day).min(now), day, "weighed_on"),
            Taken::On(day) => (site.noon_of(day), day, "weighed_on"),
        };
        if at > now {
            return Err(Refusal::in_the_future("time of the reading", field).into());
        }
        let heaviest = i64::from(new.animals).saturating_mul(HEAVIEST.mg());
        if new.mass <= Mass::from_mg(0) || new.mass > Mass::from_mg(heaviest) {
            return Err(Refusal::new(
                Reason::MassOutOfRange,
                "no such animals weigh so much",
                "check the mass, its unit and the number of animals",
            )
            .at("mass")
            .into());
        }
        let of = match &new.named {
            Named::Litter(id) => {
                let litter = litters::locked(&tx, &permit, *id, 0).await?;
                if on < litter.born_on {
                    return Err(litters::before_birth(&litter, field).into());
                }
                let left = litter.left_on(on);
                if i64::from(new.animals) > left.total() {
                    return Err(litters::too_few(&litter, on, left, "in the crate").at("animals").into());
                }
                Of::Litter(*id)
            }
            Named::Group(name) => Of::Group(group(&tx, &permit, name, on).await?),
        };
        let reading = crate_readings::insert(&mut tx, &permit, of, at, on, new).await?;
        Ok(tx.commit(reading).await?)
    })
    .await
}

/// The group that is meant. Young that are still counted in a litter may have been in the crate with its
/// members, so their number is not held against it.
async fn group(tx: &Tx, permit: &Permit, name: &str, on: NaiveDate) -> Result<uuid::Uuid> {
    Ok(groups::one(tx, permit, name, lens_of(permit.site(), Some(on), tx.now())).await?.id)
}
