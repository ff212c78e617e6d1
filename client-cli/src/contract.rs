//! What can be asked of a server: calls of one message, and what is sent in many.

use holt_proto::call::{self, Again};
use holt_proto::v1::{self, exchange_service_client::ExchangeServiceClient};
use tonic::transport::Channel;
use tonic::{Request, Response, Status};

/// How large an answer may be: a report of a large site is some megabytes.
const LARGEST_ANSWER: usize = 64 << 20;

/// What is asked of a server.
pub(crate) trait Ask: Clone {
    /// What the server answers.
    type Answer;
    /// What sending it a second time does.
    const AGAIN: Again;

    /// Sends it.
    async fn send(wire: Channel, request: Request<Self>) -> Result<Response<Self::Answer>, Status>;
}

impl<C: call::Call> Ask for C {
    type Answer = C::Answer;
    const AGAIN: Again = C::AGAIN;

    async fn send(wire: Channel, request: Request<Self>) -> Result<Response<Self::Answer>, Status> {
        call::send(wire, request, LARGEST_ANSWER).await
    }
}

/// Animals to be taken in, in as many messages as they need.
#[derive(Clone)]
pub(crate) struct Lives(pub(crate) Vec<v1::TakeInLivesRequest>);

impl Ask for Lives {
    type Answer = v1::TakeInLivesResponse;
    const AGAIN: Again = Again::SameRequest;

    async fn send(wire: Channel, request: Request<Self>) -> Result<Response<Self::Answer>, Status> {
        let request = request.map(|Self(messages)| tokio_stream::iter(messages));
        ExchangeServiceClient::new(wire)
            .max_decoding_message_size(LARGEST_ANSWER)
            .take_in_lives(request)
            .await
    }
}
