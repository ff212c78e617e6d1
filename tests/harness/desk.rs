//! Somebody at a desk: the command line, run in this process over streams, folders, time and environment
//! of a test's own.

use crate::TestClock;
use crate::cast::Person;
use crate::house::House;
use holt_cli::{Terminal, World};
use holt_server::clock::Clock;
use holt_server::model::person::{Grant, Role};
use std::collections::{BTreeMap, VecDeque};
use std::io::{Cursor, Read, Write};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use tempfile::TempDir;

/// A desk, with a home folder of its own.
pub struct Desk {
    home: TempDir,
    clock: Arc<TestClock>,
    /// The environment variables of what is run.
    pub environment: BTreeMap<String, String>,
    /// Which streams are terminals.
    pub terminal: Terminal,
}

/// What came of a command.
#[derive(Debug)]
pub struct Ran {
    /// Its exit code.
    pub exit: u8,
    /// What it printed as its result.
    pub out: String,
    /// What else it said.
    pub err: String,
}

/// What goes into a command.
#[derive(Default)]
pub struct Fed {
    /// Standard input.
    pub input: Vec<u8>,
    /// What is typed at each prompt for a password.
    pub secrets: Vec<String>,
}

/// A stream that can be looked at afterwards.
#[derive(Clone, Default)]
struct Paper(Arc<Mutex<Vec<u8>>>);

impl Write for Paper {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Paper {
    fn text(&self) -> String {
        String::from_utf8(self.0.lock().unwrap().clone()).unwrap()
    }
}

impl House {
    /// A desk where nobody is signed in, in front of this house.
    #[must_use]
    pub fn desk(&self) -> Desk {
        let home = tempfile::tempdir().unwrap();
        let environment = BTreeMap::from([
            ("HOME".to_owned(), home.path().display().to_string()),
            ("HOLT_SERVER".to_owned(), self.address.clone()),
        ]);
        Desk { home, clock: Arc::clone(&self.clock), environment, terminal: Terminal::default() }
    }

    /// A desk of somebody with these roles, who has a token; `None` is every site.
    #[must_use]
    pub fn desk_of(&self, person: &Person, roles: &[(Role, Option<&str>)]) -> Desk {
        let grants: Vec<Grant> =
            roles.iter().map(|&(role, site)| Grant { role, site: site.map(str::to_owned) }).collect();
        let mut desk = self.desk();
        desk.environment.insert("HOLT_TOKEN".to_owned(), self.token(person.id, &grants));
        desk
    }
}

impl Desk {
    /// The same in front of a terminal of so many columns.
    #[must_use]
    pub fn at_terminal(mut self, width: u16) -> Self {
        self.terminal = Terminal { input: true, output: true, errors: true, width: Some(width) };
        self
    }

    /// The same with an environment variable.
    #[must_use]
    pub fn with(mut self, name: &str, value: &str) -> Self {
        self.environment.insert(name.to_owned(), value.to_owned());
        self
    }

    /// Writes a file in the home folder anew.
    ///
    /// # Panics
    /// If it cannot be written.
    pub fn file(&self, name: &str, content: &[u8]) {
        std::fs::write(self.path(name), content).unwrap();
    }

    /// A path in the home folder.
    #[must_use]
    pub fn path(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    /// Runs a command as a shell would read it; `~/` is the home folder.
    pub async fn run(&self, line: &str) -> Ran {
        self.feed(line, Fed::default()).await
    }

    /// Runs a command that reads this from standard input.
    pub async fn pipe(&self, line: &str, input: &[u8]) -> Ran {
        self.feed(line, Fed { input: input.to_vec(), secrets: Vec::new() }).await
    }

    /// Runs a command that must succeed, and answers what it printed.
    ///
    /// # Panics
    /// If it does not.
    pub async fn done(&self, line: &str) -> String {
        let ran = self.run(line).await;
        assert_eq!(ran.exit, 0, "{line}\n{}\n{}", ran.out, ran.err);
        ran.out
    }

    /// Runs a command that must not succeed, and answers its exit code and what it said.
    ///
    /// # Panics
    /// If it succeeds.
    pub async fn refused(&self, line: &str) -> (u8, String) {
        let ran = self.run(line).await;
        assert_ne!(ran.exit, 0, "{line}\n{}", ran.out);
        (ran.exit, ran.err)
    }

    /// Runs a command.
    pub async fn feed(&self, line: &str, fed: Fed) -> Ran {
        self.runs(line, Box::new(Cursor::new(fed.input)), fed.secrets).await
    }

    /// Runs a command at which somebody types.
    pub async fn types(&self, line: &str, typist: Box<dyn Read + Send>) -> Ran {
        self.runs(line, typist, Vec::new()).await
    }

    async fn runs(&self, line: &str, input: Box<dyn Read + Send>, secrets: Vec<String>) -> Ran {
        let home = format!("{}/", self.home.path().display());
        let arguments = shlex::split(line).unwrap();
        let arguments = arguments.into_iter().map(|word| match word.strip_prefix("~/") {
            Some(rest) => format!("{home}{rest}").into(),
            None => word.into(),
        });
        let (out, err) = (Paper::default(), Paper::default());
        let clock = Arc::clone(&self.clock);
        let mut secrets = VecDeque::from(secrets);
        let mut world = World {
            input,
            output: Box::new(out.clone()),
            errors: Box::new(err.clone()),
            ask_secret: Box::new(move |_| {
                secrets.pop_front().ok_or_else(|| std::io::Error::other("nothing more was to be typed"))
            }),
            ask_line: None,
            terminal: self.terminal,
            environment: self.environment.clone(),
            clock: Arc::new(move || clock.now()),
        };
        let exit = holt_cli::run(arguments.collect(), &mut world).await;
        Ran { exit, out: out.text(), err: err.text() }
    }
}
