//! `holt site`

use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::site::Site as View;
use crate::views::{Many, Told};
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Sites: parks and collections
#[derive(Args, Debug)]
pub(crate) struct Site {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Add a site
    #[command(after_help = "\
Examples:
  holt site add QUI \"Quill Park\" --zone Europe/Dublin --country IE \\
    --licence QUI-LIC-1
  holt site add MER \"Merrow Park\" --zone Europe/Lisbon --latitude 38.7 \\
    --longitude -9.1")]
    Add {
        /// Code: three letters, never changed
        code: String,
        /// Name as people say it
        name: String,
        /// Time zone of its days (IANA)
        #[arg(long, value_name = "ZONE")]
        zone: String,
        /// Reference of its licence to keep animals
        #[arg(long, value_name = "TEXT")]
        licence: Option<String>,
        /// Degrees, north positive
        #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
        latitude: Option<f64>,
        /// Degrees, east positive
        #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
        longitude: Option<f64>,
        /// Country: two letters of ISO 3166-1
        #[arg(long, value_name = "COUNTRY")]
        country: Option<String>,
    },
    /// List all sites
    #[command(after_help = "Examples:\n  holt site list\n  holt site list --format csv")]
    List,
    /// Show one site
    #[command(after_help = "Examples:\n  holt site show QUI")]
    Show {
        /// Code [default: the site in use]
        code: Option<String>,
    },
}

impl Site {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Add { code, name, zone, licence, latitude, longitude, country } => {
                let ask = v1::CreateSiteRequest {
                    request_id: request_id(),
                    code: crate::profile::site_code(&code)?,
                    name,
                    time_zone: zone,
                    licence: licence.unwrap_or_default(),
                    latitude,
                    longitude,
                    country: country.unwrap_or_default(),
                };
                let thing = View::from(errand.session.ask(ask).await?.site.unwrap_or_default());
                let say = format!(
                    "Added {} ({}); its days are those of {}.",
                    thing.name, thing.code, thing.time_zone
                );
                errand.show(&Told { thing, say })
            }
            What::List => {
                let answer = errand.session.ask(v1::ListSitesRequest {}).await?;
                errand.show(&Many(answer.sites.into_iter().map(View::from).collect()))
            }
            What::Show { code } => {
                let code = match code {
                    Some(code) => crate::profile::site_code(&code)?,
                    None => errand.site().await?,
                };
                let answer = errand.session.ask(v1::GetSiteRequest { code }).await?;
                errand.show(&Many(answer.site.into_iter().map(View::from).collect()))
            }
        }
    }
}
