//! Several assessments side by side for people: what decides, which to pour, the tables.

use std::io;

use barwright_blend::compare::Difference;
use barwright_blend::suitability::SkinFeel;
use barwright_blend::{Assessment, Comparison, Estimate, Options};
use barwright_reference::{Formula, Library};

use super::assess::{
    RULE_OF_THUMB, beeswax_in_oil, below_the_scale, interval_words, landmarks, share, spoken_cautions,
};
use super::number::{in_hundred, interval, significant, whole};
use super::table::Sheet;
use super::units::{needle, with_unit};
use super::{Group, capital, list, lower, names};
use crate::args::Units;
use crate::output::Output;
use crate::visible::visible;

/// Most formulas side by side in one table.
pub const MOST_BESIDE: usize = 3;

/// Most formulas named in one sentence.
const MOST_NAMED: usize = 5;

/// Below this probability nobody should choose by a property.
const WORTH_SAYING: f64 = 0.6;

/// Shares closer than this are the same, mass %.
const SAME_PERCENT: f64 = 1e-6;

/// What a comparison is shown with.
pub struct View<'a> {
    /// The assessments and differences.
    pub comparison: &'a Comparison,
    /// The formulas.
    pub formulas: &'a [Formula],
    /// Reference tables and lots.
    pub library: &'a Library,
    /// What was asked.
    pub options: &'a Options,
    /// Units shown.
    pub units: Units,
}

/// Writes a comparison.
pub fn write(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let names = names(view.formulas.iter().map(|formula| formula.name.as_str()));
    let titles: Vec<String> = names.iter().map(|name| capital(name)).collect();
    output
        .title(&list(&titles.iter().take(MOST_NAMED).cloned().collect::<Vec<_>>(), "and"), view.options.state.word())?;
    let same = same_blends(view.formulas);
    let all_same = same.iter().all(|first| *first == 0);

    output.heading("What decides")?;
    for sentence in what_decides(view, &titles) {
        output.text(&format!("  {sentence}"), 4)?;
    }
    if !all_same {
        output.heading("Which to pour")?;
        for (purpose, words) in purposes(view, &titles) {
            output.item(purpose, &words)?;
        }
    }
    for (index, _) in view.comparison.formulas.iter().enumerate().filter(|(_, answer)| !answer.sets_at_room()) {
        let name = titles.get(index).map_or("", |title| title);
        output.text(&format!("  {name} does not set into a bar at room temperature."), 4)?;
    }

    output.heading("Side by side")?;
    side_by_side(output, view, &titles)?;
    output.text(&format!("  {RULE_OF_THUMB}"), 2)?;

    output.heading("Parts, % by mass")?;
    parts(output, view, &titles)?;

    if !all_same {
        let small = undecided(view);
        if !small.is_empty() {
            output.heading("Too small or too unsure to matter")?;
            output.text(&format!("  {}.", capital(&list(&small, "and"))), 2)?;
        }
    }
    output.heading("Mind")?;
    cautions(output, view, &titles)?;
    output.blank()?;
    match view.comparison.formulas.first() {
        Some(first) => output.text(&interval_words(first), 0),
        None => Ok(()),
    }
}

/// What decides between the formulas, in sentences.
pub fn what_decides(view: &View<'_>, titles: &[String]) -> Vec<String> {
    let same = same_blends(view.formulas);
    let title = |index: usize| titles.get(index).map_or("", |title| title.as_str());
    let mut said: Vec<String> = (same.iter().enumerate())
        .filter(|(index, first)| index != *first)
        .map(|(index, first)| {
            format!("{} and {} are the same blend: no difference is expected.", title(*first), title(index))
        })
        .collect();
    if same.iter().any(|first| *first != 0) {
        let decisive = deciding_sentences(view, titles);
        if decisive.is_empty() {
            let nothing = "Nothing: no difference is both large enough to notice and sure enough to rely on.";
            said.push(nothing.to_owned());
        }
        said.extend(decisive);
    }
    said
}

/// Returns for each formula the first one with the same shares of the same ingredients.
pub fn same_blends(formulas: &[Formula]) -> Vec<usize> {
    let sorted: Vec<Vec<(usize, f64)>> = formulas
        .iter()
        .map(|formula| {
            let mut parts: Vec<_> = formula.parts.iter().map(|part| (part.ingredient, part.percent)).collect();
            parts.sort_by_key(|(ingredient, _)| *ingredient);
            parts
        })
        .collect();
    let alike = |a: &[(usize, f64)], b: &[(usize, f64)]| {
        a.len() == b.len()
            && a.iter().zip(b).all(|(one, other)| one.0 == other.0 && (one.1 - other.1).abs() < SAME_PERCENT)
    };
    sorted
        .iter()
        .enumerate()
        .map(|(index, parts)| sorted.iter().take(index).position(|earlier| alike(earlier, parts)).unwrap_or(index))
        .collect()
}

/// A difference ordered by its central values, the highest first; formulas without a value come last.
struct Ranked<'a> {
    difference: &'a Difference,
    order: Vec<(usize, Option<&'a Estimate>)>,
}

impl<'a> Ranked<'a> {
    fn new(difference: &'a Difference) -> Self {
        let mut order: Vec<_> = difference.values.iter().map(Option::as_ref).enumerate().collect();
        order.sort_by(|a, b| {
            let value =
                |entry: &(usize, Option<&Estimate>)| entry.1.map_or(f64::NEG_INFINITY, |estimate| estimate.value);
            value(b).total_cmp(&value(a))
        });
        Ranked { difference, order }
    }

    /// The same with the lowest first.
    fn lowest_first(mut self) -> Self {
        self.order.sort_by(|a, b| {
            let value = |entry: &(usize, Option<&Estimate>)| entry.1.map_or(f64::INFINITY, |estimate| estimate.value);
            value(a).total_cmp(&value(b))
        });
        self
    }

    fn probability(&self, low: bool) -> f64 {
        let all = if low { &self.difference.probability_lowest } else { &self.difference.probability_highest };
        self.order.first().and_then(|(index, _)| all.get(*index)).copied().unwrap_or(0.0)
    }
}

/// Returns the temperature of a yield-stress difference, °C.
fn yield_at_c(property: &str) -> Option<f64> {
    property.strip_prefix("yield_stress_kpa_at_")?.strip_suffix('c')?.parse().ok()
}

/// Returns the decisive differences as sentences, the weightiest first.
fn deciding_sentences(view: &View<'_>, titles: &[String]) -> Vec<String> {
    let decisive: Vec<&Difference> =
        view.comparison.differences.iter().filter(|difference| difference.decisive).collect();
    let mut said = Vec::new();
    let mut yields_said = false;
    for difference in &decisive {
        if yield_at_c(&difference.property).is_some() {
            if !yields_said {
                let yields: Vec<_> =
                    decisive.iter().copied().filter(|difference| yield_at_c(&difference.property).is_some()).collect();
                // Of two, every temperature fits into one sentence; of several, only the one that tells them apart best.
                if titles.len() == 2 {
                    said.push(firmness_words(view, &yields, titles));
                } else {
                    said.extend(difference_words(view, difference, titles));
                }
                yields_said = true;
            }
        } else {
            said.extend(difference_words(view, difference, titles));
        }
    }
    said
}

/// How one property is put into words.
struct Wording {
    /// What the better of two does, `{}` standing for the difference.
    two: &'static str,
    /// What a list of several begins with.
    several: &'static str,
    /// Whether the lowest comes first.
    low_first: bool,
    /// What is said of a formula without the property.
    none: &'static str,
}

fn wording(property: &str) -> Option<Wording> {
    let wording = |two, several, low_first, none| Some(Wording { two, several, low_first, none });
    match property {
        "hold_c" => wording("keeps its shape {} hotter", "Keeps its shape up to", false, "does not keep its shape"),
        "slip_point_c" => wording("slips {} hotter", "Slip point", false, "does not set"),
        "softening_c" => wording("begins to soften {} later", "Begins to soften at", false, "does not set"),
        "skin_melted_percent" => wording("melts more on skin", "Melted on skin", false, ""),
        "grain_risk" => wording("runs less risk of grain", "Risk of grain", true, ""),
        "finest_feature_mm" => wording("takes finer relief", "Finest relief", true, "takes none"),
        other => yield_at_c(other).and_then(|_| wording("is firmer", "Yield stress", false, "none")),
    }
}

/// A probability as said: what no published figure was held against is called the model's own.
fn odds(property: &str, probability: f64) -> String {
    match property {
        "hold_c" | "finest_feature_mm" | "grain_risk" => format!("the model's own odds: {}", in_hundred(probability)),
        _ => format!("{} sure", in_hundred(probability)),
    }
}

/// Returns the estimate of a property as shown, without its unit.
fn shown(property: &str, estimate: &Estimate, units: Units) -> String {
    match property {
        "hold_c" | "slip_point_c" | "softening_c" => units.temperature(estimate),
        "finest_feature_mm" => units.relief(Some(estimate)),
        "grain_risk" => interval(estimate, |risk| format!("{risk:.2}")),
        "skin_melted_percent" => interval(estimate, whole),
        _ => units.yield_stress(estimate),
    }
}

/// Returns the unit of a property as shown.
fn unit(property: &str, units: Units) -> &'static str {
    match property {
        "hold_c" | "slip_point_c" | "softening_c" => units.degree(),
        "finest_feature_mm" => units.length_unit(),
        "grain_risk" => "",
        "skin_melted_percent" => "%",
        _ => units.stress(),
    }
}

fn difference_words(view: &View<'_>, difference: &Difference, titles: &[String]) -> Option<String> {
    let wording = wording(&difference.property)?;
    let heading = match yield_at_c(&difference.property) {
        Some(celsius) => format!("{} at {}", wording.several, view.units.given_degrees(celsius)),
        None => wording.several.to_owned(),
    };
    let ranked = if wording.low_first { Ranked::new(difference).lowest_first() } else { Ranked::new(difference) };
    let sure = odds(&difference.property, ranked.probability(wording.low_first));
    let title = |index: usize| titles.get(index).map_or("", |title| title.as_str());
    let unit = unit(&difference.property, view.units);
    let show = |estimate: &Estimate| shown(&difference.property, estimate, view.units);
    let tail = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    Some(match ranked.order.as_slice() {
        [(first, Some(best)), (_, Some(other))] => {
            let by = view.units.difference((best.value - other.value).abs());
            format!(
                "{} {}: {} against {}{tail}; {sure}.",
                title(*first),
                wording.two.replace("{}", &by),
                show(best),
                show(other)
            )
        }
        [(first, Some(best)), (second, None)] => format!(
            "{}: {}; {} {}; {sure}.",
            title(*first),
            with_unit(&format!("{} {}", lower(wording.several), show(best)), unit),
            title(*second),
            wording.none
        ),
        several => {
            let mut each: Vec<String> = several
                .iter()
                .take(MOST_NAMED)
                .map(|(index, estimate)| match estimate {
                    Some(estimate) => format!("{} {}", title(*index), show(estimate)),
                    None => format!("{} {}", title(*index), wording.none),
                })
                .collect();
            if several.len() > MOST_NAMED {
                each.push(format!("{} more", several.len() - MOST_NAMED));
            }
            let end = if wording.low_first { "lowest" } else { "highest" };
            let first = several.first().map_or("", |(index, _)| title(*index));
            format!(
                "{}{}: {}. {first} is the {end}: {sure}.",
                heading,
                if unit.is_empty() { String::new() } else { format!(", {unit}") },
                each.join(", ")
            )
        }
    })
}

/// Says the decisive differences of firmness in one sentence.
fn firmness_words(view: &View<'_>, yields: &[&Difference], titles: &[String]) -> String {
    let title = |index: usize| titles.get(index).map_or("", |title| title.as_str());
    let mut by_temperature: Vec<(f64, Ranked<'_>)> = yields
        .iter()
        .filter_map(|difference| Some((yield_at_c(&difference.property)?, Ranked::new(difference))))
        .collect();
    by_temperature.sort_by(|a, b| a.0.total_cmp(&b.0));
    let surest = by_temperature.iter().map(|(_, ranked)| ranked.probability(false)).fold(f64::INFINITY, f64::min);
    let firmest = |ranked: &Ranked<'_>| ranked.order.first().map_or(0, |(index, _)| *index);
    let firmest_first = by_temperature.first().map_or(0, |(_, ranked)| firmest(ranked));
    let alike = by_temperature.iter().all(|(_, ranked)| firmest(ranked) == firmest_first);
    let mut last = None;
    let times: Vec<String> = by_temperature
        .iter()
        .map(|(celsius, ranked)| {
            let at = view.units.given_degrees(*celsius);
            let repeated = alike || last == Some(firmest(ranked));
            last = Some(firmest(ranked));
            let who = if repeated { String::new() } else { format!("{} ", title(firmest(ranked))) };
            let values = (ranked.order.first().and_then(|one| one.1), ranked.order.get(1).and_then(|one| one.1));
            match values {
                (Some(first), Some(second)) if second.value > 0.0 && first.value / second.value < 100.0 => {
                    format!("{who}{} times at {at}", significant(first.value / second.value, 2))
                }
                (Some(first), Some(second)) if second.value > 0.0 => {
                    format!("{who}{} over 100 times at {at}", view.units.yield_stress(first))
                }
                (Some(first), _) => {
                    format!(
                        "{who}{} against none at {at}",
                        with_unit(&view.units.yield_stress(first), view.units.stress())
                    )
                }
                _ => format!("{who}at {at}"),
            }
        })
        .collect();
    let start = if alike {
        format!("{} is firmer", title(firmest_first))
    } else {
        "The firmer one changes with the temperature".to_owned()
    };
    let least = if surest < 0.99 && times.len() > 1 { "at least " } else { "" };
    format!("{start}: {}; {least}{} sure.", list(&times, "and"), in_hundred(surest))
}

/// Returns which formula serves each purpose best.
pub fn purposes(view: &View<'_>, titles: &[String]) -> Vec<(&'static str, String)> {
    let mut said = Vec::new();
    for (purpose, property, low) in [("Summer post", "hold_c", false), ("Finest detail", "finest_feature_mm", true)] {
        let difference = view.comparison.differences.iter().find(|difference| difference.property == property);
        if let Some(difference) = difference {
            said.push((purpose, best_words(view, difference, low, titles)));
        }
    }
    said.push(("Skin", skin_words(view, titles)));
    said
}

fn best_words(view: &View<'_>, difference: &Difference, low: bool, titles: &[String]) -> String {
    let ranked = if low { Ranked::new(difference).lowest_first() } else { Ranked::new(difference) };
    let probability = ranked.probability(low);
    let title = |index: usize| titles.get(index).map_or("", |title| title.as_str());
    match ranked.order.as_slice() {
        [(first, Some(best)), (second, _), ..] => {
            let shown =
                with_unit(&shown(&difference.property, best, view.units), unit(&difference.property, view.units));
            let what = if low { "finest relief" } else { "keeps its shape up to" };
            let sure = odds(&difference.property, probability);
            if probability < WORTH_SAYING {
                format!(
                    "{} by a little, too close to call against {} ({what} {shown}; {sure}).",
                    title(*first),
                    title(*second)
                )
            } else {
                format!("{} ({what} {shown}; {sure}).", title(*first))
            }
        }
        _ => "none of them.".to_owned(),
    }
}

fn skin_words(view: &View<'_>, titles: &[String]) -> String {
    let answers = &view.comparison.formulas;
    let with = |feel: SkinFeel| -> Vec<(usize, f64)> {
        let mut with: Vec<_> = answers
            .iter()
            .enumerate()
            .filter(|(_, answer)| answer.skin.verdict == feel)
            .map(|(index, answer)| (index, answer.skin.probability))
            .collect();
        with.sort_by(|a, b| b.1.total_cmp(&a.1));
        with
    };
    let said = |feel: SkinFeel, word: &str| {
        let who: Vec<String> = with(feel)
            .iter()
            .map(|(index, probability)| {
                let title = titles.get(*index).map_or("", |title| title.as_str());
                format!("{title} ({})", in_hundred(*probability))
            })
            .collect();
        (!who.is_empty()).then(|| format!("{} {word}{}", list(&who, "and"), if who.len() == 1 { "s" } else { "" }))
    };
    let open: Vec<String> = with(SkinFeel::Open)
        .iter()
        .map(|&(index, probability)| {
            let likeliest = answers.get(index).map_or("", |answer| answer.skin.likeliest.word());
            format!(
                "{} ({likeliest}: {})",
                titles.get(index).map_or("", |title| title.as_str()),
                in_hundred(probability)
            )
        })
        .collect();
    let open = (!open.is_empty()).then(|| format!("open for {}", list(&open, "and")));
    let all: Vec<String> =
        [said(SkinFeel::Glides, "glide"), said(SkinFeel::Drags, "drag"), said(SkinFeel::Smears, "smear"), open]
            .into_iter()
            .flatten()
            .collect();
    format!("{}.", all.join("; "))
}

/// Writes the table of all properties, at most [`MOST_BESIDE`] formulas at once.
fn side_by_side(output: &mut Output<'_>, view: &View<'_>, titles: &[String]) -> io::Result<()> {
    for (block, answers) in view.comparison.formulas.chunks(MOST_BESIDE).enumerate() {
        if block > 0 {
            output.blank()?;
        }
        let mut sheet = headed(titles, block, answers.len(), "");
        for cells in properties(view, answers) {
            sheet.row(&cells);
        }
        sheet.write(output)?;
    }
    Ok(())
}

/// The rows of all properties: what it is, and how much for each of some of the formulas.
pub fn properties(view: &View<'_>, answers: &[Assessment]) -> Vec<Vec<String>> {
    let units = view.units;
    let mut rows = Vec::new();
    let mut row = |label: String, of: &dyn Fn(&Assessment) -> String| {
        rows.push(std::iter::once(label).chain(answers.iter().map(of)).collect());
    };
    row(format!("fine detail, {}", units.given_length(view.options.relief_mm)), &|answer| {
        format!("{} ({})", answer.detail.verdict.word(), in_hundred(answer.detail.probability))
    });
    row(format!("finest relief, {}", units.length_unit()), &|answer| {
        units.relief(answer.detail.finest_feature_mm.as_ref())
    });
    row(format!("holds {}", units.given_degrees(view.options.hold_c)), &|answer| {
        format!("{} ({})", answer.warmth.verdict.word(), in_hundred(answer.warmth.probability))
    });
    row(format!("keeps its shape to, {}", units.degree()), &|answer| {
        answer.warmth.hold_c.as_ref().map_or_else(|| "nowhere".to_owned(), |hold| units.temperature(hold))
    });
    row("on skin".to_owned(), &|answer| {
        format!("{} ({})", answer.skin.verdict.word(), in_hundred(answer.skin.probability))
    });
    row("melted on skin, %".to_owned(), &|answer| interval(&answer.skin.melted_percent, whole));
    row("risk of grain, 0 to 1".to_owned(), &|answer| interval(&answer.grain.risk, |risk| format!("{risk:.2}")));
    for (index, (label, _)) in super::assess::LANDMARKS.iter().enumerate() {
        row(format!("{label}, {}", units.degree()), &|answer| {
            landmarks(answer)
                .get(index)
                .and_then(|(_, estimate)| *estimate)
                .map_or_else(|| below_the_scale(units), |estimate| units.temperature(estimate))
        });
    }
    for (index, celsius) in view.options.at_c.iter().enumerate() {
        let at = units.given_degrees(*celsius);
        row(format!("solids at {at}, %"), &|answer| {
            answer.solids.get(index).map_or_else(String::new, |solids| interval(&solids.percent, whole))
        });
    }
    for (index, celsius) in view.options.at_c.iter().enumerate() {
        let at = units.given_degrees(*celsius);
        row(format!("yield stress at {at}, {}", units.stress()), &|answer| {
            answer
                .firmness
                .get(index)
                .map_or_else(String::new, |firmness| units.yield_stress(&firmness.yield_stress_kpa))
        });
    }
    for (index, celsius) in view.options.at_c.iter().enumerate() {
        let at = units.given_degrees(*celsius);
        row(format!("as beeswax in oil at {at}, %"), &|answer| {
            answer.firmness.get(index).map_or_else(String::new, |firmness| beeswax_in_oil(&firmness.beeswax_equivalent))
        });
    }
    for (index, celsius) in view.options.at_c.iter().enumerate() {
        let at = units.given_degrees(*celsius);
        row(format!("needle at {at}, 0.1 mm"), &|answer| {
            answer.firmness.get(index).map_or_else(String::new, |firmness| needle(firmness.needle_dmm.as_ref()))
        });
    }
    rows
}

/// Starts a table with the names of one block of formulas.
fn headed(titles: &[String], block: usize, count: usize, first: &str) -> Sheet {
    let header: Vec<&str> =
        std::iter::once(first).chain(titles.iter().skip(block * MOST_BESIDE).take(count).map(String::as_str)).collect();
    Sheet::new(&header)
}

/// Writes the table of parts, in groups with their sums.
fn parts(output: &mut Output<'_>, view: &View<'_>, titles: &[String]) -> io::Result<()> {
    for (block, formulas) in view.formulas.chunks(MOST_BESIDE).enumerate() {
        if block > 0 {
            output.blank()?;
        }
        let columns: Vec<usize> = (1..=formulas.len()).collect();
        let mut sheet = headed(titles, block, formulas.len(), "").right(&columns);
        for PartRow { label, is_sum, cells } in part_rows(view.library, view.formulas, formulas) {
            let label = if is_sum { label } else { format!("  {label}") };
            sheet.row(&std::iter::once(label).chain(cells).collect::<Vec<_>>());
        }
        sheet.write(output)?;
    }
    Ok(())
}

/// A row of the table of parts.
pub struct PartRow {
    /// Group or ingredient.
    pub label: String,
    /// Whether it is the sum of a group.
    pub is_sum: bool,
    /// Its share of each formula, mass %.
    pub cells: Vec<String>,
}

/// The rows of the parts of some formulas: groups with their sums, and under them the ingredients that any of all formulas has.
pub fn part_rows(library: &Library, all: &[Formula], formulas: &[Formula]) -> Vec<PartRow> {
    let mut used: Vec<usize> = Vec::new();
    for part in all.iter().flat_map(|formula| &formula.parts) {
        if !used.contains(&part.ingredient) {
            used.push(part.ingredient);
        }
    }
    let mut rows = Vec::new();
    for group in Group::ALL {
        let members: Vec<_> = used
            .iter()
            .filter_map(|index| library.ingredients.get(*index).map(|known| (*index, known)))
            .filter(|(_, known)| Group::of(known) == group)
            .collect();
        let mut row = |label: String, is_sum: bool, wanted: &dyn Fn(usize) -> bool| {
            let of = |formula: &Formula| {
                let parts = formula.parts.iter().filter(|part| wanted(part.ingredient));
                match parts.map(|part| part.percent).sum() {
                    0.0 => "–".to_owned(),
                    percent => share(percent),
                }
            };
            rows.push(PartRow { label, is_sum, cells: formulas.iter().map(of).collect() });
        };
        if members.is_empty() {
            continue;
        }
        row(group.word().to_owned(), true, &|ingredient| members.iter().any(|(index, _)| *index == ingredient));
        for (index, known) in &members {
            row(super::name(&known.common_name), false, &|ingredient| ingredient == *index);
        }
    }
    rows
}

/// Returns the properties that differ too little or too unsurely.
fn undecided(view: &View<'_>) -> Vec<String> {
    let mut plain = Vec::new();
    let mut at = Vec::new();
    for difference in view.comparison.differences.iter().filter(|difference| !difference.decisive) {
        match yield_at_c(&difference.property) {
            Some(celsius) => at.push(celsius),
            None => plain.push(
                match difference.property.as_str() {
                    "hold_c" => "the temperature up to which the shape is kept",
                    "slip_point_c" => "slip point",
                    "softening_c" => "softening onset",
                    "skin_melted_percent" => "share melted on skin",
                    "grain_risk" => "risk of grain",
                    "finest_feature_mm" => "finest relief",
                    other => other,
                }
                .to_owned(),
            ),
        }
    }
    at.sort_by(f64::total_cmp);
    let at: Vec<String> = at.into_iter().map(|celsius| view.units.given(celsius)).collect();
    if !at.is_empty() {
        plain.push(format!("firmness at {} {}", list(&at, "and"), view.units.degree()));
    }
    plain
}

/// Writes every caution once.
fn cautions(output: &mut Output<'_>, view: &View<'_>, titles: &[String]) -> io::Result<()> {
    let answers: Vec<&Assessment> = view.comparison.formulas.iter().collect();
    merged_cautions(&answers, titles).into_iter().try_for_each(|(label, text)| output.item(&label, &text))
}

/// Every caution once: what it is about, with the formulas it is for unless it is for all; and what it says.
pub fn merged_cautions(answers: &[&Assessment], titles: &[String]) -> Vec<(String, String)> {
    let mut merged: Vec<(&str, &str, Vec<usize>)> = Vec::new();
    for (index, answer) in answers.iter().enumerate() {
        for caution in spoken_cautions(answer) {
            match merged.iter_mut().find(|(about, text, _)| *about == caution.about && *text == caution.text) {
                Some((_, _, owners)) => owners.push(index),
                None => merged.push((caution.about, &caution.text, vec![index])),
            }
        }
    }
    // What is particular to one formula first; otherwise in the order of the formulas.
    merged.sort_by_key(|(_, _, owners)| owners.len() == answers.len());
    let labelled = merged.into_iter().map(|(about, text, owners)| {
        let label = if owners.len() == answers.len() {
            capital(about)
        } else {
            let who: Vec<String> = owners.iter().filter_map(|index| titles.get(*index).cloned()).collect();
            format!("{}, {}", capital(about), list(&who, "and"))
        };
        (label, visible(text))
    });
    labelled.collect()
}
