//! Replies that nobody reads.

use super::Besieged;
use super::raw::Raw;
use chrono::TimeDelta;
use holt_proto::v1;
use holt_server::model::person::{Grant, Role};
use holt_tests::house::start_of_time;
use prost::Message;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_does_not_read_keeps_their_own_turns_and_is_cut_off() {
    let besieged = Besieged::with(|config| {
        config.server.reply_seconds = 2;
        config.server.max_calls_per_person = 16;
    })
    .await;
    let house = &besieged.house;
    // Some forty kilobytes of notes.
    let mut round = house.round("QUI", &[]);
    for n in 0..90 {
        let at = start_of_time() - TimeDelta::days(200) + TimeDelta::hours(n);
        let mut more = house.round("QUI", &[("Bramble", at, 8000)]);
        more.readings[0].note = "x".repeat(490);
        round.readings.append(&mut more.readings);
    }
    besieged.quill.keeper.client.weights().record_weights(round).await.unwrap();
    let person = house.person("aud", &[(Role::Auditor, Some("QUI"))]).await;
    let token = house.token(person.id, &[Grant { role: Role::Auditor, site: Some("QUI".to_owned()) }]);
    let ask = v1::ListWeightsRequest {
        animal: "Bramble".to_owned(),
        page: Some(v1::PageRequest { size: 1000, token: String::new() }),
        ..Default::default()
    };
    let attack = async {
        // A window of nothing at all: each reply is there, and none can go.
        let mut line = Raw::open(&house.address, 1).await;
        for _ in 0..64 {
            let stream = line.begin("/holt.v1.WeightService/ListWeights", Some(&token)).await;
            line.say(stream, &ask.encode_to_vec(), true).await;
        }
        line.until_ended().await
    };
    let (bytes, answered) = besieged.beside(attack).await;
    assert!(answered >= 16 && bytes < 500_000, "{answered} streams were answered with {bytes} bytes");
    // Their turns came back with the end of the line.
    person.client.weights().list_weights(ask).await.unwrap();
    besieged.house.close().await;
}

/// Asks reflection for the file of a name: field 3 of `ServerReflectionRequest`.
fn describe(file: &str) -> Vec<u8> {
    let mut message = vec![3 << 3 | 2, u8::try_from(file.len()).unwrap()];
    message.extend(file.as_bytes());
    message
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stranger_is_told_what_there_is_and_not_for_ever() {
    const REFLECTION: &str = "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo";
    let besieged = Besieged::with(|_| ()).await;
    let address = &besieged.house.address;
    let file = describe("holt/v1/error_reason.proto");
    let mut line = Raw::open(address, 1 << 30).await;
    let stream = line.begin(REFLECTION, None).await;
    line.say(stream, &file, true).await;
    line.until_answered(1).await;
    let attack = async {
        let mut line = Raw::open(address, 1 << 30).await;
        for _ in 0..60 {
            let stream = line.begin(REFLECTION, None).await;
            for n in 0..60 {
                line.say(stream, &file, n == 59).await;
            }
        }
        line.until_ended().await
    };
    let (bytes, _) = besieged.beside(attack).await;
    assert!(bytes < 10_000_000, "{bytes} bytes were told");
    besieged.house.close().await;
}
