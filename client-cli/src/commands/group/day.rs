//! `holt group day`: what several questions say, on one page.

use crate::errand::{Errand, Outcome};
use crate::views::group_day::{Answers, GroupDay, Today};
use chrono::Days;
use holt_proto::time::day;
use holt_proto::v1;

/// Days of which the readings are drawn: ten weeks.
const RECENT: Days = Days::new(69);

pub(super) async fn show(errand: &mut Errand<'_>, site: String, group: String) -> Outcome {
    let session = &errand.session;
    let zones = session.zones().await?;
    let zone = zones.of(&site);
    let roll = v1::GetGroupRequest { site: site.clone(), group: group.clone(), ..Default::default() };
    let roll = session.ask(roll).await?;
    let standing = v1::GetStandingRequest { site: site.clone(), group: group.clone(), ..Default::default() };
    let concerns = v1::ListConcernsRequest { site: site.clone(), ..Default::default() };
    let due = v1::ListDueRequest { site: site.clone(), ..Default::default() };
    let feeding =
        v1::GetFeedingRequest { site: site.clone(), group: group.clone(), days: 1, ..Default::default() };
    let enrichment =
        v1::GetEnrichmentRequest { site: site.clone(), group: group.clone(), days: 1, ..Default::default() };
    let encounters = v1::ListEncounterAllowancesRequest { site: site.clone(), group, ..Default::default() };
    let today = session.today(zone);
    let recent = v1::DaySpan { first: Some(day(today - RECENT)), last: Some(day(today)) };
    let weights = v1::ListWeightsRequest { site: site.clone(), days: Some(recent), ..Default::default() };
    let mut houses = Vec::new();
    for enclosure in roll.group.iter().flat_map(|group| &group.enclosures) {
        let ask = v1::GetClimateRequest { site: site.clone(), enclosure: enclosure.clone() };
        houses.extend(session.ask(ask).await?.devices);
    }
    let answers = Answers {
        standing: session.ask(standing).await?,
        concerns: session.all(concerns, usize::MAX).await?,
        weights: session.all(weights, usize::MAX).await?,
        due: session.ask(due).await?.items,
        today: Today::new(
            session.ask(feeding).await?,
            session.ask(enrichment).await?,
            session.ask(encounters).await?,
            zone,
        ),
        houses,
        roll,
    };
    let now = session.now();
    errand.show(&GroupDay::new(answers, &zones, now))
}
