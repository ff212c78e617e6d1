//! `PeopleService`.

use crate::api::decode::Form;
use crate::api::encode;
use crate::api::{Api, caller, status};
use crate::records::people::{self, Given};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::people_service_server::PeopleService;
use tonic::{Request, Response, Status};

fn tokens(given: Given) -> v1::Tokens {
    v1::Tokens {
        access_token: given.access,
        access_expires_at: Some(timestamp(given.access_expires_at)),
        refresh_token: given.refresh,
        refresh_expires_at: Some(timestamp(given.refresh_expires_at)),
    }
}

/// A name to sign in with.
fn sign_in_name(form: &mut Form, text: &str) -> String {
    let name = text.trim().to_lowercase();
    let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || matches!(b, b'.' | b'_' | b'-');
    if !(2..=40).contains(&name.len()) || !name.bytes().all(plain) {
        let mend = "give 2 to 40 of a-z, 0-9, `.`, `_`, `-`";
        form.wrong("sign_in_name", format!("`{text}` is not a sign-in name"), mend);
    }
    name
}

#[tonic::async_trait]
impl PeopleService for Api {
    async fn sign_in(
        &self,
        request: Request<v1::SignInRequest>,
    ) -> Result<Response<v1::SignInResponse>, Status> {
        let asked = request.into_inner();
        let signed_in = people::sign_in(&self.records, &asked.sign_in_name, &asked.password)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::SignInResponse {
            tokens: Some(tokens(signed_in.given)),
            person: Some(encode::person(signed_in.person)),
            must_change_password: signed_in.must_change_password,
        }))
    }

    async fn renew_tokens(
        &self,
        request: Request<v1::RenewTokensRequest>,
    ) -> Result<Response<v1::RenewTokensResponse>, Status> {
        let given =
            people::renew(&self.records, &request.into_inner().refresh_token).await.map_err(status::from)?;
        Ok(Response::new(v1::RenewTokensResponse { tokens: Some(tokens(given)) }))
    }

    async fn sign_out(
        &self,
        request: Request<v1::SignOutRequest>,
    ) -> Result<Response<v1::SignOutResponse>, Status> {
        people::sign_out(&self.records, &request.into_inner().refresh_token).await.map_err(status::from)?;
        Ok(Response::new(v1::SignOutResponse {}))
    }

    async fn change_password(
        &self,
        request: Request<v1::ChangePasswordRequest>,
    ) -> Result<Response<v1::ChangePasswordResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let length = asked.new_password.chars().count();
        if !(12..=256).contains(&length) {
            let say = format!("has {length} characters");
            form.wrong("new_password", say, "give 12 to 256; a few words in a row are good");
        }
        form.done()?;
        let given =
            people::change_password(&self.records, &caller, &asked.current_password, &asked.new_password)
                .await
                .map_err(status::from)?;
        Ok(Response::new(v1::ChangePasswordResponse { tokens: Some(tokens(given)) }))
    }

    async fn get_self(
        &self,
        request: Request<v1::GetSelfRequest>,
    ) -> Result<Response<v1::GetSelfResponse>, Status> {
        let (caller, _) = caller::open(request)?;
        let person = people::itself(&self.records, &caller).await.map_err(status::from)?;
        Ok(Response::new(v1::GetSelfResponse { person: Some(encode::person(person)) }))
    }

    async fn create_person(
        &self,
        request: Request<v1::CreatePersonRequest>,
    ) -> Result<Response<v1::CreatePersonResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("PeopleService/CreatePerson", &asked.request_id, &asked, false);
        let name = form.text("name", &asked.name, 1..=100);
        let sign_in_name = sign_in_name(&mut form, &asked.sign_in_name);
        let grants: Vec<_> = asked
            .grants
            .iter()
            .enumerate()
            .map(|(n, grant)| form.grant(&format!("grants[{n}]"), Some(grant)))
            .collect();
        form.done()?;
        let (person, password) =
            people::create(&self.records, &caller, &write, &name, &sign_in_name, &grants)
                .await
                .map_err(status::from)?;
        Ok(Response::new(v1::CreatePersonResponse {
            person: Some(encode::person(person)),
            one_time_password: password.unwrap_or_default(),
        }))
    }

    async fn reset_password(
        &self,
        request: Request<v1::ResetPasswordRequest>,
    ) -> Result<Response<v1::ResetPasswordResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("PeopleService/ResetPassword", &asked.request_id, &asked, false);
        let name = form.text("sign_in_name", &asked.sign_in_name, 1..=200).to_lowercase();
        form.done()?;
        let (person, password) =
            people::reset_password(&self.records, &caller, &write, &name).await.map_err(status::from)?;
        Ok(Response::new(v1::ResetPasswordResponse {
            person: Some(encode::person(person)),
            one_time_password: password.unwrap_or_default(),
        }))
    }

    async fn list_people(
        &self,
        request: Request<v1::ListPeopleRequest>,
    ) -> Result<Response<v1::ListPeopleResponse>, Status> {
        const METHOD: &str = "PeopleService/ListPeople";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.optional_site("site", &asked.site);
        form.done()?;
        let found = people::list(&self.records, &caller, &site, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListPeopleResponse {
            people: found.entries.into_iter().map(encode::person).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }

    async fn grant_role(
        &self,
        request: Request<v1::GrantRoleRequest>,
    ) -> Result<Response<v1::GrantRoleResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("PeopleService/GrantRole", &asked.request_id, &asked, false);
        let name = form.text("sign_in_name", &asked.sign_in_name, 1..=200).to_lowercase();
        let grant = form.grant("grant", asked.grant.as_ref());
        form.done()?;
        let person =
            people::grant(&self.records, &caller, &write, &name, &grant).await.map_err(status::from)?;
        Ok(Response::new(v1::GrantRoleResponse { person: Some(encode::person(person)) }))
    }

    async fn revoke_role(
        &self,
        request: Request<v1::RevokeRoleRequest>,
    ) -> Result<Response<v1::RevokeRoleResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("PeopleService/RevokeRole", &asked.request_id, &asked, false);
        let name = form.text("sign_in_name", &asked.sign_in_name, 1..=200).to_lowercase();
        let grant = form.grant("grant", asked.grant.as_ref());
        form.done()?;
        let person =
            people::revoke(&self.records, &caller, &write, &name, &grant).await.map_err(status::from)?;
        Ok(Response::new(v1::RevokeRoleResponse { person: Some(encode::person(person)) }))
    }
}
