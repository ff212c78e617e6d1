//! The programs of `examples/`, run against a real server as a stranger runs them. They need Python and Node with the packages
//! that `./run examples` fetches, and so are no part of `./run test`.

use super::access::{Gate, PASSWORD, at};
use holt_proto::v1;
use tokio::process::Command;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples");

/// What a program printed, and how it ended.
struct Ran {
    ended: bool,
    said: String,
    complained: String,
}

struct Stranger {
    gate: Gate,
    /// The interpreter, and the folder from which it is run.
    interpreter: Vec<String>,
    folder: &'static str,
}

impl Stranger {
    /// Somebody with a password, at a park of two otters, and an interpreter that `./run examples` names.
    async fn with(interpreter: &str, folder: &'static str) -> Self {
        let named =
            std::env::var(interpreter).unwrap_or_else(|_| panic!("`./run examples` names {interpreter}"));
        let gate = Gate::new().await;
        let park = gate.house.park("BRO", "Europe/Dublin").await;
        for name in ["Larch", "Fennel"] {
            gate.house.otter(&park, name).await;
        }
        gate.settled("nuala", &[at(v1::Role::Keeper, "BRO")]).await;
        let interpreter = named.split(' ').map(str::to_owned).collect();
        Self { gate, interpreter, folder }
    }

    async fn runs(&self, arguments: &[&str], password: &str) -> Ran {
        let address = &self.gate.house.address;
        let ran = Command::new(&self.interpreter[0])
            .args(&self.interpreter[1..])
            .args(arguments)
            .current_dir(format!("{FOLDER}/{}", self.folder))
            .env("HOLT_SERVER", address)
            .env("HOLT_ADDRESS", address.trim_start_matches("http://"))
            .env("HOLT_NAME", "nuala")
            .env("HOLT_PASSWORD", password)
            .output()
            .await
            .unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        Ran { ended: ran.status.success(), said: text(ran.stdout), complained: text(ran.stderr) }
    }

    /// A round, and the page of the day; what was refused, and why.
    async fn lives_a_day(self, round: &str, day: &str) {
        let ran = self.runs(&[round, "BRO", "Larch=8210", "Fennel=7904.5", "Nobody=12"], PASSWORD).await;
        assert!(ran.ended, "{}", ran.complained);
        assert_eq!(
            ran.said,
            "Larch accepted \nFennel accepted \nNobody refused there is no animal `Nobody` that you may see\n"
        );
        let steward =
            self.gate.house.person("reader", &[(holt_server::model::person::Role::Auditor, None)]).await;
        let asked = v1::ListWeightsRequest { site: "BRO".to_owned(), ..Default::default() };
        let listed = steward.client.weights().list_weights(asked).await.unwrap().into_inner().weights;
        let mut masses: Vec<_> = listed.iter().filter_map(|one| Some(one.mass?.milligrams)).collect();
        masses.sort_unstable();
        assert_eq!(masses, [7_904_500, 8_210_000]);

        let ran = self.runs(&[day, "BRO"], PASSWORD).await;
        assert!(ran.ended, "{}", ran.complained);
        assert!(ran.said.contains("BRO Park: 0.2.0\nweigh: 0 of 0 in time\n"), "{}", ran.said);
        assert!(ran.said.contains("does not replace"), "{}", ran.said);

        let ran = self.runs(&[day, "brook"], PASSWORD).await;
        assert!(!ran.ended);
        for part in ["MALFORMED\n", "`brook` is not a site code", "instead: give three capital letters"] {
            assert!(ran.complained.contains(part), "{}", ran.complained);
        }
        let ran = self.runs(&[day, "BRO"], "another").await;
        assert!(!ran.ended && ran.complained.starts_with("SIGN_IN_FAILED"), "{}", ran.complained);
        self.gate.house.close().await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "`./run examples` fetches what it needs"]
async fn in_python_a_round_is_recorded_and_the_day_is_read() {
    Stranger::with("HOLT_TEST_PYTHON", "python").await.lives_a_day("round.py", "day.py").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "`./run examples` fetches what it needs"]
async fn in_typescript_a_round_is_recorded_and_the_day_is_read_over_the_web() {
    Stranger::with("HOLT_TEST_NODE", "typescript").await.lives_a_day("round.ts", "look.ts").await;
}

/// What a stranger must write to record a round: lines that are not empty and no comment.
#[test]
fn a_round_is_recorded_in_less_than_twenty_lines() {
    for (file, comment) in [("python/round.py", "\"\"\""), ("typescript/round.ts", "//")] {
        let text = std::fs::read_to_string(format!("{FOLDER}/{file}")).unwrap();
        let lines = text.lines().filter(|line| !line.trim().is_empty() && !line.starts_with(comment)).count();
        assert!((10..20).contains(&lines), "{file} has {lines} lines");
        assert!(text.lines().all(|line| line.chars().count() <= 120), "{file} has a long line");
    }
}
