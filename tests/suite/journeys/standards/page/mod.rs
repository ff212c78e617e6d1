//! The page of a site for an inspector.

mod form;
mod numbers;
mod refused;
mod same_bytes;

use super::Audited;
use crate::journeys::charts::HOSTILE;
use chrono::TimeDelta;
use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::Desk;
use roxmltree::{Document, Node, ParsingOptions};

const FIRST: &str = "2026-01-05";
const LAST: &str = "2026-03-02";

/// The command that makes the page, without what it is to be called.
const ASKED: &str = "holt report page --site QUI --from 2026-01-05 --to 2026-03-02 --standard qui-rules --as-known-at 2026-03-02T09:00:00Z";

/// A park of which there is something to say in each part of the page. One of its animals has a hostile name, one moved on.
async fn park() -> Audited {
    let audited = Audited::new().await;
    let steward = audited.house.steward().await;
    audited.house.load_protocol(&steward).await;
    for (name, ring) in [(HOSTILE, "W1"), ("Sedge", "W2"), ("Teasel", "")] {
        audited.arrived(name, ring).await;
    }
    audited.group("Weir family", &[HOSTILE, "Sedge"]).await;
    let check = v1::CreateCheckRequest {
        request_id: audited.house.request(),
        site: "QUI".to_owned(),
        duty: v1::Duty::Weigh.into(),
        scope: Some(v1::CheckScope { of: Some(v1::check_scope::Of::WholeSite(true)) }),
        recurrence: "FREQ=WEEKLY;BYDAY=MO".to_owned(),
        starts_on: Some("2026-01-05".parse().unwrap()),
        ..Default::default()
    };
    audited.quill.registrar.client.send(check).await.unwrap();
    for (day, grams) in [("01-05", 8000), ("01-12", 8060), ("01-26", 8010), ("02-09", 8020), ("02-16", 8040)]
    {
        audited.weighed(HOSTILE, &format!("2026-{day}T09:00:00Z"), grams).await;
        audited.weighed("Sedge", &format!("2026-{day}T09:05:00Z"), grams + 200).await;
    }
    audited.weighed("Teasel", "2026-02-02T09:00:00Z", 7900).await;
    audited.tried("Sedge", "2026-02-23T09:00:00Z").await;
    let assess = audited.house.assessment("QUI", "Sedge", &[("gait", "even")]);
    audited.quill.keeper.client.send(assess).await.unwrap();
    audited.house.moves("Teasel", &audited.quill, &audited.brack).await;
    // After the instant as known at which the page is asked for.
    audited.house.clock.advance(TimeDelta::hours(4));
    audited
}

/// Whoever audits Quill, at a desk.
fn auditor(audited: &Audited) -> Desk {
    audited.house.desk_of(&audited.quill.auditor, &[(Role::Auditor, Some("QUI"))])
}

/// The page as a file of the desk's home.
async fn made(desk: &Desk, file: &str) -> String {
    desk.done(&format!("{ASKED} --out ~/{file}")).await;
    std::fs::read_to_string(desk.path(file)).unwrap()
}

/// The page as XML has it: what HTML leaves open is closed.
fn closed(html: &str) -> String {
    let mut parts = html.split("<meta ");
    let mut xml = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (meta, rest) = part.split_once('>').unwrap();
        xml.push_str(&format!("<meta {meta}/>{rest}"));
    }
    xml
}

fn parsed(xml: &str) -> Document<'_> {
    Document::parse_with_options(xml, ParsingOptions { allow_dtd: true, ..Default::default() }).unwrap()
}

/// All text of an element, with single blanks.
fn text(node: Node<'_, '_>) -> String {
    let text: String = node.descendants().filter(Node::is_text).filter_map(|text| text.text()).collect();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn elements<'a>(page: &'a Document<'_>, name: &str) -> Vec<Node<'a, 'a>> {
    page.descendants().filter(|node| node.is_element() && node.tag_name().name() == name).collect()
}

/// The rows of the table under the caption that has this id, as texts.
fn rows(page: &Document<'_>, caption: &str) -> Vec<Vec<String>> {
    let caption = page.descendants().find(|node| node.attribute("id") == Some(caption)).unwrap();
    let body = caption.parent().unwrap().children().find(|node| node.has_tag_name("tbody")).unwrap();
    let cells = |row: Node<'_, '_>| row.children().filter(Node::is_element).map(text).collect();
    body.children().filter(Node::is_element).map(cells).collect()
}
