//! A scene that several tests look at: one park, three otters, half a year of weights.

use chrono::{Days, NaiveDate};
use holt_server::model::person::Role;
use holt_tests::{Desk, House, Park};

/// A park at work, with a desk for each of its people.
pub(super) struct Scene {
    pub(super) house: House,
    pub(super) park: Park,
    pub(super) keeper: Desk,
    pub(super) registrar: Desk,
    pub(super) auditor: Desk,
    pub(super) vet: Desk,
    pub(super) steward: Desk,
}

/// Monday, the day on which every test begins.
pub(super) fn today() -> NaiveDate {
    holt_tests::house::start_of_time().date_naive()
}

/// A welfare protocol of two indicators.
pub(super) const PROTOCOL: &str = r#"
code = "otter-look"
version = 1
title = "Otters: a short look"
species = ["Lontra canadensis"]

[[indicator]]
code = "coat"
text = "How does the coat look?"
domain = "health"
basis = "animal"
guidance = "In daylight, from the side."
scale = { kind = "levels", levels = [
  { name = "dull", compromise = "C", enhancement = "0", affect = "discomfort" },
  { name = "sleek", compromise = "A", enhancement = "+" },
] }

[[indicator]]
code = "water"
text = "Temperature of the water."
domain = "environment"
basis = "resource"
guidance = "At the outlet, a hand deep."
scale = { kind = "measured", unit = "Cel", min = 0.0, max = 40.0, bands = [
  { from = 0.0, compromise = "A", enhancement = "+" },
  { from = 28.0, compromise = "C", enhancement = "0", affect = "overheating" },
] }
"#;

/// A round file of `weeks` Mondays until the last one, at 06:40: Bramble has lost a little more in each of
/// the last six, Sedge and Teasel keep theirs.
pub(super) fn half_a_year() -> String {
    let mut file = String::from("animal,mass,at,scale,method\n");
    // What scales and full bellies do to a weight, in grams.
    let noise = [40, -30, 10, -50, 20, 0, -10, 30];
    for week in 0..26_u64 {
        let day = today() - Days::new(7 * (26 - week));
        let late = week.saturating_sub(19);
        let wobble = |n: u64| noise[usize::try_from((week + n) % 8).unwrap()];
        for (n, (name, grams)) in
            [("Bramble", 8200 - 150 * i64::try_from(late).unwrap()), ("Sedge", 7900), ("Teasel", 8050)]
                .into_iter()
                .enumerate()
        {
            let grams = grams + wobble(u64::try_from(n).unwrap() * 3);
            file.push_str(&format!("{name},{grams} g,{day} 06:4{n},platform,trained\n"));
        }
    }
    file
}

/// A park with its people and otters, and nothing else on record.
pub(super) async fn bare() -> Scene {
    let house = House::new().await;
    let park = house.quill().await;
    for name in ["Bramble", "Sedge", "Teasel"] {
        house.otter(&park, name).await;
    }
    let steward = house.steward().await;
    let at = Some("QUI");
    Scene {
        keeper: house.desk_of(&park.keeper, &[(Role::Keeper, at)]),
        registrar: house.desk_of(&park.registrar, &[(Role::Registrar, at)]),
        auditor: house.desk_of(&park.auditor, &[(Role::Auditor, at)]),
        vet: house.desk_of(&park.vet, &[(Role::Veterinary, at)]),
        steward: house.desk_of(&steward, &[(Role::Steward, None), (Role::Curator, None)]),
        house,
        park,
    }
}

/// The same with enclosures, checks, half a year of weights, an assessment and a transfer under way.
pub(super) async fn full() -> Scene {
    let scene = bare().await;
    scene.house.park("MER", "Europe/Lisbon").await;
    for line in [
        "holt enclosure add 'Otter pool' --kind outdoor --capacity 2",
        "holt enclosure add 'Night house' --kind indoor",
        "holt place Bramble Sedge --in 'Otter pool'",
        "holt check add weigh --species 'Lontra canadensis' --every week --on mon --grace 2 --starts 2026-01-05",
        "holt check add assess --animal Sedge --every month --on 1 --starts 2026-01-01",
        "holt litter record 0.0.4 --on 2026-02-20 --dam Sedge --note 'heard, not seen'",
        "holt litter died Sedge 1 --on 2026-02-22 --manner natural --note 'cold at the entrance'",
        "holt litter sexed Sedge --males 1 --on 2026-02-27",
        "holt litter identify Sedge --sex female --on 2026-02-28",
        "holt group add 'Weir family' --note 'Sedge and her young'",
        "holt group join 'Weir family' Sedge --as breeding --at '2026-02-01 09:00'",
        "holt group join 'Weir family' QUI-26-0001 --as juvenile --at '2026-03-01 09:00'",
        "holt transfer propose Teasel --to MER --terms loan --because 'to pair with Fern' --planned 2026-03-20",
    ] {
        scene.registrar.done(line).await;
    }
    scene.keeper.file("round.csv", half_a_year().as_bytes());
    scene.keeper.done("holt weigh --file ~/round.csv").await;
    scene.steward.pipe("holt protocol load -", PROTOCOL.as_bytes()).await;
    scene
        .keeper
        .done("holt assess Bramble --protocol otter-look --found coat=dull --found 'water=19.5 Cel'")
        .await;
    scene
}
