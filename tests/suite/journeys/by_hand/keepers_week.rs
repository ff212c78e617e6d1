//! A keeper's week: sign in, see what is due, weigh the group, look again where a reading is odd, answer
//! the concern that comes of it.

use super::{TypedByHand, desk, id_in};
use chrono::{Days, TimeDelta};
use holt_server::model::person::Role;
use holt_tests::House;
use holt_tests::desk::Fed;
use holt_tests::house::start_of_time;

const PASSWORD: &str = "otters like clear water";

/// Mondays before today at 06:40: Bramble loses a little more in each of the last five.
fn mondays_before() -> String {
    let mut file = String::from("animal;weight;date;time\r\n");
    let noise = [30, -40, 10, 0, -20, 40, -10];
    for week in 1..=24_u64 {
        let day = start_of_time().date_naive() - Days::new(7 * week);
        let wobble = noise[usize::try_from(week % 7).unwrap()];
        let lost = 140 * 6_i64.saturating_sub(i64::try_from(week).unwrap()).max(0);
        file.push_str(&format!("Bramble;{};{day};06:40\r\n", 8200 + wobble - lost));
        file.push_str(&format!("Sedge;{};{day};06:45\r\n", 7900 - wobble));
    }
    file
}

#[tokio::test]
async fn a_week_of_one_keeper() {
    let house = House::new().await;
    let park = house.quill().await;
    for name in ["Bramble", "Sedge"] {
        house.otter(&park, name).await;
    }
    let steward = house.desk_of(&house.steward().await, &[(Role::Steward, None)]);
    let added = steward.done("holt person add ada 'Ada Quell' --role keeper@QUI").await;
    let one_time = added.trim_end().split('\t').nth(1).unwrap().to_owned();
    let registrar = desk(&house, &park, Role::Registrar);
    registrar.done("holt enclosure add 'Otter pool' --kind outdoor --capacity 4").await;
    registrar.done("holt check add weigh --all --every week --on mon --grace 1 --starts 2025-09-01").await;

    let mut by_hand = TypedByHand::default();
    let ada = house.desk().at_terminal(90).with("NO_COLOR", "1");
    let typed = |secrets: &[&str]| Fed {
        input: Vec::new(),
        secrets: secrets.iter().map(|&secret| secret.to_owned()).collect(),
    };
    by_hand.remark("Monday, half past six");
    by_hand.feed("ada", &ada, "holt sign-in ada", typed(&[&one_time]), 0).await;
    by_hand.ends("ada", &ada, "holt due", 5).await;
    by_hand.feed("ada", &ada, "holt password", typed(&[&one_time, PASSWORD, PASSWORD]), 0).await;
    by_hand.done("ada", &ada, "holt place Bramble Sedge --in 'Otter pool'").await;

    by_hand.remark("the paper diary of the last half year is typed in first");
    ada.file("diary.csv", mondays_before().as_bytes());
    by_hand.done("ada", &ada, "holt weigh --file ~/diary.csv --unit g --check-only").await;
    by_hand.done("ada", &ada, "holt weigh --file ~/diary.csv --unit g").await;
    by_hand.done("ada", &ada, "holt due").await;
    by_hand.done("ada", &ada, "holt weigh Sedge 79kg --at 05:45").await;
    house.clock.advance(TimeDelta::minutes(5));
    by_hand.done("ada", &ada, "holt weigh Sedge 7.9kg").await;
    by_hand.done("ada", &ada, "holt weigh Bramble --declined --note 'stayed in the holt'").await;
    by_hand.done("ada", &ada, "holt due").await;

    by_hand.remark("Tuesday");
    house.clock.advance(TimeDelta::days(1));
    by_hand.done("ada", &ada, "holt weigh Bramble 7.35kg --scale platform").await;
    let concerns = by_hand.done("ada", &ada, "holt concern list").await;
    let id = id_in(concerns.lines().next().unwrap());
    by_hand
        .done("ada", &ada, &format!("holt concern take-on {id} --note 'the vet looks at its teeth'"))
        .await;

    by_hand.remark("Friday");
    house.clock.advance(TimeDelta::days(3));
    let settle = format!("holt concern close {id} --because 'tooth out, eats again'");
    by_hand.ends("ada", &ada, &settle, 2).await;
    by_hand.done("ada", &ada, &format!("{settle} --as treated")).await;
    by_hand.ends("ada", &ada, &format!("{settle} --as treated"), 3).await;
    by_hand.done("ada", &ada, "holt weight list Bramble --limit 4").await;
    by_hand.done("ada", &ada, "holt sign-out").await;
    insta::assert_snapshot!("keepers_week", by_hand.0);
    house.close().await;
}
