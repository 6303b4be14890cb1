//! `swap`: the answer, the ranking, the file written, and what is refused.

use insta::assert_snapshot;

use crate::{demo_folder, run, run_in};

#[test]
fn a_wax_that_ran_out_in_full() {
    let arguments = [
        "swap",
        "fern-hand-bar-winter.toml",
        "--replace",
        "beeswax",
        "--with",
        "candelilla wax",
        "--with",
        "japan wax",
    ];
    assert_snapshot!(run_in(demo_folder(), &arguments, b"").shown(), @"
    exit 0
    stdout:
    Fern hand bar, winter  (rested)

    In place of 26 % beeswax, take 12.5 % candelilla wax: 0.48 times the mass.
    It cannot match everything: relief (1.4 times), warmth (40 °C to 43 °C) and the share
      melted on skin (80 to 89 %).
    Colour, scent and gloss are not considered.
    Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    Parts, % by mass
      ingredient       before   after
     ─────────────────────────────────
      Beeswax              26       –
      Mango butter         22      22
      Shea butter          10      10
      Sunflower oil        30   39.64
      Jojoba oil           12   15.86
      Candelilla wax        –    12.5

    Before and after
                                   before               after
     ──────────────────────────────────────────────────────────────────────
      keeps its shape up to, °C    40 (29 to 47)        43 (28 to 52)
      finest relief just set, mm   0.53 (0.16 to 1.9)   0.73 (0.19 to 2.3)
      yield stress at 20 °C, kPa   68 (27 to 220)       57 (20 to 200)
      yield stress at 25 °C, kPa   33 (13 to 110)       29 (9.9 to 96)
      yield stress at 30 °C, kPa   12 (3.7 to 39)       11 (3.8 to 39)
      yield stress at 35 °C, kPa   6.4 (1.8 to 20)      7.4 (2.3 to 23)
      melted on skin, %            80 (78 to 83)        89 (89 to 90)
      on skin it                   glides               glides
      risk of grain                low                  low

    The nearest, best first
      in its place        %   times the mass   off by, steps   what it cannot match
     ───────────────────────────────────────────────────────────────────────────────────────────────────
      Candelilla wax   12.5             0.48             3.0   coarser relief, stands more heat and
                                                               melts more on skin
      Japan wax        38.5              1.5             3.4   softer in a warm room, finer relief,
                                                               stands less heat and melts less on skin
      A step is what a maker would notice: firmness or relief by 1.3 times, 2 °C, 5 %
        melted.

    What this rests on
      In brackets: 90 % intervals from 256 simulated draws (seed 20) over lots, melting
        points and model parameters.

    Cautions: nuts (shea butter); heat; safety; `--cautions` for the whole.
    ");
}

#[test]
fn the_formula_is_written_and_json_ranks() {
    let folder = tempfile::TempDir::new().unwrap();
    let out = folder.path().join("new.toml");
    let wanted = ["swap", "fern-hand-bar-winter.toml", "--replace", "shea butter", "--nut-free", "--most", "3"];
    let found = run_in(demo_folder(), &[&wanted[..], &["--json", "--out", out.to_str().unwrap()]].concat(), b"");
    let answer = found.json();
    let ranked = answer["replacements"].as_array().unwrap();
    assert_eq!(ranked.len(), 3);
    let best = ranked[0]["ingredient"].as_str().unwrap();
    let written = std::fs::read_to_string(&out).unwrap();
    assert!(written.contains("# Invented for demonstration") && !written.contains("shea"), "{written}");
    assert!(written.contains(&best.replace('-', " ")), "{written}");
    assert!(ranked.is_sorted_by(|a, b| a["distance"].as_f64() <= b["distance"].as_f64()));
}

#[test]
fn what_the_filters_do_not_reach_is_said() {
    let arguments =
        ["swap", "beeswax 26, shea butter 32, olive oil 42", "--replace", "olive oil", "--vegan", "--draws", "16"];
    let found = run(&arguments);
    let expected = "note: `--vegan` chooses the replacement only; the formula still holds `beeswax`\n";
    assert_eq!((found.status, found.stderr.as_str()), (0, expected), "{}", found.shown());
}

#[test]
fn what_may_be_from_animals_is_tried_and_named() {
    let arguments =
        ["swap", "stearic acid 10, beeswax 20, olive oil 70", "--replace", "beeswax", "--vegan", "--draws", "16"];
    let found = run(&[&arguments[..], &["--with", "cetyl alcohol", "--with", "carnauba wax"]].concat());
    let text = found.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let named = "by the lot: stearic acid and cetyl alcohol. Ask the supplier for a plant-origin statement";
    let turned = "by the lot: cetyl alcohol and stearic acid. Ask the supplier for a plant-origin statement";
    assert!(text.contains(named) || text.contains(turned), "{}", found.shown());
    let json = run(&[&arguments[..], &["--with", "cetyl alcohol", "--json"]].concat()).json();
    assert_eq!(json["replacements"][0]["animal_origin"], "possible");
}

#[test]
fn faults_are_named() {
    for (arguments, status, wanted) in [
        (vec!["--replace", "beeswx", "--with", "kokum"], 1, "`beeswax`"),
        (vec!["--replace", "kokum butter"], 1, "not in the formula"),
        (vec!["--replace", "beeswax", "--with", "beeswax"], 1, "stand in for itself"),
        (vec!["--replace", "beeswax", "--with", "white beeswax", "--vegan"], 1, "no ingredient is left to try"),
        (vec!["--with", "candelilla wax"], 2, "--replace"),
        (vec!["--replace", "beeswax", "--step", "-1"], 2, "-1"),
    ] {
        let found = run(&[&["swap", "beeswax 30, olive oil 70", "--draws", "16"], &arguments[..]].concat());
        assert_eq!(found.status, status, "{arguments:?} {}", found.shown());
        assert!(found.stderr.contains(wanted), "{wanted}: {}", found.shown());
    }
}
