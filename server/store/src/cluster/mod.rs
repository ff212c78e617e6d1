//! The private PostgreSQL that `holtd` keeps for those who run no database server themselves.
//!
//! It listens on a Unix socket only, in a folder that nobody else may enter, and lives exactly as long as the
//! process that started it. One folder holds everything:
//!
//! ```text
//! data_dir/
//! ├─ lock            held by the one holtd that may work here; names it
//! ├─ watchdog.sh     what ends the server when holtd is gone
//! ├─ startup.log     what the server said before it began its own log
//! ├─ log/            the server's log, one file per weekday, overwritten after a week
//! ├─ socket/         the socket, unless this path is too long for one
//! └─ 15/             one folder per major version, made elsewhere and renamed: it is whole or absent
//!    ├─ data/        the cluster itself
//!    └─ password     of the superuser `holt_owner`, mode 0600
//! ```
//!
//! **Why a watchdog and not the kernel's parent-death signal.** That signal follows the *thread* that started
//! the child: a runtime ends an idle blocking thread after seconds and the server would be shut down with it
//! (seen by trying). It exists on one system only, is lost on a change of user, and cannot remove the folder
//! of a cluster made for one run. A shell that waits for the end of a pipe works from any thread, needs no
//! unsafe code, and it shares the lock: whoever starts next waits until the old server has gone, instead of
//! racing with its end. The same script ends the server in an orderly stop, and one left over from a time
//! when `holtd` and its watchdog were both killed: there is one way of stopping.
//!
//! A server left over is ended and started anew rather than adopted: it costs a second, and afterwards every
//! running server is a child of the process that uses it, with the settings of today.
//!
//! `holtd` as root starts the server as the owner of the data, else `postgres`, else `nobody`: PostgreSQL
//! refuses to run as root. All of this is ordinary blocking work on a few files and processes; only
//! [`Cluster`] itself is asynchronous.

mod account;
mod address;
mod error;
mod find;
mod folder;
mod initdb;
mod layout;
mod lock;
mod log;
mod places;
mod postmaster;
mod running;
mod settings;
mod watchdog;

pub use address::Address;
pub use error::Error;
pub use places::{first_open, scratch};
pub use running::Cluster;
pub use settings::Settings;
