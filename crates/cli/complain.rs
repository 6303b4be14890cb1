//! Shows what was wrong: the place, the line, what was seen and what to do.

use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};

use crate::excerpt::excerpt;
use barwright_answer::refusal::{Fault, Place};
use barwright_answer::terminal::wrap;
use barwright_answer::words::visible::visible;

/// Columns taken by the rule and the word before a hint.
const HINT_START: usize = 12;

/// Characters of a line given to the renderer, which trims them to the columns there are.
const LONGEST_LINE: usize = 500;

/// Most characters shown of the name of a text.
const LONGEST_PATH: usize = 200;

/// Returns faults as text, one after the other with an empty line between.
pub fn render(faults: &[Fault], colour: bool, columns: usize) -> String {
    let renderer = if colour { Renderer::styled() } else { Renderer::plain() }.term_width(columns);
    let mut text = String::new();
    for fault in faults {
        if !text.is_empty() {
            text.push('\n');
        }
        text.push_str(&one(fault, &renderer, columns));
        text.push('\n');
    }
    if faults.len() > 1 {
        text.push_str(&format!("\n{} errors in all\n", faults.len()));
    }
    text
}

fn one(fault: &Fault, renderer: &Renderer, columns: usize) -> String {
    let title = Level::ERROR.primary_title(visible(&fault.message)).id(fault.code);
    let mut group = Group::with_title(title);
    match &fault.place {
        Place::None => {}
        Place::File { origin, at } => {
            let mut place = Origin::path(path(origin));
            if let Some((line, column)) = at {
                place = place.line(*line).char_column(*column);
            }
            group = group.element(place);
        }
        Place::Text { origin, text, span } => {
            let cut = excerpt(text, span, LONGEST_LINE);
            let mut mark = AnnotationKind::Primary.span(cut.span);
            if !fault.label.is_empty() {
                mark = mark.label(visible(&fault.label));
            }
            let snippet = Snippet::source(cut.shown).line_start(cut.line).annotation(mark);
            group = if cut.whole {
                group.element(snippet.path(path(origin)))
            } else {
                // The column of a line that was cut has to be stated.
                let place = Origin::path(path(origin)).line(cut.line).char_column(cut.column);
                group.element(place).element(snippet)
            };
        }
    }
    for hint in &fault.hints {
        let lines = wrap(&visible(hint), columns.saturating_sub(HINT_START), 0);
        group = group.element(Level::HELP.with_name("hint").message(lines.join("\n")));
    }
    renderer.render(&[group])
}

/// Returns the name of a text, the end of it when it is very long.
fn path(origin: &str) -> String {
    let count = origin.chars().count();
    if count <= LONGEST_PATH {
        visible(origin)
    } else {
        let end: String = origin.chars().skip(count - LONGEST_PATH).collect();
        format!("…{}", visible(&end))
    }
}
