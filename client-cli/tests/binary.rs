//! The binary itself: streams, exit codes and environment of a real process.

use std::process::{Command, Output, Stdio};

fn holt() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_holt"));
    command.env_clear().stdin(Stdio::null());
    command
}

fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).expect("output is UTF-8")
}

fn run(arguments: &[&str], environment: &[(&str, &str)]) -> Output {
    holt().args(arguments).envs(environment.iter().copied()).output().expect("the binary runs")
}

#[test]
fn results_and_errors_have_streams_of_their_own() {
    let version = run(&["--version"], &[]);
    assert_eq!(version.status.code(), Some(0));
    assert_eq!(text(&version.stdout), format!("holt {}\n", env!("CARGO_PKG_VERSION")));
    assert_eq!(text(&version.stderr), "");
    let unknown = run(&["frobnicate"], &[]);
    assert_eq!(unknown.status.code(), Some(2));
    assert_eq!(text(&unknown.stdout), "");
}

#[test]
fn the_environment_of_the_process_is_the_one_that_counts() {
    let shown = run(&["profile"], &[("HOME", "/nowhere"), ("HOLT_SITE", "qui")]);
    assert_eq!(shown.status.code(), Some(0), "{}", text(&shown.stderr));
    assert!(text(&shown.stdout).contains("site\tQUI\tHOLT_SITE\n"), "{}", text(&shown.stdout));
    let homeless = run(&["whoami"], &[]);
    assert_eq!(homeless.status.code(), Some(1));
    assert!(text(&homeless.stderr).contains("HOME"), "{}", text(&homeless.stderr));
}

#[test]
fn where_there_is_no_server_the_exit_is_seven() {
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let server = format!("http://127.0.0.1:{port}");
    let away = run(&["whoami"], &[("HOLT_SERVER", &server), ("HOLT_TOKEN", "x")]);
    assert_eq!(away.status.code(), Some(7));
    assert!(!text(&away.stderr).contains('\u{1b}'), "no colour where there is no terminal");
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let mut child =
        holt().args(["completions", "bash"]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    let ended = child.wait_with_output().unwrap();
    assert_eq!(text(&ended.stderr), "");
    assert_eq!(ended.status.code(), Some(0));
}
