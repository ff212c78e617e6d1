//! A registrar brings the books of a site over into Holt, and gives them out again.

mod again;
mod archive;
mod concerns;
mod limits;
mod numbers;
mod refused;
mod sheet;
mod standard;

use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::{Desk, House, Park};

/// A park without animals, and the desk of its registrar.
pub(super) struct Books {
    pub(super) house: House,
    pub(super) park: Park,
    pub(super) desk: Desk,
}

impl Books {
    pub(super) async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        let desk = house.desk_of(&park.registrar, &[(Role::Registrar, Some("QUI"))]);
        desk.file("animals.toml", MAPPING.as_bytes());
        Self { house, park, desk }
    }

    /// What an auditor sees of the site's animals, by accession.
    pub(super) async fn animals(&self) -> Vec<v1::Animal> {
        let list = v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
        self.park.auditor.client.animals().list_animals(list).await.unwrap().into_inner().animals
    }

    /// Rows of all tables that hold facts or entries, to see that nothing was written.
    pub(super) async fn rows(&self) -> i64 {
        let mut owner = self.house.owner().await;
        sqlx::query_scalar(
            "SELECT (SELECT count(*) FROM animals) + (SELECT count(*) FROM marks) + (SELECT count(*) FROM taxa)
                  + (SELECT count(*) FROM enclosures) + (SELECT count(*) FROM weights)
                  + (SELECT count(*) FROM ledger) + (SELECT coalesce(sum(last), 0) FROM accession_counters)",
        )
        .fetch_one(&mut owner)
        .await
        .unwrap()
    }
}

/// A mapping of the sheet of a park that writes days as the British do.
pub(super) const MAPPING: &str = r#"
days = "DD/MM/YYYY"
masses = "kg"

[columns]
number = "Local ID"
species = "Latin name"
common-name = "Animal"
name = "House name"
sex = "Sex"
born = "DOB"
arrived = "Acquired"
from = "Origin"
from-name = "Obtained from"
transponder = "Chip"
dam = "Dam"
sire = "Sire"
enclosure = "Lives in"
died = "Died"
manner = "Cause"
left = "Moved out"
to-name = "Moved to"
weight = "Weight"
weighed = "Weighed"

[values.sex]
M = "male"
F = "female"
"?" = "unknown"

[values.species]
"River otter" = "Lontra canadensis"

[values.from]
bred = "born-here"
purchased = "collection"

[constants]
parents-because = ""
"#;

/// Its header.
pub(super) const HEADER: &str = "Local ID;Latin name;Animal;House name;Sex;DOB;Acquired;Origin;Obtained from;Chip;Dam;\
     Sire;Lives in;Died;Cause;Moved out;Moved to;Weight;Weighed\n";
