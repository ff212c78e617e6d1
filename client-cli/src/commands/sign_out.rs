//! `holt sign-out`

use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::round::roll;
use clap::Args;
use holt_proto::v1;

/// Sign out: end the sign-in of this machine
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt sign-out")]
pub(crate) struct SignOut {}

impl SignOut {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let Some(refresh_token) = errand.session.refresh_token()? else {
            errand.output.note("Nobody is signed in.")?;
            return Ok(Exit::Done);
        };
        errand.session.ask_openly(v1::SignOutRequest { refresh_token }).await?;
        errand.session.keep(None).await?;
        roll::forget(&errand.settings.places)?;
        errand.output.note("Signed out.")?;
        Ok(Exit::Done)
    }
}
