//! Formula files of every look, changed at random: what is read back is what was asked for, and the rest is as it was.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::collections::HashSet;
use std::sync::LazyLock;

use barwright_reference::formula::quantity::parse_quantity;
use barwright_reference::formula::{read_inline, read_toml, rewrite_toml, to_toml};
use barwright_reference::{Formula, IngredientId, Library, Part};
use proptest::prelude::*;

static LIBRARY: LazyLock<Library> = LazyLock::new(|| Library::builtin().unwrap());

fn id(index: usize) -> IngredientId {
    LIBRARY.id_at(index).unwrap()
}

/// How a file looks.
#[derive(Debug, Clone)]
struct Look {
    layout: usize,
    units: Vec<&'static str>,
    literal: bool,
    comma: bool,
    crlf: bool,
    mark: bool,
    name: bool,
    comments: bool,
    ends_open: bool,
}

fn looks() -> impl Strategy<Value = Look> {
    let units = prop_oneof![
        Just(vec![""]),
        Just(vec![" parts"]),
        Just(vec!["%", " %", ""]),
        Just(vec![" g"]),
        Just(vec!["kg"]),
        Just(vec![" g", " oz", " lb", "mg"]),
    ];
    let flags = prop::array::uniform7(any::<bool>());
    (0..4_usize, units, flags).prop_map(|(layout, units, [literal, comma, crlf, mark, name, comments, ends_open])| {
        Look { layout, units, literal, comma, crlf, mark, name, comments, ends_open }
    })
}

/// An ingredient of the library with its amount in thousandths in the file, and its weight in the changed formula.
fn changes() -> impl Strategy<Value = Vec<(usize, u32, u32)>> {
    let weight = prop_oneof![1 => Just(0), 1 => 1..200_u32, 4 => 1..100_000_u32];
    let one = (0..1000_usize, prop_oneof![1 => Just(0), 3 => 1..100_000_u32], weight);
    prop::collection::vec(one, 1..12).prop_map(|mut all| {
        let mut seen = HashSet::new();
        all.iter_mut().for_each(|(index, ..)| *index %= LIBRARY.ingredients.len());
        all.retain(|(index, ..)| seen.insert(*index));
        if all.iter().all(|(_, old, _)| *old == 0) {
            all[0].1 = 26_000;
        }
        if all.iter().all(|(.., new)| *new == 0) {
            all[0].2 = 26_000;
        }
        all
    })
}

/// Writes a file of a look.
fn file(look: &Look, all: &[(usize, u32, u32)]) -> String {
    let mut lines: Vec<String> = vec!["# top".to_owned(), String::new()];
    if look.name {
        lines.push("name = 'winter'   # of the year".to_owned());
    }
    let quote = if look.literal { '\'' } else { '"' };
    let mut parts: Vec<(String, String)> = Vec::new();
    for (index, old, _) in all.iter().filter(|(_, old, _)| *old > 0) {
        let ingredient = &LIBRARY.ingredients[*index];
        let key = match index % 3 {
            0 => ingredient.key.clone(),
            1 => format!("{quote}{}{quote}", ingredient.key),
            _ => format!("{quote}{}{quote}", ingredient.common_name.to_uppercase()),
        };
        let number = f64::from(*old) / 1000.0;
        let unit = look.units[index % look.units.len()];
        let amount = match unit {
            "" => format!("{number}"),
            unit if look.comma => format!("{quote}{}{unit}{quote}", format!("{number:.4}").replace('.', ",")),
            unit => format!("{quote}{number}{unit}{quote}"),
        };
        parts.push((key, amount));
    }
    let comment = |index: usize, lines: &mut Vec<String>| {
        if look.comments {
            lines.extend([String::new(), format!("  # above {index}, and = so { } on", "{")]);
        }
    };
    let last = parts.len() - 1;
    match look.layout {
        0 | 1 => {
            lines.extend((look.layout == 0).then(|| "[parts]".to_owned()));
            let before = if look.layout == 0 { "  " } else { "parts." };
            for (index, (key, amount)) in parts.iter().enumerate() {
                comment(index, &mut lines);
                let trailing = if look.comments { " # beside" } else { "" };
                lines.push(format!("{before}{key} = {amount}{trailing}"));
            }
        }
        2 => {
            let parts: Vec<String> = parts.iter().map(|(key, amount)| format!("{key} = {amount}")).collect();
            lines.push(format!("parts = {{ {} }}", parts.join(", ")));
        }
        _ => {
            lines.push("parts = {".to_owned());
            for (index, (key, amount)) in parts.iter().enumerate() {
                comment(index, &mut lines);
                let comma = if index < last || look.literal { "," } else { "" };
                lines.push(format!("    {key} = {amount}{comma}"));
            }
            lines.push("}".to_owned());
        }
    }
    if look.layout != 0 || look.comments {
        lines.push("# end".to_owned());
    }
    let line_end = if look.crlf { "\r\n" } else { "\n" };
    let text = lines.join(line_end) + if look.ends_open { "" } else { line_end };
    format!("{}{text}", if look.mark { "\u{feff}" } else { "" })
}

/// The lines that hold no part and no brace.
fn other_lines(text: &str) -> Vec<&str> {
    let other = |line: &&str| line.trim().is_empty() || line.trim_start().starts_with('#') || line.starts_with("name");
    text.trim_end().split('\n').filter(other).map(str::trim_end).collect()
}

/// What was asked for, %.
fn asked(all: &[(usize, u32, u32)]) -> Vec<Part> {
    let total: f64 = all.iter().map(|(.., new)| f64::from(*new)).sum();
    all.iter()
        .map(|(index, _, new)| Part { ingredient: id(*index), percent: 100.0 * f64::from(*new) / total })
        .collect()
}

/// Checks that a formula has the parts asked for, within rounding.
fn check_shares(formula: &Formula, asked: &[Part], text: &str) {
    let wanted: Vec<&Part> = asked.iter().filter(|part| part.percent > 0.0).collect();
    assert_eq!(formula.parts.len(), wanted.len(), "{text}");
    for part in wanted {
        let found = formula.parts.iter().find(|found| found.ingredient == part.ingredient).unwrap();
        let off = (found.percent - part.percent).abs();
        assert!(off <= 0.22 && off <= 0.22 * part.percent, "{found:?} instead of {part:?} in\n{text}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1024, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_changed_file_reads_as_asked_and_keeps_the_rest(look in looks(), all in changes()) {
        let text = file(&look, &all);
        let before = read_toml(&text, "given", &LIBRARY).map_err(|errors| TestCaseError::fail(format!("{text}\n{errors:?}")))?;
        let same = rewrite_toml(&text, &before.formulas[0].parts, None, &LIBRARY);
        prop_assert_eq!(same.as_deref(), Ok(text.as_str()));

        let changed = rewrite_toml(&text, &asked(&all), None, &LIBRARY)
            .map_err(|error| TestCaseError::fail(format!("{text}\n{error}")))?;
        let after = read_toml(&changed, "given", &LIBRARY).unwrap();
        check_shares(&after.formulas[0], &asked(&all), &changed);
        prop_assert_eq!(&after.formulas[0].name, &before.formulas[0].name);
        prop_assert_eq!(other_lines(&changed), other_lines(&text), "{}", changed);
        prop_assert_eq!(changed.starts_with('\u{feff}'), look.mark);
        let line_ends = changed.matches('\n').count();
        prop_assert_eq!(changed.matches("\r\n").count(), if look.crlf { line_ends } else { 0 }, "{}", changed);
        let order = |formula: &Formula| -> Vec<IngredientId> { formula.parts.iter().map(|part| part.ingredient).collect() };
        let (old, new) = (order(&before.formulas[0]), order(&after.formulas[0]));
        let both: Vec<IngredientId> = old.iter().copied().filter(|index| new.contains(index)).collect();
        prop_assert_eq!(&new[..both.len()], &both[..]);
        // What was written once is rounded already: writing it again changes nothing.
        let again = rewrite_toml(&changed, &after.formulas[0].parts, None, &LIBRARY);
        prop_assert_eq!(again.as_deref(), Ok(changed.as_str()));
    }

    #[test]
    fn another_name_changes_the_name_alone(look in looks(), all in changes(), name in "\\PC{0,20}[a-z]\\PC{0,5}") {
        let text = file(&look, &all);
        let before = read_toml(&text, "given", &LIBRARY).unwrap();
        let changed = rewrite_toml(&text, &before.formulas[0].parts, Some(&name), &LIBRARY).unwrap();
        let after = read_toml(&changed, "given", &LIBRARY).unwrap();
        prop_assert_eq!(after.formulas[0].name.as_str(), name.trim());
        prop_assert_eq!(&after.formulas[0].parts, &before.formulas[0].parts);
        let rest = |text: &str| -> Vec<String> {
            text.split('\n').filter(|line| !line.starts_with("name")).map(str::to_owned).collect()
        };
        let added = usize::from(!look.name && look.layout == 0);
        let (old, new) = (rest(&text), rest(&changed));
        prop_assert_eq!(new.len(), old.len() + added, "{}", changed);
        prop_assert_eq!(new.last(), old.last());
    }

    #[test]
    fn a_round_total_is_kept_to_the_last_digit(
        total in prop::sample::select(vec![1.0, 100.0, 250.0, 500.0, 1200.0]),
        weights in prop::collection::vec((1..1000_u32, 1..1000_u32), 2..8),
    ) {
        let written = |weights: &[f64]| -> Vec<Part> {
            weights.iter().enumerate().map(|(index, percent)| Part { ingredient: id(index), percent: *percent }).collect()
        };
        let (old, new): (Vec<f64>, Vec<f64>) =
            weights.iter().map(|(old, new)| (f64::from(*old), f64::from(*new))).unzip();
        // A file of the total: the first amounts in thousandths, the last the rest.
        let scale = total / old.iter().sum::<f64>();
        let mut amounts: Vec<f64> = old.iter().map(|part| (1000.0 * part * scale).round().max(1.0) / 1000.0).collect();
        let rest = total - amounts.iter().skip(1).sum::<f64>();
        prop_assume!(rest > 0.0005);
        amounts[0] = (1000.0 * rest).round() / 1000.0;
        let lines = amounts.iter().enumerate().map(|(index, amount)| format!("{} = {amount}\n", LIBRARY.ingredients[index].key));
        let text = format!("[parts]\n{}", lines.collect::<String>());
        let smallest = new.iter().copied().fold(f64::INFINITY, f64::min) / new.iter().sum::<f64>();
        prop_assume!(smallest > 0.001);
        let changed = rewrite_toml(&text, &written(&new), None, &LIBRARY).unwrap();
        let numbers: Vec<&str> = changed.lines().filter_map(|line| line.split_once(" = ").map(|(_, number)| number)).collect();
        let sum: f64 = numbers.iter().map(|number| parse_quantity(number).unwrap().value).sum();
        prop_assert!((sum - total).abs() < 1e-9 * total, "{} in\n{}", sum, changed);
        for number in numbers {
            prop_assert!(!number.contains('.') || !number.ends_with('0'), "{}", number);
            prop_assert!(number.len() <= 7, "{}", number);
        }
    }

    #[test]
    fn a_fresh_file_reads_as_asked(
        all in changes(),
        name in "\\PC{0,20}[a-z]\\PC{0,5}",
        note in "(?s).{0,40}[a-z]",
        header in "(?s).{0,40}",
    ) {
        let formula = Formula { name: name.trim().to_owned(), parts: asked(&all) };
        let text = to_toml(&formula, Some(&note), &header, &LIBRARY).unwrap();
        let reading = read_toml(&text, "given", &LIBRARY).unwrap();
        check_shares(&reading.formulas[0], &formula.parts, &text);
        prop_assert_eq!(&reading.formulas[0].name, &formula.name);
        prop_assert_eq!(reading.remark.as_deref(), Some(note.trim()));
        prop_assert!(reading.notes.is_empty(), "{:?}", reading.notes);
    }
}

#[test]
fn a_line_of_text_becomes_a_file_that_says_the_same() {
    let line = "beeswax 26, mango butter 22, high-oleic sunflower oil 51.75, vitamin e 0.25";
    let formula = read_inline(line, "from a line", &LIBRARY).unwrap().formulas.remove(0);
    let text = to_toml(&formula, None, "", &LIBRARY).unwrap();
    assert_eq!(
        text,
        "name = \"from a line\"\n\n[parts]\nbeeswax = 26\n\"mango butter\" = 22\n\
         \"high-oleic sunflower oil\" = 51.75\n\"vitamin E\" = 0.25\n"
    );
    assert_eq!(read_toml(&text, "", &LIBRARY).unwrap().formulas, [formula]);
}

#[test]
fn a_file_of_the_most_parts_takes_no_more() {
    let parts: Vec<Part> = LIBRARY.by_id().map(|(ingredient, _)| Part { ingredient, percent: 1.0 }).collect();
    // One ingredient written 190 times: with every other one there would be more lines than a formula can have.
    let lines: String = (0..190).map(|blanks| format!("\"beeswax{}\" = 1\n", " ".repeat(blanks))).collect();
    let error = rewrite_toml(&format!("[parts]\n{lines}"), &parts, None, &LIBRARY).unwrap_err();
    assert!(error.to_string().contains("more than 200"), "{error}");
}

/// Shares that sum to 160 %: a part that would come to 120 % of a bar is no bar, so the whole is written as 100 %.
#[test]
fn no_share_is_written_as_more_than_the_whole() {
    let text = "[parts]\nbeeswax = '80 %' # of the year\n'sunflower oil' = '80 %'\n";
    let mut parts = read_toml(text, "x", &LIBRARY).unwrap().formulas.remove(0).parts;
    (parts[0].percent, parts[1].percent) = (25.0, 75.0);
    let changed = rewrite_toml(text, &parts, None, &LIBRARY).unwrap();
    assert_eq!(changed, "[parts]\nbeeswax = '25 %' # of the year\n'sunflower oil' = '75 %'\n");
    (parts[0].percent, parts[1].percent) = (40.0, 60.0);
    let changed = rewrite_toml(text, &parts, None, &LIBRARY).unwrap();
    assert_eq!(changed, "[parts]\nbeeswax = '64 %' # of the year\n'sunflower oil' = '96 %'\n");
}
