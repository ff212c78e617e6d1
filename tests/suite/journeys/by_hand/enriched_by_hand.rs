//! Things to do: the registrar puts items on record, the keeper asks for a rota, gives, and tells what was seen.

use super::{TypedByHand, desk, id_in};
use holt_server::model::person::Role;
use holt_tests::House;

#[tokio::test]
async fn a_week_of_things_to_do() {
    let house = House::new().await;
    let quill = house.quill().await;
    let registrar = desk(&house, &quill, Role::Registrar);
    let keeper = desk(&house, &quill, Role::Keeper);
    let mut by_hand = TypedByHand::default();
    house.otter(&quill, "Bramble").await;
    keeper.done("holt group add 'Weir family'").await;
    keeper.done("holt group join 'Weir family' Bramble --as member --at '2026-02-01 09:00'").await;
    let (who, at) = ("registrar", &registrar);
    by_hand.done(who, at, "holt enrich item Herbs --kind sensory --minutes 5 --rest 1").await;
    by_hand.done(who, at, "holt enrich item 'Sliding box' --kind cognitive --minutes 10 --rest 2").await;
    by_hand
        .done(who, at, "holt enrich item 'Rope tangle' --kind structural --minutes 10 --hazard loose-cord")
        .await;
    by_hand
        .done(
            who,
            at,
            "holt enrich item 'Mirror box' --kind social --minutes 5 --not-for 'Lontra canadensis'",
        )
        .await;
    by_hand.done(who, at, "holt enrich item 'Frozen fish' --kind food --minutes 5 --kcal 60").await;
    by_hand.ends(who, at, "holt enrich item Glass --kind shiny", 2).await;
    by_hand.ends(who, at, "holt enrich item Glass --kind sensory --not-for otters", 3).await;
    by_hand.done(who, at, "holt enrich limits 'Weir family' --refuse loose-cord --a-day 1").await;
    by_hand.done(who, at, "holt enrich items").await;
    let (who, at) = ("keeper", &keeper);
    by_hand.ends(who, at, "holt enrich limits 'Weir family' --a-day 2", 5).await;
    by_hand.done(who, at, "holt enrich plan 'Weir family' --minutes 10 --days 4").await;
    by_hand.remark("100 g of fish are kept for enrichment");
    registrar.done("holt feed food Roach '1 kcal/g' --source invented").await;
    registrar.done("holt feed plan 'Weir family' '09:00 100g Roach, hidden, enrichment'").await;
    by_hand.done(who, at, "holt enrich plan 'Weir family' --minutes 10 --days 4").await;
    by_hand.ends(who, at, "holt enrich plan 'Holm pair' --minutes 10", 4).await;
    let given = by_hand.done(who, at, "holt enrich give Herbs --group 'Weir family' --at 05:30").await;
    by_hand.done(who, at, &format!("holt enrich response {} used --minutes 12", id_in(&given))).await;
    by_hand.ends(who, at, &format!("holt enrich response {} ignored --minutes 12", id_in(&given)), 3).await;
    by_hand.done(who, at, "holt enrich give 'Rope tangle' --group 'Weir family' --met avoided").await;
    let twice = by_hand.done(who, at, "holt enrich give herbs --group 'Weir family'").await;
    let id = twice.split('[').nth(1).unwrap().split(']').next().unwrap().to_owned();
    by_hand.done(who, at, &format!("holt enrich withdraw {id} --because 'entered twice'")).await;
    by_hand.done(who, at, "holt enrich list --group 'Weir family'").await;
    by_hand.done(who, at, "holt enrich show 'Weir family'").await;
    by_hand.done(who, at, "holt enrich show 'Weir family' --format csv").await;
    insta::assert_snapshot!("enriched_by_hand", by_hand.0);
    house.close().await;
}
