//! The numbers on the page are those that the calls answer.

use super::{FIRST, HOSTILE, LAST, auditor, closed, elements, made, park, parsed, rows, text};
use crate::journeys::standards::question;
use holt_proto::v1;

fn days() -> Option<v1::DaySpan> {
    Some(v1::DaySpan { first: Some(FIRST.parse().unwrap()), last: Some(LAST.parse().unwrap()) })
}

#[tokio::test]
async fn each_part_says_what_its_call_answers() {
    let audited = park().await;
    let page = closed(&made(&auditor(&audited), "one.html").await);
    let page = parsed(&page);
    let client = &audited.quill.auditor.client;

    let ask = v1::AnswerStandardRequest { max_exceptions: 1000, ..question(FIRST, LAST) };
    let answers = client.send(ask).await.unwrap();
    let told = rows(&page, "clauses-0-caption");
    assert_eq!(told.len(), answers.answers.len());
    for (row, answer) in told.iter().zip(&answers.answers) {
        assert_eq!(row[0], answer.clause.as_ref().unwrap().number);
        let verdict = answer.verdict().as_str_name().trim_start_matches("CLAUSE_VERDICT_");
        assert!(row[2].ends_with(&verdict.to_lowercase().replace('_', " ")), "{row:?} {verdict}");
        let counted = format!("{} of {}", answer.numerator, answer.denominator);
        assert!(row[3].starts_with(&counted) || row[3] == "–", "{row:?} {counted}");
    }
    let listed: Vec<String> = elements(&page, "li").into_iter().map(text).collect();
    let exceptions: Vec<_> = answers.answers.iter().flat_map(|answer| &answer.exceptions).collect();
    assert!(!exceptions.is_empty());
    for one in exceptions {
        assert!(listed.contains(&format!("{}: {}", one.name, one.what)), "{one:?}\n{listed:#?}");
    }

    let ask = v1::GetStockReturnRequest { site: "QUI".to_owned(), days: days(), ..Default::default() };
    let stock = client.send(ask).await.unwrap().returns.remove(0);
    let told = rows(&page, "stock-caption");
    for (row, line) in told.iter().zip(stock.lines.iter().chain(&stock.total)) {
        let counts = [line.opening, line.departed, line.closing].map(|counts| counts.unwrap().to_string());
        assert_eq!([&row[1], &row[6], &row[9]], [&counts[0], &counts[1], &counts[2]], "{row:?}");
    }
    assert_eq!((told.len(), told[0][6].as_str()), (2, "0.1.0"), "Teasel left");

    let ask = v1::GetCheckCoverageRequest {
        site: "QUI".to_owned(),
        days: days(),
        as_of: Some(LAST.parse().unwrap()),
        ..Default::default()
    };
    let coverage = client.send(ask).await.unwrap();
    let total = coverage.total.unwrap();
    let all = rows(&page, "by-check-caption").pop().unwrap();
    let counts = [total.due, total.in_time, total.late, total.missed, total.open].map(|n| n.to_string());
    assert_eq!(all[1..6], counts);
    assert!(total.due > 0 && total.in_time > 0 && total.in_time < total.due, "{total:?}");
    let months = rows(&page, "calendar-caption");
    let summed: i32 =
        months.iter().map(|row| row[2].split_once('/').unwrap().1.parse::<i32>().unwrap()).sum();
    assert_eq!((months.len(), summed), (3, total.due));

    let ask = v1::ListWeightsRequest { site: "QUI".to_owned(), days: days(), ..Default::default() };
    let weights = client.send(ask).await.unwrap().weights;
    let dots = |class: &str| page.descendants().filter(|node| node.attribute("class") == Some(class)).count();
    let read = weights.iter().filter(|weight| weight.mass.is_some()).count();
    // Each reading is a dot, and the key of each of the three charts has one.
    assert_eq!((read, dots("dot s1")), (11, 11 + 3));
    let values: Vec<Vec<String>> = (0..3).flat_map(|n| rows(&page, &format!("values-{n}-caption"))).collect();
    assert_eq!(values.len(), weights.len());
    assert!(
        values.contains(&["2026-02-16 09:00", "Readings", "8.04 kg"].map(str::to_owned).to_vec()),
        "{values:?}"
    );

    let group = rows(&page, "group-0-caption");
    assert_eq!(
        group.iter().map(|row| row[0].as_str()).collect::<Vec<_>>(),
        [&format!("{HOSTILE} (QUI-25-0001)"), "Sedge (QUI-25-0002)"]
    );
    assert_eq!(group[1][4], "8.24 kg, 2026-02-16");
    let moved = rows(&page, "transfers-caption");
    assert_eq!((moved.len(), moved[0][2].as_str()), (1, "BRA"));
    let welfare = rows(&page, "welfare-1-caption");
    assert_eq!(welfare.len(), 4, "four domains: {welfare:?}");
    audited.house.close().await;
}
