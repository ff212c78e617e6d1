//! HTTP/2 by hand (RFC 9113), for what no honest client does: calls without a body, and replies that are not read.

use std::net::SocketAddr;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

const PREFACE: &[u8] = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n";

const DATA: u8 = 0;
const HEADERS: u8 = 1;
const SETTINGS: u8 = 4;
const WINDOW_UPDATE: u8 = 8;
const END_STREAM: u8 = 1;
const END_HEADERS: u8 = 4;

/// A connection of somebody who means no good.
pub(super) struct Raw {
    stream: TcpStream,
    next: u32,
}

fn frame(kind: u8, flags: u8, stream: u32, payload: &[u8]) -> Vec<u8> {
    let length = u32::try_from(payload.len()).unwrap();
    let mut bytes = length.to_be_bytes()[1..].to_vec();
    bytes.extend([kind, flags]);
    bytes.extend(stream.to_be_bytes());
    bytes.extend(payload);
    bytes
}

/// A text without Huffman coding (RFC 7541, sections 5.1 and 5.2).
fn text(bytes: &mut Vec<u8>, text: &str) {
    let mut rest = text.len();
    if rest < 127 {
        bytes.push(u8::try_from(rest).unwrap());
    } else {
        bytes.push(127);
        rest -= 127;
        while rest >= 128 {
            bytes.push(u8::try_from(rest % 128 + 128).unwrap());
            rest /= 128;
        }
        bytes.push(u8::try_from(rest).unwrap());
    }
    bytes.extend(text.as_bytes());
}

impl Raw {
    async fn connect(address: &str) -> Self {
        let address: SocketAddr = address.trim_start_matches("http://").parse().unwrap();
        Self { stream: TcpStream::connect(address).await.unwrap(), next: 1 }
    }

    /// A connection on which nothing is said but one letter, by which a connection is found out that the operating
    /// system has dropped without a word.
    pub(super) async fn silent(address: &str) -> Self {
        let mut raw = Self::connect(address).await;
        let _ = raw.stream.write_all(&PREFACE[..1]).await;
        raw
    }

    /// A connection that is opened as it should be; `window` is how much of each reply is taken, and of all of them.
    pub(super) async fn open(address: &str, window: u32) -> Self {
        let mut raw = Self::connect(address).await;
        let mut settings = vec![0, 4];
        settings.extend(window.to_be_bytes());
        let mut bytes = PREFACE.to_vec();
        bytes.extend(frame(SETTINGS, 0, 0, &settings));
        bytes.extend(frame(WINDOW_UPDATE, 0, 0, &window.to_be_bytes()));
        raw.stream.write_all(&bytes).await.unwrap();
        raw
    }

    /// Begins a call of a method at a path; answers its stream. The server may have ended the line by then.
    pub(super) async fn begin(&mut self, path: &str, token: Option<&str>) -> u32 {
        let authorization = token.map(|token| format!("Bearer {token}"));
        let mut headers = vec![
            (":method", "POST"),
            (":scheme", "http"),
            (":path", path),
            (":authority", "localhost"),
            ("content-type", "application/grpc"),
            ("te", "trailers"),
        ];
        headers.extend(authorization.as_deref().map(|value| ("authorization", value)));
        let mut block = Vec::new();
        for (name, value) in headers {
            block.push(0);
            text(&mut block, name);
            text(&mut block, value);
        }
        let stream = self.next;
        self.next += 2;
        let _ = self.stream.write_all(&frame(HEADERS, END_HEADERS, stream, &block)).await;
        stream
    }

    /// Sends a message on a stream, as its last or not.
    pub(super) async fn say(&mut self, stream: u32, message: &[u8], last: bool) {
        let mut body = vec![0];
        body.extend(u32::try_from(message.len()).unwrap().to_be_bytes());
        body.extend(message);
        let _ = self.stream.write_all(&frame(DATA, u8::from(last) * END_STREAM, stream, &body)).await;
    }

    /// Reads until the server ends the line; answers how many bytes came, and how many streams were answered.
    pub(super) async fn until_ended(mut self) -> (usize, usize) {
        let mut all = Vec::new();
        let mut part = vec![0; 64 * 1024];
        while let Ok(bytes @ 1..) = self.stream.read(&mut part).await {
            all.extend_from_slice(&part[..bytes]);
        }
        let (mut answered, mut rest) = (0, &all[..]);
        while let [a, b, c, kind, _, _, _, _, _, tail @ ..] = rest {
            answered += usize::from(*kind == HEADERS);
            let length = u32::from_be_bytes([0, *a, *b, *c]) as usize;
            rest = tail.get(length..).unwrap_or_default();
        }
        (all.len(), answered)
    }

    /// Reads until so many streams were answered.
    pub(super) async fn until_answered(&mut self, streams: usize) {
        let mut answered = 0;
        while answered < streams {
            let mut head = [0; 9];
            self.stream.read_exact(&mut head).await.expect("the server answers before it ends the line");
            let length = u32::from_be_bytes([0, head[0], head[1], head[2]]) as usize;
            let mut payload = vec![0; length];
            self.stream.read_exact(&mut payload).await.unwrap();
            answered += usize::from(head[3] == HEADERS && head[4] & END_STREAM != 0);
        }
    }
}
