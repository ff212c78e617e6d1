//! The stock of sites over stretches of days: it adds up, whatever happened and whoever wrote it.

mod conservation;
mod entries;
mod form;
mod group;
mod known;
mod litters;

use crate::journeys::registration::Books;
use holt_proto::v1;
use holt_tests::Person;
use tonic::Status;

/// What the census of a site says of some days.
pub(super) async fn returns(
    who: &Person,
    site: &str,
    first: &str,
    last: &str,
    together: bool,
) -> Result<Vec<v1::StockReturn>, Status> {
    let ask = asked(site, first, last, together);
    Ok(who.client.census().get_stock_return(ask).await?.into_inner().returns)
}

pub(super) fn asked(site: &str, first: &str, last: &str, together: bool) -> v1::GetStockReturnRequest {
    let day = |text: &str| Some(text.parse().unwrap());
    v1::GetStockReturnRequest {
        site: site.to_owned(),
        days: Some(v1::DaySpan { first: day(first), last: day(last) }),
        together,
        ..Default::default()
    }
}

impl Books {
    /// The line of otters in the return of Quill for some days; must balance.
    pub(super) async fn stock(&self, first: &str, last: &str) -> v1::StockLine {
        let told = returns(&self.park.auditor, "QUI", first, last, false).await.unwrap();
        let [told] = told.as_slice() else { panic!("{told:?}") };
        assert!(told.balances, "{told:?}");
        let mut lines = told.lines.iter();
        let line = lines.find(|line| line.taxon.as_ref().unwrap().scientific_name == "Lontra canadensis");
        line.cloned().unwrap_or_default()
    }
}

/// The columns of a line as a form has them: opening, arrived, born, died young, died, departed, escaped,
/// sexed, closing.
pub(super) fn columns(line: &v1::StockLine) -> [String; 9] {
    [
        &line.opening,
        &line.arrived,
        &line.born,
        &line.died_young,
        &line.died,
        &line.departed,
        &line.escaped,
        &line.sexed,
        &line.closing,
    ]
    .map(|counts| counts.unwrap_or_default().to_string())
}
