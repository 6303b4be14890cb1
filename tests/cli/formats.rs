//! The ways to write a formula, all read the same.

use tempfile::TempDir;

use crate::{run, run_in, run_on, run_with};

/// Shares by ingredient, rounded to 0.01 %, of the only formula.
fn shares(document: &serde_json::Value) -> Vec<(String, f64)> {
    let parts = document["formula"]["parts"].as_array().unwrap();
    let round = |percent: f64| (percent * 100.0).round() / 100.0;
    parts
        .iter()
        .map(|part| (part["ingredient"].as_str().unwrap().to_owned(), round(part["percent"].as_f64().unwrap())))
        .collect()
}

const QUICK: [&str; 3] = ["--json", "--draws", "16"];

fn with_quick<'a>(arguments: &[&'a str]) -> Vec<&'a str> {
    arguments.iter().copied().chain(QUICK).collect()
}

fn wanted() -> Vec<(String, f64)> {
    vec![("beeswax".to_owned(), 26.5), ("olive-oil".to_owned(), 73.5)]
}

#[test]
fn inline_in_every_unit() {
    for text in [
        "beeswax 26.5, olive oil 73.5",
        "beeswax 26,5; olive oil 73,5",
        "26.5% beeswax + 73.5 % olive oil",
        "Bees Wax: 53\nOlive oil: 147",
        "beeswax 13.25 g, olive oil 36.75 g",
        "beeswax 0.2650 kg, olive oil 735 g",
        "CERA FLAVA 2.65 oz, Olea Europaea (Olive) Fruit Oil 7.35 oz",
    ] {
        let answer = run(&with_quick(&["assess", text]));
        assert_eq!(shares(&answer.json()), wanted(), "{text}");
        assert_eq!(answer.stderr, "", "{text}");
    }
}

#[test]
fn files_by_their_ending() {
    for (name, text) in [
        ("bar.toml", "[parts]\nbeeswax = 26.5\n'olive oil' = '73.5 %'\n"),
        ("BAR.TOML", "\u{feff}parts = { beeswax = 53, olive-oil = 147 }\r\n"),
        ("bar.csv", "ingredient,percent\nbeeswax,26.5\nolive oil,73.5\n"),
        ("bar.csv", "\u{feff}Ingredient;percent\r\nbeeswax;26,5\r\nolive oil;73,5\r\n"),
        ("bar.txt", "beeswax 26.5\nolive oil 73.5\n"),
        ("bar.txt", "[parts]\nbeeswax = 26.5\nolive-oil = 73.5\n"),
        ("bar", "ingredient\tgrams\nbeeswax\t26.5\nolive oil\t73.5\n"),
    ] {
        let answer = run_on(name, text, &with_quick(&["assess", name]));
        assert_eq!(shares(&answer.json()), wanted(), "{name}: {text}");
        assert_eq!(
            answer.json()["formula"]["name"].as_str().unwrap().to_lowercase(),
            if name == "bar.csv" || name == "bar" || name == "bar.txt" || name == "bar.toml" || name == "BAR.TOML" {
                "bar"
            } else {
                name
            }
        );
    }
}

#[test]
fn standard_input_in_every_format() {
    for text in [
        "beeswax 26.5, olive oil 73.5",
        "[parts]\nbeeswax = 26.5\nolive-oil = 73.5\n",
        "ingredient,parts\nbeeswax,26.5\nolive oil,73.5\n",
    ] {
        assert_eq!(shares(&run_with(text, &with_quick(&["assess", "-"])).json()), wanted(), "{text}");
    }
    let answer =
        run_with("beeswax 1, olive oil 1", &["compare", "-", "beeswax 2, olive oil 1", "--json", "--draws", "16"]);
    assert_eq!(answer.json()["formulas"].as_array().unwrap().len(), 2);
}

#[test]
fn a_slash_can_belong_to_a_name() {
    for text in ["caprylic/capric triglyceride 20, beeswax 80", "caprylic/capric triglyceride 20"] {
        let answer = run(&with_quick(&["assess", text]));
        assert_eq!(shares(&answer.json())[0].0, "mct-oil", "{text}");
    }
}

#[test]
fn one_ingredient_in_two_spellings_is_added_up_and_noted() {
    let answer = run(&with_quick(&["assess", "beeswax 20, olive oil 73.5, Bees-Wax 6.5"]));
    assert_eq!(shares(&answer.json()), wanted());
    assert_eq!(
        answer.stderr,
        "note: formula 1: `Bees-Wax` is the same ingredient as `beeswax` in line 1, column 1; their amounts are added\n"
    );
    let answer = run_on("bar.csv", "ingredient,parts\nbeeswax,1\nolive oil,2\ncera flava,1\n", &["assess", "bar.csv"]);
    assert!(answer.stderr.starts_with("note: bar.csv:4:1: `cera flava` is the same"), "{}", answer.stderr);
}

#[test]
fn percent_that_do_not_sum_are_scaled_and_noted() {
    let answer = run(&with_quick(&["assess", "beeswax 13.25%, olive oil 36.75%"]));
    assert_eq!(shares(&answer.json()), wanted());
    assert!(answer.stderr.contains("note: formula 1: the shares marked % sum to 50"), "{}", answer.stderr);
}

#[test]
fn one_of_several_is_picked_by_name() {
    let text = "ingredient,Early winter,Late summer\nbeeswax,20,26.5\nolive oil,80,73.5\n";
    for name in ["Late summer", "late SUMMER"] {
        let answer = run_on("bars.csv", text, &with_quick(&["assess", "bars.csv", "--formula", name]));
        assert_eq!(shares(&answer.json()), wanted());
        assert_eq!(answer.json()["formula"]["name"], "Late summer");
    }
    let answer = run_on("bars.csv", text, &with_quick(&["compare", "bars.csv"]));
    assert_eq!(answer.json()["formulas"].as_array().unwrap().len(), 2);
}

#[test]
fn lots_are_used_by_name() {
    let folder = TempDir::new().unwrap();
    let lots = "[lot.hard-cocoa]\nlike = 'cocoa-butter'\nspecies = { SOS = 70, POS = 30 }\n";
    std::fs::write(folder.path().join("lots.toml"), lots).unwrap();
    let solids = |formula: &str| {
        let arguments = with_quick(&["assess", formula, "--lots", "lots.toml", "--at", "30"]);
        let document = run_in(folder.path(), &arguments, b"").json();
        document["solids"][0]["percent"]["value"].as_f64().unwrap()
    };
    assert!(solids("hard cocoa 60, olive oil 40") > solids("cocoa butter 60, olive oil 40"));
    let text = run_in(folder.path(), &["assess", "hard-cocoa 60, olive oil 40", "--lots", "lots.toml"], b"").stdout;
    assert!(text.contains("2 from your own lots (60 % of the mass)"), "{text}");
}

#[test]
fn temperatures_in_fahrenheit_are_taken() {
    let answer = run(&with_quick(&[
        "assess",
        "beeswax 1, olive oil 2",
        "--at",
        "68F, 95 °F,-5",
        "--hold",
        "104F",
        "--release",
        "50F",
    ]));
    let document = answer.json();
    let at: Vec<_> =
        document["solids"].as_array().unwrap().iter().map(|row| row["temperature_c"].as_f64().unwrap()).collect();
    assert_eq!(at, [20.0, 35.0, -5.0]);
    assert_eq!(document["warmth"]["wanted_c"], 40.0);
    assert_eq!(document["detail"]["release_c"], 10.0);
}

#[test]
fn relief_in_inches_is_taken() {
    for (written, relief_mm) in [("0.8", 0.8), ("0.8mm", 0.8), ("1/32in", 0.79375), ("0.03in", 0.762)] {
        let document = run(&with_quick(&["assess", "beeswax 1, olive oil 2", "--relief", written])).json();
        let seen = document["detail"]["relief_mm"].as_f64().unwrap();
        assert!((seen - relief_mm).abs() < 1e-9, "{written}: {seen}");
    }
}
