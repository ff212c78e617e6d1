//! A round that is typed line by line while the animals are on the scale.

use super::super::access::{Gate, PASSWORD, at as access_at};
use super::{Quill, steady};
use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::Desk;
use holt_tests::desk::Fed;
use std::collections::VecDeque;
use std::io::Read;
use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};
use tokio::task::{JoinHandle, JoinSet};

async fn quill() -> Quill {
    let quill = Quill::new().await;
    for animal in ["Bramble", "Sedge", "Teasel"] {
        quill.weekly(animal, &steady(12)).await;
    }
    quill
}

fn keeper(quill: &Quill) -> Desk {
    quill.house.desk_of(&quill.park.keeper, &[(Role::Keeper, Some("QUI"))])
}

fn typed(lines: &str) -> Fed {
    Fed { input: lines.as_bytes().to_vec(), secrets: Vec::new() }
}

fn kept(desk: &Desk) -> Vec<String> {
    let folder = std::fs::read_dir(desk.path(".local/state/holt/rounds"));
    folder.into_iter().flatten().map(|file| std::fs::read_to_string(file.unwrap().path()).unwrap()).collect()
}

const LINES: &str = "\
bra 8010
bra 8010g
05:50 sed 820
05:50 8010
05:52 801
05:53 8015
8015
?
tea 8000
undo
brmble 8kg
tea x note would not come down
tea 05:00
help
end
bra 1g
";

#[tokio::test]
async fn a_round_is_typed_line_by_line_and_recorded_as_one() {
    let quill = quill().await;
    let desk = keeper(&quill).at_terminal(100).with("NO_COLOR", "1");
    let before = quill.rows("weights").await;
    let ran = desk.feed("holt round --scale kitchen", typed(LINES)).await;
    assert_eq!(ran.exit, 0, "{}", ran.err);
    insta::assert_snapshot!("typed_round", format!("{}---\n{}", ran.err, ran.out));
    assert!(kept(&desk).is_empty(), "what is on record is kept here no longer");
    // Bramble once, Sedge's slip twice and what it weighs; Teasel declined, which is a row as well.
    assert_eq!(quill.rows("weights").await - before, 5);
    let sedge = quill.listed("Sedge").await;
    assert_eq!(sedge[0].mass.unwrap().milligrams, 8_015_000);
    assert!(!sedge[0].awaits_second, "{sedge:?}");
    let due = keeper(&quill).done("holt due --duty weigh-again").await;
    assert!(!due.contains("Sedge"), "it was weighed again: {due}");
    quill.house.close().await;
}

#[tokio::test]
async fn two_animals_taken_for_one_another_are_told_as_soon_as_both_are_typed() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(12)).await;
    let lighter: Vec<i64> = steady(12).iter().map(|grams| grams * 3 / 4).collect();
    quill.weekly("Sedge", &lighter).await;
    let ran =
        keeper(&quill).feed("holt round --unit g", typed("bra 6000\nsed 8000\nundo\nundo\nbra 8000\n")).await;
    assert_eq!(ran.exit, 0, "{}", ran.err);
    insta::assert_snapshot!("taken_for_one_another", ran.err);
    assert!(ran.err.contains("Not weighed: Sedge, Teasel."), "{}", ran.err);
    assert_eq!(quill.listed("Bramble").await.len(), 13);
    assert_eq!(quill.listed("Sedge").await.len(), 12, "what was withdrawn is not recorded");
    quill.house.close().await;
}

/// The way to a server, which can be cut.
struct Way {
    address: String,
    task: JoinHandle<()>,
}

impl Way {
    async fn to(address: &str) -> Self {
        let behind = address.trim_start_matches("http://").to_owned();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = format!("http://{}", listener.local_addr().unwrap());
        let task = tokio::spawn(async move {
            let mut lines = JoinSet::new();
            while let Ok((mut front, _)) = listener.accept().await {
                let mut back = TcpStream::connect(&behind).await.unwrap();
                lines.spawn(async move {
                    let _ = copy_bidirectional(&mut front, &mut back).await;
                });
            }
        });
        Self { address, task }
    }
}

/// Somebody who types a line at a time; something happens before one of them.
struct Typist {
    lines: VecDeque<&'static [u8]>,
    before: usize,
    happens: Box<dyn FnMut() + Send>,
}

impl Read for Typist {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        if self.before == 0 {
            (self.happens)();
        }
        self.before = self.before.wrapping_sub(1);
        let line = self.lines.pop_front().unwrap_or_default();
        into[..line.len()].copy_from_slice(line);
        Ok(line.len())
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_goes_away_in_the_middle_costs_nothing() {
    let quill = quill().await;
    let way = Way::to(&quill.house.address).await;
    let desk = keeper(&quill).with("HOLT_SERVER", &way.address);
    let cut = way.task.abort_handle();
    let typist = Typist {
        lines: [&b"bra 8010g\n"[..], b"sed 8020\n", b"tea 801\n", b"end\n"].into(),
        before: 1,
        happens: Box::new(move || cut.abort()),
    };
    let ran = desk.types("holt round", Box::new(typist)).await;
    assert_eq!(ran.exit, 7, "{}", ran.err);
    assert!(ran.err.contains("No server answers: from here on nothing is checked"), "{}", ran.err);
    assert!(ran.err.contains("nothing is lost; send it later: holt weigh --file"), "{}", ran.err);
    let waits = kept(&desk);
    assert_eq!((waits.len(), waits[0].lines().count()), (1, 4), "{waits:?}");
    assert_eq!(quill.listed("Bramble").await.len(), 12);
    // The next round begins without a server: the names are known from the one before, and only its own.
    let ran = desk.pipe("holt round", b"05:30 tea x\n?\nend\n").await;
    assert_eq!(ran.exit, 7, "{}", ran.err);
    for part in
        ["No server answers. The names are those of", "declined, not checked", "Not weighed: Bramble, Sedge."]
    {
        assert!(ran.err.contains(part), "{part}: {}", ran.err);
    }
    let (exit, said) = desk.refused("holt round 'Weir family'").await;
    assert_eq!(exit, 7, "{said}");
    let waits = kept(&desk);
    assert_eq!(waits.len(), 2, "{waits:?}");

    // Sent later, and once more by somebody who is not sure.
    let desk = desk.with("HOLT_SERVER", &quill.house.address);
    for (n, waiting) in waits.iter().enumerate() {
        desk.file(&format!("again{n}.csv"), waiting.as_bytes());
    }
    let started = desk.pipe("holt round", b"end\n").await;
    assert!(started.err.contains("A round is not recorded yet; send it:"), "{}", started.err);
    let folder = std::fs::read_dir(desk.path(".local/state/holt/rounds")).unwrap();
    for path in folder.map(|file| file.unwrap().path()).collect::<Vec<_>>() {
        let sent = desk.run(&format!("holt weigh --file {}", path.display())).await;
        assert_eq!(sent.exit, 0, "{}", sent.err);
    }
    assert!(kept(&desk).is_empty());
    for n in 0..waits.len() {
        desk.done(&format!("holt weigh --file ~/again{n}.csv")).await;
    }
    for (animal, readings) in [("Bramble", 13), ("Sedge", 13), ("Teasel", 14)] {
        assert_eq!(quill.listed(animal).await.len(), readings, "{animal}");
    }
    quill.house.close().await;
}

/// What was typed without a server may be refused once there is one: then it stays until a person has settled it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_refused_later_stays_until_it_is_settled() {
    let quill = quill().await;
    let way = Way::to(&quill.house.address).await;
    let desk = keeper(&quill).with("HOLT_SERVER", &way.address);
    desk.pipe("holt round", b"end\n").await;
    way.task.abort();
    let ran = desk.pipe("holt round", b"05:40 bra 8010g\n05:40 bra 8020\nsed 8000\n").await;
    assert_eq!(ran.exit, 7, "{}", ran.err);
    let desk = desk.with("HOLT_SERVER", &quill.house.address);
    let mut folder = std::fs::read_dir(desk.path(".local/state/holt/rounds")).unwrap();
    let path = folder.next().unwrap().unwrap().path();
    for _ in 0..2 {
        let sent = desk.run(&format!("holt weigh --file {}", path.display())).await;
        assert_eq!(sent.exit, 3, "two readings of one instant: {}", sent.out);
        assert_eq!(kept(&desk).len(), 1);
    }
    let settled = kept(&desk)[0].replace("8020g", "8010g");
    std::fs::write(&path, settled).unwrap();
    desk.done(&format!("holt weigh --file {}", path.display())).await;
    assert!(kept(&desk).is_empty());
    assert_eq!((quill.listed("Bramble").await.len(), quill.listed("Sedge").await.len()), (13, 13));
    quill.house.close().await;
}

/// Two people, one machine: the second is not shown the names that the first may see.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_signs_in_next_begins_without_the_names_of_the_last() {
    let gate = Gate::new().await;
    let park = gate.house.park("BRO", "Europe/Dublin").await;
    gate.house.otter(&park, "Bramble").await;
    gate.settled("nuala", &[access_at(v1::Role::Keeper, "BRO")]).await;
    gate.settled("kim", &[access_at(v1::Role::Keeper, "QUI")]).await;
    let way = Way::to(&gate.house.address).await;
    let desk = gate.house.desk().with("HOLT_SERVER", &way.address);
    for name in ["nuala", "kim"] {
        let signed = desk.pipe(&format!("holt sign-in {name} --password-stdin"), PASSWORD.as_bytes()).await;
        assert_eq!(signed.exit, 0, "{}", signed.err);
        let ran = desk.pipe("holt round --site BRO", b"").await;
        assert_eq!(ran.err.contains("Bramble"), name == "nuala", "{}", ran.err);
    }
    way.task.abort();
    let (exit, said) = desk.refused("holt round --site BRO").await;
    assert!(exit == 7 && !said.contains("Bramble"), "{said}");
    gate.house.close().await;
}

#[tokio::test]
async fn whoever_may_not_weigh_loses_nothing_that_was_typed() {
    let quill = quill().await;
    let desk = quill.house.desk_of(&quill.park.auditor, &[(Role::Auditor, Some("QUI"))]);
    let ran = desk.pipe("holt round", b"bra 8010g\nend\n").await;
    assert_eq!(ran.exit, 5, "an auditor records nothing: {}", ran.err);
    assert!(ran.err.contains("nothing is lost"), "{}", ran.err);
    assert_eq!(kept(&desk).len(), 1);
    // A round in which nothing was typed leaves nothing behind.
    let none = keeper(&quill);
    let ran = none.pipe("holt round", b"").await;
    assert_eq!((ran.exit, kept(&none).len()), (0, 0), "{}", ran.err);
    let (exit, said) = none.refused("holt round Nobody").await;
    assert_eq!(exit, 4, "{said}");
    quill.house.close().await;
}
