//! Rows of `weights`.

use crate::rows::Row;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "weights")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub animal_id: Uuid,
    pub site_id: Uuid,
    pub weighed_at: DateTime<Utc>,
    pub weighed_on: NaiveDate,
    pub day_only: bool,
    pub mass_mg: Option<i64>,
    pub tried: bool,
    pub doubtful: bool,
    pub accepted: bool,
    pub scale: String,
    pub method: String,
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
