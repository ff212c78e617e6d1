//! Streams on which nothing is said.

use super::Besieged;
use holt_proto::v1::{self, SendReadingsRequest as Portion, SendReadingsResponse as Answer};
use holt_tests::reason;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::Streaming;

/// Streams of the vet, with what keeps each of them open.
async fn streams(besieged: &Besieged, count: usize) -> Vec<(mpsc::Sender<Portion>, Streaming<Answer>)> {
    let mut streams = Vec::new();
    for _ in 0..count {
        let (send, portions) = mpsc::channel(1);
        let mut climate = besieged.quill.vet.client.climate();
        let answers = climate.send_readings(ReceiverStream::new(portions)).await.unwrap();
        streams.push((send, answers.into_inner()));
    }
    streams
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_person_has_so_many_streams_and_no_more() {
    let besieged = Besieged::with(|config| config.server.max_calls_per_person = 8).await;
    let open = streams(&besieged, 8).await;
    let (_send, portions) = mpsc::channel::<Portion>(1);
    let mut climate = besieged.quill.vet.client.climate();
    let attack = climate.send_readings(ReceiverStream::new(portions));
    let refused = besieged.beside(attack).await.unwrap_err();
    assert_eq!(reason(&refused), "TOO_MUCH");
    drop(open);
    besieged.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stream_on_which_nothing_is_said_comes_to_an_end() {
    let besieged = Besieged::with(|config| {
        config.server.silence_seconds = 1;
        config.server.max_calls_per_person = 8;
    })
    .await;
    let mut open = streams(&besieged, 8).await;
    let attack = async {
        for (_, answers) in &mut open {
            let ended = answers.message().await.unwrap_err();
            assert_eq!(reason(&ended), "DEADLINE_PASSED", "{ended:?}");
        }
    };
    besieged.beside(attack).await;
    drop(open);
    let list = v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
    besieged.quill.vet.client.animals().list_animals(list).await.unwrap();
    besieged.house.close().await;
}
