//! A changed formula for people: the change first, then what it brings, then before and after side by side.

use std::io;

use barwright_blend::{Assessment, Options};
use barwright_reference::Library;
use barwright_reformulate::adjust::{Adjustment, Met, Task};
use barwright_reformulate::limits::price_per_kg;
use barwright_reformulate::{Demand, Firmness};

use super::table::Sheet;
use super::write_cautions;
use super::{capital, list, name};
use crate::output::Output;
use barwright_answer::assess::{RULE_OF_THUMB, interval_words};
use barwright_answer::words::number::{in_hundred, interval, significant, whole};
use barwright_answer::words::units::PSI_KPA;
use barwright_answer::words::units::Units;
use barwright_answer::words::visible::visible;

/// Changes below this are none, mass %.
const NO_CHANGE: f64 = 5e-4;

/// What is shown.
pub struct View<'a> {
    /// The answer.
    pub found: &'a Adjustment,
    /// The answer for an even chance, where the wish was for a surer one.
    pub even: Option<&'a Adjustment>,
    /// The formula as it was.
    pub before: &'a Assessment,
    /// The changed one.
    pub after: &'a Assessment,
    /// What was asked.
    pub task: &'a Task,
    /// Reference tables.
    pub library: &'a Library,
    /// How it was computed.
    pub options: &'a Options,
    /// Units shown.
    pub units: Units,
}

/// Writes the answer.
pub fn write(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { found, task, units, .. } = *view;
    output.title(&capital(&name(&view.before.formula.name)), view.before.state.word())?;
    output.blank()?;
    for sentence in sentences(view) {
        output.text(&sentence, 2)?;
    }
    output.text(RULE_OF_THUMB, 2)?;

    output.heading("Parts, % by mass")?;
    let mut sheet = Sheet::new(&["ingredient", "before", "after", "change"]).right(&[1, 2, 3]);
    for (&index, (&before, &after)) in task.ingredients.iter().zip(found.before.iter().zip(&found.after)) {
        if before <= 0.0 && after < NO_CHANGE {
            continue;
        }
        let change = after - before;
        let change = if change.abs() < NO_CHANGE {
            String::new()
        } else {
            format!("{}{}", if change > 0.0 { "+" } else { "-" }, amount(change.abs()))
        };
        let key = view.library.ingredients.get(index).map_or("", |one| one.common_name.as_str());
        sheet.row(&[visible(key), amount(before), amount(after), change]);
    }
    sheet.write(output)?;

    before_and_after(output, view.before, view.after, view.options, units)?;
    output.text(&format!("  {}", interval_words(view.after)), 2)?;

    write_cautions(output, view.after)
}

/// The plain answer: what to change, what it brings, what stands in the way.
pub fn sentences(view: &View<'_>) -> Vec<String> {
    let View { found, task, units, .. } = *view;
    let mut said = Vec::new();
    let wanted = in_hundred(task.confidence);
    if found.mass_moved < NO_CHANGE && found.feasible {
        said.push(format!("Nothing needs to change: everything asked is met, at odds of {wanted}."));
    } else if found.feasible {
        said.push(format!("Move {} % of the mass: {}.", amount(found.mass_moved), changes(view, found)));
    } else {
        let nearest =
            if found.mass_moved < NO_CHANGE { "The formula as it is comes nearest" } else { "The nearest is" };
        said.push(format!("No formula within these limits meets everything asked at odds of {wanted}."));
        let what = if found.mass_moved < NO_CHANGE { String::new() } else { format!(": {}", changes(view, found)) };
        said.push(format!("{nearest}{what}."));
    }
    for met in &found.demands {
        said.push(outcome(met, units, task.confidence));
    }
    if let Some((price, most)) = &task.limits.price {
        let (before, after) = (price_per_kg(price, &found.before), price_per_kg(price, &found.after));
        let word = if found.over_price > 0.0 { "too dear" } else { "met" };
        said.push(format!(
            "Costs at most {} for a kilogram: {word}, {} (was {}).",
            significant(*most, 4),
            significant(after, 4),
            significant(before, 4)
        ));
    }
    for &(first, second) in &found.conflicts {
        let words = [first, second].map(|at| demand(&found.demands[at].demand, units));
        said.push(format!("These two stand against each other, within these limits: {} and {}.", words[0], words[1]));
    }
    if let Some(even) = view.even {
        let what = if even.mass_moved < NO_CHANGE { "no change is needed".to_owned() } else { changes(view, even) };
        said.push(format!("For an even chance (50 in 100): {what}."));
    }
    if found.feasible && !found.in_steps && task.step_percent.is_some() && found.mass_moved >= NO_CHANGE {
        said.push("No formula near it in whole steps meets everything, so the amounts are not rounded.".to_owned());
    }
    said
}

/// Writes the properties of two formulas side by side.
pub fn before_and_after(
    output: &mut Output<'_>,
    before: &Assessment,
    after: &Assessment,
    options: &Options,
    units: Units,
) -> io::Result<()> {
    output.heading("Before and after")?;
    let mut sheet = Sheet::new(&["", "before", "after"]);
    let both = |of: &dyn Fn(&Assessment) -> String| [of(before), of(after)];
    let mut row = |what: String, [before, after]: [String; 2]| sheet.row(&[what, before, after]);
    row(
        format!("keeps its shape up to, {}", units.degree()),
        both(&|one| one.warmth.hold_c.as_ref().map_or_else(|| "never".to_owned(), |hold| units.temperature(hold))),
    );
    row(
        format!("finest relief, {}", units.length_unit()),
        both(&|one| units.relief(one.detail.finest_feature_mm.as_ref())),
    );
    for (at, &celsius) in options.at_c.iter().enumerate() {
        let what = format!("yield stress at {}, {}", units.given_degrees(celsius), units.stress());
        row(what, both(&|one| units.yield_stress(&one.firmness[at].yield_stress_kpa)));
    }
    row("melted on skin, %".to_owned(), both(&|one| interval(&one.skin.melted_percent, whole)));
    row("on skin it".to_owned(), both(&|one| one.skin.verdict.word().to_owned()));
    row("risk of grain".to_owned(), both(&|one| one.grain.verdict.word().to_owned()));
    sheet.write(output)
}

/// An amount in %: as many decimals as it has, two at most.
pub fn amount(percent: f64) -> String {
    let text = format!("{percent:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// `beeswax 26 to 33 %, sunflower oil 30 to 23 %`, what rises first.
fn changes(view: &View<'_>, found: &Adjustment) -> String {
    let all = view.task.ingredients.iter().zip(found.before.iter().zip(&found.after));
    let mut moved: Vec<(f64, String)> = all
        .filter(|(_, (before, after))| (*after - *before).abs() >= NO_CHANGE)
        .map(|(&index, (&before, &after))| {
            let name = view.library.ingredients.get(index).map_or("", |one| one.common_name.as_str());
            (after - before, format!("{} {} to {} %", in_text(name), amount(before), amount(after)))
        })
        .collect();
    moved.sort_by(|a, b| b.0.total_cmp(&a.0));
    list(&moved.into_iter().map(|(_, text)| text).collect::<Vec<_>>(), "and")
}

/// A name as it stands in running text: `Beeswax` is no name of its own, `MCT oil` starts with one.
pub fn in_text(name: &str) -> String {
    let shown = visible(name);
    let mut letters = shown.chars();
    match (letters.next(), letters.next()) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            first.to_lowercase().chain(shown.chars().skip(1)).collect()
        }
        _ => shown,
    }
}

/// What a demand asks, as the end of a sentence about the bar.
pub fn demand(demand: &Demand, units: Units) -> String {
    let firmness = |than: &Firmness| match than {
        Firmness::Kpa(kpa) => match units {
            Units::Metric => format!("{} kPa", significant(*kpa, 3)),
            Units::Us => format!("{} psi", significant(*kpa / PSI_KPA, 3)),
        },
        Firmness::BeeswaxPercent(percent) => format!("oil with {} % beeswax", amount(*percent)),
    };
    match demand {
        Demand::Hold { temperature_c } => {
            format!("keeps its shape for a day at {}", units.given_degrees(*temperature_c))
        }
        Demand::Detail { relief_mm } => {
            format!("leaves a mould with relief of {} whole", units.given_length(*relief_mm))
        }
        Demand::Firmer { than, temperature_c } => {
            format!("is at least as firm as {} at {}", firmness(than), units.given_degrees(*temperature_c))
        }
        Demand::Softer { than, temperature_c } => {
            format!("is at most as firm as {} at {}", firmness(than), units.given_degrees(*temperature_c))
        }
        Demand::Melts { percent } => format!("melts by at least {} % on skin", amount(*percent)),
    }
}

/// How a demand came out.
fn outcome(met: &Met, units: Units, confidence: f64) -> String {
    let (before, after) = (in_hundred(met.probability_before), in_hundred(met.probability_after));
    let said = capital(&demand(&met.demand, units));
    if met.met {
        return format!("{said}: met, {after} (was {before}).");
    }
    let alone = match met.met_alone {
        Some(true) => "; it could be met if nothing else were asked",
        Some(false) => "; nothing within these limits meets it",
        None => "",
    };
    format!("{said}: not met, {after} where {} is asked (was {before}){alone}.", in_hundred(confidence))
}
