//! The numbers of the report against those worked by hand.

use super::{Month, coverage, overdue, stock};
use holt_proto::v1::{self, Duty};

fn names(labels: &[v1::AnimalLabel]) -> Vec<&str> {
    labels.iter().map(|label| label.house_name.as_str()).collect()
}

#[tokio::test]
async fn they_are_those_worked_by_hand() {
    let month = Month::new().await;
    let answer = month.ask(Month::question("2026-03-31", None)).await;
    let span = answer.span.unwrap();
    assert_eq!(
        (span.first.unwrap().to_string(), span.last.unwrap().to_string()),
        ("2026-03-01".to_owned(), "2026-03-31".to_owned())
    );
    assert!(answer.caution.contains("does not replace an inspection"));
    let [day] = answer.sites.as_slice() else { panic!("{answer:?}") };
    assert_eq!((day.site.as_str(), day.name.as_str()), ("QUI", "QUI Park"));
    // Dab is dead, Teasel has not left yet, Rush has come.
    assert_eq!(stock(day), ["Lontra canadensis 1.1.1", "Lutra lutra 1.0.0", "all 2.1.1"]);

    // Weighing: Bramble 5 = 3 + 1 late + 1 open, Sedge 5 = 1 + 3 missed + 1 open, Teasel 5 = 4 missed +
    // 1 open, Dab 2 = 2. On the 31st the grace of the 30th still runs.
    assert_eq!(coverage(day, Duty::Weigh), [17, 6, 1, 7, 3]);
    // Assessment: Bramble and Teasel were, Sedge and Rush are to be.
    assert_eq!(coverage(day, Duty::Assess), [4, 2, 0, 0, 2]);
    let told = |duty| day.coverage.iter().find(|one| one.duty() == duty).unwrap();
    assert_eq!(names(&told(Duty::Weigh).without_check), ["Rush"]);
    assert_eq!(names(&told(Duty::Weigh).not_done), ["Teasel", "Rush"], "an estimate is no weighing");
    assert_eq!(names(&told(Duty::Assess).without_check), [""; 0]);
    assert_eq!(names(&told(Duty::Assess).not_done), ["Sedge", "Rush"]);

    let late =
        |name: &str, duty, since: &str, days, open| (name.to_owned(), duty, since.to_owned(), days, open);
    assert_eq!(
        overdue(day),
        [
            // Due on 31 January, 28 February and 31 March; 28 + 31 days since the first.
            late("Sedge", Duty::Assess, "2026-01-31", 59, 3),
            late("Teasel", Duty::Weigh, "2026-03-02", 29, 5),
            late("Sedge", Duty::Weigh, "2026-03-16", 15, 3),
        ]
    );
    let sedge = &day.overdue[2];
    assert_eq!(sedge.last_done_on.unwrap().to_string(), "2026-03-09");
    assert_eq!(sedge.tried_on.unwrap().to_string(), "2026-03-27");
    assert_eq!((day.overdue[1].last_done_on, day.overdue[1].tried_on), (None, None));

    // Weighed once and never declined before, it refuses by habit once in (0 + 1) / (1 + 10) tries: three in a
    // row are not rare enough, the fourth, on the 27th, is.
    let [concern] = day.concerns.as_slice() else { panic!("{:?}", day.concerns) };
    assert_eq!(
        (concern.kind(), concern.house_name.as_str(), concern.state(), concern.age_days),
        (v1::ConcernKind::ScaleRefused, "Sedge", v1::ConcernState::Raised, 4)
    );

    let [transfer] = day.transfers.as_slice() else { panic!("{:?}", day.transfers) };
    assert_eq!((transfer.house_name.as_str(), transfer.state()), ("Teasel", v1::TransferState::Agreed));
    assert_eq!(transfer.missing, ["no day is planned", "the loan has no end"]);
    month.house.close().await;
}

/// What is due is split without rest into what became of it, whatever the span, and a longer span holds
/// no less.
#[tokio::test]
async fn a_due_day_is_counted_once() {
    let month = Month::new().await;
    let mut before = [0; 5];
    for span_days in 1..=70 {
        let question = v1::GetSiteDayRequest { span_days, ..Month::question("2026-03-31", None) };
        let day = month.ask(question).await.sites.remove(0);
        for duty in [Duty::Weigh, Duty::Assess] {
            let [due, parts @ ..] = coverage(&day, duty);
            assert_eq!(due, parts.iter().sum::<i32>(), "{duty:?} over {span_days} days");
        }
        let now = coverage(&day, Duty::Weigh);
        assert!(before.iter().zip(now).all(|(before, now)| *before <= now), "{before:?} {now:?}");
        before = now;
    }
    assert_eq!(before[0], 17, "nothing was due before the check began");
    month.house.close().await;
}

#[tokio::test]
async fn a_site_without_animals_has_a_report_too() {
    let month = Month::new().await;
    let question = v1::GetSiteDayRequest { site: "BRA".to_owned(), ..Month::question("2026-03-31", None) };
    let day = month.brack.auditor.client.reports().get_site_day(question).await.unwrap().into_inner();
    let [brack] = day.sites.as_slice() else { panic!("{day:?}") };
    assert_eq!(stock(brack), ["all 0.0.0"]);
    assert_eq!(coverage(brack, Duty::Weigh), [0; 5]);
    assert_eq!(brack.transfers.len(), 1, "what is offered to it");
    month.house.close().await;
}
