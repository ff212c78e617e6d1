//! The lines on which callers come in, before anything is said on them: how many, from where, how long they may be
//! silent, and how much may be on its way to somebody who does not read it. Nothing here knows of animals or of gRPC.

mod accept;
mod files;
mod flow;
mod line;
mod peers;

pub use accept::{Incoming, listen};
pub use files::raise_open_files;
pub use line::{Line, Patience};
pub use peers::{Peer, Peers};
