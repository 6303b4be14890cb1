//! Records in words: counts, lists, traces.

use std::path::Path;

use barwright_answer::Document;
use barwright_answer::document::{Block, Kind as Column, Section, Table};
use barwright_answer::words::names::{capital, count, cut, name};
use barwright_answer::words::number::amount;
use barwright_answer::words::scale::Scale;
use barwright_answer::words::units::Units;
use barwright_answer::words::visible::visible;
use barwright_records::{Bars, BatchTrace, Checked, Date, Kept, Kind, Lot, LotStock, LotTrace, Outcome, Went};
use barwright_reference::lots::SCENT_FLASH_C;

/// Most characters of a cell shown in a list; an export has all of them.
const CELL_LETTERS: usize = 40;

/// How many records there are of each kind.
pub fn counts(counts: &[(Kind, u64)]) -> Document {
    let rows = counts.iter().map(|(kind, count)| [kind.word().to_owned(), count.to_string()]);
    let table = Table::new("").columns(Column::Figure, ["kind"]).columns(Column::Number, ["kept"]).rows(rows);
    Document::new("Records", "").lead([Block::Table(table)])
}

/// What a check went through.
pub fn checked(path: &Path, checked: &Checked) -> Document {
    let mut table = Table::new("").columns(Column::Figure, ["checked"]).columns(Column::Number, ["rows"]);
    for (kind, count) in &checked.records {
        table.row([kind.word().to_owned(), count.to_string()]);
        match kind {
            Kind::Formulas => table.row(["  parts of them".to_owned(), checked.parts.to_string()]),
            Kind::Batches => table.row(["  lots weighed into them".to_owned(), checked.weighed_in.to_string()]),
            _ => {}
        }
    }
    let said =
        "Every page of the file was read. Each row is as it was kept, none is missing, and each could be kept today.";
    Document::new("Records", format!("all of {} is sound", path.display()))
        .lead([Block::Table(table), Block::said([said])])
}

/// The records of one kind; columns that are empty all the way are left out.
pub fn list(kind: Kind, rows: &[Vec<String>]) -> Document {
    let document = Document::new(capital(kind.word()), count(rows.len(), "line", "lines"));
    let filled = |index: usize| rows.iter().any(|row| row.get(index).is_some_and(|cell| !cell.is_empty()));
    let shown: Vec<usize> = (0..kind.columns().len()).filter(|index| filled(*index)).collect();
    if shown.is_empty() {
        return document.lead([Block::said(["None."])]);
    }
    let heads = shown.iter().filter_map(|index| kind.columns().get(*index)).map(|column| column.replace('_', " "));
    let cells =
        |row: &Vec<String>| shown.iter().map(|index| short(row.get(*index).map_or("", String::as_str))).collect();
    let rows: Vec<Vec<String>> = rows.iter().map(cells).collect();
    document.lead([Block::Table(Table::new("").columns(Column::Words, heads).rows(rows))])
}

/// What is left of each delivery.
pub fn stock(stock: &[LotStock], units: Units) -> Document {
    let document = Document::new("Stock", count(stock.len(), "delivery", "deliveries"));
    if stock.is_empty() {
        return document.lead([Block::said(["None."])]);
    }
    let scale = Scale(units);
    let stated = |grams: Option<f64>| grams.map_or_else(|| "not stated".to_owned(), |grams| scale.stock(grams));
    let best_before = |one: &LotStock| one.lot.best_before.map_or_else(String::new, |date| date.to_string());
    let row = |one: &LotStock| {
        let masses = [stated(one.lot.delivered_g), scale.stock(one.used_g), stated(one.left_g())];
        [visible(&one.lot.key), of_what(&one.lot)].into_iter().chain(masses).chain([best_before(one)])
    };
    let heads = ["came", "weighed in", "left"].map(|head| format!("{head}, {}", scale.unit()));
    let mut table = Table::new("")
        .columns(Column::Words, ["lot", "a delivery of"])
        .columns(Column::Number, heads)
        .columns(Column::Words, ["best before"]);
    stock.iter().for_each(|one| table.row(row(one)));
    let below = stock.iter().any(|one| one.left_g().is_some_and(|left_g| left_g < 0.0));
    let below = below.then(|| Block::said(["Below zero: more was weighed in than came, by what was written down."]));
    document.lead(std::iter::once(Block::Table(table)).chain(below))
}

/// A cell cut to what fits.
fn short(cell: &str) -> String {
    cut(cell, CELL_LETTERS)
}

/// A bar or a range of bars in words.
pub fn bars_words(first: u32, last: u32) -> String {
    if first == last { format!("bar {first}") } else { format!("bars {first} to {last}") }
}

/// What a lot is a delivery of; a scent is like an ingredient for its physics alone.
fn of_what(lot: &Lot) -> String {
    let like = visible(&lot.like);
    let certified = ["limit_percent", "allergens"].iter().any(|key| lot.figures.contains_key(*key));
    let scent = certified || lot.flash_c.is_some_and(|flash_c| flash_c < SCENT_FLASH_C);
    if scent { format!("scent (like {like})") } else { like }
}

/// A lot and everything it went into.
pub fn lot_trace(found: &LotTrace) -> Document {
    let of = format!("a delivery of {}", of_what(&found.lot));
    let document = Document::new(format!("Lot {}", name(&found.lot.key)), of);
    if found.batches.is_empty() {
        return document.lead([Block::said(["It went into no batch that the records hold."])]);
    }
    let mass_g: f64 = found.batches.iter().map(|one| one.lot_mass_g).sum();
    let bars: u64 = found.batches.iter().filter_map(|one| one.batch.cavities).map(u64::from).sum();
    let gone: u64 = found.batches.iter().map(|one| left_the_house(&one.bars)).sum();
    let said = format!(
        "It went into {} with {bars} bars, {} of it in all; {gone} of the bars were sold or gifted.",
        count(found.batches.len(), "batch", "batches"),
        grams(mass_g)
    );
    let rows = found.batches.iter().map(|one| {
        [
            visible(&one.batch.number),
            one.batch.poured_on.to_string(),
            name(&one.batch.formula),
            grams(one.lot_mass_g),
            one.batch.cavities.map_or_else(|| "not counted".to_owned(), |bars| bars.to_string()),
        ]
    });
    let table = Table::new("")
        .columns(Column::Words, ["batch", "poured on", "formula"])
        .columns(Column::Number, ["of this lot", "bars"])
        .rows(rows);
    let mut document = document.lead([Block::said([said])]).section("Batches", [Block::Table(table)]);
    let uncounted = bars.saturating_sub(gone);
    let uncounted = (uncounted > 0).then(|| {
        let said = format!("{uncounted} bars are not written down as sold or gifted: look for them on the shelf.");
        Block::said([said])
    });
    let went: Vec<&Bars> = found.batches.iter().flat_map(|one| &one.bars).map(|kept| &kept.record).collect();
    if went.is_empty() {
        document.sections.extend(uncounted.map(|said| Section::new("", [said])));
    } else {
        let table = Block::Table(bars_table(&went, true));
        document = document.section("Where the bars went", std::iter::once(table).chain(uncounted));
    }
    let remarks: Vec<&Kept<Outcome>> = found.batches.iter().flat_map(|one| &one.outcomes).collect();
    document.sections.extend(remarks_section(&remarks));
    document
}

/// Bars that were sold or gifted.
fn left_the_house(bars: &[Kept<Bars>]) -> u64 {
    let gone = bars.iter().filter(|kept| kept.record.went != Went::Kept);
    gone.map(|kept| u64::from(kept.record.last - kept.record.first) + 1).sum()
}

/// A batch, or one bar of it, and everything it came from.
pub fn batch_trace(found: &BatchTrace, bar: Option<u32>) -> Document {
    let batch = &found.batch;
    let bar_words = bar.map_or_else(String::new, |bar| format!(", bar {bar}"));
    let bars = batch.cavities.map_or_else(|| "bars not counted".to_owned(), |bars| count(bars as usize, "bar", "bars"));
    let said = format!("{}: {}, {bars}.", capital(&name(&found.formula.name)), grams(batch.mass_g));
    let note = batch.note.as_ref().map(|note| format!("Note: {}", visible(note)));
    let parts = found.formula.parts.iter().map(|part| [visible(&part.ingredient), format!("{:.1}", part.percent)]);
    let parts = Table::new("").columns(Column::Figure, ["ingredient"]).columns(Column::Number, ["part"]).rows(parts);
    let day = |date: Option<Date>| date.map_or_else(String::new, |date| date.to_string());
    let lots = found.lots.iter().map(|one| {
        [
            visible(&one.lot.key),
            of_what(&one.lot),
            grams(one.mass_g),
            day(one.lot.delivered_on),
            day(one.lot.best_before),
            short(one.lot.certificate.as_deref().unwrap_or("")),
        ]
    });
    let lots = Table::new("")
        .columns(Column::Words, ["lot", "a delivery of"])
        .columns(Column::Number, ["mass"])
        .columns(Column::Words, ["delivered on", "best before", "certificate"])
        .rows(lots);
    let or_none =
        |table: Table, none: &str| if table.rows.is_empty() { Block::said([none]) } else { Block::Table(table) };
    let went: Vec<&Bars> = found.bars.iter().map(|kept| &kept.record).collect();
    let where_to = if bar.is_some() { "Where it went" } else { "Where the bars went" };
    let title = format!("Batch {}{bar_words}", name(&batch.number));
    let mut document = Document::new(title, format!("poured on {}", batch.poured_on))
        .lead([Block::said(std::iter::once(said).chain(note))])
        .section("Formula as poured, % by mass", [Block::Table(parts)])
        .section("Lots weighed in", [or_none(lots, "None was written down.")])
        .section(where_to, [or_none(bars_table(&went, false), "Nothing was written down.")]);
    document.sections.extend(remarks_section(&found.outcomes.iter().collect::<Vec<_>>()));
    document
}

/// Where bars went, with their batch where there are several.
fn bars_table(all: &[&Bars], with_batch: bool) -> Table {
    let text = |text: &Option<String>| short(text.as_deref().unwrap_or(""));
    let row = |bars: &&Bars| -> Vec<String> {
        let batch = with_batch.then(|| visible(&bars.batch));
        let rest = [
            bars_words(bars.first, bars.last),
            bars.went.word().to_owned(),
            bars.on.to_string(),
            text(&bars.to),
            text(&bars.note),
        ];
        batch.into_iter().chain(rest).collect()
    };
    let rows: Vec<Vec<String>> = all.iter().map(row).collect();
    Table::new("")
        .columns(Column::Words, with_batch.then_some("batch"))
        .columns(Column::Words, ["bars", "went", "on", "to", "note"])
        .rows(rows)
}

fn remarks_section(remarks: &[&Kept<Outcome>]) -> Option<Section> {
    let terms = remarks.iter().map(|kept| {
        let label = format!("{}, batch {}", kept.record.noted_on, visible(&kept.record.batch));
        (label, visible(&kept.record.note))
    });
    (!remarks.is_empty()).then(|| Section::new("Remarks", [Block::terms(terms)]))
}

/// A mass in grams, to a hundredth: finer than a bench scale; an export has all digits.
fn grams(mass_g: f64) -> String {
    format!("{} g", amount(mass_g))
}
