//! Trade-offs for people: how many there are, those that stand for all, what is in them.

use std::io;

use barwright_reformulate::explore::{Exploration, FirmnessAim, Settings};

use super::in_text;
use super::number::amount;
use super::table::Sheet;
use super::{capital, list, name};
use crate::output::Output;
use crate::space::LoadedSpace;
use barwright_answer::assess::{RULE_OF_THUMB, interval_words};
use barwright_answer::demand::words as demand;
use barwright_answer::explore::{Shown, letter};
use barwright_answer::words::number::{in_hundred, interval, significant, whole};
use barwright_answer::words::units::Units;
use barwright_answer::words::visible::visible;

/// What is shown.
pub struct View<'a> {
    /// What was found.
    pub found: &'a Exploration,
    /// The trade-offs shown.
    pub shown: &'a [Shown],
    /// The space.
    pub loaded: &'a LoadedSpace,
    /// Demands that leave nothing; a position after the last is the price.
    pub too_much: &'a [usize],
    /// How it was explored.
    pub settings: &'a Settings,
    /// Units shown.
    pub units: Units,
}

/// Writes the answer.
pub fn write(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { found, shown, loaded, settings, units, .. } = *view;
    output.title(&capital(&name(&loaded.name)), settings.options.state.word())?;
    if let Some(note) = &loaded.note {
        output.text(&visible(note), 0)?;
    }
    output.blank()?;
    if found.front.is_empty() {
        return nothing(output, view);
    }
    let asked = if loaded.demands.is_empty() && loaded.most_price.is_none() { "" } else { " that meet what is asked" };
    let best = match (found.judged, found.front.len()) {
        (1, _) if asked.is_empty() => "The space is one bar.".to_owned(),
        (1, _) => "The space is one bar, and it meets what is asked.".to_owned(),
        (tried, 1) => format!("Of {tried} bars tried, one is better than all others in every way, or as good."),
        (tried, count) => format!(
            "Of {tried} bars tried, {count}{asked} are the best trade-offs: what is better in one way is worse in another."
        ),
    };
    output.text(&best, 2)?;
    let firmer = match settings.firmness {
        FirmnessAim::Firmer => "firmness",
        FirmnessAim::Softer => "softness",
    };
    let price = if loaded.space.price.is_some() { ", and price" } else { "" };
    output.text(&format!("Weighed: {firmer}, warmth, fine relief, feel on skin{price}; by the middle values."), 2)?;
    output.text(RULE_OF_THUMB, 2)?;

    let some = if shown.len() < found.front.len() { "Some that stand for all" } else { "All of them" };
    output.heading(some)?;
    let priced = loaded.space.price.as_ref();
    let mut header = vec![
        String::new(),
        format!("{} at {}", units.stress(), units.given_degrees(settings.firmness_at_c)),
        format!("holds to, {}", units.degree()),
        format!("relief, {}", units.length_unit()),
        "melts, %".to_owned(),
        "on skin".to_owned(),
    ];
    header.extend(priced.map(|_| "per kg".to_owned()));
    let mut sheet = Sheet::new(&header).whole(&[0, 1, 2, 3, 4, 5]);
    for (number, one) in shown.iter().enumerate() {
        let answer = &one.assessment;
        let mut row = vec![
            letter(number),
            answer.firmness.first().map_or_else(String::new, |at| units.yield_stress(&at.yield_stress_kpa)),
            answer.warmth.hold_c.as_ref().map_or_else(|| "never".to_owned(), |hold| units.temperature(hold)),
            units.relief(answer.detail.finest_feature_mm.as_ref()),
            interval(&answer.skin.melted_percent, whole),
            answer.skin.verdict.word().to_owned(),
        ];
        row.extend(
            priced.map(|_| one.candidate.properties.price.map_or_else(String::new, |price| significant(price, 3))),
        );
        sheet.row(&row);
    }
    sheet.write(output)?;
    let holds =
        "Holds: keeps its shape for a day. Relief: the finest that leaves the mould. Melts: share on skin, at 33 °C.";
    output.text(&format!("  {holds}"), 2)?;

    if !loaded.demands.is_empty() {
        output.heading("Odds that each meets what is asked, in 100")?;
        let mut header = vec![String::new()];
        header.extend(loaded.demands.iter().map(|one| demand(one, units)));
        let mut sheet = Sheet::new(&header);
        for (number, one) in shown.iter().enumerate() {
            let sure = one.probabilities.iter().map(|&probability| in_hundred(probability).replace(" in 100", ""));
            sheet.row(&std::iter::once(letter(number)).chain(sure).collect::<Vec<_>>());
        }
        sheet.write(output)?;
        output.text("  To be surer of one of them, give it to `adjust` with the same demands.", 2)?;
    }

    output.heading("Parts, % by mass")?;
    for (number, one) in shown.iter().enumerate() {
        let mut parts: Vec<(f64, String)> = (one.formula.parts.iter())
            .filter_map(|part| {
                let known = loaded.library.ingredients.get(part.ingredient)?;
                Some((part.percent, format!("{} {}", in_text(&known.common_name), amount(part.percent))))
            })
            .collect();
        parts.sort_by(|a, b| b.0.total_cmp(&a.0));
        let parts: Vec<String> = parts.into_iter().map(|(_, text)| text).collect();
        output.item(&letter(number), &parts.join(", "))?;
    }
    if let Some(first) = shown.first() {
        output.text(&format!("  {}", interval_words(&first.assessment)), 2)?;
    }
    output.text("  Give the one you like to `assess`, as a text in quotes: it has the cautions.", 2)
}

/// Says that nothing was found, and what stands in the way.
fn nothing(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { found, loaded, too_much, units, .. } = *view;
    if !found.finished {
        return output.text("Nothing was found before it was stopped.", 2);
    }
    output.text(&format!("None of the {} bars tried meets everything asked.", found.judged), 2)?;
    let words: Vec<String> = too_much
        .iter()
        .map(|&at| match (loaded.demands.get(at), loaded.most_price) {
            (Some(asked), _) => demand(asked, units),
            (None, most) => format!("costs at most {}", significant(most.unwrap_or(f64::NAN), 4)),
        })
        .map(|words| format!("\"{words}\""))
        .collect();
    match words.as_slice() {
        [] => output.text("Leaving out any one demand does not help: two or more ask too much of this shelf.", 2),
        _ => output.text(&format!("There would be some without {}.", list(&words, "or without")), 2),
    }
}
