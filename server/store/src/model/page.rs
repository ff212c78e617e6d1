//! Pages of lists, by key and not by number: a page stays right while rows are added.

/// Which page is wanted. The key is that of the last entry of the page before.
#[derive(Clone, Debug, Default)]
pub struct Page {
    /// Most entries, 1 to 1000.
    pub size: u32,
    /// Key of the last entry before this page.
    pub after: Option<String>,
}

/// One page of a list.
#[derive(Clone, Debug)]
pub struct Slice<T> {
    /// The entries.
    pub entries: Vec<T>,
    /// Key of the last one, where more follow.
    pub next: Option<String>,
}

impl<T> Slice<T> {
    /// Cuts a list that was read with one entry more than wanted.
    #[must_use]
    pub fn cut(mut entries: Vec<T>, page: &Page, key: impl Fn(&T) -> String) -> Self {
        let size = page.size as usize;
        let more = entries.len() > size;
        entries.truncate(size);
        let next = if more { entries.last().map(key) } else { None };
        Self { entries, next }
    }
}
