//! Each animal of these days: who it is, its weights as a chart, and how its welfare was graded.

use super::Contents;
use super::layout::{called, day, nothing, plain, table, text};
use crate::chart::Chart;
use crate::failure::Failure;
use crate::views::course::Course;
use crate::views::weight_chart::Weighed;
use crate::words::Word;
use holt_proto::v1;
use maud::{Markup, html};
use std::collections::BTreeMap;

/// An animal that was held at the close, or is known here by its readings alone.
struct One<'c> {
    name: String,
    accession: &'c str,
    held: Option<&'c v1::Animal>,
}

pub(super) fn part(all: &Contents) -> Result<Markup, Failure> {
    let animals = animals(all);
    if animals.is_empty() {
        return Ok(nothing("animal was held or weighed in these days"));
    }
    let mut parts = Vec::new();
    for (n, (id, one)) in animals.iter().enumerate() {
        parts.push(animal(all, n, id, one)?);
    }
    Ok(html! { @for part in &parts { (part) } })
}

/// Those held at the close by accession, then those that were weighed and had gone by then.
fn animals(all: &Contents) -> Vec<(&str, One<'_>)> {
    let mut animals: BTreeMap<&str, One<'_>> = BTreeMap::new();
    for animal in &all.animals {
        let name = called(&animal.house_name, &animal.accession);
        animals.insert(&animal.id, One { name, accession: &animal.accession, held: Some(animal) });
    }
    for (id, weights) in &all.weights {
        let Some(weight) = weights.first() else { continue };
        animals.entry(id).or_insert_with(|| One {
            name: called(&weight.house_name, &weight.accession),
            accession: &weight.accession,
            held: None,
        });
    }
    let mut animals: Vec<(&str, One<'_>)> = animals.into_iter().collect();
    animals.sort_by(|(id, one), (other_id, other)| {
        (one.held.is_none(), one.accession, id).cmp(&(other.held.is_none(), other.accession, other_id))
    });
    animals
}

fn animal(all: &Contents, n: usize, id: &str, one: &One<'_>) -> Result<Markup, Failure> {
    let chart = chart(all, id, &one.name);
    let figure = chart.as_ref().map(|chart| figure(n, chart)).transpose()?;
    Ok(html! {
        article.animal aria-labelledby={ "animal-" (n) } {
            h3 id={ "animal-" (n) } { (one.name) }
            p { (who(one)) }
            @if let Some(figure) = figure { (figure) } @else { p { "Not weighed in these days." } }
            @match all.courses.get(id) {
                Some(course) => (welfare(n, &one.name, course)),
                None => p { "Not assessed in these days." },
            }
        }
    })
}

fn who(one: &One<'_>) -> Markup {
    let Some(animal) = one.held else {
        return html! { "Not held at the close." };
    };
    let taxon = animal.taxon.clone().unwrap_or_default();
    let about = if animal.born_estimated { "about " } else { "" };
    html! {
        i { (taxon.scientific_name) } ", " (animal.sex().word())
        @if animal.born_on.is_some() { ", born " (about) (day(animal.born_on)) }
        @if animal.held_since.is_some() { ", held since " (day(animal.held_since)) }
        @if !animal.enclosure.is_empty() { ", in " (animal.enclosure) }
        "."
    }
}

fn chart(all: &Contents, id: &str, name: &str) -> Option<Chart> {
    let weights = all.weights.get(id)?;
    let concerns: Vec<v1::Concern> =
        all.concerns.iter().filter(|concern| concern.animal_id == id).cloned().collect();
    let weighed = Weighed {
        named: name,
        weights,
        concerns: &concerns,
        // What is expected next is asked as of now alone, and would make another page tomorrow.
        next: None,
        days: (Some(all.first), Some(all.last)),
        zones: &all.zones,
    };
    Some(weighed.chart())
}

fn figure(n: usize, chart: &Chart) -> Result<Markup, Failure> {
    let rows: Vec<Vec<Markup>> = chart
        .values()
        .into_iter()
        .map(|told| vec![text(told.when), text(told.what), text(told.value)])
        .collect();
    let values =
        table(&format!("values-{n}"), &format!("{}: values", chart.title), &["Time", "Kind", "Value"], &rows);
    let picture = chart.figure(&format!("chart-{n}"))?;
    Ok(html! {
        figure {
            (picture)
            figcaption {
                strong { (chart.title) "." } " " (chart.in_short())
                @if !chart.marks.is_empty() {
                    ol.marks { @for mark in &chart.marks { li { (mark.at.date()) ": " (mark.text) } } }
                }
            }
            details { summary { "The values as a table" } (values) }
        }
    })
}

fn welfare(n: usize, name: &str, course: &v1::GetWelfareCourseResponse) -> Markup {
    let course = Course::from(course.clone());
    let rows: Vec<Vec<Markup>> = course
        .lines()
        .into_iter()
        .map(|line| vec![text(plain(line.domain)), text(line.grades), text(line.change), text(line.since)])
        .collect();
    let columns = ["Domain", "Grades, the last at the end", "Change", "Poor since"];
    table(&format!("welfare-{n}"), &format!("{name}: welfare, domain by domain"), &columns, &rows)
}
