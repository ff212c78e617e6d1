//! Lists: which litters were there on a day, and which are seen.

use super::pair;
use holt_proto::v1;
use holt_tests::reason;

#[tokio::test]
async fn a_list_has_the_litters_of_the_day_that_have_young_left_youngest_first() {
    let books = pair().await;
    let first = v1::RecordLitterRequest { born_on: Some("2026-01-10".parse().unwrap()), ..books.litter() };
    let first = books.littered(first).await.unwrap();
    let second = books.littered(books.litter()).await.unwrap();
    books.young_died(&first, "2026-02-01", "0.0.4").await.unwrap();
    let listed = async |as_of: Option<&str>, also_empty: bool| -> Vec<String> {
        let list = v1::ListLittersRequest {
            site: "QUI".to_owned(),
            as_of: as_of.map(|day| day.parse().unwrap()),
            also_empty,
            page: Some(v1::PageRequest { size: 1, token: String::new() }),
            as_known_at: None,
        };
        let mut ids = Vec::new();
        let mut list = list;
        loop {
            let answer = books.park.keeper.client.litters().list_litters(list.clone()).await.unwrap();
            let answer = answer.into_inner();
            ids.extend(answer.litters.into_iter().map(|litter| litter.id));
            let token = answer.page.unwrap().next_token;
            if token.is_empty() {
                return ids;
            }
            list.page = Some(v1::PageRequest { size: 1, token });
        }
    };
    assert_eq!(listed(None, false).await, std::slice::from_ref(&second.id));
    assert_eq!(listed(None, true).await, [second.id.clone(), first.id.clone()]);
    assert_eq!(listed(Some("2026-01-31"), false).await, std::slice::from_ref(&first.id));
    assert_eq!(listed(Some("2026-01-09"), true).await, [""; 0]);
    books.house.close().await;
}

#[tokio::test]
async fn another_site_has_no_such_litter() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    let brack = books.house.park("BRA", "America/Halifax").await;
    let get =
        v1::GetLitterRequest { site: "BRA".to_owned(), litter_id: litter.id.clone(), ..Default::default() };
    let refused = brack.auditor.client.litters().get_litter(get).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    let apart =
        v1::TellApartRequest { site: "BRA".to_owned(), ..books.apart(&litter, "2026-03-02", v1::Sex::Male) };
    let refused = brack.registrar.client.litters().tell_apart(apart).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    books.house.close().await;
}
