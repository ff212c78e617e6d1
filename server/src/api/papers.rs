//! `PaperService`.

use crate::api::decode::Form;
use crate::api::encode::{appendix, id};
use crate::api::{Api, caller, status};
use crate::model::paper::{CAUTION, Content, Crossing, Kind, Occasion, Paper};
use crate::records::papers::{self, NewPaper};
use holt_proto::notation::cites;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::paper_service_server::PaperService;
use tonic::{Request, Response, Status};

/// Two letters of ISO 3166-1, or nothing.
pub(super) fn country(form: &mut Form, field: &str, text: &str) -> String {
    let code = text.trim().to_ascii_uppercase();
    if !code.is_empty() && rust_iso3166::from_alpha2(&code).is_none() {
        form.wrong(
            field,
            format!("`{text}` is not a country"),
            "give the two letters of ISO 3166-1, such as `IE`",
        );
    }
    code
}

/// The caution that goes with what is missing.
pub(super) fn caution(missing: &[String]) -> String {
    if missing.is_empty() { String::new() } else { CAUTION.to_owned() }
}

fn kind(form: &mut Form, field: &str, wire: i32) -> Kind {
    let kind = match v1::PaperKind::try_from(wire) {
        Ok(v1::PaperKind::CitesExportPermit) => Some(Kind::CitesExportPermit),
        Ok(v1::PaperKind::CitesImportPermit) => Some(Kind::CitesImportPermit),
        Ok(v1::PaperKind::CitesReExportCertificate) => Some(Kind::CitesReExportCertificate),
        Ok(v1::PaperKind::CitesOtherCertificate) => Some(Kind::CitesOtherCertificate),
        Ok(v1::PaperKind::HealthCertificate) => Some(Kind::HealthCertificate),
        Ok(v1::PaperKind::MovementLicence) => Some(Kind::MovementLicence),
        Ok(v1::PaperKind::Receipt) => Some(Kind::Receipt),
        Ok(v1::PaperKind::Other) => Some(Kind::Other),
        Ok(v1::PaperKind::Unspecified) | Err(_) => None,
    };
    let kinds = "CITES export permit, import permit, re-export certificate or other certificate, health \
                 certificate, movement licence, receipt, other";
    form.choice(field, kind, kinds, Kind::Other)
}

const fn encode_kind(kind: Kind) -> v1::PaperKind {
    match kind {
        Kind::CitesExportPermit => v1::PaperKind::CitesExportPermit,
        Kind::CitesImportPermit => v1::PaperKind::CitesImportPermit,
        Kind::CitesReExportCertificate => v1::PaperKind::CitesReExportCertificate,
        Kind::CitesOtherCertificate => v1::PaperKind::CitesOtherCertificate,
        Kind::HealthCertificate => v1::PaperKind::HealthCertificate,
        Kind::MovementLicence => v1::PaperKind::MovementLicence,
        Kind::Receipt => v1::PaperKind::Receipt,
        Kind::Other => v1::PaperKind::Other,
    }
}

const fn encode_occasion(occasion: Occasion) -> v1::PaperOccasion {
    match occasion {
        Occasion::Arrival => v1::PaperOccasion::Arrival,
        Occasion::Departure => v1::PaperOccasion::Departure,
        Occasion::Transfer => v1::PaperOccasion::Transfer,
    }
}

/// What a paper says.
pub(super) fn content(form: &mut Form, field: &str, wire: &v1::PaperContent) -> Content {
    let at = |name: &str| format!("{field}.{name}");
    let content = Content {
        kind: kind(form, &at("kind"), wire.kind),
        number: form.text(&at("number"), &wire.number, 0..=100),
        country: country(form, &at("issued_by_country"), &wire.issued_by_country),
        authority: form.text(&at("issued_by"), &wire.issued_by, 0..=200),
        issued_on: form.optional_day(&at("issued_on"), wire.issued_on),
        valid_until: form.optional_day(&at("expires_on"), wire.expires_on),
        appendix: super::animals::appendix(form, &at("cites_appendix"), wire.cites_appendix),
        source_codes: cites::sources(&wire.source_codes).unwrap_or_else(|error| {
            form.wrong(&at("source_codes"), error.to_string(), error.mend());
            String::new()
        }),
        purpose_code: match wire.purpose_code.as_str() {
            "" => String::new(),
            code => cites::purpose(code).unwrap_or_else(|error| {
                form.wrong(&at("purpose_code"), error.to_string(), error.mend());
                String::new()
            }),
        },
        note: form.text(&at("note"), &wire.note, 0..=500),
    };
    if content.kind.is_cites() {
        if content.number.is_empty() {
            form.wrong(&at("number"), "is missing", "give the number as the paper has it");
        }
        let i = crate::model::taxon::Appendix::I;
        if content.source_codes.starts_with('D') && content.appendix != i {
            let say = "source code D is for species of Appendix I";
            form.wrong(&at("source_codes"), say, "give C, or say that it is listed in Appendix I");
        }
    } else {
        let told = [
            ("cites_appendix", !content.appendix.as_str().is_empty()),
            ("source_codes", !content.source_codes.is_empty()),
            ("purpose_code", !content.purpose_code.is_empty()),
        ];
        for (name, _) in told.into_iter().filter(|(_, told)| *told) {
            form.wrong(&at(name), "belongs to papers of CITES only", "leave it out, or choose their kind");
        }
    }
    if content.issued_on.zip(content.valid_until).is_some_and(|(issued, until)| until < issued) {
        form.wrong(&at("expires_on"), "is before the day of issue", "correct one of the two days");
    }
    content
}

/// Papers that come or go with an animal.
pub(super) fn contents(form: &mut Form, field: &str, wire: &[v1::PaperContent]) -> Vec<Content> {
    wire.iter().enumerate().map(|(n, one)| content(form, &format!("{field}[{n}]"), one)).collect()
}

fn encode(paper: Paper) -> v1::Paper {
    let says = paper.content;
    v1::Paper {
        id: id(paper.id),
        site: paper.site,
        animal_id: id(paper.animal),
        occasion: encode_occasion(paper.occasion).into(),
        transfer_id: paper.transfer.map(id).unwrap_or_default(),
        content: Some(v1::PaperContent {
            kind: encode_kind(says.kind).into(),
            number: says.number,
            issued_by_country: says.country,
            issued_by: says.authority,
            issued_on: says.issued_on.map(day),
            expires_on: says.valid_until.map(day),
            cites_appendix: appendix(says.appendix).into(),
            source_codes: says.source_codes,
            purpose_code: says.purpose_code,
            note: says.note,
        }),
        recorded_at: Some(timestamp(paper.recorded_at)),
    }
}

fn encode_missing((crossing, missing): (Crossing, Vec<String>)) -> v1::PapersMissing {
    v1::PapersMissing {
        animal_id: id(crossing.animal.id),
        accession: crossing.animal.accession,
        house_name: crossing.animal.house_name,
        taxon: crossing.taxon,
        cites_appendix: appendix(crossing.appendix).into(),
        occasion: encode_occasion(crossing.occasion).into(),
        came: crossing.came,
        happened_on: Some(day(crossing.on)),
        from_country: crossing.from,
        to_country: crossing.to,
        missing,
    }
}

#[tonic::async_trait]
impl PaperService for Api {
    async fn add_paper(
        &self,
        request: Request<v1::AddPaperRequest>,
    ) -> Result<Response<v1::AddPaperResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("PaperService/AddPaper", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let occasion = match v1::PaperOccasion::try_from(asked.occasion) {
            Ok(v1::PaperOccasion::Arrival) => Some(Occasion::Arrival),
            Ok(v1::PaperOccasion::Departure) => Some(Occasion::Departure),
            Ok(v1::PaperOccasion::Transfer) => Some(Occasion::Transfer),
            Ok(v1::PaperOccasion::Unspecified) | Err(_) => None,
        };
        let transfer = (!asked.transfer_id.is_empty()).then(|| form.uuid("transfer_id", &asked.transfer_id));
        if transfer.is_some() && occasion.is_some_and(|occasion| occasion != Occasion::Transfer) {
            form.wrong(
                "transfer_id",
                "is given without a transfer",
                "choose transfer as what the paper belongs to",
            );
        }
        if asked.content.is_none() {
            form.wrong("content", "is missing", "give the kind of paper");
        }
        let new = NewPaper {
            animal: form.animal("animal", &asked.animal),
            occasion: form.choice("occasion", occasion, "arrival, departure, transfer", Occasion::Arrival),
            transfer,
            content: content(&mut form, "content", &asked.content.unwrap_or_default()),
        };
        form.done()?;
        let added = papers::add(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::AddPaperResponse {
            paper: Some(encode(added.paper)),
            caution: caution(&added.missing),
            missing: added.missing,
        }))
    }

    async fn list_papers(
        &self,
        request: Request<v1::ListPapersRequest>,
    ) -> Result<Response<v1::ListPapersResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.optional_site("site", &asked.site);
        let animal = form.animal("animal", &asked.animal);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let found =
            papers::list(&self.records, &caller, &site, &animal, known_at).await.map_err(status::from)?;
        Ok(Response::new(v1::ListPapersResponse { papers: found.into_iter().map(encode).collect() }))
    }

    async fn list_missing_papers(
        &self,
        request: Request<v1::ListMissingPapersRequest>,
    ) -> Result<Response<v1::ListMissingPapersResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let span = form.days("span", asked.span);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let found =
            papers::missing(&self.records, &caller, &site, span, known_at).await.map_err(status::from)?;
        Ok(Response::new(v1::ListMissingPapersResponse {
            missing: found.into_iter().map(encode_missing).collect(),
            caution: CAUTION.to_owned(),
        }))
    }
}
