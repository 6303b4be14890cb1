//! What an answer says, before it is known where: headings, sentences, terms, tables, pictures, cautions. A writer a medium turns it into text
//! ([`crate::terminal`]) or a page ([`crate::html`]).

use barwright_blend::cautions;
use serde::Serialize;

use crate::picture::Picture;

/// An answer in words: the sentences that matter first, then the evidence.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Document {
    /// What it is about.
    pub title: String,
    /// Behind the title, in brackets: the state of the bar, say. May be empty.
    pub aside: String,
    /// Right under the title: what the maker remarks of the formula. May be empty.
    pub remark: String,
    /// Under the title, before any heading.
    pub lead: Vec<Block>,
    /// The evidence.
    pub sections: Vec<Section>,
}

/// A part of a document under one heading.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Section {
    /// The heading.
    pub heading: String,
    /// What stands under it.
    pub blocks: Vec<Block>,
}

/// What a section is made of.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Block {
    /// A smaller heading.
    Under(String),
    /// Sentences that matter, one under the other.
    Said(Vec<Sentence>),
    /// A sentence that must not be overlooked.
    Alarm(String),
    /// Sentences in small letters: how it was worked out, what it rests on.
    Small(String),
    /// Terms and what is said of each.
    Terms(Vec<Term>),
    /// A table.
    Table(Table),
    /// A picture; a terminal shows it only on request.
    Picture(Picture),
    /// What to take care of.
    Cautions(Vec<Caution>),
    /// Steps to tick off.
    Steps(Vec<Step>),
    /// Lines to fill in, such as a date: what for, and what is known of it already.
    Fields(Vec<Field>),
}

/// A sentence of an answer, with what it is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Sentence {
    /// What it is about, one word for programs; empty where there is none.
    pub about: &'static str,
    /// The sentence. Commands and keys stand between back quotes.
    pub text: String,
}

/// A term and what is said of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Term {
    /// The term.
    pub term: String,
    /// What is said of it.
    pub text: String,
}

/// Something to take care of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Caution {
    /// What it is about, one word; a writer shows each text once.
    pub about: &'static str,
    /// The ingredients it is about, if any.
    pub of: String,
    /// The formulas it is for; empty where it is for all.
    pub formulas: Vec<String>,
    /// The caution, in sentences.
    pub text: String,
}

impl From<cautions::Caution> for Caution {
    /// For all formulas.
    fn from(caution: cautions::Caution) -> Self {
        Caution { about: caution.about, of: caution.of, formulas: Vec::new(), text: caution.text }
    }
}

/// A step to tick off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Step {
    /// What to do.
    pub text: String,
    /// Whether something is written behind it.
    pub fill: bool,
}

/// A line to fill in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Field {
    /// What for.
    pub label: &'static str,
    /// What is known of it already.
    pub value: Option<String>,
}

/// A table; the first cell of each row says what the row is about.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Table {
    /// What it shows, where the heading does not say; may be empty.
    pub caption: String,
    /// Columns from left to right.
    pub columns: Vec<Column>,
    /// Rows from top to bottom.
    pub rows: Vec<Row>,
    /// Whether each row has a box to tick, on paper.
    pub ticks: bool,
}

/// A column of a table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Column {
    /// Its heading, with the unit.
    pub head: String,
    /// What its cells are, by which a writer decides width and alignment.
    pub kind: Kind,
}

/// What the cells of a column are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Words, which may take several lines.
    Words,
    /// A name or a figure with its interval, kept on one line where there is room.
    Figure,
    /// A plain number, flush right.
    Number,
    /// A number that is put on the scale: large on paper.
    Mass,
    /// A name, or where the cell is empty a line to write one on.
    Fill,
}

/// A row of a table.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Row {
    /// Its cells, one a column.
    pub cells: Vec<String>,
    /// Whether it is the sum of rows around it.
    pub is_sum: bool,
}

impl Document {
    /// Starts a document.
    pub fn new(title: impl Into<String>, aside: impl Into<String>) -> Self {
        Document { title: title.into(), aside: aside.into(), ..Document::default() }
    }

    /// The sentences that matter: those under the title.
    pub fn said(&self) -> Vec<&str> {
        let said = self.lead.iter().filter_map(|block| if let Block::Said(all) = block { Some(all) } else { None });
        said.flatten().map(|sentence| sentence.text.as_str()).collect()
    }

    /// Sets the remark.
    #[must_use]
    pub fn remark(mut self, remark: Option<&str>) -> Self {
        self.remark = remark.unwrap_or_default().to_owned();
        self
    }

    /// Adds blocks under the title.
    #[must_use]
    pub fn lead(mut self, blocks: impl IntoIterator<Item = Block>) -> Self {
        self.lead.extend(blocks);
        self
    }

    /// Adds a section.
    #[must_use]
    pub fn section(mut self, heading: impl Into<String>, blocks: impl IntoIterator<Item = Block>) -> Self {
        self.sections.push(Section::new(heading, blocks));
        self
    }

    /// Ends it: what it rests on, and what to take care of.
    #[must_use]
    pub(crate) fn ending(self, rests_on: impl IntoIterator<Item = String>, cautions: Section) -> Self {
        let mut ended = self.section("What this rests on", [Block::said(rests_on)]);
        ended.sections.push(cautions);
        ended
    }

    /// Makes one section of it, for a longer document: its headings become smaller ones.
    pub fn into_section(self, heading: impl Into<String>) -> Section {
        let below =
            self.sections.into_iter().flat_map(|one| std::iter::once(Block::Under(one.heading)).chain(one.blocks));
        Section::new(heading, self.lead.into_iter().chain(below))
    }
}

impl Section {
    /// Makes a section.
    pub fn new(heading: impl Into<String>, blocks: impl IntoIterator<Item = Block>) -> Self {
        Section { heading: heading.into(), blocks: blocks.into_iter().collect() }
    }

    /// Whether it has nothing but cautions.
    pub fn is_cautions(&self) -> bool {
        !self.blocks.is_empty() && self.blocks.iter().all(|block| matches!(block, Block::Cautions(_)))
    }
}

impl Block {
    /// Sentences that are about nothing in particular.
    pub fn said<S: Into<String>>(all: impl IntoIterator<Item = S>) -> Self {
        Block::Said(all.into_iter().map(|text| Sentence { about: "", text: text.into() }).collect())
    }

    /// Terms and their texts.
    pub fn terms<T: Into<String>, S: Into<String>>(all: impl IntoIterator<Item = (T, S)>) -> Self {
        Block::Terms(all.into_iter().map(|(term, text)| Term { term: term.into(), text: text.into() }).collect())
    }
}

impl Table {
    /// Starts a table.
    pub fn new(caption: impl Into<String>) -> Self {
        Table { caption: caption.into(), ..Table::default() }
    }

    /// Adds columns of one kind.
    #[must_use]
    pub fn columns<S: Into<String>>(mut self, kind: Kind, heads: impl IntoIterator<Item = S>) -> Self {
        self.columns.extend(heads.into_iter().map(|head| Column { head: head.into(), kind }));
        self
    }

    /// Gives each row a box to tick.
    #[must_use]
    pub fn with_ticks(mut self) -> Self {
        self.ticks = true;
        self
    }

    /// Adds a row.
    pub fn row<S: Into<String>>(&mut self, cells: impl IntoIterator<Item = S>) {
        self.rows.push(Row { cells: cells.into_iter().map(Into::into).collect(), is_sum: false });
    }

    /// Adds a row that is a sum.
    pub fn sum<S: Into<String>>(&mut self, cells: impl IntoIterator<Item = S>) {
        self.row(cells);
        if let Some(row) = self.rows.last_mut() {
            row.is_sum = true;
        }
    }

    /// Adds rows.
    #[must_use]
    pub fn rows<S: Into<String>, R: IntoIterator<Item = S>>(mut self, rows: impl IntoIterator<Item = R>) -> Self {
        rows.into_iter().for_each(|cells| self.row(cells));
        self
    }
}
