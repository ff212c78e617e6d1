//! A running cluster, from its start to its end.

use std::{
    fs, io,
    path::{Path, PathBuf},
    process::Child,
    thread,
    time::Duration,
};

use super::{
    account::Account,
    address::Address,
    error::{Doing, Error},
    find, folder, initdb,
    layout::{Layout, PORT},
    lock::Lock,
    log, places, postmaster,
    settings::Settings,
    watchdog::Watchdog,
};

/// A private PostgreSQL that runs for as long as this value lives. Has the database `holt`.
///
/// [`stop`](Self::stop) ends it and waits; dropping the value, or the death of the process, ends it too.
#[derive(Debug)]
pub struct Cluster {
    address: Address,
    major: u32,
    held: Option<Held>,
}

/// What has to be given back.
#[derive(Debug)]
struct Held {
    layout: Layout,
    account: Account,
    lock: Lock,
    major: u32,
    /// The folders of a cluster for one run.
    remove: Vec<PathBuf>,
    watchdog: Watchdog,
    postmaster: Option<Child>,
}

impl Cluster {
    /// Starts the cluster in its folder, making both if they are absent, and waits until it answers.
    ///
    /// # Errors
    /// Every kind of [`Error`] but [`Error::WontStop`], unless a server left over cannot be stopped.
    pub async fn start(settings: Settings) -> Result<Self, Error> {
        let dir = settings.data_dir.clone();
        let started = tokio::task::spawn_blocking(move || start(&settings)).await;
        started.map_err(io::Error::other).doing("start a database on", dir)?
    }

    /// How to reach it.
    pub fn address(&self) -> &Address {
        &self.address
    }

    /// The address of one of its databases as a URL.
    pub fn url(&self, database: &str) -> String {
        self.address.url(database)
    }

    /// The major version of its server.
    pub fn major(&self) -> u32 {
        self.major
    }

    /// Waits until the server ends by itself, which it never should, and says how it did.
    pub async fn ended(&mut self) -> Error {
        loop {
            if let Some(held) = &mut self.held
                && let Some(child) = &mut held.postmaster
                && let Ok(Some(status)) = child.try_wait()
            {
                let layout = &held.layout;
                let (dir, log, said) = (layout.root.clone(), layout.log(), log::tail(layout));
                return Error::Ended { dir, status, log, said };
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    }

    /// Shuts the server down and waits until it has gone.
    ///
    /// # Errors
    /// [`Error::WontStop`] if it still runs after half a minute and the last resort.
    pub async fn stop(mut self) -> Result<(), Error> {
        let Some(held) = self.held.take() else { return Ok(()) };
        let dir = held.layout.root.clone();
        let ended = tokio::task::spawn_blocking(move || held.end()).await;
        ended.map_err(io::Error::other).doing("stop the database on", dir)?
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        if let Some(held) = self.held.take() {
            // Nobody waits for this thread: if the process ends first, the watchdog goes on alone.
            let _ = thread::Builder::new().name("cluster-end".into()).spawn(move || held.end());
        }
    }
}

impl Held {
    fn end(mut self) -> Result<(), Error> {
        self.lock.leave();
        let data = self.layout.data(self.major);
        let mut stopped = self.watchdog.dismiss();
        if !stopped {
            // It was killed, or could not do it: once more with a new one.
            stopped = Watchdog::post(&self.layout, &self.account, &self.lock, &data, &self.remove)?.dismiss();
        }
        if !stopped {
            return Err(Error::WontStop { data, log: self.layout.log() });
        }
        if let Some(child) = &mut self.postmaster {
            child.wait().doing("take note of the end of the server on", &data)?;
        }
        // The watchdog cannot remove a folder whose parent is not the database user's.
        for folder in self.remove.iter().filter(|folder| folder.exists()) {
            fs::remove_dir_all(folder).doing("remove", folder)?;
        }
        if !self.remove.is_empty() {
            places::tidy(&self.layout.root);
        }
        Ok(())
    }
}

fn start(settings: &Settings) -> Result<Cluster, Error> {
    let found = find::all(settings.bin_dir.as_deref(), settings.path.as_deref(), Path::new("/"))?;
    let account = Account::of(&settings.data_dir, settings.path.as_ref())?;
    let layout = Layout { root: folder::prepare(settings, &account)? };
    let lock = Lock::take(&layout.lock(), &layout.root)?;
    let binaries = find::choose(&found, layout.major(), &layout.root)?;
    account.reach(&binaries.dir.join("postgres"))?;
    let socket_dir = layout.socket_dir(settings.short_dir.as_deref())?;
    folder::private(&socket_dir, &account)?;
    let data = layout.data(binaries.major);
    end_leftover(&layout, &account, &lock, &data, &socket_dir)?;

    let remove = if settings.ephemeral { vec![socket_dir.clone(), layout.root.clone()] } else { Vec::new() };
    let watchdog = Watchdog::post(&layout, &account, &lock, &data, &remove)?;
    let major = binaries.major;
    let mut held = Held { layout, account, lock, major, remove, watchdog, postmaster: None };
    match launch(&mut held, &binaries, &socket_dir, settings) {
        Ok(password) => {
            let address = Address { socket_dir, port: PORT, user: initdb::OWNER.to_owned(), password };
            Ok(Cluster { address, major, held: Some(held) })
        }
        Err(error) => {
            if let Err(also) = held.end() {
                tracing::warn!("after a failed start: {also}");
            }
            Err(error)
        }
    }
}

fn launch(
    held: &mut Held,
    binaries: &find::Binaries,
    socket_dir: &Path,
    settings: &Settings,
) -> Result<String, Error> {
    let (layout, account) = (&held.layout, &held.account);
    if layout.major().is_none() {
        tracing::info!(major = held.major, "making a PostgreSQL cluster in {}", layout.root.display());
        initdb::make(layout, account, binaries, settings.durable)?;
    }
    let path = layout.password(held.major);
    let password = match fs::read_to_string(&path) {
        Ok(text) => text.trim_end().to_owned(),
        Err(source) if source.kind() == io::ErrorKind::NotFound => return Err(Error::NoPassword { path }),
        Err(source) => return Err(source).doing("read", path),
    };
    let child = held.postmaster.insert(postmaster::spawn(layout, account, binaries, socket_dir, settings)?);
    postmaster::wait_until_ready(child, layout, held.major)?;
    tracing::info!(major = held.major, "PostgreSQL is ready in {}", layout.root.display());
    Ok(password)
}

/// Ends a server whose process and watchdog were both killed, then removes the files with its number: that
/// number may be another process's by now, or a zombie's, and PostgreSQL would refuse to start.
fn end_leftover(
    layout: &Layout,
    account: &Account,
    lock: &Lock,
    data: &Path,
    socket_dir: &Path,
) -> Result<(), Error> {
    let pid_file = data.join("postmaster.pid");
    if pid_file.exists() {
        tracing::warn!(
            "an earlier server on {} was not shut down; making sure it has gone",
            layout.root.display()
        );
        if !Watchdog::post(layout, account, lock, data, &[])?.dismiss() {
            return Err(Error::WontStop { data: data.to_owned(), log: layout.log() });
        }
    }
    for path in [pid_file, socket_dir.join(format!(".s.PGSQL.{PORT}.lock"))] {
        match fs::remove_file(&path) {
            Err(source) if source.kind() != io::ErrorKind::NotFound => {
                return Err(source).doing("remove", path);
            }
            _ => {}
        }
    }
    Ok(())
}
