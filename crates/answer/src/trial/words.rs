//! Bench tests, and what they teach, in words.

use barwright_blend::Estimate;
use barwright_blend::maker::{DISCREPANCY_MELT, HEAT, HOLDING, INTERPLAY, LOT, MELT};
use barwright_trials::Test;

use crate::words::names::list;
use crate::words::number::{interval, significant, trimmed};
use crate::words::units::{Units, needle, with_unit};
use crate::words::visible::visible;

/// Decimals of a reading, at most.
const MAX_DECIMALS: usize = 4;

/// A test in words: what was set, and what came out.
pub(super) fn words(test: &Test, units: Units) -> (String, String) {
    let degrees = |celsius| units.given_degrees(celsius);
    let plain = |value| trimmed(value, MAX_DECIMALS);
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
pub(super) fn age(days: u32) -> String {
    match days {
        0 => "on the day of the pour".to_owned(),
        1 => "1 day after the pour".to_owned(),
        days => format!("{days} days after the pour"),
    }
}

/// What was measured, in the unit of what is expected; `None` where it is not a figure.
pub(super) fn measured(test: &Test) -> Option<f64> {
    match *test {
        Test::Tube { melt_c, .. } => Some(melt_c),
        Test::Needle { depth_dmm, .. } => Some(depth_dmm),
        Test::Rod { grams, .. } => Some(grams),
        _ => None,
    }
}

/// What is expected, with its unit.
pub(super) fn expected_words(test: &Test, value: &Estimate, units: Units) -> String {
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

/// A score in words.
pub(super) fn score_words(score: &str) -> String {
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
    let all = list(&plain.split('+').map(str::to_owned).collect::<Vec<_>>(), "and");
    match (kind, of.split_once(':')) {
        (DISCREPANCY_MELT, _) => format!("when bars of {all} melt"),
        (HOLDING, _) => format!("how well the crystals of {all} hold oil"),
        (INTERPLAY, _) => format!("how firm the crystals of {all} are together"),
        (MELT, _) => format!("melting point of {}", visible(of)),
        (HEAT, _) => format!("heat of melting of {}", visible(of)),
        (LOT, Some((ingredient, species))) => format!("share of {} in your {}", visible(species), visible(ingredient)),
        ("structuring", _) => format!("how firm {plain} crystals make a bar"),
        _ => visible(score),
    }
}
