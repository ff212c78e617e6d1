//! Which server and site are meant: flag, then environment, then profile file, then the usual.

use crate::args::Global;
use crate::connect::USUAL_SERVER;
use crate::failure::Failure;
use crate::places::{self, Places};
use crate::world::World;
use holt_proto::notation::accession;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::{fmt, io};

/// The profile file.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(crate) struct Profile {
    /// Address of the server.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) server: Option<String>,
    /// Code of the site that is meant where none is named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) site: Option<String>,
    /// PEM file with the certificates of the authority that the server's certificate comes from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) ca_file: Option<PathBuf>,
}

impl Profile {
    /// What the file holds; nothing where there is none.
    pub(crate) fn load(path: &Path) -> Result<Self, Failure> {
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(error) => return Err(Failure::file("the profile", path, &error)),
        };
        toml::from_str(&text).map_err(|error| {
            Failure::usage(
                format!("the profile {} is not understood: {}", path.display(), error.message()),
                "correct it, or delete it and set server and site again: `holt profile set`",
            )
        })
    }

    /// Writes the file.
    pub(crate) fn save(&self, path: &Path) -> Result<(), Failure> {
        let text = toml::to_string(self).map_err(|error| Failure::machine(error.to_string(), ""))?;
        places::replace(path, &text).map_err(|error| Failure::file("the profile", path, &error))
    }
}

/// Where a setting comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Source {
    Flag(&'static str),
    Variable(&'static str),
    Profile,
    Usual,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flag(name) | Self::Variable(name) => f.write_str(name),
            Self::Profile => f.write_str("profile"),
            Self::Usual => f.write_str("default"),
        }
    }
}

/// A setting, and where it comes from.
#[derive(Clone, Debug)]
pub(crate) struct Setting<T> {
    pub(crate) value: T,
    pub(crate) source: Source,
}

fn first<T>(
    flag: (&'static str, Option<T>),
    variable: (&'static str, Option<T>),
    profile: Option<T>,
) -> Option<Setting<T>> {
    let (flag_name, flag) = flag;
    let (variable_name, variable) = variable;
    flag.map(|value| Setting { value, source: Source::Flag(flag_name) })
        .or_else(|| variable.map(|value| Setting { value, source: Source::Variable(variable_name) }))
        .or_else(|| profile.map(|value| Setting { value, source: Source::Profile }))
}

/// What is meant by this command.
#[derive(Clone, Debug)]
pub(crate) struct Settings {
    pub(crate) server: Setting<String>,
    /// None where no site is named anywhere.
    pub(crate) site: Option<Setting<String>>,
    pub(crate) ca_file: Option<Setting<PathBuf>>,
    pub(crate) places: Places,
}

impl Settings {
    /// Settles them.
    pub(crate) fn of(global: &Global, world: &World) -> Result<Self, Failure> {
        let places = Places::of(world);
        let profile = places.profile().map_or_else(|| Ok(Profile::default()), |path| Profile::load(&path))?;
        let variable = |name: &'static str| (name, world.variable(name).map(str::to_owned));
        let server = first(("--server", global.server.clone()), variable("HOLT_SERVER"), profile.server)
            .unwrap_or_else(|| Setting { value: USUAL_SERVER.to_owned(), source: Source::Usual });
        let mut site = first(("--site", global.site.clone()), variable("HOLT_SITE"), profile.site);
        if let Some(site) = &mut site {
            site.value = site_code(&site.value)?;
        }
        let (name, ca_file) = variable("HOLT_CA_FILE");
        let ca_file =
            first(("--ca-file", global.ca_file.clone()), (name, ca_file.map(PathBuf::from)), profile.ca_file);
        Ok(Self { server, site, ca_file, places })
    }
}

/// The code of a site, in capitals.
pub(crate) fn site_code(text: &str) -> Result<String, Failure> {
    let code = text.trim().to_ascii_uppercase();
    if accession::is_site_code(&code) {
        return Ok(code);
    }
    Err(Failure::usage(format!("`{text}` is not a site code"), "write three letters, such as QUI"))
}
