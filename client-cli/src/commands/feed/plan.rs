//! `holt feed plan`

use super::amount;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment::DayWord;
use crate::session::request_id;
use crate::views::feeding::Planned;
use crate::words::Word;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Set what a group is given each day, from a day on
#[derive(Args, Debug)]
#[command(after_help = "\
A feed has a time of day, an amount and a food; after commas, how it is offered (scattered, hidden, hand or \
bowl) and `enrichment` if it is kept for that. Food for enrichment counts towards the ration. Times are \
those of the site.

Examples:
  holt feed plan \"Weir family\" \"06:30 400g Trout, bowl\" \\
    \"15:00 90g Sprats, hidden, enrichment\"
  holt feed plan \"Weir family\" \"06:30 450g Trout, bowl\" --from 2026-12-01
  holt feed plan \"Weir family\" --none --because \"moved to Brae\"")]
pub(super) struct Plan {
    /// The group: its name, or its id
    group: String,
    /// The feeds of a day
    #[arg(value_name = "FEED", value_parser = feed, required_unless_present = "none")]
    feeds: Vec<v1::PlannedFeed>,
    /// Plan nothing from that day on
    #[arg(long, conflicts_with = "feeds")]
    none: bool,
    /// First day of the plan [default: today]
    #[arg(long, value_name = "DAY")]
    from: Option<DayWord>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: Option<String>,
    /// Exit with 10 unless it is known to fit what the members need
    #[arg(long)]
    ask: bool,
    /// Check and calculate everything, and record nothing
    #[arg(long)]
    check_only: bool,
}

const EXAMPLE: &str = "write it such as \"06:30 400g Trout, bowl\"";

/// Reads `06:30 400 g Trout, hidden, enrichment`.
fn feed(text: &str) -> Result<v1::PlannedFeed, String> {
    let mut parts = text.split(',').map(str::trim);
    let what = parts.next().unwrap_or_default();
    let (time_of_day, rest) = what
        .split_once(char::is_whitespace)
        .filter(|(time, _)| time.contains(':'))
        .ok_or_else(|| format!("`{what}` does not begin with a time of the day; {EXAMPLE}"))?;
    let (mass, food) = quantity(rest.trim_start())?;
    let mut planned = v1::PlannedFeed {
        time_of_day: time_of_day.to_owned(),
        food: food.to_owned(),
        mass: Some(mass),
        ..Default::default()
    };
    // Names of foods may have commas: what is neither of the words belongs to the name.
    for part in parts {
        if part.eq_ignore_ascii_case("enrichment") {
            planned.as_enrichment = true;
        } else if let Some(method) = v1::FeedMethod::of(part) {
            planned.set_method(method);
        } else if planned.method == 0 && !planned.as_enrichment {
            planned.food = format!("{}, {part}", planned.food);
        } else {
            return Err(format!("`{part}` is not a way to offer food; {EXAMPLE}"));
        }
    }
    if planned.method == 0 {
        return Err(format!(
            "`{text}` does not say how it is offered: scattered, hidden, hand or bowl; {EXAMPLE}"
        ));
    }
    Ok(planned)
}

/// A mass, and what follows it.
fn quantity(text: &str) -> Result<(v1::Mass, &str), String> {
    let number = text.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(text.len());
    let unit = text[number..].trim_start();
    let blank = text.len() - number - unit.len();
    let end = number + blank + unit.find(char::is_whitespace).unwrap_or(unit.len());
    let mass = amount(&text[..end]).map_err(|error| error.to_string())?;
    let food = text[end..].trim_start();
    if food.is_empty() {
        return Err(format!("`{text}` names no food; {EXAMPLE}"));
    }
    Ok((mass, food))
}

impl Plan {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        if self.none && self.because.is_none() {
            return Err(Failure::usage("no reason given why nothing is planned", "add --because"));
        }
        let ask = v1::SetFeedPlanRequest {
            request_id: request_id(),
            site,
            group: self.group,
            begins_on: self.from.map(|from| day(from.resolve(session.today(zone)))),
            feeds: self.feeds,
            because: self.because.unwrap_or_default(),
            validate_only: self.check_only,
        };
        let planned = Planned::new(session.ask(ask).await?, self.check_only);
        errand.show(&planned)?;
        Ok(if self.ask && !planned.fits() { Exit::No } else { Exit::Done })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_feed_says_when_how_much_of_what_and_how() {
        let plain = feed("06:30 400g Trout, bowl").unwrap();
        assert_eq!((plain.time_of_day.as_str(), plain.food.as_str()), ("06:30", "Trout"));
        assert_eq!((plain.mass.unwrap().milligrams, plain.method()), (400_000, v1::FeedMethod::Bowl));
        assert!(!plain.as_enrichment);
        let spaced = feed("15:00 0.4 kg Chick, day-old, HIDDEN, enrichment").unwrap();
        assert_eq!((spaced.food.as_str(), spaced.mass.unwrap().milligrams), ("Chick, day-old", 400_000));
        assert_eq!((spaced.method(), spaced.as_enrichment), (v1::FeedMethod::Hidden, true));
        for wrong in [
            "400g Trout, bowl",
            "06:30 Trout, bowl",
            "06:30 400 Trout, bowl",
            "06:30 400g, bowl",
            "06:30 400g Trout",
            "06:30 400g Trout, bowl, thrown",
            "",
        ] {
            assert!(feed(wrong).is_err(), "{wrong}");
        }
    }
}
