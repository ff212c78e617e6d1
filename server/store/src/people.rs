//! People, their grants, and what opens at the gate: passwords and refresh tokens.

use crate::doors::{Snapshot, Store, Tx, statement};
use crate::entity::{grant, person};
use crate::error::Error;
use crate::facts::fact;
use crate::model::page::{Page, Slice};
use crate::model::person::{Grant, Person, Role};
use chrono::{DateTime, Utc};
use sea_orm::{ConnectionTrait, EntityTrait, FromQueryResult};
use uuid::Uuid;

/// What is known of somebody who signs in.
#[derive(FromQueryResult)]
pub struct Credential {
    pub person_id: Uuid,
    pub name: String,
    pub password_hash: String,
    pub one_time: bool,
}

/// A refresh token as it is kept.
#[derive(FromQueryResult)]
pub struct Refresh {
    pub family: Uuid,
    pub person_id: Uuid,
    pub expires_at: DateTime<Utc>,
    pub spent_at: Option<DateTime<Utc>>,
    pub ended_at: Option<DateTime<Utc>>,
}

/// A refresh token to keep, as its hash.
pub struct NewRefresh {
    pub hash: [u8; 32],
    pub family: Uuid,
    pub person: Uuid,
    pub issued_at: DateTime<Utc>,
    pub expires_at: DateTime<Utc>,
}

#[derive(FromQueryResult)]
struct Epoch {
    epoch: i64,
}

const EPOCH: &str = "SELECT holt_epoch($1) AS epoch";

#[derive(FromQueryResult)]
struct GrantRow {
    person_id: Uuid,
    role: String,
    code: Option<String>,
}

const GRANTS: &str = "SELECT g.person_id, g.role, s.code FROM grants g LEFT JOIN sites s ON s.id = g.site_id
                       WHERE g.superseded_at IS NULL AND g.person_id = ANY ($1)
                       ORDER BY g.role, s.code NULLS FIRST";

impl GrantRow {
    fn to_model(&self) -> Result<Grant, Error> {
        Ok(Grant { role: role(&self.role)?, site: self.code.clone() })
    }
}

fn role(text: &str) -> Result<Role, Error> {
    Role::ALL
        .into_iter()
        .find(|role| role.as_str() == text)
        .ok_or_else(|| Error::corrupt("grants", "role", text))
}

/// The gate: one transaction in which credentials are open.
pub struct Gate(sea_orm::DatabaseTransaction);

impl Store {
    /// Opens the gate.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn open_gate(&self) -> Result<Gate, Error> {
        Ok(Gate(self.gate().await?))
    }
}

impl Gate {
    async fn first<R: FromQueryResult>(
        &self,
        sql: &str,
        values: impl IntoIterator<Item = sea_orm::Value>,
    ) -> Result<Option<R>, Error> {
        let row = self.0.query_one_raw(statement(sql, values)).await?;
        Ok(row.map(|row| R::from_query_result(&row, "")).transpose()?)
    }

    async fn execute(
        &self,
        sql: &str,
        values: impl IntoIterator<Item = sea_orm::Value>,
    ) -> Result<u64, Error> {
        Ok(self.0.execute_raw(statement(sql, values)).await?.rows_affected())
    }

    /// Who signs in by this name.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn credential(&self, sign_in_name: &str) -> Result<Option<Credential>, Error> {
        self.first(
            "SELECT c.person_id, p.name, c.password_hash, c.one_time FROM credentials c
               JOIN people p ON p.id = c.person_id WHERE p.sign_in_name = $1",
            [sign_in_name.into()],
        )
        .await
    }

    /// The password of a person.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn credential_of(&self, person: Uuid) -> Result<Option<Credential>, Error> {
        self.first(
            "SELECT c.person_id, p.name, c.password_hash, c.one_time FROM credentials c
               JOIN people p ON p.id = c.person_id WHERE c.person_id = $1",
            [person.into()],
        )
        .await
    }

    /// The person, with the grants in force, and the epoch of tokens that name them.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn person(&self, id: Uuid) -> Result<Option<(Person, i64)>, Error> {
        // Before the grants: a token must not say of a later epoch what held in an earlier one.
        let epoch = self.first::<Epoch>(EPOCH, [id.into()]).await?;
        let epoch = epoch.map_or(0, |row| row.epoch);
        let Some(row) = person::Entity::find_by_id(id).one(&self.0).await? else { return Ok(None) };
        let grants = self.0.query_all_raw(statement(GRANTS, [vec![id].into()])).await?;
        let grants = grants
            .iter()
            .map(|row| GrantRow::from_query_result(row, "")?.to_model())
            .collect::<Result<_, Error>>()?;
        Ok(Some((Person { id, name: row.name, sign_in_name: row.sign_in_name, grants }, epoch)))
    }

    /// Ends the tokens of a person, on every server.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn raise_epoch(&self, person: Uuid) -> Result<(), Error> {
        self.execute(
            "INSERT INTO epochs (person_id, epoch) VALUES ($1, 1)
             ON CONFLICT (person_id) DO UPDATE SET epoch = epochs.epoch + 1",
            [person.into()],
        )
        .await?;
        Ok(())
    }

    /// Sets a password.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn set_password(
        &self,
        person: Uuid,
        hash: &str,
        one_time: bool,
        at: DateTime<Utc>,
    ) -> Result<(), Error> {
        self.execute(
            "INSERT INTO credentials (person_id, password_hash, one_time, changed_at) VALUES ($1, $2, $3, $4)
             ON CONFLICT (person_id) DO UPDATE
               SET password_hash = excluded.password_hash, one_time = excluded.one_time,
                   changed_at = excluded.changed_at",
            [person.into(), hash.into(), one_time.into(), at.into()],
        )
        .await?;
        Ok(())
    }

    /// Lets nobody else change the sign-ins of a person until the gate closes: what one ends, another must
    /// not be giving out at the same moment.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn hold(&self, person: Uuid) -> Result<(), Error> {
        self.execute("SELECT FROM credentials WHERE person_id = $1 FOR UPDATE", [person.into()]).await?;
        Ok(())
    }

    /// The refresh token of this hash; nobody else changes the sign-ins of its person until the gate closes.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn refresh(&self, hash: [u8; 32]) -> Result<Option<Refresh>, Error> {
        self.execute(
            "SELECT FROM credentials c JOIN refresh_tokens r ON r.person_id = c.person_id
              WHERE r.hash = $1 FOR UPDATE OF c",
            [hash.to_vec().into()],
        )
        .await?;
        self.first(
            "SELECT family, person_id, expires_at, spent_at, ended_at FROM refresh_tokens WHERE hash = $1",
            [hash.to_vec().into()],
        )
        .await
    }

    /// Keeps a refresh token.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn keep_refresh(&self, new: &NewRefresh) -> Result<(), Error> {
        self.execute(
            "INSERT INTO refresh_tokens (hash, family, person_id, issued_at, expires_at) VALUES ($1, $2, $3, $4, $5)",
            [
                new.hash.to_vec().into(),
                new.family.into(),
                new.person.into(),
                new.issued_at.into(),
                new.expires_at.into(),
            ],
        )
        .await?;
        Ok(())
    }

    /// Marks a refresh token as spent.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn spend_refresh(&self, hash: [u8; 32], at: DateTime<Utc>) -> Result<(), Error> {
        self.execute(
            "UPDATE refresh_tokens SET spent_at = $2 WHERE hash = $1",
            [hash.to_vec().into(), at.into()],
        )
        .await?;
        Ok(())
    }

    /// Ends all refresh tokens of one sign-in.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn end_family(&self, family: Uuid, at: DateTime<Utc>) -> Result<(), Error> {
        self.execute(
            "UPDATE refresh_tokens SET ended_at = $2 WHERE family = $1 AND ended_at IS NULL",
            [family.into(), at.into()],
        )
        .await?;
        Ok(())
    }

    /// Ends all refresh tokens of a person.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn end_all(&self, person: Uuid, at: DateTime<Utc>) -> Result<(), Error> {
        self.execute(
            "UPDATE refresh_tokens SET ended_at = $2 WHERE person_id = $1 AND ended_at IS NULL",
            [person.into(), at.into()],
        )
        .await?;
        Ok(())
    }

    /// Closes the gate and keeps what was done.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database went away.
    pub async fn close(self) -> Result<(), Error> {
        Ok(self.0.commit().await?)
    }
}

/// Adds a person. Their password is set at the gate, after this write is committed.
///
/// # Errors
/// [`Error::Broken`] where the sign-in name is taken.
pub async fn insert(tx: &mut Tx, id: Uuid, name: &str, sign_in_name: &str) -> Result<(), Error> {
    let row = person::Model {
        id,
        name: name.to_owned(),
        sign_in_name: sign_in_name.to_owned(),
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await
}

/// Sets the one-time password of a person who was just added, in the same transaction.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn set_first_password(tx: &Tx, person: Uuid, hash: &str) -> Result<(), Error> {
    tx.execute("SELECT set_config('holt.gate', 'yes', true)", []).await?;
    tx.execute(
        "INSERT INTO credentials (person_id, password_hash, one_time, changed_at) VALUES ($1, $2, true, $3)",
        [person.into(), hash.into(), tx.now().into()],
    )
    .await?;
    tx.execute("SELECT set_config('holt.gate', '', true)", []).await?;
    Ok(())
}

/// Sets a one-time password in place of a forgotten one and ends all sign-ins with it. Answers all roles of
/// the person in force, also those that the caller may not see, or none where they have no password here.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn reset_password(tx: &mut Tx, person: Uuid, hash: &str) -> Result<Option<Vec<Grant>>, Error> {
    tx.execute("SELECT set_config('holt.gate', 'yes', true)", []).await?;
    let changed = tx
        .execute(
            "UPDATE credentials SET password_hash = $2, one_time = true, changed_at = $3 WHERE person_id = $1",
            [person.into(), hash.into(), tx.now().into()],
        )
        .await?;
    tx.execute(
        "UPDATE refresh_tokens SET ended_at = $2 WHERE person_id = $1 AND ended_at IS NULL",
        [person.into(), tx.now().into()],
    )
    .await?;
    let grants = tx.rows::<GrantRow>(GRANTS, [vec![person].into()]).await?;
    tx.execute("SELECT set_config('holt.gate', '', true)", []).await?;
    outlive(tx, person).await?;
    let grants = grants.iter().map(GrantRow::to_model).collect::<Result<_, _>>()?;
    Ok((changed > 0).then_some(grants))
}

/// Whether anybody but Holt itself is on record.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn anybody(snapshot: &Snapshot) -> Result<bool, Error> {
    #[derive(FromQueryResult)]
    struct Found {
        found: bool,
    }
    let rows = snapshot
        .rows::<Found>("SELECT EXISTS (SELECT FROM people WHERE id <> $1) AS found", [Uuid::nil().into()])
        .await?;
    Ok(rows.first().is_some_and(|row| row.found))
}

/// Gives a role.
///
/// # Errors
/// [`Error::Broken`] where the person has it.
pub async fn insert_grant(tx: &mut Tx, person: Uuid, role: Role, site: Option<Uuid>) -> Result<(), Error> {
    let row = fact!(
        tx,
        grant::Model { id: tx.new_id(), person_id: person, role: role.as_str().to_owned(), site_id: site }
    );
    tx.insert(&[row]).await
}

/// Takes a role away, and ends the tokens that name it; answers whether the person had it.
///
/// # Errors
/// [`Error::Contention`] where somebody took it away meanwhile.
pub async fn end_grant(tx: &mut Tx, person: Uuid, role: Role, site: Option<Uuid>) -> Result<bool, Error> {
    #[derive(FromQueryResult)]
    struct Found {
        id: Uuid,
    }
    let found = tx
        .rows::<Found>(
            "SELECT id FROM grants WHERE person_id = $1 AND role = $2 AND site_id IS NOT DISTINCT FROM $3
                AND superseded_at IS NULL",
            [person.into(), role.as_str().into(), site.into()],
        )
        .await?;
    let Some(found) = found.first() else { return Ok(false) };
    tx.supersede::<grant::Entity>(found.id, "revoked").await?;
    outlive(tx, person).await?;
    Ok(true)
}

/// Lets a write go on that ended the tokens of its own writer: the database ends them with the role or the password.
async fn outlive(tx: &mut Tx, person: Uuid) -> Result<(), Error> {
    if person == tx.person() {
        let epochs = tx.rows::<Epoch>(EPOCH, [person.into()]).await?;
        tx.outlive(epochs.first().map_or(0, |row| row.epoch));
    }
    Ok(())
}

/// Who holds `role` at every site; the rows are locked until the write ends, so that two cannot each take
/// the last but one away.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn holders_everywhere(tx: &Tx, role: Role) -> Result<Vec<Uuid>, Error> {
    #[derive(FromQueryResult)]
    struct Holder {
        person_id: Uuid,
    }
    let rows = tx
        .rows::<Holder>(
            "SELECT person_id FROM grants WHERE role = $1 AND site_id IS NULL AND superseded_at IS NULL
              ORDER BY id FOR UPDATE",
            [role.as_str().into()],
        )
        .await?;
    Ok(rows.into_iter().map(|row| row.person_id).collect())
}

/// The person of a sign-in name, with the grants that the caller may see.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn by_sign_in_name(snapshot: &Snapshot, sign_in_name: &str) -> Result<Option<Person>, Error> {
    let rows = snapshot
        .rows::<Named>(
            "SELECT id, name, sign_in_name FROM people WHERE sign_in_name = $1",
            [sign_in_name.into()],
        )
        .await?;
    Ok(with_grants(snapshot, rows).await?.into_iter().next())
}

/// The person of an identifier, with the grants that the caller may see.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn by_id(snapshot: &Snapshot, id: Uuid) -> Result<Option<Person>, Error> {
    let rows = snapshot
        .rows::<Named>("SELECT id, name, sign_in_name FROM people WHERE id = $1", [id.into()])
        .await?;
    Ok(with_grants(snapshot, rows).await?.into_iter().next())
}

#[derive(FromQueryResult)]
struct Named {
    id: Uuid,
    name: String,
    sign_in_name: String,
}

/// People with a grant at one site (all in scope where none is given), by sign-in name.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(snapshot: &Snapshot, site: Option<Uuid>, page: &Page) -> Result<Slice<Person>, Error> {
    let rows = snapshot
        .rows::<Named>(
            "SELECT p.id, p.name, p.sign_in_name FROM people p
              WHERE p.sign_in_name > $1
                AND EXISTS (SELECT FROM grants g WHERE g.person_id = p.id AND g.superseded_at IS NULL
                               AND ($2::uuid IS NULL OR g.site_id IS NULL OR g.site_id = $2))
              ORDER BY p.sign_in_name LIMIT $3",
            [page.after.clone().unwrap_or_default().into(), site.into(), (i64::from(page.size) + 1).into()],
        )
        .await?;
    let people = with_grants(snapshot, rows).await?;
    Ok(Slice::cut(people, page, |person| person.sign_in_name.clone()))
}

async fn with_grants(snapshot: &Snapshot, rows: Vec<Named>) -> Result<Vec<Person>, Error> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let grants = snapshot.rows::<GrantRow>(GRANTS, [ids.into()]).await?;
    rows.into_iter()
        .map(|row| {
            let own = grants.iter().filter(|grant| grant.person_id == row.id);
            Ok(Person {
                id: row.id,
                name: row.name,
                sign_in_name: row.sign_in_name,
                grants: own.map(GrantRow::to_model).collect::<Result<_, _>>()?,
            })
        })
        .collect()
}
