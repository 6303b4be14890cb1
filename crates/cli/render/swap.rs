//! A replacement for people: the best one first, what it cannot match, then the others.

use std::io;

use barwright_blend::cautions::plant_statement;
use barwright_blend::{Assessment, Options, Property};
use barwright_reference::{AnimalOrigin, Formula, Library};
use barwright_reformulate::swap::{Kept, Replacement};

use super::adjust::{amount, before_and_after, in_text};
use super::table::Sheet;
use super::write_cautions;
use super::{capital, list, name};
use crate::output::Output;
use barwright_answer::assess::{RULE_OF_THUMB, interval_words};
use barwright_answer::words::number::significant;
use barwright_answer::words::units::Units;
use barwright_answer::words::visible::visible;

/// What is shown.
pub struct View<'a> {
    /// The replacements, best first.
    pub found: &'a [Replacement],
    /// What they replace.
    pub replaced: usize,
    /// The formula as it was.
    pub before: &'a Assessment,
    /// With the best replacement.
    pub after: &'a Assessment,
    /// The formula.
    pub formula: &'a Formula,
    /// Reference tables.
    pub library: &'a Library,
    /// How it was computed.
    pub options: &'a Options,
    /// Units shown.
    pub units: Units,
    /// Whether nothing from animals was asked for.
    pub vegan: bool,
}

/// Writes the answer.
pub fn write(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let called = |index: usize| view.library.ingredients.get(index).map_or("", |one| one.common_name.as_str());
    let Some(best) = view.found.first() else { return Ok(()) };
    output.title(&capital(&name(&view.before.formula.name)), view.before.state.word())?;
    output.blank()?;
    for sentence in sentences(view) {
        output.text(&sentence, 2)?;
    }
    output.text(RULE_OF_THUMB, 2)?;

    output.heading("Parts, % by mass")?;
    let mut order: Vec<usize> = view.formula.parts.iter().map(|part| part.ingredient).collect();
    order.extend(best.formula.parts.iter().map(|part| part.ingredient));
    let mut sheet = Sheet::new(&["ingredient", "before", "after"]).right(&[1, 2]);
    for (at, &index) in order.iter().enumerate().filter(|(at, index)| !order[..*at].contains(index)) {
        let of = |formula: &Formula| -> f64 {
            formula.parts.iter().filter(|part| part.ingredient == index).map(|part| part.percent).sum()
        };
        let shown = |percent: f64| if percent > 0.0 { amount(percent) } else { "–".to_owned() };
        let _ = at;
        sheet.row(&[visible(called(index)), shown(of(view.formula)), shown(of(&best.formula))]);
    }
    sheet.write(output)?;
    before_and_after(output, view.before, view.after, view.options, view.units)?;

    if view.found.len() > 1 {
        output.heading("The nearest, best first")?;
        let mut sheet = Sheet::new(&["in its place", "%", "of its mass", "off by, steps", "what it cannot match"])
            .right(&[1, 2, 3])
            .whole(&[0, 1, 2, 3]);
        for one in view.found {
            let missed: Vec<String> = one.properties.iter().filter(|one| !one.matched).map(brief).collect();
            sheet.row(&[
                visible(called(one.ingredient)),
                amount(one.to_percent),
                significant(one.to_percent / one.from_percent, 2),
                significant(one.distance, 2),
                list(&missed, "and"),
            ]);
        }
        sheet.write(output)?;
        output.text("  A step is what a maker would notice: firmness or relief by 1.3 times, 2 °C, 5 % melted.", 2)?;
    }
    output.text(&format!("  {}", interval_words(view.after)), 2)?;

    write_cautions(output, view.after)
}

/// The plain answer: how much of what, and what it cannot match.
pub fn sentences(view: &View<'_>) -> Vec<String> {
    let called = |index: usize| view.library.ingredients.get(index).map_or("", |one| one.common_name.as_str());
    let mut said = Vec::new();
    let Some(best) = view.found.first() else { return said };
    let ratio = best.to_percent / best.from_percent;
    said.push(format!(
        "In place of {} % {}, take {} % {}: {} of its mass.",
        amount(best.from_percent),
        in_text(called(view.replaced)),
        amount(best.to_percent),
        in_text(called(best.ingredient)),
        significant(ratio, 2)
    ));
    let missed: Vec<String> =
        best.properties.iter().filter(|one| !one.matched).map(|one| unmatched(one, view.units)).collect();
    if missed.is_empty() {
        said.push("Nobody should notice: firmness, relief, warmth and skin feel stay within a step.".to_owned());
    } else {
        said.push(format!("It cannot match everything: {}.", list(&missed, "and")));
    }
    said.push("Colour, scent and gloss are not looked at.".to_owned());
    said.extend(possibly_animal(view));
    said
}

/// Asked for nothing from animals: what of all that is offered may be from them.
fn possibly_animal(view: &View<'_>) -> Option<String> {
    let parts = view.found.iter().take(1).flat_map(|best| best.formula.parts.iter().map(|part| part.ingredient));
    let mut names: Vec<String> = Vec::new();
    for index in parts.chain(view.found.iter().map(|one| one.ingredient)) {
        let Some(one) = view.library.ingredients.get(index) else { continue };
        let named = in_text(&one.common_name);
        if one.animal_origin == AnimalOrigin::Possible && !names.contains(&named) {
            names.push(named);
        }
    }
    (view.vegan && !names.is_empty()).then(|| plant_statement(&list(&names, "and")))
}

/// What a property is called.
fn called(property: Property) -> &'static str {
    match property {
        Property::YieldStress { at_c: 20.0 } => "firmness in a cool room",
        Property::YieldStress { .. } => "firmness in a warm room",
        Property::FinestFeature => "relief",
        Property::Hold => "warmth",
        _ => "the share melted on skin",
    }
}

/// `firmness in a warm room (1.8 times)`.
fn unmatched(one: &Kept, units: Units) -> String {
    let how = match one.property {
        Property::Hold => {
            format!("{} to {}", units.given_degrees(one.before.round()), units.given_degrees(one.after.round()))
        }
        Property::SkinMelted => format!("{:.0} to {:.0} %", one.before, one.after),
        _ => format!("{} times", significant(one.after / one.before, 2)),
    };
    format!("{} ({how})", called(one.property))
}

/// `warmth +`.
fn brief(one: &Kept) -> String {
    format!("{} {}", called(one.property), if one.steps > 0.0 { "up" } else { "down" })
}
