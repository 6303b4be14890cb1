//! Records to test with, and this test program run again as another command.

use std::env;
use std::ffi::OsString;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use barwright_records::{
    Bars, Batch, Date, Figures, Lot, LotUse, Outcome, PouredFormula, PouredPart, RecordsError, Store, Trial, TrialKind,
    Went,
};

/// Tells a test that it is to be the other command, in this folder.
const FOLDER: &str = "BARWRIGHT_RECORDS_TEST_FOLDER";
/// What the other command is called in its records.
const TAG: &str = "BARWRIGHT_RECORDS_TEST_TAG";

/// The day of every test.
pub fn today() -> Date {
    "2026-11-25".parse().unwrap()
}

/// A formula of two parts.
pub fn formula(name: &str) -> PouredFormula {
    let parts = [("beeswax", 37.5), ("sunflower-oil", 62.5)];
    let parts = parts.map(|(ingredient, percent)| PouredPart { ingredient: ingredient.to_owned(), percent }).to_vec();
    PouredFormula { name: name.to_owned(), parts, note: None }
}

/// A batch of the formula `hand bar`.
pub fn batch(number: &str, lots: &[(&str, f64)]) -> Batch {
    Batch {
        number: number.to_owned(),
        formula: "hand bar".to_owned(),
        poured_on: "2026-11-20".parse().unwrap(),
        mass_g: 600.25,
        cavities: Some(12),
        lots: lots.iter().map(|(lot, mass_g)| LotUse { lot: (*lot).to_owned(), mass_g: *mass_g }).collect(),
        note: None,
    }
}

/// Bars sold.
pub fn bars(batch: &str, first: u32, last: u32, went: Went) -> Bars {
    Bars { batch: batch.to_owned(), first, last, went, to: Some("order 17".to_owned()), on: today(), note: None }
}

/// A trial of the formula `hand bar`.
pub fn trial(note: &str) -> Trial {
    Trial {
        formula: "hand bar".to_owned(),
        kind: TrialKind::OpenTube,
        figures: Figures::from_iter([("melt_c".to_owned(), 54.1.into())]),
        tested_on: today(),
        days_since_pouring: 5,
        note: Some(note.to_owned()),
    }
}

/// A remark.
pub fn outcome(batch: &str, note: &str) -> Outcome {
    Outcome { batch: batch.to_owned(), noted_on: today(), note: note.to_owned() }
}

/// New records with one formula and two lots.
pub fn store(folder: &Path) -> Store {
    let mut store = Store::open(folder).unwrap();
    for result in [
        store.add_formula(&formula("hand bar")),
        store.add_lot(&Lot::new("wax 1", "beeswax"), today()),
        store.add_lot(&Lot::new("oil 1", "sunflower-oil"), today()),
    ] {
        // Another command may have been faster.
        assert!(matches!(result, Ok(()) | Err(RecordsError::AlreadyThere { .. })), "{result:?}");
    }
    store
}

/// Returns the folder and the tag if this process is the other command.
pub fn other_command() -> Option<(PathBuf, String)> {
    Some((env::var_os(FOLDER)?.into(), env::var(TAG).unwrap()))
}

/// Returns this test program, about to run one test as the other command with its output in a pipe.
pub fn again(test: &str, folder: &Path, tag: &str) -> Command {
    let mut command = Command::new(env::current_exe().unwrap());
    prepare(&mut command, [test.into(), "--exact".into(), "--nocapture".into()], folder, tag);
    command
}

/// Gives a command its arguments, folder and tag.
pub fn prepare(command: &mut Command, arguments: impl IntoIterator<Item = OsString>, folder: &Path, tag: &str) {
    command.args(arguments).env(FOLDER, folder).env(TAG, tag).stdin(Stdio::null()).stdout(Stdio::piped());
}

/// Says that something is done, at once.
pub fn acknowledge(what: &str) {
    let mut out = std::io::stdout().lock();
    writeln!(out, "\nack {what}").unwrap();
    out.flush().unwrap();
}

/// Returns what was acknowledged, whole lines only.
pub fn acknowledged(output: &str) -> Vec<&str> {
    let whole = output.rfind('\n').map_or("", |end| &output[..end]);
    whole.lines().filter_map(|line| line.strip_prefix("ack ")).collect()
}
