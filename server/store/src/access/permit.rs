//! The caller, and the permits they are given. A function that touches a site's records takes a
//! [`Permit`]; only [`Caller::may`] makes one, so that authorising cannot be forgotten.

use crate::access::roles::Deed;
use crate::model::person::Role;
use crate::model::site::Site;
use std::time::Instant;
use uuid::Uuid;

/// A role of the caller, resolved to a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Held {
    pub role: Role,
    /// None: at every site.
    pub site: Option<Uuid>,
}

/// Who is calling.
#[derive(Clone, Debug)]
pub struct Caller {
    /// The person.
    pub person: Uuid,
    /// Roles that the token names.
    pub held: Vec<Held>,
    /// When the caller stops waiting.
    pub deadline: Option<Instant>,
    /// Holt, and not a person: no token can say so.
    itself: bool,
}

/// What row-level security opens for a transaction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scope {
    pub person: Uuid,
    pub sites: Vec<Uuid>,
    pub everywhere: bool,
    /// Credentials too: only while somebody signs in.
    pub gate: bool,
}

/// Leave to do one kind of thing with one site's records.
#[derive(Clone, Debug)]
pub struct Permit {
    site: Site,
    deed: Deed,
}

impl Permit {
    /// The site.
    #[must_use]
    pub const fn site(&self) -> &Site {
        &self.site
    }

    /// What is permitted.
    #[must_use]
    pub const fn deed(&self) -> Deed {
        self.deed
    }
}

/// Why there is no permit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Denied {
    /// The site is outside the caller's scope: to them, there is no such site.
    OutOfScope {
        /// The code that was asked for.
        site: String,
    },
    /// The caller sees the site and has none of these roles there.
    RoleNeeded {
        /// The site; empty where any would do.
        site: String,
        /// Roles that would do.
        roles: Vec<Role>,
    },
}

impl Caller {
    /// A person with the roles that their token names.
    #[must_use]
    pub const fn new(person: Uuid, held: Vec<Held>, deadline: Option<Instant>) -> Self {
        Self { person, held, deadline, itself: false }
    }

    /// Holt itself, acting everywhere: for its own jobs, never for a person.
    #[must_use]
    pub const fn itself() -> Self {
        Self { person: Uuid::nil(), held: Vec::new(), deadline: None, itself: true }
    }

    /// Leave for `deed` at `site`.
    ///
    /// # Errors
    /// [`Denied`]; a site out of scope is denied as one that does not exist.
    pub fn may(&self, deed: Deed, site: &Site) -> Result<Permit, Denied> {
        if !self.sees(site.id) {
            return Err(Denied::OutOfScope { site: site.code.clone() });
        }
        if self.itself || self.held.iter().any(|held| held.covers(site.id) && deed.allows(held.role)) {
            Ok(Permit { site: site.clone(), deed })
        } else {
            Err(Denied::RoleNeeded { site: site.code.clone(), roles: deed.roles().to_vec() })
        }
    }

    /// Leave for `deed` at every site, those added later included.
    ///
    /// # Errors
    /// [`Denied::RoleNeeded`] where no role of the caller holds everywhere.
    pub fn may_everywhere(&self, deed: Deed) -> Result<(), Denied> {
        if self.itself || self.held.iter().any(|held| held.site.is_none() && deed.allows(held.role)) {
            Ok(())
        } else {
            Err(Denied::RoleNeeded { site: String::new(), roles: deed.roles().to_vec() })
        }
    }

    /// Leave for `deed` at some site at least: for what belongs to no site, such as species.
    ///
    /// # Errors
    /// [`Denied::RoleNeeded`] where no role of the caller allows it.
    pub fn may_somewhere(&self, deed: Deed) -> Result<(), Denied> {
        if self.itself || self.held.iter().any(|held| deed.allows(held.role)) {
            Ok(())
        } else {
            Err(Denied::RoleNeeded { site: String::new(), roles: deed.roles().to_vec() })
        }
    }

    /// The same caller with the roles alone that may do `deed`: what their other roles open stays closed.
    #[must_use]
    pub fn limited_to(&self, deed: Deed) -> Self {
        let held = self.held.iter().filter(|held| deed.allows(held.role)).copied().collect();
        Self { held, ..self.clone() }
    }

    /// Whether the site is in scope.
    #[must_use]
    pub fn sees(&self, site: Uuid) -> bool {
        self.itself || self.held.iter().any(|held| held.covers(site))
    }

    /// What row-level security is to open.
    #[must_use]
    pub fn scope(&self) -> Scope {
        let mut sites: Vec<Uuid> = self.held.iter().filter_map(|held| held.site).collect();
        sites.sort_unstable();
        sites.dedup();
        Scope {
            person: self.person,
            sites,
            everywhere: self.itself || self.held.iter().any(|held| held.site.is_none()),
            gate: false,
        }
    }
}

impl Held {
    fn covers(&self, site: Uuid) -> bool {
        self.site.is_none_or(|own| own == site)
    }
}

impl Scope {
    /// The scope in which somebody signs in: credentials, and nothing of the records.
    #[must_use]
    pub const fn gate() -> Self {
        Self { person: Uuid::nil(), sites: Vec::new(), everywhere: false, gate: true }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site(n: u128) -> Site {
        Site {
            id: Uuid::from_u128(n),
            code: format!("S0{n}"),
            name: String::new(),
            zone: chrono_tz::Tz::UTC,
            licence: String::new(),
            latitude: None,
            longitude: None,
            country: String::new(),
        }
    }

    fn caller(held: &[(Role, Option<u128>)]) -> Caller {
        let held = held.iter().map(|&(role, site)| Held { role, site: site.map(Uuid::from_u128) }).collect();
        Caller::new(Uuid::from_u128(9), held, None)
    }

    #[test]
    fn a_site_out_of_scope_does_not_exist_and_one_in_scope_names_the_role() {
        let keeper = caller(&[(Role::Keeper, Some(1))]);
        assert!(keeper.may(Deed::Weigh, &site(1)).is_ok());
        assert!(matches!(keeper.may(Deed::Weigh, &site(2)), Err(Denied::OutOfScope { .. })));
        let Err(Denied::RoleNeeded { roles, .. }) = keeper.may(Deed::Register, &site(1)) else { panic!() };
        assert_eq!(roles, [Role::Registrar]);
    }

    #[test]
    fn a_role_counts_only_where_it_is_held() {
        let both = caller(&[(Role::Keeper, Some(1)), (Role::Registrar, Some(2))]);
        assert!(both.may(Deed::Register, &site(1)).is_err());
        assert!(both.may(Deed::Register, &site(2)).is_ok());
        assert_eq!(both.scope().sites.len(), 2);
        assert!(!both.scope().everywhere);
    }

    #[test]
    fn a_role_opens_what_it_is_for_and_no_more() {
        let both = caller(&[(Role::Keeper, Some(1)), (Role::Steward, None)]);
        assert!(both.scope().everywhere);
        let reads = both.limited_to(Deed::Read).scope();
        assert!(!reads.everywhere);
        assert_eq!(reads.sites, [Uuid::from_u128(1)]);
        assert!(Caller::itself().limited_to(Deed::Read).scope().everywhere);
    }

    #[test]
    fn everywhere_covers_every_site() {
        let steward = caller(&[(Role::Steward, None)]);
        assert!(steward.may(Deed::KeepPeople, &site(7)).is_ok());
        assert!(steward.may_everywhere(Deed::KeepSites).is_ok());
        assert!(steward.scope().everywhere);
        let local = caller(&[(Role::Steward, Some(1))]);
        assert!(local.may_everywhere(Deed::KeepSites).is_err());
    }
}
