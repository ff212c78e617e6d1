//! Rows of `standards`.

use crate::rows::Row;
use chrono::{DateTime, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "standards")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub code: String,
    pub version: i32,
    pub content: Json,
    pub recorded_at: DateTime<Utc>,
    pub recorded_by: Uuid,
    pub request_id: Uuid,
    pub site_id: Option<Uuid>,
}

#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}

impl Row for Model {
    type Table = Entity;

    fn key(&self) -> String {
        self.id.to_string()
    }
}
