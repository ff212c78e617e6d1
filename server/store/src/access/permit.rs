//! The caller, and the permits they are given. A function that touches a site's records takes a
//! [`Permit`]; only [`Caller::may`] makes one, so that authorising cannot be forgotten.

use crate::access::roles::Deed;
use crate::model::person::Role;
use crate::model::site::Site;
use crate::model::unreadable::Unreadables;
use chrono::{DateTime, Utc};
use std::time::Instant;
use uuid::Uuid;

/// A role of the caller, resolved to a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Held {
    pub role: Role,
    /// None: at every site.
    pub site: Option<Uuid>,
}

/// Who is calling. A caller opens nothing: the doors ask for leave, and that is for one deed.
#[derive(Clone, Debug)]
pub struct Caller {
    /// The person.
    pub person: Uuid,
    /// Roles that the token names.
    pub held: Vec<Held>,
    /// When the caller stops waiting.
    pub deadline: Option<Instant>,
    /// Until when the token holds.
    validity: Validity,
    /// Holt, and not a person: no token can say so.
    itself: bool,
    /// What could not be read for them.
    unreadable: Unreadables,
}

/// Until when what somebody shows is so. Both doors ask each time, so nothing that is taken away outlives its end:
/// no token, no stream that is open, no write that is under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Validity {
    /// Holt itself, whom nobody sends away.
    Always,
    /// Until the person's epoch is another.
    Epoch(i64),
    /// Until an instant: an outside issuer takes back nothing that it has given out.
    Until(DateTime<Utc>),
}

/// What row-level security opens for a transaction. Only leave becomes one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scope {
    pub(crate) person: Uuid,
    pub(crate) sites: Vec<Uuid>,
    pub(crate) everywhere: bool,
    /// Credentials too: only while somebody signs in.
    pub(crate) gate: bool,
}

/// Who has leave, until when they wait, and what could not be read for them.
#[derive(Clone, Debug)]
pub struct Bearer {
    pub(crate) person: Uuid,
    pub(crate) deadline: Option<Instant>,
    pub(crate) unreadable: Unreadables,
    pub(crate) validity: Validity,
}

/// Leave to do one kind of thing with one site's records.
#[derive(Clone, Debug)]
pub struct Permit {
    site: Site,
    deed: Deed,
    bearer: Bearer,
}

/// Leave to do one kind of thing wherever the roles of the caller allow that very thing: to read across sites, and for
/// what belongs to no site.
#[derive(Clone, Debug)]
pub struct Reach {
    deed: Deed,
    sites: Vec<Uuid>,
    everywhere: bool,
    bearer: Bearer,
}

/// What opens a door of the store: leave for one deed, and the scope that it comes to.
pub trait Leave: leave::Sealed + Sync {
    /// What is permitted.
    fn deed(&self) -> Deed;
}

pub(crate) mod leave {
    /// What the doors ask of leave; nobody else makes any.
    pub trait Sealed {
        fn scope(&self) -> super::Scope;
        fn bearer(&self) -> super::Bearer;
        /// The one site whose records it is for.
        fn site(&self) -> Option<uuid::Uuid>;
    }
}

impl Permit {
    /// The site.
    #[must_use]
    pub const fn site(&self) -> &Site {
        &self.site
    }
}

impl Leave for Permit {
    fn deed(&self) -> Deed {
        self.deed
    }
}

impl leave::Sealed for Permit {
    fn scope(&self) -> Scope {
        Scope { person: self.bearer.person, sites: vec![self.site.id], everywhere: false, gate: false }
    }

    fn bearer(&self) -> Bearer {
        self.bearer.clone()
    }

    fn site(&self) -> Option<Uuid> {
        Some(self.site.id)
    }
}

impl Reach {
    /// Leave of Holt itself, everywhere: for the directory of sites, and for the ledger, whose hashes tell nothing.
    pub(crate) fn of_holt() -> Self {
        Caller::itself().reach_of(Deed::CheckLedger)
    }

    /// Whether it reaches a site.
    #[must_use]
    pub fn covers(&self, site: Uuid) -> bool {
        self.everywhere || self.sites.contains(&site)
    }
}

impl Leave for Reach {
    fn deed(&self) -> Deed {
        self.deed
    }
}

impl leave::Sealed for Reach {
    fn scope(&self) -> Scope {
        let Self { sites, everywhere, bearer, deed: _ } = self.clone();
        Scope { person: bearer.person, sites, everywhere, gate: false }
    }

    fn bearer(&self) -> Bearer {
        self.bearer.clone()
    }

    fn site(&self) -> Option<Uuid> {
        None
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
    pub fn new(person: Uuid, held: Vec<Held>, validity: Validity, deadline: Option<Instant>) -> Self {
        Self { person, held, deadline, validity, itself: false, unreadable: Unreadables::default() }
    }

    /// Holt itself, acting everywhere: for its own jobs, never for a person.
    #[must_use]
    pub fn itself() -> Self {
        Self { itself: true, ..Self::new(Uuid::nil(), Vec::new(), Validity::Always, None) }
    }

    /// The same person as a guest of a site: they read there as its auditor does, and nowhere else. Only for what that site
    /// shows of its own accord, and of that no more.
    #[must_use]
    pub fn guest_of(&self, site: Uuid) -> Self {
        Self { held: vec![Held { role: Role::Auditor, site: Some(site) }], itself: false, ..self.clone() }
    }

    /// What could not be read for them; a clone of the caller notes it in the same place.
    #[must_use]
    pub const fn unreadable(&self) -> &Unreadables {
        &self.unreadable
    }

    /// Leave for `deed` at `site`.
    ///
    /// # Errors
    /// [`Denied`]; a site out of scope is denied as one that does not exist.
    pub fn may(&self, deed: Deed, site: &Site) -> Result<Permit, Denied> {
        if !self.sees(site.id) {
            return Err(Denied::OutOfScope { site: site.code.clone() });
        }
        if self.reach_of(deed).covers(site.id) {
            Ok(Permit { site: site.clone(), deed, bearer: self.bearer() })
        } else {
            Err(Denied::RoleNeeded { site: site.code.clone(), roles: deed.roles().to_vec() })
        }
    }

    /// Leave for `deed` at every site, those added later included.
    ///
    /// # Errors
    /// [`Denied::RoleNeeded`] where no role of the caller holds everywhere.
    pub fn may_everywhere(&self, deed: Deed) -> Result<Reach, Denied> {
        let reach = self.reach_of(deed);
        if reach.everywhere {
            Ok(reach)
        } else {
            Err(Denied::RoleNeeded { site: String::new(), roles: deed.roles().to_vec() })
        }
    }

    /// Leave for `deed` wherever a role of the caller allows it.
    ///
    /// # Errors
    /// [`Denied::RoleNeeded`] where none does.
    pub fn reach(&self, deed: Deed) -> Result<Reach, Denied> {
        let reach = self.reach_of(deed);
        if reach.everywhere || !reach.sites.is_empty() {
            Ok(reach)
        } else {
            Err(Denied::RoleNeeded { site: String::new(), roles: deed.roles().to_vec() })
        }
    }

    /// Leave to look at oneself: no site's records.
    #[must_use]
    pub fn oneself(&self) -> Reach {
        Reach { sites: Vec::new(), everywhere: false, ..self.reach_of(Deed::ReadDirectory) }
    }

    fn reach_of(&self, deed: Deed) -> Reach {
        let held: Vec<&Held> = self.held.iter().filter(|held| deed.allows(held.role)).collect();
        let mut sites: Vec<Uuid> = held.iter().filter_map(|held| held.site).collect();
        sites.sort_unstable();
        sites.dedup();
        let everywhere = self.itself || held.iter().any(|held| held.site.is_none());
        Reach { deed, sites, everywhere, bearer: self.bearer() }
    }

    fn bearer(&self) -> Bearer {
        let unreadable = self.unreadable.clone();
        Bearer { person: self.person, deadline: self.deadline, validity: self.validity, unreadable }
    }

    /// Whether the site is in scope: the caller has some role there.
    #[must_use]
    pub fn sees(&self, site: Uuid) -> bool {
        self.itself || self.held.iter().any(|held| held.covers(site))
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
    pub(crate) const fn gate() -> Self {
        Self { person: Uuid::nil(), sites: Vec::new(), everywhere: false, gate: true }
    }
}

#[cfg(test)]
mod tests {
    use super::leave::Sealed;
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
        Caller::new(Uuid::from_u128(9), held, Validity::Epoch(0), None)
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
    }

    #[test]
    fn leave_opens_what_its_deed_is_for_and_no_more() {
        let both = caller(&[(Role::Keeper, Some(1)), (Role::Steward, Some(2))]);
        assert_eq!(both.may(Deed::Weigh, &site(1)).unwrap().scope().sites, [Uuid::from_u128(1)]);
        assert_eq!(both.reach(Deed::Read).unwrap().scope().sites, [Uuid::from_u128(1)]);
        assert_eq!(both.reach(Deed::KeepPeople).unwrap().scope().sites, [Uuid::from_u128(2)]);
        assert!(both.reach(Deed::Register).is_err());
        assert!(both.oneself().scope().sites.is_empty() && !both.oneself().scope().everywhere);
    }

    #[test]
    fn a_permit_is_for_one_site_also_where_the_role_holds_everywhere() {
        let steward = caller(&[(Role::Keeper, Some(1)), (Role::Steward, None)]);
        let scope = steward.may(Deed::KeepPeople, &site(7)).unwrap().scope();
        assert_eq!((scope.sites, scope.everywhere), (vec![Uuid::from_u128(7)], false));
        assert!(steward.may_everywhere(Deed::KeepSites).unwrap().scope().everywhere);
        assert!(!steward.reach(Deed::Read).unwrap().scope().everywhere);
        assert!(Caller::itself().reach(Deed::Read).unwrap().scope().everywhere);
        let local = caller(&[(Role::Steward, Some(1))]);
        assert!(local.may_everywhere(Deed::KeepSites).is_err());
    }
}
