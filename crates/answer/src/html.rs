//! A document as a page to keep and to print: one file, without scripts, fonts or pictures from elsewhere, the same bytes for the same answer.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::document::{Block, Caution, Document, Kind, Section, Table};
use crate::picture;
use crate::words::names::{capital, list};
use crate::words::visible::visible;

/// How every page looks: dark on white, so that a black-and-white printer loses nothing; figures under each other; real squares to tick.
pub const STYLE: &str = include_str!("style.css");

/// Nothing may be fetched or run, whatever a name says.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'";

/// A table of at most this many rows is not split between pages.
const SHORT_ROWS: usize = 12;

/// Returns a document as a page.
///
/// # Arguments
/// * `window`: title of the window, and of the printed file.
/// * `foot`: what stands at its end.
pub fn page(document: &Document, window: &str, foot: &str) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light";
                title { (window) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main { (body(document)) }
                footer { p { (foot) } }
            }
        }
    }
    .into_string()
}

/// Returns a document in two pieces for a page of another make: what stands under its title, and its sections under headings of the third level.
pub fn pieces(document: &Document) -> [String; 2] {
    let sections = Document { lead: Vec::new(), ..document.clone() }.into_section("");
    [&document.lead, &sections.blocks].map(|all| blocks(all, &mut 0).into_string())
}

/// Returns a document as markup, from its one `h1` on.
fn body(document: &Document) -> Markup {
    let mut pictures = 0;
    html! {
        h1 { (document.title) @if !document.aside.is_empty() { " (" (document.aside) ")" } }
        @if !document.remark.is_empty() { p.small { (sentence(&visible(&document.remark))) } }
        @if !document.lead.is_empty() { div.lead { (blocks(&document.lead, &mut pictures)) } }
        @for section in &document.sections { (shown(section, &mut pictures)) }
    }
}

/// A section as markup; pictures are numbered over the whole page.
fn shown(section: &Section, pictures: &mut usize) -> Markup {
    html! {
        section.flow {
            @if !section.heading.is_empty() { h2 { (section.heading) } }
            (blocks(&section.blocks, pictures))
        }
    }
}

fn blocks(all: &[Block], pictures: &mut usize) -> Markup {
    html! {
        @for block in all {
            @match block {
                Block::Under(heading) => h3 { (heading) },
                Block::Said(all) => ul.plain { @for one in all { li { (sentence(&one.text)) } } },
                Block::Alarm(text) => p.alarm { (sentence(text)) },
                Block::Small(text) => p.small { (sentence(text)) },
                Block::Terms(all) => dl { @for one in all { div { dt { (one.term) } dd { (sentence(&one.text)) } } } },
                Block::Table(table) => (table_shown(table)),
                Block::Picture(picture) => (picture_shown(picture, pictures)),
                Block::Cautions(all) => dl { @for one in all { (caution(one)) } },
                Block::Steps(all) => ul.ticks { @for one in all { li { (tick()) (one.text) @if one.fill { ": " (fill()) } } } },
                Block::Fields(all) => ul.head {
                    @for one in all {
                        li { (one.label) " " @match &one.value { Some(value) => strong { (value) }, None => (fill()) } }
                    }
                },
            }
        }
    }
}

fn caution(one: &Caution) -> Markup {
    let about = capital(one.about);
    html! {
        div {
            dt { (about) @if !one.formulas.is_empty() { ", " (list(&one.formulas, "and")) } }
            dd { (sentence(&visible(&one.text))) }
        }
    }
}

fn picture_shown(of: &picture::Picture, pictures: &mut usize) -> Markup {
    *pictures += 1;
    let id = format!("picture-{pictures}");
    html! { figure { (PreEscaped(picture::svg(of, &id))) } }
}

fn table_shown(table: &Table) -> Markup {
    html! {
        div.wide {
            table.short[table.rows.len() <= SHORT_ROWS] {
                @if !table.caption.is_empty() { caption { (table.caption) } }
                thead {
                    tr {
                        @if table.ticks { th.box scope="col" { "done" } }
                        @for (index, column) in table.columns.iter().enumerate() {
                            th.number[index > 0 && is_number(column.kind)] scope="col" { (column.head) }
                        }
                    }
                }
                tbody {
                    @for (at, row) in table.rows.iter().enumerate() {
                        @let is_last = at + 1 == table.rows.len();
                        tr.group[row.is_sum && !is_last].sum[row.is_sum && is_last] {
                            @if table.ticks { td.box { (tick()) } }
                            @for (index, (cell, column)) in row.cells.iter().zip(&table.columns).enumerate() {
                                @if index == 0 {
                                    th scope="row" { (cell) }
                                } @else if column.kind == Kind::Fill && cell.is_empty() {
                                    td { (fill()) }
                                } @else {
                                    td.number[is_number(column.kind)].mass[column.kind == Kind::Mass] { (cell) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Whether cells stand flush right: figures do on a page.
fn is_number(kind: Kind) -> bool {
    matches!(kind, Kind::Number | Kind::Mass | Kind::Figure)
}

/// A square to tick.
fn tick() -> Markup {
    html! { span.tick role="img" aria-label="box to tick" {} }
}

/// A line to write on.
fn fill() -> Markup {
    html! { span.fill role="img" aria-label="to write in" {} }
}

/// A sentence, with its commands and keys between back quotes set as such.
fn sentence(text: &str) -> Markup {
    html! {
        @for (index, piece) in text.split('`').enumerate() {
            @if index % 2 == 1 { code { (piece) } } @else { (piece) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_a_name_says_becomes_markup() {
        let name = "<script>alert('1')</script> \"&\" `a<b`";
        let document = Document::new("bar", "").lead([Block::said([name])]);
        let page = page(&document, name, name);
        assert!(!page.contains("<script"), "{page}");
        assert_eq!(page.matches("&lt;script&gt;").count(), 3, "{page}");
        assert!(page.contains("<code>a&lt;b</code>") && page.contains("&quot;&amp;&quot;"), "{page}");
    }
}
