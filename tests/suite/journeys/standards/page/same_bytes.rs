//! The same question makes the same page, whatever is written and sealed afterwards.

use super::{ASKED, HOSTILE, auditor, closed, elements, made, park, parsed, text};
use chrono::TimeDelta;
use holt_proto::v1;

#[tokio::test]
async fn whatever_is_written_afterwards() {
    let audited = park().await;
    let desk = auditor(&audited);
    desk.done("holt ledger seal").await;
    let one = made(&desk, "one.html").await;
    assert!(made(&desk, "again.html").await == one, "twice at once");
    let xml = closed(&one);
    let page = parsed(&xml);
    let commands: Vec<String> = elements(&page, "code").into_iter().map(text).collect();
    let command = commands.iter().find(|command| command.starts_with("holt report page")).unwrap();
    // The seal stands there as it is checked.
    let seal = elements(&page, "pre").into_iter().find_map(|seal| seal.text()).unwrap();
    desk.file("seal.txt", seal.as_bytes());
    let checked = desk.done("holt ledger verify --site QUI --against ~/seal.txt --format text").await;
    assert!(checked.contains("The records agree with the ledger"), "{checked}");

    audited.house.clock.advance(TimeDelta::days(2));
    audited.weighed(HOSTILE, "2026-02-23T09:00:00Z", 8050).await;
    audited.died("Sedge", "2026-03-03", v1::DeathManner::Natural).await;
    let assess = audited.house.assessment("QUI", HOSTILE, &[("gait", "even")]);
    audited.quill.keeper.client.send(assess).await.unwrap();
    audited.ringed(HOSTILE, "W9", "2026-02-20T09:00:00Z").await;
    desk.done("holt ledger seal").await;
    assert!(made(&desk, "later.html").await == one, "after later writes");
    // The page itself says how it is made again.
    desk.done(&command.replace("FILE", "~/told.html")).await;
    let told = std::fs::read_to_string(desk.path("told.html")).unwrap();
    assert!(told == one, "by its own command");

    let now = ASKED.split(" --as-known-at").next().unwrap();
    desk.done(&format!("{now} --out ~/now.html")).await;
    let now = std::fs::read_to_string(desk.path("now.html")).unwrap();
    assert!(now != one && now.contains("8.05 kg") && !one.contains("8.05 kg"));
    audited.house.close().await;
}
