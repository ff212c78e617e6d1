//! Rows of `checks`.

use crate::rows::Row;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "checks")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub site_id: Uuid,
    pub check_id: Uuid,
    pub duty: String,
    pub animal_id: Option<Uuid>,
    pub taxon_id: Option<Uuid>,
    pub enclosure_id: Option<Uuid>,
    pub group_id: Option<Uuid>,
    pub recurrence: String,
    pub starts_on: NaiveDate,
    pub ends_on: Option<NaiveDate>,
    pub grace_days: i32,
    pub by_whom: String,
    pub note: String,
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
