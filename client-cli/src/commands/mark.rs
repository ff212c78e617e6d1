//! `holt mark`

use super::when;
use crate::errand::{Errand, Outcome, id_part, nothing_of, the_one};
use crate::failure::Failure;
use crate::moment::WhenWord;
use crate::session::{Session, request_id};
use crate::views::Told;
use crate::views::mark::Mark as View;
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Marks: transponders, rings, names and what else identifies an animal
#[derive(Args, Debug)]
pub(crate) struct Mark {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Record that a mark was put on an animal, or seen on it
    #[command(after_help = "\
Examples:
  holt mark apply Bramble transponder 985112000123456 --place shoulder
  holt mark apply QUI-26-0003 house-name Pip")]
    Apply {
        /// The animal
        animal: String,
        /// Kind of mark
        #[arg(value_parser = words::parser::<v1::MarkKind>())]
        kind: v1::MarkKind,
        /// The code, name or description
        code: String,
        /// Where on the body
        #[arg(long, value_name = "TEXT")]
        place: Option<String>,
        /// When it was put on or first seen [default: now]
        #[arg(long, value_name = "TIME")]
        at: Option<WhenWord>,
    },
    /// Record that a mark was replaced by another of its kind
    #[command(after_help = "\
Examples:
  holt mark replace Bramble 985112000123456 985112000777001 --because worn
  holt mark replace Bramble Q-17 Q-31 --because lost --place \"left leg\"")]
    Replace {
        /// The animal
        animal: String,
        /// The mark that ends: its code, or its id as `holt animal show` shows it
        mark: String,
        /// The code of the mark that takes its place
        code: String,
        /// Why the old one ended: lost, worn, replaced
        #[arg(long, value_name = "TEXT")]
        because: String,
        /// Where on the body the new one is [default: where the old one was]
        #[arg(long, value_name = "TEXT")]
        place: Option<String>,
        /// When it was replaced [default: now]
        #[arg(long, value_name = "TIME")]
        at: Option<WhenWord>,
    },
    /// Record that a mark is no longer there
    #[command(after_help = "\
Examples:
  holt mark end Bramble 985112000123456 --because \"unreadable\"
  holt mark end Bramble 0000002a --because \"ring lost\"")]
    End {
        /// The animal
        animal: String,
        /// The mark: its code, or its id as `holt animal show` shows it
        mark: String,
        /// Why it ended: lost, removed, unreadable, replaced
        #[arg(long, value_name = "TEXT")]
        because: String,
        /// When it was lost, removed or found unreadable [default: now]
        #[arg(long, value_name = "TIME")]
        at: Option<WhenWord>,
    },
}

impl Mark {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        match self.what {
            What::Apply { animal, kind, code, place, at } => {
                let mark = v1::NewMark { kind: kind.into(), code, place_on_body: place.unwrap_or_default() };
                let ask = v1::ApplyMarkRequest {
                    request_id: request_id(),
                    site,
                    animal: animal.clone(),
                    mark: Some(mark),
                    applied_at: when::instant(at, zone, session.now())?,
                };
                let thing = View::new(session.ask(ask).await?.mark.unwrap_or_default(), zone);
                let say = format!("{animal} is marked: {}.", thing.spoken());
                errand.show(&Told { thing, say })
            }
            What::End { animal, mark, because, at } => {
                let found = meant(session, &site, &animal, &mark).await?;
                let ask = v1::EndMarkRequest {
                    request_id: request_id(),
                    site,
                    animal: animal.clone(),
                    mark_id: found.id,
                    ended_at: when::instant(at, zone, session.now())?,
                    why: because,
                };
                let thing = View::new(session.ask(ask).await?.mark.unwrap_or_default(), zone);
                let say = format!("{animal} no longer has this mark: {}.", thing.spoken());
                errand.show(&Told { thing, say })
            }
            What::Replace { animal, mark, code, because, place, at } => {
                let old = meant(session, &site, &animal, &mark).await?;
                let place_on_body = place.unwrap_or_else(|| old.place_on_body.clone());
                let ask = v1::ReplaceMarkRequest {
                    request_id: request_id(),
                    site,
                    animal: animal.clone(),
                    mark_id: old.id,
                    mark: Some(v1::NewMark { kind: old.kind, code, place_on_body }),
                    replaced_at: when::instant(at, zone, session.now())?,
                    why: because,
                };
                let answer = session.ask(ask).await?;
                let ended = View::new(answer.ended.unwrap_or_default(), zone);
                let thing = View::new(answer.began.unwrap_or_default(), zone);
                let say = format!("{animal} is marked: {}, which replaces {}.", thing.spoken(), ended.code);
                errand.show(&Told { thing, say })
            }
        }
    }
}

/// The mark of an animal that is meant: by its code, or by a part of its id.
async fn meant(session: &Session, site: &str, animal: &str, mark: &str) -> Result<v1::Mark, Failure> {
    let look =
        v1::GetAnimalRequest { site: site.to_owned(), animal: animal.to_owned(), ..Default::default() };
    let marks = session.ask(look).await?.animal.unwrap_or_default().marks;
    let by_code = marks.iter().find(|each| each.code.eq_ignore_ascii_case(mark));
    let found = match by_code {
        Some(mark) => Some(mark),
        None if id_part(mark).is_ok() => the_one("mark", mark, &marks, |mark| &mark.id)?,
        None => None,
    };
    found.cloned().ok_or_else(|| nothing_of("mark", mark, "holt animal show ANIMAL"))
}
