//! Sites and enclosures.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::request::Request;
use crate::model::site::{Enclosure, NewEnclosure, NewSite, Site};
use crate::records::error::Result;
use crate::records::{Records, fresh};
use crate::store::{retrying, sites};

/// Adds a site.
///
/// # Errors
/// Refused without the role everywhere, or where the code is taken.
pub async fn create(records: &Records, caller: &Caller, request: &Request, new: NewSite) -> Result<Site> {
    let reach = caller.may_everywhere(Deed::KeepSites)?;
    retrying("create_site", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        let site = sites::insert(&mut tx, &new).await?;
        Ok(tx.commit(site).await?)
    })
    .await
}

/// One site. Its licence is left out for those who may not see the site's records.
///
/// # Errors
/// Refused as not found.
pub async fn get(records: &Records, caller: &Caller, code: &str) -> Result<Site> {
    records.store.knock(&caller.oneself()).await?;
    Ok(discreet(records.site(code).await?, caller))
}

/// The directory of all sites.
///
/// # Errors
/// Refused where the caller's sign-in has ended.
pub async fn list(records: &Records, caller: &Caller) -> Result<Vec<Site>> {
    records.store.knock(&caller.oneself()).await?;
    Ok(records.store.sites().await?.into_iter().map(|site| discreet(site, caller)).collect())
}

fn discreet(mut site: Site, caller: &Caller) -> Site {
    if !caller.sees(site.id) {
        site.licence.clear();
    }
    site
}

/// Adds an enclosure.
///
/// # Errors
/// Refused without the role there, or where the name is taken.
pub async fn create_enclosure(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: NewEnclosure,
) -> Result<Enclosure> {
    let permit = records.permit(caller, Deed::KeepEnclosures, site).await?;
    retrying("create_enclosure", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let enclosure = sites::insert_enclosure(&mut tx, &permit, &new).await?;
        Ok(tx.commit(enclosure).await?)
    })
    .await
}

/// The enclosures of a site.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn enclosures(records: &Records, caller: &Caller, site: &str) -> Result<Vec<Enclosure>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, None).await?;
    Ok(sites::enclosures(&snapshot, &permit).await?)
}
