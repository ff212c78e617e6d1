//! The serving login: what the service is to the database. It owns nothing, is no superuser and is a member of
//! the role `holt_service` alone, so that neither `SET ROLE` nor `RESET ROLE` leads anywhere.

use crate::access::keys::{KeyError, kept};
use crate::connect::{ConnectError, one};
use crate::secret::Secret;
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{AssertSqlSafe, Connection};
use std::io;
use std::path::Path;
use std::str::FromStr;

/// The role that may do what the service does. It owns nothing, and nobody logs in as it.
const ROLE: &str = "holt_service";

/// Of several servers that start at once, one makes the login and the others find it. The number is any that
/// nobody else uses.
const LOCK: i64 = 0x32180;

/// How the service logs in.
#[derive(Clone, Debug)]
pub struct Serving {
    /// The database.
    pub url: Secret,
    /// As whom, where the URL is the owner's.
    pub login: Option<Login>,
    /// Whether a pooler stands between, which hands out connections for one transaction each.
    pub pooled: bool,
}

impl Serving {
    /// How to connect.
    ///
    /// # Errors
    /// What is wrong with the URL.
    pub fn options(&self) -> Result<PgConnectOptions, sqlx::Error> {
        Ok(self.as_login(PgConnectOptions::from_str(self.url.reveal())?))
    }

    /// What settings a transaction needs it sets itself (`holt_open`): a pooler drops start-up options.
    pub(crate) fn as_login(&self, options: PgConnectOptions) -> PgConnectOptions {
        let options = options.application_name("holtd");
        let options = if self.pooled { options.statement_cache_capacity(0) } else { options };
        match &self.login {
            Some(login) => options.username(&login.name).password(login.password.reveal()),
            None => options,
        }
    }
}

/// A name and a password that Holt made for itself.
#[derive(Clone, Debug)]
pub struct Login {
    pub(crate) name: String,
    pub(crate) password: Secret,
}

impl Login {
    /// Reads the login from its file, or makes one where there is none. Each data folder has one of its own, so
    /// that servers of one database do not change each other's password.
    ///
    /// # Errors
    /// [`KeyError`], whose message names the file.
    pub fn load_or_make(file: &Path) -> Result<Self, KeyError> {
        let text = kept(file, || Self::fresh().map(|login| login.text()))?;
        Self::from_text(&text).ok_or_else(|| KeyError::Unusable {
            path: file.to_owned(),
            why: "a name, and a password".to_owned(),
        })
    }

    /// A login that is kept nowhere.
    ///
    /// # Errors
    /// What is wrong with the machine's randomness.
    pub fn fresh() -> io::Result<Self> {
        let random: [u8; 28] = rand::random();
        let hex = |bytes: &[u8]| bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>();
        let (name, password) = random.split_at(4);
        Ok(Self { name: format!("holt_serving_{}", hex(name)), password: Secret::new(hex(password)) })
    }

    /// Its name and its password.
    #[must_use]
    pub fn parts(&self) -> (&str, &str) {
        (&self.name, self.password.reveal())
    }

    fn text(&self) -> String {
        format!("{}\n{}\n", self.name, self.password.reveal())
    }

    fn from_text(text: &str) -> Option<Self> {
        let (name, password) = text.trim_end().split_once('\n')?;
        // Both go into statements that take no parameters.
        let plain = |text: &str| {
            !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_')
        };
        (plain(name) && plain(password))
            .then(|| Self { name: name.to_owned(), password: Secret::new(password.to_owned()) })
    }
}

/// Makes the login, or gives it its password again, and lets it do what the service does.
///
/// # Errors
/// [`ConnectError`], whose message says what to check.
pub async fn make_login(owner: &Secret, login: &Login) -> Result<(), ConnectError> {
    let mut connection = one(owner).await?;
    let Login { name, password } = login;
    let password = password.reveal();
    let make = format!(
        "SET password_encryption = 'scram-sha-256';
         DO $$ BEGIN
           PERFORM pg_advisory_xact_lock({LOCK});
           IF EXISTS (SELECT FROM pg_roles WHERE rolname = '{name}') THEN
             ALTER ROLE {name} LOGIN INHERIT PASSWORD '{password}';
           ELSE
             CREATE ROLE {name} LOGIN INHERIT PASSWORD '{password}';
           END IF;
         END $$"
    );
    sqlx::raw_sql(AssertSqlSafe(make)).execute(&mut connection).await.map_err(ConnectError::Login)?;
    grant(&mut connection, name).await.map_err(ConnectError::Login)?;
    connection.close().await.map_err(ConnectError::Unreachable)
}

/// Lets the user of the serving URL do what the service does.
///
/// # Errors
/// [`ConnectError`], whose message says what to check.
pub async fn admit(owner: &Secret, serving: &Secret) -> Result<(), ConnectError> {
    let user = PgConnectOptions::from_str(serving.reveal()).map_err(ConnectError::Url)?;
    let mut connection = one(owner).await?;
    grant(&mut connection, user.get_username()).await.map_err(ConnectError::Login)?;
    connection.close().await.map_err(ConnectError::Unreachable)
}

/// Asked first, so that nobody needs the right to grant what is granted; and under the lock, for two who grant at
/// once are in each other's way.
async fn grant(connection: &mut PgConnection, user: &str) -> Result<(), sqlx::Error> {
    let user = user.replace('\'', "''");
    let grant = format!(
        "DO $$ BEGIN
           PERFORM pg_advisory_xact_lock({LOCK});
           IF NOT pg_has_role('{user}'::name, '{ROLE}'::name, 'USAGE') THEN
             EXECUTE format('GRANT {ROLE} TO %I', '{user}');
           END IF;
         END $$"
    );
    sqlx::raw_sql(AssertSqlSafe(grant)).execute(connection).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_login_is_made_once_and_its_file_is_nobody_elses() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("keys").join("serving-login");
        let made = Login::load_or_make(&file).unwrap();
        let again = Login::load_or_make(&file).unwrap();
        assert_eq!((&made.name, made.password.reveal()), (&again.name, again.password.reveal()));
        assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
        assert!(!format!("{made:?}").contains(made.password.reveal()));
        std::fs::set_permissions(&file, PermissionsExt::from_mode(0o640)).unwrap();
        assert!(matches!(Login::load_or_make(&file), Err(KeyError::TooOpen(_))));
    }

    #[test]
    fn what_could_end_a_statement_is_no_login() {
        for text in ["", "name", "name\n", "na'me\npassword\n", "name\npass'; DROP ROLE x; --\n"] {
            assert!(Login::from_text(text).is_none(), "{text:?}");
        }
    }
}
