//! Imports without end.

use super::Besieged;
use holt_proto::v1;
use holt_tests::reason;
use tokio_stream::wrappers::ReceiverStream;
use tonic::codec::CompressionEncoding;

/// Part of an import that is mostly names.
fn part(besieged: &Besieged, kilobytes: usize) -> v1::TakeInLivesRequest {
    let life = v1::Life {
        marks: (0..kilobytes)
            .map(|_| v1::LifeMark { ended_why: "x".repeat(1000), ..Default::default() })
            .collect(),
        ..Default::default()
    };
    v1::TakeInLivesRequest {
        request_id: besieged.house.request(),
        site: "QUI".to_owned(),
        lives: vec![life],
        ..Default::default()
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_import_that_is_too_large_is_refused_before_it_is_all_here() {
    let besieged = Besieged::with(|config| config.server.max_import_bytes = 2_000_000).await;
    let attack = async {
        let parts: Vec<_> = (0..50).map(|_| part(&besieged, 900)).collect();
        let mut exchange = besieged.quill.registrar.client.exchange();
        exchange.take_in_lives(tokio_stream::iter(parts)).await.unwrap_err()
    };
    let refused = besieged.beside(attack).await;
    assert_eq!(reason(&refused), "MALFORMED", "{refused:?}");
    assert!(refused.message().contains("larger"), "{refused:?}");
    // What is small on the line alone is as large.
    let attack = async {
        let parts: Vec<_> = (0..50).map(|_| part(&besieged, 900)).collect();
        let exchange = besieged.quill.registrar.client.exchange();
        let mut exchange = exchange.send_compressed(CompressionEncoding::Zstd);
        exchange.take_in_lives(tokio_stream::iter(parts)).await.unwrap_err()
    };
    let refused = besieged.beside(attack).await;
    assert_eq!(reason(&refused), "MALFORMED", "{refused:?}");
    assert!(refused.message().contains("larger"), "{refused:?}");
    // What keeps to it is looked at.
    let mut exchange = besieged.quill.registrar.client.exchange();
    let looked = exchange.take_in_lives(tokio_stream::iter(vec![part(&besieged, 1)])).await.unwrap();
    assert_eq!(looked.into_inner().answers[0].outcome(), v1::LifeOutcome::Refused);
    besieged.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_import_that_stops_in_its_middle_is_given_up() {
    let besieged = Besieged::with(|config| config.server.body_seconds = 1).await;
    let (send, parts) = tokio::sync::mpsc::channel(1);
    send.send(part(&besieged, 1)).await.unwrap();
    let mut exchange = besieged.quill.registrar.client.exchange();
    let refused = besieged.beside(exchange.take_in_lives(ReceiverStream::new(parts))).await.unwrap_err();
    assert_eq!(reason(&refused), "DEADLINE_PASSED", "{refused:?}");
    drop(send);
    besieged.house.close().await;
}
