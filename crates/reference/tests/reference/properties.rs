//! The readers on any text: no panic, every place inside the text, and the same percent whatever the unit.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::sync::LazyLock;

use barwright_reference::bought::BoughtText;
use barwright_reference::formula::{Format, Reading, read, read_toml, rewrite_toml, sniff};
use barwright_reference::temperature::parse_temperatures;
use barwright_reference::{Diagnostic, Library};
use proptest::prelude::*;

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap());

/// Checks what holds for every reading of every text.
fn check(text: &str, reading: Result<Reading, barwright_reference::Diagnostics>) {
    match reading {
        Ok(reading) => {
            check_places(text, &reading.notes);
            assert!(!reading.formulas.is_empty());
            for formula in &reading.formulas {
                let sum: f64 = formula.parts.iter().map(|part| part.percent).sum();
                assert!((sum - 100.0).abs() < 1e-9, "{sum}");
                assert!(formula.parts.iter().all(|part| part.percent > 0.0));
                assert!(formula.parts.iter().all(|part| LIBRARY.get(part.ingredient).is_some()));
            }
        }
        Err(errors) => {
            assert!(!errors.is_empty());
            check_places(text, &errors);
        }
    }
}

/// Checks that every place can be shown and every message is a sentence without full stop.
fn check_places(text: &str, findings: &[Diagnostic]) {
    for finding in findings {
        assert!(text.get(finding.span.clone()).is_some(), "{finding:?}");
        assert!(!finding.message.ends_with('.') && !finding.message.contains('\n'), "{finding:?}");
        assert!(finding.hints.iter().all(|hint| hint.ends_with('.')), "{finding:?}");
    }
}

/// Reads a text as everything it could be.
fn read_as_everything(text: &str) {
    for format in [Format::Inline, Format::Toml, Format::Csv, sniff(text)] {
        check(text, read(text, format, "x", &LIBRARY));
    }
    if let Ok(reading) = read_toml(text, "x", &LIBRARY) {
        let parts = &reading.formulas[0].parts;
        assert_eq!(rewrite_toml(text, parts, None, &LIBRARY).as_deref(), Ok(text));
    }
    match LIBRARY.with_lots(text) {
        Ok((library, notes)) => {
            assert!(library.ingredients.len() > LIBRARY.ingredients.len());
            check_places(text, &notes);
        }
        Err(errors) => check_places(text, &errors),
    }
    let (bar, errors) = BoughtText::read(text);
    assert!(
        bar.tests.iter().all(|test| text.get(test.span()).is_some()) && (!bar.tests.is_empty() || !errors.is_empty())
    );
    check_places(text, &errors);
    if let Err(errors) = parse_temperatures(text) {
        check_places(text, &errors);
    }
}

/// Pieces of which formulas, tables and lots are made.
fn pieces() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        "beeswax",
        "castor oil",
        "sunflower-oil",
        "Cera Alba",
        "é",
        "𝒳",
        "26",
        "26,5",
        "1,000",
        "-3",
        "0",
        "1e999",
        "1e-999",
        "nan",
        "inf",
        "%",
        " g",
        " kg",
        " ml",
        " fl oz",
        " °C",
        "°",
        "parts",
        "[parts]",
        "[lot.a]",
        "[[test]]",
        "rod",
        "grams",
        "at",
        "[lot",
        "like",
        "species",
        "melt_c",
        "POP",
        "name",
        "note",
        "ingredient",
        "percent",
        "grams",
        "formula",
        "A",
        "=",
        ":",
        ",",
        ";",
        "+",
        "\t",
        "\n",
        "\r\n",
        "\r",
        " ",
        "\"",
        "'",
        "\"\"\"",
        "#",
        "{",
        "}",
        "[",
        "]",
        ".",
        "-",
        "\u{feff}",
        "\0",
        "\u{301}",
        "½",
        "\u{2212}",
        "e+",
        "e",
    ]);
    prop::collection::vec(piece, 0..40).prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        read_as_everything(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn any_characters(text in "\\PC{0,80}") {
        read_as_everything(&text);
    }

    #[test]
    fn pieces_of_formulas(text in pieces()) {
        read_as_everything(&text);
    }

    #[test]
    fn pieces_of_toml(lines in prop::collection::vec((pieces(), pieces()), 0..6)) {
        let body: String = lines.iter().map(|(key, value)| format!("{key} = {value}\n")).collect();
        read_as_everything(&format!("name = 'x'\n[parts]\n{body}"));
        read_as_everything(&format!("[lot.b]\nlike = 'beeswax'\n{body}"));
    }

    #[test]
    fn pieces_of_tables(header in "(ingredient|formula|parts|A|é)?", rows in prop::collection::vec(pieces(), 0..6)) {
        read_as_everything(&format!("ingredient,{header}\n{}", rows.join(",\n")));
        read_as_everything(&format!("ingredient;{header};percent\n{}", rows.join(";\n")));
    }

    #[test]
    fn a_formula_reads_the_same_in_every_unit_and_format(
        parts in prop::collection::vec((0..1000_usize, 1..1_000_000_u32), 1..20),
    ) {
        let mut seen = std::collections::HashSet::new();
        let parts: Vec<(&str, f64)> = parts
            .iter()
            .map(|(index, amount)| (LIBRARY.ingredients[index % LIBRARY.ingredients.len()].key.as_str(), f64::from(*amount) / 1000.0))
            .filter(|(key, _)| seen.insert(*key))
            .collect();
        let total: f64 = parts.iter().map(|(_, amount)| amount).sum();
        let written = |part: &dyn Fn(&str, f64) -> String, between: &str| {
            parts.iter().map(|(key, amount)| part(key, *amount)).collect::<Vec<_>>().join(between)
        };
        let mut texts = Vec::new();
        for unit in ["", " g", " kg", " mg", " oz", " lb", " parts", " %"] {
            texts.push((Format::Inline, written(&|key, amount| format!("{key} {amount}{unit}"), ", ")));
            texts.push((Format::Inline, written(&|key, amount| format!("{amount}{unit} {key}"), "\n")));
            texts.push((Format::Toml, format!("[parts]\n{}", written(&|key, amount| format!("{key} = '{amount}{unit}'"), "\n"))));
            texts.push((Format::Csv, format!("ingredient,x\n{}", written(&|key, amount| format!("{key},{amount}{unit}"), "\n"))));
        }
        texts.push((Format::Toml, format!("[parts]\n{}", written(&|key, amount| format!("{key} = {amount}"), "\n"))));
        for (format, text) in texts {
            if format != Format::Inline {
                prop_assert_eq!(sniff(&text), format);
            }
            if text.contains(" %") && parts.iter().any(|(_, amount)| *amount > 100.0) {
                // More than the whole bar.
                let errors = read(&text, format, "x", &LIBRARY).unwrap_err();
                prop_assert!(errors.iter().all(|error| error.code == "over-whole"), "{:?}", errors);
                continue;
            }
            let reading = read(&text, format, "x", &LIBRARY).map_err(|errors| TestCaseError::fail(format!("{text}\n{errors:?}")))?;
            prop_assert_eq!(reading.formulas[0].parts.len(), parts.len());
            for (part, (key, amount)) in reading.formulas[0].parts.iter().zip(&parts) {
                prop_assert_eq!(LIBRARY.get(part.ingredient).unwrap().key.as_str(), *key);
                let percent = 100.0 * amount / total;
                prop_assert!((part.percent - percent).abs() <= 1e-9 * percent, "{} {}", part.percent, percent);
            }
        }
    }
}
