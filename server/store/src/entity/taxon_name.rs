//! Rows of `taxon_names`.

use crate::rows::Row;
use chrono::{DateTime, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "taxon_names")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub taxon_id: Uuid,
    pub scientific_name: String,
    pub accepted: bool,
    pub until_year: Option<i32>,
    pub source: String,
    pub common_name: String,
    pub cites_appendix: String,
    pub breeds_from_days: Option<i32>,
    pub carries_up_to_days: Option<i32>,
    pub recorded_at: DateTime<Utc>,
    pub recorded_by: Uuid,
    pub request_id: Uuid,
    pub superseded_at: Option<DateTime<Utc>>,
    pub superseded_in: Option<Uuid>,
    pub superseded_why: Option<String>,
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
