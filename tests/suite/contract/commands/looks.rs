//! Colour and width: decided once for each stream.

use super::scene;
use holt_tests::Desk;

const ESCAPE: char = '\u{1b}';

async fn concerns(desk: &Desk, options: &str) -> String {
    desk.done(&format!("holt concern list --format text {options}")).await
}

#[tokio::test]
async fn colour_is_for_terminals_that_want_it() {
    let scene = scene::full().await;
    let pipe = scene.vet;
    assert!(!concerns(&pipe, "").await.contains(ESCAPE));
    assert!(concerns(&pipe, "--color always").await.contains(ESCAPE));
    let terminal = pipe.at_terminal(80);
    assert!(concerns(&terminal, "").await.contains(ESCAPE));
    assert!(!concerns(&terminal, "--color never").await.contains(ESCAPE));
    // no-color.org: present and not empty, whatever its value.
    let terminal = terminal.with("NO_COLOR", "");
    assert!(concerns(&terminal, "").await.contains(ESCAPE));
    let terminal = terminal.with("NO_COLOR", "0");
    assert!(!concerns(&terminal, "").await.contains(ESCAPE));
    let (_, error) = terminal.refused("holt animal show Nobody").await;
    assert!(!error.contains(ESCAPE), "{error}");
    let dumb = terminal.with("NO_COLOR", "").with("TERM", "dumb");
    assert!(!concerns(&dumb, "").await.contains(ESCAPE));
    scene.house.close().await;
}

#[tokio::test]
async fn errors_have_the_colour_of_their_own_stream() {
    let mut scene = scene::bare().await;
    scene.keeper.terminal.errors = true;
    let ran = scene.keeper.run("holt animal show Nobody").await;
    assert!(ran.err.contains(ESCAPE), "{}", ran.err);
    let listed = scene.keeper.done("holt animal list --format text").await;
    assert!(!listed.contains(ESCAPE), "{listed}");
    scene.house.close().await;
}

#[tokio::test]
async fn nothing_is_wider_than_the_terminal() {
    let mut scene = scene::full().await;
    for width in [50, 80, 120] {
        scene.auditor = scene.auditor.at_terminal(width).with("NO_COLOR", "1");
        for line in [
            "holt animal list",
            "holt animal show Bramble",
            "holt concern list",
            "holt due",
            "holt report",
            "holt litter list",
            "holt litter show Sedge",
            "holt stock-return",
            "holt group list",
            "holt group show 'Weir family'",
            "holt transfer list",
            "holt protocol show otter-look",
            "holt weight list --limit 5",
            "holt welfare list",
        ] {
            let text = scene.auditor.done(line).await;
            let widest = text.lines().map(|line| line.chars().count()).max().unwrap_or_default();
            assert!(widest <= usize::from(width), "{line} at {width} columns is {widest} wide\n{text}");
        }
    }
    scene.auditor = scene.auditor.at_terminal(50);
    insta::assert_snapshot!("narrow_due", scene.auditor.done("holt due").await);
    scene.house.close().await;
}
