//! Rows of `feeds`.

use crate::rows::Row;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "feeds")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub feed_id: Uuid,
    pub site_id: Uuid,
    pub group_id: Option<Uuid>,
    pub animal_id: Option<Uuid>,
    pub food_id: Uuid,
    pub given_at: DateTime<Utc>,
    pub given_on: NaiveDate,
    pub given_mg: i64,
    pub left_mg: Option<i64>,
    pub lasted_minutes: Option<i32>,
    pub method: String,
    pub as_enrichment: bool,
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
