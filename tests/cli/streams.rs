//! Streams: colour, pipes, a full disk.

use std::process::{Command, Output, Stdio};

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

/// Commands that write an answer, each in its own way.
const ANSWERS: [&[&str]; 11] = [
    &["ingredients", "beeswax"],
    &["ingredients", "--json"],
    &["assess", BAR, "--draws", "16"],
    &["assess", BAR, "--draws", "16", "--json"],
    &["assess", BAR, "--draws", "16", "--draw"],
    &["parcel", "--routes"],
    &["completions", "bash"],
    &["manual", "assess"],
    &["page"],
    &["assess", "--help"],
    &["--version"],
];

/// Runs the command behind a redirection of the shell.
fn redirected(arguments: &[&str], redirection: &str) -> Output {
    let script = format!("exec \"$0\" \"$@\" {redirection}");
    let mut command = Command::new("sh");
    command.args(["-c", &script, env!("CARGO_BIN_EXE_barwright")]).args(arguments).env_remove("BARWRIGHT_PROFILE");
    command.current_dir(tempfile::TempDir::new().unwrap().path()).stdin(Stdio::null()).output().unwrap()
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_reported() {
    for arguments in ANSWERS {
        let output = redirected(arguments, "> /dev/full");
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {told}");
        assert!(
            told.starts_with("error[output]: the output cannot be written: No space left"),
            "{arguments:?}: {told}"
        );
    }
}

#[cfg(unix)]
#[test]
fn a_closed_standard_output_is_reported() {
    // What is open for reading only takes no answer either.
    for redirection in [">&-", "1< /dev/null"] {
        for arguments in ANSWERS {
            let output = redirected(arguments, redirection);
            let told = String::from_utf8(output.stderr).unwrap();
            assert_eq!(output.status.code(), Some(1), "{arguments:?} {redirection}: {told}");
            assert_eq!(
                told, "error[output]: the output cannot be written: standard output is closed\n",
                "{arguments:?}"
            );
        }
    }
}

#[cfg(unix)]
#[test]
fn what_writes_no_answer_needs_no_standard_output() {
    let folder = tempfile::TempDir::new().unwrap();
    let page = folder.path().join("bar.html");
    let page = page.to_str().unwrap();
    let output = redirected(&["report", BAR, "--draws", "16", "--out", page], ">&-");
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(std::fs::metadata(page).is_ok_and(|page| page.len() > 0));
    // Thrown away on purpose, as by a program that opens the null device for reading and writing.
    for redirection in ["> /dev/null", "1<> /dev/null", "> /dev/null 2>&-"] {
        let output = redirected(&["ingredients", "beeswax"], redirection);
        assert_eq!(output.status.code(), Some(0), "{redirection}");
    }
}
