//! One line: bytes in and out, and its end where the other side is silent or does not read.

use super::peers::{Peer, Seat};
use std::io::{self, ErrorKind, IoSlice};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio::time::Sleep;
use tokio_util::sync::WaitForCancellationFutureOwned;
use tonic::transport::server::Connected;

/// What a client sends before it may ask anything: the preface and an empty SETTINGS frame (RFC 9113, sections 3.4 and
/// 4.1), bytes.
const OPENING: usize = 24 + 9;

/// How long somebody may keep a line waiting.
#[derive(Clone, Copy, Debug)]
pub struct Patience {
    /// For the opening, from the first moment on.
    pub opening: Duration,
    /// For anything at all, later. Longer than between two pings, which everybody answers.
    pub silence: Duration,
    /// For a reply to be taken.
    pub reply: Duration,
}

/// A line to somebody.
pub struct Line {
    stream: TcpStream,
    seat: Seat,
    patience: Patience,
    /// What was heard of the opening.
    opened: usize,
    /// When something was heard last; at first, when the line was opened.
    heard: Instant,
    next_look: Pin<Box<Sleep>>,
    closed: Pin<Box<WaitForCancellationFutureOwned>>,
}

impl Line {
    pub(super) fn new(stream: TcpStream, seat: Seat, patience: Patience) -> Self {
        let closed = Box::pin(seat.peer().closing().clone().cancelled_owned());
        let next_look = Box::pin(tokio::time::sleep(patience.often()));
        Self { stream, seat, patience, opened: 0, heard: Instant::now(), next_look, closed }
    }

    /// Ready where the line has come to its end, with the reason.
    fn poll_end(&mut self, context: &mut Context<'_>) -> Poll<io::Error> {
        if self.closed.as_mut().poll(context).is_ready() {
            return Poll::Ready(io::Error::new(ErrorKind::ConnectionAborted, "the line was ended"));
        }
        loop {
            ready!(self.next_look.as_mut().poll(context));
            if let Some(why) = self.look(Instant::now()) {
                tracing::debug!(peer = %self.seat.peer().address(), why, "a line is ended");
                return Poll::Ready(io::Error::new(ErrorKind::TimedOut, why));
            }
            self.next_look.as_mut().reset(tokio::time::Instant::now() + self.patience.often());
        }
    }

    /// Why the line is to be ended, if it is.
    fn look(&self, now: Instant) -> Option<&'static str> {
        let Patience { opening, silence, reply } = self.patience;
        let waited = now.saturating_duration_since(self.heard);
        if self.opened < OPENING && waited >= opening {
            return Some("nobody opened the conversation");
        }
        if waited >= silence {
            return Some("nothing was heard");
        }
        let mut flow = self.seat.peer().flow();
        if flow.stands_since().is_some_and(|since| now.saturating_duration_since(since) >= reply) {
            return Some("nobody reads the replies");
        }
        let forgiven = now.checked_sub(reply).map(|then| flow.forgive(then, now));
        drop(flow);
        drop(forgiven);
        None
    }

    fn wrote(&self, written: &Poll<io::Result<usize>>) {
        if let Poll::Ready(Ok(bytes)) = written {
            self.seat.peer().take(*bytes);
        }
    }

    fn or_end(
        &mut self,
        context: &mut Context<'_>,
        written: Poll<io::Result<usize>>,
    ) -> Poll<io::Result<usize>> {
        self.wrote(&written);
        match written {
            Poll::Pending => self.poll_end(context).map(Err),
            ready => ready,
        }
    }
}

impl Patience {
    /// How often it is looked whether it is over.
    fn often(self) -> Duration {
        (self.opening.min(self.silence).min(self.reply) / 4).max(Duration::from_millis(50))
    }
}

impl AsyncRead for Line {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        let read = Pin::new(&mut self.stream).poll_read(context, buffer);
        if read.is_pending() {
            return self.poll_end(context).map(Err);
        }
        let bytes = buffer.filled().len() - before;
        if self.opened < OPENING {
            // The whole opening has one time: a byte now and then does not prolong it.
            self.opened += bytes;
        }
        if self.opened >= OPENING && bytes > 0 {
            self.heard = Instant::now();
        }
        read
    }
}

impl AsyncWrite for Line {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.or_end(context, written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        parts: &[IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write_vectored(context, parts);
        self.or_end(context, written)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}

impl Connected for Line {
    type ConnectInfo = Arc<Peer>;

    fn connect_info(&self) -> Arc<Peer> {
        Arc::clone(self.seat.peer())
    }
}
