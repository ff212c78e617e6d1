//! The Holt command line.
//!
//! - [`run`] does what one command line says, in a [`World`] that is handed to it, and answers the exit
//!   code. `main` hands it the process; tests hand it their own.
//! - `args` and `commands` are what can be typed; `contract` is what can be asked of a server, `session`
//!   asks it as somebody, `connect` finds it.
//! - `chart` is what a chart says, however it is drawn.
//! - `site_page` is the page of a site for an inspector.
//! - `views` are what is shown of each concept; `output` prints them and is the only place that prints.
//!
//! Nothing here knows a rule of the trade: what is so, and what may be, is the server's to say. Only what the
//! ledger proves is checked here, in `proof`, because what a server says of itself is not a proof. Curves are drawn by the
//! formulas of `holt-audit`.

mod args;
mod chart;
mod commands;
mod connect;
mod contract;
mod darwin_core;
mod editor;
mod errand;
mod exchange;
mod exit;
mod failure;
mod moment;
mod output;
mod places;
mod profile;
mod proof;
mod rhythm;
mod round;
mod session;
mod sheet;
mod site_page;
mod tokens;
mod typing;
mod unsent;
mod views;
mod watching;
mod words;
mod world;

pub use args::command;
pub use editor::line_editor;
pub use exit::Exit;
pub use world::{AskLine, AskSecret, Clock, Terminal, World};

use args::{Colour, Holt};
use clap::FromArgMatches;
use output::{Looks, Output};
use std::ffi::OsString;
use std::pin::Pin;

/// Help is no easier to read for being wider.
const WIDEST_HELP: u16 = 100;

/// Does what a command line says and answers the exit code. Boxed, so that the whole client is compiled here and not
/// once more in each program that asks for it.
pub fn run(arguments: Vec<OsString>, world: &mut World) -> Pin<Box<dyn Future<Output = u8> + '_>> {
    Box::pin(answer(arguments, world))
}

async fn answer(arguments: Vec<OsString>, world: &mut World) -> u8 {
    let usual = looks(Colour::Auto, world);
    let command = command().term_width(usual.0.width.min(WIDEST_HELP).into());
    let is_bare = arguments.len() == 1;
    let arguments = if is_bare && commands::is_signed_in(world) {
        vec![OsString::from("holt"), OsString::from("today")]
    } else {
        arguments
    };
    let wants_json = args::wants_json(&arguments);
    let holt = match command.try_get_matches_from(arguments).and_then(|found| Holt::from_arg_matches(&found))
    {
        Ok(holt) => holt,
        Err(error) => {
            let exit = if error.use_stderr() { Exit::Usage } else { Exit::Done };
            // Where help cannot be written there is nobody to tell.
            let _ = if wants_json && error.use_stderr() {
                output::misunderstood(&error, world)
            } else {
                output::parser(&error, world, usual)
            };
            return exit.into();
        }
    };
    let looks = looks(holt.global.color, world);
    let global = holt.global.clone();
    let result = commands::run(holt, world, looks).await;
    match result {
        Ok(exit) => exit.into(),
        Err(failure) => {
            let (results, errors) = (&mut *world.output, &mut *world.errors);
            Output::new(&global, looks, world.terminal, results, errors).failure(&failure);
            failure.exit.into()
        }
    }
}

/// How results and errors look.
fn looks(colour: Colour, world: &World) -> (Looks, Looks) {
    (Looks::of(colour, world.terminal.output, world), Looks::of(colour, world.terminal.errors, world))
}
