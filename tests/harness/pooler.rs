//! A pooler between every server of a run and PostgreSQL, where `HOLT_TEST_POOLER` names its program: PgBouncer, which
//! hands out connections for one transaction each.

use crate::cluster::login;
use holt_server::store::cluster::Address;
use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::Duration;
use tempfile::TempDir;

/// The number in the name of its socket.
const PORT: u16 = 6432;

/// It is let go of when the run ends, however it does: the shell then reads the end of its input.
const SCRIPT: &str = "\"$0\" \"$1\" & it=$!; read -r _; kill $it";

struct Pooler {
    folder: TempDir,
    _shell: Child,
}

/// The URL that leads through the pooler, where there is one; none of a cluster apart, which is measured, or of a
/// tap, which counts.
pub(crate) fn through(url: &str, cluster: fn() -> &'static Address) -> Option<String> {
    static POOLER: OnceLock<Pooler> = OnceLock::new();
    let program = std::env::var("HOLT_TEST_POOLER").ok().filter(|program| !program.is_empty())?;
    let cluster = cluster();
    let (base, _) =
        url.split_once("?host=").filter(|_| cluster.url("").ends_with(url.rsplit('?').next().unwrap()))?;
    let folder = POOLER.get_or_init(|| start(&program, cluster)).folder.path();
    let (place, database) = base.rsplit_once('/')?;
    let (server, _) = place.rsplit_once(':')?;
    Some(format!("{server}:{PORT}/{database}?host={}", folder.display()))
}

fn start(program: &str, cluster: &Address) -> Pooler {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    let write = |name: &str, text: &str| fs::write(path.join(name), text).unwrap();
    let (name, password) = login().parts();
    write("users", &format!("\"{name}\" \"{password}\"\n"));
    write(
        "ini",
        &format!(
            "[databases]\n* = host={socket} port={port}\n[pgbouncer]\npool_mode = transaction\n\
             listen_port = {PORT}\nunix_socket_dir = {here}\nauth_type = scram-sha-256\nauth_file = {here}/users\n\
             ignore_startup_parameters = extra_float_digits\nmax_client_conn = 2000\ndefault_pool_size = 6\n\
             server_idle_timeout = 5\nlogfile = {here}/log\n",
            socket = cluster.socket_dir.display(),
            port = cluster.port,
            here = path.display(),
        ),
    );
    // It does not run as root, and the socket of the cluster is open to its user alone.
    let user = fs::metadata(&cluster.socket_dir).unwrap();
    for entry in [path.to_owned(), path.join("ini"), path.join("users")] {
        chown(entry, Some(user.uid()), Some(user.gid())).unwrap();
    }
    fs::set_permissions(path, PermissionsExt::from_mode(0o755)).unwrap();
    let mut shell = Command::new("/bin/sh");
    shell.args(["-c", SCRIPT, program]).arg(path.join("ini")).stdin(Stdio::piped());
    let shell = shell.uid(user.uid()).gid(user.gid()).spawn().unwrap();
    wait(&path.join(format!(".s.PGSQL.{PORT}")));
    Pooler { folder, _shell: shell }
}

fn wait(socket: &Path) {
    for _ in 0..500 {
        if socket.exists() {
            return;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    panic!("the pooler did not come up: no {}", socket.display());
}
