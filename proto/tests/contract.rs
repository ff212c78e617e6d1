//! The contract itself: every element says what it means, names follow one rule, and what was promised stays as it is.
//!
//! The naming rules are those of the protobuf style guide (<https://protobuf.dev/programming-guides/style/>)
//! and of the lint rules that go by `STANDARD` in `buf`.

#![cfg(test)]

use holt_proto::FILE_DESCRIPTOR_SET;
use prost::Message;
use prost_reflect::{Cardinality, DescriptorPool, EnumDescriptor, FieldDescriptor, Kind, MessageDescriptor};
use prost_types::field_descriptor_proto::{Label, Type};
use prost_types::method_options::IdempotencyLevel;
use prost_types::{FileDescriptorProto, FileDescriptorSet};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

const PACKAGE: &str = "holt.v1";

/// Numbers in `descriptor.proto` of the members that can have a comment.
mod member {
    pub(super) const MESSAGES: i32 = 4;
    pub(super) const ENUMS: i32 = 5;
    pub(super) const SERVICES: i32 = 6;
    pub(super) const FIELDS: i32 = 2;
    pub(super) const NESTED_MESSAGES: i32 = 3;
    pub(super) const NESTED_ENUMS: i32 = 4;
    pub(super) const ONEOFS: i32 = 8;
    /// Values of an enum and methods of a service alike.
    pub(super) const INNER: i32 = 2;
}

fn pool() -> DescriptorPool {
    DescriptorPool::decode(FILE_DESCRIPTOR_SET).unwrap()
}

fn own_files() -> Vec<FileDescriptorProto> {
    let set = FileDescriptorSet::decode(FILE_DESCRIPTOR_SET).unwrap();
    set.file.into_iter().filter(|file| file.package() == PACKAGE).collect()
}

fn own_messages(pool: &DescriptorPool) -> Vec<MessageDescriptor> {
    pool.all_messages().filter(|message| message.package_name() == PACKAGE).collect()
}

fn own_enums(pool: &DescriptorPool) -> Vec<EnumDescriptor> {
    pool.all_enums().filter(|one| one.package_name() == PACKAGE).collect()
}

/// The comment before each element of a file, by the path of the element.
fn comments(file: &FileDescriptorProto) -> BTreeMap<Vec<i32>, String> {
    let info = file.source_code_info.as_ref().expect("the descriptor set keeps its comments");
    info.location
        .iter()
        .map(|place| (place.path.clone(), place.leading_comments().trim().to_owned()))
        .collect()
}

/// Every element of our files with its comment.
fn elements() -> Vec<(String, String)> {
    let mut all = Vec::new();
    for file in own_files() {
        let comments = comments(&file);
        let mut note = |name: String, path: &[i32]| {
            all.push((name, comments.get(path).cloned().unwrap_or_default()));
        };
        let place = |n: usize| i32::try_from(n).unwrap();
        for (s, service) in file.service.iter().enumerate() {
            let path = [member::SERVICES, place(s)];
            note(service.name().to_owned(), &path);
            for (m, method) in service.method.iter().enumerate() {
                let name = format!("{}.{}", service.name(), method.name());
                note(name, &[&path[..], &[member::INNER, place(m)]].concat());
            }
        }
        let mut enums: Vec<_> = file
            .enum_type
            .iter()
            .enumerate()
            .map(|(n, one)| (vec![member::ENUMS, place(n)], one.name().to_owned(), one))
            .collect();
        let mut messages: Vec<_> = file
            .message_type
            .iter()
            .enumerate()
            .map(|(n, one)| (vec![member::MESSAGES, place(n)], one.name().to_owned(), one))
            .collect();
        while let Some((path, name, message)) = messages.pop() {
            note(name.clone(), &path);
            let below = |kind: i32, n: usize| [path.clone(), vec![kind, place(n)]].concat();
            for (n, field) in message.field.iter().enumerate() {
                note(format!("{name}.{}", field.name()), &below(member::FIELDS, n));
            }
            for (n, oneof) in message.oneof_decl.iter().enumerate() {
                // An `optional` field has a oneof of its own, which nobody writes.
                let written = message
                    .field
                    .iter()
                    .any(|field| field.oneof_index == Some(place(n)) && !field.proto3_optional());
                if written {
                    note(format!("{name}.{}", oneof.name()), &below(member::ONEOFS, n));
                }
            }
            for (n, nested) in message.nested_type.iter().enumerate() {
                messages.push((
                    below(member::NESTED_MESSAGES, n),
                    format!("{name}.{}", nested.name()),
                    nested,
                ));
            }
            for (n, nested) in message.enum_type.iter().enumerate() {
                enums.push((below(member::NESTED_ENUMS, n), format!("{name}.{}", nested.name()), nested));
            }
        }
        for (path, name, one) in enums {
            note(name.clone(), &path);
            for (n, value) in one.value.iter().enumerate() {
                note(
                    format!("{name}.{}", value.name()),
                    &[path.clone(), vec![member::INNER, place(n)]].concat(),
                );
            }
        }
    }
    all
}

#[test]
fn every_element_says_what_it_means() {
    let elements = elements();
    assert!(elements.len() > 700, "only {} elements were found", elements.len());
    let silent: Vec<_> =
        elements.iter().filter(|(_, comment)| comment.is_empty()).map(|(name, _)| name).collect();
    assert!(silent.is_empty(), "without a comment: {silent:#?}");
    let open: Vec<_> = elements
        .iter()
        .filter(|(_, comment)| !comment.ends_with(['.', '?', ':', ')']))
        .map(|(name, _)| name)
        .collect();
    assert!(open.is_empty(), "a comment that is no sentence: {open:#?}");
}

#[test]
fn every_file_says_what_it_holds() {
    for file in own_files() {
        let syntax = comments(&file).remove(&vec![12]).unwrap_or_default();
        assert!(!syntax.is_empty(), "{} begins with no comment", file.name());
    }
}

/// What numbers are counted or measured in. Where a new field needs another word, add it.
const UNITS: [&str; 23] = [
    "-1 to 1",
    "0 to 1",
    "animals",
    "cards",
    "count",
    "day",
    "degrees",
    "due",
    "entries",
    "from 0",
    "generations",
    "grows by one",
    "kcal",
    "kilometres",
    "male",
    "milligrams",
    "minutes",
    "month",
    "number",
    "seconds",
    "unit",
    "version",
    "year",
];

#[test]
fn every_number_names_its_unit() {
    let comments: BTreeMap<String, String> = elements().into_iter().collect();
    let number = |kind: &Kind| {
        matches!(kind, Kind::Double | Kind::Float | Kind::Int32 | Kind::Int64 | Kind::Uint32 | Kind::Uint64)
    };
    let mut without = Vec::new();
    for message in own_messages(&pool()) {
        for field in message.fields().filter(|field| number(&field.kind())) {
            let name = field.full_name().trim_start_matches("holt.v1.").to_owned();
            let own = comments[&name].to_lowercase();
            let around = comments[message.full_name().trim_start_matches("holt.v1.")].to_lowercase();
            // The field itself says so, or all fields of its message are of one kind.
            if !UNITS.iter().any(|unit| own.contains(unit) || around.contains(unit)) {
                without.push(format!("{name}: {own}"));
            }
        }
    }
    assert!(without.is_empty(), "{without:#?}");
}

fn is_lower_snake(name: &str) -> bool {
    name.split('_').all(|word| {
        word.starts_with(|c: char| c.is_ascii_lowercase())
            && word.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit())
    })
}

fn is_upper_camel(name: &str) -> bool {
    name.starts_with(|c: char| c.is_ascii_uppercase())
        && name.bytes().all(|b| b.is_ascii_alphanumeric())
        && name.bytes().any(|b| b.is_ascii_lowercase())
}

/// `MarkKind` → `MARK_KIND`.
fn upper_snake(camel: &str) -> String {
    let mut name = String::new();
    for c in camel.chars() {
        if c.is_ascii_uppercase() && !name.is_empty() {
            name.push('_');
        }
        name.push(c.to_ascii_uppercase());
    }
    name
}

#[test]
fn messages_and_fields_are_named_by_one_rule() {
    for message in own_messages(&pool()) {
        assert!(is_upper_camel(message.name()), "{}", message.full_name());
        for field in message.fields() {
            assert!(is_lower_snake(field.name()), "{}", field.full_name());
        }
        for oneof in message.oneofs() {
            assert!(is_lower_snake(oneof.name().trim_start_matches('_')), "{}", oneof.full_name());
        }
    }
}

#[test]
fn enums_begin_with_what_was_not_told() {
    for one in own_enums(&pool()) {
        assert!(is_upper_camel(one.name()), "{}", one.full_name());
        let prefix = upper_snake(one.name()) + "_";
        for value in one.values() {
            let rest = value.name().strip_prefix(&prefix).unwrap_or_default();
            let plain = |b: u8| b.is_ascii_uppercase() || b.is_ascii_digit() || b == b'_';
            assert!(!rest.is_empty() && rest.bytes().all(plain), "{} in {}", value.name(), one.name());
        }
        let zero = one.get_value(0).unwrap_or_else(|| panic!("{} has no 0", one.name()));
        assert_eq!(zero.name(), prefix + "UNSPECIFIED");
    }
}

#[test]
fn each_method_has_a_request_and_a_response_of_its_own() {
    let pool = pool();
    let mut used = BTreeSet::new();
    for service in pool.services().filter(|service| service.package_name() == PACKAGE) {
        assert!(service.name().ends_with("Service"), "{}", service.name());
        for method in service.methods() {
            assert!(is_upper_camel(method.name()), "{}", method.full_name());
            for (message, end) in [(method.input(), "Request"), (method.output(), "Response")] {
                assert_eq!(message.name(), format!("{}{end}", method.name()), "{}", method.full_name());
                assert!(used.insert(message.full_name().to_owned()), "{} is used twice", message.name());
            }
        }
    }
    let orphans: Vec<String> = own_messages(&pool)
        .iter()
        .filter(|message| message.name().ends_with("Request") || message.name().ends_with("Response"))
        .map(|message| message.full_name().to_owned())
        .filter(|name| !used.contains(name) && !name.ends_with(".PageRequest"))
        .collect();
    assert!(orphans.is_empty(), "belong to no method: {orphans:?}");
}

/// Clients send again by this, when an answer does not come: what reads says so, what writes has a `request_id` or says that
/// nothing comes of a second time. What does neither is never sent twice by itself.
#[test]
fn each_method_says_whether_it_may_be_sent_again() {
    let mut harmful = Vec::new();
    for service in pool().services().filter(|service| service.package_name() == PACKAGE) {
        for method in service.methods() {
            let options = method.method_descriptor_proto().options.clone().unwrap_or_default();
            let writes = method.input().get_field_by_name("request_id").is_some();
            match options.idempotency_level() {
                IdempotencyLevel::NoSideEffects => assert!(!writes, "{} reads", method.full_name()),
                IdempotencyLevel::Idempotent => {
                    assert!(!writes, "{}: its request id says so", method.full_name());
                }
                IdempotencyLevel::IdempotencyUnknown if writes => {}
                IdempotencyLevel::IdempotencyUnknown => harmful.push(method.name().to_owned()),
            }
        }
    }
    // Two streams, whose messages have numbers, and what spends a token.
    assert_eq!(harmful, ["SendReadings", "RenewTokens", "ChangePassword", "FollowWatch"]);
}

fn names(field: &FieldDescriptor, message: &str) -> bool {
    matches!(field.kind(), Kind::Message(of) if of.full_name() == message)
}

#[test]
fn one_name_for_one_thing() {
    for message in own_messages(&pool()) {
        let is = |name: &str| message.get_field_by_name(name);
        for field in message.fields() {
            let name = field.name();
            if names(&field, "google.protobuf.Timestamp") {
                assert!(
                    name.ends_with("_at") || matches!(name, "from" | "until" | "changed_since"),
                    "{}",
                    field.full_name()
                );
            }
            if names(&field, "holt.v1.Day") {
                let other = matches!(name, "first" | "last" | "as_of" | "held_since" | "loan_until");
                assert!(name.ends_with("_on") || other, "{}", field.full_name());
            }
            if name.ends_with("_id") || name == "id" {
                assert_eq!(field.kind(), Kind::String, "{}", field.full_name());
            }
            assert!(!field.is_map(), "{}: the order of a map is nobody's", field.full_name());
        }
        if let Some(request_id) = is("request_id") {
            assert!(message.name().ends_with("Request"), "{}", message.name());
            assert_eq!(request_id.number(), 1, "{}", message.name());
        }
        if let Some(page) = is("page") {
            let wanted =
                if message.name().ends_with("Request") { "holt.v1.PageRequest" } else { "holt.v1.PageInfo" };
            assert!(names(&page, wanted), "{}", message.name());
        }
        if is("validate_only").is_some() {
            assert!(is("request_id").is_some(), "{} writes nothing", message.name());
        }
    }
}

/// Each name, number and type that travels, and what sending a call again does.
fn wire(pool: &DescriptorPool) -> BTreeMap<String, String> {
    let mut lines = BTreeMap::new();
    for service in pool.services().filter(|service| service.package_name() == PACKAGE) {
        for method in service.methods() {
            let stream = |is: bool| if is { "stream " } else { "" };
            let options = method.method_descriptor_proto().options.clone().unwrap_or_default();
            let line = format!(
                "({}{}) returns ({}{}), {}",
                stream(method.is_client_streaming()),
                method.input().name(),
                stream(method.is_server_streaming()),
                method.output().name(),
                options.idempotency_level().as_str_name()
            );
            lines.insert(format!("rpc {}/{}", service.name(), method.name()), line);
        }
    }
    for message in own_messages(pool) {
        for field in message.fields() {
            let kind = match field.kind() {
                Kind::Message(of) => of.full_name().to_owned(),
                Kind::Enum(of) => of.full_name().to_owned(),
                scalar => format!("{scalar:?}").to_lowercase(),
            };
            let mut line = String::new();
            if field.cardinality() == Cardinality::Repeated {
                line.push_str("repeated ");
            }
            if let Some(oneof) = field.containing_oneof() {
                let _ = write!(line, "oneof {} ", oneof.name());
            }
            line.push_str(kind.trim_start_matches("holt.v1."));
            lines.insert(format!("message {} {} {}", message.name(), field.number(), field.name()), line);
        }
    }
    for one in own_enums(pool) {
        for value in one.values() {
            lines.insert(format!("enum {} {}", one.name(), value.number()), value.name().to_owned());
        }
    }
    lines
}

/// What of `before` is gone or another in `after`: each of it breaks a client that is out there.
fn broken(before: &DescriptorPool, after: &DescriptorPool) -> Vec<String> {
    let after = wire(after);
    let gone = wire(before).into_iter().filter_map(|(what, was)| match after.get(&what) {
        Some(is) if *is == was => None,
        Some(is) => Some(format!("{what}: was {was}, and is {is}")),
        None => Some(format!("{what}: was {was}, and is gone")),
    });
    gone.collect()
}

const KEPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/kept.binpb");

/// Whether a person asked to keep the contract as it stands now.
fn keeping() -> bool {
    std::env::var_os("HOLT_KEEP_CONTRACT").is_some()
}

/// `kept.binpb` is the contract as it was promised last, as a `FileDescriptorSet` without comments, which other tools
/// read, too. What was added since is no fault; what changed or went needs a package `holt.v2` once a version has been
/// released. `./run keep-contract` promises what stands now: with each release, or for a change that is meant.
#[test]
fn nothing_that_was_promised_is_broken() {
    let mut set = FileDescriptorSet::decode(FILE_DESCRIPTOR_SET).unwrap();
    for file in &mut set.file {
        file.source_code_info = None;
    }
    if keeping() {
        std::fs::write(KEPT, set.encode_to_vec()).unwrap();
    }
    let kept = DescriptorPool::decode(std::fs::read(KEPT).unwrap().as_slice()).unwrap();
    assert!(wire(&kept).len() > 2000, "only {} things are kept", wire(&kept).len());
    let broken = broken(&kept, &pool());
    assert!(broken.is_empty(), "`./run keep-contract` if this is meant: {broken:#?}");
}

#[test]
fn each_kind_of_break_is_found_and_an_addition_is_none() {
    let set = || {
        let mut set = FileDescriptorSet::decode(FILE_DESCRIPTOR_SET).unwrap();
        let weights = set.file.iter().position(|file| file.name() == "holt/v1/weights.proto").unwrap();
        (set.file.swap_remove(weights), set)
    };
    let after = |change: &dyn Fn(&mut FileDescriptorProto)| {
        let (mut weights, mut others) = set();
        change(&mut weights);
        others.file.push(weights);
        broken(&pool(), &DescriptorPool::from_file_descriptor_set(others).unwrap())
    };
    let reading = |file: &FileDescriptorProto| {
        file.message_type.iter().position(|message| message.name() == "Reading").unwrap()
    };
    assert_eq!(after(&|_| ()), Vec::<String>::new());
    let added = after(&|file| {
        let message = reading(file);
        let mut field = file.message_type[message].field[0].clone();
        field.name = Some("added".to_owned());
        field.json_name = None;
        field.number = Some(900);
        file.message_type[message].field.push(field);
    });
    assert_eq!(added, Vec::<String>::new());
    type Change<'a> = &'a dyn Fn(&mut FileDescriptorProto, usize);
    let changes: [(&str, &str, Change<'_>); 8] = [
        ("a name", "message Reading 1 animal", &|file, n| {
            file.message_type[n].field[0].name = Some("creature".to_owned());
        }),
        ("a number", "message Reading 1 animal", &|file, n| file.message_type[n].field[0].number = Some(901)),
        ("a type", "message Reading 1 animal", &|file, n| {
            file.message_type[n].field[0].set_type(Type::Bytes);
        }),
        ("one for many", "message Reading 1 animal", &|file, n| {
            file.message_type[n].field[0].set_label(Label::Repeated);
        }),
        ("a value", "enum WeighingMethod 1", &|file, _| {
            file.enum_type[0].value[1].name = Some("WEIGHING_METHOD_ALONE".to_owned());
        }),
        ("a method", "rpc WeightService/ListWeights", &|file, _| {
            file.service[0].method.retain(|method| method.name() != "ListWeights");
        }),
        ("whether it may be sent again", "rpc WeightService/ListWeights", &|file, _| {
            let list = file.service[0].method.iter_mut().find(|method| method.name() == "ListWeights");
            list.unwrap().options = None;
        }),
        ("a stream", "rpc WeightService/RecordWeights", &|file, _| {
            file.service[0].method[0].server_streaming = Some(true);
        }),
    ];
    for (what, wanted, change) in changes {
        let found = after(&|file| change(file, reading(file)));
        assert!(found.iter().any(|line| line.starts_with(wanted)), "{what}: {found:?}");
    }
}
