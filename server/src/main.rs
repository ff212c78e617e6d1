//! `holtd`: arguments → configuration → the house. Nothing else.

use clap::{Parser, Subcommand};
use holt_server::app::{self, AppError, House};
use holt_server::config::{Config, LogFormat, Surroundings};
use holt_server::demo;
use std::error::Error;
use std::io::{self, IsTerminal};
use std::path::PathBuf;
use std::process::ExitCode;
use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::EnvFilter;

/// The Holt server: animal records and welfare audits over gRPC.
///
/// Without DATABASE_URL it manages a private PostgreSQL of its own in its data folder. Settings come from a
/// file (`--config`), then from the environment (HOLT__SECTION__KEY); `holtd settings` lists them all.
#[derive(Parser)]
#[command(name = "holtd", version, max_term_width = 100)]
struct Arguments {
    /// Settings file (TOML).
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    /// Serve until told to stop (SIGINT or SIGTERM). This is what happens without a command, too.
    Serve,
    /// Show what Holt does: three invented parks, and three people's work in them.
    Demo {
        /// End after the work instead of serving on.
        #[arg(long)]
        once: bool,
    },
    /// Print every setting with its unit and default.
    Settings,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    if matches!(arguments.command, Some(Command::Settings)) {
        say(Config::manual());
        return ExitCode::SUCCESS;
    }
    match run(&arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&*error);
            ExitCode::FAILURE
        }
    }
}

fn run(arguments: &Arguments) -> Result<(), Box<dyn Error>> {
    let mut config = Config::load(arguments.config.as_deref())?;
    let around = Surroundings::read();
    let runtime = tokio::runtime::Runtime::new()?;
    if let Some(Command::Demo { once }) = arguments.command {
        // The log would run through what is shown.
        if config.log.filter == "info" {
            config.log.filter = "warn".to_owned();
        }
        log_as(&config);
        return Ok(runtime.block_on(async {
            let stop = stop_signal()?;
            demo::run(&config, &around, &say, once, stop).await
        })?);
    }
    log_as(&config);
    Ok(runtime.block_on(serve(&config, &around))?)
}

/// Resolves when somebody tells the process to stop.
fn stop_signal() -> io::Result<impl Future<Output = ()> + Send> {
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    })
}

async fn serve(config: &Config, around: &Surroundings) -> Result<(), AppError> {
    let stop = stop_signal().map_err(|error| AppError::Served(error.to_string()))?;
    let listener = app::listen(config)?;
    let house = House::open(config, around).await?;
    if let Some((name, password)) = &house.first_steward {
        say(&format!(
            "This is the first start. Holt added a first steward, with a one-time password that it shows \
             only here:\n\n  \
             sign-in name:      {name}\n  one-time password: {password}\n\nSign in with `holt sign-in \
             {name}` and \
             change it with `holt password`.\n"
        ));
    }
    tracing::info!(address = %config.server.listen, tls = config.server.has_tls(), "serving");
    house.serve(config, listener, stop).await
}

fn log_as(config: &Config) {
    let filter = EnvFilter::try_new(&config.log.filter).unwrap_or_else(|_| EnvFilter::new("info"));
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(io::stderr)
        .with_ansi(io::stderr().is_terminal())
        .with_target(false);
    match config.log.format {
        LogFormat::Text => log.init(),
        LogFormat::Json => log.json().init(),
    }
}

#[expect(clippy::print_stdout, reason = "what a person asked for, and the one-time password, go to stdout")]
fn say(text: &str) {
    println!("{text}");
}

#[expect(clippy::print_stderr, reason = "the log may not be there yet")]
fn complain(error: &dyn Error) {
    eprintln!("holtd: {error}");
}
