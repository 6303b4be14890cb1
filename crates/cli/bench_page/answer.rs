//! What the page asks and what it is told: read, handed to the libraries, put into the JSON and the sentences of the subcommands.

use std::ops::ControlFlow;

use axum::http::StatusCode;
use barwright_answer::words::names;
use barwright_blend::{Assessment, Options, Property, compare_on};
use barwright_reference::formula::quantity::SMALLEST;
use barwright_reference::mould::RELIEF_MM;
use barwright_reference::{
    AnimalOrigin, CrystalState, Formula, Ingredient, IngredientKind, Library, Market, NutOrigin, Origin, Part, short,
};
use barwright_reformulate::Demand;
use serde::{Deserialize, Serialize};

use super::files::{Listed, NotSaved};
use super::guard::policy_with_style;
use super::kitchen::Kitchen;
use super::reply::Reply;
use crate::args::{DIGIT_G, LEFT_PERCENT, MASS_G, MODEL_C};
use barwright_answer::adjust::{Adjust, adjust};
use barwright_answer::assess::{RULE_OF_THUMB, interval_words, sentences};
use barwright_answer::batch::{self, Batch, Size};
use barwright_answer::compare;
use barwright_answer::engine::{Recipe, find};
use barwright_answer::html::STYLE;
use barwright_answer::limits::NamedLimits;
use barwright_answer::swap::{Swap, swap};
use barwright_answer::weigh_sheet;
use barwright_answer::words::units::Units;

use crate::error::CliError;
use barwright_answer::Fault;
use barwright_answer::places::{self, Place};
use barwright_answer::words::group::Group;

/// Draws while something moves: enough for a steady curve, few enough for the hand not to wait.
const MOVING_DRAWS: usize = 32;

/// Temperatures of the curves, °C: first, last and step. Those that the sentences speak of come on top.
const CURVE_C: (f64, f64, f64) = (0.0, 84.0, 1.5);

/// Units of the sentences; JSON is metric.
const UNITS: Units = Units::Metric;

/// Most parts of a bar.
const MOST_PARTS: usize = 40;

/// Largest amount of a part, in whatever it is weighed in.
const MOST_AMOUNT: f64 = 1e6;

/// Longest name of a bar, characters.
const LONGEST_NAME: usize = 120;

/// Bars of one batch.
const MOST_BARS: u32 = 1_000_000;

/// A bar as the page has it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BarAsked {
    name: String,
    parts: Vec<PartAsked>,
}

/// A part of it, in parts by mass of any total.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct PartAsked {
    ingredient: String,
    amount: f64,
}

/// What the bar must stand.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Conditions {
    state: CrystalState,
    hold_c: f64,
    relief_mm: f64,
}

/// One bar or two, at rest or while an amount moves.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AssessAsked {
    bars: Vec<BarAsked>,
    conditions: Conditions,
    moving: bool,
}

/// A change asked for.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AdjustAsked {
    bar: BarAsked,
    conditions: Conditions,
    hold_c: Option<f64>,
    detail_mm: Option<f64>,
    /// Ingredients that stay as they are.
    keep: Vec<String>,
}

/// A replacement asked for.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SwapAsked {
    bar: BarAsked,
    conditions: Conditions,
    replace: String,
    with: Option<String>,
    vegan: bool,
    nut_free: bool,
}

/// A weigh sheet asked for.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SheetAsked {
    bar: BarAsked,
    bars: u32,
    bar_g: f64,
    left_percent: f64,
    scale_g: f64,
    number: Option<String>,
    #[serde(default)]
    market: Market,
}

/// A file to save.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SaveAsked {
    bar: BarAsked,
    /// Digest of the file when it was opened; nothing when it is to be new.
    digest: Option<String>,
}

/// What the page must know to begin.
#[derive(Debug, Serialize)]
struct Start<'a> {
    version: &'static str,
    folder: String,
    ingredients: Vec<Shelf<'a>>,
    moving_draws: usize,
    resting_draws: usize,
    hold_c: Range,
    relief_mm: Range,
    places: [Place; 4],
    rule_of_thumb: &'static str,
    heat: &'static str,
}

/// Usual value and ends of a number asked.
#[derive(Debug, Serialize)]
struct Range {
    usual: f64,
    low: f64,
    high: f64,
}

/// An ingredient to pick.
#[derive(Debug, Serialize)]
struct Shelf<'a> {
    key: &'a str,
    common_name: &'a str,
    inci_name: &'a str,
    synonyms: &'a [String],
    kind: IngredientKind,
    group: &'static str,
    nut_origin: NutOrigin,
    origin: Origin,
    animal_origin: AnimalOrigin,
}

/// What is said, and about what.
#[derive(Debug, Serialize)]
struct Said<'a> {
    about: &'a str,
    text: String,
}

/// The answer on one bar or two.
#[derive(Debug, Serialize)]
struct Seen<'a> {
    /// As `assess --json`.
    bars: &'a [Assessment],
    /// The sentences of `assess`, one list a bar.
    words: Vec<Vec<Said<'static>>>,
    /// The sentences of `compare` on what decides, and which bar is for what.
    decides: Vec<String>,
    purposes: Vec<Said<'static>>,
}

/// An answer of a subcommand with its sentences and the formula to take over.
#[derive(Debug, Serialize)]
struct Changed<'a, T: Serialize> {
    /// As with `--json`.
    answer: &'a T,
    sentences: Vec<&'a str>,
    formulas: Vec<Shown<'a>>,
}

/// A formula for the page.
#[derive(Debug, Serialize)]
struct Shown<'a> {
    name: &'a str,
    parts: Vec<ShownPart<'a>>,
}

/// A part of it, % of the bar.
#[derive(Debug, Serialize)]
struct ShownPart<'a> {
    ingredient: &'a str,
    amount: f64,
}

/// A file as opened.
#[derive(Debug, Serialize)]
struct FileShown<'a> {
    digest: &'a str,
    formula: Shown<'a>,
    remark: Option<&'a str>,
    notes: &'a [String],
}

/// The files there are.
#[derive(Debug, Serialize)]
struct Files {
    files: Vec<Listed>,
}

/// A digest.
#[derive(Debug, Serialize)]
struct Digest<'a> {
    digest: Option<&'a str>,
}

/// Tells what the page must know to begin.
pub fn start(kitchen: &Kitchen<'_>) -> Reply {
    let usual = Options::default();
    let shelf = kitchen.engine.library.ingredients.iter().map(|one: &Ingredient| Shelf {
        key: &one.key,
        common_name: &one.common_name,
        inci_name: &one.inci_name,
        synonyms: &one.synonyms,
        kind: one.kind,
        group: Group::of(one).word(),
        nut_origin: one.nut_origin,
        origin: one.origin,
        animal_origin: one.animal_origin,
    });
    Reply::json(&Start {
        version: env!("CARGO_PKG_VERSION"),
        folder: kitchen.folder.shown(),
        ingredients: shelf.collect(),
        moving_draws: MOVING_DRAWS,
        resting_draws: usual.draws,
        hold_c: Range { usual: usual.hold_c, low: *MODEL_C.start(), high: *MODEL_C.end() },
        relief_mm: Range { usual: usual.relief_mm, low: *RELIEF_MM.start(), high: *RELIEF_MM.end() },
        places: places::MARKED,
        rule_of_thumb: RULE_OF_THUMB,
        heat: barwright_blend::cautions::HEAT,
    })
}

/// Assesses one bar, or compares two.
pub fn assess(kitchen: &Kitchen<'_>, asked: &AssessAsked) -> Result<Reply, CliError> {
    let library = &kitchen.engine.library;
    if asked.bars.is_empty() || asked.bars.len() > 2 {
        return Err(Fault::new("bars", "the page has one bar or two").into());
    }
    let formulas = asked.bars.iter().map(|bar| bar.formula(library)).collect::<Result<Vec<_>, _>>()?;
    let mut options = asked.conditions.options()?;
    let usual_c = std::mem::replace(&mut options.at_c, curve_c());
    if asked.moving {
        options.draws = MOVING_DRAWS;
    }
    let mut comparison = kitchen.on_bench(&options, |bench| compare_on(bench, &formulas))?;
    let words = comparison.formulas.iter().map(|answer| verdicts(answer, &options)).collect();
    let (mut decides, mut purposes) = (Vec::new(), Vec::new());
    if formulas.len() > 1 && !asked.moving {
        // The sentences speak of the usual temperatures, not of every point of the curves.
        comparison
            .differences
            .retain(|one| !matches!(one.property, Property::YieldStress { at_c } if !usual_c.contains(&at_c)));
        let titles = names::titles(&formulas, library);
        let view =
            compare::View { comparison: &comparison, formulas: &formulas, library, options: &options, units: UNITS };
        decides = compare::what_decides(&view, &titles);
        if compare::same_blends(&formulas).iter().any(|first| *first != 0) {
            let all = compare::purposes(&view, &titles).into_iter();
            purposes = all.map(|(about, text)| Said { about, text }).collect();
        }
    }
    Ok(Reply::json(&Seen { bars: &comparison.formulas, words, decides, purposes }))
}

/// Finds the smallest change that meets what is asked.
pub fn change(kitchen: &Kitchen<'_>, asked: &AdjustAsked) -> Result<Reply, CliError> {
    let library = &kitchen.engine.library;
    let mut demands = Vec::new();
    if let Some(hold_c) = asked.hold_c {
        demands.push(Demand::Hold { temperature_c: within(hold_c, &MODEL_C, "the temperature to hold, °C")? });
    }
    if let Some(detail_mm) = asked.detail_mm {
        demands.push(Demand::Detail { relief_mm: within(detail_mm, &RELIEF_MM, "the finest relief, mm")? });
    }
    if demands.is_empty() {
        return Err(Fault::new("no-demand", "no target given")
            .hint("Say what it must do: keep its shape at a temperature, or take a relief.")
            .into());
    }
    let asked = Adjust {
        formula: Recipe::of(&asked.bar.formula(library)?, library),
        options: asked.conditions.options()?,
        demands,
        limits: NamedLimits { keep: asked.keep.clone(), ..NamedLimits::default() },
        units: UNITS,
        ..Adjust::default()
    };
    let found = adjust(kitchen.engine, &asked)?;
    Ok(Reply::json(&Changed {
        answer: &found.figures,
        sentences: found.document.said(),
        formulas: vec![shown(&found.figures.formula, library)],
    }))
}

/// Finds what can stand in for an ingredient.
pub fn replace(kitchen: &Kitchen<'_>, asked: &SwapAsked) -> Result<Reply, CliError> {
    let library = &kitchen.engine.library;
    let asked = Swap {
        formula: Recipe::of(&asked.bar.formula(library)?, library),
        options: asked.conditions.options()?,
        replace: asked.replace.clone(),
        with: asked.with.iter().cloned().collect(),
        vegan: asked.vegan,
        nut_free: asked.nut_free,
        units: UNITS,
        ..Swap::default()
    };
    let found = swap(kitchen.engine, &asked)?;
    Ok(Reply::json(&Changed {
        answer: &found.figures,
        sentences: found.document.said(),
        formulas: found.figures.formulas.iter().map(|formula| shown(formula, library)).collect(),
    }))
}

/// Makes the weigh sheet to print.
pub fn sheet(kitchen: &Kitchen<'_>, asked: &SheetAsked) -> Result<Reply, CliError> {
    let formula = asked.bar.formula(&kitchen.engine.library)?;
    if asked.bars == 0 || asked.bars > MOST_BARS {
        return Err(Fault::new("bars", format!("{} is no number of bars from 1 to {MOST_BARS}", asked.bars)).into());
    }
    let number = asked.number.as_deref().map(str::trim).filter(|number| !number.is_empty());
    if number.is_some_and(|number| number.chars().count() > LONGEST_NAME) {
        return Err(Fault::new("number", "the number of the batch is too long").into());
    }
    let batch = Batch {
        formula: Recipe::of(&formula, &kitchen.engine.library),
        size: Size::Bars { count: asked.bars, bar_g: within(asked.bar_g, &MASS_G, "the mass of a bar, g")? },
        left_percent: within(asked.left_percent, &LEFT_PERCENT, "what stays in the jug, %")?,
        scale_g: within(asked.scale_g, &DIGIT_G, "the last digit of the scale, g")?,
        number: number.map(str::to_owned),
        market: asked.market,
        units: UNITS,
        ..Batch::default()
    };
    let page =
        weigh_sheet::page(&batch::batch(kitchen.engine, &batch, &|_, _| ControlFlow::Continue(()))?.document, number);
    Ok(Reply {
        status: StatusCode::OK,
        media: "text/html; charset=utf-8",
        body: page.into_bytes(),
        policy: Some(policy_with_style(STYLE)),
    })
}

/// Lists the files.
pub fn files(kitchen: &Kitchen<'_>) -> Result<Reply, CliError> {
    Ok(Reply::json(&Files { files: kitchen.folder.list()? }))
}

/// Opens a file.
pub fn open(kitchen: &Kitchen<'_>, name: &str) -> Result<Reply, CliError> {
    let opened = kitchen.folder.read(name, &kitchen.engine.library)?;
    Ok(Reply::json(&FileShown {
        digest: &opened.digest,
        formula: shown(&opened.formula, &kitchen.engine.library),
        remark: opened.remark.as_deref(),
        notes: &opened.notes,
    }))
}

/// Saves a file.
pub fn save(kitchen: &Kitchen<'_>, name: &str, asked: &SaveAsked) -> Result<Reply, CliError> {
    let formula = asked.bar.formula(&kitchen.engine.library)?;
    match kitchen.folder.write(name, asked.digest.as_deref(), &formula, &kitchen.engine.library) {
        Ok(digest) => Ok(Reply::json(&Digest { digest: Some(&digest) })),
        Err(NotSaved::Changed(found)) => Ok(Reply::json_as(StatusCode::CONFLICT, &Digest { digest: found.as_deref() })),
        Err(NotSaved::Failed(error)) => Err(error),
    }
}

impl BarAsked {
    /// The bar as the libraries take it.
    fn formula(&self, library: &Library) -> Result<Formula, CliError> {
        let name = self.name.trim();
        if name.is_empty() || name.chars().count() > LONGEST_NAME {
            return Err(Fault::new("name", "the bar needs a name of a few words").into());
        }
        if self.parts.len() > MOST_PARTS {
            return Err(Fault::new("parts", format!("{} parts are more than {MOST_PARTS}", self.parts.len())).into());
        }
        let mut total = 0.0;
        for part in &self.parts {
            if part.amount != 0.0 {
                total += within(part.amount, &(SMALLEST..=MOST_AMOUNT), "an amount other than 0")?;
            }
        }
        if total <= 0.0 {
            return Err(Fault::new("parts", "the bar has no part above 0").into());
        }
        let part = |part: &PartAsked| -> Result<Part, CliError> {
            Ok(Part { ingredient: found(library, &part.ingredient)?, percent: 100.0 * part.amount / total })
        };
        let parts = self.parts.iter().filter(|part| part.amount > 0.0).map(part).collect::<Result<Vec<_>, _>>()?;
        Ok(Formula { name: name.to_owned(), parts })
    }
}

impl Conditions {
    /// What the model is asked to compute.
    fn options(&self) -> Result<Options, CliError> {
        Ok(Options {
            state: self.state,
            hold_c: within(self.hold_c, &MODEL_C, "the temperature to hold, °C")?,
            relief_mm: within(self.relief_mm, &RELIEF_MM, "the finest relief, mm")?,
            ..Options::default()
        })
    }
}

/// Temperatures of the curves, °C; those of the sentences are among them.
fn curve_c() -> Vec<f64> {
    let (first, last, step) = CURVE_C;
    let mut all = Options::default().at_c;
    let mut next = first;
    while next <= last {
        all.push(next);
        next += step;
    }
    all.sort_by(f64::total_cmp);
    all.dedup();
    all
}

/// The sentences of `assess`.
fn verdicts(answer: &Assessment, options: &Options) -> Vec<Said<'static>> {
    let intervals = Said { about: "intervals", text: interval_words(answer) };
    let said = sentences(answer, options, UNITS).into_iter().map(|one| Said { about: one.about, text: one.text });
    said.chain([intervals]).collect()
}

/// Finds an ingredient by any of its names.
fn found(library: &Library, name: &str) -> Result<usize, CliError> {
    Ok(find(library, name, "bar")?)
}

/// A number in a range.
fn within(value: f64, range: &std::ops::RangeInclusive<f64>, what: &str) -> Result<f64, CliError> {
    if range.contains(&value) {
        Ok(value)
    } else {
        Err(Fault::new(
            "range",
            format!("{what}: {} is outside {} to {}", short(value), short(*range.start()), short(*range.end())),
        )
        .into())
    }
}

/// A formula for the page.
fn shown<'a>(formula: &'a Formula, library: &'a Library) -> Shown<'a> {
    let parts = formula.parts.iter().filter_map(|part| {
        let ingredient = library.ingredients.get(part.ingredient)?;
        Some(ShownPart { ingredient: &ingredient.key, amount: part.percent })
    });
    Shown { name: &formula.name, parts: parts.collect() }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    /// A share of 5e-324 % was taken, and ended in a mass without end.
    #[test]
    fn an_amount_no_scale_shows_is_refused_as_it_is_in_a_text() {
        let library = Library::builtin().unwrap();
        let bar = |amount: f64| BarAsked {
            name: "Leaf bar".to_owned(),
            parts: [("beeswax", 26.0), ("olive-oil", 70.0), ("sunflower-oil", amount)]
                .map(|(name, amount)| PartAsked { ingredient: name.to_owned(), amount })
                .into(),
        };
        assert_eq!(bar(0.0).formula(&library).unwrap().parts.len(), 2);
        assert_eq!(bar(SMALLEST).formula(&library).unwrap().parts.len(), 3);
        for amount in [5e-324, 0.99 * SMALLEST, -1.0, 1.01 * MOST_AMOUNT, f64::INFINITY, f64::NAN] {
            let error = bar(amount).formula(&library).unwrap_err();
            assert_eq!(error.faults[0].code, "range", "{amount}");
            assert!(error.faults[0].message.len() < 100, "{}", error.faults[0].message);
        }
    }
}
