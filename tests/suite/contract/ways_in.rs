//! How programs that were not built here reach the service: compressed, from a browser, and without having the protos.

use holt_proto::v1;
use holt_server::model::person::{Grant, Role};
use holt_tests::House;
use prost::Message;
use prost_reflect::DescriptorPool;
use std::collections::BTreeSet;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tonic::Code;
use tonic::codec::CompressionEncoding;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use tonic_reflection::pb::{v1 as reflected, v1alpha as reflected_before};

/// One call of a page in a browser, over HTTP/1.1 as a proxy may pass it on: the answer as it came.
async fn over_http1(house: &House, request: &str, body: &[u8]) -> Vec<u8> {
    let mut stream = TcpStream::connect(house.address.trim_start_matches("http://")).await.unwrap();
    let head = format!(
        "{request}\r\nhost: holt.example\r\nconnection: close\r\ncontent-length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes()).await.unwrap();
    stream.write_all(body).await.unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.unwrap();
    answer
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).to_lowercase()
}

fn services() -> impl Iterator<Item = String> {
    let pool = DescriptorPool::decode(holt_proto::FILE_DESCRIPTOR_SET).unwrap();
    let names: Vec<_> = pool.services().map(|service| service.full_name().to_owned()).collect();
    names.into_iter().filter(|name| name.starts_with("holt.v1."))
}

/// A message in its frame (gRPC over HTTP/2, Length-Prefixed-Message; gRPC-Web has the same).
fn framed(message: &impl Message) -> Vec<u8> {
    let bytes = message.encode_to_vec();
    let length = u32::try_from(bytes.len()).unwrap();
    [&[0][..], &length.to_be_bytes(), &bytes].concat()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_page_of_a_named_origin_calls_and_no_other_page_does() {
    let house =
        House::with(|config| config.server.web_origins = vec!["https://rounds.example".to_owned()]).await;
    let quill = house.quill().await;
    let grant = Grant { role: Role::Keeper, site: Some("QUI".to_owned()) };
    let token = house.token(quill.keeper.id, &[grant]);
    let call = |origin: &str, authorization: &str| {
        format!(
            "POST /holt.v1.SiteService/GetSite HTTP/1.1\r\norigin: {origin}\r\ncontent-type: \
             application/grpc-web+proto\r\nx-grpc-web: 1{authorization}"
        )
    };
    let shown = format!("\r\nauthorization: Bearer {token}");
    let asked = framed(&v1::GetSiteRequest { code: "QUI".to_owned() });
    let answer = text(&over_http1(&house, &call("https://rounds.example", &shown), &asked).await);
    assert!(answer.starts_with("http/1.1 200"), "{answer}");
    for part in [
        "content-type: application/grpc-web+proto",
        "access-control-allow-origin: https://rounds.example",
        "access-control-expose-headers: grpc-status,",
        "qui park",
        "grpc-status:0",
    ] {
        assert!(answer.contains(part), "{part} is not in {answer}");
    }
    // A browser hands the answer to no other page.
    let other = text(&over_http1(&house, &call("https://elsewhere.example", &shown), &asked).await);
    assert!(!other.contains("access-control-allow-origin"), "{other}");
    // A refusal says why in the headers that pages may read.
    let refused = text(&over_http1(&house, &call("https://rounds.example", ""), &asked).await);
    assert!(refused.contains("grpc-status: 16") && refused.contains("grpc-status-details-bin:"), "{refused}");
    // What a browser asks before it calls.
    let before = |origin: &str| {
        format!(
            "OPTIONS /holt.v1.SiteService/GetSite HTTP/1.1\r\norigin: {origin}\r\naccess-control-request-method: \
             POST\r\naccess-control-request-headers: authorization,content-type,x-grpc-web"
        )
    };
    let may = text(&over_http1(&house, &before("https://rounds.example"), &[]).await);
    assert!(may.contains("access-control-allow-headers: authorization,content-type,x-grpc-web"), "{may}");
    assert!(may.contains("access-control-allow-origin: https://rounds.example"), "{may}");
    let may_not = text(&over_http1(&house, &before("https://elsewhere.example"), &[]).await);
    assert!(!may_not.contains("access-control-allow-origin"), "{may_not}");
    house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_no_call_is_refused_over_http1_and_takes_nothing_down() {
    let house = House::new().await;
    for (request, wanted) in [
        ("GET / HTTP/1.1", "http/1.1 400"),
        ("GET /holt.v1.SiteService/GetSite HTTP/1.1\r\ncontent-type: application/grpc-web", "http/1.1 405"),
        ("POST /holt.v1.SiteService/GetSite HTTP/1.1\r\ncontent-type: application/json", "http/1.1 400"),
        // Nobody is served without a token because they came another way.
        (
            "POST /holt.v1.SiteService/GetSite HTTP/1.1\r\ncontent-type: application/grpc-web",
            "grpc-status: 16",
        ),
    ] {
        let answer = text(&over_http1(&house, request, &[]).await);
        assert!(answer.contains(wanted), "{request}: {answer}");
    }
    house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_client_chooses_how_messages_are_compressed() {
    let house = House::new().await;
    let quill = house.quill().await;
    for n in 0..40 {
        house.otter(&quill, &format!("Otter {n}")).await;
    }
    let asked = v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
    let plain = quill.keeper.client.animals().list_animals(asked.clone()).await.unwrap();
    assert!(plain.metadata().get("grpc-encoding").is_none());
    for (encoding, name) in [(CompressionEncoding::Gzip, "gzip"), (CompressionEncoding::Zstd, "zstd")] {
        let mut animals = quill.keeper.client.animals().send_compressed(encoding).accept_compressed(encoding);
        let packed = animals.list_animals(asked.clone()).await.unwrap();
        assert_eq!(packed.metadata().get("grpc-encoding").unwrap(), name);
        assert_eq!(packed.get_ref(), plain.get_ref());
    }
    house.close().await;
}

/// A message that is small on the line and larger than the server takes: refused before it is all in memory.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_too_large_is_no_smaller_for_being_compressed() {
    let house = House::with(|config| config.server.max_message_bytes = 100_000).await;
    let quill = house.quill().await;
    let asked = v1::GetSiteRequest { code: "Q".repeat(1_000_000) };
    let mut sites = quill.keeper.client.sites().send_compressed(CompressionEncoding::Zstd);
    let refused = sites.get_site(asked).await.unwrap_err();
    assert_eq!(refused.code(), Code::ResourceExhausted, "{refused:?}");
    house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn reflection_lists_every_service_in_both_versions_and_is_shut_by_a_setting() {
    let house = House::new().await;
    let own: BTreeSet<String> = services().collect();
    let asked = reflected::ServerReflectionRequest {
        host: String::new(),
        message_request: Some(reflected::server_reflection_request::MessageRequest::ListServices(
            String::new(),
        )),
    };
    let mut client = reflected::server_reflection_client::ServerReflectionClient::new(house.channel());
    let mut answers =
        client.server_reflection_info(tokio_stream::iter([asked.clone()])).await.unwrap().into_inner();
    let Some(reflected::server_reflection_response::MessageResponse::ListServicesResponse(listed)) =
        answers.message().await.unwrap().unwrap().message_response
    else {
        panic!("no list of services")
    };
    let listed: BTreeSet<String> = listed.service.into_iter().map(|service| service.name).collect();
    assert!(own.is_subset(&listed), "{listed:?}");

    let before = reflected_before::ServerReflectionRequest {
        host: String::new(),
        message_request: Some(reflected_before::server_reflection_request::MessageRequest::ListServices(
            String::new(),
        )),
    };
    let mut client = reflected_before::server_reflection_client::ServerReflectionClient::new(house.channel());
    let mut answers = client.server_reflection_info(tokio_stream::iter([before])).await.unwrap().into_inner();
    let Some(reflected_before::server_reflection_response::MessageResponse::ListServicesResponse(listed)) =
        answers.message().await.unwrap().unwrap().message_response
    else {
        panic!("no list of services")
    };
    assert!(own.is_subset(&listed.service.into_iter().map(|service| service.name).collect()));

    let shut = house.beside(|config| config.server.reflection = false).await;
    let mut client = reflected::server_reflection_client::ServerReflectionClient::new(shut.channel());
    let refused = client.server_reflection_info(tokio_stream::iter([asked])).await.unwrap_err();
    assert_eq!(refused.code(), Code::Unimplemented);
    shut.stop().await;
    house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn health_knows_each_service_by_its_name() {
    let house = House::new().await;
    let mut health = HealthClient::new(house.channel());
    for service in services().chain([String::new()]) {
        let answer = health.check(HealthCheckRequest { service: service.clone() }).await.unwrap();
        assert_eq!(answer.into_inner().status(), ServingStatus::Serving, "{service}");
    }
    let other = health.check(HealthCheckRequest { service: "holt.v1.Other".to_owned() }).await.unwrap_err();
    assert_eq!(other.code(), Code::NotFound);
    house.close().await;
}
