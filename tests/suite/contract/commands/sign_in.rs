//! Signing in: what is kept, how it is renewed, and that no refresh token is spent twice.

use super::scene;
use chrono::TimeDelta;
use futures::future::join_all;
use holt_tests::desk::Fed;
use holt_tests::{Desk, House};
use std::os::unix::fs::PermissionsExt;

const PASSWORD: &str = "otters like clear water";

fn mode(desk: &Desk, path: &str) -> u32 {
    std::fs::metadata(desk.path(path)).unwrap().permissions().mode() & 0o777
}

/// The fields of a line between tabs.
fn fields(line: &str) -> Vec<&str> {
    line.trim_end().split('\t').collect()
}

/// A desk where Ada, a keeper, has signed in and set a password of her own.
async fn ada(scene: &scene::Scene) -> Desk {
    let added = scene.steward.done("holt person add ada 'Ada Quell' --role keeper@QUI").await;
    let one_time = fields(&added)[1].to_owned();
    let desk = scene.house.desk();
    let signed_in = desk.pipe("holt sign-in ada --password-stdin", format!("{one_time}\n").as_bytes()).await;
    assert_eq!(signed_in.exit, 0, "{}", signed_in.err);
    assert!(signed_in.err.contains("one-time password") && signed_in.err.contains("`holt password`"));
    // Until it is changed, nothing else is open.
    let (exit, error) = desk.refused("holt due").await;
    assert_eq!(exit, 5);
    assert!(error.contains("the one-time password must be changed first"), "{error}");
    let both = format!("{one_time}\n{PASSWORD}\n");
    let changed = desk.pipe("holt password --password-stdin", both.as_bytes()).await;
    assert_eq!(changed.exit, 0, "{}", changed.err);
    desk
}

#[tokio::test]
async fn tokens_are_kept_for_their_owner_alone() {
    let scene = scene::bare().await;
    let desk = ada(&scene).await;
    assert_eq!(desk.done("holt whoami --format text").await, "Ada Quell (ada): keeper at QUI.\n");
    assert_eq!(mode(&desk, ".local/state/holt"), 0o700);
    assert_eq!(mode(&desk, ".local/state/holt/sign-in.toml"), 0o600);
    desk.done("holt profile set site QUI").await;
    assert_eq!(mode(&desk, ".config/holt/profile.toml"), 0o600);
    // Tokens are for the server that gave them.
    let other = "http://localhost:1";
    let (exit, error) = desk.refused(&format!("holt whoami --server {other}")).await;
    assert_eq!(exit, 5);
    assert!(error.contains("you are not signed in"), "{error}");
    desk.done("holt sign-out").await;
    assert_eq!(desk.refused("holt whoami").await.0, 5);
    let out = desk.run("holt sign-out").await;
    assert_eq!((out.exit, out.err.as_str()), (0, "Nobody is signed in.\n"));
    scene.house.close().await;
}

#[tokio::test]
async fn a_password_is_asked_for_on_a_terminal_only() {
    let scene = scene::bare().await;
    let desk = ada(&scene).await;
    let (exit, error) = desk.refused("holt sign-in ada").await;
    assert_eq!(exit, 2);
    assert!(error.contains("--password-stdin"), "{error}");
    let desk = desk.at_terminal(80).with("NO_COLOR", "1");
    let typed = |secrets: &[&str]| Fed {
        input: Vec::new(),
        secrets: secrets.iter().map(|&secret| secret.to_owned()).collect(),
    };
    let signed_in = desk.feed("holt sign-in ada", typed(&[PASSWORD])).await;
    assert_eq!(signed_in.out, "Signed in as Ada Quell: keeper at QUI.\n", "{}", signed_in.err);
    let wrong = desk.feed("holt sign-in ada", typed(&["guess"])).await;
    assert_eq!(wrong.exit, 5);
    assert!(!wrong.err.contains("guess"), "{}", wrong.err);
    let differ = desk.feed("holt password", typed(&[PASSWORD, "one new password", "another password"])).await;
    assert_eq!(differ.exit, 3);
    assert!(differ.err.contains("are not the same"), "{}", differ.err);
    let short = desk.feed("holt password", typed(&[PASSWORD, "short", "short"])).await;
    assert_eq!(short.exit, 3);
    assert!(short.err.contains("new_password: has 5 characters\n  instead: give 12 to 256"), "{}", short.err);
    scene.house.close().await;
}

/// How many refresh tokens were spent, and how many ended unspent, as those of a sign-in do when a spent
/// one is shown again.
async fn spent_and_ended(house: &House) -> (i64, i64) {
    sqlx::query_as("SELECT count(spent_at), count(*) FILTER (WHERE ended_at IS NOT NULL AND spent_at IS NULL) FROM refresh_tokens")
        .fetch_one(&mut house.owner().await)
        .await
        .unwrap()
}

#[tokio::test]
async fn a_token_that_has_run_out_is_renewed_once_however_many_ask() {
    let scene = scene::bare().await;
    let desk = ada(&scene).await;
    let (spent, ended) = spent_and_ended(&scene.house).await;
    scene.house.clock.advance(TimeDelta::minutes(11));
    let kept = || std::fs::read_to_string(desk.path(".local/state/holt/sign-in.toml")).unwrap();
    let stale = kept();
    for ran in join_all((0..8).map(|_| desk.run("holt animal list"))).await {
        assert_eq!(ran.exit, 0, "{}", ran.err);
    }
    let renewed = kept();
    assert_ne!(renewed, stale);
    assert_eq!(spent_and_ended(&scene.house).await, (spent + 1, ended));
    // The new one is used until it runs out, too.
    desk.done("holt due").await;
    assert_eq!(kept(), renewed);
    scene.house.clock.advance(TimeDelta::minutes(11));
    desk.done("holt due").await;
    assert_eq!(spent_and_ended(&scene.house).await, (spent + 2, ended));
    scene.house.close().await;
}

#[tokio::test]
async fn a_sign_in_that_has_run_out_is_told_and_forgotten() {
    let scene = scene::bare().await;
    let desk = ada(&scene).await;
    scene.house.clock.advance(TimeDelta::days(30));
    let (exit, error) = desk.refused("holt due").await;
    assert_eq!(exit, 5);
    assert_eq!(error, "holt: your sign-in has expired\n  instead: sign in: `holt sign-in NAME`\n");
    assert!(desk.refused("holt due").await.1.contains("you are not signed in"));
    scene.house.close().await;
}

#[tokio::test]
async fn a_renewal_does_not_wait_for_ever_for_another_command() {
    let scene = scene::bare().await;
    let desk = ada(&scene).await;
    scene.house.clock.advance(TimeDelta::minutes(11));
    let lock =
        std::fs::File::options().write(true).open(desk.path(".local/state/holt/sign-in.lock")).unwrap();
    lock.lock().unwrap();
    let (exit, error) = desk.refused("holt due --timeout 1").await;
    assert_eq!(exit, 7);
    assert!(error.contains("another command has been renewing"), "{error}");
    drop(lock);
    desk.done("holt due").await;
    scene.house.close().await;
}
