//! What can be typed, one file each: read the arguments, ask the server, show the answer.

mod amendment;
mod animal;
mod assess;
mod check;
mod climate;
mod completions;
mod concern;
mod condition;
mod correct;
mod disturbance;
mod document;
mod drawn;
mod due;
mod enclosure;
mod encounter;
mod enrich;
mod ethogram;
mod exchange;
mod feed;
mod find;
mod group;
mod growth;
mod history;
mod kept;
mod kin;
mod ledger;
mod litter;
mod loan;
mod mark;
mod merge;
mod observation;
mod observe;
mod ownership;
mod paper;
mod partners;
mod password;
mod person;
mod place;
mod profile;
mod proposal;
mod protocol;
mod report;
mod round;
mod sign_in;
mod sign_out;
mod site;
mod species;
mod standard;
mod standing;
mod state;
mod stock_return;
mod today;
mod transfer;
mod weigh;
mod weight;
mod welfare;
mod when;
mod whoami;

use crate::args::Holt;
use crate::errand::{self, Errand, Input, Outcome};
use crate::output::{Looks, Output};
use crate::profile::Settings;
use crate::world::World;
use clap::{Parser, Subcommand};

/// Every command.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    #[command(flatten)]
    Asking(Box<Asking>),
    Profile(profile::Profile),
    Completions(completions::Completions),
}

/// The commands that ask a server, in the order in which help lists them: what keepers do each day comes
/// first.
#[derive(Debug, Subcommand)]
pub(crate) enum Asking {
    Today(today::Today),
    Round(round::Round),
    Weigh(weigh::Weigh),
    Weight(weight::Weight),
    Growth(growth::Growth),
    Condition(condition::Condition),
    Feed(feed::Feed),
    Enrich(enrich::Enrich),
    Encounter(encounter::Encounter),
    Due(due::Due),
    State(state::State),
    Concern(concern::Concern),
    Assess(assess::Assess),
    Observe(observe::Observe),
    Observation(observation::Observation),
    Standing(standing::Standing),
    Disturbance(disturbance::Disturbance),
    Find(find::Find),
    Welfare(welfare::Welfare),
    Animal(animal::Animal),
    Litter(litter::Litter),
    Group(group::Group),
    Kin(kin::Kin),
    Partners(partners::Partners),
    Mark(mark::Mark),
    Place(place::Place),
    Paper(paper::Paper),
    Transfer(transfer::Transfer),
    Loan(loan::Loan),
    Ownership(ownership::Ownership),
    History(history::History),
    Correct(Box<correct::Correct>),
    Amendment(amendment::Amendment),
    Merge(merge::Merge),
    Report(report::Report),
    StockReturn(stock_return::StockReturn),
    Standard(standard::Standard),
    Ledger(ledger::Ledger),
    Exchange(exchange::Exchange),
    Climate(climate::Climate),
    Check(check::Check),
    Protocol(protocol::Protocol),
    Ethogram(ethogram::Ethogram),
    Document(document::Document),
    Proposal(proposal::Proposal),
    Species(species::Species),
    Enclosure(enclosure::Enclosure),
    Site(site::Site),
    Person(person::Person),
    SignIn(sign_in::SignIn),
    SignOut(sign_out::SignOut),
    Password(password::Password),
    Whoami(whoami::Whoami),
}

/// Whether somebody is signed in, as far as this machine knows.
pub(crate) fn is_signed_in(world: &World) -> bool {
    let usual = Holt::try_parse_from(["holt", "whoami"]);
    let session = usual.ok().and_then(|holt| {
        let settings = Settings::of(&holt.global, world).ok()?;
        errand::session(&holt.global, &settings, world).ok()
    });
    session.is_some_and(|session| session.is_somebody())
}

/// Runs a command.
pub(crate) async fn run(holt: Holt, world: &mut World, looks: (Looks, Looks)) -> Outcome {
    let settings = Settings::of(&holt.global, world)?;
    let session = errand::session(&holt.global, &settings, world);
    let output = Output::new(&holt.global, looks, world.terminal, &mut *world.output, &mut *world.errors);
    let asking = match holt.command {
        Command::Asking(asking) => asking,
        Command::Profile(command) => return command.run(&settings, output),
        Command::Completions(command) => return command.run(output),
    };
    let input = Input {
        stream: &mut *world.input,
        ask_secret: &mut world.ask_secret,
        ask_line: world.ask_line.as_mut(),
        is_terminal: world.terminal.input,
    };
    let mut errand = Errand { settings, session: session?, output, input };
    // The futures of some commands are large, and only one of them runs.
    let outcome = Box::pin(asking.run(&mut errand)).await;
    errand.say_unreadable()?;
    outcome
}

impl Asking {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self {
            Self::Today(command) => command.run(errand).await,
            Self::Round(command) => command.run(errand).await,
            Self::Weigh(command) => command.run(errand).await,
            Self::Weight(command) => command.run(errand).await,
            Self::Growth(command) => command.run(errand).await,
            Self::Condition(command) => command.run(errand).await,
            Self::Feed(command) => command.run(errand).await,
            Self::Enrich(command) => command.run(errand).await,
            Self::Encounter(command) => command.run(errand).await,
            Self::Due(command) => command.run(errand).await,
            Self::State(command) => command.run(errand).await,
            Self::Concern(command) => command.run(errand).await,
            Self::Assess(command) => command.run(errand).await,
            Self::Observe(command) => command.run(errand).await,
            Self::Observation(command) => command.run(errand).await,
            Self::Standing(command) => command.run(errand).await,
            Self::Disturbance(command) => command.run(errand).await,
            Self::Find(command) => command.run(errand).await,
            Self::Welfare(command) => command.run(errand).await,
            Self::Animal(command) => command.run(errand).await,
            Self::Litter(command) => command.run(errand).await,
            Self::Group(command) => command.run(errand).await,
            Self::Kin(command) => command.run(errand).await,
            Self::Partners(command) => command.run(errand).await,
            Self::Mark(command) => command.run(errand).await,
            Self::Place(command) => command.run(errand).await,
            Self::Paper(command) => command.run(errand).await,
            Self::Transfer(command) => command.run(errand).await,
            Self::Loan(command) => command.run(errand).await,
            Self::Ownership(command) => command.run(errand).await,
            Self::History(command) => command.run(errand).await,
            Self::Correct(command) => command.run(errand).await,
            Self::Amendment(command) => command.run(errand).await,
            Self::Merge(command) => command.run(errand).await,
            Self::Report(command) => command.run(errand).await,
            Self::StockReturn(command) => command.run(errand).await,
            Self::Standard(command) => command.run(errand).await,
            Self::Ledger(command) => command.run(errand).await,
            Self::Exchange(command) => command.run(errand).await,
            Self::Climate(command) => command.run(errand).await,
            Self::Check(command) => command.run(errand).await,
            Self::Protocol(command) => command.run(errand).await,
            Self::Ethogram(command) => command.run(errand).await,
            Self::Document(command) => command.run(errand).await,
            Self::Proposal(command) => command.run(errand).await,
            Self::Species(command) => command.run(errand).await,
            Self::Enclosure(command) => command.run(errand).await,
            Self::Site(command) => command.run(errand).await,
            Self::Person(command) => command.run(errand).await,
            Self::SignIn(command) => command.run(errand).await,
            Self::SignOut(command) => command.run(errand).await,
            Self::Password(command) => command.run(errand).await,
            Self::Whoami(command) => command.run(errand).await,
        }
    }
}
