//! Rows of `loans`.

use crate::rows::Row;
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::entity::prelude::*;
use serde::Serialize;

#[derive(Clone, Debug, PartialEq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "loans")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    #[sea_orm(primary_key, auto_increment = false)]
    pub animal_id: Uuid,
    pub site_id: Uuid,
    pub loan_id: Uuid,
    pub lender_site_id: Option<Uuid>,
    pub lender_name: String,
    pub borrower_site_id: Option<Uuid>,
    pub borrower_name: String,
    pub began_at: DateTime<Utc>,
    pub began_on: NaiveDate,
    pub until_on: Option<NaiveDate>,
    pub terms: String,
    pub transfer_id: Option<Uuid>,
    pub ended_at: Option<DateTime<Utc>>,
    pub ended_on: Option<NaiveDate>,
    pub ended_how: Option<String>,
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
