//! The reference table and the card of one ingredient.

use insta::assert_snapshot;

use crate::run;

#[test]
fn the_table_lists_all_of_a_kind() {
    let answer = run(&["ingredients", "--kind", "wax"]);
    assert_eq!((answer.status, answer.stderr.as_str()), (0, ""));
    assert!(answer.stdout.lines().all(|line| line.chars().count() <= 100), "{}", answer.stdout);
    for piece in [
        "Wax\n",
        "melts, °C",
        "firmness",
        "g/ml",
        "nut",
        "\n  beeswax ",
        "\n  candelilla-wax ",
        "[1]",
        "Melting ranges by",
    ] {
        assert!(answer.stdout.contains(piece), "{piece}: {}", answer.stdout);
    }
    assert!(!answer.stdout.contains("olive-oil"));
}

#[test]
fn the_whole_table_fits() {
    for arguments in [&["ingredients"][..], &["ingredients", "--sources"]] {
        let answer = run(arguments);
        assert_eq!(answer.status, 0);
        assert!(answer.stdout.lines().all(|line| line.chars().count() <= 100), "{}", answer.stdout);
    }
}

#[test]
fn sources_are_named() {
    let text = run(&["ingredients", "butter", "--sources"]).stdout;
    for piece in ["Where the figures come from", "\nSources\n", "(read)", "(recalled)", "estimated"] {
        assert!(text.contains(piece), "{piece}: {text}");
    }
    assert!(!text.contains("not in the bibliography"), "{text}");
}

#[test]
fn one_name_shows_the_card() {
    for name in ["cocoa-butter", "Cocoa Butter", "Theobroma Cacao (Cocoa) Seed Butter"] {
        let answer = run(&["ingredients", name]);
        assert_eq!(answer.status, 0);
        for piece in [
            "Cocoa butter  (cocoa-butter)\n",
            "Declared name: Theobroma Cacao (Cocoa) Seed Butter",
            "Also called: ",
            "Nut origin: no",
            "melting range, °C",
            "density at ",
            "firmness at 25 °C",
            "Composition, % by mass, and its spread between lots",
            "SOS",
            "± ",
            "\nSources\n",
            "`recalled` quoted from memory",
        ] {
            assert!(answer.stdout.contains(piece), "{name}: {piece}: {}", answer.stdout);
        }
    }
}

#[test]
fn parts_of_names_are_found() {
    let text = run(&["ingredients", "hydrogenat"]).stdout;
    for key in ["hydrogenated-jojoba", "fully-hydrogenated-palm-oil", "olive-butter"] {
        assert!(text.contains(&format!("\n  {key} ")), "{key}: {text}");
    }
    let text = run(&["ingredients", "elaeis guineensis (palm) oil"]).stdout;
    assert!(text.contains("palm-stearin") && text.contains("palm-olein"), "{text}");
}

#[test]
fn unknown_names_are_refused() {
    assert_snapshot!(run(&["ingredients", "beezwaxx"]).shown(), @"
    exit 1
    stderr:
    error[unknown-ingredient]: no ingredient is called `beezwaxx`
     |
     = hint: The nearest names are `beeswax`, `emulsifying-wax` and `white-beeswax`.
    ");
    assert_snapshot!(run(&["ingredients", "cocoa butter", "--kind", "wax"]).shown(), @"
    exit 1
    stderr:
    error[unknown-ingredient]: `cocoa-butter` is not of that kind
     |
     = hint: Leave `--kind` out.
    ");
    for query in ["", " ", "?", "\u{1b}"] {
        assert_eq!(run(&["ingredients", query]).status, 1, "{query:?}");
    }
}

#[test]
fn json_has_every_figure() {
    let document = run(&["ingredients", "--json"]).json();
    let ingredients = document["ingredients"].as_array().unwrap();
    assert!(ingredients.len() > 50);
    for ingredient in ingredients {
        for key in [
            "key",
            "common_name",
            "inci_name",
            "synonyms",
            "kind",
            "nut_origin",
            "origin",
            "animal_origin",
            "label_names",
            "inci_parts",
            "melt",
            "density",
            "needle_25c",
            "relative_firmness_25c",
            "composition",
            "note",
        ] {
            assert!(!ingredient[key].is_null() || key == "needle_25c", "{key} of {}", ingredient["key"]);
        }
        if ingredient["kind"] == "powder" {
            assert_eq!(ingredient["composition"].as_array().unwrap().len(), 0, "{}", ingredient["key"]);
            continue;
        }
        let total: f64 =
            ingredient["composition"].as_array().unwrap().iter().map(|share| share["percent"].as_f64().unwrap()).sum();
        assert!((total - 100.0).abs() < 0.5, "{}: {total}", ingredient["key"]);
        for figure in ["melt", "density", "relative_firmness_25c"] {
            let source = ingredient[figure]["source"].as_str().unwrap();
            assert!(source == "estimate" || document["sources"][source].is_string(), "{source}");
        }
    }
    let one = run(&["ingredients", "beeswax", "--json"]).json();
    assert_eq!(one["ingredients"].as_array().unwrap().len(), 1);
}
