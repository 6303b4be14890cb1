//! Bench tests for people: what was kept and expected, the list, what was learned.

use std::io;

use barwright_blend::Estimate;
use barwright_blend::maker::{BEYOND_MELT, HEAT, HOLDING, INTERPLAY, LOT, MELT};
use barwright_records::{Kept, Trial as KeptTrial};
use barwright_trials::{Expected, Test};

use super::table::Sheet;
use super::{capital, count, cut, list as list_words, name};
use crate::commands::trial::Fitted;
use crate::output::Output;
use barwright_answer::assess::interval_words;
use barwright_answer::weigh_sheet::plain;
use barwright_answer::words::number::{in_hundred, interval, signed, significant};
use barwright_answer::words::units::Units;
use barwright_answer::words::units::{needle, with_unit};
use barwright_answer::words::visible::visible;

/// Share of the prior's variance below which a score is not worth a line.
const LEAST_SHARE: f64 = 0.05;

/// Scores listed.
const MOST_SCORES: usize = 8;

/// Most characters of a note shown in the list.
const NOTE_LETTERS: usize = 40;

/// A test in words: what was set, and what came out.
fn words(test: &Test, units: Units) -> (String, String) {
    let degrees = |celsius| units.given_degrees(celsius);
    match *test {
        Test::Tube { melt_c, .. } => ("open tube".to_owned(), format!("slips at {}", degrees(melt_c))),
        Test::Needle { depth_dmm, at_c } => {
            (format!("needle at {}", degrees(at_c)), format!("{} × 0.1 mm deep", plain(depth_dmm)))
        }
        Test::Rod { diameter_mm, grams, at_c } => (
            format!("rod of {} at {}", units.given_length(diameter_mm), degrees(at_c)),
            format!("goes in at {} g", plain(grams)),
        ),
        Test::Shelf { at_c, hours, kept } => (
            format!("shelf at {} for {} h", degrees(at_c), plain(hours)),
            if kept { "kept its shape" } else { "slumped" }.to_owned(),
        ),
        Test::Relief { survived_mm, broke_mm, release_c } => {
            let survived = survived_mm.map(|mm| format!("{} whole", units.given_length(mm)));
            let broke = broke_mm.map(|mm| format!("{} broken", units.given_length(mm)));
            let came = [survived, broke].into_iter().flatten().collect::<Vec<_>>().join(", ");
            (format!("relief, left the mould at {}", degrees(release_c)), came)
        }
        Test::Grain { seen } => ("grain".to_owned(), if seen { "grain" } else { "smooth" }.to_owned()),
    }
}

/// The age of the bar in words.
fn age(days: u32) -> String {
    match days {
        0 => "on the day of the pour".to_owned(),
        1 => "1 day after the pour".to_owned(),
        days => format!("{days} days after the pour"),
    }
}

/// What was measured, in the unit of what is expected; `None` for what is no figure.
fn measured(test: &Test) -> Option<f64> {
    match *test {
        Test::Tube { melt_c, .. } => Some(melt_c),
        Test::Needle { depth_dmm, .. } => Some(depth_dmm),
        Test::Rod { grams, .. } => Some(grams),
        _ => None,
    }
}

/// What is expected, with its unit.
fn expected_words(test: &Test, value: &Estimate, units: Units) -> String {
    match test {
        Test::Tube { .. } => format!("slips at {}", units.degrees(value)),
        Test::Needle { .. } => format!("{} × 0.1 mm", needle(Some(value))),
        Test::Rod { .. } => with_unit(&interval(value, |grams| significant(grams, 2)), "g"),
        Test::Shelf { .. } => format!("keeps its shape for a day up to {}", units.degrees(value)),
        Test::Relief { .. } => {
            format!("relief down to {}", with_unit(&units.relief(Some(value)), units.length_unit()))
        }
        Test::Grain { .. } => format!("risk of grain {}", interval(value, |risk| format!("{risk:.2}"))),
    }
}

/// Writes what was kept, and what was expected.
pub fn added(
    output: &mut Output<'_>,
    kept: &Kept<KeptTrial>,
    test: &Test,
    expected: &Expected,
    units: Units,
) -> io::Result<()> {
    let (set, came) = words(test, units);
    output.title(&format!("Bench test {} kept", kept.id), &name(&kept.record.formula))?;
    output.text(&format!("{}, {}: {came}.", capital(&set), age(kept.record.days_since_pouring)), 2)?;
    let rests = match expected.trials {
        0 => "by the tables alone".to_owned(),
        1 => "by the tables and 1 bench test of yours".to_owned(),
        trials => format!("by the tables and {trials} bench tests of yours"),
    };
    let verdict = match (measured(test), expected.probability) {
        (Some(value), _) if value < expected.value.low => " What you measured lies below.".to_owned(),
        (Some(value), _) if value > expected.value.high => " What you measured lies above.".to_owned(),
        (Some(_), _) => " What you measured lies inside.".to_owned(),
        (None, Some(probability)) => format!(" What came out had a chance of {}.", in_hundred(probability)),
        (None, None) => String::new(),
    };
    output.text(&format!("Expected {rests}: {}.{verdict}", expected_words(test, &expected.value, units)), 2)?;
    output.text(
        if matches!(test, Test::Grain { .. }) {
            "It is kept, and teaches nothing yet: the model has no parameter of its own for grain."
        } else {
            "Predictions learn from it with `barwright trial fit`."
        },
        2,
    )
}

/// A test of the records, and how it reads: with whether the bar was tempered, or why it cannot be read.
pub type Listed<'a> = (&'a Kept<KeptTrial>, Result<(Test, bool), String>);

/// Writes the list.
pub fn list(output: &mut Output<'_>, rows: &[Listed<'_>], units: Units) -> io::Result<()> {
    output.title("Bench tests", &format!("{} kept", rows.len()))?;
    let mut sheet =
        Sheet::new(&["", "tested on", "formula", "test", "result", "days", "note"]).right(&[0, 5]).whole(&[1]);
    for (kept, read) in rows {
        let record = &kept.record;
        let (set, came) = match read {
            Ok((test, tempered)) => {
                let (set, came) = words(test, units);
                (if *tempered { format!("{set}, tempered") } else { set }, came)
            }
            Err(fault) => (record.kind.word().to_owned(), format!("cannot be read: {}", visible(fault))),
        };
        let note = cut(record.note.as_deref().unwrap_or(""), NOTE_LETTERS);
        sheet.row(&[
            kept.id.to_string(),
            record.tested_on.to_string(),
            name(&record.formula),
            set,
            came,
            record.days_since_pouring.to_string(),
            note,
        ]);
    }
    sheet.write(output)
}

/// Writes what was learned.
pub fn fitted(output: &mut Output<'_>, fitted: &Fitted<'_>, units: Units) -> io::Result<()> {
    let learned = fitted.learned;
    output.title("Learned from your bench tests", &count(learned.trials, "test", "tests"))?;
    output.blank()?;
    for change in fitted.changes {
        let firmness =
            |of: &barwright_blend::Assessment| of.firmness.first().map(|one| (one.temperature_c, one.yield_stress_kpa));
        let (Some((at_c, before)), Some((_, after))) = (firmness(&change.before), firmness(&change.after)) else {
            continue;
        };
        let ratio = after.value / before.value;
        let narrower = (before.high / before.low).ln() / (after.high / after.low).ln();
        let how = if ratio >= 1.0 {
            format!("{} times as firm as the tables alone say", significant(ratio, 2))
        } else {
            format!("{} as firm as the tables alone say", significant(ratio, 2))
        };
        let surer = if narrower > 1.05 {
            format!(", and known {} times as closely", significant(narrower, 2))
        } else {
            String::new()
        };
        output.text(
            &format!(
                "{} is {how} at {}{surer}.",
                capital(&name(&change.after.formula.name)),
                units.given_degrees(at_c)
            ),
            2,
        )?;
    }
    if learned.untaught > 0 {
        output.text(
            &format!(
                "Grain: {} kept; the model has no parameter of its own for it yet, so that they teach nothing.",
                learned.untaught
            ),
            2,
        )?;
    }
    for flag in &learned.flagged {
        let (Some(kept), Some(trial)) = (fitted.trials.get(flag.trial), fitted.tests.get(flag.trial)) else { continue };
        let (set, came) = words(&trial.test, units);
        output.text(
            &format!(
                "Test {} does not fit ({set}: {came}): {} standard deviations from what all else says. It counts {} in 100. Make it again, or check what was written.",
                kept.id,
                significant(flag.surprise.abs(), 2),
                significant(100.0 * flag.weight, 1)
            ),
            2,
        )?;
    }
    for left in fitted.left_out {
        output.text(&format!("Test {} was left out: {}.", left.id, visible(&left.fault)), 2)?;
    }

    for change in fitted.changes {
        let (before, after) = (&change.before, &change.after);
        output.heading(&format!("{}, before and now", capital(&name(&after.formula.name))))?;
        let mut sheet = Sheet::new(&["", "by the tables alone", "with your bench tests"]);
        for (was, is) in before.firmness.iter().zip(&after.firmness) {
            sheet.row(&[
                format!("yield stress at {}, {}", units.given_degrees(was.temperature_c), units.stress()),
                units.yield_stress(&was.yield_stress_kpa),
                units.yield_stress(&is.yield_stress_kpa),
            ]);
        }
        let degrees =
            |estimate: Option<&Estimate>| estimate.map_or_else(|| "none".to_owned(), |one| units.temperature(one));
        sheet.row(&[
            format!("slip point, {}", units.degree()),
            degrees(before.melt.slip_point_c.as_ref()),
            degrees(after.melt.slip_point_c.as_ref()),
        ]);
        sheet.row(&[
            format!("keeps its shape for a day up to, {}", units.degree()),
            degrees(before.warmth.hold_c.as_ref()),
            degrees(after.warmth.hold_c.as_ref()),
        ]);
        sheet.row(&[
            format!("finest relief, {}", units.length_unit()),
            units.relief(before.detail.finest_feature_mm.as_ref()),
            units.relief(after.detail.finest_feature_mm.as_ref()),
        ]);
        sheet.write(output)?;
    }

    output.heading("What the tests told most of")?;
    let mut sheet = Sheet::new(&["figure of the model", "told, %", "moved, in its own spread"]).right(&[1, 2]);
    for told in learned.told().into_iter().take(MOST_SCORES).filter(|told| told.share >= LEAST_SHARE) {
        sheet.row(&[score_words(told.name), format!("{:.0}", 100.0 * told.share), signed(told.mean, 1)]);
    }
    sheet.write(output)?;

    output.heading("What this rests on")?;
    output.text(
        &format!(
            "  {} bench tests, and the tables where they are silent. The tables are not changed. Every prediction with this profile now uses what was learned.",
            learned.trials
        ),
        2,
    )?;
    if let Some(first) = fitted.changes.first() {
        output.text(&format!("  {}", interval_words(&first.after)), 2)?;
    }
    Ok(())
}

/// A score in words.
fn score_words(score: &str) -> String {
    let words = match score {
        "yield" => "how firm a network of crystals is",
        "cast" => "how firm your casts come out",
        "exponent" => "how fast firmness grows with the crystals",
        "softening" => "how fast a bar softens in the warm",
        "compliance" => "how fine a relief leaves your moulds",
        "load" => "how much load a bar bears in the warm",
        "weep" => "when oil weeps",
        other => return named_score_words(other),
    };
    words.to_owned()
}

/// A score of a thing or of a set of ingredients in words.
fn named_score_words(score: &str) -> String {
    let Some((kind, of)) = score.split_once(':') else { return visible(score) };
    let plain = visible(of).replace('-', " ");
    let all: Vec<String> = plain.split('+').map(str::to_owned).collect();
    let all = list_words(&all, "and");
    match (kind, of.split_once(':')) {
        (BEYOND_MELT, _) => format!("when bars of {all} melt"),
        (HOLDING, _) => format!("how well the crystals of {all} hold oil"),
        (INTERPLAY, _) => format!("how firm the crystals of {all} are together"),
        (MELT, _) => format!("melting point of {}", visible(of)),
        (HEAT, _) => format!("heat of melting of {}", visible(of)),
        (LOT, Some((ingredient, species))) => format!("share of {} in your {}", visible(species), visible(ingredient)),
        ("structuring", _) => format!("how firm {plain} crystals make a bar"),
        _ => visible(score),
    }
}
