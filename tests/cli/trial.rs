//! `trial`: bench tests kept, listed, learned from; what is refused.

use std::path::Path;

use insta::assert_snapshot;
use sha2::{Digest, Sha256};
use tempfile::TempDir;

use crate::{Run, run, run_in};

/// A bar of an invented workshop.
const BAR: &str = "name = 'Fern bar'\n[parts]\nbeeswax = 30\n'cocoa butter' = 30\n'sunflower oil' = 40\n";

/// A folder with a formula; the profile is its folder `bench`.
fn workshop() -> TempDir {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("bar.toml"), BAR).unwrap();
    folder
}

/// Runs the command there, with the profile.
fn at(folder: &Path, arguments: &[&str]) -> Run {
    run_in(folder, &[&["--profile", "bench"], arguments].concat(), b"")
}

/// Keeps one test, on a day of its own so that no snapshot depends on the clock.
fn add(folder: &Path, more: &[&str]) -> Run {
    at(folder, &[&["trial", "add", "bar.toml", "--date", "2026-11-20"], more].concat())
}

const ROD: [&str; 8] = ["--rod", "3mm", "--grams", "900", "--at", "20C", "--days", "7"];

#[test]
fn a_test_is_kept_expected_and_listed() {
    let folder = workshop();
    assert_snapshot!(add(folder.path(), &ROD).shown(), @"
    exit 0
    stdout:
    Bench test 1 kept  (Fern bar)

    Rod of 3 mm at 20 °C, 7 days after the pour: goes in at 900 g.
    Expected by the tables alone: 370 g (160 to 980). What you measured lies inside.
    Predictions learn from it with `barwright trial fit`.
    stderr:
    note: made the folder bench
    ");
    let inline = ["trial", "add", "beeswax 30, olive oil 70", "--date", "2026-11-21"];
    let needle = ["--needle", "3.2mm", "--at", "77F", "--days", "3", "--tempered", "--note", "=cmd()"];
    assert_snapshot!(at(folder.path(), &[&inline[..], &needle].concat()).shown(), @"
    exit 0
    stdout:
    Bench test 2 kept  (beeswax 30, olive-oil 70)

    Needle at 25 °C, 3 days after the pour: 32 × 0.1 mm deep.
    Expected by the tables alone: 250 (90 to over 250) × 0.1 mm. What you measured lies
      below.
    Predictions learn from it with `barwright trial fit`.
    ");
    let shelf = ["--shelf", "40C", "--hours", "24", "--slumped", "--days", "9"];
    assert_snapshot!(add(folder.path(), &shelf).shown(), @"
    exit 0
    stdout:
    Bench test 3 kept  (Fern bar)

    Shelf at 40 °C for 24 h, 9 days after the pour: slumped.
    Expected by the tables alone: keeps its shape for a day up to 43 °C (33 to 50). What
      came out had a chance of 25 %.
    Predictions learn from it with `barwright trial fit`.
    ");
    let relief = ["--survived", "0.8mm", "--broke", "0.5mm", "--release", "18C", "--days", "0", "--units", "us"];
    assert_snapshot!(add(folder.path(), &relief).shown(), @"
    exit 0
    stdout:
    Bench test 4 kept  (Fern bar)

    Relief, left the mould at 64.4 °F, on the day of the pour: 0.031 in whole, 0.02 in
      broken.
    Expected by the tables alone: relief down to 0.011 in (0.0029 to 0.030). What came out
      had a chance of 13 %.
    Predictions learn from it with `barwright trial fit`.
    ");
    let by_name = ["trial", "add", "Fern bar", "--date", "2026-11-22", "--smooth", "--days", "30"];
    assert_snapshot!(at(folder.path(), &by_name).shown(), @"
    exit 0
    stdout:
    Bench test 5 kept  (Fern bar)

    Grain, 30 days after the pour: smooth.
    Expected by the tables alone: risk of grain 0.07. What came out had a chance of 93 %.
    It is kept but teaches nothing yet: the model has no parameter for grain.
    ");
    assert_snapshot!(at(folder.path(), &["trial", "list"]).shown(), @"
    exit 0
    stdout:
    Bench tests  (5 kept)

          tested on    formula        test                         result                 days   note
     ───────────────────────────────────────────────────────────────────────────────────────────────────
      1   2026-11-20   Fern bar       rod of 3 mm at 20 °C         goes in at 900 g          7
      2   2026-11-21   beeswax 30,    needle at 25 °C, tempered    32 × 0.1 mm deep          3   =cmd()
                       olive-oil 70
      3   2026-11-20   Fern bar       shelf at 40 °C for 24 h      slumped                   9
      4   2026-11-20   Fern bar       relief, left the mould at    0.8 mm whole, 0.5 mm      0
                                      18 °C                        broken
      5   2026-11-22   Fern bar       grain                        smooth                   30
    ");
    let json = at(folder.path(), &["trial", "list", "--formula", "Fern bar", "--json"]).json();
    assert_eq!(json.as_array().unwrap().len(), 4);
    assert_eq!(json[0]["test"]["grams"], 900.0);
    assert_eq!(json[0]["expected"], serde_json::Value::Null);
}

#[test]
fn what_was_learned_is_in_every_later_prediction() {
    let folder = workshop();
    let path = folder.path();
    let alone = run_in(path, &["assess", "bar.toml", "--json"], b"").json();
    assert_eq!(alone["trials"], serde_json::Value::Null);
    let firmness = |answer: &serde_json::Value| answer["firmness"][0]["yield_stress_kpa"]["value"].as_f64().unwrap();
    for grams in ["1500", "1600", "1400"] {
        let rod = ["--rod", "3mm", "--grams", grams, "--at", "20C", "--days", "7"];
        let added = add(path, &[&rod[..], &["--json"]].concat()).json();
        assert_eq!(added["test"]["kind"], "rod");
        assert_eq!(added["expected"]["trials"], 0);
    }
    let fitted = at(path, &["trial", "fit"]);
    assert_eq!(fitted.status, 0);
    assert_snapshot!(fitted.stdout, @"
    Learned from your bench tests  (3 tests)

    Fern bar is 3.3 times as firm as the tables alone say at 20 °C, and known 3.0 times as
      closely.

    Fern bar, before and now
                                            by the tables alone   with your bench tests
     ───────────────────────────────────────────────────────────────────────────────────
      yield stress at 20 °C, kPa            91 (38 to 240)        300 (250 to 460)
      yield stress at 25 °C, kPa            40 (14 to 100)        130 (92 to 210)
      yield stress at 30 °C, kPa            17 (6.2 to 46)        50 (29 to 100)
      yield stress at 35 °C, kPa            10 (3.3 to 30)        32 (17 to 65)
      slip point, °C                        58 (55 to 61)         59 (55 to 62)
      keeps its shape for a day up to, °C   43 (33 to 50)         48 (43 to 55)
      finest relief, mm                     0.38 (0.10 to 1.1)    0.13 (0.054 to 0.27)

    What the tests told most about
      figure of the model                                            told, %   moved, in its own spread
     ───────────────────────────────────────────────────────────────────────────────────────────────────
      how firm the crystals of beeswax, cocoa butter and sunflower        37                       +1.2
      oil are together
      how firm your casts come out                                        17                       +0.8
      how firm a network of crystals is                                   14                       +0.8
      when bars of beeswax, cocoa butter and sunflower oil melt            7                       +0.5

    What this rests on
      3 bench tests, and the tables where they are silent. The tables are not changed. Every
        prediction with this profile now uses what was learned.
      In brackets: 90 % intervals from 256 simulated draws (seed 20) over lots, melting
        points and model parameters. Also uses 3 of your bench tests.
    ");
    assert_snapshot!(fitted.stderr, @"note: what was learned is kept in bench/learned.json");
    let taught = at(path, &["assess", "bar.toml", "--json"]).json();
    assert_eq!(taught["trials"], 3);
    assert!(firmness(&taught) > 1.3 * firmness(&alone), "{} {}", firmness(&taught), firmness(&alone));

    // Every command that predicts says so.
    let commands: [&[&str]; 7] = [
        &["assess", "bar.toml"],
        &["compare", "bar.toml", "beeswax 20, olive oil 80"],
        &["adjust", "bar.toml", "--hold", "30C"],
        &["swap", "bar.toml", "--replace", "beeswax", "--with", "candelilla wax"],
        &["pour", "bar.toml"],
        &["cool", "bar.toml", "--place", "room=20C", "--draws", "16"],
        &["parcel", "bar.toml", "--route", "hot-day", "--draws", "16", "--cell", "10mm"],
    ];
    for arguments in commands {
        let said = at(path, arguments);
        let text = said.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains("3 of your bench tests"), "{arguments:?}: {}", said.shown());
        assert_eq!(said.stderr, "", "{arguments:?}");
    }
    // And says it when there is more to learn from.
    assert_eq!(add(path, &ROD).status, 0);
    assert_snapshot!(at(path, &["assess", "bar.toml"]).stderr, @"note: 1 bench test was added since the last `barwright trial fit`, which would learn from it");
}

#[test]
fn a_profile_that_is_not_there_is_no_empty_one() {
    let folder = workshop();
    for arguments in [&["assess", "bar.toml"][..], &["pour", "bar.toml"], &["trial", "list"]] {
        let said = at(folder.path(), arguments);
        assert_eq!(said.status, 1);
        assert!(said.stderr.contains("there is no folder `bench`"), "{}", said.shown());
    }
}

#[test]
fn a_profile_in_the_environment_serves_as_well() {
    let folder = workshop();
    assert_eq!(add(folder.path(), &ROD).status, 0);
    let output = crate::command()
        .current_dir(folder.path())
        .env("BARWRIGHT_PROFILE", "bench")
        .args(["trial", "list", "--json"])
        .output()
        .unwrap();
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(json.as_array().unwrap().len(), 1);
}

#[test]
fn a_test_that_does_not_fit_is_flagged_and_grain_is_counted() {
    let folder = workshop();
    let path = folder.path();
    for tube in ["60C", "60.5C", "59.5C", "20C"] {
        assert_eq!(add(path, &["--tube", tube, "--days", "7"]).status, 0);
    }
    assert_eq!(add(path, &["--grain", "--days", "30"]).status, 0);
    let json = at(path, &["trial", "fit", "--json"]).json();
    assert_eq!((&json["trials"], &json["untaught"]), (&4.into(), &1.into()));
    assert_eq!(json["flagged"].as_array().unwrap().len(), 1);
    assert_eq!(json["flagged"][0]["id"], 4);
    let said = at(path, &["trial", "fit"]).stdout;
    assert!(said.contains("Test 4 does not fit"), "{said}");
}

#[test]
fn deliveries_of_the_profile_are_known_and_kept_with_the_test() {
    let folder = workshop();
    let path = folder.path();
    std::fs::create_dir(path.join("bench")).unwrap();
    let lots = "[lot.my-wax]\nlike = 'beeswax'\nprice_per_kg = 19\n";
    std::fs::write(path.join("bench/lots.toml"), lots).unwrap();
    let bar = "name = 'Fern bar'\n[parts]\nmy-wax = 30\n'cocoa butter' = 30\n'sunflower oil' = 40\n";
    std::fs::write(path.join("bar.toml"), bar).unwrap();
    assert_eq!(add(path, &ROD).status, 0);
    assert_snapshot!(at(path, &["records", "list", "lots"]).shown(), @"
    exit 0
    stdout:
    Lots  (1 line)

      lot      like      price per kg
     ─────────────────────────────────
      my-wax   beeswax   19
    ");
    // The file of deliveries goes; the records still know what was tested.
    std::fs::remove_file(path.join("bench/lots.toml")).unwrap();
    assert_eq!(at(path, &["trial", "fit", "--json"]).json()["trials"], 1);
    assert_eq!(at(path, &["trial", "add", "Fern bar", "--smooth", "--days", "9"]).status, 0);
}

#[test]
fn figures_no_bench_gives_are_refused_and_nothing_is_kept() {
    let folder = workshop();
    let path = folder.path();
    let refused: [&[&str]; 12] = [
        &["--rod", "0mm", "--grams", "900", "--at", "20C", "--days", "7"],
        &["--rod", "3mm", "--grams", "-900", "--at", "20C", "--days", "7"],
        &["--rod", "3mm", "--grams", "many", "--at", "20C", "--days", "7"],
        &["--rod", "3mm", "--grams", "900", "--at", "300C", "--days", "7"],
        &["--rod", "3mm", "--grams", "900", "--days", "7"],
        &["--needle", "0", "--at", "25C", "--days", "7"],
        &["--needle", "900dmm", "--at", "25C", "--days", "7"],
        &["--shelf", "40C", "--hours", "24", "--days", "7"],
        &["--shelf", "40C", "--hours", "-1", "--kept", "--days", "7"],
        &["--tube", "54C", "--smooth", "--days", "7"],
        &["--tube", "54C", "--days", "-1"],
        &["--days", "7"],
    ];
    let said: Vec<String> = refused
        .iter()
        .map(|more| {
            let run = add(path, more);
            assert_eq!(run.stdout, "");
            format!("{} {}", run.status, run.stderr.lines().next().unwrap())
        })
        .collect();
    assert_snapshot!(said.join("\n"), @"
    1 error[trial]: a rod of 0 mm: give the diameter of its flat end, 0.5 to 30 mm
    1 error[trial]: -900 g on the rod: give what the scale shows as the rod goes in, above 0
    2 error: invalid value 'many' for '--grams <GRAMS>': `many` is not a number of g
    2 error: invalid value '300C' for '--at <TEMP>': 300 °C is outside -20 to 120 °C, where the prediction holds
    2 error: the following required arguments were not provided:
    1 error[trial]: depth of the needle, 0.1 mm is 0, outside 0.001 to 250
    1 error[trial]: depth of the needle, 0.1 mm is 900, outside 0.001 to 250
    2 error[test]: say what came out on the shelf: `--kept` or `--slumped`
    1 error[trial]: time on the shelf, hours is -1, outside 0.001 to 1440
    2 error[test]: one test at a time: say `trial add` once for each
    2 error: invalid value '-1' for '--days <DAYS>': write a whole number from 0 to 3650
    2 error: the following required arguments were not provided:
    ");
    let future = at(path, &["trial", "add", "bar.toml", "--date", "2999-01-01", "--smooth", "--days", "1"]);
    assert!(future.stderr.contains("the day written, 2999-01-01, is in the future: today is 20"), "{}", future.shown());
    assert_eq!(future.status, 1);
    let date = at(path, &["trial", "add", "bar.toml", "--date", "20.11.2026", "--smooth", "--days", "1"]);
    assert_snapshot!(date.shown(), @"
    exit 2
    stderr:
    error: invalid value '20.11.2026' for '--date <DATE>': `20.11.2026` is no day; write year, month and day, such as `2026-11-25`

    For more information, try '--help'.
    ");
    assert!(!path.join("bench").exists(), "a refused test makes no folder");
    assert_snapshot!(at(path, &["trial", "fit"]).shown(), @"
    exit 1
    stderr:
    error[records]: there is no folder `bench` to keep records in
     |
     = hint: Make the folder first, or name one that exists.
    ");
    assert_snapshot!(run(&["trial", "list"]).shown(), @"
    exit 2
    stderr:
    error[no-profile]: no folder was named to keep records in
     |
     = hint: Name one: `barwright --profile FOLDER ...`, or put it into the environment as
             BARWRIGHT_PROFILE.
    ");
}

#[test]
fn a_test_of_an_unknown_formula_names_the_nearest() {
    let folder = workshop();
    assert_eq!(add(folder.path(), &ROD).status, 0);
    let wrong = ["trial", "add", "Fern bra", "--smooth", "--days", "9"];
    assert_snapshot!(at(folder.path(), &wrong).shown(), @"
    exit 1
    stderr:
    error[unknown-formula]: the records keep no formula called `Fern bra`
     |
     = hint: The nearest names are `Fern bar`.
     = hint: Or name a file, or write the formula: 'beeswax 26, sunflower oil 74'.
    ");
    assert_snapshot!(at(folder.path(), &["trial", "list", "--formula", "Fern bra"]).shown(), @r#"
    exit 1
    stderr:
    error[records]: no formula is called "Fern bra"
     |
     = hint: Check the spelling, or record that first.
    "#);
}

#[test]
fn a_changed_formula_gets_a_name_of_its_own() {
    let folder = workshop();
    assert_eq!(add(folder.path(), &ROD).status, 0);
    std::fs::write(folder.path().join("bar.toml"), BAR.replace("beeswax = 30", "beeswax = 31")).unwrap();
    let again = add(folder.path(), &ROD);
    assert_snapshot!(again.stderr, @"note: the records keep another formula as `Fern bar`; this one is kept as `Fern bar (2)`");
    assert!(again.stdout.contains("Fern bar (2)"), "{}", again.shown());
}

/// What was learned, with a digest that fits: as a program that knows how would leave it.
fn sealed(text: &str) -> String {
    let (before, rest) = text.split_once("\"digest\":\"").unwrap();
    let (_, after) = rest.split_once('"').unwrap();
    let digest = Sha256::digest(format!("{before}\"digest\":\"\"{after}"));
    let digest: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
    format!("{before}\"digest\":\"{digest}\"{after}")
}

#[test]
fn what_no_trial_teaches_is_not_believed() {
    let folder = workshop();
    let path = folder.path();
    assert_eq!(add(path, &ROD).status, 0);
    assert_eq!(at(path, &["trial", "fit"]).status, 0);
    let kept = path.join("bench/learned.json");
    let text = std::fs::read_to_string(&kept).unwrap();
    assert_eq!(sealed(&text), text);
    let good: serde_json::Value = serde_json::from_str(&text).unwrap();
    let first = |of: &str| good["learned"][of][0].clone();
    let edits = [
        ("means of 50", format!("\"mean\":[{}", first("mean")), "\"mean\":[50.0".to_owned()),
        ("means of -1e4", format!("\"mean\":[{}", first("mean")), "\"mean\":[-10000.0".to_owned()),
        (
            "a variance of 1e300",
            format!("\"covariance\":[{}", first("covariance")),
            format!("\"covariance\":[[{}]", serde_json::json!(1e300)),
        ),
        ("a variance below 0", format!("\"covariance\":[{}", first("covariance")), "\"covariance\":[[-0.5]".to_owned()),
        ("no trial", "\"trials\":1".to_owned(), "\"trials\":0".to_owned()),
        (
            "a flag",
            "\"flagged\":[".to_owned(),
            "\"flagged\":[{\"trial\":7,\"label\":\"1\",\"surprise\":4.0,\"weight\":0.5}".to_owned(),
        ),
        ("layout 1", "\"layout\":2".to_owned(), "\"layout\":1".to_owned()),
    ];
    let mut told = String::new();
    for (what, from, to) in edits {
        let edited = text.replacen(&from, &to, 1);
        assert_ne!(edited, text, "{what}");
        // As a hand leaves it, and as a program that knows how to seal it would.
        for edited in [edited.clone(), sealed(&edited)] {
            std::fs::write(&kept, &edited).unwrap();
            let said = at(path, &["assess", "bar.toml"]);
            assert_eq!((said.status, said.stdout.as_str()), (1, ""), "{what}: {}", said.shown());
            assert!(said.stderr.contains("`barwright trial fit` again"), "{what}: {}", said.shown());
            told.push_str(said.stderr.lines().next().unwrap());
            told.push('\n');
        }
    }
    assert_snapshot!(told, @"
    error[learned]: `bench/learned.json` is not what `trial fit` writes: it was changed since it was written
    error[learned]: what your bench tests taught cannot be used: `beyond-melt:beeswax+cocoa-butter+sunflower-oil` is learned to be 50 standard deviations from the model's own, at most 10 are believed
    error[learned]: `bench/learned.json` is not what `trial fit` writes: it was changed since it was written
    error[learned]: what your bench tests taught cannot be used: `beyond-melt:beeswax+cocoa-butter+sunflower-oil` is learned to be -10000 standard deviations from the model's own, at most 10 are believed
    error[learned]: `bench/learned.json` is not what `trial fit` writes: it was changed since it was written
    error[learned]: what your bench tests taught cannot be used: the variance of `beyond-melt:beeswax+cocoa-butter+sunflower-oil` is 1.00e300 times that before any trial, at most 4 is believed
    error[learned]: `bench/learned.json` is not what `trial fit` writes: it was changed since it was written
    error[learned]: what your bench tests taught cannot be used: the covariance of what was learned is not positive definite, or a figure is not finite
    error[learned]: `bench/learned.json` is not what `trial fit` writes: it was changed since it was written
    error[learned]: what your bench tests taught cannot be used: 44 scores are learned from no trial
    error[learned]: `bench/learned.json` is not what `trial fit` writes: it was changed since it was written
    error[learned]: what your bench tests taught cannot be used: trial 8 is flagged, out of 1, each flagged once at most
    error[learned]: `bench/learned.json` is not what `trial fit` writes: its layout is 1, this version reads 2
    error[learned]: `bench/learned.json` is not what `trial fit` writes: its layout is 1, this version reads 2
    ");
    // What was written by hand is in the records, and learned from anew.
    assert_eq!(at(path, &["trial", "fit"]).status, 0);
    assert_eq!(std::fs::read_to_string(&kept).unwrap(), text);
    assert_eq!(at(path, &["assess", "bar.toml", "--json"]).json()["trials"], 1);
}

#[test]
fn what_was_learned_with_another_model_or_damaged_is_not_used() {
    let folder = workshop();
    let path = folder.path();
    assert_eq!(add(path, &ROD).status, 0);
    assert_eq!(at(path, &["trial", "fit"]).status, 0);
    let kept = path.join("bench/learned.json");
    let text = std::fs::read_to_string(&kept).unwrap();
    let at_model = text.find("\"model\":\"").unwrap() + 9;
    let mut other = text.clone();
    other.replace_range(at_model..at_model + 4, "0000");
    std::fs::write(&kept, sealed(&other)).unwrap();
    let said = at(path, &["assess", "bar.toml", "--json"]);
    assert_eq!(said.json()["trials"], serde_json::Value::Null);
    assert_snapshot!(said.stderr, @"note: what your bench tests taught was learned with another version of the model and is not used: say `barwright trial fit` again");
    std::fs::write(&kept, &text[..text.len() / 2]).unwrap();
    let said = at(path, &["assess", "bar.toml"]);
    assert_eq!(said.status, 1);
    assert!(said.stderr.contains("is not what `trial fit` writes"), "{}", said.shown());
    assert_eq!(at(path, &["trial", "fit"]).status, 0);
    assert_eq!(at(path, &["assess", "bar.toml", "--json"]).json()["trials"], 1);
}
