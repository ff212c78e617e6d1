//! `holt completions`

use crate::errand::Outcome;
use crate::exit::Exit;
use crate::output::Output;
use clap::Args;
use clap_complete::Shell;

/// Print the completions for a shell
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt completions bash > ~/.local/share/bash-completion/completions/holt
  holt completions zsh > ~/.zfunc/_holt
  holt completions fish > ~/.config/fish/completions/holt.fish")]
pub(crate) struct Completions {
    /// The shell
    shell: Shell,
}

impl Completions {
    pub(crate) fn run(self, mut output: Output<'_>) -> Outcome {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut crate::args::command(), "holt", &mut script);
        output.raw(&script)?;
        Ok(Exit::Done)
    }
}
