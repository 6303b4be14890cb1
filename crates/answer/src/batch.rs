//! A batch: what goes on the scale, what it costs, what the label says.

use barwright_making::bar::density_kg_per_m3;
use barwright_making::batch::{self as making, BatchError, BatchTask, Colour, Cost, OverLimit, Scent, WeighLine, uses};
use barwright_making::declaration::{Content, Declaration, LabelTask};
use barwright_making::pour::melting_order;
use barwright_making::stock::{There, most_bars};
use barwright_reference::mould::Mould;
use barwright_reference::{Formula, IngredientId, Library, Market, Part};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::cool::Cooled;
use crate::engine::{Engine, Recipe, find};
use crate::keeping::{Keeps, keeps};
use crate::places::Room;
use crate::plans::{PlanTask, Plans, plan};
use crate::pour::Poured;
use crate::refusal::{Fault, Refusal};
use crate::stock::{BarsFrom, Have, StockLine, Stocked, there};
use crate::weigh_sheet::View;
use crate::words::scale::plain;
use crate::words::units::Units;
use crate::{Answered, Control};

/// Default number of simulated draws behind the plans of a sheet: fewer than `pour` and `cool` take, so that the sheet is quick.
pub const PLAN_DRAWS: usize = 64;

/// A share of a bar below which a number of bars is a whole one: what a division leaves.
const WHOLE_BAR: f64 = 1e-9;

/// Batches that are bought for at once, at most.
pub const MAX_BATCHES: u32 = 10_000;

/// What to weigh out for a number of bars?
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Batch {
    /// The bar, without its scents.
    pub formula: Recipe,
    /// How many bars of what mass.
    pub size: Size,
    /// What decides how many bars are made.
    pub bars_from: BarsFrom,
    /// What is there of the ingredients; of the others there is enough.
    pub have: Vec<Have>,
    /// How many such batches are bought for.
    pub batches: Option<u32>,
    /// Share of the melt that stays in jug and mould rim, mass %.
    pub left_percent: f64,
    /// Last digit of the scale, g.
    pub scale_g: f64,
    /// Scents, which go in last and are part of the melt.
    pub scents: Vec<ScentMass>,
    /// Colours, which come on top of the melt.
    pub colours: Vec<Colour>,
    /// Jugs the melt is parted into.
    pub jugs: u32,
    /// Labour for the batch, in the money of the prices.
    pub labour: Option<f64>,
    /// Packaging of one bar, in the same money.
    pub packaging: Option<f64>,
    /// Where the label is to be read.
    pub market: Market,
    /// Number of the batch.
    pub number: Option<String>,
    /// What its pouring and cooling are planned with; without it there are no plans, and the sheet comes at once.
    pub plans: Option<Planning>,
    /// Units of the words.
    pub units: Units,
}

impl Default for Batch {
    fn default() -> Self {
        Batch {
            formula: Recipe::default(),
            size: Size::default(),
            bars_from: BarsFrom::default(),
            have: Vec::new(),
            batches: None,
            left_percent: 5.0,
            scale_g: 1.0,
            scents: Vec::new(),
            colours: Vec::new(),
            jugs: 1,
            labour: None,
            packaging: None,
            market: Market::default(),
            number: None,
            plans: None,
            units: Units::default(),
        }
    }
}

/// How many bars of what mass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Size {
    /// Bars of a mass.
    Bars {
        /// How many.
        count: u32,
        /// Mass of one, g.
        bar_g: f64,
    },
    /// Fillings of a mould.
    Fillings {
        /// How many.
        count: u32,
        /// The mould.
        mould: Box<Mould>,
    },
}

impl Default for Size {
    /// One bar of 50 g.
    fn default() -> Self {
        Size::Bars { count: 1, bar_g: 50.0 }
    }
}

impl Size {
    /// The mould, where one was named.
    pub fn mould(&self) -> Option<&Mould> {
        match self {
            Size::Bars { .. } => None,
            Size::Fillings { mould, .. } => Some(mould),
        }
    }

    /// Bars, and the mass of one, g.
    fn bars(&self, library: &Library, formula: &Formula) -> (u32, f64) {
        match self {
            Size::Bars { count, bar_g } => (*count, *bar_g),
            Size::Fillings { count, mould } => {
                (mould.cavities.saturating_mul(*count), 1e-3 * mould.volume_ml * density_kg_per_m3(library, formula))
            }
        }
    }
}

/// What pouring and cooling are planned with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Planning {
    /// The room it is made in.
    pub room: Room,
    /// Simulated draws behind each interval.
    pub draws: usize,
}

impl Default for Planning {
    fn default() -> Self {
        Planning { room: Room::default(), draws: PLAN_DRAWS }
    }
}

/// A scent of a batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScentMass {
    /// Any name of it.
    pub ingredient: String,
    /// Mass in the batch, g.
    pub mass_g: f64,
}

/// A batch.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Batched {
    /// Name of the formula.
    pub formula: String,
    /// The bar with its scents, as it is poured.
    #[serde(skip)]
    pub whole: Formula,
    /// Which plans were left out, and why.
    #[serde(skip)]
    pub notes: Vec<String>,
    /// Number of the batch.
    pub number: Option<String>,
    /// Bars.
    pub bars: u32,
    /// Mass of one, g.
    pub bar_g: f64,
    /// The melt, g.
    pub melt_g: f64,
    /// What goes on the scale, in the order of melting.
    pub lines: Vec<Line>,
    /// What is stirred in for colour.
    pub colours: Vec<ColourMeasured>,
    /// The jugs, together the melt.
    pub jugs: Vec<JugFilled>,
    /// The maker's lots that are used.
    pub lots: Vec<LotUsed>,
    /// How many batches the stock is held against.
    pub batches: u32,
    /// The ingredients held against what is there; none when nobody asked.
    pub stock: Vec<StockLine>,
    /// The ingredient that runs out first, where that decides how many bars are made.
    pub runs_out: Option<String>,
    /// Scents in all, those of the formula and those added, mass % of the bar.
    pub scent_percent: f64,
    /// Scents above the limits of their certificates.
    pub over_limit: Vec<Over>,
    /// Cost; `None` when a price is missing.
    pub cost: Option<Cost>,
    /// How long it keeps; none where nothing in it turns rancid.
    pub keeping: Option<Keeps>,
    /// The label.
    pub declaration: Declaration,
    /// Its list of ingredients.
    pub declaration_text: String,
    /// Content stated on it; `None` for a bar too light to state one.
    pub content: Option<Content>,
    /// Tolerable error of the content, g.
    pub tolerable_error_g: Option<f64>,
    /// The plan of melting and pouring.
    pub pour: Option<Poured>,
    /// The plan of cooling.
    pub cool: Option<Cooled>,
}

/// A line of the weigh sheet.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Line {
    /// Key of the ingredient.
    pub ingredient: String,
    /// Its figures.
    #[serde(flatten)]
    pub line: WeighLine,
}

/// A scent above its limit.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Over {
    /// Key of the scent.
    pub ingredient: String,
    /// Its figures.
    #[serde(flatten)]
    pub over: OverLimit,
}

/// A colour with its measure.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ColourMeasured {
    /// The colour.
    #[serde(flatten)]
    pub colour: Colour,
    /// Volume in level spoons, where its density is known, ml.
    pub volume_ml: Option<f64>,
}

/// A jug the melt is parted into.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct JugFilled {
    /// Melt in it, g.
    pub melt_g: f64,
    /// Colours in it.
    pub colours: Vec<ColourInJug>,
}

/// A colour in one jug.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ColourInJug {
    /// Name on the label.
    pub name: String,
    /// Mass in this jug, g.
    pub mass_g: f64,
    /// Volume in level spoons, where its density is known, ml.
    pub volume_ml: Option<f64>,
}

/// A lot that is used.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct LotUsed {
    /// Its key.
    pub lot: String,
    /// Key of the ingredient it is a lot of.
    pub like: String,
    /// Mass in the batch, g.
    pub mass_g: f64,
}

/// Answers [`Batch`].
///
/// # Errors
/// The formula is not one, a scent is unknown, the batch cannot be weighed as asked, or `control` stopped the plans.
pub fn batch(engine: &Engine, asked: &Batch, control: Control<'_>) -> Result<Answered<Batched>, Refusal> {
    let library = &engine.library;
    let formula = engine.formula(&asked.formula)?;
    let scents = asked
        .scents
        .iter()
        .map(|scent| Ok(Scent { ingredient: find(library, &scent.ingredient, "scents")?, mass_g: scent.mass_g }));
    let scents = scents.collect::<Result<Vec<_>, Refusal>>()?;
    let mould = asked.size.mould();
    let (bars, bar_g) = asked.size.bars(library, &formula);
    let there = there(library, &asked.have)?;
    if asked.batches.is_some_and(|batches| !(1..=MAX_BATCHES).contains(&batches)) {
        return Err(Fault::new("batches", format!("the number of batches is outside 1 to {MAX_BATCHES}")).into());
    }
    let mut task = BatchTask {
        formula: &in_melting_order(library, &formula),
        bars,
        bar_g,
        left_share: asked.left_percent / 100.0,
        scale_g: asked.scale_g,
        scents: &scents,
        colours: &asked.colours,
        jugs: asked.jugs,
        labour: asked.labour,
        packaging: asked.packaging,
    };
    let runs_out = set_bars(library, &mut task, asked.bars_from, &there)?;
    let sheet = making::batch(library, &task).map_err(refused)?;
    let stocked = Stocked::of(library, &sheet.lines, there, asked.batches, runs_out);
    let label = label(library, asked, &sheet, &scents);
    let planned = |planning: &Planning| {
        let Planning { room, draws } = *planning;
        let task =
            PlanTask { formula: &formula, scents: &scents, sheet: &sheet, mould, room, draws, units: asked.units };
        plan(engine, &task, control)
    };
    let plans = asked.plans.as_ref().map(planned).transpose()?;
    let document = View {
        sheet: &sheet,
        task: &task,
        mould,
        label: &label,
        library,
        plans: plans.as_ref(),
        stocked: stocked.as_ref(),
        number: asked.number.as_deref(),
        units: asked.units,
    }
    .document();
    let mut figures = figures(library, &task, &sheet, label, plans.as_ref(), asked.number.clone());
    if let Some(stocked) = &stocked {
        figures.batches = asked.batches.unwrap_or(1);
        figures.stock = stocked.lines(library);
        figures.runs_out = stocked.runs_out(library);
    }
    Ok(Answered { figures, document, picture: None })
}

/// Sets the number of bars of a batch; returns the ingredient that runs out first, where that decides.
fn set_bars(
    library: &Library,
    task: &mut BatchTask<'_>,
    from: BarsFrom,
    there: &[There],
) -> Result<Option<IngredientId>, Refusal> {
    match from {
        BarsFrom::Size => Ok(None),
        BarsFrom::Weighed(mass_g) => {
            let bars = (mass_g * (1.0 - task.left_share) / task.bar_g + WHOLE_BAR).floor();
            if !(1.0..=f64::from(making::MAX_BARS)).contains(&bars) {
                let message = format!("{} g make {bars} bars of {} g", plain(mass_g), plain(task.bar_g));
                let hint =
                    format!("A batch has 1 to {} bars. Weigh another mass, or make smaller bars.", making::MAX_BARS);
                return Err(Fault::new("batch", message).hint(hint).into());
            }
            task.bars = bars as u32;
            task.left_share = 1.0 - bars * task.bar_g / mass_g;
            Ok(None)
        }
        BarsFrom::Stock => {
            let most = most_bars(library, task, there).map_err(refused)?;
            task.bars = most.bars;
            Ok(Some(most.runs_out))
        }
    }
}

/// The label.
fn label(library: &Library, asked: &Batch, sheet: &making::Batch, scents: &[Scent]) -> Declaration {
    let mut colours: Vec<String> = Vec::new();
    for colour in &asked.colours {
        if !colours.contains(&colour.name) {
            colours.push(colour.name.clone());
        }
    }
    let scents: Vec<IngredientId> = scents.iter().map(|scent| scent.ingredient).collect();
    let task = LabelTask { whole: &sheet.whole, scents: &scents, colours: &colours, market: asked.market };
    Declaration::of(library, &task)
}

/// The figures.
fn figures(
    library: &Library,
    task: &BatchTask<'_>,
    sheet: &making::Batch,
    label: Declaration,
    plans: Option<&Plans<'_>>,
    number: Option<String>,
) -> Batched {
    let key = |id: IngredientId| library.key(id).to_owned();
    let in_jug = |&(index, mass_g): &(usize, f64)| {
        let colour = task.colours.get(index)?;
        Some(ColourInJug { name: colour.name.clone(), mass_g, volume_ml: colour.volume_ml(mass_g) })
    };
    let jug =
        |jug: &making::Jug| JugFilled { melt_g: jug.melt_g, colours: jug.colours.iter().filter_map(in_jug).collect() };
    let colour =
        |colour: &Colour| ColourMeasured { volume_ml: colour.volume_ml(colour.mass_g), colour: colour.clone() };
    let lot = |(id, mass_g): (IngredientId, f64)| {
        let like = library.get(id)?.lot_of?;
        Some(LotUsed { lot: key(id), like: key(like), mass_g })
    };
    let name = &task.formula.name;
    let content = Content::of(task.bar_g);
    let lots = uses(&sheet.lines).into_iter().filter_map(lot).collect();
    let line = |line: &WeighLine| Line { ingredient: key(line.ingredient), line: line.clone() };
    let over = |over: &OverLimit| Over { ingredient: key(over.ingredient), over: over.clone() };
    Batched {
        formula: name.clone(),
        whole: sheet.whole.clone(),
        notes: plans.map_or_else(Vec::new, |plans| plans.notes.clone()),
        number,
        bars: task.bars,
        bar_g: task.bar_g,
        melt_g: sheet.melt_g,
        jugs: sheet.jugs.iter().map(jug).collect(),
        lines: sheet.lines.iter().map(line).collect(),
        colours: task.colours.iter().map(colour).collect(),
        lots,
        batches: 1,
        stock: Vec::new(),
        runs_out: None,
        scent_percent: sheet.scents.iter().fold(0.0, |sum, (_, percent)| sum + percent),
        over_limit: sheet.over.iter().map(over).collect(),
        cost: sheet.cost,
        declaration_text: label.text(),
        declaration: label,
        content,
        keeping: keeps(library, &sheet.whole),
        tolerable_error_g: content.and_then(|content| content.tolerable_error_g),
        pour: plans.and_then(|plans| Some(plans.pour.as_ref()?.figures(name))),
        cool: plans.and_then(|plans| Some(plans.cool.as_ref()?.figures(name))),
    }
}

/// The formula in the order of melting.
fn in_melting_order(library: &Library, formula: &Formula) -> Formula {
    let steps = melting_order(formula, |index| library.get(index)).into_iter();
    let parts = steps.map(|step| Part { ingredient: step.ingredient, percent: step.percent });
    Formula { name: formula.name.clone(), parts: parts.collect() }
}

/// Says why there is no batch.
fn refused(error: BatchError) -> Refusal {
    let fault = Fault::new("batch", error.to_string());
    let fault = match error {
        BatchError::TooCoarse { .. } => {
            fault.hint("Make a larger batch, or say what your scale shows: `--scale 0.1g`.")
        }
        BatchError::NoJug { .. } => fault.hint("Say how many jugs there are, `--split 2`, or name another behind `#`."),
        BatchError::TooManyJugs { .. } => {
            fault.hint("Part it into fewer, or say what your scale shows: `--scale 0.1g`.")
        }
        BatchError::NotOneBar { .. } => fault.hint("Make smaller bars, or get more of it: `--bars 20 --batches 1` says how much."),
        BatchError::NothingRunsOut => {
            fault.hint("Say how many bars, `--bars 20 --bar 50g`, or what is there of an ingredient of the bar: `--have 'beeswax=120g'`.")
        }
        BatchError::ScentTwice { .. } => fault.hint(
            "Leave out `--scent`: the formula's share is weighed in as it is. Or take the scent out of the formula, and say its mass with `--scent`.",
        ),
        BatchError::AllScent { .. } => fault.hint("Check the amounts behind `--scent`."),
        _ => fault,
    };
    fault.into()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use std::ops::ControlFlow;

    use serde_json::json;

    use super::*;

    #[test]
    fn a_batch_is_asked_for_and_told_in_json() {
        let engine = Engine::builtin().unwrap();
        let part = |ingredient: &str, amount: f64| json!({ "ingredient": ingredient, "amount": amount });
        let asked = json!({
            "formula": { "name": "bar", "parts": [part("sunflower oil", 42.0), part("mango butter", 32.0), part("beeswax", 26.0)] },
            "size": { "bars": { "count": 6, "bar_g": 57.0 } },
            "colours": [{ "name": "white", "mass_g": 2.0, "density_g_ml": null, "spooned": false, "jug": null }],
        });
        let asked: Batch = serde_json::from_value(asked).unwrap();
        let answer = batch(&engine, &asked, &|_, _| ControlFlow::Continue(())).unwrap();
        let told = serde_json::to_value(&answer.figures).unwrap();
        assert_eq!(told["melt_g"], 360.0);
        assert_eq!(told["lines"][0]["ingredient"], "beeswax");
        assert_eq!(told["lines"][2]["running_g"], 360.0);
        assert!(told["pour"].is_null() && told.get("whole").is_none(), "{told}");
        let headings: Vec<&str> = answer.document.sections.iter().map(|section| section.heading.as_str()).collect();
        assert_eq!(
            headings,
            [
                "Weigh, in the order of melting",
                "Colour",
                "At the bench",
                "Lots used",
                "Label, a draft",
                "Keeping",
                "Cautions"
            ]
        );
    }

    fn weighed(from: BarsFrom, have: &[(&str, f64)], batches: Option<u32>) -> Result<Batched, Refusal> {
        let engine = Engine::builtin().unwrap();
        let bar =
            barwright_reference::formula::read_inline("beeswax 25, sunflower oil 75", "bar", &engine.library).unwrap();
        let have = have.iter().map(|(name, mass_g)| Have { ingredient: (*name).to_owned(), mass_g: *mass_g });
        let asked = Batch {
            formula: Recipe::of(&bar.formulas[0], &engine.library),
            size: Size::Bars { count: 10, bar_g: 40.0 },
            bars_from: from,
            have: have.collect(),
            batches,
            left_percent: 0.0,
            ..Batch::default()
        };
        batch(&engine, &asked, &|_, _| ControlFlow::Continue(())).map(|answer| answer.figures)
    }

    #[test]
    fn a_mass_makes_whole_bars_and_is_weighed_out_in_full() {
        for (mass_g, bars) in [(40.0, 1), (439.0, 10), (440.0, 11), (1200.0, 30)] {
            let made = weighed(BarsFrom::Weighed(mass_g), &[], None).unwrap();
            assert_eq!((made.bars, made.melt_g, made.stock.len()), (bars, mass_g, 0), "{mass_g} g");
        }
        assert!(weighed(BarsFrom::Weighed(39.0), &[], None).is_err());
        assert!(weighed(BarsFrom::Weighed(f64::NAN), &[], None).is_err());
    }

    #[test]
    fn what_is_there_decides_and_what_is_left_is_told() {
        let made = weighed(BarsFrom::Stock, &[("beeswax", 125.0), ("cocoa butter", 9.0)], None).unwrap();
        assert_eq!((made.bars, made.runs_out.as_deref()), (12, Some("beeswax")));
        let told: Vec<_> = made.stock.iter().map(|line| (line.needed_g, line.there_g, line.left_g)).collect();
        assert_eq!(told, [(120.0, Some(125.0), Some(5.0)), (360.0, None, None)]);
        assert!(weighed(BarsFrom::Stock, &[("beeswax", -1.0)], None).is_err());
        assert!(weighed(BarsFrom::Stock, &[("beeswax", f64::NAN)], None).is_err());
    }

    #[test]
    fn what_to_buy_is_the_sum_less_what_is_there() {
        let made = weighed(BarsFrom::Size, &[("beeswax", 120.0)], Some(3)).unwrap();
        let told: Vec<_> = made.stock.iter().map(|line| (line.needed_g, line.buy_g)).collect();
        assert_eq!((made.bars, made.batches), (10, 3));
        assert_eq!(told, [(300.0, 180.0), (900.0, 900.0)]);
        assert!(weighed(BarsFrom::Size, &[], Some(0)).is_err());
    }
}
