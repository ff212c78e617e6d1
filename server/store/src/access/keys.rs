//! Keys that sign and verify access tokens: Holt's own, and those of an outside issuer.

use ed25519_dalek::SigningKey;
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use ed25519_dalek::pkcs8::{DecodePrivateKey, EncodePrivateKey};
use hmac::{Hmac, Mac};
use jsonwebtoken::jwk::{AlgorithmParameters, EllipticCurve, Jwk, JwkSet};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey};
use rand::rand_core::TryRngCore;
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fs;
use std::io::{self, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};
use zeroize::Zeroizing;

/// How long an unknown `kid` does not make the file be read again.
const COOL_DOWN: Duration = Duration::from_secs(10);

/// Why a key cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The file cannot be read or written.
    #[error("the key file {path} cannot be used: {source}")]
    File {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The file is open to others.
    #[error("the secret file {0} can be read by others: `chmod 600` it")]
    TooOpen(PathBuf),
    /// The file holds no such key.
    #[error("{path} holds no usable key: {why}")]
    Unusable {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
}

/// The content of a file that only its owner may read; made where there is none. Of several servers that start
/// at once, one makes it and the others read it.
pub(crate) fn kept(path: &Path, fresh: impl FnOnce() -> io::Result<String>) -> Result<String, KeyError> {
    let file = |source| KeyError::File { path: path.to_owned(), source };
    match fs::metadata(path) {
        Ok(found) if found.permissions().mode() & 0o077 != 0 => {
            return Err(KeyError::TooOpen(path.to_owned()));
        }
        Ok(_) => {}
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            make(path, &fresh().map_err(file)?).map_err(file)?;
        }
        Err(error) => return Err(file(error)),
    }
    fs::read_to_string(path).map_err(file)
}

/// Written whole under another name and then linked: a reader sees all of it or nothing, and of two writers the
/// first one wins.
fn make(path: &Path, content: &str) -> io::Result<()> {
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)?;
    let draft = folder.join(format!(".draft-{:016x}", rand::random::<u64>()));
    let mut out = fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&draft)?;
    out.write_all(content.as_bytes())?;
    out.sync_all()?;
    let linked = fs::hard_link(&draft, path);
    fs::remove_file(&draft)?;
    match linked {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Ok(()),
        other => other,
    }
}

/// The key pair that signs Holt's own access tokens.
pub struct OwnKey {
    /// Identifier in the token's header.
    pub kid: String,
    pub(super) signing: EncodingKey,
    pub(super) verifying: DecodingKey,
    seed: Zeroizing<[u8; 32]>,
}

impl std::fmt::Debug for OwnKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("OwnKey").field("kid", &self.kid).finish_non_exhaustive()
    }
}

impl OwnKey {
    /// Reads the key file, or makes one where there is none. Of several servers that start at once, one
    /// makes it and the others read it.
    ///
    /// # Errors
    /// [`KeyError`], whose message names the file.
    pub fn load_or_make(path: &Path) -> Result<Self, KeyError> {
        let pem = kept(path, fresh_pem)?;
        Self::from_pem(&pem).map_err(|why| KeyError::Unusable { path: path.to_owned(), why })
    }

    /// A fresh key that is kept nowhere.
    ///
    /// # Errors
    /// What is wrong with the machine's randomness.
    pub fn fresh() -> Result<Self, String> {
        Self::from_pem(&fresh_pem().map_err(|e| e.to_string())?)
    }

    fn from_pem(pem: &str) -> Result<Self, String> {
        let key =
            SigningKey::from_pkcs8_pem(pem).map_err(|e| format!("no Ed25519 key in PKCS#8 PEM: {e}"))?;
        let public = key.verifying_key();
        let der = key.to_pkcs8_der().map_err(|e| e.to_string())?;
        let digest = Sha256::digest(public.as_bytes());
        Ok(Self {
            kid: digest[..8].iter().map(|b| format!("{b:02x}")).collect(),
            signing: EncodingKey::from_ed_der(der.as_bytes()),
            verifying: DecodingKey::from_ed_der(public.as_bytes()),
            seed: Zeroizing::new(key.to_bytes()),
        })
    }

    /// The public half, 32 bytes.
    #[must_use]
    pub fn public(&self) -> [u8; 32] {
        SigningKey::from_bytes(&self.seed).verifying_key().to_bytes()
    }

    /// A secret for another purpose that all servers with this key share.
    #[must_use]
    pub fn derive(&self, purpose: &[u8]) -> [u8; 32] {
        let mut mac = <Hmac<Sha256> as Mac>::new_from_slice(&*self.seed)
            .unwrap_or_else(|_| unreachable!("an HMAC takes a key of any length"));
        mac.update(purpose);
        mac.finalize().into_bytes().into()
    }
}

fn fresh_pem() -> io::Result<String> {
    let mut seed = [0_u8; 32];
    rand::rngs::OsRng.try_fill_bytes(&mut seed).map_err(io::Error::other)?;
    let pem = SigningKey::from_bytes(&seed).to_pkcs8_pem(LineEnding::LF).map_err(io::Error::other)?;
    Ok(pem.to_string())
}

/// A public key of an outside issuer, with the one algorithm it is used with.
#[derive(Clone)]
pub struct OutsideKey {
    pub(super) algorithm: Algorithm,
    pub(super) verifying: DecodingKey,
}

/// The public keys of an outside issuer, read from a JWKS file. The file is read again when a token
/// names a key that is not in it, at most once in ten seconds.
pub struct OutsideKeys {
    path: PathBuf,
    state: Mutex<State>,
}

struct State {
    keys: HashMap<String, OutsideKey>,
    read_at: Instant,
}

impl OutsideKeys {
    /// Reads the file.
    ///
    /// # Errors
    /// [`KeyError`] where it cannot be read or holds no key that can be used.
    pub fn load(path: &Path) -> Result<Self, KeyError> {
        let keys = read(path)?;
        Ok(Self { path: path.to_owned(), state: Mutex::new(State { keys, read_at: Instant::now() }) })
    }

    /// The key of this identifier.
    pub fn find(&self, kid: &str) -> Option<OutsideKey> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(key) = state.keys.get(kid) {
            return Some(key.clone());
        }
        if state.read_at.elapsed() < COOL_DOWN {
            return None;
        }
        state.read_at = Instant::now();
        match read(&self.path) {
            Ok(keys) => state.keys = keys,
            Err(error) => tracing::warn!(%error, "the outside issuer's keys could not be read again"),
        }
        state.keys.get(kid).cloned()
    }
}

fn read(path: &Path) -> Result<HashMap<String, OutsideKey>, KeyError> {
    let unusable = |why: String| KeyError::Unusable { path: path.to_owned(), why };
    let text = fs::read_to_string(path).map_err(|source| KeyError::File { path: path.to_owned(), source })?;
    let set: JwkSet = serde_json::from_str(&text).map_err(|e| unusable(format!("no JWKS: {e}")))?;
    let keys: HashMap<_, _> = set.keys.iter().filter_map(usable).collect();
    if keys.is_empty() {
        return Err(unusable("none of its keys has a `kid` and is for EdDSA, ES256 or RS256".to_owned()));
    }
    Ok(keys)
}

/// The algorithm is pinned by the key, never taken from the token.
fn usable(jwk: &Jwk) -> Option<(String, OutsideKey)> {
    let algorithm = match &jwk.algorithm {
        AlgorithmParameters::OctetKeyPair(key) if key.curve == EllipticCurve::Ed25519 => Algorithm::EdDSA,
        AlgorithmParameters::EllipticCurve(key) if key.curve == EllipticCurve::P256 => Algorithm::ES256,
        AlgorithmParameters::RSA(_) => Algorithm::RS256,
        _ => return None,
    };
    let kid = jwk.common.key_id.clone()?;
    Some((kid, OutsideKey { algorithm, verifying: DecodingKey::from_jwk(jwk).ok()? }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("holt-keys-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        folder
    }

    #[test]
    fn a_key_is_made_once_and_kept_private() {
        let folder = folder("once");
        let path = folder.join("keys/signing.pem");
        let made = OwnKey::load_or_make(&path).unwrap();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        assert_eq!(OwnKey::load_or_make(&path).unwrap().kid, made.kid);
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
        assert!(matches!(OwnKey::load_or_make(&path), Err(KeyError::TooOpen(_))));
        fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn servers_that_start_at_once_end_up_with_one_key() {
        let folder = folder("race");
        let path = folder.join("signing.pem");
        fs::create_dir_all(&folder).unwrap();
        let kids: Vec<String> = std::thread::scope(|scope| {
            let starts: Vec<_> =
                (0..8).map(|_| scope.spawn(|| OwnKey::load_or_make(&path).unwrap().kid)).collect();
            starts.into_iter().map(|start| start.join().unwrap()).collect()
        });
        assert!(kids.iter().all(|kid| *kid == kids[0]), "{kids:?}");
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 1, "no draft is left");
        fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn a_file_that_is_no_key_is_told_by_name() {
        let folder = folder("none");
        fs::create_dir_all(&folder).unwrap();
        let path = folder.join("signing.pem");
        fs::write(&path, "not a key").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
        let told = OwnKey::load_or_make(&path).unwrap_err().to_string();
        assert!(told.contains("signing.pem") && told.contains("Ed25519"), "{told}");
        fs::remove_dir_all(folder).unwrap();
    }
}
