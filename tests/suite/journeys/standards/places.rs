//! Groups, enclosures and the devices in them.

use super::{Audited, is, told, utc};
use holt_proto::time::timestamp;
use holt_proto::v1;

impl Audited {
    async fn item(&self, name: &str, kind: v1::EnrichmentKind) {
        let item = v1::EnrichmentItem { name: name.to_owned(), kind: kind.into(), ..Default::default() };
        let set = v1::SetEnrichmentItemRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            item: Some(item),
            because: String::new(),
        };
        self.quill.registrar.client.send(set).await.unwrap();
    }

    async fn offered(&self, to: v1::new_enrichment_offer::To, item: &str) {
        let offer = v1::NewEnrichmentOffer { to: Some(to), item: item.to_owned(), ..Default::default() };
        let (request_id, site) = (self.house.request(), "QUI".to_owned());
        let record = v1::RecordEnrichmentRequest { request_id, site, offers: vec![offer] };
        self.quill.keeper.client.send(record).await.unwrap();
    }

    async fn device(&self, name: &str, enclosure: &str) {
        let device = v1::AddDeviceRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            enclosure: enclosure.to_owned(),
            name: name.to_owned(),
            measure: v1::Measure::Temperature.into(),
            may_be_silent_minutes: 600,
            ..Default::default()
        };
        self.quill.registrar.client.send(device).await.unwrap();
        let rules = v1::ClimateRules {
            enclosure: enclosure.to_owned(),
            measure: v1::Measure::Temperature.into(),
            rules: vec![v1::ClimateRule { low: Some(20.0), high: Some(22.0), ..Default::default() }],
            ..Default::default()
        };
        let (request_id, site) = (self.house.request(), "QUI".to_owned());
        let set =
            v1::SetClimateRulesRequest { request_id, site, rules: Some(rules), because: "winter".to_owned() };
        self.quill.registrar.client.send(set).await.unwrap();
    }

    async fn read(&self, device: &str, readings: &[(&str, f64)]) {
        let reading = |&(at, value): &(&str, f64)| v1::DeviceReading {
            device: device.to_owned(),
            read_at: Some(timestamp(utc(at))),
            value,
        };
        let (request_id, site) = (self.house.request(), "QUI".to_owned());
        let readings: Vec<_> = readings.iter().map(reading).collect();
        let wanted = i32::try_from(readings.len()).unwrap();
        let record = v1::RecordReadingsRequest { request_id, site, readings };
        assert_eq!(self.quill.keeper.client.send(record).await.unwrap().recorded, wanted);
    }
}

#[tokio::test]
async fn enrichment_is_varied_by_kinds_and_also_by_what_lay_in_the_enclosure() {
    use v1::new_enrichment_offer::To;
    let audited = Audited::new().await;
    audited.enclosure("Bank", 5).await;
    for name in ["Bramble", "Sedge", "Teasel"] {
        audited.arrived(name, "").await;
    }
    audited.placed(&["Sedge"], "Bank").await;
    audited.group("Weir family", &["Bramble"]).await;
    audited.group("Bank family", &["Sedge"]).await;
    audited.group("Mill family", &["Teasel"]).await;
    audited.item("Barrel", v1::EnrichmentKind::Structural).await;
    audited.item("Mint", v1::EnrichmentKind::Sensory).await;
    audited.offered(To::Group("Weir family".to_owned()), "Barrel").await;
    audited.offered(To::Group("Weir family".to_owned()), "Mint").await;
    audited.offered(To::Group("Bank family".to_owned()), "Mint").await;
    audited.offered(To::Group("Bank family".to_owned()), "Mint").await;
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    let short = ["Mill family: no enrichment recorded", "Bank family: 1 of 2 kinds offered: sensory"];
    assert_eq!(told(&answers, "enriched"), is("short", "1 of 3", &short));
    audited.offered(To::Enclosure("Bank".to_owned()), "Barrel").await;
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    assert_eq!(told(&answers, "enriched"), is("short", "2 of 3", &short[..1]));
    audited.offered(To::Group("Mill family".to_owned()), "Barrel").await;
    audited.offered(To::Group("Mill family".to_owned()), "Mint").await;
    let answers = audited.answers("2026-02-01", "2026-03-02").await;
    assert_eq!(told(&answers, "enriched"), is("met", "3 of 3", &[]));
    audited.house.close().await;
}

#[tokio::test]
async fn an_enclosure_is_overfilled_while_it_is() {
    let audited = Audited::new().await;
    for (name, capacity) in [("Weir", 1), ("Bank", 5), ("Nook", 0)] {
        audited.enclosure(name, capacity).await;
    }
    for name in ["Bramble", "Sedge", "Teasel", "Dab"] {
        audited.arrived(name, "").await;
    }
    audited.placed(&["Bramble", "Sedge"], "Weir").await;
    audited.placed(&["Dab"], "Bank").await;
    audited.placed(&["Teasel"], "Nook").await;
    let answers = audited.answers("2026-03-02", "2026-03-02").await;
    let short = ["Nook: no capacity recorded", "Weir: 2 animals on 2026-03-02, capacity 1"];
    assert_eq!(told(&answers, "roomy"), is("short", "1 of 3", &short));
    audited.house.clock.set(utc("2026-03-03T09:00:00Z"));
    audited.placed(&["Sedge", "Teasel"], "Bank").await;
    audited.house.clock.set(utc("2026-03-05T09:00:00Z"));
    let answers = audited.answers("2026-03-04", "2026-03-05").await;
    assert_eq!(told(&answers, "roomy"), is("met", "2 of 2", &[]));
    let answers = audited.answers("2026-03-02", "2026-03-05").await;
    assert_eq!(told(&answers, "roomy"), is("short", "1 of 3", &short));
    audited.house.close().await;
}

#[tokio::test]
async fn an_enclosure_is_as_warm_as_it_must_be_or_the_device_is_named() {
    let audited = Audited::new().await;
    audited.enclosure("Burrow House", 0).await;
    audited.enclosure("Loft", 0).await;
    audited.device("Lamp", "Burrow House").await;
    audited.device("Eave", "Loft").await;
    audited.house.clock.set(utc("2026-03-02T16:00:00Z"));
    let good =
        [("2026-03-02T06:10:00Z", 21.0), ("2026-03-02T11:00:00Z", 21.5), ("2026-03-02T15:00:00Z", 21.0)];
    audited.read("Lamp", &good).await;
    let answers = audited.answers("2026-03-01", "2026-03-02").await;
    let none = "Eave in Loft: no reading recorded";
    assert_eq!(told(&answers, "warm"), is("short", "1 of 2", &[none]));
    audited.read("Eave", &good).await;
    let answers = audited.answers("2026-03-01", "2026-03-02").await;
    assert_eq!(told(&answers, "warm"), is("met", "2 of 2", &[]), "the day is still running");
    audited.house.clock.set(utc("2026-03-02T20:00:00Z"));
    audited.read("Eave", &[("2026-03-02T17:00:00Z", 25.0), ("2026-03-02T19:00:00Z", 26.0)]).await;
    let answers = audited.answers("2026-03-01", "2026-03-02").await;
    let warm = "Eave in Loft: too high on 2026-03-02, up to 26.0 °C";
    assert_eq!(told(&answers, "warm"), is("short", "1 of 2", &[warm]));
    audited.house.clock.set(utc("2026-03-04T09:00:00Z"));
    let answers = audited.answers("2026-03-03", "2026-03-03").await;
    assert_eq!(told(&answers, "warm").0, "no_evidence", "a log that stops is no log without fault");
    audited.house.close().await;
}
