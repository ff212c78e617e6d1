//! One line of a watch as it is typed: `bramble chase sedge`.

use super::names::{Member, Unnamed, pick};
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;

use crate::moment::{When, WhenWord};

/// What a line is understood by.
pub(crate) struct Terms<'a> {
    pub(crate) members: &'a [Member],
    pub(crate) behaviours: &'a [v1::Behaviour],
    pub(crate) zone: Tz,
    pub(crate) now: DateTime<Utc>,
}

/// What a line says.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Line {
    /// Something was seen, at a time that was typed, or else now.
    Seen(Option<DateTime<Utc>>, Vec<What>),
    /// The last line was wrong.
    Undo,
    /// The watch ends.
    End(Option<DateTime<Utc>>),
    /// What can be typed.
    Help,
    /// Nothing.
    Empty,
}

/// Why a line says nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Unclear {
    pub(crate) say: String,
    pub(crate) mend: String,
}

fn unclear<T>(say: impl Into<String>, mend: impl Into<String>) -> Result<T, Unclear> {
    Err(Unclear { say: say.into(), mend: mend.into() })
}

/// What can be typed.
pub(crate) const HELP: &str = "\
  bramble chase sedge            one does something to another; beginnings are enough: bra ch se
  bramble displace sedge food    … over food
  bramble chase sedge lost       … and Bramble yielded; `open`: neither did
  bramble guard                  one does something by itself; with 90s or 3m: for so long
  food                           food is given: everybody in sight is at a feed
  scan bramble+sedge rest, teasel alone, alder eat @bowl
                                 where all are and what they do; + joins those that are together
  out sedge, in sedge            out of sight, and back; out and in alone: you look away, and on
  note TEXT                      a remark
  07:12 bramble chase sedge      at a time other than now
  undo                           withdraw the last line
  end                            the observation ends and is recorded";

/// Reads a line.
pub(crate) fn read(text: &str, terms: &Terms<'_>) -> Result<Line, Unclear> {
    let (at, text) = time(text.trim(), terms.zone, terms.now)?;
    let (first, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let rest = rest.trim();
    let bare = |line: Line| {
        if rest.is_empty() {
            Ok(line)
        } else {
            unclear(format!("`{first}` stands alone"), "leave the rest out")
        }
    };
    let seen = |what| Ok(Line::Seen(at, vec![what]));
    match first.to_lowercase().as_str() {
        "" => Ok(Line::Empty),
        "undo" => bare(Line::Undo),
        "end" => bare(Line::End(at)),
        "help" | "?" => bare(Line::Help),
        "food" => bare(Line::Seen(at, vec![What::Feed(v1::FeedGiven {})])),
        "note" if rest.is_empty() => unclear("the note says nothing", "write it after `note`"),
        "note" => seen(What::Remark(rest.to_owned())),
        "scan" => seen(What::Scan(scan(rest, terms)?)),
        word @ ("out" | "in") => {
            let out = word == "out";
            let change = |animal| What::Sight(v1::SightChange { animal, out });
            let names: Vec<&str> = rest.split([' ', ',', '+']).filter(|name| !name.is_empty()).collect();
            let each = names.into_iter().map(|name| Ok(change(member(name, terms.members)?.id.clone())));
            let each = each.collect::<Result<Vec<_>, Unclear>>()?;
            Ok(Line::Seen(at, if each.is_empty() { vec![change(String::new())] } else { each }))
        }
        _ => seen(did(first, rest, terms)?),
    }
}

/// A time at the beginning of a line, and what follows it.
pub(crate) fn time(
    text: &str,
    zone: Tz,
    now: DateTime<Utc>,
) -> Result<(Option<DateTime<Utc>>, &str), Unclear> {
    let (first, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let Ok(word @ WhenWord::Time(_)) = first.parse::<WhenWord>() else { return Ok((None, text)) };
    match word.resolve(zone, now) {
        Ok(When::At(at)) if at <= now => Ok((Some(at), rest.trim())),
        Ok(_) => unclear(format!("{first} is still to come"), "write the time at which it happened"),
        Err(error) => unclear(error.to_string(), error.mend()),
    }
}

/// The member that a word means.
pub(crate) fn member<'a>(word: &str, members: &'a [Member]) -> Result<&'a Member, Unclear> {
    pick(word, members).map_err(|error| match error {
        Unnamed::Several(names) => Unclear {
            say: format!("`{word}` could be {}", names.join(" or ")),
            mend: "write more of it".to_owned(),
        },
        Unnamed::Nobody(near) => {
            let all: Vec<&str> = members.iter().map(Member::spoken).collect();
            let mend = if near.is_empty() {
                format!("here are {}", all.join(", "))
            } else {
                format!("did you mean {}?", near.join(" or "))
            };
            Unclear { say: format!("nobody here is called `{word}`"), mend }
        }
    })
}

fn behaviour<'a>(word: &str, terms: &Terms<'a>) -> Result<&'a v1::Behaviour, Unclear> {
    pick(word, terms.behaviours).map_err(|error| match error {
        Unnamed::Several(codes) => Unclear {
            say: format!("`{word}` could be {}", codes.join(" or ")),
            mend: "write more of it".to_owned(),
        },
        Unnamed::Nobody(near) => {
            let all: Vec<&str> = terms.behaviours.iter().map(|one| one.code.as_str()).collect();
            let codes = if near.is_empty() { all.join(", ") } else { near.join(" or ") };
            Unclear { say: format!("there is no behaviour `{word}`"), mend: format!("did you mean {codes}?") }
        }
    })
}

/// `90s`, `3m`, `2m30s`: seconds.
fn seconds(word: &str) -> Option<i32> {
    let (minutes, rest) = match word.split_once('m') {
        Some((minutes, rest)) => (minutes.parse::<i32>().ok()?, rest),
        None => (0, word),
    };
    let seconds = match rest.strip_suffix('s') {
        Some(seconds) => seconds.parse::<i32>().ok()?,
        None if rest.is_empty() && minutes > 0 => 0,
        None => return None,
    };
    minutes.checked_mul(60)?.checked_add(seconds).filter(|seconds| *seconds > 0)
}

/// `bramble chase sedge food lost`, `bramble rest 90s`.
fn did(first: &str, rest: &str, terms: &Terms<'_>) -> Result<What, Unclear> {
    let actor = member(first, terms.members)?;
    let mut words = rest.split_whitespace();
    let Some(code) = words.next() else {
        return unclear(
            format!("nothing said of what {} does", actor.spoken()),
            "write it after the name; `help` shows what can be typed",
        );
    };
    let behaviour = behaviour(code, terms)?;
    let (mut receiver, mut at_food, mut outcome, mut long) =
        (None, false, v1::InteractionOutcome::Unspecified, None);
    for word in words {
        match word.to_lowercase().as_str() {
            "food" => at_food = true,
            "won" => outcome = v1::InteractionOutcome::ReceiverYielded,
            "lost" => outcome = v1::InteractionOutcome::ActorYielded,
            "open" => outcome = v1::InteractionOutcome::Undecided,
            word if seconds(word).is_some() => long = seconds(word),
            _ if receiver.is_some() => {
                return unclear(
                    format!("`{word}` is one word too many"),
                    "after the two animals come food, won, lost or open; anything else goes into a `note`",
                );
            }
            _ => receiver = Some(member(word, terms.members)?),
        }
    }
    if let Some(seconds) = long {
        if receiver.is_some() || at_food || outcome != v1::InteractionOutcome::Unspecified {
            return unclear(
                "how long you followed one is a line of its own",
                format!("write `{first} {code} {seconds}s`"),
            );
        }
        return Ok(What::Bout(v1::Bout {
            animal: actor.id.clone(),
            behaviour: behaviour.code.clone(),
            seconds,
        }));
    }
    let name = &behaviour.name;
    match (behaviour.receiver(), receiver) {
        (v1::BehaviourReceiver::Must, None) => {
            return unclear(format!("nothing said of whom {} {name}", actor.spoken()), "name the other one");
        }
        (v1::BehaviourReceiver::None, Some(_)) => {
            return unclear(format!("`{}` is done to nobody", behaviour.code), "leave the other name out");
        }
        (_, Some(receiver)) if receiver == actor => {
            return unclear(format!("{} cannot do this to itself", actor.spoken()), "name the other one");
        }
        _ => {}
    }
    Ok(What::Interaction(v1::Interaction {
        actor: actor.id.clone(),
        behaviour: behaviour.code.clone(),
        receiver: receiver.map(|one| one.id.clone()).unwrap_or_default(),
        at_food,
        outcome: outcome.into(),
    }))
}

/// `bramble+sedge rest @nest, teasel alone, alder eat`.
fn scan(text: &str, terms: &Terms<'_>) -> Result<v1::GroupScan, Unclear> {
    let mut scan = v1::GroupScan::default();
    let mut party = 0;
    for part in text.split(',').map(str::trim).filter(|part| !part.is_empty()) {
        let (what, place) = part.split_once('@').unwrap_or((part, ""));
        let mut words = what.split_whitespace();
        let (Some(names), Some(code), None) = (words.next(), words.next(), words.next()) else {
            return unclear(
                format!("`{part}` does not say who does what"),
                "write names and what they do: `bramble+sedge rest @nest`",
            );
        };
        let behaviour = behaviour(code, terms)?;
        let names: Vec<&str> = names.split('+').filter(|name| !name.is_empty()).collect();
        let together = names.len() > 1;
        party += i32::from(together);
        for name in names {
            let animal = member(name, terms.members)?;
            if scan.seen.iter().any(|seen| seen.animal == animal.id) {
                return unclear(format!("{} is in this scan twice", animal.spoken()), "name each once");
            }
            scan.seen.push(v1::ScannedAnimal {
                animal: animal.id.clone(),
                behaviour: behaviour.code.clone(),
                party: if together { party } else { 0 },
                place: place.trim().to_owned(),
            });
        }
    }
    if scan.seen.is_empty() {
        return unclear(
            "the scan names nobody",
            "write who does what: `scan bramble+sedge rest, teasel alone`",
        );
    }
    Ok(scan)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn members() -> Vec<Member> {
        [("Bramble", 1), ("Sedge", 2), ("Teasel", 3), ("Alder", 4)]
            .map(|(name, serial)| Member {
                id: name[..1].to_owned(),
                accession: format!("QUI-26-{serial:04}"),
                house_name: Some(name.to_owned()),
            })
            .into()
    }

    fn behaviours() -> Vec<v1::Behaviour> {
        use v1::BehaviourReceiver::{May, Must, None};
        [
            ("chase", "chases", Must),
            ("rest", "rests", None),
            ("alone", "is by itself", None),
            ("play", "plays", May),
        ]
        .map(|(code, name, receiver)| v1::Behaviour {
            code: code.to_owned(),
            name: name.to_owned(),
            receiver: receiver.into(),
            ..Default::default()
        })
        .into()
    }

    fn typed(text: &str) -> Result<Line, Unclear> {
        let (members, behaviours) = (members(), behaviours());
        let now = "2026-03-02T09:00:00Z".parse().unwrap();
        read(text, &Terms { members: &members, behaviours: &behaviours, zone: Tz::Europe__Dublin, now })
    }

    fn seen(text: &str) -> What {
        match typed(text) {
            Ok(Line::Seen(None, mut what)) if what.len() == 1 => what.remove(0),
            other => panic!("{text}: {other:?}"),
        }
    }

    fn chase(at_food: bool, outcome: v1::InteractionOutcome) -> What {
        What::Interaction(v1::Interaction {
            actor: "B".to_owned(),
            behaviour: "chase".to_owned(),
            receiver: "S".to_owned(),
            at_food,
            outcome: outcome.into(),
        })
    }

    #[test]
    fn a_line_is_an_event() {
        use v1::InteractionOutcome as O;
        assert_eq!(seen("bramble chase sedge"), chase(false, O::Unspecified));
        assert_eq!(seen("  b CH se food lost "), chase(true, O::ActorYielded));
        assert_eq!(seen("1 chases 2 open"), chase(false, O::Undecided));
        assert_eq!(seen("note Snow on the roof"), What::Remark("Snow on the roof".to_owned()));
        assert_eq!(seen("food"), What::Feed(v1::FeedGiven {}));
        let bout = v1::Bout { animal: "T".to_owned(), behaviour: "rest".to_owned(), seconds: 150 };
        assert_eq!(seen("tea rest 2m30s"), What::Bout(bout));
        assert_eq!(typed("undo"), Ok(Line::Undo));
        assert_eq!(typed(""), Ok(Line::Empty));
        let at = |text: &str| match typed(text) {
            Ok(Line::Seen(at, _) | Line::End(at)) => at.map(|at| at.to_rfc3339()),
            other => panic!("{other:?}"),
        };
        assert_eq!(at("08:15 food").as_deref(), Some("2026-03-02T08:15:00+00:00"));
        assert_eq!(at("08:59:30 end").as_deref(), Some("2026-03-02T08:59:30+00:00"));
    }

    #[test]
    fn sight_is_of_one_of_several_or_of_all() {
        let sight = |text: &str| match typed(text) {
            Ok(Line::Seen(_, what)) => what
                .into_iter()
                .map(|what| match what {
                    What::Sight(change) => (change.animal, change.out),
                    other => panic!("{other:?}"),
                })
                .collect::<Vec<_>>(),
            other => panic!("{other:?}"),
        };
        assert_eq!(sight("out sedge, ald"), [("S".to_owned(), true), ("A".to_owned(), true)]);
        assert_eq!(sight("in"), [(String::new(), false)]);
    }

    #[test]
    fn a_scan_says_who_is_with_whom_as_far_as_it_is_typed() {
        let What::Scan(scan) = seen("scan bram+se rest @nest box, teasel alone, alder rest") else {
            panic!()
        };
        let told: Vec<_> = scan
            .seen
            .iter()
            .map(|one| (one.animal.as_str(), one.behaviour.as_str(), one.party, one.place.as_str()))
            .collect();
        assert_eq!(
            told,
            [
                ("B", "rest", 1, "nest box"),
                ("S", "rest", 1, "nest box"),
                ("T", "alone", 0, ""),
                ("A", "rest", 0, "")
            ]
        );
    }

    #[test]
    fn what_says_nothing_is_told_with_what_comes_near() {
        for (text, say, mend) in [
            ("brmble chase sedge", "nobody here is called `brmble`", "did you mean Bramble?"),
            ("zorro chase sedge", "nobody here is called `zorro`", "here are Bramble, Sedge, Teasel, Alder"),
            ("bramble chaze sedge", "there is no behaviour `chaze`", "did you mean chase?"),
            (
                "bramble",
                "nothing said of what Bramble does",
                "write it after the name; `help` shows what can be typed",
            ),
            ("bramble chase", "nothing said of whom Bramble chases", "name the other one"),
            ("bramble rest sedge", "`rest` is done to nobody", "leave the other name out"),
            ("bramble chase bramble", "Bramble cannot do this to itself", "name the other one"),
            ("09:30 food", "09:30 is still to come", "write the time at which it happened"),
            ("undo that", "`undo` stands alone", "leave the rest out"),
            ("scan", "the scan names nobody", "write who does what: `scan bramble+sedge rest, teasel alone`"),
            ("scan bramble rest, 1 rest", "Bramble is in this scan twice", "name each once"),
        ] {
            let wanted = Unclear { say: say.to_owned(), mend: mend.to_owned() };
            assert_eq!(typed(text), Err(wanted), "{text}");
        }
    }
}
