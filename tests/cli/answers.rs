//! What people read: structure and wording, not the figures.

use crate::{run, run_on};

const BAR: &str = "beeswax 26, mango butter 22, shea butter 10, sunflower oil 42";

/// Checks that a text has these pieces in this order.
fn in_order(text: &str, pieces: &[&str]) {
    let mut from = 0;
    for piece in pieces {
        let at = text[from..].find(piece);
        assert!(at.is_some(), "{piece:?} is missing or too early in:\n{text}");
        from += at.unwrap() + piece.len();
    }
}

fn narrow(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 100, "{} columns: {line}", line.chars().count());
        assert!(line.trim_end() == line, "blanks at the end of {line:?}");
    }
}

#[test]
fn assess_answers_first() {
    let answer = run(&["assess", BAR]);
    assert_eq!((answer.status, answer.stderr.as_str()), (0, ""));
    narrow(&answer.stdout);
    in_order(
        &answer.stdout,
        &[
            "Sunflower oil 42 / beeswax 26 / mango butter 22 / …  (rested)\n\n",
            "Firm enough for fine detail: ",
            "0.8 mm",
            " %",
            "Finest relief: ",
            "At 20 °C, once rested, it is as firm as liquid oil with ",
            "Keeps its shape for a day up to ",
            "at 40 °C: ",
            "On skin it ",
            " of it is melted at 33 °C",
            "Risk of grain when cooled slowly: ",
            "rule of thumb, no published relation",
            "\nParts, % by mass\n",
            "wax ",
            "Beeswax ",
            "26.0",
            "butter ",
            "32.0",
            "liquid ",
            "42.0",
            "\nMelting\n",
            "half as firm as at 20 °C",
            "ASTM D1321",
            "slip point",
            "ISO 6321",
            "drop point",
            "AOCS Cc 18-80",
            "clear point",
            "\nSolids and firmness\n",
            "solids, %",
            "yield stress, kPa",
            "needle, 0.1 mm",
            "\n  20 ",
            "\n  35 ",
            "\nWhat this rests on\n",
            "figures, ",
            "% of the mass",
            "256 simulated draws (seed 20)",
            "\nCautions: nuts (shea butter); origin (beeswax); heat; safety; `--cautions` for the\n  whole.\n",
        ],
    );
}

#[test]
fn wishes_are_answered() {
    let arguments =
        ["--at", "5,30", "--hold", "45", "--relief", "1.5mm", "--release", "4", "--state", "fresh", "--draws", "32"];
    let text = run(&[&["assess", BAR], &arguments[..]].concat()).stdout;
    in_order(
        &text,
        &["(fresh)", "1.5 mm", "4 °C", "At 5 °C, just set", "at 45 °C", "\n  5 ", "\n  30 ", "32 simulated draws"],
    );
}

#[test]
fn us_units_are_shown_throughout() {
    let answer = run(&["assess", BAR, "--units", "us", "--at", "68F,95F", "--relief", "1/32in"]);
    in_order(&answer.stdout, &["0.031 in", "68 °F", "104 °F", "91.4 °F", "°F ", "yield stress, psi", "68 ", "95 "]);
    for unit in ["°C", "kPa", " mm "] {
        assert!(!answer.stdout.split("\nCautions").next().unwrap().contains(unit), "{unit} in {}", answer.stdout);
    }
    let answer = run(&["compare", BAR, "beeswax 30, olive oil 70", "--units", "us"]);
    for unit in ["°C", "kPa", " mm;"] {
        assert!(!answer.stdout.split("\nCautions").next().unwrap().contains(unit), "{unit} in {}", answer.stdout);
    }
    narrow(&answer.stdout);
}

#[test]
fn a_blend_that_does_not_set_says_so_first() {
    let answer = run(&["assess", "olive oil 60, jojoba oil 40"]);
    assert_eq!((answer.status, answer.stderr.as_str()), (0, ""));
    in_order(
        &answer.stdout,
        &[
            "Olive oil 60 / jojoba oil 40  (rested)\n\nThis blend does not set into a bar at room temperature",
            "Firm enough for fine detail: no.",
            "over 100 mm",
            "smears",
            "Solids and firmness",
            "over 250",
        ],
    );
    assert_eq!(answer.stdout.matches("does not set into a bar").count(), 1);
}

#[test]
fn a_remark_of_the_file_is_shown() {
    let text = "name = 'Winter bar'\nnote = 'For the shed.'\n[parts]\nbeeswax = 1\nolive-oil = 2\n";
    let answer = run_on("bar.toml", text, &["assess", "bar.toml", "--draws", "16"]);
    assert!(answer.stdout.starts_with("Winter bar  (rested)\nFor the shed.\n\n"), "{}", answer.stdout);
}

#[test]
fn compare_decides_first() {
    let summer = "beeswax 40, candelilla wax 15, mango butter 25, sunflower oil 20";
    let answer = run(&["compare", BAR, summer]);
    assert_eq!((answer.status, answer.stderr.as_str()), (0, ""));
    narrow(&answer.stdout);
    in_order(
        &answer.stdout,
        &[
            "Sunflower oil 42 / beeswax 26 / mango butter 22 / … and Beeswax 40 / mango butter 25 /\n  sunflower oil 20 / …  (rested)\n",
            "\nWhat decides\n",
            "Beeswax 40 / mango butter 25 / sunflower oil 20 / … keeps its shape",
            " % sure",
            "\nWhich to pour\n",
            "Summer post: Beeswax 40 / mango butter 25 / sunflower oil 20 / … (keeps",
            "Finest detail: Beeswax 40 / mango butter 25 / sunflower oil 20 / … (finest",
            "Skin: ",
            "\nSide by side\n",
            "fine detail just set, 0.8 mm",
            "keeps its shape to, °C",
            "on skin",
            "risk of grain",
            "slip point, °C",
            "solids at 20 °C, %",
            "yield stress at 35 °C, kPa",
            "needle at 35 °C, 0.1 mm",
            "rule of thumb, no published relation",
            "\nParts, % by mass\n",
            "wax ",
            "26.0",
            "55.0",
            "Candelilla wax ",
            "–",
            "15.0",
            "\nCautions: nuts (shea butter); origin (beeswax); heat; safety; `--cautions` for the\n  whole.\n",
        ],
    );
    let whole = run(&["compare", BAR, summer, "--cautions"]).stdout;
    assert_eq!(whole.matches("Melt in a water bath").count(), 1, "{whole}");
    in_order(&whole, &["\nCautions\n", "Nuts, Sunflower oil 42", "Heat: ", "Safety: "]);
}

#[test]
fn the_same_blend_twice_is_called_so() {
    let answer = run(&["compare", "beeswax 30, olive oil 70", "olive oil 140, beeswax 60"]);
    assert_eq!(answer.status, 0);
    assert!(
        answer.stdout.contains("Olive oil 70 / beeswax 30 and Olive oil 70 / beeswax 30 (2) are the same blend: no"),
        "{}",
        answer.stdout
    );
    assert!(!answer.stdout.contains("Which to pour") && !answer.stdout.contains("% sure"), "{}", answer.stdout);
}

#[test]
fn nearly_the_same_blend_decides_nothing() {
    let answer = run(&["compare", "beeswax 30, olive oil 70", "beeswax 30.05, olive oil 69.95"]);
    in_order(
        &answer.stdout,
        &["Nothing: no difference is both large enough", "Too small or too unsure to matter", "firmness at"],
    );
}

#[test]
fn several_formulas_are_ranked() {
    let answer = run(&[
        "compare",
        "beeswax 20, olive oil 80",
        "beeswax 30, olive oil 70",
        "beeswax 40, olive oil 60",
        "beeswax 60, olive oil 40",
        "olive oil 100",
    ]);
    narrow(&answer.stdout);
    in_order(
        &answer.stdout,
        &[
            "What decides",
            "highest 51 °C (45 to 58), Beeswax 60 / olive oil 40",
            "lowest 9 °C (1 to 14), Olive oil 100.",
            " % sure",
            "Olive oil 100 does not set into a bar",
            "Which to pour",
            "Summer post: Beeswax 60 / olive oil 40 ",
        ],
    );
}

#[test]
fn formulas_of_one_name_are_told_apart() {
    let text = "ingredient,bar\nbeeswax,20\nolive oil,80\n";
    let answer = run_on("a.csv", text, &["compare", "a.csv", "a.csv", "--draws", "16"]);
    assert!(answer.stdout.starts_with("Bar and Bar (2)  (rested)\n"), "{}", answer.stdout);
}
