//! Stands between a server and PostgreSQL, and counts the statements that pass.
//!
//! Counted where they travel: messages `Execute` and `Query` of the frontend (PostgreSQL documentation,
//! chapter "Frontend/Backend Protocol", section "Message Formats"), so that nothing sent is missed.

use sqlx::postgres::PgConnectOptions;
use std::str::FromStr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::unix::{OwnedReadHalf, OwnedWriteHalf};
use tokio::net::{UnixListener, UnixStream};

/// Codes of what may come before the start-up message: a wish for TLS, for GSSAPI.
const WISHES: [u32; 2] = [80_877_103, 80_877_104];

/// A tap on the way to a database.
pub struct Tap {
    /// The database, by way of the tap.
    pub url: String,
    count: Arc<AtomicU64>,
    _folder: TempDir,
}

impl Tap {
    /// Opens a tap on the way to a database.
    pub async fn on(url: &str) -> Self {
        let options = PgConnectOptions::from_str(url).unwrap();
        let name = format!(".s.PGSQL.{}", options.get_port());
        let behind = options.get_socket().expect("the test cluster listens at a socket").join(&name);
        let folder = tempfile::tempdir().unwrap();
        let listener = UnixListener::bind(folder.path().join(&name)).unwrap();
        let count = Arc::new(AtomicU64::new(0));
        let seen = Arc::clone(&count);
        tokio::spawn(async move {
            while let Ok((front, _)) = listener.accept().await {
                let back = UnixStream::connect(&behind).await.unwrap();
                let (from, to) = (front.into_split(), back.into_split());
                let (mut answers, mut asker) = (to.0, from.1);
                tokio::spawn(async move { tokio::io::copy(&mut answers, &mut asker).await });
                tokio::spawn(pass(from.0, to.1, Arc::clone(&seen)));
            }
        });
        let (base, _) = url.split_once("?host=").unwrap();
        let url = format!("{base}?host={}", folder.path().to_str().unwrap());
        Self { url, count, _folder: folder }
    }

    /// Statements that have passed so far.
    #[must_use]
    pub fn statements(&self) -> u64 {
        self.count.load(Ordering::SeqCst)
    }
}

/// Passes messages on until one side hangs up.
async fn pass(mut from: OwnedReadHalf, mut to: OwnedWriteHalf, count: Arc<AtomicU64>) -> std::io::Result<()> {
    // The first messages have no type, only a length and a code.
    loop {
        let length = from.read_u32().await?;
        let mut body = vec![0; length as usize - 4];
        from.read_exact(&mut body).await?;
        to.write_u32(length).await?;
        to.write_all(&body).await?;
        if !WISHES.iter().any(|wish| body == wish.to_be_bytes()) {
            break;
        }
    }
    loop {
        let kind = from.read_u8().await?;
        let length = from.read_u32().await?;
        let mut body = vec![0; length as usize - 4];
        from.read_exact(&mut body).await?;
        if matches!(kind, b'E' | b'Q') {
            count.fetch_add(1, Ordering::SeqCst);
        }
        to.write_u8(kind).await?;
        to.write_u32(length).await?;
        to.write_all(&body).await?;
    }
}
