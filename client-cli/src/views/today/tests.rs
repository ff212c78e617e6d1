//! The page as a pure function of what the server said: five animals or five hundred, wide or narrow.

use super::layout::LINES;
use super::*;
use crate::output::Looks;
use crate::session::Zones;
use holt_proto::time::timestamp;
use v1::ConcernLevel::{Act, Urgent, Watch};

const ZONE: Tz = Tz::Europe__Dublin;

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn now() -> DateTime<Utc> {
    at("2026-12-01T06:12:00Z")
}

fn label(n: usize) -> v1::AnimalLabel {
    v1::AnimalLabel {
        id: format!("animal-{n}"),
        accession: format!("QUI-25-{n:04}"),
        house_name: format!("Otter{n}"),
    }
}

fn concern(code: &str, n: usize, level: v1::ConcernLevel) -> v1::Concern {
    let v1::AnimalLabel { id, accession, house_name } = label(n);
    v1::Concern {
        id: format!("00000000-0000-7000-8000-{n:012}"),
        site: code.to_owned(),
        seen: format!(
            "{house_name} ({accession}) weighed 5830 g last and is 14.8 % below what is expected by now: lost it \
             gradually since 2026-10-14. It also comes last."
        ),
        animal_id: id,
        accession,
        house_name,
        kind: v1::ConcernKind::WeightTrend.into(),
        level: level.into(),
        state: v1::ConcernState::Raised.into(),
        age_days: i32::try_from(n).unwrap(),
        ..Default::default()
    }
}

fn due(n: usize, state: v1::DueState, days_late: i32) -> v1::DueItem {
    let v1::AnimalLabel { id, accession, house_name } = label(n);
    v1::DueItem {
        animal_id: id,
        accession,
        house_name,
        duty: v1::Duty::Weigh.into(),
        state: state.into(),
        days_late,
        ..Default::default()
    }
}

fn group(n: usize, members: std::ops::Range<usize>) -> Group {
    let name = format!("Weir family {n}");
    let enclosure = |member| if member == 0 { "Quiet Room" } else { "Weir" };
    let members = members.enumerate().map(|(place, animal)| v1::GroupMember {
        animal: Some(label(animal)),
        enclosure: enclosure(place).to_owned(),
        ..Default::default()
    });
    let feed = v1::PlannedFeed {
        time_of_day: "06:30".to_owned(),
        food: "Trout".to_owned(),
        mass: Some(v1::Mass { milligrams: 900_000 }),
        ..Default::default()
    };
    let plan = v1::FeedPlan { feeds: vec![feed], ..Default::default() };
    Group {
        roll: v1::GetGroupResponse {
            group: Some(v1::Group { name: name.clone(), ..Default::default() }),
            members: members.collect(),
            ..Default::default()
        },
        feeding: v1::GetFeedingResponse { group: name, plan: Some(plan), ..Default::default() },
    }
}

fn device(n: usize, ended_at: Option<&str>) -> v1::DeviceExposure {
    let device = v1::Device {
        enclosure: format!("Weir {n}"),
        name: format!("Lamp {n}"),
        measure: v1::Measure::Temperature.into(),
        ..Default::default()
    };
    let alarm = v1::ClimateAlarm {
        matter: v1::ClimateMatter::TooLow.into(),
        worst: 14.25,
        began_at: Some(timestamp(at("2026-12-01T02:10:00Z"))),
        ended_at: ended_at.map(|ended| timestamp(at(ended))),
        ..Default::default()
    };
    let (device, alarms) = (Some(device), vec![alarm]);
    v1::DeviceExposure { device, readings: 70, below_hours: 2.25, alarms, ..Default::default() }
}

fn range(n: usize) -> v1::ClimateRules {
    v1::ClimateRules {
        enclosure: format!("Weir {n}"),
        measure: v1::Measure::Temperature.into(),
        rules: vec![v1::ClimateRule { low: Some(20.0), ..Default::default() }],
        ..Default::default()
    }
}

/// A site of so many animals at which everything has something to say.
fn busy(code: &str, animals: usize) -> Site {
    let groups = (0..animals.div_ceil(5)).map(|n| group(n, 5 * n..animals.min(5 * n + 5)));
    let levels = [Watch, Act, Watch, Urgent, Watch];
    let zones = Zones::default();
    let concerns = (0..animals).zip(levels.into_iter().cycle());
    let watch = v1::Watch {
        group: "Weir family 0".to_owned(),
        began_at: Some(timestamp(at("2026-11-30T16:00:00Z"))),
        ended_at: Some(timestamp(at("2026-11-30T16:20:00Z"))),
        minutes: 20.0,
        watcher: "Nuala Breen".to_owned(),
        ..Default::default()
    };
    let upset = v1::Upset {
        group: "Weir family 0".to_owned(),
        kind: v1::UpsetKind::Alarm.into(),
        began_at: Some(timestamp(at("2026-12-01T05:40:00Z"))),
        happened: "a heron on the roof".to_owned(),
        ..Default::default()
    };
    let overdue = v1::DueState::Overdue;
    Site {
        zone: ZONE,
        day: v1::SiteDay {
            site: code.to_owned(),
            name: "Quillmoor Park".to_owned(),
            coverage: vec![v1::Coverage {
                duty: v1::Duty::Assess.into(),
                without_check: (0..animals).map(label).collect(),
                ..Default::default()
            }],
            ..Default::default()
        },
        concerns: concerns.map(|(n, level)| Concern::new(concern(code, n, level), &zones)).collect(),
        due: (0..animals)
            .map(|n| match n % 2 {
                0 => due(n, overdue, 3),
                _ => due(n, v1::DueState::Due, 0),
            })
            .collect(),
        transfers: Vec::new(),
        night: at("2026-11-30T18:00:00Z"),
        exposures: (0..animals).map(|n| device(n, (n > 0).then_some("2026-12-01T04:25:00Z"))).collect(),
        climate: v1::GetClimateResponse { rules: (1..animals).map(range).collect(), ..Default::default() },
        groups: groups.collect(),
        feeds: Vec::new(),
        upsets: vec![upset; animals.min(40)],
        watches: vec![watch; animals.min(40)],
        weights: Vec::new(),
    }
}

/// A site of which nothing is recorded.
fn empty() -> Site {
    let busy = busy("QUI", 0);
    let day = v1::SiteDay { coverage: Vec::new(), ..busy.day };
    Site { day, ..busy }
}

fn drawn(page: &Today, width: u16) -> String {
    let mut paper = Page::new(Looks { colour: false, width });
    page.page(&mut paper);
    let text = paper.into_text();
    for line in text.lines() {
        assert!(textwrap::core::display_width(line) <= width.into(), "{line}");
    }
    text
}

#[test]
fn five_animals_and_five_hundred_have_a_page_each() {
    for (animals, width) in [(1, 80), (5, 80), (5, 44), (500, 80), (500, 44)] {
        let text = drawn(&Today::new(&[busy("QUI", animals)], now(), false), width);
        assert!(text.lines().count() <= LINES, "{text}");
        insta::assert_snapshot!(format!("of_{animals}_in_{width}"), text);
    }
}

#[test]
fn a_page_of_several_sites_has_no_more_lines() {
    let other = |code: &str, zone: Tz| Site { zone, ..busy(code, 500) };
    let bare = Site { day: v1::SiteDay { site: "TAR".to_owned(), ..empty().day }, ..empty() };
    let sites = [busy("QUI", 500), other("BRA", Tz::America__Halifax), bare, other("SOL", Tz::Asia__Tokyo)];
    for width in [80, 44] {
        let text = drawn(&Today::new(&sites, now(), true), width);
        assert!(text.lines().count() <= LINES, "{text}");
        insta::assert_snapshot!(format!("of_four_sites_in_{width}"), text);
    }
}

#[test]
fn a_site_of_which_nothing_is_recorded_has_one_line() {
    insta::assert_snapshot!("of_nothing", drawn(&Today::new(&[empty()], now(), false), 80));
}

#[test]
fn what_is_hidden_is_counted() {
    let page = Today::new(&[busy("QUI", 500)], now(), false);
    let of =
        |section, kind| page.lines.iter().filter(move |line| line.section == section && line.kind == kind);
    for section in [line::Section::Concerns, line::Section::Due, line::Section::Night] {
        let shown: usize = of(section, line::Kind::Entry).map(|line| line.count).sum();
        let more: usize = of(section, line::Kind::More).map(|line| line.count).sum();
        assert_eq!((shown + more, shown > 0), (500, true), "{section:?}");
    }
    let levels: Vec<&str> = of(line::Section::Concerns, line::Kind::Entry).map(|line| line.state).collect();
    assert!(levels.iter().all(|level| *level == "urgent"), "the worst come first: {levels:?}");
}
