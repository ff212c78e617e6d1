//! Rows of `transfer_steps`.

use crate::rows::Row;
use chrono::{DateTime, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "transfer_steps")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub transfer_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub seq: i32,
    pub step: String,
    pub state: String,
    pub site_id: Uuid,
    pub happened_at: DateTime<Utc>,
    pub day_only: bool,
    pub note: String,
    pub to_number: String,
    pub recorded_at: DateTime<Utc>,
    pub recorded_by: Uuid,
    pub request_id: Uuid,
}

#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}

impl Row for Model {
    type Table = Entity;

    fn key(&self) -> String {
        format!("{}/{}", self.transfer_id, self.seq)
    }
}
