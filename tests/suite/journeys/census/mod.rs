//! The stock of sites over stretches of days: it adds up, whatever happened and whoever wrote it.

mod conservation;
mod entries;
mod form;
mod group;
mod known;
mod litters;

use crate::journeys::litters::{pair, young};
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

/// Five young of which two die in the litter, two are identified and one of these dies.
async fn a_winter() -> (Books, v1::Litter, v1::Animal) {
    let books = pair().await;
    let litter = v1::RecordLitterRequest {
        born_on: Some("2026-01-20".parse().unwrap()),
        young: young("0.0.5"),
        ..books.litter()
    };
    let litter = books.littered(litter).await.unwrap();
    books.young_died(&litter, "2026-01-22", "0.0.1").await.unwrap();
    books.young_sexed(&litter, "2026-02-10", 1, 2).await.unwrap();
    books.young_died(&litter, "2026-02-25", "0.1.0").await.unwrap();
    books.told_apart(books.apart(&litter, "2026-02-20", v1::Sex::Male)).await.unwrap();
    let (pip, _) = books.told_apart(books.apart(&litter, "2026-02-26", v1::Sex::Female)).await.unwrap();
    books.died(books.death(&pip.accession, "2026-03-01")).await.unwrap();
    (books, litter, pip)
}
