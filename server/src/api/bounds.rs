//! What a request may hold and how long it may take to come, and what becomes of a reply.

use crate::api::status;
use crate::wire::Peer;
use http_body::{Frame, SizeHint};
use http_body_util::{BodyExt, Full};
use prost::bytes::{Buf, Bytes, BytesMut};
use std::any::Any;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::{Duration, Instant};
use tokio::time::Sleep;
use tonic::Status;
use tonic::body::Body;

/// What a request is held to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
    /// Bytes in all; none: each message has its own limit, and there may be any number.
    pub(super) bytes: Option<usize>,
    /// Longest time in which nothing comes.
    pub(super) silence: Duration,
    /// When all of it must be there; none: it may come for as long as somebody speaks.
    pub(super) end: Option<Instant>,
}

/// A request that is held to its bounds.
struct Bounded {
    inner: Body,
    bounds: Bounds,
    timer: Pin<Box<Sleep>>,
}

impl Bounds {
    /// The same request, which is refused in its middle where it does not keep to the bounds.
    pub(super) fn around(self, inner: Body) -> Body {
        let timer = Box::pin(tokio::time::sleep_until(self.next()));
        Body::new(Bounded { inner, bounds: self, timer })
    }

    /// All of a request that keeps to the bounds: whoever waits for it holds nothing but it.
    ///
    /// # Errors
    /// Refused where it does not.
    pub(super) async fn whole(self, body: Body) -> Result<Body, Status> {
        let mut body = self.around(body);
        let mut whole = BytesMut::new();
        while let Some(frame) = body.frame().await {
            if let Ok(data) = frame?.into_data() {
                whole.extend_from_slice(&data);
            }
        }
        Ok(Body::new(Full::new(whole.freeze())))
    }

    fn next(self) -> tokio::time::Instant {
        let silent = Instant::now() + self.silence;
        self.end.map_or(silent, |end| end.min(silent)).into()
    }
}

impl http_body::Body for Bounded {
    type Data = Bytes;
    type Error = Status;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Status>>> {
        let Poll::Ready(frame) = Pin::new(&mut self.inner).poll_frame(context) else {
            ready!(self.timer.as_mut().poll(context));
            return Poll::Ready(Some(Err(status::refused(status::silent()))));
        };
        let come = frame.as_ref().and_then(|frame| frame.as_ref().ok()?.data_ref()).map_or(0, Buf::remaining);
        if let Some(left) = &mut self.bounds.bytes {
            match left.checked_sub(come) {
                Some(rest) => *left = rest,
                None => return Poll::Ready(Some(Err(status::refused(status::too_large())))),
            }
        }
        let next = self.bounds.next();
        self.timer.as_mut().reset(next);
        Poll::Ready(frame)
    }

    fn is_end_stream(&self) -> bool {
        self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}

/// A reply on its way: what it holds is let go when the caller has taken it.
struct Reply {
    inner: Body,
    peer: Arc<Peer>,
    held: Option<Box<dyn Any + Send>>,
    given: usize,
    ended: bool,
}

/// The same reply, counted as on its way to its caller, who holds `held` until they have taken it.
pub(super) fn reply(inner: Body, peer: Arc<Peer>, held: Option<Box<dyn Any + Send>>) -> Body {
    Body::new(Reply { inner, peer, held, given: 0, ended: false })
}

impl http_body::Body for Reply {
    type Data = Bytes;
    type Error = Status;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Status>>> {
        let frame = ready!(Pin::new(&mut self.inner).poll_frame(context));
        let bytes =
            frame.as_ref().and_then(|frame| frame.as_ref().ok()?.data_ref()).map_or(0, Buf::remaining);
        let last = frame.as_ref().is_none_or(|frame| frame.as_ref().is_ok_and(Frame::is_trailers));
        self.ended |= last || self.inner.is_end_stream();
        self.given += bytes;
        if bytes > 0 && !self.peer.give(bytes) {
            return Poll::Ready(Some(Err(status::refused(status::too_many_calls()))));
        }
        Poll::Ready(frame)
    }

    fn is_end_stream(&self) -> bool {
        self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}

impl Drop for Reply {
    fn drop(&mut self) {
        if !self.ended {
            // Called off: what was not sent by now never will be.
            self.peer.take(self.given);
        }
        if let Some(held) = self.held.take() {
            self.peer.hold(held);
        }
    }
}
