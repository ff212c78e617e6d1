//! Documents of every kind: how one is loaded, listed and named.

use crate::errand::{Errand, Input, Outcome};
use crate::failure::Failure;
use crate::output::Answer;
use crate::session::{Session, request_id};
use crate::views::ethogram::Ethogram;
use crate::views::growth;
use crate::views::protocol::Protocol;
use crate::views::standard::Standard;
use crate::views::{Many, Thing, Told};
use clap::Args;
use holt_proto::call::Call;
use holt_proto::v1;
use std::path::{Path, PathBuf};

/// A kind of document: what loads and lists it, and how it is shown.
pub(super) trait Kind: Default {
    type View: Thing + From<Self>;
    type Load: Call;
    type List: Call;

    fn load(toml: String, validate_only: bool, site: String) -> Self::Load;
    fn loaded(answer: <Self::Load as Call>::Answer) -> Option<Self>;
    fn listed(answer: <Self::List as Call>::Answer) -> Vec<Self>;
    fn version(&self) -> (&str, i32);
}

macro_rules! kind {
    ($document:path as $view:ty, $load:path => $one:ident, $list:path => $all:ident) => {
        impl Kind for $document {
            type View = $view;
            type Load = $load;
            type List = $list;

            fn load(toml: String, validate_only: bool, site: String) -> $load {
                $load { request_id: request_id(), toml, validate_only, site }
            }

            fn loaded(answer: <$load as Call>::Answer) -> Option<Self> {
                answer.$one
            }

            fn listed(answer: <$list as Call>::Answer) -> Vec<Self> {
                answer.$all
            }

            fn version(&self) -> (&str, i32) {
                (&self.code, self.version)
            }
        }
    };
}

kind!(v1::Protocol as Protocol, v1::LoadProtocolRequest => protocol, v1::ListProtocolsRequest => protocols);
kind!(v1::Ethogram as Ethogram, v1::LoadEthogramRequest => ethogram, v1::ListEthogramsRequest => ethograms);
kind!(v1::Standard as Standard, v1::LoadStandardRequest => standard, v1::ListStandardsRequest => standards);
kind!(
    v1::GrowthReference as growth::Reference,
    v1::LoadGrowthReferenceRequest => reference,
    v1::ListGrowthReferencesRequest => references
);

/// A file with a version of a document.
#[derive(Args, Debug)]
pub(super) struct Load {
    /// The file; - is standard input
    file: PathBuf,
    /// As one of the site's own: its code begins with the site's, such as qui-
    #[arg(long)]
    own: bool,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Load {
    /// Loads it, and says that it did.
    pub(super) async fn run<'w, K: Kind>(
        self,
        errand: &mut Errand<'w>,
        text: impl FnOnce(&mut Input<'w>, &Path) -> Result<String, Failure>,
        say: impl FnOnce(&K::View) -> String,
    ) -> Outcome {
        let site = if self.own { errand.site().await? } else { String::new() };
        let toml = text(&mut errand.input, &self.file)?;
        let answer = errand.session.ask(K::load(toml, self.check_only, site)).await?;
        let thing = K::View::from(K::loaded(answer).unwrap_or_default());
        errand.show(&Told::new(thing, self.check_only, say))
    }
}

/// All versions of all documents of a kind.
pub(super) async fn all<K: Kind>(session: &Session) -> Result<Vec<K>, Failure> {
    Ok(K::listed(session.ask(K::List::default()).await?))
}

/// Shows them.
pub(super) async fn list<K: Kind>(errand: &mut Errand<'_>) -> Outcome {
    let all = all::<K>(&errand.session).await?;
    errand.show(&Many(all.into_iter().map(K::View::from).collect()))
}

/// A document as it is named: code, and version or 0 for the newest.
#[derive(Clone, Debug)]
pub(super) struct Reference {
    pub(super) code: String,
    pub(super) version: i32,
}

/// Reads `small-carnivore@1`.
pub(super) fn reference(text: &str) -> Result<Reference, String> {
    let (code, version) = match text.split_once('@') {
        None => (text, 0),
        Some((code, version)) => {
            let version = version.parse().ok().filter(|version| *version > 0);
            (code, version.ok_or_else(|| "the version is a number from 1: `small-carnivore@1`".to_owned())?)
        }
    };
    Ok(Reference { code: code.to_owned(), version })
}

impl Reference {
    /// The one that is meant of all versions; `what` is what people call one, and its command.
    pub(super) fn among<K: Kind>(&self, what: &str, all: Vec<K>) -> Result<K, Failure> {
        let fits = |one: &K| {
            let (code, version) = one.version();
            code == self.code && (self.version == 0 || version == self.version)
        };
        all.into_iter().filter(fits).max_by_key(|one| one.version().1).ok_or_else(|| {
            let version =
                if self.version == 0 { String::new() } else { format!(", version {}", self.version) };
            Failure::not_found(
                format!("there is no {what} `{}`{version}", self.code),
                format!("see `holt {what} list`"),
            )
        })
    }

    /// Shows the one that is meant, with all that is in it.
    pub(super) async fn show<K: Kind<View: Answer>>(&self, what: &str, errand: &mut Errand<'_>) -> Outcome {
        let found = self.among::<K>(what, all(&errand.session).await?)?;
        errand.show(&K::View::from(found))
    }
}
