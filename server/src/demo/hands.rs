//! The hands of the demo's people: they type `holt` commands, and what comes back is shown.

use super::DemoError;
use super::load::PASSWORD;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use tokio::io::AsyncWriteExt;
use tokio::process::Command;

/// Runs `holt` for the demo's people, each with a profile of their own.
pub(super) struct Hands {
    holt: PathBuf,
    address: String,
    home: PathBuf,
}

/// What came back.
pub(super) struct Said {
    /// What was printed, errors included, in the order of streams.
    pub text: String,
    /// How it ended.
    pub code: i32,
}

impl Hands {
    /// Finds `holt` beside this program.
    pub(super) fn new(address: &str, home: &Path) -> Result<Self, DemoError> {
        let holt = std::env::current_exe()?.with_file_name("holt");
        if !holt.is_file() {
            return Err(DemoError::NoClient(holt));
        }
        Ok(Self { holt, address: address.to_owned(), home: home.to_owned() })
    }

    /// The folder where somebody's files lie.
    pub(super) fn folder(&self, who: &str) -> Result<PathBuf, DemoError> {
        let folder = self.home.join(who);
        std::fs::create_dir_all(&folder)?;
        Ok(folder)
    }

    /// Types a command, with something on its standard input. What comes back is what a terminal would show.
    pub(super) async fn types(&self, who: &str, arguments: &[&str], input: &str) -> Result<Said, DemoError> {
        let folder = self.folder(who)?;
        let form: &[&str] = if arguments.contains(&"--format") { &[] } else { &["--format", "text"] };
        let mut child = Command::new(&self.holt)
            .args(arguments)
            .args(form)
            .current_dir(&folder)
            .env("HOLT_SERVER", &self.address)
            .env("XDG_CONFIG_HOME", folder.join("config"))
            .env("XDG_STATE_HOME", folder.join("state"))
            .env("NO_COLOR", "1")
            .env("COLUMNS", "110")
            .env_remove("HOLT_TOKEN")
            .env_remove("HOLT_SITE")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .kill_on_drop(true)
            .spawn()?;
        if let Some(mut stdin) = child.stdin.take() {
            // A command that does not read its input ends without it.
            let _ = stdin.write_all(input.as_bytes()).await;
        }
        let output = child.wait_with_output().await?;
        let mut text = String::from_utf8_lossy(&output.stdout).into_owned();
        text.push_str(&String::from_utf8_lossy(&output.stderr));
        Ok(Said { text, code: output.status.code().unwrap_or(-1) })
    }

    /// Signs somebody in, at a site of theirs.
    pub(super) async fn sign_in(&self, who: &str, site: &str) -> Result<(), DemoError> {
        let said = self.types(who, &["sign-in", who, "--password-stdin"], &format!("{PASSWORD}\n")).await?;
        if said.code != 0 {
            return Err(DemoError::Surprise(format!("{who} could not sign in: {}", said.text)));
        }
        if !site.is_empty() {
            let said = self.types(who, &["profile", "set", "site", site], "").await?;
            if said.code != 0 {
                return Err(DemoError::Surprise(format!("{who} could not set a site: {}", said.text)));
            }
        }
        Ok(())
    }

    /// What to try next, by hand.
    pub(super) fn invitation(&self) -> String {
        let holt = self.holt.display();
        let folder = self.home.display();
        let address = &self.address;
        format!(
            "Serving on {address} until you press Ctrl-C; then everything is gone. Three commands to try, \
             in another \
             terminal:\n\n  \
             export HOLT_SERVER={address} XDG_CONFIG_HOME={folder}/ruth/config \
             XDG_STATE_HOME={folder}/ruth/state\n\n  \
             {holt} today\n  \
             {holt} report --site SOL --span 90\n  \
             {holt} animal show Fennel --site BRA\n\n\
             (You are Ruth, the auditor. Everybody's password is `{PASSWORD}`; `holt sign-in nuala` makes \
             you the keeper \
             of Quillmoor.)"
        )
    }
}
