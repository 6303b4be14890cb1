//! A document as text for a terminal: lines of a given width, tables without boxes, and colour that nothing depends on.

use anstyle::{AnsiColor, Style};
use comfy_table::presets::NOTHING;
use comfy_table::{Cell, CellAlignment, ColumnConstraint, ContentArrangement, LineStyle};

use crate::document::{Block, Caution, Document, Kind, Row, Section, Table};
use crate::picture;
use crate::words::names::{capital, list};
use crate::words::visible::visible;

/// Largest width laid out for, columns.
pub const MAX_COLUMNS: usize = 100;

/// Columns that running text is wrapped at, at most: longer lines are hard to read.
const TEXT_COLUMNS: usize = 92;

/// Columns kept free for a unit, which stays on the line of its number.
const UNIT_ROOM: usize = 4;

/// Columns beside a cell of a table.
const GAP: usize = 2;

/// A line to write on.
const FILL: &str = "________";

/// A box to tick.
const BOX: &str = "[ ]";

/// What a terminal can show, and what its reader wants to see.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Columns.
    pub columns: usize,
    /// Whether there is colour.
    pub colour: bool,
    /// Whether cautions are named in one line in place of being told in full.
    pub fold_cautions: bool,
    /// Whether pictures are drawn in letters.
    pub pictures: bool,
}

/// Returns a document as text, a line end at its end.
pub fn text(document: &Document, look: Look) -> String {
    let mut page = Page { look, text: String::new() };
    page.title(&document.title, &document.aside);
    if !document.remark.is_empty() {
        page.running(&visible(&document.remark), 0);
    }
    if !document.lead.is_empty() {
        page.line("");
        page.blocks(&document.lead, 0);
    }
    for section in &document.sections {
        page.section(section);
    }
    page.text
}

/// Returns a table as lines of at most a number of columns.
pub fn table(table: &Table, columns: usize) -> Vec<String> {
    if table.ticks {
        return self::table(&with_boxes(table), columns);
    }
    let mut laid = comfy_table::Table::new();
    let rule = LineStyle::none().fill('─').junction('─');
    laid.load_style(NOTHING.header_separator(rule));
    laid.set_content_arrangement(ContentArrangement::Dynamic);
    laid.set_header(table.columns.iter().map(|column| Cell::new(&column.head)));
    for row in &table.rows {
        laid.add_row(row.cells.iter().zip(&table.columns).map(|(cell, column)| match column.kind {
            Kind::Fill if cell.is_empty() => Cell::new(FILL),
            _ => Cell::new(cell),
        }));
    }
    laid.set_width(u16::try_from(columns.saturating_sub(1)).unwrap_or(u16::MAX));
    // No word is broken; figures with their intervals keep to one line where there is room for all of them.
    let longest = |text: &str, parted: bool| -> usize {
        if parted { text.split(' ').map(|word| word.chars().count()).max().unwrap_or(0) } else { text.chars().count() }
    };
    let lowest = |at: usize, parted: bool| -> usize {
        let cells = table.rows.iter().filter_map(|row| row.cells.get(at)).map(|cell| longest(cell, parted));
        cells.max().unwrap_or(0).max(longest(&table.columns[at].head, true)) + GAP
    };
    let parts = |kind: Kind, all: bool| kind == Kind::Words || (all && kind == Kind::Figure);
    let needed = |all: bool| -> usize {
        table.columns.iter().enumerate().map(|(at, of)| lowest(at, parts(of.kind, all)) + 1).sum()
    };
    let room = columns.saturating_sub(GAP);
    let all = needed(false) > room;
    let tight = needed(true) > room;
    // Where not even that fits, long words are broken, those of names last.
    let crammed = needed(true) > room + table.columns.len();
    for (index, of) in table.columns.iter().enumerate() {
        let Some(column) = laid.column_mut(index) else { continue };
        if matches!(of.kind, Kind::Number | Kind::Mass) && index > 0 {
            column.set_cell_alignment(CellAlignment::Right);
        }
        if tight {
            column.set_padding((0, 1));
        }
        let width = lowest(index, parts(of.kind, all)) - usize::from(tight);
        let width = u16::try_from(width).unwrap_or(u16::MAX);
        if crammed && of.kind == Kind::Words {
            continue;
        }
        column.set_constraint(ColumnConstraint::LowerBoundary(comfy_table::Width::Fixed(width)));
    }
    laid.lines().map(|line| format!(" {}", line.trim_end())).collect()
}

/// A table with its boxes to tick as a column of their own.
fn with_boxes(table: &Table) -> Table {
    let mut boxed = Table { ticks: false, ..Table::new("").columns(Kind::Figure, [""]) };
    boxed.columns.extend_from_slice(&table.columns);
    let boxes = |row: &Row| std::iter::once(BOX.to_owned()).chain(row.cells.iter().cloned()).collect();
    boxed.rows = table.rows.iter().map(|row| Row { cells: boxes(row), is_sum: row.is_sum }).collect();
    boxed
}

/// Breaks a text at blanks into lines of at most `columns`; lines after the first are indented by `hang`.
pub fn wrap(text: &str, columns: usize, hang: usize) -> Vec<String> {
    let indent = text.len() - text.trim_start_matches(' ').len();
    let mut lines = vec![" ".repeat(indent)];
    let mut used = indent;
    let mut at_start = true;
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let length = word.chars().count();
        let unit = word.starts_with(['°', '%']) || word.starts_with("mm") || word.starts_with("kPa");
        if !at_start && !unit && used + 1 + length + UNIT_ROOM > columns {
            lines.push(" ".repeat(hang));
            used = hang;
            at_start = true;
        }
        if let Some(line) = lines.last_mut() {
            if !at_start {
                line.push(' ');
                used += 1;
            }
            line.push_str(word);
            used += length;
            at_start = false;
        }
    }
    lines
}

/// Returns a text in a style.
pub fn painted(style: Style, text: &str) -> String {
    format!("{style}{text}{style:#}")
}

/// How a title looks.
const TITLE: Style = AnsiColor::Cyan.on_default().bold();

/// How a heading and a term look.
pub const HEADING: Style = Style::new().bold();

/// A text being written.
struct Page {
    look: Look,
    text: String,
}

impl Page {
    fn line(&mut self, text: &str) {
        self.text.push_str(text);
        self.text.push('\n');
    }

    fn paint(&self, style: Style, text: &str) -> String {
        if self.look.colour { painted(style, text) } else { text.to_owned() }
    }

    fn title(&mut self, title: &str, aside: &str) {
        let lines = wrap(title, self.look.columns.saturating_sub(aside.chars().count() + GAP), 2);
        let aside = if aside.is_empty() { String::new() } else { format!("  ({aside})") };
        let last = lines.len() - 1;
        for (number, line) in lines.iter().enumerate() {
            let line = self.paint(TITLE, line);
            self.line(&if number == last { format!("{line}{aside}") } else { line });
        }
    }

    fn heading(&mut self, text: &str) {
        let heading = self.paint(HEADING, text);
        self.line("");
        self.line(&heading);
    }

    /// Writes running text that begins `indent` columns in; later lines hang by two more.
    fn running(&mut self, text: &str, indent: usize) {
        let text = format!("{}{text}", " ".repeat(indent));
        for line in wrap(&text, self.look.columns.min(TEXT_COLUMNS), indent + 2) {
            self.line(&line);
        }
    }

    /// Writes a term that begins `indent` columns in, and its text beside it; later lines hang by two more.
    fn item(&mut self, label: &str, text: &str, indent: usize) {
        let start = format!("{}{label}: ", " ".repeat(indent));
        let mut lines = wrap(&format!("{start}{text}"), self.look.columns.min(TEXT_COLUMNS), indent + 2).into_iter();
        if let Some(first) = lines.next() {
            let label = self.paint(HEADING, label);
            self.line(&format!("{}{label}: {}", " ".repeat(indent), first.strip_prefix(&start).unwrap_or("")));
        }
        lines.for_each(|line| self.line(&line));
    }

    fn section(&mut self, section: &Section) {
        if section.is_cautions() && self.look.fold_cautions {
            self.line("");
            let all = section.blocks.iter().filter_map(|block| match block {
                Block::Cautions(cautions) => Some(cautions.as_slice()),
                _ => None,
            });
            return self.item(&section.heading, &folded(all.flatten()), 0);
        }
        if !section.heading.is_empty() {
            self.heading(&section.heading);
        }
        self.blocks(&section.blocks, 2);
    }

    fn blocks(&mut self, blocks: &[Block], indent: usize) {
        let mut after_table = false;
        for block in blocks {
            let is_table = matches!(block, Block::Table(_));
            if is_table && after_table {
                self.line("");
            }
            after_table = is_table;
            self.block(block, indent);
        }
    }

    fn block(&mut self, block: &Block, indent: usize) {
        match block {
            Block::Under(heading) => {
                let heading = format!("{}{}", " ".repeat(indent), self.paint(HEADING, heading));
                self.line(&heading);
            }
            Block::Said(all) => all.iter().for_each(|sentence| self.running(&sentence.text, indent)),
            Block::Alarm(text) | Block::Small(text) => self.running(text, indent),
            Block::Terms(all) => all.iter().for_each(|one| self.item(&one.term, &one.text, indent)),
            Block::Table(of) => table(of, self.look.columns).iter().for_each(|line| self.line(line)),
            Block::Picture(picture) => {
                if self.look.pictures {
                    self.line("");
                    self.text.push_str(&picture::text(picture, self.look.columns));
                }
            }
            Block::Cautions(all) => {
                for caution in all {
                    let label = capital(caution.about);
                    let label = if caution.formulas.is_empty() {
                        label
                    } else {
                        format!("{label}, {}", list(&caution.formulas, "and"))
                    };
                    self.item(&label, &visible(&caution.text), indent);
                }
            }
            Block::Steps(all) => {
                for step in all {
                    let fill = if step.fill { format!(": {FILL}") } else { String::new() };
                    self.running(&format!("{BOX} {}{fill}", step.text), indent);
                }
            }
            Block::Fields(all) => {
                let fields = all.iter().map(|one| format!("{} {}", one.label, one.value.as_deref().unwrap_or(FILL)));
                self.running(&fields.collect::<Vec<_>>().join("; "), indent);
            }
        }
    }
}

/// Names cautions in one line: `nuts (shea butter); heat; safety`.
fn folded<'a>(all: impl Iterator<Item = &'a Caution>) -> String {
    let mut named: Vec<(&str, Vec<&str>)> = Vec::new();
    for caution in all {
        let at = named.iter().position(|(about, _)| *about == caution.about).unwrap_or_else(|| {
            named.push((caution.about, Vec::new()));
            named.len() - 1
        });
        for one in caution.of.split(", ").filter(|one| !one.is_empty()) {
            if !named[at].1.contains(&one) {
                named[at].1.push(one);
            }
        }
    }
    let words: Vec<String> = (named.into_iter())
        .map(|(about, of)| if of.is_empty() { about.to_owned() } else { format!("{about} ({})", of.join(", ")) })
        .collect();
    visible(&format!("{}; `--cautions` for the whole.", words.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::{Field, Step};

    const PLAIN: Look = Look { columns: 60, colour: false, fold_cautions: false, pictures: false };

    fn document() -> Document {
        let mut table = Table::new("").columns(Kind::Words, ["part"]).columns(Kind::Number, ["%"]);
        table.row(["beeswax", "26.0"]);
        table.row(["olive oil", "4.0"]);
        let caution = |about, of: &str, formulas: &[&str]| Caution {
            about,
            of: of.to_owned(),
            formulas: formulas.iter().map(|one| (*one).to_owned()).collect(),
            text: "Mind the\u{1b} fire.".to_owned(),
        };
        Document::new("Bar", "rested")
            .lead([Block::said(["It sets."])])
            .section("Parts", [Block::Table(table)])
            .section(
                "Cautions",
                [Block::Cautions(vec![caution("heat", "", &[]), caution("nuts", "shea butter", &["A", "B"])])],
            )
    }

    #[test]
    fn a_document_reads_without_colour() {
        let rule = "─".repeat(18);
        assert_eq!(
            text(&document(), PLAIN),
            format!(
                "Bar  (rested)\n\nIt sets.\n\nParts\n  part           %\n {rule}\n  beeswax     26.0\n  olive oil    4.0\n\nCautions\n  \
                 Heat: Mind the␛ fire.\n  Nuts, A and B: Mind the␛ fire.\n"
            )
        );
    }

    #[test]
    fn what_is_ticked_and_filled_in_has_its_place() {
        let mut table = Table::new("").columns(Kind::Words, ["part"]).columns(Kind::Fill, ["lot"]).with_ticks();
        table.row(["beeswax", "W-1"]);
        table.row(["olive oil", ""]);
        let field = |label, value: Option<&str>| Field { label, value: value.map(str::to_owned) };
        let step = |text: &str, fill| Step { text: text.to_owned(), fill };
        let sheet =
            Document::new("Bar", "").lead([Block::Fields(vec![field("Batch", Some("7")), field("Date", None)])]);
        let sheet = sheet
            .section("Weigh", [Block::Table(table), Block::Steps(vec![step("melted", false), step("time", true)])]);
        let rule = "─".repeat(28);
        assert_eq!(
            text(&sheet, PLAIN),
            format!(
                "Bar\n\nBatch 7; Date ________\n\nWeigh\n        part        lot\n {rule}\n  [ ]   beeswax     W-1\n  [ ]   olive oil   \
                 ________\n  [ ] melted\n  [ ] time: ________\n"
            )
        );
    }

    #[test]
    fn cautions_fold_into_one_line_that_names_each() {
        let folded = text(&document(), Look { fold_cautions: true, ..PLAIN });
        assert!(
            folded.ends_with("\n\nCautions: heat; nuts (shea butter); `--cautions` for the\n  whole.\n"),
            "{folded}"
        );
        assert!(!folded.contains("fire"), "{folded}");
    }

    #[test]
    fn text_is_wrapped_at_blanks() {
        assert_eq!(wrap("one two three", 12, 2), ["one two", "  three"]);
        assert_eq!(wrap("  a verylongword b", 9, 1), ["  a", " verylongword", " b"]);
        assert_eq!(wrap("it is now 20 °C in here", 16, 0), ["it is now 20 °C", "in here"]);
        assert_eq!(wrap("", 6, 1), [""]);
    }
}
