//! What vouches for the records, how to check it, and what a page is not.

use super::Contents;
use super::layout::time;
use crate::proof;
use chrono::SecondsFormat;
use maud::{Markup, html};

/// `12, over 1,001 entries` in a few words.
pub(super) fn short(all: &Contents) -> Markup {
    match &all.seal {
        Some(seal) => html! { (seal.sequence) small { ", over " (seal.size) " entries" } },
        None => html! { "not shown" },
    }
}

pub(super) fn part(all: &Contents) -> Markup {
    html! {
        h3 { "The seal" }
        @match all.seal.clone().map(|seal| proof::link(Some(seal))) {
            Some(Ok(link)) => {
                p {
                    "Holt puts each entry of its ledger under a seal, and each seal continues the one \
                     before. The newest \
                     seal when this was known is number " (link.sequence) ", over " (link.seal.size) " entries, made at "
                    (time(link.sealed_at, all.zone)) ". Later seals cover what was recorded later."
                }
                pre tabindex="0" role="region" aria-label="The seal as it is printed" { (link) }
                h4 { "How to check it" }
                ol {
                    li { "Save the seal above as a file, exactly as it stands, such as " code { "seal.txt" } "." }
                    li {
                        "As an auditor of all sites: " code { "holt ledger verify --all-sites --against \
                         seal.txt" }
                        ". Holt compares every record with the ledger, and shows that the seals of today \
                         continue this one."
                    }
                    li { "One record: " code { "holt ledger prove ANIMAL RECORD" } " proves that it is \
                        under a seal." }
                    li { "This page: ask for it again, and compare the files byte by byte. " code { (command(all)) } }
                }
            },
            Some(Err(failure)) => p { "The seal cannot be read: " (failure.say) },
            None => {
                p {
                    "This page shows no seal: there is none yet, or whoever made the page may not see \
                     seals. An auditor or a steward may."
                }
                p { "With the same rights, this command gives the same page byte by byte: " code { (command(all)) } }
            },
        }
        h3 { "Cautions" }
        ul { @for caution in &all.cautions { li { (caution) } } }
        p {
            "This page shows what was recorded. What is expected of a weight at each time, findings of an \
             inspection, \
             and what changed since an earlier page are not on it."
        }
    }
}

/// The command that makes this page again.
fn command(all: &Contents) -> String {
    // As they were named: a version that is named is another question than the one by which the site works.
    let standards = all.named.iter().map(|(code, version)| match version {
        0 => format!(" --standard {code}"),
        version => format!(" --standard {code}@{version}"),
    });
    format!(
        "holt report page --site {} --from {} --to {}{} --as-known-at {} --out FILE",
        all.site,
        all.first,
        all.last,
        standards.collect::<String>(),
        all.known_at.to_rfc3339_opts(SecondsFormat::Micros, true)
    )
}
