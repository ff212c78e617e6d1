//! `holt today`

use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::profile::{Setting, Source};
use crate::session::{Session, Zones};
use crate::views::concern::Concern;
use crate::views::today::{Group, Site, Today as View};
use chrono::{DateTime, Days, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;
use clap::Args;
use futures::future::try_join_all;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;

/// Most sites on one page: more would have one line each.
const SITES: usize = 4;

/// Groups that are asked about at a time, so that a large site does not take all turns of its person.
const GROUPS: usize = 8;

/// Show today's page: who needs a look, what is due, the night, feeds, and what others recorded
#[derive(Args, Debug)]
#[command(after_help = "\
The page has at most 24 lines, worst first. If a section has more, its last line names the command that \
shows it. If you have several sites, the page shows up to four of them. If you are signed in, `holt` alone \
shows the same page.

The page is as recorded at the time in its first line. The night begins at 18:00. A concern about an \
enclosure follows its reading after some time [default: 30 s].

Examples:
  holt today
  holt today --site QUI
  holt today --format csv")]
pub(crate) struct Today {}

impl Today {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let named = errand.named_site();
        let session = &errand.session;
        let now = session.now();
        let days = v1::GetSiteDayRequest {
            site: named.clone().unwrap_or_default(),
            span_days: 1,
            ..Default::default()
        };
        let (zones, days) = tokio::try_join!(session.zones(), session.ask(days))?;
        let days = days.sites;
        if days.len() > SITES {
            let sites: Vec<&str> = days.iter().map(|day| day.site.as_str()).collect();
            return Err(Failure::usage(
                format!("a page has room for {SITES} sites, and you have {}", sites.len()),
                format!("use --site with one of {}", sites.join(", ")),
            ));
        }
        let asked = days.into_iter().map(|day| Box::pin(site(session, &zones, day, now)));
        let sites = try_join_all(asked).await?;
        let by_flag = |setting: &Setting<String>| matches!(setting.source, Source::Flag(_));
        let names_site = sites.len() > 1 || errand.settings.site.as_ref().is_some_and(by_flag);
        let page = View::new(&sites, now, names_site);
        let outcome = errand.show(&page)?;
        if errand.output.is_flat() {
            errand.output.note(page.caution())?;
        }
        Ok(outcome)
    }
}

/// Everything about a site, asked side by side.
async fn site(
    session: &Session,
    zones: &Zones,
    of_day: v1::SiteDay,
    now: DateTime<Utc>,
) -> Result<Site, Failure> {
    let site = || of_day.site.clone();
    let zone = zones.of(&of_day.site);
    let (today, night) = (session.today(zone), evening(zone, now));
    let lately = Some(v1::DaySpan { first: Some(day(today - Days::new(1))), last: Some(day(today)) });
    let concerns = v1::ListConcernsRequest { site: site(), ..Default::default() };
    let transfers = v1::ListTransfersRequest { site: site(), open_only: true, ..Default::default() };
    let due = v1::ListDueRequest { site: site(), ..Default::default() };
    let climate = v1::GetClimateRequest { site: site(), ..Default::default() };
    let exposure = v1::GetExposureRequest {
        site: site(),
        from: Some(timestamp(night)),
        until: Some(timestamp(now)),
        ..Default::default()
    };
    let feeds = v1::ListFeedsRequest { site: site(), days: lately, ..Default::default() };
    let upsets = v1::ListUpsetsRequest { site: site(), days: lately, ..Default::default() };
    let watches = v1::ListWatchesRequest { site: site(), days: lately, ..Default::default() };
    let weights = v1::ListWeightsRequest { site: site(), days: lately, ..Default::default() };
    let (concerns, transfers, due, climate, exposure, feeds, upsets, watches, weights, groups) = tokio::try_join!(
        session.all(concerns, usize::MAX),
        session.all(transfers, usize::MAX),
        session.ask(due),
        session.ask(climate),
        session.ask(exposure),
        session.all(feeds, usize::MAX),
        session.all(upsets, usize::MAX),
        session.all(watches, usize::MAX),
        session.all(weights, usize::MAX),
        groups(session, site()),
    )?;
    Ok(Site {
        zone,
        concerns: concerns.into_iter().map(|concern| Concern::new(concern, zones)).collect(),
        due: due.items,
        transfers,
        night,
        exposures: exposure.devices,
        climate,
        groups,
        feeds,
        upsets,
        watches,
        weights,
        day: of_day,
    })
}

/// The groups of a site, with their members and their feeds.
async fn groups(session: &Session, site: String) -> Result<Vec<Group>, Failure> {
    let all = v1::ListGroupsRequest { site: site.clone(), ..Default::default() };
    let all = session.all(all, usize::MAX).await?;
    let mut groups = Vec::with_capacity(all.len());
    for some in all.chunks(GROUPS) {
        let asked = some.iter().map(|group| async {
            let (site, id) = (site.clone(), group.id.clone());
            let roll = v1::GetGroupRequest { site: site.clone(), group: id.clone(), ..Default::default() };
            let feeding = v1::GetFeedingRequest { site, group: id, days: 1, ..Default::default() };
            let (roll, feeding) = tokio::try_join!(session.ask(roll), session.ask(feeding))?;
            Ok::<_, Failure>(Group { roll, feeding })
        });
        groups.extend(try_join_all(asked).await?);
    }
    Ok(groups)
}

/// When the last night began in a zone: at six in the evening of yesterday.
fn evening(zone: Tz, now: DateTime<Utc>) -> DateTime<Utc> {
    let yesterday = now.with_timezone(&zone).date_naive() - Days::new(1);
    let six = NaiveTime::from_hms_opt(18, 0, 0).unwrap_or_default();
    zone.from_local_datetime(&yesterday.and_time(six))
        .earliest()
        .map_or_else(|| now - Days::new(1), |at| at.with_timezone(&Utc))
}
