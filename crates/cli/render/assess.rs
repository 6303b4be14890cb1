//! One assessment for people.

use std::io;

use barwright_blend::assess::{FirmnessAt, SolidsAt};
use barwright_blend::beeswax::BeeswaxEquivalent;
use barwright_blend::cautions::Caution;
use barwright_blend::suitability::{SkinFeel, Verdict};
use barwright_blend::{Assessment, Estimate, Options};
use barwright_reference::{CrystalState, Formula, Library};

use super::number::{in_hundred, interval, significant, whole};
use super::table::Sheet;
use super::units::{needle, with_unit};
use super::{Group, capital, name};
use crate::args::Units;
use crate::basis::Basis;
use crate::output::Output;
use crate::visible::visible;

/// What the tables call the parts of the bar a rule of thumb speaks about.
pub const RULE_OF_THUMB: &str = "Detail, warmth, skin feel and grain: rule of thumb, no published relation.";

/// The landmarks with the test each belongs to.
pub const LANDMARKS: [(&str, &str); 5] = [
    ("softening onset", "half the firmness of 20 °C is gone; needle at several temperatures, ASTM D1321"),
    ("slip point", "open tube; ISO 6321, AOCS Cc 3-25"),
    ("drop point", "falling drop; AOCS Cc 18-80, ASTM D127"),
    ("end of melting", "1 % of crystals left; calorimetry, AOCS Cj 1-94"),
    ("clear point", "last crystal gone; AOCS Cc 1-25"),
];

/// Writes an assessment: the answer, the tables, what it rests on, what to mind.
///
/// # Arguments
/// * `remark`: of the formula's file.
/// * `filling`: what a mould holds, where one is named.
#[allow(clippy::too_many_arguments, reason = "one page, and each is shown on it")]
pub fn write(
    output: &mut Output<'_>,
    answer: &Assessment,
    formula: &Formula,
    library: &Library,
    options: &Options,
    units: Units,
    remark: Option<&str>,
    filling: Option<&str>,
) -> io::Result<()> {
    output.title(&capital(&name(&answer.formula.name)), answer.state.word())?;
    if let Some(remark) = remark {
        output.text(&visible(remark), 0)?;
    }
    output.blank()?;
    for sentence in sentences(answer, options, units) {
        output.text(&sentence, 2)?;
    }
    if let Some(filling) = filling {
        output.text(&format!("{filling}."), 2)?;
    }
    output.text(RULE_OF_THUMB, 2)?;

    output.heading("Parts, % by mass")?;
    parts(formula, library).write(output)?;

    output.heading("Melting")?;
    let degree = units.degree();
    let mut sheet = Sheet::new(&["landmark", degree, "test"]);
    for ((landmark, estimate), (_, test)) in landmarks(answer).into_iter().zip(LANDMARKS) {
        let shown = estimate.map_or_else(|| below_the_scale(units), |estimate| units.temperature(estimate));
        sheet.row(&[landmark, &shown, &in_units(test, units)]);
    }
    sheet.write(output)?;

    output.heading("Solids and firmness")?;
    let mut sheet = Sheet::new(&firmness_head(units)).right(&[0]);
    for row in firmness_rows(answer, units) {
        sheet.row(&row);
    }
    sheet.write(output)?;

    output.heading("What this rests on")?;
    output.text(&format!("  {}", Basis::of(library, formula).sentence()), 2)?;
    output.text(&format!("  {}", interval_words(answer)), 2)?;

    write_cautions(output, answer)
}

/// The heads of [`firmness_rows`].
pub fn firmness_head(units: Units) -> [String; 5] {
    [
        units.degree().to_owned(),
        "solids, %".to_owned(),
        format!("yield stress, {}", units.stress()),
        "as firm as beeswax in oil, %".to_owned(),
        "needle, 0.1 mm".to_owned(),
    ]
}

/// Solids and firmness at each temperature.
pub fn firmness_rows(answer: &Assessment, units: Units) -> Vec<Vec<String>> {
    let row = |(solids, firmness): (&SolidsAt, &FirmnessAt)| {
        vec![
            units.given(solids.temperature_c),
            interval(&solids.percent, whole),
            units.yield_stress(&firmness.yield_stress_kpa),
            beeswax_in_oil(&firmness.beeswax_equivalent),
            needle(firmness.needle_dmm.as_ref()),
        ]
    };
    answer.solids.iter().zip(&answer.firmness).map(row).collect()
}

/// Writes what to mind of one formula.
pub fn write_cautions(output: &mut Output<'_>, answer: &Assessment) -> io::Result<()> {
    output.heading("Mind")?;
    for caution in spoken_cautions(answer) {
        output.item(&capital(caution.about), &visible(&caution.text))?;
    }
    Ok(())
}

/// Says where the numbers in brackets come from, and how many of the maker's own bench tests they rest on.
pub fn interval_words(answer: &Assessment) -> String {
    let words = format!(
        "In brackets: 90 % intervals from {} trial computations (seed {}) over lots, melting points and model parameters.",
        answer.draws, answer.seed
    );
    match answer.trials {
        0 => words,
        1 => format!("{words} All of it rests on 1 bench test of yours, too."),
        trials => format!("{words} All of it rests on {trials} bench tests of yours, too."),
    }
}

/// The cautions that the answer does not say already.
pub fn spoken_cautions(answer: &Assessment) -> impl Iterator<Item = &Caution> {
    answer.cautions.iter().filter(|caution| caution.about != "setting")
}

/// Returns the landmarks with their names.
pub fn landmarks(answer: &Assessment) -> [(&'static str, Option<&Estimate>); LANDMARKS.len()] {
    let melt = &answer.melt;
    let estimates = [&melt.softening_c, &melt.slip_point_c, &melt.drop_point_c, &melt.melt_end_c, &melt.clear_point_c];
    let mut named = [("", None); LANDMARKS.len()];
    for (entry, (estimate, (landmark, _))) in named.iter_mut().zip(estimates.into_iter().zip(LANDMARKS)) {
        *entry = (landmark, estimate.as_ref());
    }
    named
}

/// What is shown for a landmark that was not found.
pub fn below_the_scale(units: Units) -> String {
    format!("below {}", units.given(barwright_blend::landmarks::LOWEST_LANDMARK_C))
}

/// Returns a percentage of beeswax in oil.
fn beeswax_percent(percent: f64) -> String {
    if percent < 10.0 { significant(percent, 2) } else { whole(percent) }
}

/// Returns a beeswax equivalent without its unit: `43 (31 to 62)`, `95 (60 to harder)`, `harder`.
pub fn beeswax_in_oil(equivalent: &BeeswaxEquivalent) -> String {
    match *equivalent {
        BeeswaxEquivalent::Percent { value, low, high: Some(high) } => {
            interval(&Estimate { value, low, high }, beeswax_percent)
        }
        BeeswaxEquivalent::Percent { value, low, high: None } => {
            format!("{} ({} to harder)", beeswax_percent(value), beeswax_percent(low))
        }
        BeeswaxEquivalent::HarderThanBeeswax { low: Some(low) } => format!("harder (from {})", beeswax_percent(low)),
        BeeswaxEquivalent::HarderThanBeeswax { low: None } => "harder".to_owned(),
        BeeswaxEquivalent::BeeswaxIsLiquid => "beeswax is liquid".to_owned(),
    }
}

/// Replaces the temperature in a description by one in the units shown.
pub fn in_units(test: &str, units: Units) -> String {
    test.replace("20 °C", &units.given_degrees(20.0))
}

/// Returns the plain answer, one sentence an entry.
pub fn sentences(answer: &Assessment, options: &Options, units: Units) -> Vec<String> {
    let mut said = Vec::new();
    if !answer.sets_at_room() {
        let words = answer.cautions.iter().find(|caution| caution.about == "setting");
        said.push(words.map_or_else(
            || "This blend does not set into a bar at room temperature.".to_owned(),
            |caution| visible(&caution.text),
        ));
    }
    said.push(detail_sentence(answer, units));
    said.extend(firmness_sentence(answer, options, units));
    said.push(warmth_sentence(answer, units));
    said.push(skin_sentence(answer, units));
    said.push(grain_sentence(answer));
    said
}

/// Says whether the finest relief leaves the mould whole.
pub fn detail_sentence(answer: &Assessment, units: Units) -> String {
    let detail = &answer.detail;
    let relief = units.given_length(detail.relief_mm);
    let probability = in_hundred(detail.probability);
    let cold = units.given_degrees(detail.release_c);
    let (verdict, outcome) = match detail.verdict {
        Verdict::Yes => ("yes", format!("Relief of {relief} leaves the mould whole")),
        Verdict::Likely => ("likely", format!("Relief of {relief} should leave the mould whole")),
        Verdict::Open => ("open", format!("Relief of {relief} may or may not leave the mould whole")),
        Verdict::Unlikely => ("unlikely", format!("Relief of {relief} will often break in the mould")),
        Verdict::No => ("no", format!("Relief of {relief} will not leave the mould whole")),
    };
    let finest = with_unit(&units.relief(detail.finest_feature_mm.as_ref()), units.length_unit());
    format!("Firm enough for fine detail: {verdict}. {outcome} at {cold} ({probability}). Finest relief: {finest}.")
}

/// Says how firm the bar is at the temperature of the table that is nearest to a room.
pub fn firmness_sentence(answer: &Assessment, options: &Options, units: Units) -> Option<String> {
    let nearest = answer.firmness.iter().min_by(|a, b| {
        let distance = |celsius: f64| (celsius - options.release_c).abs();
        distance(a.temperature_c).total_cmp(&distance(b.temperature_c))
    })?;
    let state = match answer.state {
        CrystalState::Fresh => "just set",
        CrystalState::Rested => "once rested",
        CrystalState::Tempered => "tempered",
    };
    let at = units.given_degrees(nearest.temperature_c);
    Some(match nearest.beeswax_equivalent {
        BeeswaxEquivalent::Percent { high: Some(_), .. } => {
            let percent = with_unit(&beeswax_in_oil(&nearest.beeswax_equivalent), "%");
            format!("At {at}, {state}, it is as firm as liquid oil with {percent} beeswax in it.")
        }
        BeeswaxEquivalent::Percent { value, low, high: None } => format!(
            "At {at}, {state}, it is as firm as liquid oil with {} % beeswax in it ({} % to harder than beeswax).",
            beeswax_percent(value),
            beeswax_percent(low)
        ),
        BeeswaxEquivalent::HarderThanBeeswax { low: Some(low) } => format!(
            "At {at}, {state}, it is harder than beeswax (from as firm as oil with {} % of it upwards).",
            beeswax_percent(low)
        ),
        BeeswaxEquivalent::HarderThanBeeswax { low: None } => {
            format!("At {at}, {state}, it is harder than beeswax.")
        }
        BeeswaxEquivalent::BeeswaxIsLiquid => {
            format!("At {at} beeswax itself is liquid: there is no saying how much of it would be as firm.")
        }
    })
}

/// Says up to what temperature the bar keeps its shape.
pub fn warmth_sentence(answer: &Assessment, units: Units) -> String {
    let warmth = &answer.warmth;
    let wanted = units.given_degrees(warmth.wanted_c);
    let probability = in_hundred(warmth.probability);
    let verdict = warmth.verdict.word();
    match &warmth.hold_c {
        Some(hold) => {
            format!("Keeps its shape for a day up to {}; at {wanted}: {verdict}, {probability}.", units.degrees(hold))
        }
        None => format!("Does not keep its shape at any temperature above {}.", units.given_degrees(-20.0)),
    }
}

/// Says how the bar feels on skin.
pub fn skin_sentence(answer: &Assessment, units: Units) -> String {
    let skin = &answer.skin;
    let odds = in_hundred(skin.probability);
    let feel = match skin.verdict {
        SkinFeel::Glides => format!("On skin it glides ({odds})"),
        SkinFeel::Smears => format!("On skin it smears, being too soft ({odds})"),
        SkinFeel::Drags => format!("On skin it drags, being too hard ({odds})"),
        SkinFeel::Open => format!("How it feels on skin is open ({}: {odds})", skin.likeliest.word()),
    };
    format!(
        "{feel}: {} of it is melted at {}.",
        with_unit(&interval(&skin.melted_percent, whole), "%"),
        units.given_degrees(skin.temperature_c)
    )
}

/// Says how likely grain is.
pub fn grain_sentence(answer: &Assessment) -> String {
    let grain = &answer.grain;
    format!(
        "Risk of grain when cooled slowly: {}, {} on a scale from 0 to 1.",
        grain.verdict.word(),
        interval(&grain.risk, |risk| format!("{risk:.2}"))
    )
}

/// Makes the table of parts, in groups with their sums.
fn parts(formula: &Formula, library: &Library) -> Sheet {
    let mut sheet = Sheet::new(&["group", "ingredient", "part", "group sum"]).right(&[2, 3]);
    for group in Group::ALL {
        let members: Vec<_> = formula
            .parts
            .iter()
            .filter_map(|part| library.ingredients.get(part.ingredient).map(|known| (known, part.percent)))
            .filter(|(known, _)| Group::of(known) == group)
            .collect();
        let sum: f64 = members.iter().map(|(_, percent)| percent).sum();
        for (index, (known, percent)) in members.iter().enumerate() {
            let first = index == 0;
            sheet.row(&[
                if first { group.word().to_owned() } else { String::new() },
                name(&known.common_name),
                share(*percent),
                if first { share(sum) } else { String::new() },
            ]);
        }
    }
    sheet
}

/// Returns a share with one decimal, or two digits below 1.
pub fn share(percent: f64) -> String {
    if percent < 1.0 { significant(percent, 2) } else { format!("{percent:.1}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_beeswax_equivalent_beyond_beeswax_says_so() {
        for (equivalent, shown) in [
            (BeeswaxEquivalent::Percent { value: 42.6, low: 31.2, high: Some(61.9) }, "43 (31 to 62)"),
            (BeeswaxEquivalent::Percent { value: 0.0, low: 0.0, high: Some(0.0) }, "0"),
            (BeeswaxEquivalent::Percent { value: 95.0, low: 59.6, high: None }, "95 (60 to harder)"),
            (BeeswaxEquivalent::HarderThanBeeswax { low: Some(83.2) }, "harder (from 83)"),
            (BeeswaxEquivalent::HarderThanBeeswax { low: None }, "harder"),
            (BeeswaxEquivalent::BeeswaxIsLiquid, "beeswax is liquid"),
        ] {
            assert_eq!(beeswax_in_oil(&equivalent), shown);
        }
    }
}
