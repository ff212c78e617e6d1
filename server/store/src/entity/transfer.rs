//! Rows of `transfers`.

use crate::rows::Row;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "transfers")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub animal_id: Uuid,
    pub from_site_id: Uuid,
    pub to_site_id: Uuid,
    pub taxon_id: Uuid,
    pub from_number: String,
    pub house_name: String,
    pub sex: String,
    pub born_first: Option<NaiveDate>,
    pub born_last: Option<NaiveDate>,
    pub terms: String,
    pub loan_until: Option<NaiveDate>,
    pub planned_on: Option<NaiveDate>,
    pub why: String,
    pub state: String,
    pub withheld_by: Option<Uuid>,
    pub version: i64,
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
        self.id.to_string()
    }
}
