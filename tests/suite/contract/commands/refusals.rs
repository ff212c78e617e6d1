//! What goes wrong, how it is told, and how it ends.

use super::scene;
use holt_server::model::person::Role;
use holt_tests::Desk;

async fn told(desk: &Desk, line: &str, text: &mut String) -> u8 {
    let ran = desk.run(line).await;
    let err = ran.err.replace(desk.path("").to_str().unwrap(), "~/");
    text.push_str(&format!("$ {line}\n{}{err}[exit {}]\n\n", ran.out, ran.exit));
    ran.exit
}

#[tokio::test]
async fn every_error_says_what_is_wrong_where_and_what_to_do() {
    let scene = scene::full().await;
    scene.registrar.done("holt animal died Teasel --on today --manner natural").await;
    scene.keeper.file("colour.csv", b"animal,mass,at,colour\nBramble,8 kg,2026-03-02,brown\n");
    scene.keeper.file(
        "bad.csv",
        b"animal,mass,at\nBramble,-8 kg,2026-03-01\nSedge,8.2,2026-03-01\nSedge,8 kg,2027-01-01\nTeasel,8 kg,2026-03-02\n",
    );
    let mut text = String::new();
    for (desk, line, exit) in [
        // Not understood.
        (&scene.keeper, "holt weigh Bramble 8.2", 2),
        (&scene.keeper, "holt weigh Bramble '8.2 stone'", 2),
        (&scene.keeper, "holt weigh Bramble heavy", 2),
        (&scene.keeper, "holt weigh Bramble", 2),
        (&scene.keeper, "holt weigh Bramble 8kg --at 25/11/2026", 2),
        (&scene.keeper, "holt weigh --file ~/nothing.csv", 2),
        (&scene.keeper, "holt weigh Bramble 8kg --site quill", 2),
        (&scene.keeper, "holt weigh Bramble 8kg --method sling", 2),
        (&scene.keeper, "holt place Bramble --in 'Otter pool' --at yesterday", 2),
        (&scene.keeper, "holt weight list --from today --to yesterday", 2),
        (&scene.registrar, "holt check add weigh --all --every month --on 31", 2),
        (&scene.steward, "holt person grant qui-vet boss@QUI", 2),
        (&scene.steward, "holt animal list", 2),
        // Refused as entered.
        (&scene.keeper, "holt weigh Brmble 8.2kg", 3),
        (&scene.keeper, "holt weigh Teasel 8kg", 3),
        (&scene.keeper, "holt weigh Bramble 8kg --at '2026-03-03 06:40'", 3),
        (&scene.keeper, "holt weigh Bramble 8kg --at '2025-03-30 01:30'", 3),
        (&scene.keeper, "holt weigh --file ~/colour.csv", 3),
        (&scene.keeper, "holt weigh --file ~/bad.csv --format text", 3),
        (&scene.keeper, "holt assess Bramble --protocol otter-look --found coat=shiny", 3),
        (&scene.keeper, "holt assess Bramble --protocol otter-look --found water=warm", 3),
        (&scene.registrar, "holt species add lontra 'River otter'", 3),
        (&scene.steward, "holt site add qui '' --zone Europe/Nowhere", 3),
        (&scene.registrar, "holt animal arrived 'Lontra canadensis' --on tomorrow --from wild --sex male", 3),
        (&scene.registrar, "holt mark apply Bramble transponder 276274877906944", 3),
        (&scene.registrar, "holt transfer propose Bramble --to QUI --terms loan --because x", 3),
        (&scene.registrar, "holt check add weigh --all --rule FREQ=HOURLY", 3),
        // Not there, or not to be seen.
        (&scene.keeper, "holt animal show Brmble", 4),
        (&scene.keeper, "holt animal list --site MER", 4),
        (&scene.keeper, "holt place Bramble --in Attic", 4),
        (&scene.keeper, "holt protocol show bear-look", 4),
        (&scene.keeper, "holt concern close ffff --because over", 4),
        (&scene.registrar, "holt transfer agree ffff", 4),
        // Not allowed.
        (&scene.keeper, "holt animal sex Bramble male", 5),
        (&scene.auditor, "holt weigh Bramble 8kg", 5),
        (&scene.steward, "holt weigh Bramble 8kg --site QUI", 5),
        // Changed meanwhile.
        (&scene.registrar, "holt animal died Bramble --on today --manner natural --based-on 99", 6),
    ] {
        assert_eq!(told(desk, line, &mut text).await, exit, "{line}\n{text}");
    }
    insta::assert_snapshot!("refusals", text);
    scene.house.close().await;
}

#[tokio::test]
async fn who_is_not_signed_in_is_told_how_to() {
    let scene = scene::bare().await;
    let nobody = scene.house.desk();
    assert_eq!(
        nobody.refused("holt due").await,
        (5, "holt: you are not signed in\n  instead: sign in: `holt sign-in NAME`\n".to_owned())
    );
    let wrong = nobody.with("HOLT_TOKEN", "not-a-token");
    let (exit, error) = wrong.refused("holt due").await;
    assert_eq!(exit, 5);
    assert!(error.contains("your sign-in has expired"), "{error}");
    assert!(!error.contains("not-a-token"), "{error}");
    scene.house.close().await;
}

#[tokio::test]
async fn a_token_can_come_from_a_file_and_is_never_printed() {
    let scene = scene::bare().await;
    let grant = holt_server::model::person::Grant { role: Role::Keeper, site: Some("QUI".to_owned()) };
    let token = scene.house.token(scene.park.keeper.id, &[grant]);
    let desk = scene.house.desk();
    desk.file("token", format!("{token}\n").as_bytes());
    assert!(desk.done("holt whoami --token-file ~/token").await.contains("keeper at QUI"));
    assert_eq!(desk.refused("holt whoami --token-file ~/none").await.0, 2);
    let desk = desk.with("HOLT_TOKEN", &token);
    for line in ["holt --help", "holt whoami --help", "holt whoami --format json", "holt profile"] {
        assert!(!desk.done(line).await.contains(&token), "{line}");
    }
    scene.house.close().await;
}

#[tokio::test]
async fn a_server_that_is_not_there_ends_with_seven_and_says_how_to_start_one() {
    let scene = scene::bare().await;
    // A port that was free a moment ago.
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let desk = scene.keeper.with("HOLT_SERVER", &format!("http://127.0.0.1:{port}"));
    let (exit, error) = desk.refused("holt due").await;
    assert_eq!(exit, 7);
    assert!(error.contains("Connection refused") && error.contains("tried 4 times"), "{error}");
    assert!(error.contains("start one with `holtd`"), "{error}");
    let json = desk.run("holt due --format json").await;
    let failed: serde_json::Value = serde_json::from_str(&json.err).unwrap();
    assert_eq!((json.out.as_str(), &failed["failed"]["exit"]), ("", &serde_json::json!(7)));
    scene.house.close().await;
}

#[tokio::test]
async fn a_server_that_does_not_answer_in_time_ends_with_seven() {
    let scene = scene::bare().await;
    let deaf = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let desk = scene.keeper.with("HOLT_SERVER", &format!("http://{}", deaf.local_addr().unwrap()));
    let (exit, error) = desk.refused("holt whoami --timeout 1").await;
    assert_eq!(exit, 7);
    assert!(error.contains("within 1 s"), "{error}");
    scene.house.close().await;
}

#[tokio::test]
async fn a_question_is_answered_by_the_exit_code() {
    let scene = scene::full().await;
    let asked = scene.keeper.run("holt due --ask --on 2026-03-01").await;
    assert_eq!((asked.exit, asked.err.as_str()), (10, ""), "{}", asked.out);
    assert_eq!(scene.keeper.run("holt due --ask --duty weigh --on 2026-02-24").await.exit, 0);
    scene.house.close().await;
}

/// One way of failing for programs, also where the line itself is not understood.
#[tokio::test]
async fn a_program_gets_an_object_for_a_line_that_is_not_understood() {
    let scene = scene::full().await;
    for (line, say, mend) in [
        ("holt wiegh Bramble 8kg --format json", "unrecognized subcommand 'wiegh'", "'weigh'"),
        ("holt weigh Bramble 8kg --gramm --format=json", "unexpected argument '--gramm' found", "--"),
        ("holt weigh Bramble 8kg --method sling --format json", "invalid value 'sling'", "--help"),
        ("holt --format json", "", "--help"),
        // Understood, and not all there.
        ("holt weigh Bramble --format json", "no weight given", "--declined"),
    ] {
        let ran = scene.keeper.run(line).await;
        assert_eq!((ran.exit, ran.out.as_str()), (2, ""), "{line}: {}", ran.err);
        let failed = serde_json::from_str::<serde_json::Value>(&ran.err).unwrap_or_else(|error| {
            panic!("{line}: {error}: {}", ran.err);
        })["failed"]
            .clone();
        let text = |key: &str| failed[key].as_str().unwrap_or_default().to_owned();
        assert_eq!(failed["exit"], 2);
        assert!(text("say").contains(say) && text("mend").contains(mend), "{line}: {failed}");
        assert!(!text("say").contains("error:") && !text("say").contains('\n'), "{failed}");
    }
    // Help that was asked for is no failure.
    let ran = scene.keeper.run("holt weigh --help --format json").await;
    assert!(ran.exit == 0 && ran.out.starts_with("Record a weight"), "{}", ran.out);
    scene.house.close().await;
}
