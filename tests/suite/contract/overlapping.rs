//! The same request again while the first is still under way: each copy is given the first answer, and nothing
//! is written twice. Of every method that has a request id.

use super::raw::call;
use super::requests::Stage;
use futures::future::join_all;
use holt_proto::v1;
use holt_server::model::person::{Grant, Role};
use holt_tests::House;
use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage, Kind, MessageDescriptor, Value};
use std::collections::BTreeMap;
use std::time::Duration;
use tonic::Status;
use uuid::Uuid;

/// So many copies at once: more than the server has connections to its database.
const COPIES: usize = 50;

/// How long after the first the second is sent, in milliseconds.
const APART: [u64; 6] = [0, 1, 2, 4, 7, 10];

/// What is made once and kept nowhere: only the first answer has it.
const SECRET: &str = "one_time_password";

/// A method that writes: its name, its answer, and its request id's place in a request.
struct Writing {
    method: String,
    asks: MessageDescriptor,
    answers: MessageDescriptor,
}

/// Every method whose request has a request id, or carries a message that has one.
fn writing() -> Vec<Writing> {
    let pool = DescriptorPool::decode(holt_proto::FILE_DESCRIPTOR_SET).unwrap();
    pool.services()
        .filter(|service| service.full_name().starts_with("holt.v1."))
        .flat_map(|service| service.methods().collect::<Vec<_>>())
        .filter(|method| id_of(&DynamicMessage::new(method.input())).is_some())
        .map(|method| Writing {
            method: format!("{}/{}", method.parent_service().name(), method.name()),
            asks: method.input(),
            answers: method.output(),
        })
        .collect()
}

/// The request id of a request; of a portion of a stream, that of what it carries.
pub(super) fn id_of(request: &DynamicMessage) -> Option<String> {
    if let Some(id) = request.get_field_by_name("request_id") {
        return id.as_str().map(str::to_owned);
    }
    request.get_field_by_name("portion").and_then(|portion| id_of(portion.as_message()?))
}

/// An answer as it can be compared, without the secret.
fn told(answers: &MessageDescriptor, answer: &Result<Vec<u8>, Status>) -> Result<DynamicMessage, String> {
    match answer {
        Ok(bytes) => {
            let mut told = DynamicMessage::decode(answers.clone(), bytes.as_slice()).unwrap();
            if let Some(secret) = answers.get_field_by_name(SECRET) {
                told.clear_field(&secret);
            }
            Ok(told)
        }
        Err(status) => Err(format!("{:?}: {}", status.code(), status.message())),
    }
}

/// How often the secret was told.
fn secrets(answers: &MessageDescriptor, all: &[Result<Vec<u8>, Status>]) -> Option<usize> {
    let secret = answers.get_field_by_name(SECRET)?;
    assert_eq!(secret.kind(), Kind::String);
    let has = |bytes: &Vec<u8>| {
        let told = DynamicMessage::decode(answers.clone(), bytes.as_slice()).unwrap();
        told.get_field(&secret).as_ref() != &Value::String(String::new())
    };
    Some(all.iter().flatten().filter(|bytes| has(bytes)).count())
}

const ROLES: [Role; 6] =
    [Role::Keeper, Role::Registrar, Role::Auditor, Role::Veterinary, Role::Steward, Role::Curator];

/// Somebody who may call everything everywhere.
async fn somebody(stage: &Stage) -> Uuid {
    let every: Vec<(Role, Option<&str>)> = ROLES.iter().map(|role| (*role, None)).collect();
    stage.house.person("somebody", &every).await.id
}

/// How they show it to a server.
fn authorization(house: &House, person: Uuid) -> String {
    format!("Bearer {}", house.token(person, &ROLES.map(|role| Grant { role, site: None })))
}

async fn entries(stage: &Stage, request: Uuid) -> i64 {
    let count = sqlx::query_scalar("SELECT count(*) FROM ledger WHERE request_id = $1").bind(request);
    count.fetch_one(&mut stage.house.owner().await).await.unwrap()
}

/// Sends each method's request as `send` does, and says in a table what came of it: how many of the answers are
/// not the first, and how often it was written.
async fn walk<F>(send: impl Fn(tonic::transport::Channel, String, String, Vec<u8>) -> F, rounds: usize)
where
    F: Future<Output = Vec<Result<Vec<u8>, Status>>>,
{
    let stage = Stage::new().await;
    let authorization = authorization(&stage.house, somebody(&stage).await);
    let methods = writing();
    assert!(methods.len() >= 75, "{}", methods.len());
    let mut table: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    let mut wrong = Vec::new();
    for Writing { method, asks, answers } in &methods {
        for _ in 0..rounds {
            let message = stage.request(method).await.unwrap_or_else(|| panic!("{method} has no request"));
            let asked = DynamicMessage::decode(asks.clone(), message.as_slice()).unwrap();
            let id: Uuid = id_of(&asked).unwrap().parse().unwrap();
            let all = send(stage.house.channel(), method.clone(), authorization.clone(), message).await;
            let tellings: Vec<_> = all.iter().map(|answer| told(answers, answer)).collect();
            let first = tellings.iter().find(|one| one.is_ok()).unwrap_or(&tellings[0]);
            let others = tellings.iter().filter(|one| *one != first).count();
            let entries = entries(&stage, id).await;
            let row = table.entry(method.clone()).or_default();
            row.0 += tellings.len();
            row.1 += others;
            if others > 0 || first.is_err() || entries != 1 {
                let other = tellings.iter().find(|one| *one != first);
                wrong.push(format!("{method}: {others} others, {entries} entries; {first:?}, {other:?}"));
            }
            if secrets(answers, &all).is_some_and(|times| times != 1) {
                wrong.push(format!("{method}: the secret was not told once"));
            }
        }
    }
    let lines: Vec<String> =
        table.iter().map(|(method, (all, others))| format!("{method}\t{all}\t{others}")).collect();
    println!("method\tanswers\tnot the first\n{}", lines.join("\n"));
    assert!(wrong.is_empty(), "{wrong:#?}");
    stage.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn fifty_copies_at_once_are_given_the_first_answer() {
    walk(
        |channel, method, authorization, message| async move {
            let copies = (0..COPIES).map(|_| call(&channel, &method, Some(&authorization), &message));
            join_all(copies).await
        },
        1,
    )
    .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_second_copy_some_milliseconds_later_is_given_the_first_answer() {
    let round = std::sync::atomic::AtomicUsize::new(0);
    walk(
        |channel, method, authorization, message| {
            let n = round.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            let apart = Duration::from_millis(APART[n % APART.len()]);
            async move {
                let first = call(&channel, &method, Some(&authorization), &message);
                let second = async {
                    tokio::time::sleep(apart).await;
                    call(&channel, &method, Some(&authorization), &message).await
                };
                let (first, second) = futures::join!(first, second);
                vec![first, second]
            }
        },
        APART.len(),
    )
    .await;
}

/// Servers do not know of one another's calls: there the lock in the database keeps copies apart.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn copies_at_two_servers_are_given_the_first_answer() {
    const METHOD: &str = "AnimalService/RecordDeath";
    let stage = Stage::new().await;
    let second = House::over(stage.house.url.clone(), |_| ()).await;
    // Each counts its identifiers from one: far enough apart, they are as different as real ones.
    for _ in 0..100_000 {
        let _ = second.request();
    }
    let person = somebody(&stage).await;
    let doors = [&stage.house, &second].map(|house| (house.channel(), authorization(house, person)));
    for _ in 0..10 {
        let message = stage.request(METHOD).await.unwrap();
        let copies = doors.iter().cycle().take(6);
        let copies = copies.map(|(channel, token)| call(channel, METHOD, Some(token), &message));
        let answers = join_all(copies).await;
        for answer in &answers {
            assert_eq!(answer.as_ref().unwrap(), answers[0].as_ref().unwrap());
        }
        let asked = v1::RecordDeathRequest::decode(message.as_slice()).unwrap();
        assert_eq!(entries(&stage, asked.request_id.parse().unwrap()).await, 1);
    }
    second.stop().await;
    stage.house.close().await;
}
