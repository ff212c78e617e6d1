//! `holt password`

use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use clap::Args;
use holt_proto::v1;

/// Change your password; sign-ins on other machines end
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt password
  holt password --password-stdin < old-and-new.txt")]
pub(crate) struct Password {
    /// Read from standard input: the current password on the first line, the new one on the second
    #[arg(long)]
    password_stdin: bool,
}

impl Password {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let (current_password, new_password) = if self.password_stdin {
            let mut lines = errand.input.lines()?.into_iter();
            lines.next().zip(lines.next()).ok_or_else(|| {
                Failure::usage(
                    "standard input does not hold two lines",
                    "write the current password on the first line and the new one on the second",
                )
            })?
        } else {
            let current = errand.input.secret("Current password: ")?;
            let new = errand.input.secret("New password, 12 characters or more: ")?;
            if errand.input.secret("New password once more: ")? != new {
                return Err(Failure::refused("the two new passwords are not the same", "try again"));
            }
            (current, new)
        };
        let ask = v1::ChangePasswordRequest { current_password, new_password };
        let answer = errand.session.ask(ask).await?;
        errand.session.keep(answer.tokens).await?;
        errand.output.note("The password is changed. Sign-ins on other machines have ended.")?;
        Ok(Exit::Done)
    }
}
