//! A keeper types a watch line by line, reads one from a sheet, and loses nothing while the server is away.

use super::Weir;
use holt_server::model::person::Role;
use holt_tests::Desk;
use holt_tests::desk::Fed;

fn keeper(weir: &Weir) -> Desk {
    weir.house.desk_of(&weir.park.keeper, &[(Role::Keeper, Some("QUI"))])
}

const LINES: &str = "\
bra ch se
bram dispalce sedge food
bram displace sedge food
food
out willow
rush threaten alder lost
scan bram+ald huddle, sedge alone, rush eat
undo
scan bram+ald huddle, sedge alone, teasel eat
guard
brmble chase sedge
note snow on the roof
tea guard 90s
out
in
end
bramble chase sedge
";

#[tokio::test]
async fn a_watch_is_typed_line_by_line() {
    let weir = Weir::new().await;
    let desk = keeper(&weir).at_terminal(100).with("NO_COLOR", "1");
    let fed = Fed { input: LINES.as_bytes().to_vec(), secrets: Vec::new() };
    let ran = desk.feed("holt observe 'Weir family'", fed).await;
    assert_eq!(ran.exit, 0, "{}", ran.err);
    let told = without_ids(&format!("{}---\n{}", ran.err, ran.out));
    insta::assert_snapshot!("typed", told);
    let left = std::fs::read_dir(desk.path(".local/state/holt/watches")).unwrap().count();
    assert_eq!(left, 0, "what is on record is kept here no longer");
    let events = keeper(&weir).done("holt observation list --events --format csv").await;
    let events: Vec<&str> = events.lines().map(|line| line.split_once(',').unwrap().1).collect();
    insta::assert_snapshot!("typed_events", events.join("\n"));
    weir.house.close().await;
}

/// Identifiers of watches are made by chance on the machine of whoever watches.
fn without_ids(text: &str) -> String {
    let mut told = String::new();
    for part in text.split_inclusive(['[', ']']) {
        let bare = part.trim_end_matches(']');
        let is_id = bare.parse::<uuid::Uuid>().is_ok();
        told.push_str(if is_id { "WATCH]" } else { part });
    }
    told
}

const SHEET: &str = "\
at;what;animal;behaviour;receiver;food
2026-03-01 08:00;began;;;;
2026-03-01 08:05;did;Bramble;chase;Sedge;
2026-03-01 08:10;food;;;;
2026-03-01 08:11;did;Bramble;displace;Sedge;yes
2026-03-01 08:30;ended;;;;
";

#[tokio::test]
async fn a_sheet_is_read_once_however_often_it_is_sent() {
    let weir = Weir::new().await;
    let desk = keeper(&weir);
    desk.file("morning.csv", SHEET.as_bytes());
    let line = "holt observe 'Weir family' --file ~/morning.csv";
    assert!(desk.done(&format!("{line} --check-only")).await.contains("\t4\t4\t0\t"));
    assert!(desk.done(line).await.contains("\t4\t4\t0\t"));
    assert!(desk.done(line).await.contains("\t4\t0\t4\t"), "nothing new");
    let wrong = SHEET.replace("chase;Sedge", "chase;Sdege").replace("08:30;ended", "08:30;done");
    desk.file("wrong.csv", wrong.as_bytes());
    let (exit, said) = desk.refused("holt observe 'Weir family' --file ~/wrong.csv").await;
    assert!(exit == 3 && said.contains("row 6, what"), "{said}");
    desk.file(
        "wrong.csv",
        SHEET.replace("08:00;began", "07:00;began").replace("chase;Sedge", "chase;Sdege").as_bytes(),
    );
    let (exit, said) = desk.refused("holt observe 'Weir family' --file ~/wrong.csv").await;
    assert!(exit == 3 && said.contains("row 3, receiver"), "{said}");
    let shown = desk.done("holt standing 'Weir family' --format csv").await;
    assert_eq!(shown.lines().count(), 7, "{shown}");
    let listed = desk.done("holt observation list 'Weir family'").await;
    let id = listed.trim_end().rsplit('\t').next().unwrap().to_owned();
    desk.done(&format!("holt observation withdraw {} 1 --because 'it was Alder'", &id[..8])).await;
    let (exit, _) = desk.refused("holt observation withdraw ffffffff 1 --because 'it was Alder'").await;
    assert_eq!(exit, 4);
    weir.house.close().await;
}

/// A server that takes nothing: what was typed stays, and is sent later.
#[tokio::test]
async fn what_was_typed_is_not_lost_where_it_cannot_be_recorded() {
    let weir = Weir::new().await;
    let desk = weir.house.desk_of(&weir.park.auditor, &[(Role::Auditor, Some("QUI"))]);
    let ran = desk.pipe("holt observe 'Weir family'", b"bra ch se\nend\n").await;
    assert_eq!(ran.exit, 5, "an auditor records nothing: {}", ran.err);
    assert!(ran.err.contains("nothing is lost; send it later: holt observe --file"), "{}", ran.err);
    let again = desk.pipe("holt observe 'Weir family'", b"end\n").await;
    assert!(
        again.err.contains("An observation is not recorded yet; send it: holt observe --file"),
        "{}",
        again.err
    );
    let folder = desk.path(".local/state/holt/watches");
    let mut kept: Vec<Vec<u8>> =
        std::fs::read_dir(folder).unwrap().map(|file| std::fs::read(file.unwrap().path()).unwrap()).collect();
    kept.sort_by_key(Vec::len);
    let keeper = keeper(&weir);
    keeper.file("kept.csv", &kept.pop().unwrap());
    assert!(keeper.done("holt observe --file ~/kept.csv").await.contains("\t2\t2\t0\t"));
    let (exit, said) = keeper.refused("holt observe Nobody").await;
    assert_eq!(exit, 4, "{said}");
    weir.house.close().await;
}
