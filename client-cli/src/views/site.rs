//! Sites.

use super::{Thing, some};
use crate::output::{Page, Table};
use holt_proto::v1;
use serde::Serialize;

/// A park or collection.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Site {
    pub(crate) code: String,
    pub(crate) name: String,
    pub(crate) time_zone: String,
    licence: Option<String>,
    latitude_degrees: Option<f64>,
    longitude_degrees: Option<f64>,
    country: Option<String>,
    id: String,
}

impl From<v1::Site> for Site {
    fn from(site: v1::Site) -> Self {
        Self {
            code: site.code,
            name: site.name,
            time_zone: site.time_zone,
            licence: some(site.licence),
            latitude_degrees: site.latitude,
            longitude_degrees: site.longitude,
            country: some(site.country),
            id: site.id,
        }
    }
}

impl Thing for Site {
    const MANY: &'static str = "sites";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(sites: &[Self], page: &mut Page) {
        let mut table = Table::new(["Code", "Name", "Time zone", "Country", "Licence", "Place"]);
        for site in sites {
            let place = site
                .latitude_degrees
                .zip(site.longitude_degrees)
                .map(|(north, east)| format!("{north}, {east}"));
            table.row([
                site.code.clone(),
                site.name.clone(),
                site.time_zone.clone(),
                site.country.clone().unwrap_or_default(),
                site.licence.clone().unwrap_or_default(),
                place.unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}
