//! What the findings come to, domain by domain, and what is inferred from them.
//!
//! The scales A to E and 0 to +++ are those of Mellor and Beausoleil (2015), Animal Welfare 24:241-253; that
//! mental state is inferred is of Mellor et al. (2020), Animals 10:1870. How the grades of a domain come
//! from its indicators is Holt's own rule (see `holt_audit::welfare::grade`), worked by hand here.

use super::{Watch, number};
use holt_proto::v1::{self, Compromise as C, Domain as D, Enhancement as E};

fn grades(assessment: &v1::Assessment) -> Vec<(D, C, E)> {
    assessment.grades.iter().map(|grade| (grade.domain(), grade.compromise(), grade.enhancement())).collect()
}

fn grade(assessment: &v1::Assessment, domain: D) -> &v1::DomainGrade {
    assessment.grades.iter().find(|grade| grade.domain() == domain).unwrap()
}

#[tokio::test]
async fn each_domain_has_its_worst_and_its_best_and_mental_state_is_inferred() {
    let watch = Watch::new().await;
    let mut look = watch.look(&[("body-condition", "thin"), ("gait", "even"), ("play", "together")]);
    look.findings.push(number("water-temperature", 12.5));
    let assessed = watch.assess(look).await.unwrap();
    assert_eq!(
        grades(&assessed),
        [
            (D::Nutrition, C::D, E::None),
            // The pool is worth +++, but it is only provided: no more than + without a look at the animal.
            (D::Environment, C::A, E::Low),
            (D::Health, C::A, E::None),
            (D::Behaviour, C::A, E::High),
            // The worst stands beside the best; nothing is averaged.
            (D::Mental, C::D, E::High),
        ]
    );
    assert_eq!(grade(&assessed, D::Nutrition).compromise_by, ["body-condition"]);
    assert_eq!(grade(&assessed, D::Behaviour).enhancement_by, ["play"]);
    assert_eq!(
        grade(&assessed, D::Mental).compromise_by,
        ["body-condition", "play", "water-temperature"],
        "all that is other than A and 0, worst first, then best first"
    );
    assert_eq!(assessed.observer, "qui-keeper");
    watch.house.close().await;
}

/// What was not assessed is neither good nor bad.
#[tokio::test]
async fn nothing_is_told_of_what_was_not_looked_at() {
    let watch = Watch::new().await;
    let assessed = watch.assess(watch.look(&[("gait", "lame")])).await.unwrap();
    assert_eq!(
        grades(&assessed),
        [
            (D::Nutrition, C::Unspecified, E::Unspecified),
            (D::Environment, C::Unspecified, E::Unspecified),
            (D::Health, C::C, E::None),
            (D::Behaviour, C::Unspecified, E::Unspecified),
            (D::Mental, C::C, E::None),
        ]
    );
    let play = grade(&assessed, D::Behaviour);
    assert_eq!((play.assessed.len(), play.not_assessed.as_slice()), (0, ["play".to_owned()].as_slice()));
    let gait = grade(&assessed, D::Health);
    assert_eq!((gait.assessed.as_slice(), gait.not_assessed.len()), (["gait".to_owned()].as_slice(), 0));
    watch.house.close().await;
}

/// A band reaches from its smallest value to the next one: 24.0 degrees belong to the warmer.
#[tokio::test]
async fn a_measured_value_means_what_its_band_says() {
    let watch = Watch::new().await;
    for (celsius, wanted) in [(0.0, C::A), (23.99, C::A), (24.0, C::C), (40.0, C::C)] {
        let look = v1::RecordAssessmentRequest {
            findings: vec![number("water-temperature", celsius)],
            ..watch.look(&[])
        };
        let assessed = watch.assess(look).await.unwrap();
        assert_eq!(grade(&assessed, D::Environment).compromise(), wanted, "{celsius}");
        assert_eq!(assessed.findings, [number("water-temperature", celsius)], "to the last bit");
    }
    watch.house.close().await;
}

/// A finding is graded by the version it was made by, whatever later versions say.
#[tokio::test]
async fn a_later_version_does_not_judge_earlier_findings() {
    let watch = Watch::new().await;
    let first = watch.assess(watch.look(&[("gait", "lame")])).await.unwrap();
    watch
        .load(&super::changed("name = \"lame\", compromise = \"C\"", "name = \"lame\", compromise = \"E\""))
        .await
        .unwrap();
    let second = watch.assess(watch.look(&[("gait", "lame")])).await.unwrap();
    assert_eq!(grade(&second, D::Health).compromise(), C::E);
    let list = v1::ListAssessmentsRequest { site: "QUI".to_owned(), ..Default::default() };
    assert_eq!(watch.listed(list).await, [second, first], "newest first, each by its own version");
    watch.house.close().await;
}
