//! Streams on which nothing is said.

use super::Besieged;
use holt_proto::v1;
use holt_tests::reason;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stream_on_which_nothing_is_said_comes_to_an_end() {
    let besieged = Besieged::with(|config| {
        config.server.silence_seconds = 1;
        config.server.max_calls_per_person = 8;
    })
    .await;
    let vet = &besieged.quill.vet;
    let mut streams = Vec::new();
    for _ in 0..8 {
        let (send, portions) = mpsc::channel::<v1::SendReadingsRequest>(1);
        let answers = vet.client.climate().send_readings(ReceiverStream::new(portions)).await.unwrap();
        streams.push((send, answers.into_inner()));
    }
    // One person has so many calls and streams, and no more.
    let (_send, portions) = mpsc::channel::<v1::SendReadingsRequest>(1);
    let refused = vet.client.climate().send_readings(ReceiverStream::new(portions)).await.unwrap_err();
    assert_eq!(reason(&refused), "TOO_MUCH");
    let attack = async {
        for (_, answers) in &mut streams {
            let ended = answers.message().await.unwrap_err();
            assert_eq!(reason(&ended), "DEADLINE_PASSED", "{ended:?}");
        }
    };
    besieged.beside(attack).await;
    drop(streams);
    let list = v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
    vet.client.animals().list_animals(list).await.unwrap();
    besieged.house.close().await;
}
