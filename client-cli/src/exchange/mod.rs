//! Exchange with other books: what a spreadsheet or an archive of Darwin Core says of each animal, and where it
//! says so.

pub(crate) mod mapping;
pub(crate) mod send;
pub(crate) mod spreadsheet;

use holt_proto::v1;

/// Where something was written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Place {
    /// Name of the file, where there are several.
    pub(crate) file: &'static str,
    /// Its row, as a spreadsheet counts, the header being row 1.
    pub(crate) row: Option<u64>,
    pub(crate) column: String,
}

/// One thing that is wrong with what was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Fault {
    pub(crate) place: Place,
    pub(crate) say: String,
    pub(crate) mend: String,
}

/// An animal as it was written: what could be read of it, and what could not.
#[derive(Clone, Debug, Default)]
pub(crate) struct Entry {
    /// What it is called there.
    pub(crate) name: String,
    /// Where it stands.
    pub(crate) place: Place,
    pub(crate) life: v1::Life,
    pub(crate) faults: Vec<Fault>,
    /// Where each field of the life was written, by the beginning of its path.
    places: Vec<(String, Place)>,
}

impl Entry {
    /// An animal of which nothing is read yet.
    pub(crate) fn at(name: &str, place: Place) -> Self {
        Self { name: name.to_owned(), place, ..Self::default() }
    }

    /// Notes where a field was written.
    pub(crate) fn note(&mut self, path: impl Into<String>, place: Place) {
        self.places.push((path.into(), place));
    }

    /// Where the field of a path was written: the longest beginning that is known; the animal's own place where
    /// none is.
    pub(crate) fn place_of(&self, path: &str) -> Place {
        let known = self.places.iter().filter(|(known, _)| path.starts_with(known.as_str()));
        let nearest = known.max_by_key(|(known, _)| known.len());
        nearest.map_or_else(
            || Place { column: path.to_owned(), ..self.place.clone() },
            |(_, place)| place.clone(),
        )
    }

    pub(crate) fn wrong(&mut self, place: Place, say: impl Into<String>, mend: impl Into<String>) {
        self.faults.push(Fault { place, say: say.into(), mend: mend.into() });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_is_led_back_to_where_it_was_written() {
        let place = |column: &str| Place { row: Some(7), column: column.to_owned(), ..Place::default() };
        let mut entry = Entry { place: place(""), ..Entry::default() };
        entry.note("stays[0]", place("Acquired"));
        entry.note("stays[0].source", place("Origin"));
        assert_eq!(entry.place_of("stays[0].began_on"), place("Acquired"));
        assert_eq!(entry.place_of("stays[0].source_name"), place("Origin"));
        assert_eq!(entry.place_of("owner"), place("owner"));
    }
}
