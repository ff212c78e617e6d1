//! Two records are found to be of one animal, or not after all.

mod any_order;
mod at_once;
mod conflicts;
mod links;
mod litters;
mod sites;

use super::corrections::Books;
use holt_proto::v1;
use holt_tests::{House, Person};
use prost::Message;
use tonic::Status;
use tonic_types::StatusExt;

/// What somebody asks to merge, to be sent or changed first.
pub(in crate::journeys) fn asked(
    house: &House,
    site: &str,
    keep: &str,
    give_up: &str,
) -> v1::MergeAnimalsRequest {
    v1::MergeAnimalsRequest {
        request_id: house.request(),
        site: site.to_owned(),
        keep: keep.to_owned(),
        give_up: give_up.to_owned(),
        because: "the same scars".to_owned(),
        ..Default::default()
    }
}

/// `birth=QUI-25-0001`
pub(in crate::journeys) fn stands(kind: v1::FactKind, record: &str) -> v1::Resolution {
    v1::Resolution { kind: kind.into(), record: record.to_owned(), ..Default::default() }
}

pub(in crate::journeys) async fn send(
    who: &Person,
    ask: v1::MergeAnimalsRequest,
) -> Result<v1::MergeAnimalsResponse, Status> {
    Ok(who.client.merges().merge_animals(ask).await?.into_inner())
}

pub(super) async fn merge(
    books: &Books,
    keep: &str,
    give_up: &str,
) -> Result<v1::MergeAnimalsResponse, Status> {
    send(&books.quill.registrar, asked(&books.house, "QUI", keep, give_up)).await
}

/// The same, with what stands.
pub(super) async fn resolved(
    books: &Books,
    keep: &str,
    give_up: &str,
    resolve: Vec<v1::Resolution>,
) -> Result<v1::MergeAnimalsResponse, Status> {
    let ask = v1::MergeAnimalsRequest { resolve, ..asked(&books.house, "QUI", keep, give_up) };
    send(&books.quill.registrar, ask).await
}

pub(in crate::journeys) fn wrong(
    house: &House,
    site: &str,
    animal: &str,
    merge: &str,
) -> v1::UnmergeAnimalsRequest {
    v1::UnmergeAnimalsRequest {
        request_id: house.request(),
        site: site.to_owned(),
        animal: animal.to_owned(),
        merge_id: merge.to_owned(),
        because: "other scars".to_owned(),
        ..Default::default()
    }
}

pub(super) async fn unmerge(
    books: &Books,
    animal: &str,
    merge: &str,
) -> Result<v1::UnmergeAnimalsResponse, Status> {
    let ask = wrong(&books.house, "QUI", animal, merge);
    Ok(books.quill.registrar.client.merges().unmerge_animals(ask).await?.into_inner())
}

/// A pair that a refusal lists: what is wrong, and the two facts by kind, record and identifier.
type Conflict = (String, [(String, String, String); 2]);

pub(super) fn conflicts(refused: &Status) -> Vec<Conflict> {
    let info = refused.get_details_error_info().unwrap();
    let listed: serde_json::Value = serde_json::from_str(&info.metadata["conflicts"]).unwrap();
    let text = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
    let named = |fact: &serde_json::Value| (text(&fact["kind"]), text(&fact["of"]), text(&fact["id"]));
    let listed = listed.as_array().unwrap().iter();
    listed.map(|one| (text(&one["say"]), [named(&one["facts"][0]), named(&one["facts"][1])])).collect()
}

/// All that is said of records at Quill, but for how often they were changed: each animal, its history, its
/// readings, and the return of the site.
pub(super) async fn picture(books: &Books, records: &[&str]) -> Vec<Vec<u8>> {
    let client = &books.quill.auditor.client;
    let mut said = Vec::new();
    for record in records {
        let animal = v1::Animal { version: 0, ..books.see(record).await };
        said.push(animal.encode_to_vec());
        let history = v1::GetHistoryResponse { version: 0, ..books.history(record, None).await };
        said.push(history.encode_to_vec());
        let ask = v1::ListWeightsRequest {
            site: "QUI".to_owned(),
            animal: (*record).to_owned(),
            ..Default::default()
        };
        said.push(client.weights().list_weights(ask).await.unwrap().into_inner().encode_to_vec());
    }
    said.push(stock(books).await.encode_to_vec());
    said
}

/// The return of Quill from before its first animal to today; it balances.
pub(super) async fn stock(books: &Books) -> v1::StockReturn {
    let today = holt_server::clock::Clock::now(&*books.house.clock).date_naive().to_string();
    let told =
        super::census::returns(&books.quill.auditor, "QUI", "2024-01-01", &today, false).await.unwrap();
    let [told] = <[v1::StockReturn; 1]>::try_from(told).unwrap();
    assert!(told.balances, "{told:?}");
    told
}
