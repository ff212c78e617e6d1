//! People: stewards give roles and take them.

use crate::journeys::histories::player::Player;
use holt_proto::v1;
use holt_server::model::person::Role;
use tonic::Status;

impl Player {
    /// Gives the guest a role at a site, or takes it.
    pub(super) async fn people(&mut self) -> Result<(), Status> {
        let site = self.some_site();
        let who = self.who(&[Role::Steward], site);
        let grant = v1::Grant {
            role: [v1::Role::Auditor, v1::Role::Veterinary][self.chance.below(2)].into(),
            site: self.code(site),
            every_site: false,
        };
        let (request_id, sign_in_name) = (self.request(), self.stage.guest().part.name.clone());
        if self.one_in(2) {
            let revoke = v1::RevokeRoleRequest { request_id, sign_in_name, grant: Some(grant) };
            return self.ask(&who, revoke).await.map(drop);
        }
        let give = v1::GrantRoleRequest { request_id, sign_in_name, grant: Some(grant) };
        self.ask(&who, give).await.map(drop)
    }
}
