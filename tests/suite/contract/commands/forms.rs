//! What each command prints: for people, as lines, for spreadsheets, and as JSON. The fields and their
//! names are a contract.

use super::scene::{self, PROTOCOL};
use holt_tests::Desk;

/// What a command prints in each form.
async fn forms(desk: &Desk, line: &str) -> String {
    let mut text = String::new();
    for form in ["text", "plain", "csv", "json"] {
        let line = format!("{line} --format {form}");
        let printed = desk.done(&line).await;
        text.push_str(&format!("$ {line}\n{printed}\n"));
    }
    text
}

#[tokio::test]
async fn what_is_read_is_the_same_in_every_form() {
    let scene = scene::full().await;
    for (name, desk, line) in [
        ("animal_list", &scene.keeper, "holt animal list"),
        ("animal_show", &scene.keeper, "holt animal show Bramble"),
        ("assessments", &scene.keeper, "holt welfare list"),
        ("check_list", &scene.keeper, "holt check list"),
        ("concerns", &scene.vet, "holt concern list"),
        ("due", &scene.keeper, "holt due"),
        ("enclosure_list", &scene.keeper, "holt enclosure list"),
        ("group_list", &scene.keeper, "holt group list"),
        ("group_show", &scene.keeper, "holt group show 'Weir family'"),
        ("litter_list", &scene.keeper, "holt litter list"),
        ("litter_show", &scene.keeper, "holt litter show Sedge"),
        ("protocol_list", &scene.auditor, "holt protocol list"),
        ("protocol_show", &scene.auditor, "holt protocol show otter-look"),
        ("person_list", &scene.steward, "holt person list --site QUI"),
        ("report", &scene.auditor, "holt report"),
        ("site_list", &scene.auditor, "holt site list"),
        ("species_list", &scene.auditor, "holt species list"),
        ("stock_return", &scene.auditor, "holt stock-return --year 2026"),
        ("transfer_list", &scene.registrar, "holt transfer list"),
        ("weights", &scene.keeper, "holt weight list Bramble --limit 3"),
        ("whoami", &scene.keeper, "holt whoami"),
    ] {
        insta::assert_snapshot!(name, forms(desk, line).await);
    }
    scene.house.close().await;
}

#[tokio::test]
async fn what_is_written_is_told_in_every_form() {
    let scene = scene::bare().await;
    scene.house.park("MER", "Europe/Lisbon").await;
    let mut text = String::new();
    let otter =
        "holt animal arrived 'Lontra canadensis' --on 2026-02-27 --from rescue --sex unknown --born 2025";
    for (desk, line) in [
        (
            &scene.steward,
            "holt site add ALD 'Alder Park' --zone Europe/Paris --latitude 48.8 --longitude 2.3",
        ),
        (&scene.steward, "holt person grant qui-vet keeper@QUI"),
        (&scene.steward, "holt person revoke qui-vet keeper@QUI"),
        (&scene.registrar, "holt species add 'Aonyx cinereus' 'Asian small-clawed otter'"),
        (&scene.registrar, "holt enclosure add 'Otter pool' --kind outdoor --capacity 1"),
        (&scene.registrar, &format!("{otter} --estimated --name Rush")),
        (
            &scene.registrar,
            "holt animal born 'Lontra canadensis' --on today --sex unknown --dam Sedge --name Pip",
        ),
        (&scene.registrar, "holt animal sex Pip male"),
        (&scene.registrar, "holt mark apply Pip transponder 985112000123456 --place shoulder"),
        (&scene.registrar, "holt mark end Pip 985112000123456 --because unreadable"),
        (&scene.registrar, "holt animal departed Rush --on today --to collection --to-name Fenwater"),
        (&scene.registrar, "holt animal died Teasel --at 05:30 --manner natural --note 'found at dawn'"),
        (&scene.registrar, "holt litter record 0.0.4 --on 2026-02-20 --dam Sedge --note 'heard, not seen'"),
        (&scene.registrar, "holt litter found Sedge 1"),
        (&scene.registrar, "holt litter died Sedge 1 --on 2026-02-21 --manner natural"),
        (&scene.registrar, "holt litter sexed Sedge --males 1 --females 2"),
        (&scene.registrar, "holt litter identify Sedge --sex female --name Wick"),
        (&scene.keeper, "holt group add 'Weir family' --note 'Sedge and her young'"),
        (&scene.keeper, "holt group join 'Weir family' Sedge --as breeding"),
        (&scene.keeper, "holt group join 'Weir family' Wick Pip --as juvenile"),
        (&scene.keeper, "holt group move 'Weir family' --in 'Otter pool'"),
        (&scene.keeper, "holt group leave 'Weir family' Pip --because 'taken out to be reared by hand'"),
        (&scene.keeper, "holt weigh --litter Sedge --count 3 812 g --scale kitchen"),
        (&scene.keeper, "holt weigh --group 'Weir family' --count 2 8.9kg --at 05:40"),
        (&scene.registrar, "holt check add weigh --all --every '2 weeks' --on mon,thu --grace 1"),
        (&scene.keeper, "holt place Bramble Sedge --in 'Otter pool'"),
        (&scene.keeper, "holt weigh Bramble 8.2kg"),
        (&scene.keeper, "holt weigh Sedge --declined --at yesterday"),
        (
            &scene.registrar,
            "holt transfer propose Bramble --to MER --terms ownership-passes --because 'to pair'",
        ),
    ] {
        // What can be tried first is tried first.
        let tried = desk.run(&format!("{line} --check-only --format text")).await;
        if tried.exit == 0 {
            text.push_str(&format!("$ {line} --check-only\n{}\n", tried.out));
        }
        let told = desk.run(&format!("{line} --format text")).await;
        assert_eq!(told.exit, 0, "{line}\n{}", told.err);
        text.push_str(&format!("$ {line}\n{}\n", told.out));
    }
    insta::assert_snapshot!("written", text);
    scene.house.close().await;
}

#[tokio::test]
async fn a_round_is_answered_in_every_form() {
    let scene = scene::full().await;
    let file = "animal,mass,at,declined\n\
                Bramble,7.0 kg,2026-03-02 05:40,\n\
                Sedge,79 kg,2026-03-02 05:41,\n\
                Teasel,,2026-03-02 05:42,yes\n\
                Brmble,7.0 kg,2026-03-02 05:43,\n\
                Sedge,heavy,2026-03-02 05:44,\n";
    let mut text = String::new();
    for (form, only) in [("text", " --check-only"), ("text", ""), ("plain", ""), ("csv", ""), ("json", "")] {
        let line = format!("holt weigh --file - --format {form}{only}");
        let ran = scene.keeper.pipe(&line, file.as_bytes()).await;
        assert_eq!(ran.exit, 3, "{line}");
        text.push_str(&format!("$ {line}\n{}{}\n", ran.out, ran.err));
    }
    insta::assert_snapshot!("round", text);
    scene.house.close().await;
}

#[tokio::test]
async fn an_assessment_is_answered_with_the_grade_of_each_domain() {
    let scene = scene::bare().await;
    let loaded = scene.steward.pipe("holt protocol load - --format text", PROTOCOL.as_bytes()).await;
    assert_eq!(loaded.out, "Loaded Otters: a short look (otter-look, version 1).\n", "{}", loaded.err);
    let findings = "indicator,found,confidence,evidence\ncoat,dull,high,thin at the tail\nwater,29,,\n";
    let ran = scene
        .keeper
        .pipe("holt assess Bramble --protocol otter-look@1 --file - --format text", findings.as_bytes())
        .await;
    insta::assert_snapshot!("assess", ran.out);
    assert_eq!(ran.exit, 0, "{}", ran.err);
    scene.house.close().await;
}

#[tokio::test]
async fn an_empty_list_says_so_to_people_and_is_empty_to_programs() {
    let scene = scene::bare().await;
    for (line, say) in [
        ("holt weight list", "No weights.\n"),
        ("holt transfer list", "No transfers.\n"),
        ("holt check list", "No checks.\n"),
        ("holt due", "Nothing is due at QUI on 2026-03-02.\n"),
    ] {
        assert_eq!(scene.keeper.done(&format!("{line} --format text")).await, say, "{line}");
        assert_eq!(scene.keeper.done(&format!("{line} --format plain")).await, "", "{line}");
        assert_eq!(scene.keeper.done(&format!("{line} --format csv")).await.lines().count(), 1, "{line}");
    }
    scene.house.close().await;
}

#[tokio::test]
async fn plain_lines_go_into_a_pipe_and_text_to_a_terminal_unless_asked_otherwise() {
    let mut scene = scene::bare().await;
    let piped = scene.keeper.done("holt animal list").await;
    assert_eq!(piped, scene.keeper.done("holt animal list --format plain").await);
    assert!(piped.starts_with("QUI-25-0001\tBramble\t"), "{piped}");
    scene.keeper = scene.keeper.at_terminal(80).with("NO_COLOR", "1");
    let shown = scene.keeper.done("holt animal list").await;
    assert_eq!(shown, scene.keeper.done("holt animal list --format text").await);
    assert!(shown.starts_with("Accession"), "{shown}");
    scene.house.close().await;
}
