//! Each cell of a return opens into the animals and litters behind it, with the records that it rests on.

use super::{a_winter, asked, columns};
use crate::journeys::registration::Books;
use holt_proto::v1::{self, FactKind, StockColumn};
use holt_tests::reason;
use std::collections::BTreeMap;
use tonic::Status;

fn ask(first: &str, last: &str, columns: &[StockColumn]) -> v1::ListStockEntriesRequest {
    let of = asked("QUI", first, last, false);
    let columns = columns.iter().map(|column| i32::from(*column)).collect();
    v1::ListStockEntriesRequest { site: of.site, days: of.days, columns, ..Default::default() }
}

impl Books {
    async fn entries(
        &self,
        ask: v1::ListStockEntriesRequest,
    ) -> Result<v1::ListStockEntriesResponse, Status> {
        Ok(self.park.auditor.client.census().list_stock_entries(ask).await?.into_inner())
    }
}

/// The sums of entries, in the order of the columns of a return.
fn sums(entries: &[v1::StockEntry]) -> [String; 9] {
    let mut sums: BTreeMap<i32, v1::Counts> = BTreeMap::new();
    for entry in entries {
        let (sum, adds) = (sums.entry(entry.column).or_default(), entry.counts.unwrap());
        sum.males += adds.males;
        sum.females += adds.females;
        sum.unknown += adds.unknown;
    }
    let of = |column| sums.get(&i32::from(column)).copied().unwrap_or_default().to_string();
    [
        StockColumn::Opening,
        StockColumn::Arrived,
        StockColumn::Born,
        StockColumn::DiedYoung,
        StockColumn::Died,
        StockColumn::Departed,
        StockColumn::Escaped,
        StockColumn::Sexed,
        StockColumn::Closing,
    ]
    .map(of)
}

#[tokio::test]
async fn the_entries_of_a_return_add_up_to_its_columns() {
    let (books, litter, pip) = a_winter().await;
    for (first, last) in
        [("2026-01-01", "2026-03-02"), ("2026-02-10", "2026-02-26"), ("2026-03-01", "2026-03-01")]
    {
        let all = books.entries(ask(first, last, &[])).await.unwrap();
        assert_eq!(sums(&all.entries), columns(&books.stock(first, last).await), "{first} to {last}");
    }

    let died = [StockColumn::DiedYoung, StockColumn::Died];
    let died = books.entries(ask("2026-01-01", "2026-03-02", &died)).await.unwrap().entries;
    let told: Vec<_> = died
        .iter()
        .map(|entry| {
            let animal = entry.animal.as_ref().map(|animal| animal.id.as_str()).unwrap_or_default();
            let on = entry.counted_on.unwrap().to_string();
            (entry.column(), on, entry.counts.unwrap().to_string(), animal, entry.litter_id.as_str())
        })
        .collect();
    let row = |column, on: &str, counts: &str, animal, litter| {
        (column, on.to_owned(), counts.to_owned(), animal, litter)
    };
    assert_eq!(
        told,
        [
            row(StockColumn::DiedYoung, "2026-01-22", "0.0.1", "", litter.id.as_str()),
            row(StockColumn::Died, "2026-02-25", "0.1.0", "", &litter.id),
            row(StockColumn::Died, "2026-03-01", "0.1.0", &pip.id, ""),
        ]
    );
    let facts: Vec<(FactKind, &str)> =
        died[2].facts.iter().map(|fact| (fact.kind(), fact.say.as_str())).collect();
    assert_eq!(
        facts,
        [
            (FactKind::Holding, "held from its identification to its death"),
            (FactKind::Death, "died (natural, found in the den in the morning)")
        ]
    );
    assert_eq!(died[2].record_id, died[2].facts[0].id);
    assert!(died[0].facts.is_empty() && !died[0].record_id.is_empty());
    books.house.close().await;
}

/// Whatever is recorded while somebody reads on, all pages are of one return.
#[tokio::test]
async fn the_pages_of_a_list_rest_on_what_was_known_at_the_first() {
    let (books, ..) = a_winter().await;
    let ask = ask("2026-01-01", "2026-03-02", &[]);
    let before = columns(&books.stock("2026-01-01", "2026-03-02").await);
    let (mut entries, mut known) = (Vec::new(), Vec::new());
    let mut token = String::new();
    loop {
        let page = Some(v1::PageRequest { size: 2, token });
        let answer = books.entries(v1::ListStockEntriesRequest { page, ..ask.clone() }).await.unwrap();
        if entries.is_empty() {
            books.died(books.death("Bramble", "2026-03-02")).await.unwrap();
        }
        assert!(answer.entries.len() <= 2);
        entries.extend(answer.entries);
        known.push(answer.as_known_at.unwrap());
        token = answer.page.unwrap().next_token;
        if token.is_empty() {
            break;
        }
    }
    known.dedup();
    assert_eq!((sums(&entries), known.len()), (before, 1));
    books.house.close().await;
}

#[tokio::test]
async fn what_there_is_no_column_or_species_of_is_refused() {
    let (books, ..) = a_winter().await;
    let wrong = v1::ListStockEntriesRequest { columns: vec![1, 77], ..ask("2026-01-01", "2026-03-02", &[]) };
    let refused = books.entries(wrong).await.unwrap_err();
    assert_eq!(crate::journeys::registration::fields(&refused), ["columns[1]"]);
    let of = |name: &str| v1::ListStockEntriesRequest {
        taxon: name.to_owned(),
        ..ask("2026-01-01", "2026-03-02", &[])
    };
    assert_eq!(reason(&books.entries(of("Lontra felina")).await.unwrap_err()), "NOT_FOUND");
    assert!(!books.entries(of("Lontra canadensis")).await.unwrap().entries.is_empty());
    books.house.close().await;
}
