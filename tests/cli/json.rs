//! The JSON of `assess` and `compare`: a contract with scripts.

use serde_json::Value;

use crate::{run, run_with};

const BAR: &str = "beeswax 26, mango butter 22, shea butter 10, sunflower oil 42";
const SOFT: &str = "olive oil 60, jojoba oil 40";

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}

/// Checks that an object has at least these keys.
fn has(value: &Value, wanted: &[&str]) {
    for key in wanted {
        assert!(keys(value).contains(key), "{key} is not in {value}");
    }
}

/// Checks an estimate, or that there is none.
fn estimate(value: &Value) {
    if value.is_null() {
        return;
    }
    let mut seen = keys(value);
    seen.sort_unstable();
    assert_eq!(seen, ["high", "low", "value"]);
    let of = |key: &str| value[key].as_f64().unwrap();
    assert!(of("low") <= of("value") && of("value") <= of("high"), "{value}");
}

fn probability(value: &Value) {
    assert!((0.0..=1.0).contains(&value.as_f64().unwrap()), "{value}");
}

/// Checks every key of an assessment.
fn assessment(document: &Value, temperatures: usize) {
    has(document, &["formula", "state", "solids", "melt", "firmness", "detail", "warmth", "skin", "grain", "cautions"]);
    has(&document["formula"], &["name", "parts"]);
    let parts = document["formula"]["parts"].as_array().unwrap();
    let total: f64 = parts.iter().map(|part| part["percent"].as_f64().unwrap()).sum();
    assert!((total - 100.0).abs() < 1e-9);
    assert!(parts.iter().all(|part| part["ingredient"].is_string()));
    assert!(["fresh", "rested", "tempered"].contains(&document["state"].as_str().unwrap()));
    for table in ["solids", "firmness"] {
        assert_eq!(document[table].as_array().unwrap().len(), temperatures);
    }
    for row in document["solids"].as_array().unwrap() {
        assert!(row["temperature_c"].is_number());
        estimate(&row["percent"]);
        assert!(row["percent"]["low"].as_f64().unwrap() >= 0.0 && row["percent"]["high"].as_f64().unwrap() <= 100.0);
    }
    has(&document["melt"], &["softening_c", "slip_point_c", "drop_point_c", "melt_end_c", "clear_point_c"]);
    document["melt"].as_object().unwrap().values().for_each(estimate);
    for row in document["firmness"].as_array().unwrap() {
        has(row, &["temperature_c", "yield_stress_kpa", "beeswax_equivalent", "needle_dmm"]);
        estimate(&row["yield_stress_kpa"]);
        let status = row["beeswax_equivalent"]["status"].as_str().unwrap();
        assert!(["percent", "harder_than_beeswax", "beeswax_is_liquid"].contains(&status), "{status}");
        assert_eq!(row.get("beeswax_equivalent_percent").is_some(), status == "percent", "{row}");
        row.get("beeswax_equivalent_percent").into_iter().for_each(estimate);
        estimate(&row["needle_dmm"]);
    }
    has(&document["detail"], &["finest_feature_mm", "verdict", "probability"]);
    estimate(&document["detail"]["finest_feature_mm"]);
    probability(&document["detail"]["probability"]);
    has(&document["warmth"], &["hold_c", "verdict", "probability"]);
    estimate(&document["warmth"]["hold_c"]);
    probability(&document["warmth"]["probability"]);
    for outlook in ["detail", "warmth"] {
        let verdict = document[outlook]["verdict"].as_str().unwrap();
        assert!(["yes", "likely", "open", "unlikely", "no"].contains(&verdict), "{verdict}");
    }
    has(&document["skin"], &["melted_percent", "verdict", "probability"]);
    estimate(&document["skin"]["melted_percent"]);
    assert!(["glides", "smears", "drags"].contains(&document["skin"]["verdict"].as_str().unwrap()));
    has(&document["grain"], &["risk", "verdict"]);
    estimate(&document["grain"]["risk"]);
    for caution in document["cautions"].as_array().unwrap() {
        assert!(caution["about"].is_string() && caution["text"].is_string());
    }
}

#[test]
fn assess_has_every_key() {
    for (formula, arguments, temperatures) in [
        (BAR, &[][..], 4),
        (BAR, &["--at", "10,37.5", "--state", "fresh", "--units", "us"], 2),
        (SOFT, &["--state", "tempered"], 4),
        ("carnauba wax 1", &["--at", "20"], 1),
    ] {
        let answer = run(&[&["assess", formula, "--json", "--draws", "32"], arguments].concat());
        assert_eq!(answer.stderr, "");
        assessment(&answer.json(), temperatures);
    }
}

#[test]
fn compare_has_every_key() {
    let answer = run(&["compare", BAR, SOFT, "cocoa butter 1", "--json", "--draws", "32"]);
    let document = answer.json();
    let formulas = document["formulas"].as_array().unwrap();
    assert_eq!(formulas.len(), 3);
    formulas.iter().for_each(|one| assessment(one, 4));
    let differences = document["differences"].as_array().unwrap();
    assert!(!differences.is_empty());
    for difference in differences {
        assert!(difference["property"].is_string());
        assert_eq!(difference["values"].as_array().unwrap().len(), 3);
        difference["values"].as_array().unwrap().iter().for_each(estimate);
        probability(&difference["probability_first_higher"]);
    }
}

#[test]
fn errors_leave_standard_output_empty() {
    for arguments in
        [&["assess", "waxx 3", "--json"][..], &["ingredients", "waxx", "--json"], &["compare", BAR, "waxx 3", "--json"]]
    {
        let answer = run(arguments);
        assert_eq!((answer.status, answer.stdout.as_str()), (1, ""), "{arguments:?}");
        assert!(answer.stderr.contains("error["), "{}", answer.stderr);
    }
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let arguments = ["assess", BAR, "--json", "--seed", "7", "--draws", "64"];
    assert_eq!(run(&arguments), run(&arguments));
    let other = run(&["assess", BAR, "--json", "--seed", "8", "--draws", "64"]);
    let (one, other) = (run(&arguments).json(), other.json());
    assert_ne!(one["solids"][0]["percent"]["low"], other["solids"][0]["percent"]["low"]);
    assert_eq!(one["solids"][0]["percent"]["value"], other["solids"][0]["percent"]["value"]);
}

#[test]
fn the_order_of_parts_changes_no_number() {
    let numbers = |text: &str| {
        let mut document = run_with(text, &["assess", "-", "--json", "--draws", "32"]).json();
        let document = document.as_object_mut().unwrap();
        document.remove("formula");
        document.remove("cautions");
        serde_json::to_string(document).unwrap()
    };
    assert_eq!(numbers(BAR), numbers("sunflower oil 42, shea butter 10, mango butter 22, beeswax 26"));
    assert_eq!(numbers(BAR), numbers("sunflower oil 84, shea butter 20, mango butter 44, beeswax 52"));
}
