//! The demonstration formulas work and say that they are invented.

use crate::{demo_folder, run, run_in};

#[test]
fn every_demonstration_formula_works() {
    let mut count = 0;
    for entry in std::fs::read_dir(demo_folder()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let text = std::fs::read_to_string(demo_folder().join(&name)).unwrap();
        assert!(text.starts_with("# Invented for demonstration\n"), "{name}");
        let arguments = match name.as_str() {
            "lots-example.toml" => {
                let bar = "my-cocoa 22, local-wax 25, hard shea 10, garden butter 5, olive oil 31, blue clay 5, spring scent 2";
                vec!["assess", bar, "--lots", &name]
            }
            _ if name.ends_with(".csv") => vec!["compare", &name],
            _ => vec!["assess", &name],
        };
        let answer = run_in(demo_folder(), &[&arguments[..], &["--draws", "16"]].concat(), b"");
        assert_eq!(answer.status, 0, "{name}: {}", answer.stderr);
        // What its certificate does to a lot is told.
        let told = answer.stderr.lines().all(|line| name == "lots-example.toml" && line.starts_with("note: lot `"));
        assert!(told, "{name}: {}", answer.stderr);
        assert!(!answer.stdout.contains("does not set"), "{name} is no bar");
        count += 1;
    }
    assert!(count >= 8);
}

#[test]
fn every_ingredient_can_be_assessed_alone() {
    let document = run(&["ingredients", "--json"]).json();
    for ingredient in document["ingredients"].as_array().unwrap() {
        let key = ingredient["key"].as_str().unwrap();
        let answer = run(&["assess", &format!("{key} 1"), "--draws", "16", "--json"]);
        if ingredient["kind"] == "powder" {
            assert!(answer.status != 0 && answer.stderr.contains("powder alone is no bar"), "{key}: {}", answer.stderr);
            continue;
        }
        assert_eq!(answer.status, 0, "{key}: {}", answer.stderr);
    }
}
