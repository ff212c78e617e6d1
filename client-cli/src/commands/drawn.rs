//! Charts that are asked for: in the terminal, or as a file.

use crate::chart::Chart;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::session::{Session, Zones};
use crate::views::weight_chart::Weighed;
use crate::views::written::Written;
use chrono::NaiveDate;
use clap::Args;
use holt_proto::v1;
use std::path::PathBuf;

/// How a chart is asked for.
#[derive(Args, Clone, Debug)]
pub(crate) struct Drawn {
    /// Draw a chart here instead of the table
    #[arg(long, conflicts_with = "svg")]
    chart: bool,
    /// Write the chart to this file (SVG) instead; - is standard output
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Replace the file if it exists
    #[arg(long, requires = "svg")]
    replace: bool,
}

/// What is on record of an animal's weights, to be drawn.
pub(crate) struct Recorded {
    weights: Vec<v1::Weight>,
    concerns: Vec<v1::Concern>,
    zones: Zones,
}

impl Recorded {
    /// The newest readings of an animal, and what was raised about it, also what is settled where that is wanted.
    pub(crate) async fn of(
        session: &Session,
        ask: v1::ListWeightsRequest,
        limit: usize,
        settled: bool,
    ) -> Result<Self, Failure> {
        let concerns = v1::ListConcernsRequest {
            site: ask.site.clone(),
            animal: ask.animal.clone(),
            include_settled: settled,
            page: None,
            as_known_at: ask.as_known_at,
        };
        Ok(Self {
            weights: session.all(ask, limit).await?,
            concerns: session.all(concerns, usize::MAX).await?,
            zones: session.zones().await?,
        })
    }

    /// The same as what a chart is made of.
    pub(crate) fn weighed<'a>(
        &'a self,
        named: &'a str,
        next: Option<v1::ExpectedWeight>,
        days: (Option<NaiveDate>, Option<NaiveDate>),
    ) -> Weighed<'a> {
        Weighed { named, weights: &self.weights, concerns: &self.concerns, next, days, zones: &self.zones }
    }
}

impl Drawn {
    /// Whether a chart is asked for.
    pub(crate) const fn is_wanted(&self) -> bool {
        self.chart || self.svg.is_some()
    }

    /// Draws it where it is wanted.
    pub(crate) fn show(&self, errand: &mut Errand<'_>, chart: &Chart) -> Outcome {
        let Some(path) = &self.svg else {
            errand.output.chart(chart)?;
            return Ok(Exit::Done);
        };
        let svg = chart.file()?;
        match Written::of("chart", path, &svg, self.replace)? {
            Some(written) => errand.show(&written),
            None => errand.output.raw(svg.as_bytes()).map(|()| Exit::Done),
        }
    }
}
