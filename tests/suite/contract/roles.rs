//! Who may call what: every method of the descriptor set, for everybody.

use holt_server::access::roles::METHODS;
use prost_reflect::DescriptorPool;

fn methods() -> Vec<String> {
    let pool = DescriptorPool::decode(holt_proto::FILE_DESCRIPTOR_SET).unwrap();
    pool.services()
        .filter(|service| service.full_name().starts_with("holt.v1."))
        .flat_map(|service| {
            let name = service.name().to_owned();
            service.methods().map(move |method| format!("{name}/{}", method.name())).collect::<Vec<_>>()
        })
        .collect()
}

#[test]
fn every_method_has_a_row_and_every_row_a_method() {
    let mut methods = methods();
    let mut rows: Vec<String> = METHODS.iter().map(|(method, _)| (*method).to_owned()).collect();
    methods.sort();
    rows.sort();
    assert_eq!(rows, methods);
}
