//! Several assessments side by side for people: what decides, which to pour, the tables.

use barwright_blend::compare::Difference;
use barwright_blend::suitability::{SkinFeel, whole_percent};
use barwright_blend::{Assessment, Comparison, Estimate, Options, Property};
use barwright_reference::{Formula, IngredientId, Library};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Answered;
use crate::assess::{
    LANDMARKS, RULE_OF_THUMB, SLIP_POINT, bar_word, beeswax_in_oil, below_the_scale, half_as_firm, in_units,
    interval_words, landmarks, share,
};
use crate::bought::{self, Beside, WrittenBar};
use crate::cautions;
use crate::document::{Block, Document, Kind, Table};
use crate::engine::{Engine, Recipe};
use crate::picture::curves;
use crate::refusal::{Fault, Refusal};
use crate::words::group::Group;
use crate::words::names::{capital, list, lower, name, titles};
use crate::words::number::{in_hundred, interval, significant, whole};
use crate::words::units::{Units, needle, with_unit};

/// Largest number of formulas side by side in one table.
const MAX_BESIDE: usize = 3;

/// Largest number of formulas named in one sentence.
const MAX_NAMED: usize = 5;

/// Largest number of differences reported of several formulas: the weightiest.
const MAX_DECIDING: usize = 5;

/// Below this probability a property is not worth choosing by.
const WORTH_SAYING: f64 = 0.6;

/// What is shown of a bar that was not tested for a property.
const NOT_TESTED: &str = "–";

/// Shares closer than this are the same, mass %.
const SAME_PERCENT: f64 = 1e-6;

/// What a comparison is shown with.
pub(crate) struct View<'a> {
    /// The assessments and differences.
    pub(crate) comparison: &'a Comparison,
    /// The formulas.
    pub(crate) formulas: &'a [Formula],
    /// Reference tables and lots.
    pub(crate) library: &'a Library,
    /// The request.
    pub(crate) options: &'a Options,
    /// Units shown.
    pub(crate) units: Units,
    /// What the formulas are called.
    pub(crate) titles: &'a [String],
    /// A bar of unknown formula beside them.
    pub(crate) like: Option<&'a Beside>,
}

impl View<'_> {
    /// What a formula is called.
    fn title(&self, index: usize) -> &str {
        self.titles.get(index).map_or("", String::as_str)
    }
}

/// Which of several bars is what?
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Compare {
    /// The bars: two or more, or one beside a bar of unknown formula.
    pub formulas: Vec<Recipe>,
    /// A bar of unknown formula beside them.
    pub like: Option<WrittenBar>,
    /// Demands and options.
    pub options: Options,
    /// Whether to draw solids and firmness of all against temperature.
    pub curves: bool,
    /// Units of the words.
    pub units: Units,
}

/// Several bars side by side.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Compared {
    /// The assessments and differences.
    #[serde(flatten)]
    pub comparison: Comparison,
    /// The bar of unknown formula beside them; nowhere else than where one was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub like: Option<Beside>,
}

/// Answers [`Compare`].
///
/// # Errors
/// There is nothing to compare, a formula or a bar is none, or the options are outside the model.
pub fn compare(engine: &Engine, asked: &Compare) -> Result<Answered<Compared>, Refusal> {
    if asked.formulas.len() + usize::from(asked.like.is_some()) < 2 || asked.formulas.is_empty() {
        return Err(Fault::new("one-formula", "there is one formula, and `compare` takes two or more")
            .hint("Name a second formula, or use `barwright assess`.")
            .into());
    }
    let bought = asked.like.as_ref().map(bought::read).transpose()?;
    let formulas = engine.formulas(&asked.formulas)?;
    let mut options = asked.options.clone();
    if let Some(bought) = &bought {
        options.at_c = bought.temperatures(&options.at_c);
    }
    let comparison = barwright_blend::compare(&engine.library, &engine.model, &formulas, &options)?;
    let like = bought.map(|bought| bought.beside(&comparison.formulas, options.seed));
    let view = View {
        comparison: &comparison,
        formulas: &formulas,
        library: &engine.library,
        options: &options,
        units: asked.units,
        titles: &titles(&formulas, &engine.library),
        like: like.as_ref(),
    };
    let document = document(&view);
    let picture = if asked.curves {
        let computed = curves::computed(engine, &formulas, &comparison.formulas, &options)?;
        Some(curves::picture(&formulas, &engine.library, &computed, asked.units))
    } else {
        None
    };
    Ok(Answered { figures: Compared { comparison, like }, document, picture })
}

/// Puts a comparison into words: what decides, which to pour, the tables.
fn document(view: &View<'_>) -> Document {
    let titles = view.titles;
    let bought = view.like.map(|like| capital(&name(&like.name)));
    let named: Vec<String> = titles.iter().take(MAX_NAMED).cloned().chain(bought).collect();
    let mut document = Document::new(list(&named, "and"), view.options.state.word());
    let all_same = same_blends(view.formulas).iter().all(|first| *first == 0);
    let answers = view.comparison.formulas.as_slice();
    let unset = titles.iter().zip(answers).filter(|(_, answer)| !answer.sets_at_room());
    let unset = unset.map(|(title, _)| format!("{title} does not set into a bar at room temperature."));
    let several = answers.len() > 1;
    let decides = if several { what_decides(view) } else { Vec::new() };
    let decides: Vec<String> = decides.into_iter().chain(unset).collect();
    if !decides.is_empty() {
        document = document.section("What decides", [Block::said(decides)]);
    }
    document.sections.extend(view.like.map(|like| like.section(titles, MAX_BESIDE, view.units)));
    if !all_same {
        document = document.section("Which to pour", [Block::terms(purposes(view))]);
    }
    let small = [half_as_firm(view.units), Block::Small(RULE_OF_THUMB.to_owned())];
    document = document
        .section("Side by side", side_by_side(view).into_iter().map(Block::Table).chain(small))
        .section("Parts, % by mass", parts(view.formulas, view.library, titles).into_iter().map(Block::Table));
    let small = if all_same { Vec::new() } else { undecided(view) };
    if !small.is_empty() {
        let words = format!("{}.", capital(&list(&small, "and")));
        document = document.section("Too small or too unsure to matter", [Block::said([words])]);
    }
    let cautions = cautions::section(&answers.iter().collect::<Vec<_>>(), titles);
    document.ending(answers.first().map(interval_words), cautions)
}

/// What decides between the formulas, and which to pour for what.
pub(crate) fn deciding(view: &View<'_>) -> Vec<Block> {
    let mut blocks = vec![Block::said(what_decides(view))];
    if same_blends(view.formulas).iter().any(|first| *first != 0) {
        blocks.push(Block::Under("Which to pour".to_owned()));
        blocks.push(Block::terms(purposes(view)));
    }
    blocks
}

/// What decides between the formulas, in sentences.
fn what_decides(view: &View<'_>) -> Vec<String> {
    let same = same_blends(view.formulas);
    let mut said: Vec<String> = (same.iter().enumerate())
        .filter(|(index, first)| index != *first)
        .map(|(index, first)| {
            format!("{} and {} are the same blend: no difference is expected.", view.title(*first), view.title(index))
        })
        .collect();
    if same.iter().any(|first| *first != 0) {
        let decisive = deciding_sentences(view);
        if decisive.is_empty() {
            let nothing = "Nothing: no difference is both large enough to notice and sure enough to rely on.";
            said.push(nothing.to_owned());
        }
        said.extend(decisive);
    }
    said
}

/// Returns for each formula the first one with the same shares of the same ingredients.
fn same_blends(formulas: &[Formula]) -> Vec<usize> {
    let sorted: Vec<Vec<(IngredientId, f64)>> = formulas
        .iter()
        .map(|formula| {
            let mut parts: Vec<_> = formula.parts.iter().map(|part| (part.ingredient, part.percent)).collect();
            parts.sort_by_key(|(ingredient, _)| *ingredient);
            parts
        })
        .collect();
    let alike = |a: &[(IngredientId, f64)], b: &[(IngredientId, f64)]| {
        a.len() == b.len()
            && a.iter().zip(b).all(|(one, other)| one.0 == other.0 && (one.1 - other.1).abs() < SAME_PERCENT)
    };
    sorted
        .iter()
        .enumerate()
        .map(|(index, parts)| sorted.iter().take(index).position(|earlier| alike(earlier, parts)).unwrap_or(index))
        .collect()
}

/// A difference ordered by its central values, the better first; formulas without a value come last.
struct Ranked<'a> {
    order: Vec<(usize, Option<&'a Estimate>)>,
    /// Probability of the first to be so.
    probability: f64,
}

impl<'a> Ranked<'a> {
    fn new(difference: &'a Difference) -> Self {
        let low_first = difference.property.lowest_first();
        let rank = |(_, estimate): &(usize, Option<&Estimate>)| match estimate {
            Some(estimate) if low_first => estimate.value,
            Some(estimate) => -estimate.value,
            None => f64::INFINITY,
        };
        let mut order: Vec<_> = difference.values.iter().map(Option::as_ref).enumerate().collect();
        order.sort_by(|a, b| rank(a).total_cmp(&rank(b)));
        let all = if low_first { &difference.probability_lowest } else { &difference.probability_highest };
        let probability = order.first().and_then(|(index, _)| all.get(*index)).copied().unwrap_or(0.0);
        Ranked { order, probability }
    }
}

/// Returns the temperature of a yield-stress difference, °C.
fn yield_at_c(property: Property) -> Option<f64> {
    if let Property::YieldStress { at_c } = property { Some(at_c) } else { None }
}

/// Returns the decisive differences as sentences, the weightiest first.
fn deciding_sentences(view: &View<'_>) -> Vec<String> {
    let decisive: Vec<&Difference> =
        view.comparison.differences.iter().filter(|difference| difference.decisive).collect();
    let mut said = Vec::new();
    let mut yields_said = false;
    for difference in &decisive {
        if yield_at_c(difference.property).is_some() {
            if !yields_said {
                let yields: Vec<_> =
                    decisive.iter().copied().filter(|difference| yield_at_c(difference.property).is_some()).collect();
                // Of two, every temperature fits into one sentence; of several, only the one that tells them apart best.
                if view.titles.len() == 2 {
                    said.push(firmness_words(view, &yields));
                } else {
                    said.push(difference_words(view, difference));
                }
                yields_said = true;
            }
        } else {
            said.push(difference_words(view, difference));
        }
    }
    if view.titles.len() > 2 {
        said.truncate(MAX_DECIDING);
    }
    said
}

/// How one property is put into words.
struct Wording {
    /// What the better of two does, `{}` standing for the difference.
    two: &'static str,
    /// What a list of several begins with.
    several: &'static str,
    /// What is said of a formula without the property.
    none: &'static str,
}

fn wording(property: Property) -> Wording {
    let wording = |two, several, none| Wording { two, several, none };
    match property {
        Property::Hold => wording("keeps its shape {} hotter", "Keeps its shape up to", "does not keep its shape"),
        Property::SlipPoint => wording("slips {} hotter", "Slip point", "does not set"),
        Property::Softening => {
            wording("keeps half its firmness {} hotter", "Half as firm as at 20 °C at", "does not set")
        }
        Property::SkinMelted => wording("melts more on skin", "Melted on skin", ""),
        Property::GrainRisk => wording("is less likely to turn grainy", "Risk of grain", ""),
        Property::FinestFeature => wording("takes finer relief", "Finest relief", "takes none"),
        Property::YieldStress { .. } => wording("is firmer", "Yield stress", "none"),
    }
}

/// A probability as said: what no published figure was held against is called the model's own.
fn odds(property: Property, probability: f64) -> String {
    match property {
        Property::Hold | Property::FinestFeature | Property::GrainRisk => {
            format!("the model's own odds: {}", in_hundred(probability))
        }
        _ => format!("{} sure", in_hundred(probability)),
    }
}

/// Returns the estimate of a property as shown, without its unit.
fn shown(property: Property, estimate: &Estimate, units: Units) -> String {
    match property {
        Property::Hold | Property::SlipPoint | Property::Softening => units.temperature(estimate),
        Property::FinestFeature => units.relief(Some(estimate)),
        Property::GrainRisk => interval(estimate, |risk| format!("{risk:.2}")),
        Property::SkinMelted => interval(estimate, whole),
        Property::YieldStress { .. } => units.yield_stress(estimate),
    }
}

/// Returns the unit of a property as shown.
fn unit(property: Property, units: Units) -> &'static str {
    match property {
        Property::Hold | Property::SlipPoint | Property::Softening => units.degree(),
        Property::FinestFeature => units.length_unit(),
        Property::GrainRisk => "",
        Property::SkinMelted => "%",
        Property::YieldStress { .. } => units.stress(),
    }
}

fn difference_words(view: &View<'_>, difference: &Difference) -> String {
    let wording = wording(difference.property);
    let low_first = difference.property.lowest_first();
    let heading = match yield_at_c(difference.property) {
        Some(celsius) => format!("{} at {}", wording.several, view.units.given_degrees(celsius)),
        None => in_units(wording.several, view.units),
    };
    let ranked = Ranked::new(difference);
    let sure = odds(difference.property, ranked.probability);
    let unit = unit(difference.property, view.units);
    let show = |estimate: &Estimate| shown(difference.property, estimate, view.units);
    let tail = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    match ranked.order.as_slice() {
        [(first, Some(best)), (_, Some(other))] => {
            let by = view.units.difference((best.value - other.value).abs());
            format!(
                "{} {}: {} against {}{tail}; {sure}.",
                view.title(*first),
                wording.two.replace("{}", &by),
                show(best),
                show(other)
            )
        }
        [(first, Some(best)), (second, None)] => format!(
            "{}: {}; {} {}; {sure}.",
            view.title(*first),
            with_unit(&format!("{} {}", lower(wording.several), show(best)), unit),
            view.title(*second),
            wording.none
        ),
        several => {
            // Of several only the two ends: the table has the rest.
            let figure = |place: Option<&(usize, Option<&Estimate>)>, aside: &str| {
                let Some((index, estimate)) = place else { return String::new() };
                let shown = estimate.map_or_else(|| wording.none.to_owned(), |one| with_unit(&show(one), unit));
                format!("{}, {}{aside}", shown.trim_end(), view.title(*index))
            };
            let (first, last) = if low_first { ("lowest", "highest") } else { ("highest", "lowest") };
            let (best, worst) = (figure(several.first(), &format!(" ({sure})")), figure(several.last(), ""));
            format!("{heading}: {first} {best}; {last} {worst}.")
        }
    }
}

/// Says the decisive differences of firmness in one sentence.
fn firmness_words(view: &View<'_>, yields: &[&Difference]) -> String {
    let mut by_temperature: Vec<(f64, Ranked<'_>)> = yields
        .iter()
        .filter_map(|difference| Some((yield_at_c(difference.property)?, Ranked::new(difference))))
        .collect();
    by_temperature.sort_by(|a, b| a.0.total_cmp(&b.0));
    let surest = by_temperature.iter().map(|(_, ranked)| ranked.probability).fold(f64::INFINITY, f64::min);
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
            let who = if repeated { String::new() } else { format!("{} ", view.title(firmest(ranked))) };
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
        format!("{} is firmer", view.title(firmest_first))
    } else {
        "The firmer one changes with the temperature".to_owned()
    };
    let least = if surest < 0.99 && times.len() > 1 { "at least " } else { "" };
    format!("{start}: {}; {least}{} sure.", list(&times, "and"), in_hundred(surest))
}

/// Returns which formula serves each purpose best.
fn purposes(view: &View<'_>) -> Vec<(&'static str, String)> {
    let mut said = Vec::new();
    for (purpose, property) in [("Summer post", Property::Hold), ("Finest detail", Property::FinestFeature)] {
        let difference = view.comparison.differences.iter().find(|difference| difference.property == property);
        if let Some(difference) = difference {
            said.push((purpose, best_words(view, difference)));
        }
    }
    said.push(("Skin", skin_words(view)));
    said
}

fn best_words(view: &View<'_>, difference: &Difference) -> String {
    let low = difference.property.lowest_first();
    let Ranked { order, probability } = Ranked::new(difference);
    match order.as_slice() {
        [(first, Some(best)), (second, _), ..] => {
            let shown = with_unit(&shown(difference.property, best, view.units), unit(difference.property, view.units));
            let what = if low { "finest relief" } else { "keeps its shape up to" };
            let sure = odds(difference.property, probability);
            if whole_percent(probability) < 100.0 * WORTH_SAYING {
                format!(
                    "{} by a little, too close to call against {} ({what} {shown}; {sure}).",
                    view.title(*first),
                    view.title(*second)
                )
            } else {
                format!("{} ({what} {shown}; {sure}).", view.title(*first))
            }
        }
        _ => "none of them.".to_owned(),
    }
}

fn skin_words(view: &View<'_>) -> String {
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
            .map(|(index, probability)| format!("{} ({})", view.title(*index), in_hundred(*probability)))
            .collect();
        (!who.is_empty()).then(|| format!("{} {word}{}", list(&who, "and"), if who.len() == 1 { "s" } else { "" }))
    };
    let open: Vec<String> = with(SkinFeel::Open)
        .iter()
        .map(|&(index, probability)| {
            let likeliest = answers.get(index).map_or("", |answer| answer.skin.likeliest.word());
            format!("{} ({likeliest}: {})", view.title(index), in_hundred(probability))
        })
        .collect();
    let open = (!open.is_empty()).then(|| format!("uncertain for {}", list(&open, "and")));
    let all: Vec<String> =
        [said(SkinFeel::Glides, "glide"), said(SkinFeel::Drags, "drag"), said(SkinFeel::Smears, "smear"), open]
            .into_iter()
            .flatten()
            .collect();
    format!("{}.", all.join("; "))
}

/// A bar in a table of properties.
#[derive(Clone, Copy)]
enum Column<'a> {
    /// One whose formula is known.
    Formula(&'a Assessment),
    /// The one of unknown formula.
    Tested,
}

/// The tables of all properties, at most [`MAX_BESIDE`] bars in each.
pub(crate) fn side_by_side(view: &View<'_>) -> Vec<Table> {
    let formulas = view.titles.iter().cloned().zip(view.comparison.formulas.iter().map(Column::Formula));
    let tested = view.like.map(|like| (capital(&name(&like.name)), Column::Tested));
    let columns: Vec<(String, Column<'_>)> = formulas.chain(tested).collect();
    let table = |columns: &[(String, Column<'_>)]| {
        let (titles, columns): (Vec<String>, Vec<Column<'_>>) = columns.iter().cloned().unzip();
        Table::new("").columns(Kind::Words, [""]).columns(Kind::Figure, titles).rows(properties(view, &columns))
    };
    columns.chunks(MAX_BESIDE).map(table).collect()
}

/// The rows of all properties: what it is, and how much for each of some of the bars.
fn properties(view: &View<'_>, columns: &[Column<'_>]) -> Vec<Vec<String>> {
    let units = view.units;
    let mut rows = Vec::new();
    let mut row = |label: String, of: &dyn Fn(&Assessment) -> String, tested: Option<String>| {
        let cell = |column: &Column<'_>| match column {
            Column::Formula(answer) => of(answer),
            Column::Tested => tested.clone().unwrap_or_else(|| NOT_TESTED.to_owned()),
        };
        rows.push(std::iter::once(label).chain(columns.iter().map(cell)).collect());
    };
    let leaving = bar_word(view.options.release_state());
    row(
        format!("fine detail {leaving}, {}", units.given_length(view.options.relief_mm)),
        &|answer| format!("{} ({})", answer.detail.verdict.word(), in_hundred(answer.detail.probability)),
        None,
    );
    row(
        format!("finest relief {leaving}, {}", units.length_unit()),
        &|answer| units.relief(answer.detail.finest_feature_mm.as_ref()),
        None,
    );
    row(
        format!("holds {}", units.given_degrees(view.options.hold_c)),
        &|answer| format!("{} ({})", answer.warmth.verdict.word(), in_hundred(answer.warmth.probability)),
        None,
    );
    row(
        format!("keeps its shape to, {}", units.degree()),
        &|answer| answer.warmth.hold_c.as_ref().map_or_else(|| "nowhere".to_owned(), |hold| units.temperature(hold)),
        None,
    );
    row(
        "on skin".to_owned(),
        &|answer| format!("{} ({})", answer.skin.verdict.word(), in_hundred(answer.skin.probability)),
        None,
    );
    row("melted on skin, %".to_owned(), &|answer| interval(&answer.skin.melted_percent, whole), None);
    row("risk of grain, 0 to 1".to_owned(), &|answer| interval(&answer.grain.risk, |risk| format!("{risk:.2}")), None);
    let slip = view.like.and_then(|like| like.slip_point_c.as_ref()).map(|tested| units.temperature(tested));
    for (index, (label, _)) in LANDMARKS.iter().enumerate() {
        row(
            format!("{}, {}", in_units(label, units), units.degree()),
            &|answer| {
                landmarks(answer)
                    .get(index)
                    .and_then(|(_, estimate)| *estimate)
                    .map_or_else(|| below_the_scale(units), |estimate| units.temperature(estimate))
            },
            slip.clone().filter(|_| *label == SLIP_POINT),
        );
    }
    for (index, celsius) in view.options.at_c.iter().enumerate() {
        let at = units.given_degrees(*celsius);
        row(
            format!("solids at {at}, %"),
            &|answer| answer.solids.get(index).map_or_else(String::new, |solids| interval(&solids.percent, whole)),
            None,
        );
    }
    for (index, celsius) in view.options.at_c.iter().enumerate() {
        let at = units.given_degrees(*celsius);
        row(
            format!("yield stress at {at}, {}", units.stress()),
            &|answer| {
                answer
                    .firmness
                    .get(index)
                    .map_or_else(String::new, |firmness| units.yield_stress(&firmness.yield_stress_kpa))
            },
            view.like.and_then(|like| like.yield_stress(*celsius)).map(|tested| units.yield_stress(tested)),
        );
    }
    for (index, celsius) in view.options.at_c.iter().enumerate() {
        let at = units.given_degrees(*celsius);
        row(
            format!("as beeswax in oil at {at}, %"),
            &|answer| {
                answer
                    .firmness
                    .get(index)
                    .map_or_else(String::new, |firmness| beeswax_in_oil(&firmness.beeswax_equivalent))
            },
            None,
        );
    }
    for (index, celsius) in view.options.at_c.iter().enumerate() {
        let at = units.given_degrees(*celsius);
        row(
            format!("needle at {at}, 0.1 mm"),
            &|answer| {
                answer.firmness.get(index).map_or_else(String::new, |firmness| needle(firmness.needle_dmm.as_ref()))
            },
            None,
        );
    }
    rows
}

/// The tables of parts, at most [`MAX_BESIDE`] formulas in each: groups with their sums, and under each the ingredients that any of all formulas has.
pub(crate) fn parts(formulas: &[Formula], library: &Library, titles: &[String]) -> Vec<Table> {
    let mut used: Vec<IngredientId> = Vec::new();
    for part in formulas.iter().flat_map(|formula| &formula.parts) {
        if !used.contains(&part.ingredient) {
            used.push(part.ingredient);
        }
    }
    let share_of = |formula: &Formula, wanted: &dyn Fn(IngredientId) -> bool| {
        let parts = formula.parts.iter().filter(|part| wanted(part.ingredient));
        match parts.map(|part| part.percent).sum() {
            0.0 => "–".to_owned(),
            percent => share(percent),
        }
    };
    let blocks = titles.chunks(MAX_BESIDE).zip(formulas.chunks(MAX_BESIDE));
    let table = |(titles, formulas): (&[String], &[Formula])| {
        let mut table = Table::new("").columns(Kind::Words, [""]).columns(Kind::Number, titles);
        let row = |label: String, wanted: &dyn Fn(IngredientId) -> bool| -> Vec<String> {
            std::iter::once(label).chain(formulas.iter().map(|formula| share_of(formula, wanted))).collect()
        };
        for group in Group::ALL {
            let members: Vec<_> = (used.iter())
                .filter_map(|id| library.get(*id).map(|known| (*id, known)))
                .filter(|(_, known)| Group::of(known) == group)
                .collect();
            if members.is_empty() {
                continue;
            }
            let of_group = |ingredient| members.iter().any(|(id, _)| *id == ingredient);
            table.sum(row(group.word().to_owned(), &of_group));
            for (id, known) in &members {
                table.row(row(format!("  {}", name(&known.common_name)), &|ingredient| ingredient == *id));
            }
        }
        table
    };
    blocks.map(table).collect()
}

/// Returns the properties that differ too little or too unsurely.
fn undecided(view: &View<'_>) -> Vec<String> {
    let mut plain = Vec::new();
    let mut at = Vec::new();
    for difference in view.comparison.differences.iter().filter(|difference| !difference.decisive) {
        match yield_at_c(difference.property) {
            Some(celsius) => at.push(celsius),
            None => plain.push(difference.property.name().to_owned()),
        }
    }
    at.sort_by(f64::total_cmp);
    let at: Vec<String> = at.into_iter().map(|celsius| view.units.given(celsius)).collect();
    if !at.is_empty() {
        plain.push(format!("firmness at {} {}", list(&at, "and"), view.units.degree()));
    }
    plain
}
