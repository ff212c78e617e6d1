//! `holt sign-in`

use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::round::roll;
use crate::views::Told;
use crate::views::person::Person;
use clap::Args;
use holt_proto::v1;

/// Sign in once; this machine keeps the sign-in and renews it
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt sign-in ada
  holt sign-in ada --password-stdin < password.txt")]
pub(crate) struct SignIn {
    /// Name to sign in with
    name: String,

    /// Read the password from standard input
    #[arg(long)]
    password_stdin: bool,
}

impl SignIn {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let password = if self.password_stdin {
            errand.input.lines()?.into_iter().next().unwrap_or_default()
        } else {
            errand.input.secret("Password: ")?
        };
        let ask = v1::SignInRequest { sign_in_name: self.name, password };
        let answer = errand.session.ask_openly(ask).await?;
        errand.session.keep(answer.tokens).await?;
        roll::forget(&errand.settings.places)?;
        let thing = Person::from(answer.person.unwrap_or_default());
        let say = format!("Signed in as {}: {}.", thing.name, thing.spoken_grants());
        errand.show(&Told { thing, say })?;
        if answer.must_change_password {
            errand.output.note("This is a one-time password. Set your own now: `holt password`.")?;
        }
        Ok(Exit::Done)
    }
}
