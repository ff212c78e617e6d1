//! Connections on which nothing is said, or too little.

use super::Besieged;
use super::raw::Raw;
use futures::future::join_all;
use holt_proto::v1;
use holt_proto::v1::people_service_client::PeopleServiceClient;
use holt_tests::reason;
use tonic::transport::Channel;

/// Somebody comes in on a connection of their own and is answered, if only that their password is wrong.
async fn come_in(address: &str) {
    let channel = Channel::from_shared(address.to_owned()).unwrap().connect().await.unwrap();
    let asked = v1::SignInRequest { sign_in_name: "kim".to_owned(), password: "a guess".to_owned() };
    let refused = PeopleServiceClient::new(channel).sign_in(asked).await.unwrap_err();
    assert_eq!(reason(&refused), "SIGN_IN_FAILED");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn eleven_hundred_silent_connections_keep_nobody_out_and_are_ended() {
    let besieged = Besieged::with(|config| config.server.handshake_seconds = 2).await;
    let address = &besieged.house.address;
    let attack = async {
        let silent = join_all((0..1100).map(|_| Raw::silent(address))).await;
        come_in(address).await;
        join_all(silent.into_iter().map(Raw::until_ended)).await
    };
    let ended = besieged.beside(attack).await;
    assert_eq!(ended.len(), 1100);
    besieged.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn where_there_is_no_room_left_the_oldest_stranger_gives_way_and_nobody_who_is_known() {
    let besieged = Besieged::with(|config| config.server.max_connections = 20).await;
    let address = &besieged.house.address;
    let attack = async {
        let open = join_all((0..60).map(|_| Raw::open(address, 65_535))).await;
        come_in(address).await;
        open
    };
    let open = besieged.beside(attack).await;
    drop(open);
    besieged.house.close().await;
}
