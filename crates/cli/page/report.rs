//! The report as a page to keep: the answer first, then curves, tables, plans, what to mind, what it rests on, sources.

use barwright_blend::{Assessment, Comparison, Options};
use barwright_reference::{Formula, Library};
use maud::{Markup, PreEscaped, html};

use super::{frame, sentence, terms};
use crate::args::Units;
use crate::basis::Basis;
use crate::commands::curves;
use crate::plot::{self, Picture};
use crate::render::assess::{
    LANDMARKS, RULE_OF_THUMB, below_the_scale, in_units, interval_words, landmarks, sentences,
};
use crate::render::compare::{
    MOST_BESIDE, merged_cautions, part_rows, properties, purposes, same_blends, what_decides,
};
use crate::render::ingredients::{FIGURES, HOW, cited, figures};
use crate::render::{self, list};
use crate::visible::visible;

/// Where the figures come from.
const FOOT: &str = "Worked out by barwright from the formula: predictions, not measurements.";

/// Most formulas named in the title.
const MOST_NAMED: usize = 4;

/// A list of names longer than this is no title of a window.
const LONGEST_WINDOW: usize = 60;

/// What the curves show, in their order.
const CURVES: [&str; 2] = ["How much of it is solid", "How firm it is"];

/// A table of at most so many rows is not parted on paper.
const SHORT_ROWS: usize = 12;

/// What is shown.
pub struct Found<'a> {
    /// Names of the formulas as shown.
    pub titles: &'a [String],
    /// The formulas.
    pub formulas: &'a [Formula],
    /// What each is.
    pub answers: &'a [Assessment],
    /// Their differences, where there are several.
    pub comparison: Option<&'a Comparison>,
    /// Remark of each formula's file.
    pub remarks: &'a [Option<String>],
    /// Each at the temperatures of the curves.
    pub computed: &'a [Assessment],
    /// Plans asked for, of each.
    pub plans: &'a [Vec<Section>],
    /// Trial computations behind the plans.
    pub plan_draws: usize,
    /// Reference tables and lots.
    pub library: &'a Library,
    /// What was asked.
    pub options: &'a Options,
    /// Units shown.
    pub units: Units,
}

/// A part of the page under one heading.
pub struct Section {
    heading: String,
    blocks: Vec<Block>,
}

/// What a section is made of.
#[derive(Clone)]
enum Block {
    /// A smaller heading.
    Under(String),
    /// Sentences that matter, one under the other.
    Said(Vec<String>),
    /// Sentences in small letters.
    Small(String),
    /// Terms and what is said of them.
    Terms(Vec<(String, String)>),
    /// A table.
    Table(Table),
    /// A picture.
    Picture(Picture),
}

/// A table; the first cell of each row says what the row is about.
#[derive(Clone)]
struct Table {
    caption: String,
    head: Vec<String>,
    /// Columns of figures.
    figures: Vec<usize>,
    rows: Vec<Vec<String>>,
    /// Rows that are sums.
    sums: Vec<usize>,
}

impl Table {
    fn new(caption: impl Into<String>, head: impl IntoIterator<Item = String>) -> Self {
        Table {
            caption: caption.into(),
            head: head.into_iter().collect(),
            figures: Vec::new(),
            rows: Vec::new(),
            sums: Vec::new(),
        }
    }

    /// A table whose columns after the first are figures of formulas.
    fn beside(caption: &str, first: &str, titles: &[String]) -> Self {
        let head = std::iter::once(first.to_owned()).chain(titles.iter().cloned());
        Table { figures: (1..=titles.len()).collect(), ..Table::new(caption, head) }
    }
}

impl Section {
    fn new(heading: impl Into<String>) -> Self {
        Section { heading: heading.into(), blocks: Vec::new() }
    }

    /// How to melt and pour.
    pub fn pouring(view: &render::pour::View<'_>) -> Self {
        let head = render::pour::STEPS.map(|word| if word.is_empty() { "step" } else { word }.to_owned());
        let table = Table {
            figures: vec![2, 3],
            rows: render::pour::steps(view).into_iter().map(Vec::from).collect(),
            ..Table::new("What to melt, the hardest first.", head)
        };
        let blocks = vec![
            Block::Said(render::pour::decisive(view)),
            Block::Table(table),
            Block::Small(render::pour::RESTS_ON.to_owned()),
        ];
        Section { heading: "Pouring".to_owned(), blocks }
    }

    /// How it sets in its mould.
    pub fn cooling(view: &render::cool::View<'_>) -> Self {
        let filling = render::cool::filling(view.mould, "Mould", view.found.bar_kg, view.units);
        let poured = format!("{filling}; poured at {}.", view.units.whole_degrees(view.pour_c));
        let said = [render::cool::answer(view), poured].into_iter().chain(render::cool::below(view));
        let table = Table {
            rows: render::cool::places(view).into_iter().map(Vec::from).collect(),
            ..Table::new("Where it cools, with 90 % intervals.", render::cool::PLACES.map(str::to_owned))
        };
        let blocks = vec![
            Block::Said(said.chain([render::cool::dew(view)]).collect()),
            Block::Table(table),
            Block::Picture(plot::cooling::picture(view.found, view.pour_c, view.units)),
            Block::Small(render::cool::RESTS_ON.to_owned()),
        ];
        Section { heading: "Setting".to_owned(), blocks }
    }

    /// What becomes of it in the post.
    pub fn post(view: &render::parcel::View<'_>) -> Self {
        let table = Table {
            figures: vec![3],
            rows: render::parcel::ways(view).into_iter().map(Vec::from).collect(),
            ..Table::new("What helps, the surest first.", render::parcel::WAYS.map(str::to_owned))
        };
        let route = render::name(&view.sent.name);
        let mut blocks = vec![
            Block::Said(render::parcel::answer(view)),
            Block::Table(table),
            Block::Picture(plot::parcel::picture(view.found, &route, view.units)),
        ];
        blocks.extend(render::parcel::rests_on(view).into_iter().map(Block::Small));
        let cautions = render::parcel::cautions(&view.task.packing).into_iter();
        blocks.push(Block::Terms(cautions.map(|one| (render::capital(one.about), one.text)).collect()));
        Section { heading: "In the post".to_owned(), blocks }
    }
}

/// Makes the page.
pub fn page(found: &Found<'_>) -> String {
    let named = list(&found.titles.iter().take(MOST_NAMED).cloned().collect::<Vec<_>>(), "and");
    let more = found.titles.len().saturating_sub(MOST_NAMED);
    let title = if more > 0 { format!("{named}, and {more} more") } else { named };
    let mut sections = vec![answer(found), curves_of(found)];
    sections.extend(parts(found));
    sections.extend(tables(found));
    sections.extend(plans(found));
    sections.extend([mind(found), rests_on(found), sources(found)]);
    let mut pictures = 0;
    let body = html! {
        h1 { (title) }
        p.small { (asked(found)) }
        @for section in &sections { (shown(section, &mut pictures)) }
    };
    let window = match found.titles.len() {
        count if count > 1 && title.chars().count() > LONGEST_WINDOW => format!("{count} formulas"),
        _ => title.clone(),
    };
    frame(&format!("{window}: report"), &body, FOOT)
}

/// What was asked, in a sentence.
fn asked(found: &Found<'_>) -> String {
    let Found { options, units, .. } = found;
    format!(
        "Asked of a {} bar: relief of {} whole out of the mould at {}, and its shape kept for a day at {}.",
        options.state.word(),
        units.given_length(options.relief_mm),
        units.given_degrees(options.release_c),
        units.given_degrees(options.hold_c)
    )
}

/// The answer: of one formula, or what decides between several and then of each.
fn answer(found: &Found<'_>) -> Section {
    let mut section = Section::new("The answer");
    let view = compared(found);
    if let Some(view) = &view {
        section.blocks.push(Block::Said(what_decides(view, found.titles)));
        if same_blends(found.formulas).iter().any(|first| *first != 0) {
            section.blocks.push(Block::Under("Which to pour".to_owned()));
            let all = purposes(view, found.titles).into_iter();
            section.blocks.push(Block::Terms(all.map(|(purpose, words)| (purpose.to_owned(), words)).collect()));
        }
    }
    for ((title, answer), remark) in found.titles.iter().zip(found.answers).zip(found.remarks) {
        if view.is_some() {
            section.blocks.push(Block::Under(title.clone()));
        }
        section.blocks.push(Block::Said(sentences(answer, found.options, found.units)));
        section.blocks.extend(remark.as_deref().map(|remark| Block::Small(visible(remark))));
    }
    section.blocks.push(Block::Small(RULE_OF_THUMB.to_owned()));
    section
}

/// The view of a comparison, where there is one.
fn compared<'a>(found: &Found<'a>) -> Option<render::compare::View<'a>> {
    found.comparison.map(|comparison| render::compare::View {
        comparison,
        formulas: found.formulas,
        library: found.library,
        options: found.options,
        units: found.units,
    })
}

/// Solids and firmness: a picture each, so that paper may part them.
fn curves_of(found: &Found<'_>) -> Section {
    let both = curves::picture(found.formulas, found.computed, found.units);
    let caption = both.caption;
    let blocks = CURVES.into_iter().zip(both.charts).map(|(title, chart)| {
        Block::Picture(Picture { title: title.to_owned(), charts: vec![chart], beside: 1, caption: caption.clone() })
    });
    let blocks = blocks.collect();
    Section { heading: "Solids and firmness against temperature".to_owned(), blocks }
}

fn parts(found: &Found<'_>) -> Vec<Section> {
    let mut section = Section::new("Parts");
    for (titles, formulas) in found.titles.chunks(MOST_BESIDE).zip(found.formulas.chunks(MOST_BESIDE)) {
        let mut table = Table::beside("Mass %, in groups with their sums.", "ingredient", titles);
        for (number, row) in part_rows(found.library, found.formulas, formulas).into_iter().enumerate() {
            if row.is_sum {
                table.sums.push(number);
            }
            table.rows.push(std::iter::once(row.label).chain(row.cells).collect());
        }
        section.blocks.push(Block::Table(table));
    }
    vec![section]
}

/// The tables of figures: of one formula, landmarks with their tests; of several, all properties side by side.
fn tables(found: &Found<'_>) -> Vec<Section> {
    let units = found.units;
    let intervals = "In brackets: 90 % intervals.";
    let Some(view) = compared(found) else {
        let Some(answer) = found.answers.first() else { return Vec::new() };
        let head = ["landmark".to_owned(), units.degree().to_owned(), "test".to_owned()];
        let rows = landmarks(answer).into_iter().zip(LANDMARKS).map(|((landmark, estimate), (_, test))| {
            let shown = estimate.map_or_else(|| below_the_scale(units), |estimate| units.temperature(estimate));
            vec![landmark.to_owned(), shown, in_units(test, units)]
        });
        let melting = Table { figures: vec![1], rows: rows.collect(), ..Table::new(intervals, head) };
        let firmness = Table {
            figures: vec![1, 2, 3, 4],
            rows: render::assess::firmness_rows(answer, units),
            ..Table::new(intervals, render::assess::firmness_head(units))
        };
        let section = |heading: &str, table| Section { heading: heading.to_owned(), blocks: vec![Block::Table(table)] };
        return vec![section("Melting", melting), section("Solids and firmness", firmness)];
    };
    let mut section = Section::new("Side by side");
    for (titles, answers) in found.titles.chunks(MOST_BESIDE).zip(found.answers.chunks(MOST_BESIDE)) {
        let table = Table::beside(intervals, "property", titles);
        section.blocks.push(Block::Table(Table { rows: properties(&view, answers), ..table }));
    }
    vec![section]
}

fn plans(found: &Found<'_>) -> Vec<Section> {
    let several = found.titles.len() > 1;
    let mut sections = Vec::new();
    for (title, plans) in found.titles.iter().zip(found.plans) {
        for plan in plans {
            let heading =
                if several { format!("{title}: {}", render::lower(&plan.heading)) } else { plan.heading.clone() };
            sections.push((heading, plan));
        }
    }
    sections.into_iter().map(|(heading, plan)| Section { heading, blocks: plan.blocks.clone() }).collect()
}

/// Every figure of every ingredient, with how it was obtained and where from.
fn sources(found: &Found<'_>) -> Section {
    let mut section = Section::new("Where the figures of the ingredients come from");
    let mut seen = Vec::new();
    let mut keys = Vec::new();
    for part in found.formulas.iter().flat_map(|formula| &formula.parts) {
        let Some(ingredient) = found.library.ingredients.get(part.ingredient) else { continue };
        if seen.contains(&part.ingredient) {
            continue;
        }
        seen.push(part.ingredient);
        let caption =
            format!("{} ({})", render::capital(&render::name(&ingredient.common_name)), visible(&ingredient.inci_name));
        let figures = figures(found.library, ingredient);
        keys.extend(figures.iter().map(|figure| figure.source.clone()));
        let rows =
            figures.into_iter().map(|one| vec![one.what, one.value, one.how, render::ingredients::source(&one.source)]);
        let table = Table { rows: rows.collect(), ..Table::new(caption, FIGURES.map(str::to_owned)) };
        section.blocks.push(Block::Table(table));
    }
    section.blocks.push(Block::Small(HOW.to_owned()));
    section.blocks.push(Block::Under("References".to_owned()));
    section.blocks.push(Block::Terms(cited(keys.iter().map(String::as_str)).into_iter().collect()));
    section
}

fn rests_on(found: &Found<'_>) -> Section {
    let mut section = Section::new("What this rests on");
    let several = found.titles.len() > 1;
    let mut said: Vec<String> = (found.titles.iter().zip(found.formulas))
        .map(|(title, formula)| {
            let basis = Basis::of(found.library, formula).sentence();
            if several { format!("{title}. {basis}") } else { basis }
        })
        .collect();
    said.extend(found.answers.first().map(interval_words));
    if found.plans.iter().any(|plans| !plans.is_empty()) {
        said.push(format!("Intervals of the plans: from {} trial computations.", found.plan_draws));
    }
    section.blocks.push(Block::Said(said));
    section
}

fn mind(found: &Found<'_>) -> Section {
    let answers: Vec<&Assessment> = found.answers.iter().collect();
    let blocks = vec![Block::Terms(merged_cautions(&answers, found.titles))];
    Section { heading: "Mind".to_owned(), blocks }
}

/// A section as markup; pictures are numbered over the whole page.
fn shown(section: &Section, pictures: &mut usize) -> Markup {
    html! {
        section.flow {
            h2 { (section.heading) }
            @for block in &section.blocks {
                @match block {
                    Block::Under(heading) => h3 { (heading) },
                    Block::Said(all) => ul.plain { @for text in all { li { (sentence(text)) } } },
                    Block::Small(text) => p.small { (sentence(text)) },
                    Block::Terms(all) => (terms(&all.iter().map(|(about, text)| (about.as_str(), text.clone())).collect::<Vec<_>>())),
                    Block::Table(table) => (table_shown(table)),
                    Block::Picture(picture) => (picture_shown(picture, pictures)),
                }
            }
        }
    }
}

fn picture_shown(picture: &Picture, pictures: &mut usize) -> Markup {
    *pictures += 1;
    let id = format!("picture-{pictures}");
    html! { figure { (PreEscaped(plot::svg(picture, &id))) } }
}

fn table_shown(table: &Table) -> Markup {
    let number = |column: usize| table.figures.contains(&column);
    html! {
        div.wide {
            table.short[table.rows.len() <= SHORT_ROWS] {
                caption { (table.caption) }
                thead {
                    tr { @for (column, word) in table.head.iter().enumerate() { th.number[number(column)] scope="col" { (word) } } }
                }
                tbody {
                    @for (row, cells) in table.rows.iter().enumerate() {
                        tr.group[table.sums.contains(&row)] {
                            @for (column, cell) in cells.iter().enumerate() {
                                @if column == 0 { th scope="row" { (cell) } } @else { td.number[number(column)] { (cell) } }
                            }
                        }
                    }
                }
            }
        }
    }
}
