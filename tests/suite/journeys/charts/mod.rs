//! What calls return, drawn: in the terminal and as a file.

use chrono::TimeDelta;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::{Desk, House, Park};

/// A name that is markup where nobody escapes it.
pub(crate) const HOSTILE: &str = "<script>alert(1)</script> & \"Co\"";

/// A house with an animal of a hostile name that was weighed each week, declined once, and was misread once.
struct Scales {
    house: House,
    park: Park,
    desk: Desk,
}

impl Scales {
    async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        house.otter(&park, HOSTILE).await;
        let desk = house.desk_of(&park.keeper, &[(Role::Keeper, Some("QUI"))]);
        let scales = Self { house, park, desk };
        for grams in [8000, 8050, 8020, 8060, 8010, 8040] {
            scales.weighs(grams).await;
        }
        scales.weighs(804).await;
        scales.declines().await;
        scales
    }

    async fn weighs(&self, grams: i64) {
        self.house.clock.advance(TimeDelta::weeks(1));
        let round = self.house.round("QUI", &[(HOSTILE, self.house.clock.now(), grams)]);
        let answer = self.park.keeper.client.send(round).await.unwrap();
        assert!(answer.answers[0].refusal.is_none(), "{answer:?}");
    }

    async fn declines(&self) {
        self.house.clock.advance(TimeDelta::days(1));
        let mut round = self.house.round("QUI", &[(HOSTILE, self.house.clock.now(), 1)]);
        round.readings[0].result = Some(v1::reading::Result::Tried(v1::Tried {}));
        self.park.keeper.client.send(round).await.unwrap();
    }
}

fn said(svg: &roxmltree::Document<'_>, element: &str) -> String {
    let found = svg.descendants().find(|node| node.has_tag_name(("http://www.w3.org/2000/svg", element)));
    found.and_then(|node| node.text()).unwrap_or_default().to_owned()
}

fn with_class(svg: &roxmltree::Document<'_>, class: &str) -> usize {
    svg.descendants().filter(|node| node.attribute("class") == Some(class)).count()
}

#[tokio::test]
async fn weights_are_drawn_as_a_file() {
    let scales = Scales::new().await;
    let command = format!("holt weight list {} --svg", shlex::try_quote(HOSTILE).unwrap());
    let told = scales.desk.done(&format!("{command} ~/one.svg --format text")).await;
    assert!(told.starts_with("Saved the chart as "), "{told}");
    let text = std::fs::read_to_string(scales.desk.path("one.svg")).unwrap();
    let svg = roxmltree::Document::parse(&text).unwrap();
    assert_eq!(said(&svg, "title"), format!("Weight of {HOSTILE} (QUI-25-0001)"));
    let summary = said(&svg, "desc");
    for part in [
        "Readings: 6 values, from 8 kg on ",
        "To weigh again: 804 g on ",
        "Declined the scale: 1.",
        "Median of these readings: 8.03 kg.",
        "Expected next, 95 %: ",
    ] {
        assert!(summary.contains(part), "{part}\n{summary}");
    }
    // Each reading is a dot, and the key has one more.
    assert_eq!(with_class(&svg, "dot s1"), 6 + 1);
    // What is told in words and drawn is the same picture, whatever the animal is called.
    assert!(svg.descendants().all(|node| node.tag_name().name() != "script"), "{text}");
    for attribute in svg.descendants().flat_map(|node| node.attributes()) {
        assert!(!attribute.name().starts_with("on") && !attribute.value().contains("//"), "{attribute:?}");
    }
    let (exit, refused) = scales.desk.refused(&format!("{command} ~/one.svg")).await;
    assert!(exit == 3 && refused.contains("exists") && refused.contains("--replace"), "{exit} {refused}");
    assert_eq!(std::fs::read_to_string(scales.desk.path("one.svg")).unwrap(), text);
    scales.weighs(8030).await;
    scales.desk.done(&format!("{command} ~/one.svg --replace")).await;
    assert_ne!(std::fs::read_to_string(scales.desk.path("one.svg")).unwrap(), text);
    let streamed = scales.desk.done(&format!("{command} -")).await;
    assert_eq!(std::fs::read_to_string(scales.desk.path("one.svg")).unwrap(), streamed);
    scales.house.close().await;
}

#[tokio::test]
async fn weights_and_growth_are_drawn_in_the_terminal() {
    let mut scales = Scales::new().await;
    scales.desk = scales.desk.at_terminal(80).with("NO_COLOR", "1");
    let name = shlex::try_quote(HOSTILE).unwrap();
    insta::assert_snapshot!(scales.desk.done(&format!("holt weight list {name} --chart")).await);
    let growth = scales.desk.done(&format!("holt growth show {name} --chart")).await;
    assert!(growth.starts_with("Growth of "), "{growth}");
    for line in
        [format!("holt weight list {name} --chart --format csv"), "holt weight list --chart".to_owned()]
    {
        let (exit, refused) = scales.desk.refused(&line).await;
        assert_eq!(exit, 2, "{line}: {refused}");
    }
    let nothing = scales.desk.done(&format!("holt weight list {name} --chart --to 2025-06-01")).await;
    assert!(nothing.contains("Nothing recorded in these days."), "{nothing}");
    scales.house.close().await;
}

#[tokio::test]
async fn condition_and_concerns_are_drawn() {
    let scales = Scales::new().await;
    let name = shlex::try_quote(HOSTILE).unwrap();
    scales.desk.done(&format!("holt condition {name} --svg ~/condition.svg")).await;
    let text = std::fs::read_to_string(scales.desk.path("condition.svg")).unwrap();
    let svg = roxmltree::Document::parse(&text).unwrap();
    assert_eq!(said(&svg, "title"), format!("Weight and body condition of {HOSTILE}"));
    assert!(said(&svg, "desc").contains("Median of each week: 6 values, from 8 kg on "), "{text}");
    let drawn = scales.desk.done(&format!("holt concern list --animal {name} --closed --svg -")).await;
    let svg = roxmltree::Document::parse(&drawn).unwrap();
    assert_eq!(with_class(&svg, "dot s1"), 6 + 1);
    let (exit, refused) = scales.desk.refused("holt concern list --svg -").await;
    assert!(exit == 2 && refused.contains("--animal"), "{exit} {refused}");
    scales.house.close().await;
}

#[tokio::test]
async fn the_page_of_a_group_has_a_run_of_weights_where_there_is_room() {
    let mut scales = Scales::new().await;
    let create = v1::CreateGroupRequest {
        request_id: scales.house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        note: String::new(),
    };
    scales.park.keeper.client.send(create).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: scales.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec![HOSTILE.to_owned()],
        role: v1::GroupRole::Member.into(),
        joined_at: None,
    };
    scales.park.keeper.client.send(join).await.unwrap();
    for (width, is_there) in [(80, false), (120, true)] {
        scales.desk = scales.desk.at_terminal(width).with("NO_COLOR", "1");
        let page = scales.desk.done("holt group day 'Weir family'").await;
        assert_eq!(page.contains("Ten weeks"), is_there, "{page}");
        // The reading that waits is left out, and the day on which it declined is a dot.
        assert_eq!(page.contains("▄▅▄▅▄▅·"), is_there, "{page}");
    }
    scales.house.close().await;
}
