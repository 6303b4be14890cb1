//! Lots: what a certificate does, dates.

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{Run, run_in};

const LOTS: &str = "\
[lot.soft-cocoa]
like = 'cocoa-butter'
melt_c = 31.8
[lot.hard-cocoa]
like = 'cocoa-butter'
melt_c = 33
price_per_kg = 18
best_before = 2020-06-30
[lot.odd-cocoa]
like = 'cocoa-butter'
melt_c = 40
[lot.read-cocoa]
like = 'cocoa-butter'
species = { POS = 41.5, SOS = 28, POP = 17.5, SOO = 4, POO = 3, PLS = 3.5, SLS = 1.5, OOO = 1 }
melt_c = 40
[lot.soft-wax]
like = 'beeswax'
melt_c = 62.5
needle_dmm = 24
best_before = '2099-12-31'
[lot.plain-wax]
like = 'beeswax'
price_per_kg = 14
[lot.soft-lanolin]
like = 'lanolin'
needle_dmm = 20
[lot.thin-oil]
like = 'olive oil'
needle_dmm = 20
[lot.thin-mineral-oil]
like = 'mineral-oil-light'
melt_c = -10
";

/// Runs the command beside the lots, with few draws.
fn with_lots(arguments: &[&str]) -> Run {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("lots.toml"), LOTS).unwrap();
    run_in(folder.path(), &[arguments, &["--lots", "lots.toml"]].concat(), b"")
}

#[test]
fn each_certificate_in_use_is_told_with_what_it_did() {
    let every = "soft-cocoa 10, hard-cocoa 10, odd-cocoa 10, read-cocoa 10, soft-wax 30, plain-wax 5, soft-lanolin 5, \
                 thin-oil 10, thin-mineral-oil 10";
    let done = with_lots(&["assess", every, "--draws", "16"]);
    assert_eq!(done.status, 0);
    assert_snapshot!(done.stderr, @"
    note: lot `soft-cocoa` melts at 31.8 °C by its certificate, 32.1 by the table: its species are shifted by up to 0.9 times what lots vary (POS 39.0 to 36.6 %, POP 19.0 to 21.0 %, SOS 22.0 to 21.2 %)
    note: lot `hard-cocoa` melts at 33.0 °C by its certificate, 32.1 by the table: its species are shifted by up to 2.7 times what lots vary (POS 39.0 to 46.3 %, POP 19.0 to 12.9 %, SOS 22.0 to 24.3 %)
    note: lot `hard-cocoa` is past its best-before date of 2020-06-30
    note: lot `odd-cocoa` melts at 40.0 °C by its certificate, 32.1 by the table: its species are shifted by up to 3.0 times what lots vary (POS 39.0 to 49.6 %, POP 19.0 to 12.1 %, SOS 22.0 to 27.9 %), and none may move further than 3: that reaches 33.7 °C; the certificate may be of another material or another test, or the table wrong about this one
    note: lot `read-cocoa` melts at 40.0 °C by its certificate, 33.1 by its species; its species stand, and the certificate may be of another material or another test, or the table wrong about this one
    note: lot `soft-wax` melts at 62.5 °C by its certificate, 63.5 by the table, and has a needle penetration of 24 dmm by its certificate, 19.6 by the table: its species are shifted by up to 3.0 times what lots vary (resin 7.0 to 9.7 %, alkene-C33 3.4 to 6.1 %, diester-C60 20.0 to 22.1 %)
    note: lot `soft-lanolin` has a needle penetration of 20 dmm by its certificate and is too soft for the needle by the table: its species are shifted by up to 3.0 times what lots vary (lanolin-ester 32.0 to 41.6 %, lanolin-liquid 21.0 to 12.8 %, sterol-ester 18.0 to 11.0 %), and none may move further than 3: that reaches no penetration that the needle could measure; the certificate may be of another material or another test, or the table wrong about this one
    note: lot `thin-oil` has a needle penetration of 20 dmm by its certificate but is liquid at 25 °C by the table, which stands
    note: lot `thin-mineral-oil` melts at -10.0 °C by its certificate but has no melting point by the table, which stands
    ");
}

#[test]
fn a_lot_that_melts_higher_makes_a_firmer_bar() {
    let found = |cocoa: &str| {
        let bar = format!("{cocoa} 80, olive oil 20");
        let document = with_lots(&["assess", &bar, "--at", "25", "--draws", "16", "--json"]).json();
        let slip_c = document["melt"]["slip_point_c"]["value"].as_f64().unwrap();
        (slip_c, document["firmness"][0]["yield_stress_kpa"]["value"].as_f64().unwrap())
    };
    let [soft, usual, hard] = ["soft-cocoa", "cocoa butter", "hard-cocoa"].map(found);
    assert!(soft.0 < usual.0 && usual.0 < hard.0, "{soft:?} {usual:?} {hard:?}");
    assert!(soft.1 < usual.1 && usual.1 < hard.1, "{soft:?} {usual:?} {hard:?}");
    let neat = with_lots(&["assess", "hard-cocoa 1", "--draws", "16", "--json"]).json();
    assert!((neat["melt"]["slip_point_c"]["value"].as_f64().unwrap() - 33.0).abs() < 0.03);
}

#[test]
fn every_command_that_takes_lots_uses_certificates_and_dates() {
    let bar = "hard-cocoa 40, beeswax 20, olive oil 40";
    let told = |done: &Run| {
        assert_eq!(done.status, 0, "{}", done.shown());
        done.stderr.contains("`hard-cocoa` melts at 33.0 °C by its certificate")
            && done.stderr.matches("past its best-before date of 2020-06-30").count() == 1
            && !done.stderr.contains("soft-wax")
    };
    for arguments in [
        &["compare", bar, "hard-cocoa 40, beeswax 25, olive oil 35", "--draws", "16"][..],
        &["batch", bar, "--bars", "4", "--bar", "50g"],
        &["adjust", bar, "--hold", "42", "--draws", "16"],
        &["swap", bar, "--replace", "beeswax", "--with", "candelilla wax", "--draws", "16"],
        &[
            "swap",
            "mango butter 40, beeswax 20, olive oil 40",
            "--replace",
            "mango butter",
            "--with",
            "hard-cocoa",
            "--draws",
            "16",
        ],
        &["pour", bar, "--mass", "350g", "--draws", "16"],
    ] {
        let done = with_lots(arguments);
        assert!(told(&done), "{arguments:?} {}", done.stderr);
    }
}

#[test]
fn lots_of_a_shelf_are_told_too() {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("lots.toml"), LOTS).unwrap();
    let shelf = "[ingredients]\nhard-cocoa = '10..40'\nplain-wax = '10..40'\n'sunflower oil' = '20..'\n";
    let arguments = ["explore", "-", "--lots", "lots.toml", "--candidates", "9", "--draws", "16", "--show", "1"];
    let done = run_in(folder.path(), &arguments, shelf.as_bytes());
    assert_snapshot!(done.stderr, @"
    note: lot `hard-cocoa` melts at 33.0 °C by its certificate, 32.1 by the table: its species are shifted by up to 2.7 times what lots vary (POS 39.0 to 46.3 %, POP 19.0 to 12.9 %, SOS 22.0 to 24.3 %)
    note: lot `hard-cocoa` is past its best-before date of 2020-06-30
    note: price is not weighed: there is no price of `sunflower-oil`
    ");
}

#[test]
fn a_date_that_is_none_is_refused() {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("lots.toml"), "[lot.a]\nlike = 'beeswax'\nbest_before = '30.06.2027'\n").unwrap();
    assert_snapshot!(run_in(folder.path(), &["assess", "a 1", "--lots", "lots.toml"], b"").shown(), @"
    exit 1
    stderr:
    error[bad-date]: `best_before` is `30.06.2027`, which is no day from 1990 to 2100
     --> lots.toml:3:15
      |
    3 | best_before = '30.06.2027'
      |               ^^^^^^^^^^^^
      |
      = hint: Write year, month and day, YYYY-MM-DD, such as `2027-06-30`.
    ");
}
