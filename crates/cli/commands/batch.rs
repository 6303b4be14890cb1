//! `batch`: weigh sheet, cost, label.

use barwright_making::bar::density_kg_per_m3;
use barwright_making::batch::{Batch, BatchError, BatchTask, Colour, Cost, OverLimit, Scent, WeighLine, batch};
use barwright_making::declaration::{Declaration, tolerable_error_g};
use barwright_reference::formula::quantity::{Quantity, QuantityError, Unit, parse_quantity};
use barwright_reference::text_cell::guard;
use barwright_reference::{Formula, Library};
use barwright_save::save;
use serde::Serialize;

use super::adjust::find;
use super::assess::pick;
use crate::args::Batch as Order;
use crate::error::{CliError, Complaint};
use crate::input::load;
use crate::mould::load as load_mould;
use crate::output::Streams;
use crate::profile::Profile;
use crate::render;

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

/// The answer as JSON.
#[derive(Debug, Serialize)]
struct Answer<'a> {
    formula: &'a str,
    number: Option<&'a str>,
    bars: u32,
    bar_g: f64,
    melt_g: f64,
    lines: Vec<LineJson<'a>>,
    colours: &'a [Colour],
    over_limit: Vec<OverJson<'a>>,
    cost: Option<Cost>,
    declaration: &'a Declaration,
    declaration_text: String,
    tolerable_error_g: Option<f64>,
}

/// Runs the subcommand.
pub fn run(order: &Order, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&order.formula], profile.lots(order.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, order.named.as_deref(), "batch")?;
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let library = &loaded.library;
    let mould = order.mould.as_deref().map(load_mould).transpose()?;
    let (bars, bar_g) = match (&mould, order.bars, order.bar) {
        (Some(mould), ..) => {
            (mould.cavities * order.fillings, 1e-3 * mould.volume_ml * density_kg_per_m3(library, formula))
        }
        (None, Some(bars), Some(bar_kg)) => (bars, 1e3 * bar_kg),
        _ => {
            return Err(CliError::command_line(
                Complaint::new("no-bars", "nobody said how many bars")
                    .hint("Name a mould, `--mould FILE`, or say how many: `--bars 20 --bar 50g`."),
            ));
        }
    };
    let mut complaints = Vec::new();
    let mut scents = Vec::new();
    for text in &order.scent {
        match scent(library, text) {
            Ok(scent) => scents.push(scent),
            Err(complaint) => complaints.push(*complaint),
        }
    }
    if !complaints.is_empty() {
        return Err(CliError::input(complaints));
    }
    let colours: Vec<Colour> =
        order.colour.iter().map(|(name, kg)| Colour { name: name.clone(), mass_g: 1e3 * kg }).collect();
    let melted = melting_order(library, formula);
    let task = BatchTask {
        formula: &melted,
        bars,
        bar_g,
        left_share: order.left / 100.0,
        scale_g: 1e3 * order.scale,
        scents: &scents,
        colours: &colours,
        labour: order.labour,
        packaging: order.packaging,
    };
    let sheet = batch(library, &task).map_err(refused)?;
    let names: Vec<String> = colours.iter().map(|colour| colour.name.clone()).collect();
    let label = Declaration::of(library, &sheet.whole, &names);
    if order.json {
        let answer = json(order, library, &sheet, &task, &label);
        streams.data.json(&answer)?;
    } else {
        let view = render::batch::View {
            sheet: &sheet,
            task: &task,
            mould: mould.as_ref(),
            label: &label,
            library,
            number: order.number.as_deref(),
            split: order.split,
            units: order.units,
        };
        render::batch::write(&mut streams.data, &view)?;
    }
    if let Some(path) = &order.out {
        save(path, &table(library, &sheet)?)?;
        streams.remarks.note(&format!("weigh sheet written into {}", path.display()))?;
    }
    Ok(())
}

/// The formula in the order of melting.
fn melting_order(library: &Library, formula: &Formula) -> Formula {
    let parts = barwright_making::pour::melting_order(formula, |index| library.ingredients.get(index));
    let parts =
        parts.into_iter().map(|step| barwright_reference::Part { ingredient: step.ingredient, percent: step.percent });
    Formula { name: formula.name.clone(), parts: parts.collect() }
}

/// Reads `NAME=AMOUNT` of a scent.
fn scent(library: &Library, text: &str) -> Result<Scent, Box<Complaint>> {
    let wrong = |what: String| {
        Box::new(
            Complaint::new("bad-scent", format!("--scent: {what}"))
                .hint("Write a name and an amount: `spring-scent=6ml` or `spring-scent=5.5g`."),
        )
    };
    let (name, amount) = text.rsplit_once('=').ok_or_else(|| wrong(format!("`{}` has no `=`", render::name(text))))?;
    let ingredient = find(library, name.trim(), "--scent")?;
    let mass_g = match parse_quantity(amount) {
        Ok(Quantity { value, unit: Unit::Gram }) => value,
        Ok(_) => return Err(wrong(format!("`{}` has no unit", render::name(amount)))),
        Err(QuantityError::Volume { millilitres, .. }) => {
            let density = library.ingredients.get(ingredient).map_or(f64::NAN, |one| one.density_g_ml);
            millilitres * density
        }
        Err(error) => return Err(wrong(error.to_string())),
    };
    Ok(Scent { ingredient, mass_g })
}

/// Says why there is no batch.
fn refused(error: BatchError) -> CliError {
    let complaint = Complaint::new("batch", error.to_string());
    match error {
        BatchError::TooCoarse { .. } => {
            complaint.hint("Make a larger batch, or say what your scale shows: `--scale 0.1g`.")
        }
        BatchError::AllScent { .. } => complaint.hint("Check the amounts behind `--scent`."),
        _ => complaint,
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

fn json<'a>(
    order: &'a Order,
    library: &'a Library,
    sheet: &'a Batch,
    task: &BatchTask<'a>,
    label: &'a Declaration,
) -> Answer<'a> {
    let lines = sheet.lines.iter().map(|line| LineJson { ingredient: key(library, line.ingredient), line });
    let over = sheet.over.iter().map(|over| OverJson { ingredient: key(library, over.ingredient), over });
    Answer {
        formula: &sheet.whole.name,
        number: order.number.as_deref(),
        bars: task.bars,
        bar_g: task.bar_g,
        melt_g: sheet.melt_g,
        lines: lines.collect(),
        colours: task.colours,
        over_limit: over.collect(),
        cost: sheet.cost,
        declaration: label,
        declaration_text: label.text(),
        tolerable_error_g: tolerable_error_g(task.bar_g),
    }
}
