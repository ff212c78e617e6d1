//! The page stands by itself, can be read by everybody, and a name on it is text.

use super::{HOSTILE, auditor, closed, elements, made, park, parsed, text};
use std::collections::BTreeSet;

#[tokio::test]
async fn it_needs_nothing_else_and_a_name_is_text() {
    let audited = park().await;
    let html = made(&auditor(&audited), "one.html").await;
    let xml = closed(&html);
    let page = parsed(&xml);
    for name in ["script", "link", "img", "iframe", "object", "embed", "image", "use", "base", "form"] {
        assert!(elements(&page, name).is_empty(), "{name}");
    }
    for attribute in page.descendants().flat_map(|node| node.attributes()) {
        let (name, value) = (attribute.name(), attribute.value());
        assert!(
            !name.starts_with("on") && name != "src" && name != "srcset" && name != "style",
            "{name}={value}"
        );
        assert!(!name.ends_with("href") || value.starts_with('#'), "{name}={value}");
    }
    for style in elements(&page, "style") {
        let sheet = text(style);
        assert!(!sheet.contains("url(") && !sheet.contains("@import"), "{sheet}");
    }
    let headings: Vec<String> = elements(&page, "h3").into_iter().map(text).collect();
    assert!(headings.contains(&format!("{HOSTILE} (QUI-25-0001)")), "{headings:?}");
    assert!(html.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;Co&quot;"));
    audited.house.close().await;
}

#[tokio::test]
async fn it_is_read_in_order_and_by_ear() {
    let audited = park().await;
    let xml = closed(&made(&auditor(&audited), "one.html").await);
    let page = parsed(&xml);
    assert_eq!(page.root_element().attribute("lang"), Some("en"));
    for (name, count) in [("h1", 1), ("main", 1), ("header", 1), ("nav", 1), ("title", 1 + 3)] {
        assert_eq!(elements(&page, name).len(), count, "{name}");
    }
    let mut before = 0;
    for node in page.descendants() {
        let level = node.tag_name().name().strip_prefix('h').and_then(|level| level.parse::<u32>().ok());
        if let Some(level) = level {
            assert!(level <= before + 1, "{} after h{before}", text(node));
            before = level;
        }
    }
    for table in elements(&page, "table") {
        let has = |name: &str| table.descendants().any(|node| node.has_tag_name(name));
        assert!(has("caption") && has("thead"), "{}", text(table));
        let heads = table.descendants().filter(|node| node.has_tag_name("th"));
        assert!(heads.into_iter().all(|head| head.attribute("scope").is_some()), "{}", text(table));
    }
    let ids: Vec<&str> = page.descendants().filter_map(|node| node.attribute("id")).collect();
    let different: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), different.len(), "{ids:?}");
    let pointed = page.descendants().flat_map(|node| {
        let labels = node.attribute("aria-labelledby").unwrap_or_default().split_whitespace();
        labels.chain(node.attribute("href").map(|href| &href[1..])).collect::<Vec<_>>()
    });
    for id in pointed {
        assert!(different.contains(id), "{id}");
    }
    let first = elements(&page, "body")[0].children().find(roxmltree::Node::is_element).unwrap();
    assert_eq!((first.tag_name().name(), text(first).as_str()), ("a", "Skip to the summary"));
    for picture in elements(&page, "svg") {
        assert_eq!(picture.attribute("role"), Some("img"));
    }
    audited.house.close().await;
}
