//! What people do, typed by hand: the command line against a real server, each journey as one text.

mod auditors_report;
mod documents_by_hand;
mod enriched_by_hand;
mod fed_by_hand;
mod houses_night;
mod keepers_week;
mod met_by_hand;
mod proposals_by_hand;
mod registrars_papers;
mod registrars_transfer;

use holt_server::model::person::Role;
use holt_tests::desk::Fed;
use holt_tests::{Desk, House, Park};

/// What was typed and what came of it.
#[derive(Default)]
struct TypedByHand(String);

impl TypedByHand {
    /// Something that happens between two commands.
    fn remark(&mut self, text: &str) {
        self.0.push_str(&format!("# {text}\n\n"));
    }

    /// Types a command at a desk, with what goes into it, and says how it must end.
    async fn feed(&mut self, who: &str, desk: &Desk, line: &str, fed: Fed, exit: u8) -> String {
        let ran = desk.feed(line, fed).await;
        let end = if ran.exit == 0 { String::new() } else { format!("[exit {}]\n", ran.exit) };
        self.0.push_str(&format!("{who}$ {line}\n{}{}{end}\n", ran.out, ran.err));
        assert_eq!(ran.exit, exit, "{}", self.0);
        ran.out
    }

    /// Types a command that must be done.
    async fn done(&mut self, who: &str, desk: &Desk, line: &str) -> String {
        self.feed(who, desk, line, Fed::default(), 0).await
    }

    /// Types a command that must end with this exit code.
    async fn ends(&mut self, who: &str, desk: &Desk, line: &str, exit: u8) {
        self.feed(who, desk, line, Fed::default(), exit).await;
    }
}

/// A desk of one of a park's people, in front of a terminal.
fn desk(house: &House, park: &Park, role: Role) -> Desk {
    let person = match role {
        Role::Keeper => &park.keeper,
        Role::Registrar => &park.registrar,
        Role::Auditor => &park.auditor,
        Role::Veterinary => &park.vet,
        Role::Steward | Role::Curator => unreachable!("a park has none of its own"),
    };
    house.desk_of(person, &[(role, Some(&park.code))]).at_terminal(90).with("NO_COLOR", "1")
}

/// A desk of the curator, likewise.
async fn curators_desk(house: &House) -> Desk {
    let curator = house.person("curator", &[(Role::Curator, None)]).await;
    house.desk_of(&curator, &[(Role::Curator, None)]).at_terminal(90).with("NO_COLOR", "1")
}

/// The identifier in brackets that ends a sentence.
fn id_in(text: &str) -> String {
    let (_, rest) = text.rsplit_once('[').unwrap();
    rest.split(']').next().unwrap().to_owned()
}
