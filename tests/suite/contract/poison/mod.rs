//! Poison: each field of each request, with what no field should hold, in a request that is otherwise valid.
//! Either it is refused in a way that an ordinary client understands, or it is recorded and then every page of
//! every reader still answers.

mod fields;
mod refusals;
mod spoilt;
mod values;

use super::overlapping::id_of;
use super::raw::answer;
use super::requests::Stage;
use fields::{Field, accessions, leaves, refuses, set};
use holt_server::model::person::{Grant, Role};
use holt_tests::reason;
use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage, FieldDescriptor, MethodDescriptor, Value};
use std::collections::BTreeSet;
use tonic::{Code, Response, Status};
use values::{Poison, poisons};

/// What an answer to a bad request may be: the caller's own matter, said as such.
const CLEAR: [Code; 8] = [
    Code::InvalidArgument,
    Code::NotFound,
    Code::FailedPrecondition,
    Code::AlreadyExists,
    Code::PermissionDenied,
    Code::Unauthenticated,
    Code::Aborted,
    Code::ResourceExhausted,
];

/// Fields that a request has and nobody reads, for they are only answered; and a token, of which a digest is compared
/// and nothing is said.
const NOT_KEPT: [&str; 4] = [
    "EnrichmentService/SetEnrichmentItem item.id",
    "EnrichmentService/SetEnrichmentItem item.site",
    "FeedingService/SetFeedPlan feeds.kcal",
    "PeopleService/SignOut refresh_token",
];

struct Walk {
    stage: Stage,
    authorization: String,
    wrong: Vec<String>,
    sent: usize,
    recorded: usize,
}

fn methods() -> Vec<MethodDescriptor> {
    let pool = DescriptorPool::decode(holt_proto::FILE_DESCRIPTOR_SET).unwrap();
    pool.services()
        .filter(|service| service.full_name().starts_with("holt.v1."))
        .flat_map(|service| service.methods().collect::<Vec<_>>())
        .collect()
}

fn name(method: &MethodDescriptor) -> String {
    format!("{}/{}", method.parent_service().name(), method.name())
}

fn writes(method: &MethodDescriptor) -> bool {
    id_of(&DynamicMessage::new(method.input())).is_some()
}

impl Walk {
    async fn new() -> Self {
        let stage = Stage::new().await;
        let every = Role::ALL.map(|role| (role, None));
        let person = stage.house.person("somebody", &every).await.id;
        let token = stage.house.token(person, &Role::ALL.map(|role| Grant { role, site: None }));
        Self { stage, authorization: format!("Bearer {token}"), wrong: Vec::new(), sent: 0, recorded: 0 }
    }

    async fn valid(&self, method: &MethodDescriptor) -> DynamicMessage {
        let bytes = self.stage.request(&name(method)).await.unwrap_or_else(|| panic!("{}", name(method)));
        DynamicMessage::decode(method.input(), bytes.as_slice()).unwrap()
    }

    async fn answer(
        &self,
        method: &MethodDescriptor,
        request: &DynamicMessage,
    ) -> Result<Response<Vec<u8>>, Status> {
        let bytes = request.encode_to_vec();
        answer(&self.stage.house.channel(), &name(method), Some(&self.authorization), &bytes).await
    }

    async fn send(&self, method: &MethodDescriptor, request: &DynamicMessage) -> Result<Vec<u8>, Status> {
        Ok(self.answer(method, request).await?.into_inner())
    }

    /// A refusal must be one that a client can act on.
    fn judge(&mut self, what: &str, status: &Status) {
        if !CLEAR.contains(&status.code()) {
            self.wrong.push(format!("{what}: {:?} {}", status.code(), status.message()));
            return;
        }
        let _ = reason(status);
        if status.message().len() > 1000 || status.details().len() > 6_000 {
            let (message, details) = (status.message().len(), status.details().len());
            self.wrong.push(format!("{what}: {message} bytes of message and {details} of details"));
        }
    }

    /// Sends each poison in each field; answers the last animal that something was recorded of.
    async fn poison(&mut self, method: &MethodDescriptor) -> Option<String> {
        let mut touched = None;
        let mut base = self.valid(method).await;
        // Whether the request that all are made of was recorded: then most others come too late.
        let mut spent = false;
        for (n, Field { path, kind }) in leaves(&method.input()).into_iter().enumerate() {
            for Poison { value, told, never } in poisons(&kind, n) {
                let at: Vec<&str> = path.iter().map(|field| field.name()).collect();
                let what = format!("{} {} = {told}", name(method), at.join("."));
                let mut answer = self.try_one(method, &base, &path, &value).await;
                if spent && answer.as_ref().is_err_and(|status| status.code() != Code::InvalidArgument) {
                    base = self.valid(method).await;
                    spent = false;
                    answer = self.try_one(method, &base, &path, &value).await;
                }
                match answer {
                    Err(status) => self.judge(&what, &status),
                    Ok(answer) => {
                        let answer = DynamicMessage::decode(method.output(), answer.as_slice()).unwrap();
                        let field = what.split_once(" = ").unwrap().0;
                        if never && !NOT_KEPT.contains(&field) && !refuses(&answer) {
                            self.wrong.push(format!("{what}: recorded or taken as a question"));
                        }
                        if !writes(method) {
                            continue;
                        }
                        self.recorded += 1;
                        spent = true;
                        let mut told = BTreeSet::new();
                        accessions(&answer, &mut told);
                        if let Some(Value::String(animal)) = base.get_field_by_name("animal").as_deref() {
                            told.insert(animal.clone());
                        }
                        touched = told.pop_last().or(touched);
                    }
                }
            }
        }
        touched
    }

    async fn try_one(
        &mut self,
        method: &MethodDescriptor,
        base: &DynamicMessage,
        path: &[FieldDescriptor],
        value: &Value,
    ) -> Result<Vec<u8>, Status> {
        let mut request = base.clone();
        renew(&mut request, &self.stage.house.request());
        set(&mut request, path, value.clone());
        self.sent += 1;
        self.send(method, &request).await
    }

    /// Every reader answers, of the whole site and of animals that were written to.
    async fn read(&mut self, readers: &[MethodDescriptor], touched: &BTreeSet<String>) {
        for method in readers {
            let mut request = self.valid(method).await;
            let mut all = vec![request.clone()];
            if request.get_field_by_name("animal").is_some() {
                for animal in touched {
                    request.set_field_by_name("animal", Value::String(animal.clone()));
                    all.push(request.clone());
                }
            }
            for request in all {
                if let Err(status) = self.send(method, &request).await {
                    self.judge(&format!("{} after all writes", name(method)), &status);
                }
            }
        }
    }
}

/// A request id of its own.
fn renew(request: &mut DynamicMessage, id: &str) {
    if request.get_field_by_name("request_id").is_some() {
        request.set_field_by_name("request_id", Value::String(id.to_owned()));
    } else if let Some(Value::Message(portion)) = request.get_field_by_name_mut("portion") {
        renew(portion, id);
    }
}

/// Poisons every method of a part of the services, and reads everything in between.
async fn poison_all(part: impl Fn(&str) -> bool) {
    let mut walk = Walk::new().await;
    let (writers, readers): (Vec<_>, Vec<_>) = methods().into_iter().partition(writes);
    let mine = |method: &&MethodDescriptor| part(method.parent_service().name());
    let mut touched = BTreeSet::new();
    for method in writers.iter().filter(mine) {
        touched.extend(walk.poison(method).await);
    }
    walk.read(&readers, &touched).await;
    // What is asked is poison, too; and every day that can be asked about is one that was written before.
    for method in readers.iter().filter(mine) {
        walk.poison(method).await;
    }
    let Walk { stage, wrong, sent, recorded, .. } = walk;
    println!("{sent} requests, {recorded} of them recorded, {} wrong", wrong.len());
    assert!(sent > 1_000 && recorded > 50, "{sent} sent, {recorded} recorded");
    assert!(wrong.is_empty(), "{wrong:#?}");
    stage.house.close().await;
}

/// Services whose requests are about single animals: one half of the work.
const OF_ANIMALS: [&str; 9] = [
    "AmendmentService",
    "AnimalService",
    "CorrectionService",
    "ExchangeService",
    "LitterService",
    "MarkService",
    "MergeService",
    "TransferService",
    "WeightService",
];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_field_about_an_animal_poisons_a_page() {
    poison_all(|service| OF_ANIMALS.contains(&service)).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_other_field_poisons_a_page() {
    poison_all(|service| !OF_ANIMALS.contains(&service)).await;
}
