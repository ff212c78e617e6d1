//! Settings: one struct per section, read once. With `main.rs`, the only reader of the environment.
//!
//! `config.default.toml` is the manual: every key with its unit and default.

use crate::store::secret::Secret;
use http::uri::Authority;
use serde::{Deserialize, Deserializer};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

const DEFAULTS: &str = include_str!("../config.default.toml");

/// All settings.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Config {
    /// Listening and limits.
    pub server: ServerSection,
    /// PostgreSQL.
    pub store: StoreSection,
    /// Tokens.
    pub access: AccessSection,
    /// Loans.
    pub loans: LoansSection,
    /// Concerns about weight.
    pub weights: WeightsSection,
    /// Seals.
    pub ledger: LedgerSection,
    /// Houses.
    pub climate: ClimateSection,
    /// Logging.
    pub log: LogSection,
}

/// `[server]`
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ServerSection {
    pub listen: SocketAddr,
    pub tls_certificate: PathBuf,
    pub tls_private_key: PathBuf,
    pub allow_plaintext: bool,
    #[serde(deserialize_with = "list")]
    pub web_origins: Vec<String>,
    pub reflection: bool,
    pub max_connections: usize,
    pub max_connections_per_peer: usize,
    pub max_calls: usize,
    pub max_calls_per_person: usize,
    pub max_calls_of_strangers: usize,
    pub strangers_calls_per_minute: u32,
    pub max_message_bytes: usize,
    pub max_import_bytes: usize,
    pub max_imports: usize,
    pub handshake_seconds: u64,
    pub body_seconds: u64,
    pub reply_seconds: u64,
    pub silence_seconds: u64,
    pub call_seconds: u64,
    pub stop_seconds: u64,
}

/// A list, also as the environment has one: one text, parted by commas.
fn list<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<String>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Written {
        List(Vec<String>),
        Text(String),
    }
    Ok(match Written::deserialize(from)? {
        Written::List(list) => list,
        Written::Text(text) => {
            text.split(',').map(|one| one.trim().to_owned()).filter(|one| !one.is_empty()).collect()
        }
    })
}

/// Whether a text is an origin as browsers write it: scheme, host and port alone (RFC 6454, section 6.2).
fn is_origin(text: &str) -> bool {
    let rest = text.strip_prefix("https://").or_else(|| text.strip_prefix("http://"));
    let authority = rest.and_then(|rest| rest.parse::<Authority>().ok());
    authority.is_some_and(|authority| !authority.as_str().contains('@') && !text.contains('*'))
        && text.bytes().all(|byte| !byte.is_ascii_uppercase())
}

impl ServerSection {
    /// Longest time a call may take.
    #[must_use]
    pub const fn call_limit(&self) -> Duration {
        Duration::from_secs(self.call_seconds)
    }

    /// Whether a certificate is set.
    #[must_use]
    pub fn has_tls(&self) -> bool {
        !self.tls_certificate.as_os_str().is_empty()
    }
}

/// `[store]`
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoreSection {
    pub database_url: Secret,
    pub owner_url: Secret,
    pub pooled: bool,
    pub data_dir: PathBuf,
    pub postgres_bin: PathBuf,
    pub max_connections: u32,
    pub acquire_seconds: u64,
}

/// `[access]`
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AccessSection {
    pub issuer: String,
    pub audience: String,
    pub access_seconds: u32,
    pub refresh_seconds: u32,
    pub signing_key: PathBuf,
    pub outside_jwks: PathBuf,
    pub outside_issuer: String,
    pub outside_audience: String,
    pub sign_ins_per_minute: u32,
    pub password_memory_kib: u32,
    pub password_passes: u32,
}

/// `[loans]`
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoansSection {
    pub notice_days: u16,
}

/// `[weights]`
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WeightsSection {
    pub false_a_year: f64,
}

/// `[ledger]`
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LedgerSection {
    pub seal_seconds: u64,
}

impl LedgerSection {
    /// How often new entries are put under a seal; none where only those who ask do so.
    #[must_use]
    pub const fn seal_every(&self) -> Option<Duration> {
        every(self.seal_seconds)
    }
}

/// `[climate]`
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClimateSection {
    pub watch_seconds: u64,
}

impl ClimateSection {
    /// How often the houses are looked at; none where never.
    #[must_use]
    pub const fn watch_every(&self) -> Option<Duration> {
        every(self.watch_seconds)
    }
}

const fn every(seconds: u64) -> Option<Duration> {
    if seconds == 0 { None } else { Some(Duration::from_secs(seconds)) }
}

/// `[log]`
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LogSection {
    pub filter: String,
    pub format: LogFormat,
}

/// How log lines look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LogFormat {
    /// For people.
    Text,
    /// For machines.
    Json,
}

/// Why the settings cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// A file that cannot be read, an unknown key, a value of the wrong form.
    #[error("settings cannot be read: {0}; every key is listed by `holtd settings`")]
    Unreadable(#[from] config::ConfigError),
    /// Settings that do not go together.
    #[error("{0}")]
    Invalid(String),
}

/// What the environment says, read once at the start.
#[derive(Clone, Debug, Default)]
pub struct Surroundings {
    /// `PATH`.
    pub path: Option<std::ffi::OsString>,
    /// `HOME`.
    pub home: Option<PathBuf>,
    /// `XDG_DATA_HOME`.
    pub xdg_data_home: Option<PathBuf>,
    /// `XDG_RUNTIME_DIR`.
    pub xdg_runtime_dir: Option<PathBuf>,
}

impl Surroundings {
    /// Reads the environment.
    #[must_use]
    pub fn read() -> Self {
        let path = |name| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
        Self {
            path: std::env::var_os("PATH"),
            home: path("HOME"),
            xdg_data_home: path("XDG_DATA_HOME"),
            xdg_runtime_dir: path("XDG_RUNTIME_DIR"),
        }
    }
}

impl Config {
    /// Reads the defaults, then `file`, then the environment.
    ///
    /// # Errors
    /// [`ConfigError`], whose message says which key is wrong.
    pub fn load(file: Option<&Path>) -> Result<Self, ConfigError> {
        let mut builder =
            config::Config::builder().add_source(config::File::from_str(DEFAULTS, config::FileFormat::Toml));
        if let Some(file) = file {
            builder = builder.add_source(config::File::from(file).format(config::FileFormat::Toml));
        }
        builder = builder
            .add_source(config::Environment::with_prefix("HOLT").prefix_separator("__").separator("__"));
        if let Some(url) = std::env::var_os("DATABASE_URL").and_then(|url| url.into_string().ok()) {
            builder = builder.set_override("store.database_url", url)?;
        }
        let config: Self = builder.build()?.try_deserialize()?;
        config.validate()?;
        Ok(config)
    }

    /// The defaults alone.
    ///
    /// # Errors
    /// [`ConfigError::Unreadable`] if the file that is built in does not fit the structs.
    pub fn defaults() -> Result<Self, ConfigError> {
        Ok(config::Config::builder()
            .add_source(config::File::from_str(DEFAULTS, config::FileFormat::Toml))
            .build()?
            .try_deserialize()?)
    }

    /// The manual of all settings.
    #[must_use]
    pub const fn manual() -> &'static str {
        DEFAULTS
    }

    fn validate(&self) -> Result<(), ConfigError> {
        let invalid = |text: &str| Err(ConfigError::Invalid(text.to_owned()));
        let server = &self.server;
        if server.tls_certificate.as_os_str().is_empty() != server.tls_private_key.as_os_str().is_empty() {
            return invalid(
                "server.tls_certificate and server.tls_private_key belong together: set both, or neither",
            );
        }
        if let Some(other) = server.web_origins.iter().find(|origin| !is_origin(origin)) {
            return Err(ConfigError::Invalid(format!(
                "server.web_origins: `{other}` is not an origin; write scheme, host and port alone, such as \
                 https://rounds.park.example"
            )));
        }
        if !server.has_tls() && !server.listen.ip().is_loopback() && !server.allow_plaintext {
            return Err(ConfigError::Invalid(format!(
                "server.listen = {} can be reached from other machines and tokens would travel in the clear: \
                 set server.tls_certificate and server.tls_private_key, or server.allow_plaintext = true \
                 behind a proxy that does TLS",
                server.listen
            )));
        }
        if !(8..=4_194_304).contains(&self.access.password_memory_kib) {
            return invalid("access.password_memory_kib must be from 8 to 4194304");
        }
        if !(0.02..=1.0).contains(&self.weights.false_a_year) {
            return invalid("weights.false_a_year must be from 0.02 to 1");
        }
        for (name, value) in [
            ("server.max_connections", server.max_connections as u64),
            ("server.max_calls", server.max_calls as u64),
            ("server.max_calls_per_person", server.max_calls_per_person as u64),
            ("server.max_calls_of_strangers", server.max_calls_of_strangers as u64),
            ("server.max_message_bytes", server.max_message_bytes as u64),
            ("server.max_import_bytes", server.max_import_bytes as u64),
            ("server.max_imports", server.max_imports as u64),
            ("server.handshake_seconds", server.handshake_seconds),
            ("server.body_seconds", server.body_seconds),
            ("server.reply_seconds", server.reply_seconds),
            ("server.silence_seconds", server.silence_seconds),
            ("server.call_seconds", server.call_seconds),
            ("store.max_connections", u64::from(self.store.max_connections)),
            ("store.acquire_seconds", self.store.acquire_seconds),
            ("access.access_seconds", u64::from(self.access.access_seconds)),
            ("access.refresh_seconds", u64::from(self.access.refresh_seconds)),
            ("access.sign_ins_per_minute", u64::from(self.access.sign_ins_per_minute)),
            ("access.password_passes", u64::from(self.access.password_passes)),
        ] {
            if value == 0 {
                return Err(ConfigError::Invalid(format!("{name} must be more than 0")));
            }
        }
        if self.store.database_url.is_empty() && !self.store.owner_url.is_empty() {
            return invalid("store.owner_url needs store.database_url, the URL of the login that serves");
        }
        if self.store.pooled && self.store.owner_url.is_empty() {
            return invalid(
                "store.pooled needs store.owner_url, which leads to PostgreSQL without the pooler",
            );
        }
        let access = &self.access;
        if access.issuer.is_empty() || access.audience.is_empty() {
            return invalid("access.issuer and access.audience must not be empty");
        }
        if !access.outside_jwks.as_os_str().is_empty() {
            if access.outside_issuer.is_empty() || access.outside_audience.is_empty() {
                return invalid(
                    "access.outside_jwks needs access.outside_issuer and access.outside_audience",
                );
            }
            if access.outside_issuer == access.issuer {
                return invalid("access.outside_issuer must differ from access.issuer");
            }
        }
        Ok(())
    }

    /// Folder of the private cluster and the signing key.
    ///
    /// # Errors
    /// [`ConfigError::Invalid`] where neither the settings nor the environment name one.
    pub fn data_dir(&self, around: &Surroundings, root: bool) -> Result<PathBuf, ConfigError> {
        if !self.store.data_dir.as_os_str().is_empty() {
            return Ok(self.store.data_dir.clone());
        }
        if root {
            return Ok(PathBuf::from("/var/lib/holt"));
        }
        around
            .xdg_data_home
            .clone()
            .or_else(|| around.home.as_ref().map(|home| home.join(".local/share")))
            .map(|data| data.join("holt"))
            .ok_or_else(|| {
                ConfigError::Invalid("there is no home folder to keep data in: set store.data_dir".to_owned())
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(change: impl FnOnce(&mut Config)) -> Result<(), String> {
        let mut config = Config::defaults().unwrap();
        change(&mut config);
        config.validate().map_err(|e| e.to_string())
    }

    #[test]
    fn defaults_are_valid_and_secrets_are_hidden() {
        with(|_| ()).unwrap();
        let mut config = Config::defaults().unwrap();
        config.store.database_url = Secret::new("postgres://u:hunter2@h/d".to_owned());
        let printed = format!("{config:?}");
        assert!(!printed.contains("hunter2") && printed.contains("(hidden)"), "{printed}");
    }

    #[test]
    fn plaintext_is_for_loopback_only() {
        let refused = with(|c| c.server.listen = "0.0.0.0:7465".parse().unwrap()).unwrap_err();
        assert!(refused.contains("tls_certificate"), "{refused}");
        with(|c| {
            c.server.listen = "0.0.0.0:7465".parse().unwrap();
            c.server.allow_plaintext = true;
        })
        .unwrap();
        with(|c| c.server.listen = "[::1]:7465".parse().unwrap()).unwrap();
    }

    #[test]
    fn pages_that_may_call_are_named_by_their_origins() {
        #[derive(Deserialize)]
        struct Section {
            #[serde(deserialize_with = "list")]
            origins: Vec<String>,
        }
        for written in [
            r#"origins = ["https://a.example", "http://localhost:5173"]"#,
            r#"origins = "https://a.example, http://localhost:5173""#,
        ] {
            let section: Section = toml::from_str(written).unwrap();
            assert_eq!(section.origins, ["https://a.example", "http://localhost:5173"]);
            with(|c| c.server.web_origins = section.origins).unwrap();
        }
        for other in [
            "*",
            "https://*",
            "a.example",
            "https://a.example/",
            "https://me@a.example",
            "https://A.example",
            "",
        ] {
            let refused = with(|c| c.server.web_origins = vec![other.to_owned()]).unwrap_err();
            assert!(refused.contains("scheme, host and port alone"), "{refused}");
        }
    }

    #[test]
    fn settings_that_do_not_go_together_are_refused() {
        for change in [
            (|c: &mut Config| c.server.tls_certificate = "cert.pem".into()) as fn(&mut Config),
            |c| c.server.max_calls = 0,
            |c| c.access.outside_jwks = "keys.json".into(),
            |c| c.access.issuer.clear(),
            |c| c.store.owner_url = Secret::new("postgres://o@h/d".to_owned()),
            |c| c.store.pooled = true,
        ] {
            with(change).unwrap_err();
        }
    }

    #[test]
    fn root_and_people_keep_data_in_different_places() {
        let config = Config::defaults().unwrap();
        let around = Surroundings { home: Some("/home/kim".into()), ..Surroundings::default() };
        assert_eq!(config.data_dir(&around, true).unwrap(), Path::new("/var/lib/holt"));
        assert_eq!(config.data_dir(&around, false).unwrap(), Path::new("/home/kim/.local/share/holt"));
        config.data_dir(&Surroundings::default(), false).unwrap_err();
    }
}
