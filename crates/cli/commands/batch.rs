//! `batch`: weigh sheet, cost, label.

use barwright_answer::words::names;
use barwright_blend::assess::DEFAULT_DRAWS;
use barwright_making::bar::density_kg_per_m3;
use barwright_making::batch::{Batch, BatchError, BatchTask, Colour, Cost, OverLimit, Scent, WeighLine, batch, uses};
use barwright_making::declaration::{Content, Declaration, LabelTask};
use barwright_reference::formula::quantity::{Measure, parse_measure};
use barwright_reference::mould::Mould;
use barwright_reference::text_cell::guard;
use barwright_reference::{Formula, Library, Market};
use serde::Serialize;

use barwright_answer::Engine;
use barwright_answer::cool::Cooled;
use barwright_answer::engine::find;
use barwright_answer::places::Room;
use barwright_answer::plans::{PlanTask, Plans, plan};
use barwright_answer::pour::Poured;
use barwright_answer::words::units::Units;

use super::batch_record::{Pour, record};
use crate::args::Batch as Order;
use crate::error::CliError;
use crate::input::load;
use crate::mould::load as load_mould;
use crate::output::Streams;
use crate::page;
use crate::pick::pick;
use crate::profile::Profile;
use crate::progress;
use crate::render;
use crate::render::batch::Words;
use crate::save::save;
use barwright_answer::Fault;
use barwright_answer::words::names::nameless;

/// One line as JSON.
#[derive(Debug, Serialize)]
struct LineJson<'a> {
    ingredient: &'a str,
    #[serde(flatten)]
    line: &'a WeighLine,
}

/// A scent above its limit as JSON.
#[derive(Debug, Serialize)]
struct OverJson<'a> {
    ingredient: &'a str,
    #[serde(flatten)]
    over: &'a OverLimit,
}

/// A colour as JSON.
#[derive(Debug, Serialize)]
struct ColourJson<'a> {
    #[serde(flatten)]
    colour: &'a Colour,
    volume_ml: Option<f64>,
}

/// A colour in one jug as JSON.
#[derive(Debug, Serialize)]
struct InJugJson<'a> {
    name: &'a str,
    mass_g: f64,
    volume_ml: Option<f64>,
}

/// A jug as JSON.
#[derive(Debug, Serialize)]
struct JugJson<'a> {
    melt_g: f64,
    colours: Vec<InJugJson<'a>>,
}

/// A lot used as JSON.
#[derive(Debug, Serialize)]
struct LotJson<'a> {
    lot: &'a str,
    like: &'a str,
    mass_g: f64,
}

/// The answer as JSON.
#[derive(Debug, Serialize)]
struct Answer<'a> {
    formula: &'a str,
    number: Option<&'a str>,
    bars: u32,
    bar_g: f64,
    melt_g: f64,
    lines: Vec<LineJson<'a>>,
    colours: Vec<ColourJson<'a>>,
    jugs: Vec<JugJson<'a>>,
    lots: Vec<LotJson<'a>>,
    over_limit: Vec<OverJson<'a>>,
    cost: Option<Cost>,
    declaration: &'a Declaration,
    declaration_text: String,
    content: Option<Content>,
    tolerable_error_g: Option<f64>,
    pour: Option<Poured>,
    cool: Option<Cooled>,
}

/// A batch of so many bars of so many grams, without scent, colour or plans.
pub struct PlainBatch<'a> {
    /// The formula.
    pub formula: &'a Formula,
    /// Bars.
    pub bars: u32,
    /// Mass of one, g.
    pub bar_g: f64,
    /// Share of the melt that stays in jug and mould rim, %.
    pub left_percent: f64,
    /// Last digit of the scale, g.
    pub scale_g: f64,
    /// Number of the batch.
    pub number: Option<&'a str>,
    /// Where the label is to be read.
    pub market: Market,
}

/// The weigh sheet of a plain batch as a page to print.
pub fn sheet_page(library: &Library, plain: &PlainBatch<'_>) -> Result<String, CliError> {
    let task = BatchTask {
        formula: &melting_order(library, plain.formula),
        bars: plain.bars,
        bar_g: plain.bar_g,
        left_share: plain.left_percent / 100.0,
        scale_g: plain.scale_g,
        scents: &[],
        colours: &[],
        jugs: 1,
        labour: None,
        packaging: None,
    };
    let sheet = batch(library, &task).map_err(refused)?;
    let label = LabelTask { whole: &sheet.whole, scents: &[], colours: &[], market: plain.market };
    let view = render::batch::View {
        sheet: &sheet,
        task: &task,
        mould: None,
        label: &Declaration::of(library, &label),
        library,
        plans: None,
        number: plain.number,
        units: Units::Metric,
    };
    Ok(page::batch::page(&render::batch::words(&view)))
}

/// What was asked, read.
struct Asked {
    library: Library,
    /// The formula as written.
    formula: Formula,
    /// The same in the order of melting.
    melted: Formula,
    mould: Option<Mould>,
    bars: u32,
    bar_g: f64,
    scents: Vec<Scent>,
    colours: Vec<Colour>,
}

/// What was worked out.
struct Done {
    sheet: Batch,
    label: Declaration,
    plans: Option<Plans>,
}

/// Runs the subcommand.
pub fn run(order: &Order, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let asked = read(order, profile, streams)?;
    let task = asked.task(order);
    let done = compute(order, &asked, &task, profile, streams)?;
    if order.record {
        let pour = Pour {
            order,
            library: &asked.library,
            formula: if asked.scents.is_empty() { &asked.formula } else { &done.sheet.whole },
            nameless: asked.formula.name == nameless(1),
            sheet: &done.sheet,
            task: &task,
        };
        record(&pour, profile, streams)?;
    }
    show(order, &asked, &task, &done, streams)?;
    write(order, &asked, &task, &done, streams)
}

/// Reads what is asked.
fn read(order: &Order, profile: &Profile, streams: &mut Streams<'_>) -> Result<Asked, CliError> {
    let loaded = load(&[&order.formula], profile.lots(order.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, order.named.as_deref(), "batch")?;
    let formula =
        loaded.formulas.get(index).cloned().ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let library = loaded.library;
    let mould = order.mould.as_deref().map(load_mould).transpose()?;
    let (bars, bar_g) = match (&mould, order.bars, order.bar) {
        (Some(mould), ..) => {
            (mould.cavities * order.fillings, 1e-3 * mould.volume_ml * density_kg_per_m3(&library, &formula))
        }
        (None, Some(bars), Some(bar_kg)) => (bars, 1e3 * bar_kg),
        _ => {
            return Err(CliError::command_line(
                Fault::new("no-bars", "nobody said how many bars")
                    .hint("Name a mould, `--mould FILE`, or say how many: `--bars 20 --bar 50g`."),
            ));
        }
    };
    let teaspoon_ml = order.units.teaspoon_ml();
    let mut faults = Vec::new();
    let mut scents = Vec::new();
    for text in &order.scent {
        match scent(&library, text, teaspoon_ml) {
            Ok(scent) => scents.push(scent),
            Err(fault) => faults.push(*fault),
        }
    }
    if !faults.is_empty() {
        return Err(CliError::input(faults));
    }
    let in_formula = |index: &usize| formula.parts.iter().any(|part| part.ingredient == *index);
    let added = scents.iter().map(|scent| scent.ingredient).filter(|index| !in_formula(index));
    loaded.about.write(added, streams)?;
    let colours = order.colour.iter().map(|wish| wish.colour(teaspoon_ml)).collect();
    let melted = melting_order(&library, &formula);
    Ok(Asked { library, formula, melted, mould, bars, bar_g, scents, colours })
}

impl Asked {
    /// Returns it as the library takes it.
    fn task<'a>(&'a self, order: &Order) -> BatchTask<'a> {
        BatchTask {
            formula: &self.melted,
            bars: self.bars,
            bar_g: self.bar_g,
            left_share: order.left / 100.0,
            scale_g: 1e3 * order.scale,
            scents: &self.scents,
            colours: &self.colours,
            jugs: order.split,
            labour: order.labour,
            packaging: order.packaging,
        }
    }
}

/// Works out sheet, label and plans.
fn compute(
    order: &Order,
    asked: &Asked,
    task: &BatchTask<'_>,
    profile: &Profile,
    streams: &mut Streams<'_>,
) -> Result<Done, CliError> {
    let library = &asked.library;
    let sheet = batch(library, task).map_err(refused)?;
    let mut names: Vec<String> = Vec::new();
    for colour in &asked.colours {
        if !names.contains(&colour.name) {
            names.push(colour.name.clone());
        }
    }
    let scents: Vec<usize> = asked.scents.iter().map(|scent| scent.ingredient).collect();
    let market = order.market.into();
    let label = Declaration::of(library, &LabelTask { whole: &sheet.whole, scents: &scents, colours: &names, market });
    let plans = if order.no_plans {
        None
    } else {
        let model = if order.record { profile.model_to_write(streams)? } else { profile.model(streams)? };
        let task = PlanTask {
            formula: &asked.formula,
            scents: &asked.scents,
            sheet: &sheet,
            mould: asked.mould.as_ref(),
            room: Room { air_c: order.room, humidity_percent: order.humidity },
            draws: usize::try_from(order.draws).unwrap_or(DEFAULT_DRAWS),
        };
        let engine = Engine { library: library.clone(), model };
        let plans = progress::watched(|control| plan(&engine, &task, control))??;
        plans.notes.iter().try_for_each(|note| streams.remarks.note(note))?;
        Some(plans)
    };
    Ok(Done { sheet, label, plans })
}

/// Shows the answer.
fn show(
    order: &Order,
    asked: &Asked,
    task: &BatchTask<'_>,
    done: &Done,
    streams: &mut Streams<'_>,
) -> Result<(), CliError> {
    if order.json {
        return streams.data.json(&json(order, asked, task, done));
    }
    render::batch::write(&mut streams.data, &words(order, asked, task, done))?;
    Ok(())
}

/// Writes the files asked for.
fn write(
    order: &Order,
    asked: &Asked,
    task: &BatchTask<'_>,
    done: &Done,
    streams: &mut Streams<'_>,
) -> Result<(), CliError> {
    if let Some(path) = &order.out {
        save(path, &table(&asked.library, &done.sheet)?)?;
        streams.remarks.note(&format!("weigh sheet written into {}", path.display()))?;
    }
    if let Some(path) = &order.page {
        save(path, page::batch::page(&words(order, asked, task, done)).as_bytes())?;
        streams.remarks.note(&format!("page to print written into {}", path.display()))?;
    }
    Ok(())
}

/// The answer in words.
fn words(order: &Order, asked: &Asked, task: &BatchTask<'_>, done: &Done) -> Words {
    let view = render::batch::View {
        sheet: &done.sheet,
        task,
        mould: asked.mould.as_ref(),
        label: &done.label,
        library: &asked.library,
        plans: done.plans.as_ref(),
        number: order.number.as_deref(),
        units: order.units,
    };
    render::batch::words(&view)
}

/// The formula in the order of melting.
fn melting_order(library: &Library, formula: &Formula) -> Formula {
    let parts = barwright_making::pour::melting_order(formula, |index| library.ingredients.get(index));
    let parts =
        parts.into_iter().map(|step| barwright_reference::Part { ingredient: step.ingredient, percent: step.percent });
    Formula { name: formula.name.clone(), parts: parts.collect() }
}

/// Reads `NAME=AMOUNT` of a scent.
fn scent(library: &Library, text: &str, teaspoon_ml: f64) -> Result<Scent, Box<Fault>> {
    let wrong = |what: String| {
        Box::new(
            Fault::new("bad-scent", format!("--scent: {what}"))
                .hint("Write a name and an amount: `spring-scent=6ml` or `spring-scent=5.5g`."),
        )
    };
    let (name, amount) = text.rsplit_once('=').ok_or_else(|| wrong(format!("`{}` has no `=`", names::name(text))))?;
    let ingredient = find(library, name.trim(), "--scent")?;
    let of_volume =
        |millilitres: f64| millilitres * library.ingredients.get(ingredient).map_or(f64::NAN, |one| one.density_g_ml);
    let mass_g = match parse_measure(amount).map_err(|error| wrong(error.to_string()))? {
        Measure::Grams(grams) => grams,
        Measure::Millilitres(millilitres) => of_volume(millilitres),
        Measure::Teaspoons(count) => of_volume(count * teaspoon_ml),
    };
    Ok(Scent { ingredient, mass_g })
}

/// Says why there is no batch.
fn refused(error: BatchError) -> CliError {
    let fault = Fault::new("batch", error.to_string());
    match error {
        BatchError::TooCoarse { .. } => {
            fault.hint("Make a larger batch, or say what your scale shows: `--scale 0.1g`.")
        }
        BatchError::NoJug { .. } => fault.hint("Say how many jugs there are, `--split 2`, or name another behind `#`."),
        BatchError::TooManyJugs { .. } => {
            fault.hint("Part it into fewer, or say what your scale shows: `--scale 0.1g`.")
        }
        BatchError::AllScent { .. } => fault.hint("Check the amounts behind `--scent`."),
        _ => fault,
    }
    .into()
}

fn key(library: &Library, index: usize) -> &str {
    library.ingredients.get(index).map_or("", |one| one.key.as_str())
}

/// The weigh sheet as CSV.
fn table(library: &Library, sheet: &Batch) -> Result<Vec<u8>, CliError> {
    let failed = |error: csv::Error| CliError::internal(format!("the table could not be made: {error}"));
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(["ingredient", "percent", "mass_g", "running_g", "price"]).map_err(failed)?;
    for line in &sheet.lines {
        let price = line.price.map_or_else(String::new, |price| format!("{price:.4}"));
        let cells = [
            guard(key(library, line.ingredient)),
            format!("{:.4}", line.percent),
            render::batch::plain(line.mass_g),
            render::batch::plain(line.running_g),
            price,
        ];
        writer.write_record(&cells).map_err(failed)?;
    }
    writer.into_inner().map_err(|error| CliError::internal(format!("the table could not be made: {error}")))
}

fn json<'a>(order: &'a Order, asked: &'a Asked, task: &BatchTask<'a>, done: &'a Done) -> Answer<'a> {
    let Done { sheet, label, plans } = done;
    let library = &asked.library;
    let content = Content::of(task.bar_g);
    let lines = sheet.lines.iter().map(|line| LineJson { ingredient: key(library, line.ingredient), line });
    let over = sheet.over.iter().map(|over| OverJson { ingredient: key(library, over.ingredient), over });
    let colours = task.colours.iter().map(|colour| ColourJson { colour, volume_ml: colour.volume_ml(colour.mass_g) });
    let jugs = sheet.jugs.iter().map(|jug| {
        let colours = jug.colours.iter().filter_map(|&(index, mass_g)| {
            let colour = task.colours.get(index)?;
            Some(InJugJson { name: &colour.name, mass_g, volume_ml: colour.volume_ml(mass_g) })
        });
        JugJson { melt_g: jug.melt_g, colours: colours.collect() }
    });
    let lots = uses(&sheet.lines).into_iter().filter_map(|(index, mass_g)| {
        let like = library.ingredients.get(index)?.lot_of?;
        Some(LotJson { lot: key(library, index), like: key(library, like), mass_g })
    });
    let pour = plans.as_ref().and_then(|plans| {
        let found = plans.pour.as_ref()?;
        Some(Poured::of(found, &asked.formula.name, plans.jug_kg, library, None))
    });
    let cool = plans.as_ref().and_then(|plans| {
        let (pour_c, found) = plans.cool.as_ref()?;
        Some(Cooled::of(found, &asked.formula.name, *pour_c, plans.options.relief_mm))
    });
    Answer {
        formula: &sheet.whole.name,
        number: order.number.as_deref(),
        bars: task.bars,
        bar_g: task.bar_g,
        melt_g: sheet.melt_g,
        lines: lines.collect(),
        colours: colours.collect(),
        jugs: jugs.collect(),
        lots: lots.collect(),
        over_limit: over.collect(),
        cost: sheet.cost,
        declaration: label,
        declaration_text: label.text(),
        content,
        tolerable_error_g: content.and_then(|content| content.tolerable_error_g),
        pour,
        cool,
    }
}
