//! `batch` from what is there: a mass, what runs out first, what to buy, what the records keep of each delivery.

use std::path::Path;

use insta::assert_snapshot;
use tempfile::TempDir;

use crate::{Run, run, run_in};

/// A scented bar with clay.
const CLAY: &str = "beeswax 25, shea butter 35, jojoba oil 33, lavender oil 2, kaolin 5";

/// The demonstration mould.
const TRAY: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/moulds/fern-tray.toml");

fn batch(formula: &str, more: &[&str]) -> Run {
    run(&[&["batch", formula, "--no-plans"], more].concat())
}

/// A section of a sheet, and the lines under its title.
fn section(done: &Run, heading: &str) -> String {
    assert_eq!(done.status, 0, "{}", done.shown());
    let sections: Vec<&str> = done.stdout.split("\n\n").collect();
    let its = sections.iter().find(|section| section.starts_with(heading)).unwrap_or(&"none");
    format!("{}\n\n{its}", sections[1])
}

#[test]
fn what_runs_out_first_decides_how_many_bars() {
    let have = ["--bar", "50g", "--have", "beeswax=120g", "--have", "shea=0.4kg", "--have", "cocoa butter=1kg"];
    assert_snapshot!(section(&batch(CLAY, &have), "Stock"), @"
    Batch ________; Date ________; Made by ________
    9 bars of 50 g: weigh 474 g, of which 5 % may stay in the jug.

    Stock
      ingredient       there, g   goes in, g      left, g
     ─────────────────────────────────────────────────────
      Beeswax               120          119            1
      Shea butter           400          166          234
      Jojoba oil     not stated          156   not stated
      Kaolin clay    not stated           24   not stated
      Lavender oil   not stated            9   not stated
      It is the beeswax that runs out first: it does not reach for one bar more.
      Not in this bar: cocoa butter.
    ");
    let json = batch(CLAY, &[&have[..], &["--json"]].concat()).json();
    assert_eq!((&json["bars"], &json["runs_out"]), (&9.into(), &"beeswax".into()));
}

#[test]
fn too_little_for_the_bars_asked_for_is_said() {
    let short = batch(CLAY, &["--bars", "20", "--bar", "2oz", "--units", "us", "--have", "beeswax=4oz"]);
    assert_snapshot!(section(&short, "Stock"), @"
    Batch ________; Date ________; Made by ________
    20 bars of 2.0 oz: weigh 42.117 oz, of which 5 % may stay in the jug.
    There is too little for this batch: it lacks 6.512 oz of beeswax.

    Stock
      ingredient      there, oz   goes in, oz      left, oz
     ───────────────────────────────────────────────────────
      Beeswax             4.000        10.512   6.512 short
      Shea butter    not stated        14.745    not stated
      Jojoba oil     not stated        13.898    not stated
      Kaolin clay    not stated         2.116    not stated
      Lavender oil   not stated         0.847    not stated
    ");
}

#[test]
fn a_mass_is_weighed_out_in_full() {
    let told =
        batch(CLAY, &["--mould", TRAY, "--weigh", "0.5kg"]).stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let words = "8 bars of 59 g in the fern tray: weigh 500 g, of which 5.93 % may stay in the jug. The last filling takes 2 of 6 cavities.";
    assert!(told.contains(words), "{told}");
}

#[test]
fn what_cannot_be_is_refused() {
    for (more, status, words) in [
        (vec!["--weigh", "1kg"], 2, "nobody said what a bar weighs"),
        (vec!["--weigh", "1kg", "--bar", "50g", "--bars", "3"], 2, "cannot be used with"),
        (vec!["--weigh", "60C", "--bar", "50g"], 2, "is a temperature, not an amount"),
        (vec!["--weigh", "40g", "--bar", "50g"], 1, "40 g make 0 bars of 50 g"),
        (vec!["--have", "beeswax=12g", "--bar", "57g"], 1, "one bar takes 15 g of `beeswax`, and there are 12 g"),
        (vec!["--have", "cocoa butter=1kg", "--bar", "57g"], 1, "nothing of what is there is in the bar"),
        (vec!["--have", "beeswax=-1g", "--bar", "57g"], 1, "--have: `-1g` is negative"),
        (vec!["--have", "beeswax", "--bar", "57g"], 1, "has no `=`"),
        (vec!["--have", "bluewax=1g", "--bar", "57g"], 1, "no ingredient is called `bluewax`"),
    ] {
        let done = batch(CLAY, &more);
        assert_eq!(done.status, status, "{more:?}: {}", done.shown());
        let shown = done.shown().split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(shown.contains(words), "{more:?}: {shown}");
    }
}

/// A profile with a delivery of beeswax, 300 g of it, and one of which nobody wrote down how much came.
fn workshop() -> TempDir {
    let folder = TempDir::new().unwrap();
    std::fs::create_dir(folder.path().join("bench")).unwrap();
    let lots = [
        &["records", "lot", "W-2311", "--like", "beeswax", "--mass", "300g", "--best-before", "2028-03-01"][..],
        &["records", "lot", "S-88", "--like", "shea butter"],
    ];
    lots.iter().for_each(|lot| assert_eq!(at(folder.path(), lot).status, 0));
    folder
}

fn at(folder: &Path, arguments: &[&str]) -> Run {
    run_in(folder, &[&["--profile", "bench"], arguments].concat(), b"")
}

/// Records a batch of ten bars of 50 g without loss, with 125 g of beeswax and 175 g of shea butter.
fn pour(folder: &Path, number: &str, more: &[&str]) -> Run {
    let asked =
        ["batch", CLAY, "--bars", "10", "--bar", "50g", "--left", "0", "--no-plans", "--record", "--number", number];
    at(folder, &[&asked[..], &["--from", "beeswax=W-2311", "--from", "shea=S-88"], more].concat())
}

#[test]
fn what_is_weighed_in_comes_off_the_stock_of_its_delivery() {
    let folder = workshop();
    let path = folder.path();
    for number in ["F-1", "F-2"] {
        assert_eq!(pour(path, number, &[]).status, 0);
    }
    assert_snapshot!(at(path, &["records", "stock"]).shown(), @"
    exit 0
    stdout:
    Stock  (2 deliveries)

      lot      a delivery of      came, g   weighed in, g      left, g   best before
     ────────────────────────────────────────────────────────────────────────────────
      W-2311   beeswax                300             250           50   2028-03-01
      S-88     shea-butter     not stated             350   not stated
    ");
    let before = at(path, &["records", "export", "batches"]).stdout;
    let refused = pour(path, "F-3", &[]);
    assert_snapshot!(refused.shown(), @"
    exit 1
    stderr:
    error[stock]: of the lot `W-2311` 50 g are left, and the batch takes 125 g; nothing was kept
     |
     = hint: Name another delivery for the rest, as `--from 'beeswax=A:120g' --from 'beeswax=B'`.
     = hint: `--beyond-stock` keeps the batch all the same, with a note.
    ");
    assert_eq!(at(path, &["records", "export", "batches"]).stdout, before);
    assert_eq!(pour(path, "F-3", &["--beyond-stock"]).status, 0);
    let traced = at(path, &["records", "trace", "F-3"]).stdout;
    assert!(traced.contains("Beyond stock: W-2311 by 75 g."), "{traced}");
    let json = at(path, &["records", "stock", "--json"]).json();
    let told = |index: usize| {
        [&json[index]["delivered_g"], &json[index]["used_g"], &json[index]["left_g"]].map(|one| one.as_f64())
    };
    assert_eq!(told(0), [Some(300.0), Some(375.0), Some(-75.0)]);
    assert_eq!(told(1), [None, Some(525.0), None]);
}

#[test]
fn what_to_buy_is_the_sum_less_the_stock() {
    let folder = workshop();
    let path = folder.path();
    assert_eq!(pour(path, "F-1", &[]).status, 0);
    let asked = ["batch", CLAY, "--bar", "50g", "--no-plans", "--stock"];
    let more = ["--bars", "10", "--left", "0", "--batches", "3", "--have", "kaolin=0.2kg", "--pigment", "CI 77491=2g"];
    let bought = at(path, &[&asked[..], &more].concat());
    assert_snapshot!(section(&bought, "To buy"), @"
    Batch ________; Date ________; Made by ________
    10 bars of 50 g: weigh 500 g, of which 0 % may stay in the jug.

    To buy for 3 batches
            ingredient     needed, g     there, g   to buy, g
     ─────────────────────────────────────────────────────────
      [ ]   Beeswax              375          175         200
      [ ]   Shea butter          525   not stated         525
      [ ]   Jojoba oil           495   not stated         495
      [ ]   Kaolin clay           75          200           0
      [ ]   Lavender oil          30   not stated          30
      [ ]   CI 77491               6   not stated           6
    ");
    // Without a count of bars the stock decides: 175 g of beeswax.
    assert_eq!(at(path, &[&asked[..], &["--json"]].concat()).json()["bars"], 13);
    let nobody = batch(CLAY, &["--bar", "50g", "--stock"]);
    assert!(nobody.stderr.contains("no folder was named to keep records in"), "{}", nobody.shown());
}

#[test]
fn a_scent_of_the_formula_and_one_on_top_add_up() {
    let ten = ["--bars", "10", "--bar", "50g", "--scale", "0.1g"];
    let twice = batch(CLAY, &[&ten[..], &["--scent", "lavender=6g"]].concat());
    assert_snapshot!(twice.shown(), @"
    exit 1
    stderr:
    error[batch]: `lavender-oil` is added as a scent, and the formula has 2 % of `lavender-oil` already
     |
     = hint: Leave out `--scent`: the formula's share is weighed in as it is. Or take the scent
             out of the formula, and say its mass with `--scent`.
    ");
    let on_top = batch(CLAY, &[&ten[..], &["--scent", "rosemary oil=6g"]].concat());
    assert_snapshot!(section(&on_top, "Weigh"), @"
    Batch ________; Date ________; Made by ________
    10 bars of 50 g: weigh 526.3 g, of which 5 % may stay in the jug.

    Weigh, in the order of melting
            ingredient         %   weigh, g   scale shows, g
     ────────────────────────────────────────────────────────
      [ ]   Beeswax        24.71      130.1            130.1
      [ ]   Shea butter    34.60      182.1            312.2
      [ ]   Jojoba oil     32.62      171.7            483.9
      [ ]   Kaolin clay     4.94         26            509.9
      [ ]   Lavender oil    1.98       10.4            520.3
      [ ]   Rosemary oil    1.14          6            526.3
      Scent in all: 3.1 % of the bar, of which lavender oil 2.0 % and rosemary oil 1.1 %.
      The scale is right within ±0.05 g, half its last digit; the % are the recipe's, before
        rounding to it.
    ");
    let negative = batch(CLAY, &[&ten[..], &["--scent", "rosemary oil=-6g"]].concat());
    assert_eq!(negative.status, 1);
    assert!(negative.stderr.contains("--scent: `-6g` is negative"), "{}", negative.shown());
}
