//! Reading rows that may say nothing: a page is there without them, and names them.

use crate::doors::Snapshot;
use crate::error::Error;
use crate::model::unreadable::Unreadable;
use uuid::Uuid;

impl Snapshot {
    /// Reads rows into what they mean. On a page, one that means nothing is left out and named beside the answer; a
    /// write does not go on without it.
    pub(super) fn legible<R, T>(
        &self,
        kind: &'static str,
        rows: Vec<R>,
        id: impl Fn(&R) -> Uuid,
        mut read: impl FnMut(R) -> Result<T, Error>,
    ) -> Result<Vec<T>, Error> {
        let mut all = Vec::with_capacity(rows.len());
        for row in rows {
            let id = id(&row);
            match read(row) {
                Ok(one) => all.push(one),
                Err(error @ Error::Corrupt { .. }) => self.cannot_read(kind, id, error)?,
                Err(other) => return Err(other),
            }
        }
        Ok(all)
    }

    /// Notes a record that is left out of a page; an error in a write.
    ///
    /// # Errors
    /// The error itself, where nothing may be left out.
    pub fn cannot_read(&self, kind: &'static str, id: Uuid, error: Error) -> Result<(), Error> {
        let Some(unreadable) = &self.unreadable else { return Err(error) };
        unreadable.note(Unreadable { kind, id, say: error.to_string() });
        Ok(())
    }
}
