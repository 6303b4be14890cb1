//! `completions` and `manual`: made from the command itself.

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{run, run_in};

/// Every command, as `help` lists them.
fn commands() -> Vec<String> {
    let help = run(&["--help"]).stdout;
    let list = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let words = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    words.map(|line| line.split_whitespace().next().unwrap().to_owned()).filter(|word| word != "help").collect()
}

#[test]
fn every_shell_completes_every_command() {
    let commands = commands();
    assert!(commands.len() >= 14, "{commands:?}");
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let done = run(&["completions", shell]);
        assert_eq!((done.status, done.stderr.as_str()), (0, ""));
        for command in &commands {
            assert!(done.stdout.contains(command.as_str()), "{shell} does not know {command}");
        }
        assert!(done.stdout.contains("--profile") || done.stdout.contains("-l profile"), "{shell}");
    }
    assert_eq!(run(&["completions", "csh"]).status, 2);
}

#[test]
fn every_command_has_a_page_with_its_examples() {
    let folder = TempDir::new().unwrap();
    let done = run_in(folder.path(), &["manual", "--folder", "man1"], b"");
    assert_eq!(done.status, 0, "{}", done.shown());
    for command in commands() {
        let page = std::fs::read_to_string(folder.path().join(format!("man1/barwright-{command}.1"))).unwrap();
        for part in [".SH NAME", ".SH SYNOPSIS", ".SH OPTIONS"] {
            assert!(page.contains(part), "{command}: {part}");
        }
    }
    for entry in std::fs::read_dir(folder.path().join("man1")).unwrap() {
        let path = entry.unwrap().path();
        assert!(std::fs::read_to_string(&path).unwrap().contains("Examples:"), "{}", path.display());
    }
    assert!(folder.path().join("man1/barwright-trial-add.1").exists());
    let one = run(&["manual", "trial", "add"]).stdout;
    assert_eq!(one, std::fs::read_to_string(folder.path().join("man1/barwright-trial-add.1")).unwrap());
    assert!(one.contains("barwright\\-trial\\-add"), "{one}");
    assert_snapshot!(run(&["manual", "trail"]).shown(), @"
    exit 1
    stderr:
    error[unknown-command]: no command is called `trail`
     |
     = hint: The nearest are `trial`, `parcel` and `manual`.
    ");
}
