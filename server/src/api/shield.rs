//! What every call of `holt.v1` goes through before a handler sees it: its number, its limits, who it is
//! from, whether its method is theirs to call. And what the handler is shielded from: it runs as a task
//! of its own, so that a caller who goes away, or a deadline, never cuts it off between two statements.

use crate::access::roles::{self, Need};
use crate::access::token::Bearer;
use crate::api::bounds::{self, Bounds};
use crate::api::turns::{Most, Turns};
use crate::api::{encode, status};
use crate::model::reason::Reason;
use crate::records::error::Refusal;
use crate::records::{Records, people};
use crate::wire::Peer;
use http::{HeaderMap, HeaderValue, Request, Response};
use std::any::Any;
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::{Duration, Instant};
use tokio_util::task::TaskTracker;
use tonic::Status;
use tonic::body::Body;
use tonic::transport::server::TlsConnectInfo;
use tower::{Layer, Service};
use tracing::Instrument;
use uuid::Uuid;

/// Names a call in every log line and in the answer.
const CALL_ID: &str = "x-request-id";

/// Our answer to a deadline must be on its way before the transport gives its own.
const HEAD_START: Duration = Duration::from_millis(20);

/// All that whoever shows no token may send, bytes: names, passwords and refresh tokens are short.
const STRANGERS_REQUEST: usize = 16 * 1024;

/// All that may be asked on one stream of the services that are open to all, bytes.
const OPEN_REQUEST: usize = 64 * 1024;

/// Calls that last for as long as somebody speaks.
const LASTING: [&str; 2] = ["ClimateService/SendReadings", "WatchService/FollowWatch"];

/// The one call that takes many messages as a whole.
const TAKES_IN: &str = "ExchangeService/TakeInLives";

/// What calls are held to.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// How many there are at a time.
    pub most: Most,
    /// Longest time of one.
    pub call: Duration,
    /// Longest time in which nothing of a request comes.
    pub body: Duration,
    /// The same on a stream that lasts.
    pub stream_silence: Duration,
    /// All that is taken in at once, bytes.
    pub taken_in: usize,
}

/// The layer around all services.
#[derive(Clone)]
pub struct ShieldLayer {
    shared: Arc<Shared>,
}

struct Shared {
    records: Records,
    turns: Arc<Turns>,
    tasks: TaskTracker,
    limits: Limits,
}

impl ShieldLayer {
    /// A layer that holds calls to their limits. They are counted by `tasks` until they are done, whether or not
    /// their caller still waits.
    #[must_use]
    pub fn new(records: Records, limits: Limits, tasks: TaskTracker) -> Self {
        let turns = Turns::new(limits.most);
        Self { shared: Arc::new(Shared { records, turns, tasks, limits }) }
    }
}

impl<S> Layer<S> for ShieldLayer {
    type Service = Shield<S>;

    fn layer(&self, inner: S) -> Shield<S> {
        Shield { inner, shared: Arc::clone(&self.shared) }
    }
}

/// A service behind the shield.
#[derive(Clone)]
pub struct Shield<S> {
    inner: S,
    shared: Arc<Shared>,
}

type Answer = Result<Response<Body>, Infallible>;

impl<S> Service<Request<Body>> for Shield<S>
where
    S: Service<Request<Body>, Response = Response<Body>, Error = Infallible> + Clone + Send + 'static,
    S::Future: Send,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Answer> + Send>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, request: Request<Body>) -> Self::Future {
        // The clone has not been asked whether it is ready; the one that was is used.
        let next = self.inner.clone();
        let mut inner = std::mem::replace(&mut self.inner, next);
        if !request.uri().path().starts_with("/holt.") {
            // Health and reflection: open to all, and streams that must not be tasks of ours.
            let peer = peer(&request);
            let silence = self.shared.limits.stream_silence;
            let bounds = Bounds { bytes: Some(OPEN_REQUEST), silence, end: None };
            let request = request.map(|body| bounds.around(body));
            return Box::pin(async move {
                let response = inner.call(request).await?;
                Ok(match peer {
                    Some(peer) => response.map(|body| bounds::reply(body, peer, None)),
                    None => response,
                })
            });
        }
        let shared = Arc::clone(&self.shared);
        Box::pin(async move { Ok(guard(&shared, inner, request).await) })
    }
}

async fn guard<S>(shared: &Arc<Shared>, inner: S, request: Request<Body>) -> Response<Body>
where
    S: Service<Request<Body>, Response = Response<Body>, Error = Infallible> + Send + 'static,
    S::Future: Send,
{
    let began = Instant::now();
    let call = call_id(request.headers());
    let path = request.uri().path().to_owned();
    let method = path.strip_prefix("/holt.v1.").unwrap_or(&path);
    let span = tracing::info_span!("call", call.id = %call, rpc.method = method);
    let answer = run(shared, inner, request, began).instrument(span.clone()).await;
    let mut response = answer.unwrap_or_else(Status::into_http);
    let code = response.headers().get("grpc-status").and_then(|code| code.to_str().ok()).unwrap_or("0");
    span.in_scope(|| {
        let duration_ms = u64::try_from(began.elapsed().as_millis()).unwrap_or(u64::MAX);
        tracing::info!(rpc.code = code, duration_ms, "answered");
    });
    if let Ok(call) = HeaderValue::from_str(&call) {
        response.headers_mut().insert(CALL_ID, call);
    }
    response
}

async fn run<S>(
    shared: &Arc<Shared>,
    mut inner: S,
    mut request: Request<Body>,
    began: Instant,
) -> Result<Response<Body>, Status>
where
    S: Service<Request<Body>, Response = Response<Body>, Error = Infallible> + Send + 'static,
    S::Future: Send,
{
    let Some((method, need)) = roles::need(request.uri().path()) else {
        return Err(Status::unimplemented("there is no such method"));
    };
    let Limits { call, body: silence, stream_silence, taken_in, .. } = shared.limits;
    let peer = peer(&request);
    let wait = time_allowed(request.headers(), call);
    let deadline = began + wait;
    let (bearer, turn) = if need == Need::Nothing {
        if let Some(peer) = &peer {
            shared.turns.count(peer.address())?;
        }
        // Read before they have a turn: whoever never comes to an end takes none.
        let wait = silence.min(wait);
        let bounds = Bounds { bytes: Some(STRANGERS_REQUEST), silence, end: Some(began + wait) };
        let body = bounds.whole(std::mem::take(request.body_mut())).await?;
        *request.body_mut() = body;
        (None, shared.turns.take_as_stranger(wait).await?)
    } else {
        let bearer = shown(&shared.records, need, request.headers())?;
        if let Some(peer) = &peer {
            peer.introduce();
        }
        let turn = shared.turns.take(people::person_of(&bearer.person))?;
        (Some(bearer), turn)
    };
    let lasting = LASTING.contains(&method);
    if bearer.is_some() {
        let bounds = if lasting {
            Bounds { bytes: None, silence: stream_silence, end: None }
        } else {
            Bounds { bytes: (method == TAKES_IN).then_some(taken_in), silence, end: Some(deadline) }
        };
        request = request.map(|body| bounds.around(body));
    }
    let import = if method == TAKES_IN { Some(shared.turns.take_in(wait).await?) } else { None };
    let records = shared.records.clone();
    let work = async move {
        let mut unreadable = None;
        if let Some(bearer) = bearer {
            let caller = people::caller(&records, &bearer, Some(deadline)).await.map_err(status::from)?;
            if let Need::Role(deed) = need {
                caller.reach(deed).map_err(|denied| status::refused(denied.into()))?;
            }
            tracing::debug!(person.id = %caller.person, "let in");
            unreadable = Some(caller.unreadable().clone());
            request.extensions_mut().insert(caller);
        }
        let Ok(response) = inner.call(request).await;
        drop(import);
        let mut response = status::readable(response);
        if let Some(unreadable) = unreadable {
            encode::name_unreadable(response.headers_mut(), &unreadable.take());
        }
        Ok((response, turn))
    };
    let task = shared.tasks.spawn(work.in_current_span());
    let (response, turn) = match tokio::time::timeout_at(deadline.into(), task).await {
        Ok(Ok(answer)) => answer,
        Ok(Err(error)) => match error.try_into_panic() {
            Ok(panic) => Err(status::incident(&format!("a handler panicked: {}", words(&*panic)))),
            Err(_) => Err(status::refused(status::away())),
        },
        // The task goes on to its end; whoever sends the same request again learns what came of it.
        Err(_) => Err(status::refused(status::late())),
    }?;
    let Some(peer) = peer else { return Ok(response) };
    // A reply that nobody takes is a call that is not over. A stream that lasts has a place among the streams
    // instead, and still is one of its person's.
    let held: Box<dyn Any + Send> = if lasting { Box::new(turn.own) } else { Box::new(turn) };
    Ok(response.map(|body| bounds::reply(body, peer, Some(held))))
}

/// Who is at the other end of the line.
fn peer(request: &Request<Body>) -> Option<Arc<Peer>> {
    let extensions = request.extensions();
    let over_tls = || Some(extensions.get::<TlsConnectInfo<Arc<Peer>>>()?.get_ref());
    extensions.get::<Arc<Peer>>().or_else(over_tls).cloned()
}

/// What a token says that is shown and is good enough.
fn shown(records: &Records, need: Need, headers: &HeaderMap) -> Result<Bearer, Status> {
    let token = headers
        .get(http::header::AUTHORIZATION)
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.strip_prefix("Bearer ").or_else(|| value.strip_prefix("bearer ")))
        .ok_or_else(|| status::refused(people::not_signed_in()))?;
    let bearer = records.door.verify(token.trim(), records.store.now()).map_err(status::refused)?;
    if bearer.must_change_password && need != Need::AnyToken {
        return Err(status::refused(Refusal::new(
            Reason::PasswordChangeNeeded,
            "the one-time password must be changed first",
            "set your own password",
        )));
    }
    Ok(bearer)
}

/// The caller's own name for the call, where it has one that is fit to print; a fresh one otherwise.
#[expect(clippy::disallowed_methods, reason = "the number of a call does not identify a record")]
fn call_id(headers: &HeaderMap) -> String {
    headers
        .get(CALL_ID)
        .and_then(|value| value.to_str().ok())
        .filter(|text| (1..=64).contains(&text.len()))
        .filter(|text| text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_'))
        .map_or_else(|| Uuid::now_v7().to_string(), str::to_owned)
}

/// How long the call may take: the caller's deadline, or the limit where that is sooner.
fn time_allowed(headers: &HeaderMap, limit: Duration) -> Duration {
    let asked = headers.get("grpc-timeout").and_then(|value| value.to_str().ok()).and_then(timeout);
    match asked {
        Some(asked) if asked < limit => asked.saturating_sub(HEAD_START.min(asked / 5)),
        _ => limit,
    }
}

/// Reads `grpc-timeout`: at most eight digits and a unit (gRPC over HTTP/2, section Requests).
fn timeout(text: &str) -> Option<Duration> {
    let (digits, unit) = text.split_at_checked(text.len().checked_sub(1)?)?;
    if digits.len() > 8 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let n: u64 = digits.parse().ok()?;
    Some(match unit {
        "H" => Duration::from_secs(n * 3600),
        "M" => Duration::from_secs(n * 60),
        "S" => Duration::from_secs(n),
        "m" => Duration::from_millis(n),
        "u" => Duration::from_micros(n),
        "n" => Duration::from_nanos(n),
        _ => return None,
    })
}

fn words(panic: &(dyn Any + Send)) -> &str {
    panic
        .downcast_ref::<&str>()
        .copied()
        .or_else(|| panic.downcast_ref::<String>().map(String::as_str))
        .unwrap_or("without words")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn deadlines_are_read_as_the_protocol_writes_them() {
        for (text, wanted) in [
            ("1H", Some(3_600_000)),
            ("2M", Some(120_000)),
            ("3S", Some(3_000)),
            ("250m", Some(250)),
            ("5000u", Some(5)),
            ("9000000n", Some(9)),
            ("123456789m", None),
            ("m", None),
            ("", None),
            ("-1m", None),
            ("1x", None),
        ] {
            assert_eq!(timeout(text), wanted.map(Duration::from_millis), "{text}");
        }
    }

    #[test]
    fn a_deadline_is_answered_before_the_transport_does_and_never_after_the_limit() {
        let mut headers = HeaderMap::new();
        let limit = Duration::from_secs(30);
        assert_eq!(time_allowed(&headers, limit), limit);
        headers.insert("grpc-timeout", HeaderValue::from_static("1S"));
        assert_eq!(time_allowed(&headers, limit), Duration::from_millis(980));
        headers.insert("grpc-timeout", HeaderValue::from_static("50m"));
        assert_eq!(time_allowed(&headers, limit), Duration::from_millis(40));
        headers.insert("grpc-timeout", HeaderValue::from_static("1H"));
        assert_eq!(time_allowed(&headers, limit), limit);
    }

    #[test]
    fn a_call_id_is_taken_over_only_where_it_is_fit_to_print() {
        let mut headers = HeaderMap::new();
        headers.insert(CALL_ID, HeaderValue::from_static("abc-123"));
        assert_eq!(call_id(&headers), "abc-123");
        headers.insert(CALL_ID, HeaderValue::from_static("abc 123\t"));
        assert_ne!(call_id(&headers), "abc 123\t");
    }
}
