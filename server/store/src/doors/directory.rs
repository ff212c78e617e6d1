//! Sites by code and by identifier, as kept in memory.

use super::{Store, itself};
use crate::error::Error;
use crate::model::site::Site;
use crate::sites;
use std::sync::PoisonError;
use uuid::Uuid;

impl Store {
    /// The site of a code.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn site(&self, code: &str) -> Result<Option<Site>, Error> {
        if let Some(site) = self.known(code) {
            return Ok(Some(site));
        }
        self.sites().await?;
        Ok(self.known(code))
    }

    /// All sites by code.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn sites(&self) -> Result<Vec<Site>, Error> {
        let snapshot = self.read(&itself(), None).await?;
        let mut all = sites::all(&snapshot).await?;
        all.sort_by(|a, b| a.code.cmp(&b.code));
        let mut directory = self.directory.write().unwrap_or_else(PoisonError::into_inner);
        *directory = all.iter().map(|site| (site.code.clone(), site.clone())).collect();
        Ok(all)
    }

    /// The site of an identifier.
    ///
    /// # Errors
    /// [`Error::Lost`] where the database is away.
    pub async fn site_of(&self, id: Uuid) -> Result<Option<Site>, Error> {
        let known = || {
            let directory = self.directory.read().unwrap_or_else(PoisonError::into_inner);
            directory.values().find(|site| site.id == id).cloned()
        };
        if let Some(site) = known() {
            return Ok(Some(site));
        }
        self.sites().await?;
        Ok(known())
    }

    fn known(&self, code: &str) -> Option<Site> {
        self.directory.read().unwrap_or_else(PoisonError::into_inner).get(code).cloned()
    }
}
