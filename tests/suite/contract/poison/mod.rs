//! Poison: each field of each request, with what no field should hold, in a request that is otherwise valid.
//! Either it is refused in a way that an ordinary client understands, or it is recorded and then every page of
//! every reader still answers.

mod fields;
mod refusals;
mod values;

use super::overlapping::{ROLES, id_of};
use super::raw::call;
use super::requests::Stage;
use fields::{Field, accessions, leaves, set};
use holt_server::model::person::{Grant, Role};
use holt_tests::reason;
use prost::Message;
use prost_reflect::{DescriptorPool, DynamicMessage, MethodDescriptor, Value};
use std::collections::BTreeSet;
use tonic::{Code, Status};
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

/// So many of the animals that were written to are looked at, each by every reader of one animal.
const LOOKED_AT: usize = 3;

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
        let every: Vec<(Role, Option<&str>)> = ROLES.iter().map(|role| (*role, None)).collect();
        let person = stage.house.person("somebody", &every).await.id;
        let token = stage.house.token(person, &ROLES.map(|role| Grant { role, site: None }));
        Self { stage, authorization: format!("Bearer {token}"), wrong: Vec::new(), sent: 0, recorded: 0 }
    }

    async fn valid(&self, method: &MethodDescriptor) -> DynamicMessage {
        let bytes = self.stage.request(&name(method)).await.unwrap_or_else(|| panic!("{}", name(method)));
        DynamicMessage::decode(method.input(), bytes.as_slice()).unwrap()
    }

    async fn send(&self, method: &MethodDescriptor, request: &DynamicMessage) -> Result<Vec<u8>, Status> {
        let bytes = request.encode_to_vec();
        call(&self.stage.house.channel(), &name(method), Some(&self.authorization), &bytes).await
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

    /// Sends each poison in each field; answers the animals that something was recorded of.
    async fn poison(&mut self, method: &MethodDescriptor) -> BTreeSet<String> {
        let mut touched = BTreeSet::new();
        let mut base = self.valid(method).await;
        for Field { path, kind } in leaves(&method.input()) {
            for Poison { value, told, never } in poisons(&kind) {
                let mut request = base.clone();
                renew(&mut request, &self.stage.house.request());
                set(&mut request, &path, value);
                let at: Vec<&str> = path.iter().map(|field| field.name()).collect();
                let what = format!("{} {} = {told}", name(method), at.join("."));
                self.sent += 1;
                match self.send(method, &request).await {
                    Err(status) => self.judge(&what, &status),
                    Ok(_) if never => self.wrong.push(format!("{what}: recorded or taken as a question")),
                    Ok(answer) if writes(method) => {
                        self.recorded += 1;
                        let answer = DynamicMessage::decode(method.output(), answer.as_slice()).unwrap();
                        accessions(&answer, &mut touched);
                        if let Some(Value::String(animal)) = request.get_field_by_name("animal").as_deref() {
                            touched.insert(animal.clone());
                        }
                        base = self.valid(method).await;
                    }
                    Ok(_) => {}
                }
            }
        }
        touched
    }

    /// Every reader answers, of the whole site and of animals that were written to.
    async fn read(&mut self, after: &str, touched: &BTreeSet<String>) {
        for method in methods().iter().filter(|method| !writes(method)) {
            if method.parent_service().name() == "PeopleService" {
                continue;
            }
            let mut request = self.valid(method).await;
            let animals: Vec<&String> = touched.iter().rev().take(LOOKED_AT).collect();
            let animals = if request.get_field_by_name("animal").is_some() { animals } else { Vec::new() };
            let mut all = vec![request.clone()];
            for animal in animals {
                request.set_field_by_name("animal", Value::String(animal.clone()));
                all.push(request.clone());
            }
            for request in all {
                if let Err(status) = self.send(method, &request).await {
                    self.judge(&format!("{} after {after}", name(method)), &status);
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

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_field_of_any_request_poisons_a_page() {
    let mut walk = Walk::new().await;
    let (writers, readers): (Vec<_>, Vec<_>) = methods().into_iter().partition(writes);
    let mut touched = BTreeSet::new();
    let mut service = String::new();
    for method in &writers {
        if service != method.parent_service().name() {
            walk.read(&service, &touched).await;
            touched.clear();
            method.parent_service().name().clone_into(&mut service);
        }
        touched.append(&mut walk.poison(method).await);
    }
    walk.read(&service, &touched).await;
    // What is asked is poison, too; and every day that can be asked about is one that was written before.
    for method in &readers {
        walk.poison(method).await;
    }
    let Walk { stage, wrong, sent, recorded, .. } = walk;
    println!("{sent} requests, {recorded} of them recorded, {} wrong", wrong.len());
    assert!(sent > 5_000 && recorded > 200, "{sent} sent, {recorded} recorded");
    assert!(wrong.is_empty(), "{wrong:#?}");
    stage.house.close().await;
}
