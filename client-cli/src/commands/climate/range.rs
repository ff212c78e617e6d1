//! `holt climate range`

use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::session::request_id;
use crate::views::Told;
use crate::views::climate::Rules as View;
use crate::words;
use clap::Args;
use holt_proto::v1;

/// Set the range of one measure that an enclosure must keep; it replaces the earlier one
#[derive(Args, Debug)]
#[command(after_help = "\
A rule is LOW..HIGH, and either end may be missing. After @ stands when the rule applies: a season as \
month-day..month-day, hours as 07:00..19:00, or both with a comma. The first rule that applies counts.

Examples:
  holt climate range \"Burrow House\" temperature 20..22
  holt climate range Attic humidity 40..60@11-01..03-31 30..70
  holt climate range Terrace temperature 18..@19:00..07:00 20..32")]
pub(super) struct Range {
    /// The enclosure
    enclosure: String,
    /// The measure
    #[arg(value_name = "MEASURE", value_parser = words::parser::<v1::Measure>())]
    measure: v1::Measure,
    /// The rules; none if no range need be kept
    #[arg(value_name = "RULE", value_parser = rule, allow_hyphen_values = true)]
    rules: Vec<v1::ClimateRule>,
    /// Minutes outside the range before an alarm [default: 15]
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(1..=10_080))]
    raise_after: Option<i32>,
    /// Distance outside the range that raises an alarm at once [default: 4]
    #[arg(long, value_name = "VALUE")]
    at_once_beyond: Option<f64>,
    /// Distance inside the range that ends an alarm [default: 0]
    #[arg(long, value_name = "VALUE")]
    margin: Option<f64>,
    /// Minutes inside the range that end an alarm [default: 20]
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(1..=10_080))]
    clear_after: Option<i32>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: Option<String>,
}

/// Reads `20..22`, `18..@19:00..07:00` or `40..60@11-01..03-31,07:00..19:00`.
fn rule(text: &str) -> Result<v1::ClimateRule, String> {
    const EXAMPLE: &str = "write it such as 20..22 or 18..@19:00..07:00";
    let (range, when) = text.split_once('@').unwrap_or((text, ""));
    let (low, high) = range.split_once("..").ok_or_else(|| format!("`{text}` is not a range; {EXAMPLE}"))?;
    let end = |text: &str| -> Result<Option<f64>, String> {
        let text = text.trim();
        if text.is_empty() {
            return Ok(None);
        }
        text.parse().map(Some).map_err(|_| format!("`{text}` is not a number; {EXAMPLE}"))
    };
    let mut rule = v1::ClimateRule { low: end(low)?, high: end(high)?, ..Default::default() };
    for part in when.split(',').map(str::trim).filter(|part| !part.is_empty()) {
        let (first, last) = part.split_once("..").ok_or_else(|| format!("`{part}` has no end; {EXAMPLE}"))?;
        let (first, last) = (first.trim().to_owned(), last.trim().to_owned());
        if first.contains(':') {
            (rule.hours_first, rule.hours_last) = (first, last);
        } else {
            (rule.season_first, rule.season_last) = (first, last);
        }
    }
    Ok(rule)
}

impl Range {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        if self.rules.is_empty() && self.because.is_none() {
            return Err(Failure::usage(
                "no rule given",
                "give one such as 20..22, or --because if no range need be kept",
            ));
        }
        let rules = v1::ClimateRules {
            enclosure: self.enclosure,
            measure: self.measure.into(),
            rules: self.rules,
            raise_after_minutes: self.raise_after.unwrap_or_default(),
            at_once_beyond: self.at_once_beyond.unwrap_or_default(),
            margin: self.margin.unwrap_or_default(),
            clear_after_minutes: self.clear_after.unwrap_or_default(),
        };
        let because = self.because.unwrap_or_default();
        let ask = v1::SetClimateRulesRequest { request_id: request_id(), site, rules: Some(rules), because };
        let thing = View::from(errand.session.ask(ask).await?.rules.unwrap_or_default());
        let say = thing.spoken();
        errand.show(&Told { thing, say })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rule_says_what_is_kept_and_when() {
        let plain = rule("20..22").unwrap();
        assert_eq!((plain.low, plain.high, plain.season_first.as_str()), (Some(20.0), Some(22.0), ""));
        let night = rule("18..@19:00..07:00").unwrap();
        assert_eq!((night.low, night.high), (Some(18.0), None));
        assert_eq!((night.hours_first.as_str(), night.hours_last.as_str()), ("19:00", "07:00"));
        let both = rule("-5..-1.5@11-01..03-31, 07:00..19:00").unwrap();
        assert_eq!((both.low, both.high), (Some(-5.0), Some(-1.5)));
        assert_eq!((both.season_last.as_str(), both.hours_last.as_str()), ("03-31", "19:00"));
        for wrong in ["20", "20-22", "a..22", "20..22@19:00"] {
            assert!(rule(wrong).is_err(), "{wrong}");
        }
    }
}
