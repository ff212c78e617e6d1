//! Compiles the protos with protox, in pure Rust: no `protoc` is needed on the machine. What clients and servers would
//! have to repeat of each method is written beside the messages, so that a new method is named in its proto alone.

use prost::Message;
use prost_types::field_descriptor_proto::{Label, Type};
use prost_types::method_options::IdempotencyLevel;
use prost_types::{DescriptorProto, FileDescriptorProto, FileDescriptorSet, MethodDescriptorProto};
use std::fmt::Write;
use std::path::PathBuf;
use std::{env, error, fs};

const PACKAGE: &str = "holt.v1";

fn main() -> Result<(), Box<dyn error::Error>> {
    println!("cargo::rerun-if-changed=holt");
    let mut protos: Vec<PathBuf> =
        fs::read_dir("holt/v1")?.map(|entry| entry.map(|e| e.path())).collect::<Result<_, _>>()?;
    protos.retain(|path| path.extension().is_some_and(|ext| ext == "proto"));
    protos.sort();

    let mut compiler = protox::Compiler::new(["."])?;
    compiler.include_source_info(true).include_imports(true).open_files(&protos)?;
    let descriptors = compiler.file_descriptor_set();
    // Reflection and the contract tests read the comments too, so the set keeps its source info.
    let out = PathBuf::from(env::var_os("OUT_DIR").ok_or("cargo sets OUT_DIR")?);
    fs::write(out.join("holt_descriptor.bin"), descriptors.encode_to_vec())?;
    fs::write(out.join("calls.rs"), calls(&descriptors)?)?;
    fs::write(out.join("services.rs"), services(&descriptors)?)?;
    tonic_prost_build::configure()
        // A correction says much more than a death does.
        .boxed(".holt.v1.ProposeAmendmentRequest.change.correction")
        .compile_fds(descriptors)?;
    Ok(())
}

fn own(set: &FileDescriptorSet) -> impl Iterator<Item = &FileDescriptorProto> {
    set.file.iter().filter(|file| file.package() == PACKAGE)
}

/// The messages of the package, by the last part of a full name.
fn message<'a>(set: &'a FileDescriptorSet, full: &str) -> Result<&'a DescriptorProto, String> {
    let name = full.rsplit('.').next().unwrap_or_default();
    let found = own(set).flat_map(|file| &file.message_type).find(|message| message.name() == name);
    found.ok_or_else(|| format!("{full} is not a message of {PACKAGE}"))
}

fn snake(camel: &str) -> String {
    let mut snake = String::new();
    for letter in camel.chars() {
        if letter.is_uppercase() && !snake.is_empty() {
            snake.push('_');
        }
        snake.extend(letter.to_lowercase());
    }
    snake
}

/// `impl Call` for the request of each method that is asked with one message and answered with one, and `impl Paged`
/// where the answer comes in pages.
fn calls(set: &FileDescriptorSet) -> Result<String, Box<dyn error::Error>> {
    let mut text = String::new();
    for service in own(set).flat_map(|file| &file.service) {
        for method in &service.method {
            if method.client_streaming() || method.server_streaming() {
                continue;
            }
            let (asked, answer) = (message(set, method.input_type())?, message(set, method.output_type())?);
            writeln!(
                text,
                "impl Call for v1::{} {{\n type Answer = v1::{};\n const SERVICE: &'static str = {:?};\n const METHOD: \
                 &'static str = {:?};\n const PATH: &'static str = \"/{PACKAGE}.{}/{}\";\n const AGAIN: Again = \
                 Again::{};\n}}",
                asked.name(),
                answer.name(),
                service.name(),
                snake(method.name()),
                service.name(),
                method.name(),
                again(method, asked),
            )?;
            let Some((entries, entry)) = pages(asked, answer) else { continue };
            writeln!(
                text,
                "impl Paged for v1::{} {{\n type Entry = v1::{entry};\n fn set_page(&mut self, page: v1::PageRequest) \
                 {{ self.page = Some(page); }}\n fn open(answer: Self::Answer) -> (Vec<v1::{entry}>, String) {{\n \
                 (answer.{entries}, answer.page.unwrap_or_default().next_token)\n }}\n}}",
                asked.name(),
            )?;
        }
    }
    Ok(text)
}

/// What sending a message again does: nothing where it reads, nothing where the server knows the request again; what
/// says neither may do harm.
fn again(method: &MethodDescriptorProto, asked: &DescriptorProto) -> &'static str {
    let level =
        method.options.as_ref().map_or(IdempotencyLevel::IdempotencyUnknown, |o| o.idempotency_level());
    let known = asked.field.iter().any(|field| field.name() == "request_id");
    match level {
        IdempotencyLevel::NoSideEffects => "Reads",
        IdempotencyLevel::Idempotent => "SameRequest",
        IdempotencyLevel::IdempotencyUnknown if known => "SameRequest",
        IdempotencyLevel::IdempotencyUnknown => "Harms",
    }
}

/// The one field of an answer whose entries come in pages, and what they are.
fn pages<'a>(asked: &DescriptorProto, answer: &'a DescriptorProto) -> Option<(&'a str, &'a str)> {
    let has = |message: &DescriptorProto, name: &str| {
        message.field.iter().any(|field| field.type_name().rsplit('.').next() == Some(name))
    };
    if !has(asked, "PageRequest") || !has(answer, "PageInfo") {
        return None;
    }
    let mut lists = answer
        .field
        .iter()
        .filter(|field| field.label() == Label::Repeated && field.r#type() == Type::Message);
    let list = lists.next().filter(|_| lists.next().is_none())?;
    Some((list.name(), list.type_name().rsplit('.').next()?))
}

/// A macro that hands all services to another one: the name of each one's file, its client and its server.
fn services(set: &FileDescriptorSet) -> Result<String, Box<dyn error::Error>> {
    let mut text = String::from("#[macro_export]\nmacro_rules! services {\n ($use:ident) => { $use! {\n");
    for file in own(set) {
        let stem = file.name().rsplit('/').next().unwrap_or_default().trim_end_matches(".proto");
        for service in &file.service {
            let (camel, snake) = (service.name(), snake(service.name()));
            writeln!(text, "  {stem} {snake}_client {camel}Client {snake}_server {camel}Server;")?;
        }
    }
    text.push_str(" } };\n}\n");
    Ok(text)
}
