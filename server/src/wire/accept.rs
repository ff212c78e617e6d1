//! Taking lines as they come in. What goes wrong while one is taken is told once a minute, and waited for.

use super::line::{Line, Patience};
use super::peers::{Admission, Peers};
use std::io::{self, ErrorKind};
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::{Duration, Instant};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::time::Sleep;
use tokio_stream::Stream;

/// How long nothing is taken after that went wrong for want of something: trying at once would keep a processor busy.
const PAUSE: Duration = Duration::from_millis(200);

/// How long somebody waits at a time for one of those who give way, and how often.
const TURN: Duration = Duration::from_millis(5);
const TURNS: u32 = 100;

/// How often it is told that lines cannot be taken.
const TOLD_EVERY: Duration = Duration::from_secs(60);

/// How many may stand before the door until they are taken. Of more at once the operating system drops some, and they
/// may believe for ever that they are in.
const BEFORE_THE_DOOR: u32 = 4096;

/// A door at an address.
///
/// # Errors
/// Where the address is taken or not ours.
pub fn listen(address: SocketAddr) -> io::Result<TcpListener> {
    let make = if address.is_ipv4() { TcpSocket::new_v4 } else { TcpSocket::new_v6 };
    let socket = make()?;
    // A server that starts again takes its address at once, whatever is left of its last connections.
    socket.set_reuseaddr(true)?;
    socket.bind(address)?;
    socket.listen(BEFORE_THE_DOOR)
}

/// Where lines come from.
pub trait Source: Unpin {
    /// The next, as soon as there is one.
    fn poll_next_line(&self, context: &mut Context<'_>) -> Poll<io::Result<(TcpStream, SocketAddr)>>;
}

impl Source for TcpListener {
    fn poll_next_line(&self, context: &mut Context<'_>) -> Poll<io::Result<(TcpStream, SocketAddr)>> {
        self.poll_accept(context)
    }
}

/// Lines as they come in.
pub struct Incoming<S = TcpListener> {
    source: S,
    peers: Arc<Peers>,
    patience: Patience,
    pause: Option<Pin<Box<Sleep>>>,
    /// Somebody who waits for a place, and for which time.
    waiting: Option<(TcpStream, SocketAddr, u32)>,
    told: Option<Instant>,
}

impl<S: Source> Incoming<S> {
    /// Lines of a source, each with its place among the peers.
    pub const fn new(source: S, peers: Arc<Peers>, patience: Patience) -> Self {
        Self { source, peers, patience, pause: None, waiting: None, told: None }
    }

    /// The next who comes, or who came and waits.
    fn poll_next_of_all(
        &mut self,
        context: &mut Context<'_>,
    ) -> Poll<io::Result<(TcpStream, SocketAddr, u32)>> {
        if let Some(waiting) = self.waiting.take() {
            return Poll::Ready(Ok(waiting));
        }
        self.source.poll_next_line(context).map_ok(|(stream, from)| (stream, from, 0))
    }

    fn tell(&mut self, what: &str) {
        if self.told.is_none_or(|told| told.elapsed() >= TOLD_EVERY) {
            self.told = Some(Instant::now());
            tracing::warn!(why = what, "a connection was not taken; more of these are not told for a minute");
        }
    }
}

impl<S: Source> Stream for Incoming<S> {
    type Item = io::Result<Line>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        loop {
            if let Some(pause) = &mut self.pause {
                ready!(pause.as_mut().poll(context));
                self.pause = None;
            }
            match ready!(self.poll_next_of_all(context)) {
                Ok((stream, from, turn)) => {
                    let seat = match self.peers.admit(from.ip()) {
                        Admission::Seat(seat) => seat,
                        Admission::Soon if turn < TURNS => {
                            self.waiting = Some((stream, from, turn + 1));
                            self.pause = Some(Box::pin(tokio::time::sleep(TURN)));
                            continue;
                        }
                        Admission::Soon | Admission::Full => {
                            self.tell(
                                "there are as many as server.max_connections or max_connections_per_peer allows",
                            );
                            continue;
                        }
                    };
                    // Without it, an answer of several packets waits until the caller has acknowledged the first: 40 ms.
                    if let Err(error) = stream.set_nodelay(true) {
                        tracing::debug!(%error, "a line is slower than it could be");
                    }
                    return Poll::Ready(Some(Ok(Line::new(stream, seat, self.patience))));
                }
                // The other side went away before it was taken: nothing is short.
                Err(error) if error.kind() == ErrorKind::ConnectionAborted => {}
                Err(error) => {
                    self.tell(&error.to_string());
                    self.pause = Some(Box::pin(tokio::time::sleep(PAUSE)));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    /// A machine without a file to spare.
    struct Exhausted(Arc<AtomicUsize>);

    impl Source for Exhausted {
        fn poll_next_line(&self, _: &mut Context<'_>) -> Poll<io::Result<(TcpStream, SocketAddr)>> {
            self.0.fetch_add(1, Ordering::Relaxed);
            Poll::Ready(Err(rustix::io::Errno::MFILE.into()))
        }
    }

    #[tokio::test]
    async fn want_of_files_is_waited_for_and_not_tried_again_at_once() {
        let tries = Arc::new(AtomicUsize::new(0));
        let second = Duration::from_secs(1);
        let patience = Patience { opening: second, silence: second, reply: second };
        let mut incoming = Incoming::new(Exhausted(Arc::clone(&tries)), Peers::new(1, 0), patience);
        let next = std::future::poll_fn(|context| Pin::new(&mut incoming).poll_next(context));
        assert!(tokio::time::timeout(4 * PAUSE, next).await.is_err());
        let tries = tries.load(Ordering::Relaxed);
        assert!((1..=5).contains(&tries), "{tries} tries");
        assert!(incoming.told.is_some());
    }
}
