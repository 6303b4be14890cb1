//! The command as a user runs it: exit status, standard output, standard error.
//!
//! After a wanted change of wording or of the model's figures: `cargo insta test --accept --test cli`, then read the diff.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    missing_docs,
    reason = "a test may stop at the first surprise"
)]

mod adjust;
mod answers;
mod bad_input;
mod batch;
mod batch_record;
mod command_line;
mod cool;
mod demo;
mod documents;
mod explore;
mod extremes;
mod figures;
mod formats;
mod guide;
mod ingredients;
mod json;
#[path = "../kit/mod.rs"]
mod kit;
mod like;
mod limits;
mod lots;
mod manual;
mod page;
mod page_server;
mod parcel;
mod plots;
mod pour;
mod readme;
mod recipes;
mod records;
mod report;
mod snapshots;
mod stock;
mod streams;
mod swap;
mod trial;
mod validate;

use std::path::Path;

use assert_cmd::Command;
use tempfile::TempDir;

/// What one run did.
#[derive(Debug, PartialEq)]
pub struct Run {
    pub status: i32,
    pub stdout: String,
    pub stderr: String,
}

impl Run {
    /// Status and both streams as one text, for a snapshot.
    pub fn shown(&self) -> String {
        let mut shown = format!("exit {}\n", self.status);
        for (name, text) in [("stdout", &self.stdout), ("stderr", &self.stderr)] {
            if !text.is_empty() {
                shown.push_str(&format!("{name}:\n{text}"));
            }
        }
        shown
    }

    /// The one JSON document on standard output.
    pub fn json(&self) -> serde_json::Value {
        assert_eq!(self.status, 0, "{}", self.shown());
        serde_json::from_str(&self.stdout).unwrap()
    }
}

/// A command that no setting of this machine changes.
pub fn command() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_barwright"));
    for name in ["NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE", "COLUMNS", "TERM", "BARWRIGHT_PROFILE"] {
        command.env_remove(name);
    }
    command
}

/// Runs the command with standard input in a folder.
pub fn run_in(folder: &Path, arguments: &[&str], stdin: &[u8]) -> Run {
    let output = command().current_dir(folder).args(arguments).write_stdin(stdin).output().unwrap();
    Run {
        status: output.status.code().unwrap(),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs the command in an empty folder.
pub fn run(arguments: &[&str]) -> Run {
    run_in(TempDir::new().unwrap().path(), arguments, b"")
}

/// Runs the command with one text on standard input.
pub fn run_with(stdin: impl AsRef<[u8]>, arguments: &[&str]) -> Run {
    run_in(TempDir::new().unwrap().path(), arguments, stdin.as_ref())
}

/// Runs the command in a folder with one file.
pub fn run_on(name: &str, content: impl AsRef<[u8]>, arguments: &[&str]) -> Run {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join(name), content).unwrap();
    run_in(folder.path(), arguments, b"")
}

/// Folder of the demonstration formulas.
pub fn demo_folder() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/data/formulas"))
}

#[test]
fn no_test_file_is_forgotten() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cli");
    let declared = std::fs::read_to_string(folder.join("main.rs")).unwrap();
    for entry in std::fs::read_dir(folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let Some(module) = name.strip_suffix(".rs").filter(|module| *module != "main") else {
            continue;
        };
        assert!(declared.contains(&format!("\nmod {module};\n")), "{name} is not declared");
    }
}
