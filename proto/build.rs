//! Compiles the protos with protox, in pure Rust: no `protoc` is needed on the machine.

use prost::Message;
use std::path::PathBuf;
use std::{env, error, fs};

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
    tonic_prost_build::configure()
        // A correction says much more than a death does.
        .boxed(".holt.v1.ProposeAmendmentRequest.change.correction")
        .compile_fds(descriptors)?;
    Ok(())
}
