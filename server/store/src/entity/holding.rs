//! Rows of `holdings`.

use crate::rows::Row;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "holdings")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub animal_id: Uuid,
    pub site_id: Uuid,
    pub began_at: DateTime<Utc>,
    pub began_on: NaiveDate,
    pub began_how: String,
    pub began_source: String,
    pub began_name: String,
    pub began_country: String,
    pub ended_at: Option<DateTime<Utc>>,
    pub ended_on: Option<NaiveDate>,
    pub ended_how: Option<String>,
    pub ended_source: String,
    pub ended_name: String,
    pub ended_country: String,
    pub transfer_in: Option<Uuid>,
    pub transfer_out: Option<Uuid>,
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
