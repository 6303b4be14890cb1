//! `swap`: the answer, the ranking, the file written, and what is refused.

use insta::assert_snapshot;

use crate::{demo_folder, run, run_in, run_on};

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

    In place of 26 % beeswax, take 13.5 % candelilla wax: 0.52 times the mass.
    The 12.5 % left over is made up with sunflower oil (30 to 39 %) and jojoba oil (12 to
      15.5 %).
    It cannot match everything: warmth (40 °C to 45 °C) and the share melted on skin (80 to
      89 %).
    Colour, scent and gloss are not considered.
    Detail, warmth, skin feel and grain: rule of thumb, no published relation.

    Parts, % by mass
      ingredient       before   after
     ─────────────────────────────────
      Beeswax              26       –
      Mango butter         22      22
      Shea butter          10      10
      Sunflower oil        30      39
      Jojoba oil           12    15.5
      Candelilla wax        –    13.5

    Before and after
                                   before               after
     ──────────────────────────────────────────────────────────────────────
      keeps its shape up to, °C    40 (29 to 47)        45 (29 to 53)
      finest relief just set, mm   0.53 (0.16 to 1.9)   0.61 (0.16 to 1.9)
      yield stress at 20 °C, kPa   68 (27 to 220)       65 (23 to 230)
      yield stress at 25 °C, kPa   33 (13 to 110)       33 (12 to 110)
      yield stress at 30 °C, kPa   12 (3.7 to 39)       13 (4.7 to 46)
      yield stress at 35 °C, kPa   6.4 (1.8 to 20)      9.0 (2.7 to 28)
      melted on skin, %            80 (78 to 83)        89 (88 to 89)
      on skin it                   glides               glides
      risk of grain                low                  low

    The nearest, best first
      in its place        %   times the mass   off by, steps   what it cannot match
     ───────────────────────────────────────────────────────────────────────────────────────────────────
      Candelilla wax   13.5             0.52             2.5   stands more heat and melts more on skin
      Japan wax          39              1.5             3.8   finer relief, stands less heat, melts
                                                               less on skin and more risk of grain
      A step is what a maker would notice: firmness or relief by 1.3 times, 2 °C, 5 %
        melted, 0.15 of the grain index, 10 % of the bar in how much there is of the other
        parts. Finer relief and more warmth count half.

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

/// 30 % of 20, 40 % of 8 and 30 % of 5 cost 10.70 a kilogram; without a price of what comes nothing is said.
#[test]
fn a_price_is_told_where_all_are_known_and_what_gives_way_is_named() {
    let lots = "[lot.wax]\nlike = 'beeswax'\nprice_per_kg = 20\n[lot.butter]\nlike = 'cocoa-butter'\nprice_per_kg = 8\n[lot.oil]\nlike = 'olive-oil'\nprice_per_kg = 5\n[lot.hers]\nlike = 'shea-butter'\nprice_per_kg = 10\n";
    let arguments =
        ["swap", "wax 30, butter 40, oil 30", "--lots", "lots.toml", "--draws", "16", "--replace", "butter"];
    let asked = [&arguments[..], &["--with", "hers", "--with", "mango butter"]].concat();
    let answer = run_on("lots.toml", lots, &[&asked[..], &["--json"]].concat()).json();
    assert!((answer["price_per_kg"].as_f64().unwrap() - 10.7).abs() < 1e-9, "{answer}");
    let ranked = answer["replacements"].as_array().unwrap();
    let shea = ranked.iter().find(|one| one["ingredient"] == "hers").unwrap();
    let amount = shea["to_percent"].as_f64().unwrap();
    let price = (30.0 * 20.0 + amount * 10.0 + (70.0 - amount) * 5.0) / 100.0;
    assert!((shea["price_per_kg"].as_f64().unwrap() - price).abs() < 1e-9, "{shea}");
    assert!(ranked.iter().any(|one| one["price_per_kg"].is_null()), "{ranked:?}");
    let found = run_on("lots.toml", lots, &[&arguments[..], &["--with", "hers"]].concat());
    let text = found.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains(&format!("A kilogram of the bar costs {price:.2} (was 10.70).")), "{}", found.shown());
    let extra = format!("The extra {} % comes out of oil (30 to {} %).", amount - 40.0, 70.0 - amount);
    assert!(text.contains(&extra), "{extra}: {}", found.shown());
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
