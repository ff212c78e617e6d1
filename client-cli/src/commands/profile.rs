//! `holt profile`

use crate::errand::Outcome;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::output::Output;
use crate::places::homeless;
use crate::profile::{self, Profile as File, Settings};
use crate::views::settings::{Entry, Shown};
use clap::{Args, Subcommand, ValueEnum};

/// Show or set the server and the site to use if you name none
#[derive(Args, Debug)]
#[command(args_conflicts_with_subcommands = true)]
#[command(after_help = "\
Examples:
  holt profile
  holt profile set server https://holt.example:7465
  holt profile set site QUI
  holt profile unset site")]
pub(crate) struct Profile {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Show what is set, and where that comes from
    #[command(after_help = "Examples:\n  holt profile show")]
    Show,
    /// Set the server or the site in the profile file
    #[command(after_help = "Examples:\n  holt profile set site QUI")]
    Set {
        /// server or site
        key: Key,
        /// The value
        value: String,
    },
    /// Remove the server or the site from the profile file
    #[command(after_help = "Examples:\n  holt profile unset site")]
    Unset {
        /// server or site
        key: Key,
    },
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Key {
    Server,
    Site,
    CaFile,
}

impl Profile {
    pub(crate) fn run(self, settings: &Settings, mut output: Output<'_>) -> Outcome {
        match self.what.unwrap_or(What::Show) {
            What::Show => output.show(&shown(settings)?)?,
            What::Set { key, value } => change(settings, key, Some(value))?,
            What::Unset { key } => change(settings, key, None)?,
        }
        Ok(Exit::Done)
    }
}

fn change(settings: &Settings, key: Key, value: Option<String>) -> Result<(), Failure> {
    let path = settings.places.profile().ok_or_else(homeless)?;
    let mut file = File::load(&path)?;
    match key {
        Key::Server => file.server = value,
        Key::Site => file.site = value.map(|code| profile::site_code(&code)).transpose()?,
        Key::CaFile => file.ca_file = value.map(Into::into),
    }
    file.save(&path)
}

fn shown(settings: &Settings) -> Result<Shown, Failure> {
    let entry = |setting, value: Option<String>, from: Option<String>| Entry { setting, value, from };
    let site = settings.site.as_ref();
    let ca_file = settings.ca_file.as_ref();
    let path = |path: std::path::PathBuf| Some(path.display().to_string());
    Ok(Shown {
        settings: vec![
            entry("server", Some(settings.server.value.clone()), Some(settings.server.source.to_string())),
            entry("site", site.map(|site| site.value.clone()), site.map(|site| site.source.to_string())),
            entry(
                "ca-file",
                ca_file.and_then(|file| path(file.value.clone())),
                ca_file.map(|file| file.source.to_string()),
            ),
            entry("profile file", settings.places.profile().and_then(path), None),
            entry("sign-ins", path(settings.places.state()?), None),
        ],
    })
}
