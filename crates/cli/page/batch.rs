//! The weigh sheet as a page to print and to fill in at the bench.

use maud::{Markup, html};

use super::{fill, frame, sentence, terms, tick};
use crate::render::batch::{COOL, COST, CostWords, JugWords, LABEL, LotWords, MIND, POUR, Step, Words};

/// Where the figures come from.
const FOOT: &str =
    "Worked out by barwright from your formula: predictions, not measurements. Keep this sheet with the bar kept back.";

/// Makes the page.
pub fn page(words: &Words) -> String {
    let title = match &words.number {
        Some(number) => format!("{}, batch {number}: weigh sheet", words.title),
        None => format!("{}: weigh sheet", words.title),
    };
    frame(&title, &body(words), FOOT)
}

fn body(words: &Words) -> Markup {
    html! {
        h1 { (words.title) }
        ul.head {
            li { "Batch " @match &words.number { Some(number) => strong { (number) }, None => (fill()) } }
            li { "Date " (fill()) }
            li { "Made by " (fill()) }
        }
        p.lead { (words.summary) }
        @for text in &words.over { p.alarm { (sentence(text)) } }
        (weighing(words))
        (jugs(words))
        (plan(POUR, &words.pour))
        (plan(COOL, &words.cool))
        section.flow {
            h2 { "At the bench" }
            ul.ticks {
                @for Step { text, fill: blank } in &words.steps {
                    li { (tick()) (text) @if *blank { ": " (fill()) } }
                }
            }
            p.small { (sentence(&words.rests)) }
        }
        (lots(&words.lots))
        (cost(words.cost.as_ref()))
        section.flow { h2 { (LABEL) } (terms(&words.label)) }
        section.flow { h2 { (MIND) } (terms(&words.mind)) }
    }
}

fn weighing(words: &Words) -> Markup {
    let [ingredient, percent, weigh, shows] = &words.head;
    html! {
        section {
            h2 { "Weigh" }
            div.wide {
                table {
                    caption { "In the order of melting. The last column is what the scale shows when it is not set to zero between." }
                    thead {
                        tr {
                            th.box scope="col" { "done" }
                            th scope="col" { (ingredient) }
                            th.number scope="col" { (percent) }
                            th.number scope="col" { (weigh) }
                            th.number scope="col" { (shows) }
                        }
                    }
                    tbody {
                        @for [ingredient, percent, mass, running] in &words.lines {
                            tr {
                                td.box { (tick()) }
                                th scope="row" { (ingredient) }
                                td.number { (percent) }
                                td.number.mass { (mass) }
                                td.number { (running) }
                            }
                        }
                    }
                }
            }
            @for text in &words.exactness { p.small { (sentence(text)) } }
        }
    }
}

fn jugs(words: &Words) -> Markup {
    let Some(heading) = words.jugs_heading() else { return html! {} };
    let several = words.jugs.len() > 1;
    html! {
        section {
            h2 { (heading) }
            div.wide {
                table {
                    caption { @if several { "What goes into each jug." } @else { "What is stirred into the melt at the end." } }
                    thead {
                        tr {
                            th.box scope="col" { "done" }
                            @if several { th scope="col" { "jug" } th.number scope="col" { "melt" } }
                            th scope="col" { "colour" }
                            th.number scope="col" { "by mass" }
                            th scope="col" { "by spoon" }
                        }
                    }
                    tbody {
                        @for (index, jug) in words.jugs.iter().enumerate() { (jug_rows(several, index, jug)) }
                    }
                }
            }
            @for rule in &words.colour_rules { p { (rule) } }
        }
    }
}

/// One row a colour; the first has the jug and its melt.
fn jug_rows(several: bool, index: usize, jug: &JugWords) -> Markup {
    html! {
        @if jug.colours.is_empty() {
            tr {
                td.box { (tick()) }
                th scope="row" { (index + 1) }
                td.number { (jug.melt) }
                td { "no colour" }
                td.number {}
                td {}
            }
        }
        @for (row, colour) in jug.colours.iter().enumerate() {
            tr {
                td.box { (tick()) }
                @if several {
                    th scope="row" { (index + 1) }
                    td.number { @if row == 0 { (jug.melt) } }
                    td { (colour.name) }
                } @else {
                    th scope="row" { (colour.name) }
                }
                td.number { (colour.mass) }
                td.spoons { @if let Some(spoons) = &colour.spoons { (spoons) } @else { "weigh it" } }
            }
        }
    }
}

fn plan(heading: &str, sentences: &[String]) -> Markup {
    html! {
        @if !sentences.is_empty() {
            section {
                h2 { (heading) }
                ul.plain { @for text in sentences { li { (sentence(text)) } } }
            }
        }
    }
}

fn lots(lots: &[LotWords]) -> Markup {
    html! {
        section {
            h2 { "Lots used" }
            div.wide {
                table {
                    caption { "Lots of your file are named; write in the others." }
                    thead {
                        tr {
                            th.box scope="col" { "done" }
                            th scope="col" { "what" }
                            th.number scope="col" { "mass" }
                            th scope="col" { "lot" }
                        }
                    }
                    tbody {
                        @for LotWords { of, lot, mass } in lots {
                            tr {
                                td.box { (tick()) }
                                th scope="row" { (of) }
                                td.number { (mass) }
                                td { @if let Some(lot) = lot { (lot) } @else { (fill()) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn cost(cost: Option<&CostWords>) -> Markup {
    html! {
        @match cost {
            None => {}
            Some(CostWords::Unknown(text)) => section { h2 { "Cost" } p { (sentence(text)) } },
            Some(CostWords::Known(rows, gram)) => section {
                h2 { (COST) }
                table {
                    caption { (gram) }
                    thead {
                        tr {
                            th scope="col" { "what" }
                            th.number scope="col" { "batch" }
                            th.number scope="col" { "a bar" }
                        }
                    }
                    tbody {
                        @for (index, [what, batch, bar]) in rows.iter().enumerate() {
                            tr.sum[index + 1 == rows.len()] {
                                th scope="row" { (what) }
                                td.number { (batch) }
                                td.number { (bar) }
                            }
                        }
                    }
                }
            },
        }
    }
}
