//! `holt person`

use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::profile::site_code;
use crate::session::request_id;
use crate::views::person::{Person as View, WithPassword};
use crate::views::{Many, Told};
use crate::words::Word;
use clap::{Args, Subcommand};
use holt_proto::v1;

/// People and their roles
#[derive(Args, Debug)]
pub(crate) struct Person {
    #[command(subcommand)]
    what: What,
}

/// Stands for every site, also those added later.
const EVERY: &str = "every-site";

#[derive(Debug, Subcommand)]
enum What {
    /// Add a person, with a one-time password that Holt shows once
    #[command(after_help = "\
Roles: keeper, registrar, auditor, veterinary, steward, curator. ROLE alone is at the site in use, ROLE@CODE \
at another, ROLE@every-site at all.

Examples:
  holt person add ada \"Ada Quell\" --role keeper
  holt person add bo \"Bo Farrow\" --role registrar@QUI --role auditor@every-site")]
    Add {
        /// Name to sign in with: 2 to 40 of a-z, 0-9, `.`, `_`, `-`
        sign_in_name: String,
        /// Name as people say it
        name: String,
        /// First role; may be given several times
        #[arg(long = "role", value_name = "ROLE[@SITE]")]
        roles: Vec<String>,
    },
    /// Give a person a new one-time password
    #[command(after_help = "\
Their sign-ins end. You must manage people at every site where they have a role.

Examples:
  holt person new-password ada")]
    NewPassword {
        /// Name that they sign in with
        sign_in_name: String,
    },
    /// List the people with a role at the site named, or at all your sites
    #[command(after_help = "Examples:\n  holt person list\n  holt person list --site QUI")]
    List,
    /// Give a person a role
    #[command(
        after_help = "Examples:\n  holt person grant ada veterinary\n  holt person grant ada auditor@every-site"
    )]
    Grant {
        /// Name that they sign in with
        sign_in_name: String,
        /// The role, and where
        #[arg(value_name = "ROLE[@SITE]")]
        role: String,
    },
    /// Revoke a role of a person
    #[command(after_help = "Examples:\n  holt person revoke ada keeper@QUI")]
    Revoke {
        /// Name that they sign in with
        sign_in_name: String,
        /// The role, and where
        #[arg(value_name = "ROLE[@SITE]")]
        role: String,
    },
}

impl Person {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Add { sign_in_name, name, roles } => {
                let mut grants = Vec::with_capacity(roles.len());
                for role in &roles {
                    grants.push(grant(role, errand).await?);
                }
                let ask = v1::CreatePersonRequest { request_id: request_id(), name, sign_in_name, grants };
                let answer = errand.session.ask(ask).await?;
                let person = View::from(answer.person.unwrap_or_default());
                let say = format!("Added {}: {}.", person.name, person.spoken_grants());
                errand.show(&WithPassword { say, person, one_time_password: answer.one_time_password })
            }
            What::NewPassword { sign_in_name } => {
                let ask = v1::ResetPasswordRequest { request_id: request_id(), sign_in_name };
                let answer = errand.session.ask(ask).await?;
                let person = View::from(answer.person.unwrap_or_default());
                let say = format!("{} can no longer sign in with the old password.", person.name);
                errand.show(&WithPassword { say, person, one_time_password: answer.one_time_password })
            }
            What::List => {
                let site = errand.named_site().unwrap_or_default();
                let ask = v1::ListPeopleRequest { site, page: None };
                let people = errand.session.all(ask, usize::MAX).await?;
                errand.show(&Many(people.into_iter().map(View::from).collect()))
            }
            What::Grant { sign_in_name, role } => {
                let grant = Some(grant(&role, errand).await?);
                let ask = v1::GrantRoleRequest { request_id: request_id(), sign_in_name, grant };
                let thing = View::from(errand.session.ask(ask).await?.person.unwrap_or_default());
                let say = format!("{} is {} now.", thing.name, thing.spoken_grants());
                errand.show(&Told { thing, say })
            }
            What::Revoke { sign_in_name, role } => {
                let grant = Some(grant(&role, errand).await?);
                let ask = v1::RevokeRoleRequest { request_id: request_id(), sign_in_name, grant };
                let thing = View::from(errand.session.ask(ask).await?.person.unwrap_or_default());
                let say = format!("{} has {} now.", thing.name, thing.spoken_grants());
                errand.show(&Told { thing, say })
            }
        }
    }
}

/// Reads `keeper`, `keeper@QUI` or `keeper@every-site`.
async fn grant(text: &str, errand: &Errand<'_>) -> Result<v1::Grant, Failure> {
    let (role, site) = text.split_once('@').map_or((text, None), |(role, site)| (role, Some(site)));
    let known = v1::Role::of(role).ok_or_else(|| {
        let known = v1::Role::ALL.iter().map(|(word, _)| *word).collect::<Vec<_>>().join(", ");
        Failure::usage(format!("`{role}` is not a role"), format!("write one of {known}"))
    })?;
    let (site, every_site) = match site {
        Some(EVERY) => (String::new(), true),
        Some(code) => (site_code(code)?, false),
        None => (errand.site().await?, false),
    };
    Ok(v1::Grant { role: known.into(), site, every_site })
}
