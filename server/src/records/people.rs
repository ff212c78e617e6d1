//! People: signing in, and who may do what.

use crate::access::password::{self, Cost};
use crate::access::permit::{Caller, Held, Validity};
use crate::access::roles::Deed;
use crate::access::token::{Bearer, Subject, Tokens};
use crate::model::page::{Page, Slice};
use crate::model::person::{Grant, Person, Role};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Error, Refusal, Result, Violation, fault};
use crate::records::{Records, fresh};
use crate::store::people::{self, Credential, Gate, NewRefresh};
use crate::store::retrying;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use rand::rand_core::TryRngCore;
use sha2::{Digest, Sha256};
use std::collections::HashSet;
use std::num::NonZeroU32;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{PoisonError, RwLock};
use std::time::{Duration, Instant};
use tokio::sync::Semaphore;
use uuid::Uuid;

/// How many passwords are hashed at a time: each keeps a processor busy for tens of milliseconds and takes 19
/// MiB, and half the processors are for those who are in.
fn hashes_at_once() -> usize {
    std::thread::available_parallelism().map_or(1, |processors| (processors.get() / 2).max(1))
}

/// Who comes in, and by what.
pub struct Door {
    tokens: Tokens,
    refresh_life: TimeDelta,
    tries: DefaultKeyedRateLimiter<String>,
    hashing: Semaphore,
    /// People of the outside issuer who are on record.
    outside: RwLock<HashSet<Uuid>>,
    /// A hash that no password is kept as: verified where there is none, so that a wrong name takes as
    /// long as a wrong password.
    decoy: String,
    /// Of hashing new passwords.
    cost: Cost,
}

/// Tokens given out.
#[derive(Clone, Debug)]
pub struct Given {
    pub access: String,
    pub access_expires_at: DateTime<Utc>,
    pub refresh: String,
    pub refresh_expires_at: DateTime<Utc>,
}

/// Somebody who signed in.
#[derive(Clone, Debug)]
pub struct SignedIn {
    pub given: Given,
    pub person: Person,
    pub must_change_password: bool,
}

impl Door {
    /// A door that signs and verifies with `tokens`.
    ///
    /// # Errors
    /// Where the machine gives no randomness.
    pub fn new(
        tokens: Tokens,
        refresh_life: TimeDelta,
        tries_per_minute: NonZeroU32,
        cost: Cost,
    ) -> std::result::Result<Self, password::HashError> {
        Ok(Self {
            tokens,
            refresh_life,
            tries: RateLimiter::keyed(Quota::per_minute(tries_per_minute)),
            hashing: Semaphore::new(hashes_at_once()),
            outside: RwLock::default(),
            decoy: password::hash(&password::one_time(), cost)?,
            cost,
        })
    }

    /// Verifies an access token.
    ///
    /// # Errors
    /// Refused; why goes to the log and not to the caller.
    pub fn verify(&self, token: &str, now: DateTime<Utc>) -> std::result::Result<Bearer, Refusal> {
        self.tokens.verify(token, now).map_err(|error| {
            tracing::info!(%error, "an access token was not accepted");
            not_signed_in()
        })
    }

    async fn fits(&self, password: &str, hash: &str) -> Result<bool> {
        let (password, hash) = (password.to_owned(), hash.to_owned());
        self.blocking(move || password::fits(&password, &hash)).await
    }

    async fn hash(&self, password: &str) -> Result<String> {
        let (password, cost) = (password.to_owned(), self.cost);
        self.blocking(move || password::hash(&password, cost))
            .await?
            .map_err(|error| fault(error.to_string()))
    }

    async fn blocking<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> Result<T> {
        let _turn = self.hashing.acquire().await.map_err(|error| fault(error.to_string()))?;
        tokio::task::spawn_blocking(work).await.map_err(|error| fault(error.to_string()))
    }
}

/// The refusal for whoever shows no token, or one that is not accepted.
#[must_use]
pub fn not_signed_in() -> Refusal {
    Refusal::new(Reason::NotSignedIn, "you are not signed in, or your sign-in has expired", "sign in")
}

fn refresh_refused() -> Refusal {
    Refusal::new(Reason::RefreshRefused, "this refresh token was used, ended or has expired", "sign in again")
}

/// Whom a verified token names.
#[must_use]
pub fn person_of(subject: &Subject) -> Uuid {
    match subject {
        Subject::Own(id) => *id,
        Subject::Outside(issuer, subject) => {
            Uuid::new_v5(&Uuid::NAMESPACE_URL, format!("{issuer}\n{subject}").as_bytes())
        }
    }
}

/// The caller that a verified token names. Somebody of the outside issuer is put on record at their
/// first call.
///
/// # Errors
/// Faults only.
pub async fn caller(records: &Records, bearer: &Bearer, deadline: Option<Instant>) -> Result<Caller> {
    let person = person_of(&bearer.person);
    if let Subject::Outside(..) = &bearer.person {
        ensure_outside(records, person, &bearer.name).await?;
    }
    let mut held = Vec::new();
    for grant in &bearer.grants {
        let site = match &grant.site {
            None => None,
            Some(code) => match records.store.site(code).await? {
                Some(site) => Some(site.id),
                // A site that is not here gives no scope here.
                None => continue,
            },
        };
        held.push(Held { role: grant.role, site });
    }
    Ok(Caller::new(person, held, bearer.validity, deadline))
}

async fn ensure_outside(records: &Records, id: Uuid, name: &str) -> Result<()> {
    if records.door.outside.read().unwrap_or_else(PoisonError::into_inner).contains(&id) {
        return Ok(());
    }
    let name = if name.is_empty() { "somebody of the outside issuer" } else { name };
    let request = own_request("PeopleService/(first call)", id.as_bytes());
    let reach = Caller::itself().reach(Deed::KeepPeople)?;
    retrying("ensure_outside", || async {
        let mut tx = fresh!(records.store.write::<()>(&reach, &request).await?);
        people::insert(&mut tx, id, name, &format!("outside:{id}")).await?;
        Ok::<_, Error>(tx.commit(()).await?)
    })
    .await?;
    records.door.outside.write().unwrap_or_else(PoisonError::into_inner).insert(id);
    Ok(())
}

/// A request of Holt's own, the same each time for the same matter.
fn own_request(method: &'static str, matter: &[u8]) -> Request {
    let digest: [u8; 32] = Sha256::new().chain_update(method).chain_update(matter).finalize().into();
    Request { id: Uuid::new_v5(&Uuid::NAMESPACE_OID, &digest), method, digest, validate_only: false }
}

/// Makes the first steward, with a one-time password that is answered once: to the server that made
/// them, of several that start at once. None where somebody is on record.
///
/// # Errors
/// Faults only.
pub async fn first_steward(records: &Records) -> Result<Option<(String, String)>> {
    const NAME: &str = "steward";
    let itself = Caller::itself().reach(Deed::KeepPeople)?;
    if people::anybody(&records.store.read(&itself, None).await?).await? {
        return Ok(None);
    }
    let password = password::one_time();
    let hash = records.door.hash(&password).await?;
    let request = own_request("PeopleService/(first start)", b"");
    let id = records.store.new_id();
    let made: Result<Uuid> = retrying("first_steward", || async {
        let mut tx = fresh!(records.store.write(&itself, &request).await?);
        people::insert(&mut tx, id, "First steward", NAME).await?;
        people::insert_grant(&mut tx, id, Role::Steward, None).await?;
        people::set_first_password(&tx, id, &hash).await?;
        Ok(tx.commit(id).await?)
    })
    .await;
    match made {
        Ok(made) => Ok((made == id).then(|| (NAME.to_owned(), password))),
        // Another server was quicker with the name.
        Err(Error::Refused(refusal)) if refusal.reason == Reason::Exists => Ok(None),
        Err(error) => Err(error),
    }
}

/// Signs somebody in.
///
/// # Errors
/// Refused where name and password do not fit one another, or after too many tries.
pub async fn sign_in(records: &Records, sign_in_name: &str, password: &str) -> Result<SignedIn> {
    let door = &records.door;
    let name = sign_in_name.trim().to_lowercase();
    // What cannot be a name is nobody's, and is counted as one.
    let name =
        if name.len() <= 200 && name.bytes().all(|b| b.is_ascii_graphic()) { name } else { String::new() };
    if door.tries.check_key(&name).is_err() {
        return Err(Refusal::new(
            Reason::TooMuch,
            "too many tries to sign in under this name",
            "wait a minute and try again",
        )
        .retry_after(Duration::from_secs(60))
        .into());
    }
    door.tries.retain_recent();
    let credential = records.store.open_gate().await?.credential(&name).await?;
    let hash = credential.as_ref().map_or(door.decoy.as_str(), |credential| &credential.password_hash);
    let fits = door.fits(password, hash).await?;
    let Some(credential) = credential.filter(|_| fits) else { return Err(sign_in_failed().into()) };
    let gate = records.store.open_gate().await?;
    gate.hold(credential.person_id).await?;
    refuse_changed(&gate, &credential, sign_in_failed).await?;
    let (person, epoch) = gate.person(credential.person_id).await?.ok_or_else(not_signed_in)?;
    let family = records.store.new_id();
    let given = give(records, &gate, (&person, epoch), family, credential.one_time).await?;
    gate.close().await?;
    Ok(SignedIn { given, person, must_change_password: credential.one_time })
}

fn sign_in_failed() -> Refusal {
    Refusal::new(
        Reason::SignInFailed,
        "the sign-in name or the password is wrong",
        "check both; a steward can give a new one-time password",
    )
}

/// Refuses where somebody changed the password while the old one was being compared.
async fn refuse_changed(gate: &Gate, compared: &Credential, refusal: impl Fn() -> Refusal) -> Result<()> {
    let kept = gate.credential_of(compared.person_id).await?;
    if kept.is_some_and(|kept| kept.password_hash == compared.password_hash) {
        Ok(())
    } else {
        Err(refusal().into())
    }
}

/// Exchanges a refresh token for new tokens. A token that was spent before ends all that descend from
/// its sign-in: either its owner or a thief has shown it, and nobody can tell which.
///
/// # Errors
/// Refused where the token is unknown, spent, ended or has run out.
pub async fn renew(records: &Records, refresh: &str) -> Result<Given> {
    let now = records.store.now();
    let hash = hash_of(refresh);
    let gate = records.store.open_gate().await?;
    let kept = gate.refresh(hash).await?.ok_or_else(refresh_refused)?;
    if kept.spent_at.is_some() {
        if kept.ended_at.is_none() {
            gate.end_family(kept.family, now).await?;
            gate.raise_epoch(kept.person_id).await?;
        }
        gate.close().await?;
        tracing::warn!(person = %kept.person_id, "a used refresh token was shown again: its sign-in is ended");
        return Err(refresh_refused().into());
    }
    if kept.ended_at.is_some() || kept.expires_at <= now {
        return Err(refresh_refused().into());
    }
    gate.spend_refresh(hash, now).await?;
    let (person, epoch) = gate.person(kept.person_id).await?.ok_or_else(refresh_refused)?;
    let one_time = gate.credential_of(kept.person_id).await?.is_some_and(|credential| credential.one_time);
    let given = give(records, &gate, (&person, epoch), kept.family, one_time).await?;
    gate.close().await?;
    Ok(given)
}

/// Ends the refresh tokens of a sign-in. A token that is unknown changes nothing and is no error: the
/// end that was wanted is there.
///
/// # Errors
/// Faults only.
pub async fn sign_out(records: &Records, refresh: &str) -> Result<()> {
    let gate = records.store.open_gate().await?;
    if let Some(kept) = gate.refresh(hash_of(refresh)).await? {
        gate.end_family(kept.family, records.store.now()).await?;
        gate.close().await?;
    }
    Ok(())
}

/// Sets a new password and ends all earlier sign-ins, with the tokens that they gave.
///
/// # Errors
/// Refused where the current password is wrong, or the new one is the same.
pub async fn change_password(records: &Records, caller: &Caller, current: &str, new: &str) -> Result<Given> {
    let failed = || {
        Refusal::new(
            Reason::SignInFailed,
            "the current password is wrong",
            "enter the one with which you signed in",
        )
    };
    records.store.knock(&caller.oneself()).await?;
    let credential =
        records.store.open_gate().await?.credential_of(caller.person).await?.ok_or_else(failed)?;
    if !records.door.fits(current, &credential.password_hash).await? {
        return Err(failed().into());
    }
    if new == current {
        return Err(Refusal::new(
            Reason::Malformed,
            "the new password is the current one",
            "choose another password",
        )
        .at("new_password")
        .into());
    }
    let hash = records.door.hash(new).await?;
    let now = records.store.now();
    let gate = records.store.open_gate().await?;
    gate.hold(caller.person).await?;
    refuse_changed(&gate, &credential, failed).await?;
    gate.set_password(caller.person, &hash, false, now).await?;
    gate.end_all(caller.person, now).await?;
    let (person, epoch) = gate.person(caller.person).await?.ok_or_else(failed)?;
    let family = records.store.new_id();
    let given = give(records, &gate, (&person, epoch), family, false).await?;
    gate.close().await?;
    Ok(given)
}

async fn give(
    records: &Records,
    gate: &Gate,
    (person, epoch): (&Person, i64),
    family: Uuid,
    one_time: bool,
) -> Result<Given> {
    let now = records.store.now();
    let bearer = Bearer {
        person: Subject::Own(person.id),
        name: person.name.clone(),
        grants: person.grants.clone(),
        must_change_password: one_time,
        validity: Validity::Epoch(epoch),
    };
    let (access, access_expires_at) = records
        .door
        .tokens
        .sign(person.id, &bearer, records.store.new_id(), now)
        .map_err(|error| fault(error.to_string()))?;
    let mut secret = [0_u8; 32];
    rand::rngs::OsRng.try_fill_bytes(&mut secret).map_err(|error| fault(error.to_string()))?;
    let refresh = URL_SAFE_NO_PAD.encode(secret);
    let refresh_expires_at = now + records.door.refresh_life;
    gate.keep_refresh(&NewRefresh {
        hash: hash_of(&refresh),
        family,
        person: person.id,
        issued_at: now,
        expires_at: refresh_expires_at,
    })
    .await?;
    Ok(Given { access, access_expires_at, refresh, refresh_expires_at })
}

fn hash_of(refresh: &str) -> [u8; 32] {
    Sha256::digest(refresh).into()
}

/// Who the caller is, with the roles that their token names.
///
/// # Errors
/// Refused where the person is not on record.
pub async fn itself(records: &Records, caller: &Caller) -> Result<Person> {
    let snapshot = records.store.read(&caller.oneself(), None).await?;
    let mut person = people::by_id(&snapshot, caller.person).await?.ok_or_else(not_signed_in)?;
    // The directory may need the connection.
    drop(snapshot);
    person.grants.clear();
    for held in &caller.held {
        let site = match held.site {
            Some(site) => records.store.site_of(site).await?.map(|site| site.code),
            None => None,
        };
        person.grants.push(Grant { role: held.role, site });
    }
    person.grants.sort_by(|a, b| (a.role.as_str(), &a.site).cmp(&(b.role.as_str(), &b.site)));
    Ok(person)
}

/// Adds a person. Answers them, and their one-time password, which is made once and kept nowhere.
///
/// # Errors
/// Refused without the role for each grant, or where the sign-in name is taken.
pub async fn create(
    records: &Records,
    caller: &Caller,
    request: &Request,
    name: &str,
    sign_in_name: &str,
    grants: &[Grant],
) -> Result<(Person, Option<String>)> {
    let reach = caller.reach(Deed::KeepPeople)?;
    let mut resolved = Vec::with_capacity(grants.len());
    for grant in grants {
        resolved.push((grant.role, granted_site(records, caller, grant).await?));
    }
    let password = password::one_time();
    let hash = records.door.hash(&password).await?;
    let id = records.store.new_id();
    let person: Person = retrying("create_person", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        people::insert(&mut tx, id, name, sign_in_name).await?;
        for (role, site) in &resolved {
            people::insert_grant(&mut tx, id, *role, *site).await?;
        }
        people::set_first_password(&tx, id, &hash).await?;
        let person = Person {
            id,
            name: name.to_owned(),
            sign_in_name: sign_in_name.to_owned(),
            grants: grants.to_vec(),
        };
        Ok::<_, Error>(tx.commit(person).await?)
    })
    .await?;
    let made_now = person.id == id;
    Ok((person, made_now.then_some(password)))
}

/// Gives a person who forgot their password a one-time one, and ends their sign-ins. Answers them, and the
/// password, which is made once and kept nowhere.
///
/// # Errors
/// Refused where the caller does not keep people wherever the person has a role: whoever knows the password
/// could act there. Whether they have one elsewhere, had one here, or are nobody, the refusal is the same.
pub async fn reset_password(
    records: &Records,
    caller: &Caller,
    request: &Request,
    sign_in_name: &str,
) -> Result<(Person, Option<String>)> {
    let reach = caller.reach(Deed::KeepPeople)?;
    let password = password::one_time();
    let hash = records.door.hash(&password).await?;
    let made_now = AtomicBool::new(false);
    let person: Person = retrying("reset_password", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        made_now.store(true, Ordering::Relaxed);
        let refused = || no_password_for(sign_in_name);
        let person = people::by_sign_in_name(&tx, sign_in_name).await?.ok_or_else(refused)?;
        let grants = people::reset_password(&mut tx, person.id, &hash).await?.ok_or_else(refused)?;
        if grants.is_empty() {
            caller.may_everywhere(Deed::KeepPeople).map_err(|_| refused())?;
        }
        for grant in &grants {
            match granted_site(records, caller, grant).await {
                Err(Error::Refused(_)) => return Err(refused().into()),
                granted => granted?,
            };
        }
        Ok::<_, Error>(tx.commit(person).await?)
    })
    .await?;
    Ok((person, made_now.into_inner().then_some(password)))
}

fn no_password_for(sign_in_name: &str) -> Refusal {
    Refusal::new(
        Reason::NotFound,
        format!("there is no person `{sign_in_name}` to whom you may give a password"),
        "check the sign-in name; if it is right, ask a steward of all sites",
    )
    .fact("what", "person")
    .fact("name", sign_in_name)
}

/// The site of a grant, after asking whether the caller may grant there.
async fn granted_site(records: &Records, caller: &Caller, grant: &Grant) -> Result<Option<Uuid>> {
    if grant.role == Role::Curator && grant.site.is_some() {
        return Err(Refusal::malformed(vec![Violation {
            field: "site".to_owned(),
            say: "a curator has no single site".to_owned(),
            mend: "give the role at every site".to_owned(),
        }])
        .into());
    }
    match &grant.site {
        None => {
            caller.may_everywhere(Deed::KeepPeople)?;
            Ok(None)
        }
        Some(code) => Ok(Some(records.permit(caller, Deed::KeepPeople, code).await?.site().id)),
    }
}

/// The people with a role at a site, or at any site in scope.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn list(records: &Records, caller: &Caller, site: &str, page: &Page) -> Result<Slice<Person>> {
    let site = if site.is_empty() {
        None
    } else {
        Some(records.permit(caller, Deed::KeepPeople, site).await?.site().id)
    };
    let reach = caller.reach(Deed::KeepPeople)?;
    let snapshot = records.store.read(&reach, None).await?;
    Ok(people::list(&snapshot, site, page).await?)
}

/// Gives a role.
///
/// # Errors
/// Refused without the role to give it there, or where the person has it.
pub async fn grant(
    records: &Records,
    caller: &Caller,
    request: &Request,
    sign_in_name: &str,
    grant: &Grant,
) -> Result<Person> {
    let site = granted_site(records, caller, grant).await?;
    let reach = caller.reach(Deed::KeepPeople)?;
    retrying("grant_role", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        let person = named(&tx, sign_in_name).await?;
        people::insert_grant(&mut tx, person.id, grant.role, site).await?;
        let person = named(&tx, sign_in_name).await?;
        Ok(tx.commit(person).await?)
    })
    .await
}

/// Takes a role away.
///
/// # Errors
/// Refused without the role to take it there, where the person does not have it, or where nobody would
/// be left to keep people and sites.
pub async fn revoke(
    records: &Records,
    caller: &Caller,
    request: &Request,
    sign_in_name: &str,
    grant: &Grant,
) -> Result<Person> {
    let site = granted_site(records, caller, grant).await?;
    let reach = caller.reach(Deed::KeepPeople)?;
    retrying("revoke_role", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        let person = named(&tx, sign_in_name).await?;
        let keeps_all = grant.role == Role::Steward && site.is_none();
        let stewards =
            if keeps_all { people::holders_everywhere(&tx, Role::Steward).await? } else { Vec::new() };
        if stewards == [person.id] {
            return Err(Refusal::new(
                Reason::LastSteward,
                "nobody else manages people and sites everywhere",
                "give somebody else the role first",
            )
            .into());
        }
        if !people::end_grant(&mut tx, person.id, grant.role, site).await? {
            return Err(Refusal::not_found("role", grant.role.as_str()).into());
        }
        let person = named(&tx, sign_in_name).await?;
        Ok(tx.commit(person).await?)
    })
    .await
}

async fn named(tx: &crate::store::Tx, sign_in_name: &str) -> Result<Person> {
    people::by_sign_in_name(tx, sign_in_name)
        .await?
        .ok_or_else(|| Refusal::not_found("person", sign_in_name).into())
}
