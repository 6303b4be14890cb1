//! Plain tables: a header, a rule, rows; no box.

use std::io;

use comfy_table::presets::NOTHING;
use comfy_table::{Cell, CellAlignment, ColumnConstraint, ContentArrangement, LineStyle, Table};

use crate::output::Output;

/// A table being filled.
pub struct Sheet {
    table: Table,
    right: Vec<usize>,
    whole: Vec<usize>,
}

impl Sheet {
    /// Starts a table with a header.
    pub fn new<S: AsRef<str>>(header: &[S]) -> Self {
        let mut table = Table::new();
        let rule = LineStyle::none().fill('─').junction('─');
        table.load_style(NOTHING.header_separator(rule));
        table.set_content_arrangement(ContentArrangement::Dynamic);
        table.set_header(header.iter().map(|text| Cell::new(text.as_ref())));
        Sheet { table, right: Vec::new(), whole: Vec::new() }
    }

    /// Sets columns flush right, as numbers are.
    #[must_use]
    pub fn right(mut self, columns: &[usize]) -> Self {
        self.right.extend_from_slice(columns);
        self
    }

    /// Keeps the cells of columns on one line each; the other columns give way.
    #[must_use]
    pub fn whole(mut self, columns: &[usize]) -> Self {
        self.whole.extend_from_slice(columns);
        self
    }

    /// Adds a row.
    pub fn row<S: AsRef<str>>(&mut self, cells: &[S]) {
        self.table.add_row(cells.iter().map(|text| Cell::new(text.as_ref())));
    }

    /// Writes the table.
    pub fn write(mut self, output: &mut Output<'_>) -> io::Result<()> {
        self.table.set_width(u16::try_from(output.columns() - 1).unwrap_or(u16::MAX));
        for index in self.right {
            if let Some(column) = self.table.column_mut(index) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        for index in self.whole {
            if let Some(column) = self.table.column_mut(index) {
                column.set_constraint(ColumnConstraint::ContentWidth);
            }
        }
        for line in self.table.lines() {
            output.line(&format!(" {}", line.trim_end()))?;
        }
        Ok(())
    }
}
