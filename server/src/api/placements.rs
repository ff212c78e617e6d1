//! `PlacementService`.

use crate::api::decode::Form;
use crate::api::{Api, caller, status};
use crate::records::placements;
use holt_proto::v1;
use holt_proto::v1::placement_service_server::PlacementService;
use tonic::{Request, Response, Status};

#[tonic::async_trait]
impl PlacementService for Api {
    async fn place_animals(
        &self,
        request: Request<v1::PlaceAnimalsRequest>,
    ) -> Result<Response<v1::PlaceAnimalsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("PlacementService/PlaceAnimals", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let animals = form.animals("animals", &asked.animals);
        let enclosure = form.text("enclosure", &asked.enclosure, 1..=100);
        let at = form.instant("placed_at", asked.placed_at);
        form.done()?;
        let placed = placements::place(&self.records, &caller, &write, &site, &animals, &enclosure, at)
            .await
            .map_err(status::from)?;
        let count = |n: usize| i32::try_from(n).unwrap_or(i32::MAX);
        Ok(Response::new(v1::PlaceAnimalsResponse {
            moved: count(placed.moved),
            occupants: count(placed.occupants),
            over_capacity: placed.over_capacity,
        }))
    }
}
