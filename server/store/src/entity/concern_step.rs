//! Rows of `concern_steps`.

use crate::rows::Row;
use chrono::{DateTime, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "concern_steps")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub concern_id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub seq: i64,
    pub site_id: Uuid,
    pub step: String,
    pub level: String,
    pub seen: String,
    pub look_first: String,
    pub figures: Json,
    pub record_ids: Json,
    pub note: String,
    pub settled_as: Option<String>,
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
        format!("{}/{}", self.concern_id, self.seq)
    }
}
