//! Archives of Darwin Core: whole lives as CSV with terms of the standard, and a metafile that says which column is
//! which term.
//!
//! Source: Darwin Core text guide, <http://rs.tdwg.org/dwc/terms/guides/text/>; terms as listed at
//! <https://dwc.tdwg.org/list/>. What each file holds is ours, for the standard leaves it open:
//!
//! - `occurrence.csv`, the core: a row for each stay of an animal at the site, with what the animal is called. The
//!   `organismID` is the identifier that it has in Holt, `urn:uuid:…`, so that it is known again wherever it is
//!   taken in; `catalogNumber` is its accession. `eventDate` is from the first day of the stay to the last; one
//!   that lasts has its first day alone.
//! - `measurement.csv`, MeasurementOrFact: masses, and as facts the day of birth, the sex since when, how a stay
//!   began and ended, and marks with their time.
//! - `relationship.csv`, ResourceRelationship: dam and possible sires.
//! - `event.csv`, Event: where it lived and when; `locality` is the enclosure, `habitat` whether it is indoors.
//!
//! An occurrence is the core, and not an organism, because it is a core that readers know. Numbers that a site of
//! an archive keeps for others are not in it: times of recording, people, concerns, assessments, transfers step by
//! step. Fields are written as they are: the archive is for programs.

pub(crate) mod meta;
mod notation;
pub(crate) mod read;
pub(crate) mod write;

/// Where the terms live.
const TERMS: &str = "http://rs.tdwg.org/dwc/terms/";

/// A file of an archive.
pub(crate) struct Table {
    pub(crate) file: &'static str,
    /// The class of its rows.
    class: &'static str,
    /// Its columns, by term; the first is the identifier of the core.
    columns: &'static [&'static str],
}

pub(crate) const OCCURRENCES: Table = Table {
    file: "occurrence.csv",
    class: "Occurrence",
    columns: &[
        "occurrenceID",
        "basisOfRecord",
        "occurrenceStatus",
        "organismID",
        "organismName",
        "organismScope",
        "institutionCode",
        "ownerInstitutionCode",
        "catalogNumber",
        "otherCatalogNumbers",
        "scientificName",
        "vernacularName",
        "sex",
        "vitality",
        "eventDate",
    ],
};

pub(crate) const MEASUREMENTS: Table = Table {
    file: "measurement.csv",
    class: "MeasurementOrFact",
    columns: &[
        "occurrenceID",
        "measurementID",
        "measurementType",
        "measurementValue",
        "measurementAccuracy",
        "measurementUnit",
        "measurementDeterminedDate",
        "measurementMethod",
        "measurementRemarks",
    ],
};

pub(crate) const RELATIONSHIPS: Table = Table {
    file: "relationship.csv",
    class: "ResourceRelationship",
    columns: &[
        "occurrenceID",
        "resourceRelationshipID",
        "resourceID",
        "relatedResourceID",
        "relationshipOfResource",
        "relationshipRemarks",
    ],
};

pub(crate) const EVENTS: Table = Table {
    file: "event.csv",
    class: "Event",
    columns: &["occurrenceID", "eventID", "eventDate", "locality", "habitat"],
};

/// What a row of `measurement.csv` is about.
mod kind {
    pub(super) const BORN: &str = "born";
    pub(super) const SEX: &str = "sex";
    pub(super) const COMING: &str = "coming";
    pub(super) const LEAVING: &str = "leaving";
    /// Followed by the kind of mark.
    pub(super) const MARK: &str = "mark: ";
    pub(super) const MASS: &str = "body mass";
    /// A mass that was set aside until a second weighing agrees with it.
    pub(super) const DOUBTFUL: &str = "body mass, set aside";
    /// The animal was offered the scale and would not come.
    pub(super) const TRIED: &str = "weighing declined";
}

/// What `relationshipOfResource` says of a parent.
const DAM: &str = "offspring of dam";
const SIRE: &str = "offspring of possible sire";

/// How a stay began that began with a birth, and how one ended that ended with a death.
const BIRTH: &str = "birth";
const DEATH: &str = "death";

/// How an identifier of Holt's is written.
const URN: &str = "urn:uuid:";
