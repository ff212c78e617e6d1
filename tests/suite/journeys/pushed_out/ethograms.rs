//! Ethograms are versioned data: loaded by a steward, checked as a whole, and never changed.

use super::Weir;
use crate::journeys::registration::fields;
use holt_proto::v1;
use holt_tests::cast::ETHOGRAM;
use holt_tests::reason;

impl Weir {
    async fn load(&self, toml: &str, validate_only: bool) -> Result<v1::Ethogram, tonic::Status> {
        let load = v1::LoadEthogramRequest {
            request_id: self.house.request(),
            toml: toml.to_owned(),
            validate_only,
            ..Default::default()
        };
        let answer = self.steward.client.ethograms().load_ethogram(load).await?;
        Ok(answer.into_inner().ethogram.unwrap())
    }

    async fn loaded(&self) -> Vec<v1::Ethogram> {
        let list = v1::ListEthogramsRequest {};
        self.park.keeper.client.ethograms().list_ethograms(list).await.unwrap().into_inner().ethograms
    }
}

#[tokio::test]
async fn a_version_is_loaded_once_and_the_next_beside_it() {
    let weir = Weir::new().await;
    let again = weir.load(ETHOGRAM, false).await.unwrap_err();
    assert_eq!(reason(&again), "EXISTS");
    let next = ETHOGRAM.replace("version = 1", "version = 2");
    assert_eq!(weir.load(&next, true).await.unwrap().version, 2);
    assert_eq!(weir.loaded().await.len(), 1, "checked only");
    weir.load(&next, false).await.unwrap();
    let loaded = weir.loaded().await;
    assert_eq!(loaded.iter().map(|one| one.version).collect::<Vec<_>>(), [1, 2]);
    let chase = loaded[0].behaviours.iter().find(|one| one.code == "chase").unwrap();
    assert_eq!(
        (chase.kind(), chase.receiver(), chase.above()),
        (v1::BehaviourKind::Chase, v1::BehaviourReceiver::Must, v1::BehaviourAbove::Actor)
    );
    weir.house.close().await;
}

#[tokio::test]
async fn what_contradicts_itself_is_refused_with_every_place() {
    let weir = Weir::new().await;
    let none = weir.load("code = 'x'", false).await.unwrap_err();
    assert_eq!((reason(&none).as_str(), fields(&none)), ("MALFORMED", vec!["toml".to_owned()]));
    let wrong = r#"
        code = "Otters"
        version = 1
        title = "Otters"
        [[behaviour]]
        code = "chase"
        name = "chases"
        kind = "chase"
        receiver = "must"
        above = "receiver"
        meaning = "runs after another"
        [[behaviour]]
        code = "chase"
        name = "chases"
        kind = "chase"
        meaning = ""
    "#;
    let refused = weir.load(wrong, false).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    assert_eq!(
        fields(&refused),
        ["code", "behaviour[0].above", "behaviour[1].code", "behaviour[1].meaning", "behaviour[1].receiver"]
    );
    weir.house.close().await;
}
