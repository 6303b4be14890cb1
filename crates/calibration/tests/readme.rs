//! What `data/validation/README.md` says of the table is what the table holds. After a change of the table:
//! `UPDATE_EXPECT=1 cargo test -p barwright-calibration --test readme` writes the counts anew; then read the diff.
#![allow(clippy::unwrap_used, missing_docs, reason = "a test may stop at the first surprise")]

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::Path;
use std::sync::LazyLock;

use barwright_calibration::published::{Bound, Measurement, Quantity, Status, Use, measurement, samples};
use barwright_reference::sources::source_citation;
use barwright_reference::{CrystalState, Library};
use expect_test::expect_file;
use sha2::{Digest, Sha256};

const README: &str = include_str!("../../../data/validation/README.md");

/// The lines that the counts stand between.
const BEGIN: &str = "<!-- counts -->\n";
const END: &str = "<!-- end of counts -->";

/// Sources that are on the fitting side whatever their digest: they were in view when a parameter was chosen.
const HELD_TO_FIT: [&str; 5] = ["tateo2024", "blake2014", "letcherwaxes", "shukla1995", "refinerysfclog2026"];

static ROWS: LazyLock<Vec<Measurement>> = LazyLock::new(|| {
    measurement::read(measurement::BUILTIN, &samples::with_samples(&Library::builtin().unwrap()).unwrap()).unwrap()
});

/// Rows that pass all of these.
fn count(tests: &[&dyn Fn(&Measurement) -> bool]) -> usize {
    ROWS.iter().filter(|row| tests.iter().all(|test| test(row))).count()
}

fn is_neat(row: &Measurement) -> bool {
    row.formula.parts.len() == 1
}

fn in_use(row: &Measurement) -> bool {
    matches!(row.use_as, Use::Fit | Use::Unseen)
}

fn is_point(row: &Measurement) -> bool {
    row.kind == Bound::Point
}

/// One line of a table.
fn line(text: &mut String, name: &str, counts: &[usize]) {
    let counts: Vec<String> = counts.iter().map(usize::to_string).collect();
    writeln!(text, "| {name} | {} |", counts.join(" | ")).unwrap();
}

/// A word of the table as it is written there.
fn word(value: impl serde::Serialize) -> String {
    serde_json::to_value(value).unwrap().as_str().unwrap().to_owned()
}

/// What the README says of the table, counted.
fn counts() -> String {
    let quantities: BTreeSet<Quantity> = ROWS.iter().map(|row| row.quantity).collect();
    let mut text = String::new();
    text += "| quantity | rows | fit | unseen | in view | apart | left out | read | recalled | logged |\n\
             |---|---|---|---|---|---|---|---|---|---|\n";
    let mut of = |name: &str, chosen: &dyn Fn(&Measurement) -> bool| {
        let used = |use_as: Use| count(&[chosen, &|row| row.use_as == use_as]);
        let known = |status: Status| count(&[chosen, &|row| row.status == status]);
        let sides = [Use::Fit, Use::Unseen, Use::InView, Use::Apart, Use::LeftOut].map(used);
        let ways = [Status::Read, Status::Recalled, Status::Logged].map(known);
        line(&mut text, name, &[&[count(&[chosen])], sides.as_slice(), &ways].concat());
    };
    for &quantity in &quantities {
        of(&format!("`{}`", word(quantity)), &|row| row.quantity == quantity);
    }
    of("all", &|_| true);
    text += "\nPoints in use:\n\n| quantity | neat, fit | neat, unseen | blends, fit | blends, unseen |\n|---|---|---|---|---|\n";
    for &quantity in &quantities {
        let points = |neat: bool, use_as: Use| {
            count(&[&is_point, &|row| row.quantity == quantity && is_neat(row) == neat && row.use_as == use_as])
        };
        let found =
            [points(true, Use::Fit), points(true, Use::Unseen), points(false, Use::Fit), points(false, Use::Unseen)];
        if found.iter().sum::<usize>() > 0 {
            line(&mut text, &format!("`{}`", word(quantity)), &found);
        }
    }
    let state = |state: CrystalState| count(&[&|row| row.state == state]);
    writeln!(
        text,
        "\n{} rows are points and {} are bounds; {} rested, {} fresh, {} tempered. Of the {} rows in use, {} are points.",
        count(&[&is_point]),
        count(&[&|row| !is_point(row)]),
        state(CrystalState::Rested),
        state(CrystalState::Fresh),
        state(CrystalState::Tempered),
        count(&[&in_use]),
        count(&[&in_use, &is_point]),
    )
    .unwrap();
    for (heading, use_as) in [
        ("Why rows are left out", Use::LeftOut),
        ("Why rows are scored apart", Use::Apart),
        ("What was set with rows in view", Use::InView),
    ] {
        writeln!(text, "\n{heading}:\n\n| reason | rows |\n|---|---|").unwrap();
        let mut reasons: BTreeMap<&str, usize> = BTreeMap::new();
        for row in ROWS.iter().filter(|row| row.use_as == use_as) {
            *reasons.entry(&row.reason).or_default() += 1;
        }
        let mut reasons: Vec<(&str, usize)> = reasons.into_iter().collect();
        reasons.sort_by_key(|(_, rows)| std::cmp::Reverse(*rows));
        for (reason, rows) in reasons {
            line(&mut text, reason, &[rows]);
        }
    }
    text
}

#[test]
fn the_counts_are_those_of_the_table() {
    let (before, rest) = README.split_once(BEGIN).unwrap();
    let (_, after) = rest.split_once(END).unwrap();
    expect_file!["../../../data/validation/README.md"].assert_eq(&format!("{before}{BEGIN}{}{END}{after}", counts()));
}

#[test]
fn the_files_named_are_those_there() {
    let named: BTreeSet<&str> = README.split('`').filter(|name| name.ends_with(".csv")).collect();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data/validation");
    let there: BTreeSet<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".csv"))
        .collect();
    assert_eq!(named, there.iter().map(String::as_str).collect());
}

#[test]
fn the_quantities_explained_are_those_of_the_table() {
    for row in ROWS.iter() {
        let quantity = format!("`{}`", word(row.quantity));
        let explained = README.split_once("| quantity | meaning |").unwrap().1.split_once("\n\n").unwrap().0;
        assert!(explained.contains(&quantity), "{quantity}");
    }
}

#[test]
fn every_source_is_on_the_side_the_rule_gives_it() {
    for row in ROWS.iter().filter(|row| in_use(row)) {
        let digest = Sha256::digest(format!("6433:{}", row.source));
        let is_odd = digest[0] % 2 == 1;
        let side = if is_odd && !HELD_TO_FIT.contains(&row.source.as_str()) { Use::Unseen } else { Use::Fit };
        assert_eq!(row.use_as, side, "line {}: {}", row.line, row.source);
    }
    // A row set in view is no longer unseen: it was on that side.
    for row in ROWS.iter().filter(|row| row.use_as == Use::InView) {
        assert!(Sha256::digest(format!("6433:{}", row.source))[0] % 2 == 1, "line {}: {}", row.line, row.source);
    }
    for source in HELD_TO_FIT {
        assert!(README.contains(&format!("`{source}`")), "{source}");
    }
}

#[test]
fn what_the_table_cannot_judge_is_what_it_does_not_hold() {
    let used: Vec<&Measurement> = ROWS.iter().filter(|row| in_use(row)).collect();
    let is_firmness = |row: &Measurement| {
        use Quantity::{ConeYieldKpa, ForceN, NeedleDmm, YieldKpa};
        matches!(row.quantity, NeedleDmm | ConeYieldKpa | YieldKpa | ForceN)
    };
    let is_melting = |row: &Measurement| {
        use Quantity::{ClearC, DropC, GelMeltC, MeltEndC, MeltPeakC, SlipC};
        matches!(row.quantity, SlipC | DropC | ClearC | MeltEndC | MeltPeakC | GelMeltC)
    };
    assert!(used.iter().filter(|row| row.quantity == Quantity::SolidsPercent && is_point(row)).all(|row| is_neat(row)));
    for row in used.iter().filter(|row| row.state == CrystalState::Tempered && row.quantity == Quantity::SolidsPercent)
    {
        assert!(HELD_TO_FIT.contains(&row.source.as_str()), "{}", row.id);
    }
    let unseen: Vec<&&Measurement> = used.iter().filter(|row| is_firmness(row) && row.use_as == Use::Unseen).collect();
    assert_eq!(unseen.len(), 2);
    assert!(unseen.iter().all(|row| !is_point(row) && row.formula_text == "paraffin 100"), "{unseen:?}");
    for row in used.iter().filter(|row| is_melting(row) && !is_neat(row)) {
        assert!(row.formula_text.starts_with("rice-bran-wax ") || row.formula_text.starts_with("sunflower-wax "));
    }
    // A blend in use is one wax in one oil.
    let library = Library::builtin().unwrap();
    for row in used.iter().filter(|row| !is_neat(row)) {
        let kinds: Vec<_> = row.formula.parts.iter().map(|part| library.get(part.ingredient).unwrap().kind).collect();
        use barwright_reference::IngredientKind::{Oil, Wax};
        assert_eq!(kinds, [Wax, Oil], "{}", row.id);
    }
    assert!(used.iter().filter(|row| !is_point(row) && is_neat(row)).count() * 2 > used.len());
}

#[test]
fn what_was_seen_but_not_entered_has_its_source() {
    let (_, seen) = README.split_once("## Seen but not entered").unwrap();
    let sources = seen.lines().filter(|line| line.starts_with("| ") && !line.starts_with("| sample"));
    for source in sources.filter_map(|line| line.trim_end_matches(" |").rsplit_once(" | ")).map(|(_, source)| source) {
        let is_known = source.split(", ").all(|key| source_citation(key).is_some());
        assert!(is_known || source.starts_with("abstract, "), "{source}");
    }
}
