//! `DocumentService`.

use crate::api::decode::Form;
use crate::api::{Api, caller, status};
use crate::model::document::{Adoption, Basis, InUse, Kind, owner};
use crate::records::documents::{self, Adopted};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::document_service_server::DocumentService;
use tonic::{Request, Response, Status};

pub(super) fn basis(basis: Basis) -> i32 {
    let basis = match basis {
        Basis::Adopted => v1::VersionBasis::Adopted,
        Basis::Last => v1::VersionBasis::Last,
        Basis::Named => v1::VersionBasis::Named,
    };
    basis.into()
}

/// The site whose own a document is, as it is written.
pub(super) fn own_site(code: &str) -> String {
    owner(code).unwrap_or_default()
}

/// The site for which a document is loaded; empty for all.
pub(super) fn loads_for(form: &mut Form, site: &str) -> String {
    if site.is_empty() { String::new() } else { form.site("site", site) }
}

fn adoption(adoption: Adoption) -> v1::Adoption {
    v1::Adoption {
        version: adoption.version,
        adopted_on: Some(day(adoption.on)),
        recorded_at: Some(timestamp(adoption.at)),
        recorded_by: adoption.by,
    }
}

pub(super) const fn wire_kind(kind: Kind) -> v1::DocumentKind {
    match kind {
        Kind::Protocol => v1::DocumentKind::Protocol,
        Kind::Ethogram => v1::DocumentKind::Ethogram,
        Kind::GrowthReference => v1::DocumentKind::GrowthReference,
        Kind::Standard => v1::DocumentKind::Standard,
    }
}

fn encode(used: InUse) -> v1::Document {
    v1::Document {
        kind: wire_kind(used.kind).into(),
        own_site: own_site(&used.code),
        code: used.code,
        title: used.title,
        version: used.version,
        basis: basis(used.basis),
        last_version: used.last,
        adoptions: used.adoptions.into_iter().map(adoption).collect(),
    }
}

pub(super) fn kind(form: &mut Form, wire: i32) -> Kind {
    let kind = match v1::DocumentKind::try_from(wire) {
        Ok(v1::DocumentKind::Protocol) => Some(Kind::Protocol),
        Ok(v1::DocumentKind::Ethogram) => Some(Kind::Ethogram),
        Ok(v1::DocumentKind::GrowthReference) => Some(Kind::GrowthReference),
        Ok(v1::DocumentKind::Standard) => Some(Kind::Standard),
        Ok(v1::DocumentKind::Unspecified) | Err(_) => None,
    };
    form.choice("kind", kind, "protocol, ethogram, growth reference, standard", Kind::Protocol)
}

#[tonic::async_trait]
impl DocumentService for Api {
    async fn adopt_version(
        &self,
        request: Request<v1::AdoptVersionRequest>,
    ) -> Result<Response<v1::AdoptVersionResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("DocumentService/AdoptVersion", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        if asked.version < 1 {
            form.wrong("version", "is less than 1", "give the version that the site works by");
        }
        let adopted = Adopted {
            kind: kind(&mut form, asked.kind),
            code: form.text("code", &asked.code, 1..=100),
            on: form.optional_day("adopted_on", asked.adopted_on),
        };
        form.done()?;
        let used = documents::adopt(&self.records, &caller, &write, &site, &adopted, asked.version)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::AdoptVersionResponse { document: Some(encode(used)) }))
    }

    async fn withdraw_adoption(
        &self,
        request: Request<v1::WithdrawAdoptionRequest>,
    ) -> Result<Response<v1::WithdrawAdoptionResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("DocumentService/WithdrawAdoption", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let withdrawn = Adopted {
            kind: kind(&mut form, asked.kind),
            code: form.text("code", &asked.code, 1..=100),
            on: Some(form.day("adopted_on", asked.adopted_on)),
        };
        let because = form.text("because", &asked.because, 1..=500);
        form.done()?;
        let used = documents::withdraw(&self.records, &caller, &write, &site, &withdrawn, &because)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::WithdrawAdoptionResponse { document: Some(encode(used)) }))
    }

    async fn list_documents(
        &self,
        request: Request<v1::ListDocumentsRequest>,
    ) -> Result<Response<v1::ListDocumentsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let as_of = form.optional_day("as_of", asked.as_of);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let all =
            documents::list(&self.records, &caller, &site, as_of, known_at).await.map_err(status::from)?;
        Ok(Response::new(v1::ListDocumentsResponse { documents: all.into_iter().map(encode).collect() }))
    }
}
