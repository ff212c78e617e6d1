//! The command line: its root, and the options that hold for every command.

use crate::commands::Command;
use crate::connect::USUAL_SERVER;
use crate::exit;
use clap::{Args, CommandFactory, Parser, ValueEnum};
use std::ffi::OsString;
use std::path::PathBuf;

/// Records of animals and their welfare, across sites.
///
/// Holt records where animals live, what they weigh, how they were assessed and what is due. It raises a
/// concern if the numbers call for somebody to look. Results go to standard output, everything else to
/// standard error.
#[derive(Debug, Parser)]
#[command(
    name = "holt",
    version,
    arg_required_else_help = true,
    subcommand_required = true,
    after_help = "Begin with `holt sign-in NAME`. Then `holt` alone shows today's page (`holt today`). `holt COMMAND \
        --help` has examples.",
    after_long_help = after_long_help(),
)]
pub(crate) struct Holt {
    #[command(flatten)]
    pub(crate) global: Global,

    #[command(subcommand)]
    pub(crate) command: Command,
}

/// Options that every command takes. Those that are seldom needed stand in the help of `holt` alone, so
/// that the help of a command is about the command.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Options of every command (`holt --help` has more)")]
pub(crate) struct Global {
    /// Site to use [environment: HOLT_SITE; default: that of the profile, else your only one]
    #[arg(short, long, global = true, value_name = "CODE")]
    pub(crate) site: Option<String>,

    /// Address of the server [environment: HOLT_SERVER; default: http://127.0.0.1:7465]
    #[arg(long, global = true, value_name = "URL", hide = true)]
    pub(crate) server: Option<String>,

    /// How to print: text, plain, csv or json [default: text on a terminal, else plain]
    #[arg(long, global = true, value_enum, value_name = "FORM", hide_possible_values = true)]
    pub(crate) format: Option<Format>,

    /// Colour: auto, always or never [NO_COLOR and TERM=dumb turn it off]
    #[arg(long, global = true, value_enum, value_name = "WHEN", default_value_t = Colour::Auto)]
    #[arg(hide_possible_values = true, hide_default_value = true, hide = true)]
    pub(crate) color: Colour,

    /// Longest wait for an answer, seconds [default: 20]
    #[arg(long, global = true, value_name = "SECONDS", default_value_t = 20, hide_default_value = true)]
    #[arg(hide = true, value_parser = clap::value_parser!(u32).range(1..=3600))]
    pub(crate) timeout: u32,

    /// File with an access token, in place of a sign-in [environment: HOLT_TOKEN, the token itself]
    #[arg(long, global = true, value_name = "FILE", hide = true)]
    pub(crate) token_file: Option<PathBuf>,

    /// Certificates of the authority that vouches for the server, PEM [environment: HOLT_CA_FILE]
    #[arg(long, global = true, value_name = "FILE", hide = true)]
    pub(crate) ca_file: Option<PathBuf>,

    /// Let passwords and tokens travel without TLS to another machine, if the network is private
    #[arg(long, global = true, hide = true)]
    pub(crate) plaintext: bool,
}

/// How results are printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// Tables and sentences for people.
    Text,
    /// A record a line, fields between tabs, no header.
    Plain,
    /// The same for spreadsheets, with a header.
    Csv,
    /// One object.
    Json,
}

/// Whether a command line asks for JSON, also where nothing else of it is understood.
pub(crate) fn wants_json(arguments: &[OsString]) -> bool {
    let after = arguments.iter().zip(arguments.iter().skip(1));
    arguments.iter().any(|word| word == "--format=json")
        || after.into_iter().any(|(option, form)| option == "--format" && form == "json")
}

/// When colour is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Colour {
    Auto,
    Always,
    Never,
}

/// The whole command line, for help and completions.
#[must_use]
pub fn command() -> clap::Command {
    Holt::command()
}

fn after_long_help() -> String {
    format!(
        "\
More options of every command:
  --server URL       address of the server
                     [environment: HOLT_SERVER; default: {USUAL_SERVER}]
  --color WHEN       colour: auto, always or never
                     [environment: NO_COLOR or TERM=dumb turn it off]
  --timeout SECONDS  longest wait for an answer [default: 20]
  --token-file FILE  access token, in place of a sign-in
                     [environment: HOLT_TOKEN, the token itself]
  --ca-file FILE     certificates of the authority that vouches for the server,
                     PEM [environment: HOLT_CA_FILE; default: the system's]
  --plaintext        let passwords and tokens travel without TLS to another
                     machine, if the network is private

Forms of output (--format):
  text   tables and sentences for people
  plain  a record a line, its fields between tabs, without a header
  csv    the same fields with a header, for spreadsheets
  json   one object; errors on standard error are also objects

Times are those of the site: \"2026-11-25 06:40\", 06:40 (today), yesterday, 2026-11-25, or an instant \
with its offset, 2026-11-25T06:40+01:00. Weights need their unit: 8.2kg, 385 g, \"9 lb 3 oz\". An animal \
is named by house name, accession, transponder, ring or id; a concern, transfer, check or mark by its id. \
The beginning or end of an id is enough.

Files:
  $XDG_CONFIG_HOME/holt/profile.toml  server and site (`holt profile`)
  $XDG_STATE_HOME/holt/sign-in.toml   tokens, readable to you alone

{}",
        exit::EXPLAINED
    )
}
