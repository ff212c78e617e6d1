//! The help of every command, as people read it at 80 columns.

use clap::Command;
use holt_tests::House;

/// The commands below `command`, each with the words that lead to it.
fn below(command: &Command, words: &str) -> Vec<String> {
    let mut all = vec![words.to_owned()];
    for each in command.get_subcommands().filter(|each| each.get_name() != "help") {
        all.extend(below(each, &format!("{words} {}", each.get_name())));
    }
    all
}

#[tokio::test]
async fn the_help_of_every_command_is_as_it_was_read_last() {
    let desk = House::new().await.desk().at_terminal(80).with("NO_COLOR", "1");
    let root = holt_cli::command();
    for top in root.get_subcommands() {
        let mut text = String::new();
        for words in below(top, &format!("holt {}", top.get_name())) {
            let help = desk.done(&format!("{words} --help")).await;
            text.push_str(&format!("$ {words} --help\n{help}\n"));
        }
        insta::assert_snapshot!(format!("help_{}", top.get_name()), text);
    }
    insta::assert_snapshot!("help", desk.done("holt --help").await);
    insta::assert_snapshot!("help_short", desk.done("holt -h").await);
}

#[tokio::test]
async fn every_option_of_every_command_is_told_in_the_help_of_holt() {
    let desk = House::new().await.desk().at_terminal(80);
    let help = desk.done("holt --help").await;
    for option in holt_cli::command().get_arguments().filter_map(|option| option.get_long()) {
        assert!(help.contains(&format!("--{option}")), "{option}");
    }
    for variable in ["HOLT_SERVER", "HOLT_SITE", "HOLT_TOKEN", "HOLT_CA_FILE", "NO_COLOR"] {
        assert!(help.contains(variable), "{variable}");
    }
}

#[tokio::test]
async fn help_and_version_are_results_and_what_is_not_understood_is_an_error() {
    let desk = House::new().await.desk();
    let version = desk.run("holt --version").await;
    assert_eq!((version.exit, version.err.as_str()), (0, ""));
    assert!(version.out.starts_with("holt "), "{}", version.out);
    for line in ["holt", "holt frobnicate", "holt animal", "holt weigh", "holt due --on someday"] {
        let ran = desk.run(line).await;
        assert_eq!((ran.exit, ran.out.as_str()), (2, ""), "{line}");
        assert!(!ran.err.is_empty(), "{line}");
    }
}

#[tokio::test]
async fn completions_are_there_for_each_shell_and_need_no_server() {
    let desk = House::new().await.desk().with("HOLT_SERVER", "nowhere");
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = desk.done(&format!("holt completions {shell}")).await;
        assert!(script.contains("take-on"), "{shell}");
    }
}
