//! Calls: which message goes to which method, what answers it, and what sending it a second time does. Written from the
//! protos by the build.

use crate::v1;
use prost::Message;
use prost::bytes::Bytes;
use std::error::Error;
use std::fmt::Debug;
use tonic::body::Body;
use tonic::client::{Grpc, GrpcService};
use tonic::codegen::http::uri::PathAndQuery;
use tonic::codegen::{Body as HttpBody, StdError};
use tonic::{GrpcMethod, Request, Response, Status};
use tonic_prost::ProstCodec;

/// What sending a call a second time does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Again {
    /// Nothing: it reads.
    Reads,
    /// Nothing: what was done is known again.
    SameRequest,
    /// Harm, such as spending a token that was spent.
    Harms,
}

/// A message that asks something of a server, and is answered with one message.
pub trait Call: Message + Debug + Default + Clone + 'static {
    /// What the server answers.
    type Answer: Message + Debug + Default + Clone + PartialEq + 'static;
    /// The service, without its package.
    const SERVICE: &'static str;
    /// The method, in snake case.
    const METHOD: &'static str;
    /// Where the message goes.
    const PATH: &'static str;
    /// What sending it a second time does.
    const AGAIN: Again;
}

/// A list that comes in pages.
pub trait Paged: Call {
    /// What it lists.
    type Entry;

    /// Asks for the page of a token.
    fn set_page(&mut self, page: v1::PageRequest);
    /// The entries of a page, and the token of the next; empty on the last.
    fn open(answer: Self::Answer) -> (Vec<Self::Entry>, String);
}

/// Sends a message to its method. `largest` is what the answer may have, in bytes.
///
/// # Errors
/// What the server answers, or why it cannot be reached.
pub async fn send<C, T>(wire: T, request: Request<C>, largest: usize) -> Result<Response<C::Answer>, Status>
where
    C: Call,
    T: GrpcService<Body>,
    T::Error: Into<StdError>,
    T::ResponseBody: HttpBody<Data = Bytes> + Send + 'static,
    <T::ResponseBody as HttpBody>::Error: Into<StdError> + Send,
{
    let mut grpc = Grpc::new(wire).max_decoding_message_size(largest);
    let ready = grpc.ready().await.map_err(|error| {
        let error: Box<dyn Error + Send + Sync> = error.into();
        Status::unknown(format!("the connection is not ready: {error}"))
    });
    ready?;
    let mut request = request;
    request.extensions_mut().insert(GrpcMethod::new(C::SERVICE, C::METHOD));
    grpc.unary(request, PathAndQuery::from_static(C::PATH), ProstCodec::default()).await
}

include!(concat!(env!("OUT_DIR"), "/calls.rs"));
