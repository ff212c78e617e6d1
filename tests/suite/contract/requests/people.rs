//! Requests about people, signing in and sites.

use super::*;

impl Stage {
    pub(super) async fn guest(&self) -> v1::SignInRequest {
        let made = self.guest.get_or_init(async || {
            let made = self.create_person("guest");
            let made = self.steward.client.people().create_person(made).await.unwrap().into_inner();
            v1::SignInRequest { sign_in_name: "guest".to_owned(), password: made.one_time_password }
        });
        made.await.clone()
    }

    pub(super) async fn sign_in(&self) -> v1::SignInResponse {
        self.house.anonymous().people().sign_in(self.guest().await).await.unwrap().into_inner()
    }

    /// The access token of somebody whose password is a one-time one, with every role there is.
    pub(in crate::contract) async fn one_time_token(&self) -> String {
        let signed_in = self.sign_in().await;
        assert!(signed_in.must_change_password);
        signed_in.tokens.unwrap().access_token
    }

    pub(super) fn create_person(&self, name: &str) -> v1::CreatePersonRequest {
        v1::CreatePersonRequest {
            request_id: self.house.request(),
            name: name.to_owned(),
            sign_in_name: name.to_owned(),
            grants: vec![grant(v1::Role::Keeper)],
        }
    }

    pub(super) async fn of_people(&self, call: &str) -> Option<Vec<u8>> {
        let granted = async || {
            let name = format!("person-{}", self.word());
            self.house.person(&name, &[(Role::Keeper, Some(HOME))]).await;
            name
        };
        let (request_id, grant) = (self.house.request(), grant(v1::Role::Auditor));
        Some(match call {
            "SignIn" => self.guest().await.encode_to_vec(),
            "RenewTokens" | "SignOut" => {
                let refresh_token = self.sign_in().await.tokens.unwrap().refresh_token;
                v1::RenewTokensRequest { refresh_token }.encode_to_vec()
            }
            "ChangePassword" => v1::ChangePasswordRequest {
                current_password: "not the one in force".to_owned(),
                new_password: "four words in a row".to_owned(),
            }
            .encode_to_vec(),
            "GetSelf" => v1::GetSelfRequest {}.encode_to_vec(),
            "CreatePerson" => self.create_person(&format!("person-{}", self.word())).encode_to_vec(),
            "ResetPassword" => {
                let sign_in_name = granted().await;
                v1::ResetPasswordRequest { request_id, sign_in_name }.encode_to_vec()
            }
            "ListPeople" => {
                v1::ListPeopleRequest { site: HOME.to_owned(), ..Default::default() }.encode_to_vec()
            }
            "GrantRole" => {
                let sign_in_name = granted().await;
                v1::GrantRoleRequest { request_id, sign_in_name, grant: Some(grant) }.encode_to_vec()
            }
            "RevokeRole" => {
                let sign_in_name = granted().await;
                let grant = Some(self::grant(v1::Role::Keeper));
                v1::RevokeRoleRequest { request_id, sign_in_name, grant }.encode_to_vec()
            }
            _ => return None,
        })
    }

    pub(super) fn of_sites(&self, call: &str) -> Option<Vec<u8>> {
        let request_id = self.house.request();
        Some(match call {
            "CreateSite" => v1::CreateSiteRequest {
                request_id,
                code: self.word().to_uppercase(),
                name: "A new park".to_owned(),
                time_zone: "UTC".to_owned(),
                ..Default::default()
            }
            .encode_to_vec(),
            "GetSite" => v1::GetSiteRequest { code: HOME.to_owned() }.encode_to_vec(),
            "ListSites" => v1::ListSitesRequest {}.encode_to_vec(),
            "CreateEnclosure" => v1::CreateEnclosureRequest {
                request_id,
                site: HOME.to_owned(),
                name: self.word(),
                kind: v1::EnclosureKind::Outdoor.into(),
                capacity: 0,
            }
            .encode_to_vec(),
            "ListEnclosures" => v1::ListEnclosuresRequest { site: HOME.to_owned() }.encode_to_vec(),
            _ => return None,
        })
    }
}
