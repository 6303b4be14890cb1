//! `records`: what is kept, traced, exported and imported; what is refused; nothing is lost.

use std::path::Path;
use std::process::Stdio;
use std::time::Duration;

use insta::assert_snapshot;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use tempfile::TempDir;

use crate::{Run, command, run_in};

const FORMULAS: &str = "formula,ingredient,percent\nFern bar,my-wax,40\nFern bar,sunflower-oil,60\n";
const LOTS: &str = "lot,like,delivered_on,best_before,note\nmy-wax,beeswax,2026-03-01,2028-03-01,\n\
                    oil 9/26,sunflower-oil,2026-09-01,2027-01-31,'=2+3\n";
const BATCHES: &str = "batch,poured_on,formula,mass_g,cavities,lot,lot_mass_g\n\
                       F-0007,2026-10-02,Fern bar,700,12,my-wax,280\n\
                       F-0007,2026-10-02,Fern bar,700,12,oil 9/26,420\n\
                       F-0008,2026-10-09,Fern bar,350,6,my-wax,140\n";

/// Kills of each command that writes, at random moments: 210 in all.
const KILLS: usize = 70;

/// A profile with two batches.
fn workshop() -> TempDir {
    let folder = TempDir::new().unwrap();
    for (name, table) in [("formulas", FORMULAS), ("lots", LOTS), ("batches", BATCHES)] {
        std::fs::write(folder.path().join(format!("{name}.csv")), table).unwrap();
    }
    let said = at(folder.path(), &["import", "--folder", "."]);
    assert_eq!(said.status, 0, "{}", said.shown());
    folder
}

fn at(folder: &Path, arguments: &[&str]) -> Run {
    run_in(folder, &[&["--profile", "bench", "records"], arguments].concat(), b"")
}

/// A text without the day it was made on.
fn without_today(text: &str) -> String {
    match text.split_once("today is ") {
        Some((before, after)) => format!("{before}today is TODAY{}", &after["2026-11-26".len()..]),
        None => text.to_owned(),
    }
}

#[test]
fn a_recall_takes_one_command_and_so_does_the_way_back() {
    let folder = workshop();
    let path = folder.path();
    let sold = ["went", "F-0007", "--bars", "1-4", "--sold", "--to", "order 17", "--date", "2026-10-12"];
    assert_snapshot!(at(path, &sold).shown(), @"
    exit 0
    stdout:
    Bars 1 to 4 of batch F-0007: sold.
    ");
    let kept = ["went", "F-0007", "--bars", "12", "--kept", "--date", "2026-10-03", "--note", "sample"];
    assert_eq!(at(path, &kept).status, 0);
    let remark = ["remark", "F-0007", "white bloom on bar 3", "--date", "2026-10-20"];
    assert_snapshot!(at(path, &remark).shown(), @"
    exit 0
    stdout:
    Remark on batch F-0007 kept.
    ");
    assert_snapshot!(at(path, &["trace", "my-wax"]).shown(), @"
    exit 0
    stdout:
    Lot my-wax  (a delivery of beeswax)

    It went into 2 batches with 18 bars, 420 g of it in all; 4 of the bars were sold or
      gifted.

    Batches
      batch    poured on    formula    of this lot   bars
     ─────────────────────────────────────────────────────
      F-0007   2026-10-02   Fern bar         280 g     12
      F-0008   2026-10-09   Fern bar         140 g      6

    Where the bars went
      batch    bars          went   on           to         note
     ──────────────────────────────────────────────────────────────
      F-0007   bars 1 to 4   sold   2026-10-12   order 17
      F-0007   bar 12        kept   2026-10-03              sample
      14 bars are not written down as sold or gifted: look for them on the shelf.

    Remarks
      2026-10-20, batch F-0007: white bloom on bar 3
    ");
    assert_snapshot!(at(path, &["trace", "F-0007"]).shown(), @"
    exit 0
    stdout:
    Batch F-0007  (poured on 2026-10-02)

    Fern bar: 700 g, 12 bars.

    Formula as poured, % by mass
      ingredient      part
     ──────────────────────
      my-wax          40.0
      sunflower-oil   60.0

    Lots weighed in
      lot        a delivery of    mass   delivered on   best before   certificate
     ─────────────────────────────────────────────────────────────────────────────
      my-wax     beeswax         280 g   2026-03-01     2028-03-01
      oil 9/26   sunflower-oil   420 g   2026-09-01     2027-01-31

    Where the bars went
      bars          went   on           to         note
     ─────────────────────────────────────────────────────
      bars 1 to 4   sold   2026-10-12   order 17
      bar 12        kept   2026-10-03              sample

    Remarks
      2026-10-20, batch F-0007: white bloom on bar 3
    ");
    assert_snapshot!(at(path, &["trace", "F-0007", "--bar", "4"]).shown(), @"
    exit 0
    stdout:
    Batch F-0007, bar 4  (poured on 2026-10-02)

    Fern bar: 700 g, 12 bars.

    Formula as poured, % by mass
      ingredient      part
     ──────────────────────
      my-wax          40.0
      sunflower-oil   60.0

    Lots weighed in
      lot        a delivery of    mass   delivered on   best before   certificate
     ─────────────────────────────────────────────────────────────────────────────
      my-wax     beeswax         280 g   2026-03-01     2028-03-01
      oil 9/26   sunflower-oil   420 g   2026-09-01     2027-01-31

    Where it went
      bars          went   on           to         note
     ───────────────────────────────────────────────────
      bars 1 to 4   sold   2026-10-12   order 17

    Remarks
      2026-10-20, batch F-0007: white bloom on bar 3
    ");
    let lot = at(path, &["trace", "oil 9/26", "--json"]).json();
    assert_eq!(lot["lot"]["batches"][0]["batch"], "F-0007");
    assert_eq!(lot["lot"]["batches"][0]["bars"][0]["to"], "order 17");
    let bar = at(path, &["trace", "F-0007", "--bar", "5", "--json"]).json();
    assert_eq!(bar["batch"]["bars"].as_array().unwrap().len(), 0);
    assert_eq!(bar["batch"]["lots"][1]["lot"], "oil 9/26");
    assert_snapshot!(at(path, &["list"]).shown(), @"
    exit 0
    stdout:
    Records

      kind       kept
     ─────────────────
      formulas      1
      lots          2
      batches       2
      bars          2
      trials        0
      outcomes      1
    ");
    assert_snapshot!(at(path, &["list", "bars"]).shown(), @"
    exit 0
    stdout:
    Bars  (2 lines)

      id   batch    first   last   went   to         on           note
     ────────────────────────────────────────────────────────────────────
      1    F-0007   1       4      sold   order 17   2026-10-12
      2    F-0007   12      12     kept              2026-10-03   sample
    ");
    assert_eq!(at(path, &["list", "lots", "--json"]).json()[1]["note"], "=2+3");
}

#[test]
fn what_makes_no_sense_is_refused_in_plain_words() {
    let folder = workshop();
    let path = folder.path();
    let refused: [&[&str]; 10] = [
        &["trace", "my wax"],
        &["trace", "F-0007", "--bar", "13"],
        &["went", "F-0009", "--bars", "1", "--sold", "--date", "2026-10-12"],
        &["went", "F-0007", "--bars", "9-13", "--sold", "--date", "2026-10-12"],
        &["went", "F-0007", "--bars", "1", "--sold", "--date", "2026-09-12"],
        &["went", "F-0007", "--bars", "one", "--sold"],
        &["went", "F-0007", "--bars", "1"],
        &["remark", "F-0007", " "],
        &["lot", "my-wax", "--like", "beeswax"],
        &["lot", "new", "--like", "beeswx"],
    ];
    let said: Vec<String> = refused
        .iter()
        .map(|arguments| {
            let run = at(path, arguments);
            assert_eq!(run.stdout, "");
            format!("{} {}", run.status, run.stderr.lines().next().unwrap())
        })
        .collect();
    assert_snapshot!(said.join("\n"), @r#"
    1 error[unknown-record]: no lot and no batch is called `my wax`
    1 error[records]: batch "F-0007" has no bar 13: it has 12
    1 error[records]: no batch is called "F-0009"
    1 error[records]: batch "F-0007" has no bars 9 to 13: it has 12
    1 error[records]: bars of batch "F-0007" cannot have gone on 2026-09-12: it was poured on 2026-10-02
    2 error: invalid value 'one' for '--bars <BARS>': `one` is not a bar or a range of bars; write such as `4` or `1-4`
    2 error: the following required arguments were not provided:
    1 error[records]: the remark is blank
    1 error[records]: lot "my-wax" is kept already, and nothing kept is replaced
    1 error[unknown-ingredient]: --like: no ingredient is called `beeswx`
    "#);
    assert_snapshot!(at(path, &["trace", "F-007"]).shown(), @"
    exit 1
    stderr:
    error[unknown-record]: no lot and no batch is called `F-007`
     |
     = hint: The nearest names are `F-0007`, `F-0008` and `my-wax`.
    ");
    let empty = TempDir::new().unwrap();
    std::fs::create_dir(empty.path().join("bench")).unwrap();
    assert_snapshot!(at(empty.path(), &["list"]).shown(), @"
    exit 1
    stderr:
    error[no-records]: there are no records in `bench`
     |
     = hint: They begin with the first `barwright batch --record` or `barwright trial add`.
    ");
    let future = at(path, &["lot", "new", "--like", "beeswax", "--delivered", "2999-01-01"]);
    assert!(future.stderr.contains("2999-01-01, is in the future"), "{}", future.shown());
}

#[test]
fn names_with_slashes_quotes_and_signs_are_names() {
    let folder = workshop();
    let path = folder.path();
    for key in ["a/b", "../../etc", "it's \"mine\"", "'; DROP TABLE lots; --", "=cmd|' /C calc'!A0", "Bienenwachs № 7"]
    {
        let kept = at(path, &["lot", key, "--like", "beeswax", "--note", "+1"]);
        assert_eq!(kept.status, 0, "{}", kept.shown());
        assert_eq!(at(path, &["trace", key, "--json"]).json()["lot"]["lot"], key);
    }
    // Out and in again: the same records; what a spreadsheet would compute is kept from it by an apostrophe.
    let table = at(path, &["export", "lots"]);
    assert!(table.stdout.contains(r#""'=cmd|' /C calc'!A0""#), "{}", table.stdout);
    let other = TempDir::new().unwrap();
    std::fs::write(other.path().join("lots.csv"), &table.stdout).unwrap();
    assert_snapshot!(at(other.path(), &["import", "lots", "lots.csv"]).shown(), @"
    exit 0
    stdout:
    Lots: 8 added, 0 there already.
    stderr:
    note: made the folder bench
    ");
    assert_eq!(at(other.path(), &["export", "lots"]).stdout, table.stdout);
}

#[test]
fn every_table_goes_out_and_comes_in_again_as_it_was() {
    let folder = workshop();
    let path = folder.path();
    assert_eq!(at(path, &["went", "F-0008", "--bars", "1-6", "--gifted", "--date", "2026-10-12"]).status, 0);
    assert_eq!(at(path, &["remark", "F-0008", "soft\nin the van", "--date", "2026-10-12"]).status, 0);
    assert_snapshot!(at(path, &["export", "--folder", "tables"]).shown(), @"
    exit 0
    stderr:
    note: formulas written into tables/formulas.csv
    note: lots written into tables/lots.csv
    note: batches written into tables/batches.csv
    note: bars written into tables/bars.csv
    note: trials written into tables/trials.csv
    note: outcomes written into tables/outcomes.csv
    ");
    let other = TempDir::new().unwrap();
    let tables = path.join("tables").display().to_string();
    for outcome in ["added", "there already"] {
        let said = at(other.path(), &["import", "--folder", &tables]);
        assert_eq!(said.status, 0, "{}", said.shown());
        assert!(said.stdout.contains(outcome));
    }
    for kind in ["formulas", "lots", "batches", "bars", "trials", "outcomes"] {
        assert_eq!(at(other.path(), &["export", kind]), at(path, &["export", kind]), "{kind}");
    }
}

#[test]
fn a_table_with_a_fault_adds_nothing_and_names_its_line() {
    let folder = workshop();
    let path = folder.path();
    let long = format!("batch,noted_on,note\nF-0007,2026-10-20,{}\n", "x".repeat(10_000_000));
    let faults: [(&str, &str); 9] = [
        ("lots", "lot,like,flash_c\nnew,beeswax,\nnew 2,,\nnew 3,beeswax,9000\nmy-wax,olive-oil,\n"),
        ("formulas", "formula,ingredient,percent\nA,beeswax,40\nA,olive-oil,half\nB,,100\n"),
        ("batches", "batch,poured_on,formula,mass_g\nG-1,2999-01-01,Fern bar,100\n"),
        ("batches", "batch,poured_on,formula,mass_g\nG-1,2026-10-01,Fern bar,-100\n"),
        ("batches", "batch,poured_on,formula,mass_g\nG-1,2026-10-01,=SUM(A1:A9),100\n"),
        ("batches", "batch,poured_on,formula,mass_g\nG-1,2026-10-01,Fern bar,=50+50\n"),
        ("trials", "formula,kind,tested_on,days_since_pouring\nUnknown,grain,2026-10-01,3\n"),
        ("bars", "who,where\nme,here\n"),
        ("outcomes", &long),
    ];
    let said: Vec<String> = faults
        .iter()
        .map(|(kind, table)| {
            std::fs::write(path.join("table.csv"), table).unwrap();
            let run = at(path, &["import", kind, "table.csv"]);
            assert_eq!(run.stdout, "");
            without_today(&run.shown())
        })
        .collect();
    assert_snapshot!(said.join("\n"), @r#"
    exit 1
    stderr:
    error[records]: `like` is blank
    --> table.csv:3:1
     = hint: Export a table to see how one is written.

    error[records]: the flash point of the lot is 9000 °C, outside 20 to 400 °C
    --> table.csv:4:1
     = hint: Check the number and its unit.

    error[records]: lot "my-wax" is kept already, and nothing kept is replaced
    --> table.csv:5:1
     = hint: Give the new one a name of its own.
     = hint: Nothing of this table was added.

    3 errors in all

    exit 1
    stderr:
    error[records]: `percent` is "half", not a plain number such as 12.5
    --> table.csv:3:1
     = hint: Export a table to see how one is written.

    error[records]: `ingredient` is blank
    --> table.csv:4:1
     = hint: Export a table to see how one is written.
     = hint: Nothing of this table was added.

    2 errors in all

    exit 1
    stderr:
    error[records]: the pour of the batch, 2999-01-01, is in the future: today is TODAY
    --> table.csv:2:1
     = hint: Check the date and the computer's clock.
     = hint: Nothing of this table was added.

    exit 1
    stderr:
    error[records]: the mass of the batch is -100 g, outside 0.001 to 100000000 g
    --> table.csv:2:1
     = hint: Check the number and its unit.
     = hint: Nothing of this table was added.

    exit 1
    stderr:
    error[records]: no formula is called "=SUM(A1:A9)"
    --> table.csv:2:1
     = hint: Check the spelling, or record that first.
     = hint: Nothing of this table was added.

    exit 1
    stderr:
    error[records]: `mass_g` is "=50+50", not a plain number such as 12.5
    --> table.csv:2:1
     = hint: Export a table to see how one is written.
     = hint: Nothing of this table was added.

    exit 1
    stderr:
    error[records]: no formula is called "Unknown"
    --> table.csv:2:1
     = hint: Check the spelling, or record that first.
     = hint: Nothing of this table was added.

    exit 1
    stderr:
    error[records]: bars have no column "who"; theirs are id, batch, first, last, went, to, on, note
    --> table.csv:1:1
     = hint: Export a table to see how one is written.
     = hint: Nothing of this table was added.

    exit 1
    stderr:
    error[records]: the remark has 10000000 bytes; at most 65536 are kept
    --> table.csv:2:1
     = hint: Shorten it, and keep the long text in a file of its own.
     = hint: Nothing of this table was added.
    "#);
    assert_eq!(at(path, &["list", "--json"]).json()["lots"], 2);
}

#[test]
fn a_copy_is_whole_and_replaces_nothing() {
    let folder = workshop();
    let path = folder.path();
    assert_snapshot!(at(path, &["backup", "copy.sqlite"]).shown(), @"
    exit 0
    stdout:
    Copied to copy.sqlite; every page and every record of the copy was checked.
    ");
    assert_snapshot!(at(path, &["backup", "copy.sqlite"]).shown(), @"
    exit 1
    stderr:
    error[records]: `copy.sqlite` is there already and is not replaced
     |
     = hint: Name a file that is not there yet.
    ");
    assert_snapshot!(at(path, &["check"]).shown(), @"
    exit 0
    stdout:
    Records  (all of bench/records.sqlite is sound)

      checked                    rows
     ─────────────────────────────────
      formulas                      1
        parts of them               2
      lots                          2
      batches                       2
        lots weighed into them      3
      bars                          0
      trials                        0
      outcomes                      0
    Every page of the file was read. Each row is as it was kept, none is missing, and each
      could be kept today.
    ");
    std::fs::create_dir(path.join("other")).unwrap();
    std::fs::copy(path.join("copy.sqlite"), path.join("other/records.sqlite")).unwrap();
    let other = run_in(path, &["--profile", "other", "records", "export", "batches"], b"");
    assert_eq!(other.stdout, at(path, &["export", "batches"]).stdout);
}

#[test]
fn a_damaged_file_is_told_and_left_alone() {
    let folder = workshop();
    let file = folder.path().join("bench/records.sqlite");
    let mut bytes = std::fs::read(&file).unwrap();
    let middle = bytes.len() / 2;
    bytes.truncate(middle);
    std::fs::write(&file, &bytes).unwrap();
    let said = at(folder.path(), &["remark", "F-0007", "soft"]);
    assert_eq!(said.status, 1);
    assert!(said.stderr.contains("is damaged"), "{}", said.shown());
    assert_eq!(std::fs::read(&file).unwrap(), bytes);
}

/// Edits the records as another program would.
fn edit(folder: &Path, sql: &str) {
    let connection = rusqlite::Connection::open(folder.join("bench/records.sqlite")).unwrap();
    connection.execute_batch(sql).unwrap();
}

#[test]
fn records_that_changed_or_vanished_are_told_by_name() {
    let folder = workshop();
    let path = folder.path();
    edit(path, "UPDATE batches SET poured_on = '6026-10-02' WHERE number = 'F-0007'");
    assert_snapshot!(at(path, &["check"]).shown(), @r#"
    exit 1
    stderr:
    error[records]: `bench/records.sqlite` is damaged: batch "F-0007" (record 1): it has changed since it was kept
     |
     = hint: Keep this file as it is, and put a backup in its place.
    "#);
    for asked in [&["trace", "my-wax"][..], &["trace", "F-0007"], &["list", "batches"], &["export", "batches"]] {
        let said = at(path, asked);
        assert_eq!((said.status, said.stdout.as_str()), (1, ""), "{}", said.shown());
        assert!(
            said.stderr.contains("batch \"F-0007\" (record 1): it has changed since it was kept"),
            "{}",
            said.shown()
        );
    }
    let folder = workshop();
    let path = folder.path();
    edit(path, "DELETE FROM batch_lots WHERE batch_id = 2; DELETE FROM batches WHERE number = 'F-0008'");
    for asked in [&["check"][..], &["list"], &["list", "batches"], &["trace", "my-wax"], &["backup", "copy.sqlite"]] {
        let said = at(path, asked);
        assert_eq!((said.status, said.stdout.as_str()), (1, ""), "{}", said.shown());
        assert!(said.stderr.contains("2 batches were kept and 1 are there"), "{}", said.shown());
    }
    assert!(!path.join("copy.sqlite").exists());
}

#[test]
fn a_file_that_another_program_added_to_takes_no_record() {
    let folder = workshop();
    let path = folder.path();
    edit(path, "CREATE TRIGGER t BEFORE INSERT ON batches BEGIN SELECT RAISE(IGNORE); END");
    let bar = ["batch", "beeswax 30, olive oil 70", "--bars", "12", "--bar", "50g", "--no-plans"];
    let pour = [&["--profile", "bench"], &bar[..], &["--record", "--number", "F-0009"]].concat();
    let said = run_in(path, &pour, b"");
    assert_eq!(said.status, 1, "{}", said.shown());
    assert_snapshot!(said.stderr, @"
    error[records]: `bench/records.sqlite` has a trigger `t`, which barwright did not make
     |
     = hint: Take away whatever another program added to the file, or put a backup in its place.
    ");
    edit(path, "DROP TRIGGER t; DROP INDEX bars_of_batch");
    assert_snapshot!(at(path, &["list"]).shown(), @"
    exit 1
    stderr:
    error[records]: `bench/records.sqlite` has lost its index `bars_of_batch`
     |
     = hint: Keep this file as it is, and put a backup in its place.
    ");
}

/// Runs commands one after the other, kills each at a random moment, and returns which ended well before they were killed.
fn killed(
    folder: &Path,
    seed: u64,
    kills: usize,
    longest: Duration,
    arguments: impl Fn(usize) -> Vec<String>,
) -> Vec<usize> {
    let mut chance = Pcg64::seed_from_u64(seed);
    let mut acknowledged = Vec::new();
    for number in 0..kills {
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_barwright"))
            .current_dir(folder)
            .args(arguments(number))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(longest.mul_f64(chance.random_range(0.0..1.0)));
        child.kill().unwrap();
        if child.wait().unwrap().success() {
            acknowledged.push(number);
        }
    }
    acknowledged
}

/// How long a command takes by itself, with some room: kills are spread over it.
fn usual(folder: &Path, arguments: &[String]) -> Duration {
    let start = std::time::Instant::now();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    assert_eq!(run_in(folder, &arguments, b"").status, 0);
    start.elapsed().mul_f64(1.5)
}

#[test]
fn a_killed_trial_add_loses_nothing_that_was_acknowledged() {
    let folder = TempDir::new().unwrap();
    let arguments = |number: usize| -> Vec<String> {
        let rod = ["--rod", "3mm", "--grams", "500", "--at", "20C", "--days", "7", "--note"];
        let start = ["--profile", "bench", "trial", "add", "beeswax 30, olive oil 70"];
        start.iter().chain(&rod).map(|word| (*word).to_owned()).chain([format!("number {number}")]).collect()
    };
    let longest = usual(folder.path(), &arguments(KILLS));
    let acknowledged = killed(folder.path(), 1, KILLS, longest, arguments);
    assert_eq!(at(folder.path(), &["check"]).status, 0);
    let list = run_in(folder.path(), &["--profile", "bench", "trial", "list", "--json"], b"").json();
    let notes: Vec<&str> = list.as_array().unwrap().iter().filter_map(|one| one["note"].as_str()).collect();
    for number in &acknowledged {
        assert!(notes.contains(&format!("number {number}").as_str()), "{number} was acknowledged and is lost");
    }
    assert!(notes.len() <= 1 + KILLS);
    assert!(!acknowledged.is_empty() && acknowledged.len() < KILLS, "{} of {}", acknowledged.len(), KILLS);
}

#[test]
fn a_killed_batch_record_loses_nothing_that_was_acknowledged() {
    let folder = TempDir::new().unwrap();
    let arguments = |number: usize| -> Vec<String> {
        let words = "--profile bench batch";
        let rest = "--bars 12 --bar 50g --no-plans --record --from beeswax=W-1 --number";
        let words = words.split(' ').chain(["beeswax 30, olive oil 70"]).chain(rest.split(' '));
        words.map(str::to_owned).chain([format!("F-{number}")]).collect()
    };
    let longest = usual(folder.path(), &arguments(KILLS));
    let acknowledged = killed(folder.path(), 3, KILLS, longest, arguments);
    assert_eq!(at(folder.path(), &["check"]).status, 0);
    let traced = at(folder.path(), &["trace", "W-1", "--json"]).json();
    let batches = traced["lot"]["batches"].as_array().unwrap();
    let numbers: Vec<&str> = batches.iter().filter_map(|one| one["batch"].as_str()).collect();
    for number in &acknowledged {
        assert!(numbers.contains(&format!("F-{number}").as_str()), "{number} was acknowledged and is lost");
    }
    assert!(batches.iter().all(|one| one["cavities"] == 12 && one["lot_mass_g"].as_f64().is_some_and(|g| g > 0.0)));
    assert!(!acknowledged.is_empty() && acknowledged.len() < KILLS, "{} of {KILLS}", acknowledged.len());
}

#[test]
fn a_killed_import_is_whole_or_not_there() {
    let folder = workshop();
    let rows = 400;
    for number in 0..=KILLS {
        let lots: String = (0..rows).map(|row| format!("lot {number}/{row},beeswax\n")).collect();
        std::fs::write(folder.path().join(format!("{number}.csv")), format!("lot,like\n{lots}")).unwrap();
    }
    let arguments = |number: usize| -> Vec<String> {
        let words = ["--profile", "bench", "records", "import", "lots"];
        words.iter().map(|word| (*word).to_owned()).chain([format!("{number}.csv")]).collect()
    };
    let longest = usual(folder.path(), &arguments(KILLS));
    let acknowledged = killed(folder.path(), 2, KILLS, longest, arguments);
    assert_eq!(at(folder.path(), &["check"]).status, 0);
    let lots = at(folder.path(), &["list", "lots", "--json"]).json();
    let keys: Vec<&str> = lots.as_array().unwrap().iter().filter_map(|one| one["lot"].as_str()).collect();
    for number in 0..KILLS {
        let start = format!("lot {number}/");
        let kept = keys.iter().filter(|key| key.starts_with(&start)).count();
        assert!(kept == 0 || kept == rows, "{kept} of {rows} lots of table {number}");
        assert!(kept == rows || !acknowledged.contains(&number), "{number} was acknowledged and is lost");
    }
    assert!(!acknowledged.is_empty() && acknowledged.len() < KILLS, "{} of {}", acknowledged.len(), KILLS);
}

#[test]
fn commands_at_once_wait_for_each_other() {
    let folder = workshop();
    let writers = 10;
    let each = 5;
    std::thread::scope(|scope| {
        for writer in 0..writers {
            let folder = folder.path();
            scope.spawn(move || {
                for number in 0..each {
                    let text = format!("remark {number} of writer {writer}");
                    let done = command()
                        .current_dir(folder)
                        .args(["--profile", "bench", "records", "remark", "F-0007", &text, "--date", "2026-10-20"])
                        .output()
                        .unwrap();
                    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
                }
            });
        }
    });
    assert_eq!(at(folder.path(), &["list", "--json"]).json()["outcomes"], writers * each);
    assert_eq!(at(folder.path(), &["check"]).status, 0);
}
