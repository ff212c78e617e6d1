//! The way to a server: where it is, how long a call may take, and when it is worth sending again.

use crate::contract::Ask;
use crate::failure::{self, Failure};
use holt_proto::call::Again;
use holt_proto::{UNREADABLE, v1};
use prost::Message;
use std::error::Error;
use std::path::Path;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;
use tokio::time::Instant;
use tonic::metadata::{Ascii, MetadataMap, MetadataValue};
use tonic::transport::{Certificate, Channel, ClientTlsConfig, Endpoint, Uri};
use tonic::{Code, Request, Status};
use tonic_types::StatusExt;

/// Where a server listens that nobody was told about.
pub(crate) const USUAL_SERVER: &str = "http://127.0.0.1:7465";

/// How often a call is sent at most.
const TRIES: u32 = 4;

/// The longest first wait before a call is sent again; it doubles with each further try.
const FIRST_WAIT: Duration = Duration::from_millis(100);

/// Time for the server's own word that a deadline passed, which says more than ours.
const GRACE: Duration = Duration::from_millis(250);

/// The way to one server.
pub(crate) struct Wire {
    server: String,
    channel: Channel,
    timeout: Duration,
    /// What is missing from the answers so far.
    unreadable: Mutex<v1::UnreadableRecords>,
}

impl Wire {
    /// The way to a server, which is not gone until the first call.
    pub(crate) fn new(
        server: &str,
        ca_file: Option<&Path>,
        timeout: Duration,
        plaintext: bool,
    ) -> Result<Self, Failure> {
        let wrong = |say: String| {
            Failure::usage(say, format!("write it with its scheme and port, such as {USUAL_SERVER}"))
        };
        let uri: Uri =
            server.parse().map_err(|error| wrong(format!("`{server}` is not an address: {error}")))?;
        let (Some(scheme), Some(host)) = (uri.scheme_str(), uri.host()) else {
            return Err(wrong(format!("`{server}` is not an address of a server")));
        };
        let endpoint = Endpoint::from(uri.clone()).connect_timeout(timeout);
        let endpoint = match scheme {
            "http" if plaintext || is_this_machine(host) => endpoint,
            "http" => {
                return Err(Failure::usage(
                    format!("passwords and tokens would travel to {host} in the clear"),
                    "use an address with https, or `--plaintext` if the network is private",
                ));
            }
            "https" => secure(endpoint, ca_file)?,
            other => return Err(wrong(format!("`{other}` does not lead to a server"))),
        };
        Ok(Self {
            server: server.to_owned(),
            channel: endpoint.connect_lazy(),
            timeout,
            unreadable: Mutex::default(),
        })
    }

    /// Sends a call, again where that is safe and worth it, and answers within the deadline.
    pub(crate) async fn ask<C: Ask>(&self, message: C, token: Option<&str>) -> Result<C::Answer, Failure> {
        let token = token.map(bearer).transpose()?;
        let began = Instant::now();
        let deadline = began + self.timeout;
        let mut tries = 1;
        loop {
            let left = deadline.saturating_duration_since(Instant::now());
            let mut request = Request::new(message.clone());
            request.set_timeout(left);
            if let Some(token) = &token {
                request.metadata_mut().insert("authorization", token.clone());
            }
            let answer = tokio::time::timeout(left + GRACE, C::send(self.channel.clone(), request)).await;
            let status = match answer {
                Ok(Ok(answer)) => {
                    self.note_unreadable(answer.metadata());
                    return Ok(answer.into_inner());
                }
                Ok(Err(status)) => status,
                Err(_) => return Err(self.too_late(C::AGAIN)),
            };
            let wait = wait(&status, tries);
            if C::AGAIN == Again::Harms
                || !worth_another(&status)
                || tries == TRIES
                || Instant::now() + wait >= deadline
            {
                return Err(self.failure(&status, C::AGAIN, tries, began.elapsed()));
            }
            tokio::time::sleep(wait).await;
            tries += 1;
        }
    }

    /// Notes the records that a server could not read.
    fn note_unreadable(&self, metadata: &MetadataMap) {
        let told = metadata.get_bin(UNREADABLE).and_then(|value| value.to_bytes().ok());
        let Some(told) = told.and_then(|bytes| v1::UnreadableRecords::decode(bytes).ok()) else { return };
        let mut all = self.unreadable.lock().unwrap_or_else(PoisonError::into_inner);
        let more = usize::try_from(told.count).unwrap_or_default().saturating_sub(told.records.len());
        for record in told.records {
            if !all.records.contains(&record) {
                all.records.push(record);
            }
        }
        all.count = all.count.max(i32::try_from(all.records.len() + more).unwrap_or(i32::MAX));
    }

    /// The records that are missing from the answers, for a server could not read them.
    pub(crate) fn unreadable(&self) -> v1::UnreadableRecords {
        self.unreadable.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn failure(&self, status: &Status, again: Again, tries: u32, took: Duration) -> Failure {
        let ours = status.get_details_error_info().is_some();
        match status.code() {
            _ if is_broken(status) => self.unreachable(status, tries, took),
            // What the transport says when a deadline passes, and what the server says.
            Code::Cancelled if !ours => self.too_late(again),
            Code::DeadlineExceeded => self.too_late(again),
            _ => failure::from_server(status),
        }
    }

    fn unreachable(&self, status: &Status, tries: u32, took: Duration) -> Failure {
        let times = if tries == 1 { "once".to_owned() } else { format!("{tries} times") };
        Failure::no_answer(
            format!(
                "no server answers at {} ({}; tried {times} in {:.1} s)",
                self.server,
                root(status),
                took.as_secs_f64()
            ),
            "start one with `holtd`, or say where it is: --server, HOLT_SERVER or `holt profile set server URL`",
        )
    }

    fn too_late(&self, again: Again) -> Failure {
        let mend = match again {
            Again::Reads => "try again, or allow more time with --timeout",
            Again::SameRequest | Again::Harms => {
                "it may have been recorded all the same: look before you enter it again"
            }
        };
        Failure::no_answer(
            format!("no answer from {} within {} s", self.server, self.timeout.as_secs_f64()),
            mend,
        )
    }
}

fn secure(endpoint: Endpoint, ca_file: Option<&Path>) -> Result<Endpoint, Failure> {
    let tls = match ca_file {
        None => ClientTlsConfig::new().with_native_roots(),
        Some(path) => {
            let pem = std::fs::read(path).map_err(|error| Failure::named_file(path, &error))?;
            ClientTlsConfig::new().ca_certificate(Certificate::from_pem(pem))
        }
    };
    endpoint.tls_config(tls).map_err(|error| {
        Failure::usage(
            format!("TLS cannot be used: {}", root(&error)),
            "give the certificates of the authority as PEM with --ca-file",
        )
    })
}

fn is_this_machine(host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    bare == "localhost" || bare.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}

fn bearer(token: &str) -> Result<MetadataValue<Ascii>, Failure> {
    format!("Bearer {}", token.trim())
        .parse()
        .map_err(|_| Failure::not_signed_in("not a valid token: it has characters that no token has"))
}

/// No server said so: there was none, or the connection broke. One that was idle for long, while somebody typed, is
/// found closed by the next call only.
fn is_broken(status: &Status) -> bool {
    matches!(status.code(), Code::Unavailable | Code::Unknown) && status.get_details_error_info().is_none()
}

/// The server is away for a moment, or others were in the way each time.
fn worth_another(status: &Status) -> bool {
    match status.code() {
        Code::Unavailable => true,
        Code::Unknown => is_broken(status),
        Code::Aborted => status.get_details_error_info().is_some_and(|info| info.reason == "CONTENTION"),
        _ => false,
    }
}

/// How long to wait before the next try: anything up to a time that doubles with each (full jitter), so
/// that many who lost the same server do not come back together; at least what the server asks for.
fn wait(status: &Status, tries: u32) -> Duration {
    let asked = status.get_details_retry_info().and_then(|info| info.retry_delay).unwrap_or_default();
    asked + (FIRST_WAIT * 2_u32.pow(tries - 1)).mul_f64(rand::random_range(0.0..1.0))
}

/// The last cause of a transport error, which is the one that says something.
fn root(error: &dyn Error) -> String {
    let mut cause: &dyn Error = error;
    while let Some(next) = cause.source() {
        cause = next;
    }
    cause.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exit::Exit;

    fn wire(server: &str, plaintext: bool) -> Result<Wire, Failure> {
        Wire::new(server, None, Duration::from_secs(1), plaintext)
    }

    #[tokio::test]
    async fn secrets_travel_in_the_clear_within_this_machine_only() {
        for server in ["http://127.0.0.1:7465", "http://localhost:7465", "http://[::1]:7465"] {
            assert!(wire(server, false).is_ok(), "{server}");
        }
        let refused = wire("http://park.example:7465", false).err().unwrap();
        assert_eq!(refused.exit, Exit::Usage);
        assert!(refused.mend.contains("--plaintext"), "{}", refused.mend);
        assert!(wire("http://park.example:7465", true).is_ok());
        assert!(wire("https://park.example:7465", false).is_ok());
    }

    #[tokio::test]
    async fn what_is_no_address_is_a_matter_of_usage() {
        for server in ["park", "ftp://park.example", "", "http://"] {
            assert_eq!(wire(server, false).err().map(|failure| failure.exit), Some(Exit::Usage), "{server}");
        }
    }

    #[test]
    fn a_call_is_sent_again_only_where_that_helps() {
        use std::collections::HashMap;
        use tonic_types::ErrorDetails;
        let status = |code, reason: &str| {
            Status::with_error_details(
                code,
                "",
                ErrorDetails::with_error_info(reason, "holt.v1", HashMap::new()),
            )
        };
        assert!(worth_another(&Status::unavailable("connection refused")));
        assert!(worth_another(&Status::unknown("transport error")), "a connection that was closed meanwhile");
        assert!(worth_another(&status(Code::Unavailable, "AWAY")));
        assert!(worth_another(&status(Code::Aborted, "CONTENTION")));
        assert!(!worth_another(&status(Code::Aborted, "VERSION_PASSED")));
        assert!(!worth_another(&status(Code::Internal, "FAULT")));
        assert!(!worth_another(&status(Code::DeadlineExceeded, "DEADLINE_PASSED")));
    }

    #[test]
    fn waits_keep_within_their_bounds_and_honour_what_the_server_asks() {
        use tonic_types::ErrorDetails;
        let plain = Status::unavailable("away");
        let asked = ErrorDetails::with_retry_info(Some(Duration::from_secs(1)));
        let asked = Status::with_error_details(Code::Unavailable, "away", asked);
        for tries in 1..TRIES {
            let most = FIRST_WAIT * 2_u32.pow(tries - 1);
            for _ in 0..50 {
                assert!(wait(&plain, tries) <= most);
                assert!(
                    (Duration::from_secs(1)..=Duration::from_secs(1) + most).contains(&wait(&asked, tries))
                );
            }
        }
    }
}
