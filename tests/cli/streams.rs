//! Streams: colour, pipes, a full disk.

use std::process::{Command, Stdio};

use crate::{command, run};

const BAR: &str = "beeswax 26, mango butter 22, sunflower oil 52";

#[test]
fn colour_is_only_for_terminals_unless_asked() {
    let plain = run(&["assess", BAR, "--draws", "16"]);
    assert!(!plain.stdout.contains('\u{1b}'));
    let coloured = run(&["assess", BAR, "--draws", "16", "--color", "always"]);
    assert!(coloured.stdout.contains('\u{1b}'));
    let mut stripped = String::new();
    let mut rest = coloured.stdout.as_str();
    while let Some((before, after)) = rest.split_once('\u{1b}') {
        stripped.push_str(before);
        rest = after.split_once('m').unwrap().1;
    }
    stripped.push_str(rest);
    assert_eq!(stripped, plain.stdout, "colour must not change the words");
    let error = run(&["--color", "always", "assess", "waxx 3"]);
    assert!(error.stderr.contains('\u{1b}'));
    assert!(!run(&["assess", "waxx 3"]).stderr.contains('\u{1b}'));
    assert!(run(&["--color", "always", "asess"]).stderr.contains('\u{1b}'));
}

#[test]
fn no_color_and_its_kin_are_honoured() {
    for (name, value, coloured) in [("NO_COLOR", "1", false), ("CLICOLOR_FORCE", "1", true)] {
        let output = command().env(name, value).args(["ingredients", "beeswax"]).output().unwrap();
        assert_eq!(output.stdout.contains(&0x1b), coloured, "{name}");
    }
    let both = command().env("NO_COLOR", "1").env("CLICOLOR_FORCE", "1").args(["assess", "waxx 1"]).output().unwrap();
    assert!(!both.stderr.contains(&0x1b));
}

#[test]
fn columns_do_not_matter_without_a_terminal() {
    let output = command().env("COLUMNS", "60").args(["assess", BAR, "--draws", "16"]).output().unwrap();
    assert_eq!(String::from_utf8(output.stdout).unwrap(), run(&["assess", BAR, "--draws", "16"]).stdout);
}

#[cfg(unix)]
#[test]
fn a_reader_that_goes_away_is_no_fault() {
    for arguments in [
        &["ingredients", "--sources"][..],
        &["ingredients", "--json"],
        &["assess", BAR],
        &["assess", "--help"],
        &["compare", BAR, "beeswax 1", "--json"],
    ] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_barwright"))
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{arguments:?}");
        assert_eq!(String::from_utf8(output.stderr).unwrap(), "", "{arguments:?}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_reported() {
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let output =
        Command::new(env!("CARGO_BIN_EXE_barwright")).args(["ingredients", "beeswax"]).stdout(full).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8(output.stderr).unwrap().starts_with("error[output]: the output cannot be written"));
}
