//! The reference of the API in `docs/api`, made of the comments of the protos and of who may call what. `./run reference`
//! writes it anew.

use holt_proto::FILE_DESCRIPTOR_SET;
use holt_server::access::roles::{METHODS, Need};
use prost::Message;
use prost_types::field_descriptor_proto::{Label, Type};
use prost_types::method_options::IdempotencyLevel;
use prost_types::{
    DescriptorProto, EnumDescriptorProto, FieldDescriptorProto, FileDescriptorProto, FileDescriptorSet,
    MethodDescriptorProto, ServiceDescriptorProto,
};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;
use std::{env, fs};

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/api");

/// What stands before the list of services.
const BEGINNING: &str = include_str!("reference.md");

/// Numbers in `descriptor.proto` of what can have a comment.
const SERVICES: i32 = 6;
const MESSAGES: i32 = 4;
const ENUMS: i32 = 5;
/// Fields of a message, methods of a service and values of an enum alike.
const INNER: i32 = 2;
const ONEOFS: i32 = 8;
const SYNTAX: i32 = 12;

/// A file of the contract, and where everything else stands.
struct Page<'a> {
    file: &'a FileDescriptorProto,
    comments: BTreeMap<&'a [i32], String>,
    /// The file of each message and enum, by its full name.
    homes: &'a BTreeMap<String, String>,
    text: String,
}

fn stem(file: &FileDescriptorProto) -> &str {
    file.name().trim_start_matches("holt/v1/").trim_end_matches(".proto")
}

fn place(n: usize) -> i32 {
    i32::try_from(n).unwrap()
}

/// A comment as one paragraph, fit for a cell of a table.
fn flat(comment: &str) -> String {
    comment.split_whitespace().collect::<Vec<_>>().join(" ").replace('|', "\\|")
}

fn first_sentence(text: &str) -> String {
    text.split_inclusive(". ").next().unwrap_or_default().trim_end().to_owned()
}

impl Page<'_> {
    fn comment(&self, path: &[i32]) -> String {
        self.comments.get(path).map(|comment| flat(comment)).unwrap_or_default()
    }

    /// A message or enum of Holt as a link to where it stands; one of others as it is called.
    fn link(&self, full: &str) -> String {
        let full = full.trim_start_matches('.');
        let name = full.trim_start_matches("holt.v1.");
        let Some(home) = self.homes.get(full) else { return format!("`{name}`") };
        let file = if home == stem(self.file) { String::new() } else { format!("{home}.md") };
        format!("[{name}]({file}#{})", name.to_lowercase())
    }

    fn service(&mut self, s: usize, service: &ServiceDescriptorProto) {
        let _ = write!(self.text, "\n## {}\n\n{}\n", service.name(), self.comment(&[SERVICES, place(s)]));
        for (m, method) in service.method.iter().enumerate() {
            let comment = self.comment(&[SERVICES, place(s), INNER, place(m)]);
            let _ = write!(self.text, "\n### {}\n\n{comment}\n\n", method.name());
            let asked = self.link(method.input_type());
            let answer = self.link(method.output_type());
            let stream = |is: bool| if is { "a stream of " } else { "" };
            let _ = writeln!(self.text, "- Request: {}{asked}", stream(method.client_streaming()));
            let _ = writeln!(self.text, "- Response: {}{answer}", stream(method.server_streaming()));
            let _ =
                writeln!(self.text, "- Who may: {}", who(&format!("{}/{}", service.name(), method.name())));
            let _ = writeln!(self.text, "- Sent again: {}", self.again(method));
        }
    }

    fn again(&self, method: &MethodDescriptorProto) -> &'static str {
        let name = method.input_type().rsplit('.').next().unwrap_or_default();
        let asked = self.file.message_type.iter().find(|message| message.name() == name);
        let known = asked.is_some_and(|asked| asked.field.iter().any(|field| field.name() == "request_id"));
        let options = method.options.clone().unwrap_or_default();
        match options.idempotency_level() {
            IdempotencyLevel::NoSideEffects => "safe; it reads",
            IdempotencyLevel::Idempotent => "safe; nothing comes of a second time",
            IdempotencyLevel::IdempotencyUnknown if known => {
                "safe with the same `request_id`; the first answer comes again"
            }
            IdempotencyLevel::IdempotencyUnknown => "not by itself",
        }
    }

    fn message(&mut self, n: usize, message: &DescriptorProto) {
        let path = [MESSAGES, place(n)];
        let _ = write!(self.text, "\n### {}\n\n{}\n", message.name(), self.comment(&path));
        if message.field.is_empty() {
            return;
        }
        self.text.push_str("\n| No. | field | type | meaning |\n|---:|---|---|---|\n");
        for (f, field) in message.field.iter().enumerate() {
            let mut meaning = self.comment(&[&path[..], &[INNER, place(f)]].concat());
            if let Some(choice) = field.oneof_index.filter(|_| !field.proto3_optional()) {
                let name = message.oneof_decl[usize::try_from(choice).unwrap()].name();
                let of = self.comment(&[&path[..], &[ONEOFS, choice]].concat());
                let first =
                    message.field.iter().position(|other| other.oneof_index == Some(choice)) == Some(f);
                let of = if first && !of.is_empty() { format!(" ({of})") } else { String::new() };
                meaning = format!("{meaning} One of `{name}`{of}");
            }
            let kind = self.kind(field);
            let _ = writeln!(self.text, "| {} | `{}` | {kind} | {meaning} |", field.number(), field.name());
        }
    }

    fn kind(&self, field: &FieldDescriptorProto) -> String {
        let one = match field.r#type() {
            Type::Message | Type::Enum => self.link(field.type_name()),
            scalar => format!("`{}`", scalar.as_str_name().trim_start_matches("TYPE_").to_lowercase()),
        };
        let prefix = match field.label() {
            Label::Repeated => "repeated ",
            _ if field.proto3_optional() => "optional ",
            _ => "",
        };
        format!("{prefix}{one}")
    }

    fn vocabulary(&mut self, n: usize, one: &EnumDescriptorProto) {
        let path = [ENUMS, place(n)];
        let _ = write!(self.text, "\n### {}\n\n{}\n", one.name(), self.comment(&path));
        self.text.push_str("\n| No. | value | meaning |\n|---:|---|---|\n");
        for (v, value) in one.value.iter().enumerate() {
            let meaning = self.comment(&[&path[..], &[INNER, place(v)]].concat());
            let _ = writeln!(self.text, "| {} | `{}` | {meaning} |", value.number(), value.name());
        }
    }

    fn whole(mut self) -> String {
        let file = self.file;
        for (n, service) in file.service.iter().enumerate() {
            self.service(n, service);
        }
        if !file.message_type.is_empty() {
            self.text.push_str("\n## Messages\n");
        }
        for (n, message) in file.message_type.iter().enumerate() {
            self.message(n, message);
        }
        if !file.enum_type.is_empty() {
            self.text.push_str("\n## Vocabularies\n");
        }
        for (n, one) in file.enum_type.iter().enumerate() {
            self.vocabulary(n, one);
        }
        self.text
    }
}

/// Who may call a method (`WeightService/RecordWeights`).
fn who(method: &str) -> String {
    let need =
        METHODS.iter().find(|(name, _)| *name == method).unwrap_or_else(|| panic!("{method} has no row")).1;
    match need {
        Need::Nothing => "anybody, without a token".to_owned(),
        Need::AnyToken => "anybody who is signed in".to_owned(),
        Need::Role(deed) => deed.roles().iter().map(|role| role.as_str()).collect::<Vec<_>>().join(", "),
    }
}

/// The reference: each file's name and text.
fn reference() -> BTreeMap<String, String> {
    let set = FileDescriptorSet::decode(FILE_DESCRIPTOR_SET).unwrap();
    let files: Vec<_> = set.file.iter().filter(|file| file.package() == "holt.v1").collect();
    let homes: BTreeMap<String, String> = files
        .iter()
        .flat_map(|file| {
            let messages = file.message_type.iter().map(|message| message.name());
            let names = messages.chain(file.enum_type.iter().map(|one| one.name()));
            names.map(|name| (format!("holt.v1.{name}"), stem(file).to_owned()))
        })
        .collect();
    let mut pages = BTreeMap::new();
    let mut list = BTreeMap::new();
    let mut shared = String::new();
    for file in files {
        let info = file.source_code_info.as_ref().expect("the descriptors keep their comments");
        let comments: BTreeMap<&[i32], String> =
            info.location.iter().map(|at| (at.path.as_slice(), at.leading_comments().to_owned())).collect();
        let about = flat(&comments[&[SYNTAX][..]]);
        for (n, service) in file.service.iter().enumerate() {
            let link = format!("[{}]({}.md#{})", service.name(), stem(file), service.name().to_lowercase());
            let calls: Vec<_> = service.method.iter().map(|method| method.name()).collect();
            let says = first_sentence(&flat(&comments[&[SERVICES, place(n)][..]]));
            list.insert(service.name(), format!("| {link} | {says} | {} |\n", calls.join(", ")));
        }
        if file.service.is_empty() {
            let _ = writeln!(shared, "| [{0}]({0}.md) | {about} |", stem(file));
        }
        let text = format!(
            "# {}\n\n`holt/v1/{}.proto`. {about}\n\n[All services](README.md)\n",
            stem(file).replace('_', " "),
            stem(file)
        );
        let page = Page { file, comments, homes: &homes, text };
        pages.insert(format!("{}.md", stem(file)), page.whole());
    }
    let list: String = list.into_values().collect();
    let first = format!(
        "{BEGINNING}\n## Services\n\n| service | what it is for | calls |\n|---|---|---|\n{list}\n## What they \
         share\n\n| file | what it holds |\n|---|---|\n{shared}"
    );
    pages.insert("README.md".to_owned(), first);
    pages
}

#[test]
fn the_reference_says_what_the_protos_say() {
    let wanted = reference();
    let folder = Path::new(FOLDER);
    if env::var_os("HOLT_WRITE_REFERENCE").is_some() {
        let _ = fs::remove_dir_all(folder);
        fs::create_dir_all(folder).unwrap();
        for (name, text) in &wanted {
            fs::write(folder.join(name), text).unwrap();
        }
    }
    let there: BTreeMap<String, String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|entry| (entry.file_name().into_string().unwrap(), fs::read_to_string(entry.path()).unwrap()))
        .collect();
    let old: Vec<_> =
        wanted.iter().filter(|(name, text)| there.get(*name) != Some(text)).map(|(name, _)| name).collect();
    let extra: Vec<_> = there.keys().filter(|name| !wanted.contains_key(*name)).collect();
    assert!(
        old.is_empty() && extra.is_empty(),
        "write it anew with `./run reference`: {old:?}, not in the protos: {extra:?}"
    );
}

#[test]
fn each_link_of_the_reference_leads_somewhere() {
    let pages = reference();
    let anchors = |text: &str| -> Vec<String> {
        let heads = text.lines().filter(|line| line.starts_with('#'));
        heads.map(|line| line.trim_start_matches(['#', ' ']).to_lowercase()).collect()
    };
    let mut links = 0;
    for (name, text) in &pages {
        for part in text.split("](").skip(1) {
            let target = part.split(')').next().unwrap();
            if target.contains("//") || target.starts_with("../") {
                continue;
            }
            let (file, anchor) = target.split_once('#').unwrap_or((target, ""));
            let page = if file.is_empty() { text } else { &pages[file] };
            assert!(anchor.is_empty() || anchors(page).contains(&anchor.to_owned()), "{name}: {target}");
            links += 1;
        }
    }
    assert!(links > 1000, "{links} links");
}
