//! A weigh sheet for people: what goes on the scale, in order, with boxes to tick; cost; label.

use std::io;

use barwright_making::batch::{Batch, BatchTask};
use barwright_making::declaration::{ALLERGEN_PERCENT, Declaration, OUNCE_G, tolerable_error_g};
use barwright_reference::Library;
use barwright_reference::mould::Mould;

use super::adjust::{amount, in_text};
use super::assess::share;
use super::cool::mass;
use super::number::significant;
use super::table::Sheet;
use super::{capital, list, name};
use crate::args::Units;
use crate::complain::visible;
use crate::output::Output;

/// A mass is weighed too coarsely when the scale is right within more than this share of it.
const COARSE: f64 = 0.05;

/// A box to tick.
const BOX: &str = "[ ]";

/// What is shown.
pub struct View<'a> {
    /// The batch.
    pub sheet: &'a Batch,
    /// What was asked.
    pub task: &'a BatchTask<'a>,
    /// The mould, if one was named.
    pub mould: Option<&'a Mould>,
    /// The label.
    pub label: &'a Declaration,
    /// Reference tables.
    pub library: &'a Library,
    /// Number of the batch.
    pub number: Option<&'a str>,
    /// Jugs the melt is parted into.
    pub split: u32,
    /// Units shown.
    pub units: Units,
}

/// A mass as the scale shows it: as many decimals as it has.
pub fn plain(grams: f64) -> String {
    let text = format!("{grams:.4}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// Writes the sheet.
pub fn write(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { sheet, task, units, .. } = *view;
    let called = |index: usize| view.library.ingredients.get(index).map_or("", |one| one.common_name.as_str());
    let weigh = |grams: f64| match units {
        Units::Metric => plain(grams),
        Units::Us => format!("{:.3}", grams / OUNCE_G),
    };
    let unit = if units == Units::Us { "oz" } else { "g" };
    let number = view.number.map_or_else(|| "no number yet".to_owned(), |number| format!("batch {}", visible(number)));
    output.title(&capital(&name(&sheet.whole.name)), &number)?;
    output.blank()?;
    let of = view
        .mould
        .and_then(|mould| mould.name.as_ref())
        .map_or_else(String::new, |named| format!(" in the {}", name(named)));
    output.text(
        &format!(
            "{} bars of {}{of}: weigh {} {unit}, of which {} % may stay in the jug.",
            task.bars,
            mass(task.bar_g, units),
            weigh(sheet.melt_g),
            amount(100.0 * task.left_share)
        ),
        2,
    )?;
    for over in &sheet.over {
        output.text(
            &format!(
                "Too much {}: {} % of the bar, and its certificate allows {} %. Weigh less.",
                in_text(called(over.ingredient)),
                significant(over.percent, 3),
                amount(over.limit_percent)
            ),
            2,
        )?;
    }

    output.heading("Weigh sheet, in the order of melting")?;
    let mut sheet_table =
        Sheet::new(&["", "ingredient", "%", &format!("weigh, {unit}"), &format!("scale shows, {unit}")])
            .right(&[2, 3, 4]);
    for line in &sheet.lines {
        let cells = [
            BOX.to_owned(),
            visible(called(line.ingredient)),
            share(line.percent),
            weigh(line.mass_g),
            weigh(line.running_g),
        ];
        sheet_table.row(&cells);
    }
    sheet_table.write(output)?;
    let half = 0.5 * task.scale_g;
    output.text(&format!("  Each is right within {} {unit}, half of what the scale shows.", weigh(half)), 2)?;
    let coarse: Vec<String> = sheet
        .lines
        .iter()
        .filter(|line| half > COARSE * line.mass_g)
        .map(|line| in_text(called(line.ingredient)))
        .collect();
    if !coarse.is_empty() {
        output.text(&format!("  That is much for {}: weigh so little on a finer scale.", list(&coarse, "and")), 2)?;
    }
    for colour in task.colours {
        output.text(
            &format!(
                "  {BOX} {} {unit} {}, rubbed into a little warm oil of the batch first. Colour can stain mould, skin and cloth: try it.",
                weigh(colour.mass_g),
                visible(&colour.name)
            ),
            6,
        )?;
    }
    if view.split > 1 {
        let each = sheet.melt_g / f64::from(view.split);
        output.text(&format!("  {BOX} Part the melt into {} jugs of {} {unit}.", view.split, weigh(each)), 6)?;
    }

    output.heading("At the bench")?;
    for step in [
        "melted in this order, clear, no drop of water",
        "temperature at the pour: ________",
        "poured; time: ________",
        "out of the mould; relief whole; no grain seen",
        "mean mass of ten bars: ________",
        "lots used written down; one bar kept back",
    ] {
        output.text(&format!("  {BOX} {step}"), 6)?;
    }
    output.text("  Temperatures and times: `barwright pour` and `barwright cool`.", 2)?;

    cost(output, view, &called)?;
    label(output, view)?;

    output.heading("Mind")?;
    if !view.label.nuts.is_empty() {
        let names: Vec<String> = view.label.nuts.iter().map(|one| in_text(one)).collect();
        output.item(
            "Nuts",
            &format!("From nuts, or by some rules or lots: {}. Say so plainly on the label.", list(&names, "and")),
        )?;
    }
    if !view.label.animal.is_empty() {
        let names: Vec<String> = view.label.animal.iter().map(|one| in_text(one)).collect();
        output.item("Origin", &format!("From animals: {}. The bar is not vegan.", list(&names, "and")))?;
    }
    let unlimited: Vec<String> = sheet.unlimited.iter().map(|&index| in_text(called(index))).collect();
    if !unlimited.is_empty() {
        output.item(
            "Scent",
            &format!("The lot of {} states no `limit_percent`: read its certificate for what stays on the skin. This tool has no limit of its own.", list(&unlimited, "and")),
        )?;
    }
    output.item("Safety", "Check label, claims and safety assessment with your local authority or a safety assessor.")
}

fn cost<'l>(output: &mut Output<'_>, view: &View<'_>, called: &impl Fn(usize) -> &'l str) -> io::Result<()> {
    let sheet = view.sheet;
    let Some(cost) = &sheet.cost else {
        let some = sheet.lines.iter().any(|line| line.price.is_some());
        if some {
            let names: Vec<String> = sheet.without_price.iter().map(|&index| in_text(called(index))).collect();
            output.heading("Cost")?;
            output.text(&format!("  Not known: there is no price of {}.", list(&names, "and")), 2)?;
        }
        return Ok(());
    };
    output.heading("Cost, in the money of your prices")?;
    let mut table = Sheet::new(&["", "batch", "a bar"]).right(&[1, 2]);
    let bars = f64::from(view.task.bars);
    for (what, money) in [
        ("ingredients", cost.ingredients),
        ("packaging", cost.packaging),
        ("labour", cost.labour),
        ("together", cost.batch),
    ] {
        if money > 0.0 || what == "together" {
            table.row(&[what.to_owned(), format!("{money:.2}"), format!("{:.2}", money / bars)]);
        }
    }
    table.write(output)?;
    output.text(&format!("  A gram sold costs {}.", significant(cost.gram, 2)), 2)
}

fn label(output: &mut Output<'_>, view: &View<'_>) -> io::Result<()> {
    let View { label, task, .. } = *view;
    output.heading("Label, a draft")?;
    output.item("Ingredients", &visible(&label.text()))?;
    let minor: Vec<String> = label.minor().map(|one| visible(&one.name)).collect();
    if minor.len() > 1 {
        output.item("Any order", &format!("below 1 %: {}", list(&minor, "and")))?;
    }
    let allergens: Vec<String> =
        label.allergens.iter().map(|one| format!("{} {} %", visible(&one.name), significant(one.percent, 2))).collect();
    if !allergens.is_empty() {
        output.item("Allergens of the scent", &format!("above {ALLERGEN_PERCENT} %: {}", list(&allergens, "and")))?;
    }
    let content = format!("{} g, {} oz", significant(task.bar_g, 2), significant(task.bar_g / OUNCE_G, 2));
    let tolerable = tolerable_error_g(task.bar_g).map_or_else(String::new, |error_g| {
        format!(
            "; the mean of the bars at least that, none lighter by {} g (twice the tolerable error, EU)",
            significant(2.0 * error_g, 2)
        )
    });
    output.item("Content", &format!("{content}{tolerable}"))?;
    output.item("Also", "who answers for it, with address; batch number; how long it keeps; how to use it")
}
