//! Requests about groups.

use super::*;

impl Stage {
    /// A group with a member: its name, and the member.
    pub(super) async fn group(&self) -> (String, String) {
        let (group, animal) = (format!("Group {}", self.word()), self.otter(&self.home).await);
        let mut groups = self.home.keeper.client.groups();
        groups.create_group(self.create_group(&group)).await.unwrap();
        groups.join_group(self.join_group(&group, &animal)).await.unwrap();
        (group, animal)
    }

    pub(super) fn create_group(&self, name: &str) -> v1::CreateGroupRequest {
        v1::CreateGroupRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            name: name.to_owned(),
            note: String::new(),
        }
    }

    pub(super) fn join_group(&self, group: &str, animal: &str) -> v1::JoinGroupRequest {
        v1::JoinGroupRequest {
            request_id: self.house.request(),
            site: HOME.to_owned(),
            group: group.to_owned(),
            animals: vec![animal.to_owned()],
            role: v1::GroupRole::Member.into(),
            joined_at: None,
        }
    }

    pub(super) async fn of_groups(&self, call: &str) -> Option<Vec<u8>> {
        let (request_id, site) = (self.house.request(), HOME.to_owned());
        Some(match call {
            "CreateGroup" => self.create_group(&format!("Group {}", self.word())).encode_to_vec(),
            "JoinGroup" => {
                let (group, _) = self.group().await;
                self.join_group(&group, &self.otter(&self.home).await).encode_to_vec()
            }
            "LeaveGroup" => {
                let (group, animal) = self.group().await;
                let (animals, why) = (vec![animal], "driven out".to_owned());
                v1::LeaveGroupRequest { request_id, site, group, animals, left_at: None, why }.encode_to_vec()
            }
            "MoveGroup" => {
                let (group, enclosure) = (self.group().await.0, "Weir".to_owned());
                v1::MoveGroupRequest { request_id, site, group, enclosure, moved_at: None }.encode_to_vec()
            }
            "GetGroup" => {
                let (group, _) = self.group().await;
                v1::GetGroupRequest { site, group, ..Default::default() }.encode_to_vec()
            }
            "ListGroups" => v1::ListGroupsRequest { site, ..Default::default() }.encode_to_vec(),
            _ => return None,
        })
    }
}
