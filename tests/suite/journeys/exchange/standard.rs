//! The archive keeps to the standard: its terms are those that are published, and its metafile says what is there.
//!
//! Sources: the list of Darwin Core terms in `tests/external/tables/darwin_core_terms.csv`; the Darwin Core text
//! guide, <http://rs.tdwg.org/dwc/terms/guides/text/>, sections 2.1 to 2.4.

use super::Books;
use std::collections::BTreeSet;

const TERMS: &str = include_str!("../../../external/tables/darwin_core_terms.csv");
const CLASSES: [&str; 4] = ["Occurrence", "MeasurementOrFact", "ResourceRelationship", "Event"];

/// The values of an attribute, in order.
fn values<'x>(xml: &'x str, attribute: &str) -> Vec<&'x str> {
    let start = format!("{attribute}=\"");
    xml.split(start.as_str()).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

#[tokio::test]
async fn every_term_is_one_that_is_published_and_every_column_is_told() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    books.desk.done("holt exchange export ~/archive").await;
    let published: BTreeSet<&str> = TERMS.lines().filter(|line| !line.starts_with('#')).skip(1).collect();
    assert_eq!(published.len(), 216);
    let folder = books.desk.path("archive");
    let meta = std::fs::read_to_string(folder.join("meta.xml")).unwrap();
    assert!(meta.contains("xmlns=\"http://rs.tdwg.org/dwc/text/\""));
    let entities: Vec<&str> = meta.split("rowType").skip(1).collect();
    assert_eq!((entities.len(), meta.matches("<core ").count()), (4, 1));
    for (entity, class) in entities.into_iter().zip(CLASSES) {
        let entity = format!("rowType{entity}");
        assert_eq!(values(&entity, "rowType"), [format!("http://rs.tdwg.org/dwc/terms/{class}")]);
        let file = entity.split("<location>").nth(1).and_then(|rest| rest.split('<').next()).unwrap();
        let content = std::fs::read_to_string(folder.join(file)).unwrap();
        let header: Vec<&str> = content.lines().next().unwrap().split(',').collect();
        let terms = values(&entity, "term");
        let indices: Vec<usize> =
            values(&entity, "index").into_iter().map(|index| index.parse().unwrap()).collect();
        // The first index is that of the key; the others are those of the terms, in order.
        assert_eq!(indices[0], 0, "{file}");
        for (index, term) in indices[1..].iter().zip(&terms) {
            let name = term.strip_prefix("http://rs.tdwg.org/dwc/terms/").unwrap();
            assert!(published.contains(name), "{name}");
            assert_eq!(header[*index], name, "{file}");
        }
        let told: BTreeSet<usize> = indices.iter().copied().collect();
        assert_eq!(told, (0..header.len()).collect(), "every column of {file} is told");
    }
    books.house.close().await;
}
