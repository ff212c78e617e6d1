//! `SiteService`.

use crate::api::decode::Form;
use crate::api::encode::{enclosure_kind, id};
use crate::api::papers::country;
use crate::api::{Api, caller, status};
use crate::model::site::{Enclosure, EnclosureKind, NewEnclosure, NewSite, Site};
use crate::records::sites;
use chrono_tz::Tz;
use holt_proto::v1;
use holt_proto::v1::site_service_server::SiteService;
use tonic::{Request, Response, Status};

fn encode(site: Site) -> v1::Site {
    v1::Site {
        id: id(site.id),
        code: site.code,
        name: site.name,
        time_zone: site.zone.name().to_owned(),
        licence: site.licence,
        latitude: site.latitude,
        longitude: site.longitude,
        country: site.country,
    }
}

fn encode_enclosure(enclosure: Enclosure) -> v1::Enclosure {
    v1::Enclosure {
        id: id(enclosure.id),
        site: enclosure.site,
        name: enclosure.name,
        kind: enclosure_kind(enclosure.kind).into(),
        capacity: enclosure.capacity,
        occupants: enclosure.occupants,
    }
}

/// No enclosure holds more, an aviary of insects neither.
const MOST_ANIMALS: i32 = 1_000_000;

fn degrees(form: &mut Form, field: &str, value: Option<f64>, most: f64) -> Option<f64> {
    value.map(|value| form.number(field, value, -most..=most, " degrees"))
}

#[tonic::async_trait]
impl SiteService for Api {
    async fn create_site(
        &self,
        request: Request<v1::CreateSiteRequest>,
    ) -> Result<Response<v1::CreateSiteResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("SiteService/CreateSite", &asked.request_id, &asked, false);
        let zone = asked.time_zone.parse().unwrap_or_else(|_| {
            let mend = "give an IANA name, such as `Europe/Dublin`";
            form.wrong("time_zone", format!("`{}` is not a time zone", asked.time_zone), mend);
            Tz::UTC
        });
        let new = NewSite {
            code: form.site("code", &asked.code),
            name: form.text("name", &asked.name, 1..=200),
            zone,
            licence: form.text("licence", &asked.licence, 0..=200),
            latitude: degrees(&mut form, "latitude", asked.latitude, 90.0),
            longitude: degrees(&mut form, "longitude", asked.longitude, 180.0),
            country: country(&mut form, "country", &asked.country),
        };
        form.done()?;
        let site = sites::create(&self.records, &caller, &write, new).await.map_err(status::from)?;
        Ok(Response::new(v1::CreateSiteResponse { site: Some(encode(site)) }))
    }

    async fn get_site(
        &self,
        request: Request<v1::GetSiteRequest>,
    ) -> Result<Response<v1::GetSiteResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let code = form.site("code", &asked.code);
        form.done()?;
        let site = sites::get(&self.records, &caller, &code).await.map_err(status::from)?;
        Ok(Response::new(v1::GetSiteResponse { site: Some(encode(site)) }))
    }

    async fn list_sites(
        &self,
        request: Request<v1::ListSitesRequest>,
    ) -> Result<Response<v1::ListSitesResponse>, Status> {
        let (caller, _) = caller::open(request)?;
        let sites = sites::list(&self.records, &caller).await.map_err(status::from)?;
        Ok(Response::new(v1::ListSitesResponse { sites: sites.into_iter().map(encode).collect() }))
    }

    async fn create_enclosure(
        &self,
        request: Request<v1::CreateEnclosureRequest>,
    ) -> Result<Response<v1::CreateEnclosureResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("SiteService/CreateEnclosure", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let kind = match v1::EnclosureKind::try_from(asked.kind) {
            Ok(v1::EnclosureKind::Indoor) => Some(EnclosureKind::Indoor),
            Ok(v1::EnclosureKind::Outdoor) => Some(EnclosureKind::Outdoor),
            Ok(v1::EnclosureKind::Mixed) => Some(EnclosureKind::Mixed),
            Ok(v1::EnclosureKind::Unspecified) | Err(_) => None,
        };
        if !(0..=MOST_ANIMALS).contains(&asked.capacity) {
            let mend = format!("give the number of animals, up to {MOST_ANIMALS}; 0 if not stated");
            form.wrong("capacity", format!("is {}", asked.capacity), mend);
        }
        let new = NewEnclosure {
            name: form.text("name", &asked.name, 1..=100),
            kind: form.choice("kind", kind, "indoor, outdoor, mixed", EnclosureKind::Mixed),
            capacity: asked.capacity,
        };
        form.done()?;
        let enclosure = sites::create_enclosure(&self.records, &caller, &write, &site, new)
            .await
            .map_err(status::from)?;
        let enclosure = Some(encode_enclosure(enclosure));
        Ok(Response::new(v1::CreateEnclosureResponse { enclosure }))
    }

    async fn list_enclosures(
        &self,
        request: Request<v1::ListEnclosuresRequest>,
    ) -> Result<Response<v1::ListEnclosuresResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        form.done()?;
        let found = sites::enclosures(&self.records, &caller, &site).await.map_err(status::from)?;
        let enclosures = found.into_iter().map(encode_enclosure).collect();
        Ok(Response::new(v1::ListEnclosuresResponse { enclosures }))
    }
}
