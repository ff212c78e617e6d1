//! Making a new cluster: whole, or not at all.

use std::{
    fs::{self, File},
    io::Write,
    path::Path,
    process::{Command, Output, Stdio},
};

use super::{
    account::Account,
    error::{Doing, Error},
    find::Binaries,
    folder,
    layout::Layout,
    log,
};

/// The superuser of the cluster.
pub(super) const OWNER: &str = "holt_owner";
/// The database that a new cluster has.
const DATABASE: &str = "holt";
/// How the names of unfinished clusters begin.
const UNFINISHED: &str = "unfinished-";

/// Makes a cluster under another name and renames it. What is killed in between leaves a folder that the
/// next start removes; each has its own name, as an orphaned `initdb` may still be writing into it.
pub(super) fn make(
    layout: &Layout,
    account: &Account,
    binaries: &Binaries,
    durable: bool,
) -> Result<(), Error> {
    sweep(layout);
    let stage = layout.root.join(format!("{UNFINISHED}{:016x}", rand::random::<u64>()));
    folder::make_private(&stage).doing("make", &stage)?;
    let password = stage.join("password");
    write_password(&password, account)?;
    account.give(&stage)?;
    let data = stage.join("data");

    let mut initdb = account.command(binaries.dir.join("initdb"));
    initdb
        .arg("--pgdata")
        .arg(&data)
        .arg("--pwfile")
        .arg(&password)
        .args(["--username", OWNER, "--auth", "scram-sha-256", "--encoding", "UTF8", "--locale", "C.UTF-8"])
        .args(["--data-checksums", "--no-instructions"]);
    if !durable {
        initdb.arg("--no-sync");
    }
    let output = initdb.output().doing("run", binaries.dir.join("initdb"))?;
    judge("initdb", &output, layout)?;
    create_database(&data, account, binaries, durable, layout)?;

    let version = layout.version(binaries.major);
    fs::rename(&stage, &version).doing("give its final name to", &stage)?;
    if durable {
        // The name must be on disk before anything that is kept under it.
        File::open(&layout.root).and_then(|root| root.sync_all()).doing("write to disk", &layout.root)?;
    }
    Ok(())
}

fn sweep(layout: &Layout) {
    for entry in fs::read_dir(&layout.root).into_iter().flatten().flatten() {
        if entry.file_name().to_string_lossy().starts_with(UNFINISHED) {
            // An orphan may still write into it; then the next new cluster finds it again.
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

fn write_password(path: &Path, account: &Account) -> Result<(), Error> {
    let secret: [u8; 24] = rand::random();
    let text: String = secret.iter().map(|byte| format!("{byte:02x}")).collect();
    let mut file = folder::fresh_file(path, 0o600)?;
    file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).doing("write", path)?;
    account.give_file(&file, path)
}

/// Creates the database without a running server: `psql` is not part of every set of server programs.
fn create_database(
    data: &Path,
    account: &Account,
    binaries: &Binaries,
    durable: bool,
    layout: &Layout,
) -> Result<(), Error> {
    let mut single = account.command(binaries.dir.join("postgres"));
    single.arg("--single").arg("-D").arg(data);
    if !durable {
        single.arg("-F");
    }
    single.args(["-c", "exit_on_error=on", "postgres"]);
    let output = with_input(&mut single, &format!("CREATE DATABASE {DATABASE}\n"))
        .doing("run", binaries.dir.join("postgres"))?;
    judge("postgres --single", &output, layout)
}

fn with_input(command: &mut Command, input: &str) -> std::io::Result<Output> {
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn()?;
    if let Some(mut stdin) = child.stdin.take() {
        stdin.write_all(input.as_bytes())?;
    }
    child.wait_with_output()
}

fn judge(program: &'static str, output: &Output, layout: &Layout) -> Result<(), Error> {
    if output.status.success() {
        return Ok(());
    }
    Err(Error::InitFailed {
        program,
        dir: layout.root.clone(),
        status: output.status,
        said: log::end_of(&[output.stdout.as_slice(), &output.stderr].concat()),
    })
}
