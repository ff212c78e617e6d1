//! The work of three people, each step with what came back. A step that comes out otherwise than it should
//! ends the demo with an error: it is a test, too.

use super::DemoError;
use super::family::FAMILY;
use super::hands::{Hands, Said};
use crate::clock::{Clock, SystemClock};
use chrono::TimeDelta;
use chrono_tz::Europe::Dublin;

/// Types a command for somebody, shows it with what came back, and checks how it ended.
async fn step(
    hands: &Hands,
    tell: &(dyn Fn(&str) + Sync),
    who: &str,
    arguments: &[&str],
    code: i32,
) -> Result<Said, DemoError> {
    let said = hands.types(who, arguments, "").await?;
    let typed: Vec<String> = arguments
        .iter()
        .map(|word| if word.contains([' ', '<']) { format!("\"{word}\"") } else { (*word).to_owned() })
        .collect();
    tell(&format!("{who}$ holt {}", typed.join(" ")));
    for line in said.text.trim_end().lines() {
        tell(&format!("    {line}"));
    }
    let ended = if said.code == 0 { String::new() } else { format!("    (exit code {})\n", said.code) };
    tell(&ended);
    if said.code == code {
        Ok(said)
    } else {
        Err(DemoError::Surprise(format!("`holt {}` ended with {}, not {code}", typed.join(" "), said.code)))
    }
}

/// The keeper's, the registrar's and the auditor's work.
pub(super) async fn run(hands: &Hands, tell: &(dyn Fn(&str) + Sync)) -> Result<(), DemoError> {
    for (who, site) in [("nuala", "QUI"), ("tadhg", "QUI"), ("joan", "BRA"), ("ruth", "")] {
        hands.sign_in(who, site).await?;
    }
    keeper(hands, tell).await?;
    registrar(hands, tell).await?;
    births(hands, tell).await?;
    auditor(hands, tell).await
}

/// Nuala weighs the family in the Burrow House.
async fn keeper(hands: &Hands, tell: &(dyn Fn(&str) + Sync)) -> Result<(), DemoError> {
    tell("== The keeper: Nuala at Quillmoor, six in the morning ==\n");
    step(hands, tell, "nuala", &["today"], 0).await?;
    step(hands, tell, "nuala", &["due", "--duty", "weigh"], 0).await?;
    let round = "animal,mass,declined,note\n\
                 Juniper,1.48 kg,,\n\
                 Alder,1553 g,,\n\
                 Sorrel,1402 g,,\n\
                 Rowan,1441 g,,\n\
                 Hazel,1339 g,,\n\
                 Fennel,1191 g,,comes last\n\
                 Larch,142 g,,\n\
                 Aspen,1380,,\n\
                 Tansy,,yes,sat beside it\n\
                 Brook,9.1 kg,,\n";
    std::fs::write(hands.folder("nuala")?.join("monday.csv"), round)?;
    tell("A round from her notes, with three slips in it (monday.csv):\n");
    for line in round.lines() {
        tell(&format!("    {line}"));
    }
    tell("");
    step(hands, tell, "nuala", &["weigh", "--file", "monday.csv", "--at", "today"], 3).await?;
    step(hands, tell, "nuala", &["weigh", "Larch", "1424 g"], 0).await?;
    step(hands, tell, "nuala", &["weigh", "Moss", "--declined"], 0).await?;
    let meal = ["mealworm", "160 g", "--group", FAMILY, "--how", "scattered", "--left", "0 g"];
    step(hands, tell, "nuala", &[&["feed", "give"][..], &meal].concat(), 0).await?;
    watched(hands, tell).await?;
    step(hands, tell, "nuala", &["group", "day", FAMILY], 0).await?;
    step(hands, tell, "nuala", &["concern", "list"], 0).await?;
    Ok(())
}

/// She has watched them at that feed, and noted who drove whom off.
async fn watched(hands: &Hands, tell: &(dyn Fn(&str) + Sync)) -> Result<(), DemoError> {
    let ended = SystemClock.now().with_timezone(&Dublin);
    let mut notes = "at,what,animal,behaviour,receiver,food\n".to_owned();
    for (minutes_ago, line) in [
        (16, "began,,,,"),
        (15, "food,,,,"),
        (14, "did,Juniper,displace,Fennel,yes"),
        (12, "did,Hazel,chase,Fennel,yes"),
        (11, "did,Fennel,wait,,yes"),
        (9, "did,Sorrel,displace,Teasel,yes"),
        (6, "did,Hazel,displace,Fennel,yes"),
        (5, "did,Alder,groom,Larch,"),
        (1, "ended,,,,"),
    ] {
        let at = ended - TimeDelta::minutes(minutes_ago);
        notes.push_str(&format!("{},{line}\n", at.format("%Y-%m-%d %H:%M")));
    }
    std::fs::write(hands.folder("nuala")?.join("feed.csv"), notes)?;
    step(hands, tell, "nuala", &["observe", FAMILY, "--file", "feed.csv"], 0).await?;
    step(hands, tell, "nuala", &["standing", FAMILY], 0).await?;
    Ok(())
}

/// Tadhg finds Fennel a home with an unrelated partner.
async fn registrar(hands: &Hands, tell: &(dyn Fn(&str) + Sync)) -> Result<(), DemoError> {
    tell(
        "== The registrar: Tadhg at Quillmoor seeks a home for Fennel; Joan is registrar at Brackwater ==\n",
    );
    step(hands, tell, "tadhg", &["partners", "find", "Fennel"], 0).await?;
    let shows = ["partners", "show-cards", "yes", "--note", "room for a female in the Sand House"];
    step(hands, tell, "joan", &shows, 0).await?;
    step(hands, tell, "tadhg", &["partners", "find", "Fennel"], 0).await?;
    step(hands, tell, "joan", &["partners", "searches"], 0).await?;
    let why = "kept off her food by her own group; unrelated males at Brackwater";
    let proposed = step(
        hands,
        tell,
        "tadhg",
        &[
            "transfer",
            "propose",
            "Fennel",
            "--to",
            "BRA",
            "--terms",
            "ownership-passes",
            "--planned",
            "today",
            "--because",
            why,
        ],
        0,
    )
    .await?;
    let id = transfer_id(&proposed)?;
    step(hands, tell, "tadhg", &["transfer", "dispatch", &id], 3).await?;
    step(hands, tell, "joan", &["transfer", "agree", &id, "--note", "the Sand House is ready"], 0).await?;
    step(hands, tell, "joan", &["transfer", "receive", &id], 3).await?;
    let papers = "crate 12, health certificate 2304";
    step(hands, tell, "tadhg", &["transfer", "dispatch", &id, "--note", papers], 3).await?;
    // She leaves because of that very concern.
    let word = ["--despite-concern", "the vet cleared her for the journey"];
    let dispatch = [&["transfer", "dispatch", &id, "--note", papers], word.as_slice()].concat();
    step(hands, tell, "tadhg", &dispatch, 0).await?;
    step(hands, tell, "tadhg", &["animal", "died", "Fennel", "--on", "today", "--manner", "unknown"], 3)
        .await?;
    let condition = "alert, ate at once";
    step(hands, tell, "joan", &["transfer", "receive", &id, "--in", "Sand House", "--note", condition], 0)
        .await?;
    step(hands, tell, "joan", &["transfer", "receive", &id], 3).await?;
    step(hands, tell, "tadhg", &["animal", "show", "Fennel"], 0).await?;
    step(hands, tell, "joan", &["animal", "show", "Fennel"], 0).await?;
    Ok(())
}

/// Tadhg writes down a birth that nobody has seen yet, only heard.
async fn births(hands: &Hands, tell: &(dyn Fn(&str) + Sync)) -> Result<(), DemoError> {
    tell("== Tadhg again: a litter in the Burrow House, counted before anybody can handle it ==\n");
    let heard = ["--dam", "Juniper", "--sire", "Alder", "--note", "heard, not seen"];
    let born = [&["litter", "record", "4", "--on", "today"][..], &heard].concat();
    step(hands, tell, "tadhg", &born, 0).await?;
    let died = ["litter", "died", "Juniper", "1", "--manner", "natural", "--note", "cold at the entrance"];
    step(hands, tell, "tadhg", &died, 0).await?;
    step(hands, tell, "tadhg", &["litter", "died", "Juniper", "4", "--manner", "natural"], 3).await?;
    let apart = ["litter", "identify", "Juniper", "--sex", "female", "--name", "Thyme"];
    step(hands, tell, "tadhg", &apart, 0).await?;
    step(hands, tell, "tadhg", &["group", "join", FAMILY, "Thyme", "--as", "juvenile"], 0).await?;
    step(hands, tell, "tadhg", &["group", "show", FAMILY], 0).await?;
    step(hands, tell, "tadhg", &["history", "Thyme"], 0).await?;
    Ok(())
}

/// The beginning of the identifier, as `transfer propose` prints it: `[3ca2d8a8]`.
fn transfer_id(said: &Said) -> Result<String, DemoError> {
    let bracket = said.text.split_once('[').and_then(|(_, rest)| rest.split_once(']'));
    let (id, _) =
        bracket.ok_or_else(|| DemoError::Surprise("the proposal shows no identifier".to_owned()))?;
    Ok(id.to_owned())
}

/// Ruth asks how Solvik stands.
async fn auditor(hands: &Hands, tell: &(dyn Fn(&str) + Sync)) -> Result<(), DemoError> {
    tell("== The auditor: Ruth asks what is done, where the proof is, and where it is not ==\n");
    step(hands, tell, "ruth", &["report", "--site", "SOL"], 0).await?;
    step(hands, tell, "ruth", &["report", "--site", "QUI", "--format", "csv"], 0).await?;
    step(hands, tell, "ruth", &["stock-return", "--site", "QUI", "--from", "2025-01-01"], 0).await?;
    step(hands, tell, "ruth", &["standard", "answer", "eu-zoos-directive", "--site", "QUI"], 0).await?;
    let page =
        ["report", "page", "--site", "QUI", "--standard", "eu-zoos-directive", "--out", "quillmoor.html"];
    step(hands, tell, "ruth", &page, 0).await?;
    step(hands, tell, "ruth", &["ledger", "seal", "--print"], 0).await?;
    step(hands, tell, "ruth", &["ledger", "verify", "--all-sites"], 0).await?;
    step(hands, tell, "ruth", &["weigh", "Fennel", "1.2 kg", "--site", "BRA"], 5).await?;
    Ok(())
}
