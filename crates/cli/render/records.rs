//! Records for people: counts, lists, traces.

use std::io;
use std::path::Path;

use barwright_records::{Bars, BatchTrace, Checked, Kept, Kind, LotTrace, Outcome, Went};

use super::table::Sheet;
use super::{capital, count, cut, name};
use crate::output::Output;
use barwright_answer::words::visible::visible;

/// Most characters of a cell shown in a list; an export has all of them.
const CELL_LETTERS: usize = 40;

/// Writes how many records there are of each kind.
pub fn counts(output: &mut Output<'_>, counts: &[(Kind, u64)]) -> io::Result<()> {
    output.title("Records", "")?;
    let mut sheet = Sheet::new(&["kind", "kept"]).right(&[1]);
    for (kind, count) in counts {
        sheet.row(&[kind.word().to_owned(), count.to_string()]);
    }
    sheet.write(output)
}

/// Writes what a check went through.
pub fn checked(output: &mut Output<'_>, path: &Path, checked: &Checked) -> io::Result<()> {
    output.title("Records", &format!("all of {} is sound", path.display()))?;
    let mut sheet = Sheet::new(&["checked", "rows"]).right(&[1]);
    for (kind, count) in &checked.records {
        sheet.row(&[kind.word().to_owned(), count.to_string()]);
        match kind {
            Kind::Formulas => sheet.row(&["  parts of them".to_owned(), checked.parts.to_string()]),
            Kind::Batches => sheet.row(&["  lots weighed into them".to_owned(), checked.weighed_in.to_string()]),
            _ => {}
        }
    }
    sheet.write(output)?;
    output.text(
        "Every page of the file was read. Each row is as it was kept, none is missing, and each could be kept today.",
        0,
    )
}

/// Writes the records of one kind; columns that are empty all the way are left out.
pub fn list(output: &mut Output<'_>, kind: Kind, rows: &[Vec<String>]) -> io::Result<()> {
    output.title(&capital(kind.word()), &count(rows.len(), "line", "lines"))?;
    let filled = |index: usize| rows.iter().any(|row| row.get(index).is_some_and(|cell| !cell.is_empty()));
    let shown: Vec<usize> = (0..kind.columns().len()).filter(|index| filled(*index)).collect();
    if shown.is_empty() {
        return output.text("  None.", 2);
    }
    let header: Vec<String> =
        shown.iter().filter_map(|index| kind.columns().get(*index)).map(|column| column.replace('_', " ")).collect();
    let mut sheet = Sheet::new(&header);
    for row in rows {
        let cells = shown.iter().map(|index| short(row.get(*index).map_or("", String::as_str)));
        sheet.row(&cells.collect::<Vec<_>>());
    }
    sheet.write(output)
}

/// A cell cut to what fits.
fn short(cell: &str) -> String {
    cut(cell, CELL_LETTERS)
}

/// A bar or a range of bars in words.
pub fn bars_words(first: u32, last: u32) -> String {
    if first == last { format!("bar {first}") } else { format!("bars {first} to {last}") }
}

/// Writes a lot and everything it went into.
pub fn lot_trace(output: &mut Output<'_>, found: &LotTrace) -> io::Result<()> {
    output.title(&format!("Lot {}", name(&found.lot.key)), &format!("a delivery of {}", visible(&found.lot.like)))?;
    output.blank()?;
    if found.batches.is_empty() {
        return output.text("It went into no batch that the records hold.", 2);
    }
    let mass_g: f64 = found.batches.iter().map(|one| one.lot_mass_g).sum();
    let bars: u64 = found.batches.iter().filter_map(|one| one.batch.cavities).map(u64::from).sum();
    let gone: u64 = found.batches.iter().map(|one| left_the_house(&one.bars)).sum();
    output.text(
        &format!(
            "It went into {} with {bars} bars, {} of it in all; {gone} of the bars were sold or gifted.",
            count(found.batches.len(), "batch", "batches"),
            grams(mass_g)
        ),
        2,
    )?;
    output.heading("Batches")?;
    let mut sheet = Sheet::new(&["batch", "poured on", "formula", "of this lot", "bars"]).right(&[3, 4]);
    for one in &found.batches {
        sheet.row(&[
            visible(&one.batch.number),
            one.batch.poured_on.to_string(),
            name(&one.batch.formula),
            grams(one.lot_mass_g),
            one.batch.cavities.map_or_else(|| "not counted".to_owned(), |bars| bars.to_string()),
        ]);
    }
    sheet.write(output)?;
    if found.batches.iter().any(|one| !one.bars.is_empty()) {
        output.heading("Where the bars went")?;
        let mut sheet = bars_sheet(true);
        for one in &found.batches {
            for kept in &one.bars {
                sheet.row(&bars_row(&kept.record, true));
            }
        }
        sheet.write(output)?;
    }
    let uncounted = bars.saturating_sub(gone);
    if uncounted > 0 {
        output.text(
            &format!("  {uncounted} bars are not written down as sold or gifted: look for them on the shelf."),
            2,
        )?;
    }
    let remarks: Vec<&Kept<Outcome>> = found.batches.iter().flat_map(|one| &one.outcomes).collect();
    remarks_list(output, &remarks)
}

/// Bars that were sold or gifted.
fn left_the_house(bars: &[Kept<Bars>]) -> u64 {
    let gone = bars.iter().filter(|kept| kept.record.went != Went::Kept);
    gone.map(|kept| u64::from(kept.record.last - kept.record.first) + 1).sum()
}

/// Writes a batch, or one bar of it, and everything it came from.
pub fn batch_trace(output: &mut Output<'_>, found: &BatchTrace, bar: Option<u32>) -> io::Result<()> {
    let batch = &found.batch;
    let bar_words = bar.map_or_else(String::new, |bar| format!(", bar {bar}"));
    output.title(&format!("Batch {}{bar_words}", name(&batch.number)), &format!("poured on {}", batch.poured_on))?;
    output.blank()?;
    let bars = batch.cavities.map_or_else(|| "bars not counted".to_owned(), |bars| count(bars as usize, "bar", "bars"));
    output.text(&format!("{}: {}, {bars}.", capital(&name(&found.formula.name)), grams(batch.mass_g)), 2)?;
    if let Some(note) = &batch.note {
        output.text(&format!("Note: {}", visible(note)), 2)?;
    }
    output.heading("Formula as poured, % by mass")?;
    let mut sheet = Sheet::new(&["ingredient", "part"]).right(&[1]);
    for part in &found.formula.parts {
        sheet.row(&[visible(&part.ingredient), format!("{:.1}", part.percent)]);
    }
    sheet.write(output)?;
    output.heading("Lots weighed in")?;
    if found.lots.is_empty() {
        output.text("  None was written down.", 2)?;
    } else {
        let mut sheet =
            Sheet::new(&["lot", "a delivery of", "mass", "delivered on", "best before", "certificate"]).right(&[2]);
        let day = |date: Option<barwright_records::Date>| date.map_or_else(String::new, |date| date.to_string());
        for one in &found.lots {
            sheet.row(&[
                visible(&one.lot.key),
                visible(&one.lot.like),
                grams(one.mass_g),
                day(one.lot.delivered_on),
                day(one.lot.best_before),
                short(one.lot.certificate.as_deref().unwrap_or("")),
            ]);
        }
        sheet.write(output)?;
    }
    output.heading(if bar.is_some() { "Where it went" } else { "Where the bars went" })?;
    if found.bars.is_empty() {
        output.text("  Nothing was written down.", 2)?;
    } else {
        let mut sheet = bars_sheet(false);
        for kept in &found.bars {
            sheet.row(&bars_row(&kept.record, false));
        }
        sheet.write(output)?;
    }
    remarks_list(output, &found.outcomes.iter().collect::<Vec<_>>())
}

fn bars_sheet(batches: bool) -> Sheet {
    let mut header = vec!["bars", "went", "on", "to", "note"];
    if batches {
        header.insert(0, "batch");
    }
    Sheet::new(&header)
}

fn bars_row(bars: &Bars, batches: bool) -> Vec<String> {
    let text = |text: &Option<String>| short(text.as_deref().unwrap_or(""));
    let mut row = vec![
        bars_words(bars.first, bars.last),
        bars.went.word().to_owned(),
        bars.on.to_string(),
        text(&bars.to),
        text(&bars.note),
    ];
    if batches {
        row.insert(0, visible(&bars.batch));
    }
    row
}

fn remarks_list(output: &mut Output<'_>, remarks: &[&Kept<Outcome>]) -> io::Result<()> {
    if remarks.is_empty() {
        return Ok(());
    }
    output.heading("Remarks")?;
    for kept in remarks {
        output.item(
            &format!("{}, batch {}", kept.record.noted_on, visible(&kept.record.batch)),
            &visible(&kept.record.note),
        )?;
    }
    Ok(())
}

/// A mass in grams, to a hundredth: finer than a bench scale; an export has all digits.
fn grams(mass_g: f64) -> String {
    format!("{} g", super::batch::plain((mass_g * 1e2).round() / 1e2))
}
