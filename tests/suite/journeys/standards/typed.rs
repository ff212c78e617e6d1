//! `holt standard` at a desk.

use super::{Audited, RULES};
use holt_server::model::person::Role;
use serde_json::Value;

#[tokio::test]
async fn a_registrar_loads_and_an_auditor_asks() {
    let audited = Audited::new().await;
    audited.arrived("Bramble", "W1").await;
    audited.arrived("Sedge", "").await;
    audited.weighed("Bramble", "2026-02-15T09:00:00Z", 8000).await;
    let registrar = audited.house.desk_of(&audited.quill.registrar, &[(Role::Registrar, Some("QUI"))]);
    registrar.file("rules.toml", RULES.replace("version = 1", "version = 2").as_bytes());
    let checked = registrar.done("holt standard load ~/rules.toml --own --check-only --format text").await;
    assert!(checked.contains("nothing was recorded"), "{checked}");
    let loaded = registrar.done("holt standard load ~/rules.toml --own --format text").await;
    assert!(loaded.contains("Recorded House rules (qui-rules, version 2)."), "{loaded}");

    let desk = audited.house.desk_of(&audited.quill.auditor, &[(Role::Auditor, Some("QUI"))]);
    let list = desk.done("holt standard list --format csv").await;
    assert_eq!(list.lines().count(), 3, "{list}");
    let shown = desk.done("holt standard show qui-rules --format text").await;
    for part in [
        "House rules (qui-rules, version 2)",
        "weights-in-time: every 30 days, 50 %",
        "What no record can show",
    ] {
        assert!(shown.contains(part), "{part}\n{shown}");
    }
    let asked = "holt standard answer qui-rules --from 2026-02-01 --to 2026-03-01";
    let text = desk.done(&format!("{asked} --format text")).await;
    for part in [
        "Sedge (QUI-25-0002): no weight recorded",
        "Only 2 counted: one more",
        "Visitors learn something. Ask them.",
        "They do not replace an inspection, your vet,",
    ] {
        let text: Vec<&str> = text.split_whitespace().collect();
        let part: Vec<&str> = part.split_whitespace().collect();
        assert!(text.windows(part.len()).any(|words| words == part), "{part:?}\n{text:?}");
    }
    let json: Value = serde_json::from_str(&desk.done(&format!("{asked} --format json")).await).unwrap();
    assert_eq!(json["version"], 2);
    let weighed = json["answers"].as_array().unwrap().iter().find(|one| one["clause"]["number"] == "weighed");
    let weighed = weighed.unwrap();
    assert_eq!((&weighed["answer"], &weighed["denominator"]), (&"short".into(), &2.into()));
    assert_eq!(weighed["exceptions"][0]["name"], "Sedge (QUI-25-0002)");
    let csv = desk.done(&format!("{asked} --format csv")).await;
    assert!(
        csv.lines().any(|line| line.contains("weighed,short,1,2,100,animal,Sedge (QUI-25-0002)")),
        "{csv}"
    );

    let ran = desk.run(&format!("{asked} --ask")).await;
    assert_eq!(ran.exit, 10, "{}", ran.err);
    let (exit, _) = desk.refused("holt standard answer nowhere --year 2025").await;
    assert_eq!(exit, 4);
    let (exit, said) = desk.refused("holt standard answer qui-rules --from 2026-02-01 --to 2026-04-01").await;
    assert_eq!(exit, 3, "{said}");
    audited.house.close().await;
}
