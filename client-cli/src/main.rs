//! `holt`: hands the process to [`holt_cli::run`].

use holt_cli::{Terminal, World, line_editor, run};
use std::io::{IsTerminal, stderr, stdin, stdout};
use std::process::ExitCode;
use std::sync::Arc;

#[tokio::main(flavor = "current_thread")]
async fn main() -> ExitCode {
    let width = terminal_size::terminal_size().map(|(width, _)| width.0);
    let terminal = Terminal {
        input: stdin().is_terminal(),
        output: stdout().is_terminal(),
        errors: stderr().is_terminal(),
        width,
    };
    #[expect(clippy::disallowed_methods, reason = "the process's own clock, and its only reader")]
    let clock = Arc::new(chrono::Utc::now);
    let mut world = World {
        input: Box::new(stdin()),
        output: Box::new(stdout()),
        errors: Box::new(stderr()),
        ask_secret: Box::new(|prompt| rpassword::prompt_password(prompt)),
        ask_line: if terminal.input { line_editor() } else { None },
        terminal,
        environment: std::env::vars_os()
            .filter_map(|(name, value)| Some((name.into_string().ok()?, value.into_string().ok()?)))
            .collect(),
        clock,
    };
    run(std::env::args_os().collect(), &mut world).await.into()
}
