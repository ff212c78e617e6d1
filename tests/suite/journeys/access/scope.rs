//! A role counts where it is held, and opens nothing elsewhere.

use super::{Gate, at, everywhere};
use chrono::TimeDelta;
use holt_proto::v1::{self, Role};
use holt_tests::house::start_of_time;
use holt_tests::reason;

/// Whoever reads at one site and keeps people at all of them reads at the one site.
#[tokio::test]
async fn keeping_people_everywhere_opens_no_animals() {
    let gate = Gate::new().await;
    let brack = gate.house.park("BRA", "America/Halifax").await;
    let alder = gate.house.otter(&brack, "Alder").await;
    let at_eight = start_of_time() - TimeDelta::hours(1);
    let round = gate.house.round("BRA", &[("Alder", at_eight, 8000)]);
    brack.keeper.client.weights().record_weights(round).await.unwrap();
    for more in [everywhere(Role::Steward), at(Role::Steward, "BRA")] {
        let name = if more.every_site { "ann" } else { "bob" };
        let tokens = gate.settled(name, &[at(Role::Keeper, "QUI"), more]).await;
        let both = gate.client(&tokens);
        for animal in [alder.id.as_str(), alder.accession.as_str(), "Alder"] {
            for site in ["", "QUI"] {
                let get = v1::GetAnimalRequest {
                    site: site.to_owned(),
                    animal: animal.to_owned(),
                    ..Default::default()
                };
                let refused = both.animals().get_animal(get).await.unwrap_err();
                assert_eq!(reason(&refused), "NOT_FOUND", "{animal} at `{site}`");
            }
            let list = v1::ListWeightsRequest { animal: animal.to_owned(), ..Default::default() };
            assert_eq!(reason(&both.weights().list_weights(list).await.unwrap_err()), "NOT_FOUND");
        }
        let day = both.reports().get_site_day(v1::GetSiteDayRequest::default()).await.unwrap().into_inner();
        assert_eq!(day.sites.iter().map(|site| site.site.as_str()).collect::<Vec<_>>(), ["QUI"]);
    }
    gate.house.close().await;
}

#[tokio::test]
async fn the_directory_is_open_and_licences_are_not() {
    let gate = Gate::new().await;
    let brack = gate.house.park("BRA", "America/Halifax").await;
    let sites = brack.keeper.client.sites().list_sites(v1::ListSitesRequest {}).await.unwrap().into_inner();
    let sites: Vec<_> = sites.sites.iter().map(|site| (site.code.as_str(), site.licence.as_str())).collect();
    assert_eq!(sites, [("BRA", "BRA-LIC-1"), ("QUI", "")]);
    gate.house.close().await;
}

#[tokio::test]
async fn without_a_site_a_list_is_of_all_sites_in_scope() {
    let gate = Gate::new().await;
    gate.house.park("BRA", "America/Halifax").await;
    gate.house.park("THI", "Asia/Tokyo").await;
    let tokens = gate.settled("ann", &[at(Role::Auditor, "BRA"), at(Role::Keeper, "QUI")]).await;
    let day = v1::GetSiteDayRequest::default();
    let day = gate.client(&tokens).reports().get_site_day(day).await.unwrap().into_inner();
    assert_eq!(day.sites.iter().map(|site| site.site.as_str()).collect::<Vec<_>>(), ["BRA", "QUI"]);
    gate.house.close().await;
}
