//! Every example in the help is a command line that is understood.

use clap::Command;

/// The examples of a help text, each on one line, without what the shell does around it.
fn examples(help: &str) -> Vec<String> {
    let joined = help.replace("\\\n", " ");
    let lines = joined.lines().filter_map(|line| line.strip_prefix("  holt "));
    lines
        .map(|line| {
            let own = [" < ", " > ", " || "].iter().filter_map(|mark| line.find(mark)).min();
            format!("holt {}", &line[..own.unwrap_or(line.len())])
        })
        .collect()
}

fn check(command: &Command, words: &str, root: &Command) -> usize {
    let mut checked = 0;
    let below: Vec<&Command> = command.get_subcommands().filter(|each| each.get_name() != "help").collect();
    let help = command.get_after_help().map(ToString::to_string).unwrap_or_default();
    if below.is_empty() {
        let found = examples(&help);
        assert!(!found.is_empty(), "{words} has no example");
        for example in &found {
            assert!(example.starts_with(words), "{words} has an example of another command: {example}");
        }
    }
    for example in examples(&help) {
        let arguments = shlex::split(&example).unwrap();
        if let Err(error) = root.clone().try_get_matches_from(arguments) {
            panic!("{example}\n{error}");
        }
        checked += 1;
    }
    for each in below {
        checked += check(each, &format!("{words} {}", each.get_name()), root);
    }
    checked
}

#[test]
fn every_command_has_examples_and_every_example_is_understood() {
    let root = holt_cli::command();
    let checked: usize =
        root.get_subcommands().map(|top| check(top, &format!("holt {}", top.get_name()), &root)).sum();
    assert!(checked > 60, "{checked}");
}

#[test]
fn examples_fit_a_terminal_of_80_columns() {
    fn lines(command: &Command) -> Vec<String> {
        let help = command.get_after_help().map(ToString::to_string).unwrap_or_default();
        let own = help.lines().filter(|line| line.starts_with("  ")).map(str::to_owned);
        own.chain(command.get_subcommands().flat_map(lines)).collect()
    }
    for line in lines(&holt_cli::command()) {
        assert!(line.chars().count() <= 80, "{line}");
    }
}
