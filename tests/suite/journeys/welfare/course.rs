//! How the grades of an animal went, domain by domain.

use super::Looks;
use chrono::TimeDelta;
use holt_proto::v1::{self, Compromise, Domain, DomainChange, Enhancement};
use holt_tests::house::start_of_time;
use holt_tests::reason;

async fn course(looks: &Looks, protocol: &str) -> Vec<v1::DomainCourse> {
    let ask = v1::GetWelfareCourseRequest {
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        protocol: protocol.to_owned(),
        ..Default::default()
    };
    let told = looks.park.auditor.client.welfare().get_welfare_course(ask).await.unwrap().into_inner();
    assert_eq!(told.animal.unwrap().house_name, "Bramble");
    told.domains
}

#[tokio::test]
async fn it_is_told_worse_better_and_not_shown_better() {
    let looks = Looks::new().await;
    let keeper = &looks.park.keeper;
    for (weeks, levels) in [
        (4, &[("body-condition", "right"), ("gait", "even"), ("play", "no")][..]),
        (3, &[("body-condition", "thin"), ("gait", "lame"), ("play", "together")]),
        (2, &[("body-condition", "thin"), ("gait", "lame"), ("play", "alone")]),
        (1, &[("body-condition", "right"), ("gait", "even")]),
    ] {
        looks.look(keeper, "Bramble", start_of_time() - TimeDelta::weeks(weeks), levels, None).await;
    }
    let told = course(&looks, "").await;
    let of = |domain: Domain| told.iter().find(|course| course.domain() == domain).unwrap();
    let nutrition = of(Domain::Nutrition);
    let grades: Vec<Compromise> = nutrition.points.iter().map(v1::CoursePoint::compromise).collect();
    assert_eq!(grades, [Compromise::A, Compromise::D, Compromise::D, Compromise::A]);
    assert_eq!((nutrition.change(), nutrition.grades), (DomainChange::Better, 3));
    assert_eq!(nutrition.points[0].observer, "qui-keeper");
    let behaviour = of(Domain::Behaviour);
    assert_eq!((behaviour.change(), behaviour.grades), (DomainChange::Same, -2));
    assert_eq!(behaviour.points.len(), 3, "what was not assessed is left out");
    assert_eq!(behaviour.points[2].enhancement(), Enhancement::Low);
    assert_eq!(of(Domain::Environment).change(), DomainChange::TooFew);
    assert_eq!(told.len(), 4, "mental state has no course of its own");
    // It has been as bad as now since the first look.
    assert_eq!(nutrition.began_on.map(|day| day.to_string()).as_deref(), Some("2026-02-02"));

    let thin = &[("body-condition", "thin")][..];
    looks.look(keeper, "Bramble", start_of_time() - TimeDelta::hours(1), thin, None).await;
    let told = course(&looks, "otter-watch").await;
    assert_eq!((told[0].change(), told[0].grades), (DomainChange::Worse, 3));
    assert_eq!(told[0].began_on.map(|day| day.to_string()).as_deref(), Some("2026-03-02"));
    assert!(course(&looks, "another").await.iter().all(|course| course.points.is_empty()));
    looks.house.close().await;
}

#[tokio::test]
async fn an_animal_that_is_not_there_is_not_found() {
    let looks = Looks::new().await;
    let ask = v1::GetWelfareCourseRequest {
        site: "QUI".to_owned(),
        animal: "Nobody".to_owned(),
        ..Default::default()
    };
    let refused = looks.park.auditor.client.welfare().get_welfare_course(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    looks.house.close().await;
}
