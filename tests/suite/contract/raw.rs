//! A call as bytes: for tests that walk all methods and know none of their types.

use prost::bytes::{Buf, BufMut};
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::codegen::http::uri::PathAndQuery;
use tonic::transport::Channel;
use tonic::{Request, Response, Status};

#[derive(Clone, Copy, Default)]
struct Bytes;

impl Codec for Bytes {
    type Encode = Vec<u8>;
    type Decode = Vec<u8>;
    type Encoder = Self;
    type Decoder = Self;

    fn encoder(&mut self) -> Self {
        Self
    }

    fn decoder(&mut self) -> Self {
        Self
    }
}

impl Encoder for Bytes {
    type Item = Vec<u8>;
    type Error = Status;

    fn encode(&mut self, item: Vec<u8>, to: &mut EncodeBuf<'_>) -> Result<(), Status> {
        to.put_slice(&item);
        Ok(())
    }
}

impl Decoder for Bytes {
    type Item = Vec<u8>;
    type Error = Status;

    fn decode(&mut self, from: &mut DecodeBuf<'_>) -> Result<Option<Vec<u8>>, Status> {
        Ok(Some(from.copy_to_bytes(from.remaining()).to_vec()))
    }
}

/// Calls a method (`WeightService/RecordWeights`) with the metadata `authorization` as given.
pub(super) async fn call(
    channel: &Channel,
    method: &str,
    authorization: Option<&str>,
    message: &[u8],
) -> Result<Vec<u8>, Status> {
    Ok(answer(channel, method, authorization, message).await?.into_inner())
}

/// The same with the metadata of the answer.
pub(super) async fn answer(
    channel: &Channel,
    method: &str,
    authorization: Option<&str>,
    message: &[u8],
) -> Result<Response<Vec<u8>>, Status> {
    let mut request = Request::new(message.to_vec());
    if let Some(value) = authorization {
        request.metadata_mut().insert("authorization", value.parse().unwrap());
    }
    let mut grpc = tonic::client::Grpc::new(channel.clone());
    grpc.ready().await.unwrap();
    let path: PathAndQuery = format!("/holt.v1.{method}").parse().unwrap();
    grpc.unary(request, path, Bytes).await
}
