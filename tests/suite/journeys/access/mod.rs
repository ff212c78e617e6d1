//! People come in: by password, by refresh token, by an outside issuer; and what they may do changes.

mod ended;
mod first_start;
mod grants;
mod logins;
mod outside;
mod passwords;
mod refresh;
mod scope;
mod throttle;
mod two_roles;

use holt_proto::v1;
use holt_tests::house::Client;
use holt_tests::{House, Person};
use tonic::Status;

/// A house with a steward and a park.
pub(super) struct Gate {
    pub(super) house: House,
    pub(super) steward: Person,
}

impl Gate {
    pub(super) async fn new() -> Self {
        Self::in_house(House::new().await).await
    }

    pub(super) async fn in_house(house: House) -> Self {
        house.quill().await;
        let steward = house.steward().await;
        Self { house, steward }
    }

    /// Adds somebody; answers their one-time password.
    pub(super) async fn add(&self, name: &str, grants: &[v1::Grant]) -> String {
        let person = v1::CreatePersonRequest {
            request_id: self.house.request(),
            name: name.to_owned(),
            sign_in_name: name.to_owned(),
            grants: grants.to_vec(),
        };
        let made = self.steward.client.people().create_person(person).await.unwrap().into_inner();
        made.one_time_password
    }

    /// Adds somebody who has changed their one-time password for [`PASSWORD`]; answers their tokens.
    pub(super) async fn settled(&self, name: &str, grants: &[v1::Grant]) -> v1::Tokens {
        let one_time = self.add(name, grants).await;
        let first = self.sign_in(name, &one_time).await.unwrap().tokens.unwrap();
        self.change(&first, &one_time, PASSWORD).await.unwrap()
    }

    pub(super) async fn sign_in(&self, name: &str, password: &str) -> Result<v1::SignInResponse, Status> {
        let request = v1::SignInRequest { sign_in_name: name.to_owned(), password: password.to_owned() };
        Ok(self.house.anonymous().people().sign_in(request).await?.into_inner())
    }

    pub(super) async fn renew(&self, refresh_token: &str) -> Result<v1::Tokens, Status> {
        let request = v1::RenewTokensRequest { refresh_token: refresh_token.to_owned() };
        Ok(self.house.anonymous().people().renew_tokens(request).await?.into_inner().tokens.unwrap())
    }

    pub(super) async fn change(
        &self,
        tokens: &v1::Tokens,
        current: &str,
        new: &str,
    ) -> Result<v1::Tokens, Status> {
        let request =
            v1::ChangePasswordRequest { current_password: current.to_owned(), new_password: new.to_owned() };
        Ok(self.client(tokens).people().change_password(request).await?.into_inner().tokens.unwrap())
    }

    pub(super) fn client(&self, tokens: &v1::Tokens) -> Client {
        self.house.with_token(&tokens.access_token)
    }

    /// The roles that a token names.
    pub(super) async fn roles(&self, tokens: &v1::Tokens) -> Result<Vec<v1::Grant>, Status> {
        let itself = self.client(tokens).people().get_self(v1::GetSelfRequest {}).await?;
        Ok(itself.into_inner().person.unwrap().grants)
    }

    pub(super) async fn grant(&self, name: &str, grant: &v1::Grant) -> Result<v1::Person, Status> {
        let request = v1::GrantRoleRequest {
            request_id: self.house.request(),
            sign_in_name: name.to_owned(),
            grant: Some(grant.clone()),
        };
        Ok(self.steward.client.people().grant_role(request).await?.into_inner().person.unwrap())
    }
}

pub(super) const PASSWORD: &str = "four otters in a row";

pub(super) fn at(role: v1::Role, site: &str) -> v1::Grant {
    v1::Grant { role: role.into(), site: site.to_owned(), every_site: false }
}

pub(super) fn everywhere(role: v1::Role) -> v1::Grant {
    v1::Grant { role: role.into(), site: String::new(), every_site: true }
}
