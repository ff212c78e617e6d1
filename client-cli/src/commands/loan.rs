//! `holt loan`

use crate::commands::when::{self, OnOrAt};
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::session::request_id;
use crate::views::animal::Animal;
use crate::views::loan::Loan as View;
use crate::views::{Many, Told};
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;

/// Loans in and out, and when they end
#[derive(Args, Debug)]
pub(crate) struct Loan {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    List(List),
    Prolong(Prolong),
    Return(Return),
}

impl Loan {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::List(command) => command.run(errand).await,
            What::Prolong(command) => command.run(errand).await,
            What::Return(command) => command.run(errand).await,
        }
    }
}

/// Terms of a loan that begins with a coming or going.
#[derive(Args, Clone, Debug)]
pub(crate) struct Terms {
    /// It is on loan; its owner stays the same
    #[arg(long)]
    on_loan: bool,
    /// Last day of the loan
    #[arg(long, value_name = "DAY", requires = "on_loan")]
    loan_until: Option<DayWord>,
    /// Other terms of the loan
    #[arg(long, value_name = "TEXT", requires = "on_loan")]
    loan_terms: Option<String>,
}

impl Terms {
    pub(crate) fn wire(self, today: chrono::NaiveDate) -> Option<v1::LoanTerms> {
        self.on_loan.then(|| v1::LoanTerms {
            loan_until: self.loan_until.map(|until| day(until.resolve(today))),
            terms: self.loan_terms.unwrap_or_default(),
        })
    }
}

/// List loans in and out, those that end first on top
#[derive(Args, Debug)]
#[command(after_help = "\
`holt due` also lists loans that end within weeks.

Examples:
  holt loan list
  holt loan list --all --on 2025-12-31 --format csv")]
struct List {
    /// As of the close of this day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Also those that have ended
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl List {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ListLoansRequest {
            site,
            as_of: self.on.map(|on| day(on.resolve(session.today(zone)))),
            with_ended: self.all,
            page: None,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let loans = session.all(ask, usize::MAX).await?;
        errand.show(&Many(loans.into_iter().map(View::from).collect()))
    }
}

/// Change the last day of a loan
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt loan prolong Teasel --until 2027-03-31 --because \"she is pregnant\"")]
struct Prolong {
    /// The animal
    animal: String,
    /// Its new last day
    #[arg(long, value_name = "DAY")]
    until: DayWord,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Prolong {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::ProlongLoanRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            loan_until: Some(day(self.until.resolve(session.today(zone)))),
            because: self.because,
            validate_only: self.check_only,
        };
        let thing = View::from(session.ask(ask).await?.loan.unwrap_or_default());
        errand.show(&Told::new(thing, self.check_only, View::spoken))
    }
}

/// Record that an animal came back from a loan outside Holt, or went back to its owner there
#[derive(Args, Debug)]
#[command(after_help = "\
Between two sites in Holt an animal goes back by a transfer: `holt transfer propose`.

Examples:
  holt loan return Teasel --on today --in \"Otter pool\"
  holt loan return Bramble --at \"2026-03-01 14:00\"")]
struct Return {
    /// The animal
    animal: String,
    #[command(flatten)]
    when: OnOrAt,
    /// Enclosure of an animal that came back
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Return {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let happened = self.when.resolve(zone, session.now())?;
        let ask = v1::ReturnLoanRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            returned_on: Some(happened.on),
            returned_at: happened.at,
            enclosure: self.enclosure.unwrap_or_default(),
            validate_only: self.check_only,
        };
        let thing = Animal::new(session.ask(ask).await?.animal.unwrap_or_default(), zone);
        let say = |thing: &Animal| format!("The loan of {} is over: {}.", thing.spoken(), thing.standing());
        errand.show(&Told::new(thing, self.check_only, say))
    }
}
