//! Assessments as they are read.

use super::Watch;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::house::start_of_time;
use prost::Message;

fn list(animal: &str) -> v1::ListAssessmentsRequest {
    v1::ListAssessmentsRequest { site: "QUI".to_owned(), animal: animal.to_owned(), ..Default::default() }
}

#[tokio::test]
async fn by_animal_by_day_and_page_by_page() {
    let watch = Watch::new().await;
    watch.house.otter(&watch.park, "Sedge").await;
    let mut wanted = Vec::new();
    for days in 1..=5 {
        let at = start_of_time() - TimeDelta::days(days);
        let animal = if days % 2 == 0 { "Sedge" } else { "Bramble" };
        let look = v1::RecordAssessmentRequest {
            assessed_at: Some(timestamp(at)),
            ..watch.house.assessment("QUI", animal, &[("gait", "even")])
        };
        wanted.push(watch.assess(look).await.unwrap());
    }
    assert_eq!(watch.listed(list("")).await, wanted);
    let of_sedge = watch.listed(list("Sedge")).await;
    assert_eq!(of_sedge, [wanted[1].clone(), wanted[3].clone()]);
    let days =
        v1::DaySpan { first: Some("2026-02-26".parse().unwrap()), last: Some("2026-02-27".parse().unwrap()) };
    let of_days = watch.listed(v1::ListAssessmentsRequest { days: Some(days), ..list("") }).await;
    assert_eq!(of_days, wanted[2..4]);
    let mut pages = Vec::new();
    let mut page = v1::PageRequest { size: 2, token: String::new() };
    loop {
        let asked = v1::ListAssessmentsRequest { page: Some(page.clone()), ..list("") };
        let client = &watch.park.auditor.client;
        let answer = client.assessments().list_assessments(asked).await.unwrap().into_inner();
        pages.push(answer.assessments.len());
        let from = pages.iter().sum::<usize>() - answer.assessments.len();
        assert_eq!(answer.assessments, wanted[from..from + answer.assessments.len()]);
        page.token = answer.page.unwrap().next_token;
        if page.token.is_empty() {
            break;
        }
    }
    assert_eq!(pages, [2, 2, 1]);
    watch.house.close().await;
}

#[tokio::test]
async fn sent_again_it_is_the_same_assessment() {
    let watch = Watch::new().await;
    let look = watch.look(&[("gait", "lame"), ("play", "alone")]);
    let first = watch.assess(look.clone()).await.unwrap();
    let again = watch.assess(look).await.unwrap();
    assert_eq!(again.encode_to_vec(), first.encode_to_vec());
    assert_eq!(watch.listed(list("")).await.len(), 1);
    watch.house.close().await;
}
