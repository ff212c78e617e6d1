//! Partners: what a site shows to others, and the search of a home for animals that must leave.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Animal;
use crate::model::page::{Page, Slice};
use crate::model::paper::{Crossing, Occasion};
use crate::model::partner::{Card, Found, Living, Search, Searched, Terms};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::site::Site;
use crate::records::ancestry::Ancestry;
use crate::records::error::{Refusal, Result, fault};
use crate::records::{Records, fresh, not_held, one_animal, view};
use crate::store::{partners, retrying};
use chrono::NaiveDate;
use holt_audit::kinship::population::population;
use holt_audit::pairing::{Candidate, Partner, Seekers, Taken, Way, Wish, kilometres, rank};
use holt_audit::terms::Sex;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Says what a site shows to others, and what it seeks and offers.
///
/// # Errors
/// Refused without the role there.
pub async fn set_terms(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    shows_cards: bool,
    note: &str,
) -> Result<Terms> {
    let permit = records.permit(caller, Deed::Move, site).await?;
    retrying("set_partner_terms", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        partners::set_terms(&mut tx, &permit, shows_cards, note).await?;
        let site = permit.site().code.clone();
        let terms = Terms { site, shows_cards, note: note.to_owned(), recorded_at: Some(tx.now()) };
        Ok(tx.commit(terms).await?)
    })
    .await
}

/// What the sites say that show cards, and the asker's own.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn terms(records: &Records, caller: &Caller, site: &str) -> Result<Vec<Terms>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.store.read(&permit, None).await?;
    Ok(partners::terms(&snapshot, permit.site().id).await?)
}

/// Searches that a site made, and those that showed its cards.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn searches(
    records: &Records,
    caller: &Caller,
    site: &str,
    page: &Page,
) -> Result<Slice<Searched>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.store.read(&permit, None).await?;
    Ok(partners::searches(&snapshot, &permit, page).await?)
}

/// Searches partners for animals that the site holds.
///
/// # Errors
/// Refused without the role there; where the site does not hold one of them, or they are of several species or sexes.
pub async fn find(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    search: &Search,
) -> Result<Found> {
    let permit = records.permit(caller, Deed::Move, site).await?;
    retrying("find_partners", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let mut seekers: Vec<Animal> = Vec::with_capacity(search.animals.len());
        for (n, text) in search.animals.iter().enumerate() {
            // A search changes nothing of the animals: nobody has to wait for it.
            let label = one_animal(&tx, Some(&permit), text, tx.now()).await?;
            let animal = view(&tx, &permit, &label, tx.now()).await?;
            if let Some(refusal) = not_held(&tx, &permit, &animal).await? {
                return Err(refusal.into());
            }
            refuse_unlike(seekers.first(), &animal, n)?;
            if seekers.iter().all(|one| one.id != animal.id) {
                seekers.push(animal);
            }
        }
        let (found, compared) = ranked(records, caller, &permit, &seekers, search).await?;
        let Some(first) = seekers.first() else { return Err(fault("no animal named".to_owned())) };
        let cards = i32::try_from(found.partners.len()).unwrap_or(i32::MAX);
        partners::searched(&mut tx, &permit, first.taxon.id, compared, cards).await?;
        Ok(tx.commit(found).await?)
    })
    .await
}

/// Refuses one that is of another species or sex than the first.
fn refuse_unlike(first: Option<&Animal>, animal: &Animal, n: usize) -> std::result::Result<(), Refusal> {
    let Some(first) = first else { return Ok(()) };
    let (one, other) = (first.label().spoken(), animal.label().spoken());
    let say = if first.taxon.id != animal.taxon.id {
        format!("{one} is a {} and {other} a {}", first.taxon.scientific_name, animal.taxon.scientific_name)
    } else if first.sex != animal.sex {
        format!("{one} and {other} are not of one sex")
    } else {
        return Ok(());
    };
    let mend = "search for each on its own, or name animals of one species and sex that stay together";
    Err(Refusal::new(Reason::Malformed, say, mend).at(format!("animals[{n}]")))
}

/// The ranking as cards, and the other sites whose animals it compared.
async fn ranked(
    records: &Records,
    caller: &Caller,
    permit: &Permit,
    seekers: &[Animal],
    search: &Search,
) -> Result<(Found, Vec<Uuid>)> {
    let Some(first) = seekers.first() else { return Err(fault("no animal named".to_owned())) };
    let own = permit.site();
    // Whom a site shows, and by which ancestors it is kin, is worked out by Holt itself: the asker is told no
    // more than the cards.
    let snapshot = records.oversee(caller, Deed::Read, None).await?;
    let now = records.store.now();
    let living = partners::living(&snapshot, first.taxon.id, own.id, now).await?;
    let terms = partners::terms(&snapshot, own.id).await?;
    let ids: Vec<Uuid> = living.iter().map(|one| one.animal).collect();
    let ancestry = Ancestry::of_species(&snapshot, &ids).await?;
    let among = population(ancestry.relationships(), &ids)
        .ok_or_else(|| fault("one of the living is not in its pedigree".to_owned()))?;
    let sites: BTreeMap<Uuid, Site> =
        records.store.sites().await?.into_iter().map(|site| (site.id, site)).collect();
    let today = own.day_of(now);
    let candidates: Vec<Candidate<Uuid, Uuid>> = living
        .iter()
        .map(|one| Candidate {
            animal: one.animal,
            site: one.site,
            sex: one.sex,
            of_age: of_age(one, first.taxon.breeds_from_days, today),
            taken: one.taken,
        })
        .collect();
    let ways: BTreeMap<Uuid, Way> = sites.iter().map(|(id, site)| (*id, way(own, site))).collect();
    let asked =
        Seekers { animals: seekers.iter().map(|animal| animal.id).collect(), leave: own.id, sex: first.sex };
    let wish = Wish { limit: search.limit, also_taken: search.also_taken, weights: search.weights };
    let ranking = rank(&asked, &candidates, &ways, ancestry.relationships(), &among, &wish);
    let of: BTreeMap<Uuid, &Living> = living.iter().map(|one| (one.animal, one)).collect();
    let code = |site: &Uuid| sites.get(site).map(|site| site.code.clone()).unwrap_or_default();
    let told: Vec<&Partner<Uuid, Uuid>> = ranking.partners.iter().take(search.most).collect();
    let compared: BTreeSet<Uuid> = living.iter().map(|one| one.site).filter(|site| *site != own.id).collect();
    let card = |partner: &&Partner<Uuid, Uuid>| {
        let way = ways.get(&partner.site).copied().unwrap_or_default();
        let (born, room) = of.get(&partner.animal).map_or((None, None), |one| (one.born, one.room));
        Card {
            animal: partner.animal,
            site: code(&partner.site),
            sex: of.get(&partner.animal).map_or(Sex::Unknown, |one| one.sex),
            age_years: born.and_then(|(_, last)| today.years_since(last)),
            kinship: partner.kinship.value,
            may_be: partner.may_be,
            known: partner.kinship.known,
            mean_kinship: partner.mean_kinship,
            diversity_change: partner.diversity_change,
            taken: partner.taken,
            room,
            kilometres: way.kilometres,
            abroad: way.abroad,
            papers: papers(first, own, sites.get(&partner.site), today),
            why: why(partner, way),
            against: partner.against.all,
        }
    };
    let found = Found {
        partners: told.iter().map(card).collect(),
        more: ranking.partners.len() - told.len(),
        left_out: ranking.left_out.iter().map(|((site, why), n)| (code(site), *why, *n)).collect(),
        compared: ids.len(),
        gene_diversity: among.gene_diversity,
        sites: terms
            .into_iter()
            .filter(|terms| terms.shows_cards && terms.site != own.code)
            .map(|terms| terms.site)
            .collect(),
        assumption: format!("{}.", ancestry.assumption().spoken()),
    };
    Ok((found, compared.into_iter().collect()))
}

/// Whether it is of an age to breed, by the day on which it was born at the latest.
fn of_age(one: &Living, from_days: Option<i32>, today: NaiveDate) -> Option<bool> {
    let days = i64::from(from_days?);
    let (earliest, latest) = one.born?;
    if (today - latest).num_days() >= days {
        Some(true)
    } else if (today - earliest).num_days() < days {
        Some(false)
    } else {
        None
    }
}

fn way(own: &Site, other: &Site) -> Way {
    let place = |site: &Site| site.latitude.zip(site.longitude);
    Way {
        kilometres: place(own).zip(place(other)).map(|(from, to)| kilometres(from, to)),
        abroad: !own.country.is_empty() && !other.country.is_empty() && own.country != other.country,
    }
}

/// What the way to the other site is usually asked for, as far as that is known here.
fn papers(animal: &Animal, own: &Site, other: Option<&Site>, today: NaiveDate) -> Vec<String> {
    let Some(other) = other else { return Vec::new() };
    let crossing = Crossing {
        animal: animal.label(),
        taxon: animal.taxon.scientific_name.clone(),
        appendix: animal.taxon.appendix,
        occasion: Occasion::Transfer,
        transfer: None,
        came: false,
        on: today,
        from: own.country.clone(),
        to: other.country.clone(),
    };
    crossing.missing(&[])
}

/// Why it stands where it does.
fn why(partner: &Partner<Uuid, Uuid>, way: Way) -> String {
    let mut parts = vec![if partner.unrelated_on_record {
        "unrelated: all ancestry leads to founders".to_owned()
    } else if partner.kinship.value > 0.0 {
        format!("kinship {:.4}", partner.kinship.value)
    } else {
        let unknown = 100.0 * (1.0 - partner.kinship.known);
        format!("no kinship recorded, but {unknown:.0} % of the ancestry is unknown")
    }];
    parts.push(format!("mean kinship {:.4}", partner.mean_kinship));
    if let Some(kilometres) = way.kilometres {
        parts.push(format!("{kilometres:.0} km"));
    }
    if way.abroad {
        parts.push("another country".to_owned());
    }
    if partner.sex_unknown {
        parts.push("sex unknown".to_owned());
    }
    if partner.age_unknown {
        parts.push("breeding age unknown".to_owned());
    }
    parts.extend(partner.taken.map(|taken| {
        match taken {
            Taken::Breeds => "breeds in its group",
            Taken::Moves => "about to move",
            Taken::Concern => "has an open concern",
        }
        .to_owned()
    }));
    parts.join("; ")
}
