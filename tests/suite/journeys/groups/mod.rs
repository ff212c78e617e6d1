//! A group is made, joined and left, moves house as one, and is shown as of any day.

mod day;
mod ends;
mod members;
mod moving;
mod roll;

use crate::journeys::registration::Books;
use holt_proto::v1;
use tonic::Status;

/// The registrar's books, with a pair of otters, a lone one, and a group without members.
pub(super) async fn family() -> Books {
    let books = crate::journeys::litters::pair().await;
    books.arrived(books.arrival("Sedge", "2025-03-01")).await.unwrap();
    books.group("Weir family").await.unwrap();
    books
}

impl Books {
    pub(super) async fn group(&self, name: &str) -> Result<v1::Group, Status> {
        let create = v1::CreateGroupRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            name: name.to_owned(),
            note: String::new(),
        };
        Ok(self.park.keeper.client.groups().create_group(create).await?.into_inner().group.unwrap())
    }

    /// Animals that join the Weir family now, to be sent or changed first.
    pub(super) fn joining(&self, animals: &[&str], role: v1::GroupRole) -> v1::JoinGroupRequest {
        v1::JoinGroupRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            group: "Weir family".to_owned(),
            animals: animals.iter().map(|&animal| animal.to_owned()).collect(),
            role: role.into(),
            joined_at: None,
        }
    }

    pub(super) async fn joined(&self, join: v1::JoinGroupRequest) -> Result<v1::JoinGroupResponse, Status> {
        Ok(self.park.keeper.client.groups().join_group(join).await?.into_inner())
    }

    /// Animals that leave the Weir family now, to be sent or changed first.
    pub(super) fn leaving(&self, animals: &[&str]) -> v1::LeaveGroupRequest {
        v1::LeaveGroupRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            group: "Weir family".to_owned(),
            animals: animals.iter().map(|&animal| animal.to_owned()).collect(),
            left_at: None,
            why: "driven out".to_owned(),
        }
    }

    pub(super) async fn left_group(&self, leave: v1::LeaveGroupRequest) -> Result<v1::Group, Status> {
        Ok(self.park.keeper.client.groups().leave_group(leave).await?.into_inner().group.unwrap())
    }

    /// The Weir family as of a day, today where none is given.
    pub(super) async fn roll(&self, as_of: Option<&str>) -> v1::GetGroupResponse {
        let get = v1::GetGroupRequest {
            site: "QUI".to_owned(),
            group: "weir FAMILY".to_owned(),
            as_of: as_of.map(|day| day.parse().unwrap()),
            as_known_at: None,
        };
        self.park.auditor.client.groups().get_group(get).await.unwrap().into_inner()
    }
}

/// Who is in it, in which role.
pub(super) fn names(roll: &v1::GetGroupResponse) -> Vec<(String, v1::GroupRole)> {
    let members = roll.members.iter();
    members.map(|member| (member.animal.as_ref().unwrap().house_name.clone(), member.role())).collect()
}
