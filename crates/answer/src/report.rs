//! The report: one page to keep, of one formula or several. The answer first, then curves, tables, plans, cautions, what it rests on, sources.

use barwright_blend::{Assessment, Comparison, Options};
use barwright_reference::Formula;

use crate::assess::{RULE_OF_THUMB, firmness_table, interval_words, melting_table, sentences};
use crate::compare::{View, parts, purposes, same_blends, side_by_side, what_decides};
use crate::document::{Block, Document, Section, Table};
use crate::engine::{Engine, Recipe};
use crate::picture::{Picture, curves};
use crate::refusal::Refusal;
use crate::words::basis::Basis;
use crate::words::names::{list, lower, titles};
use crate::words::units::Units;
use crate::words::visible::visible;
use crate::{cautions, html};

/// Where the figures come from.
const FOOT: &str = "Worked out by barwright from the formula: predictions, not measurements.";

/// Most formulas named in the title.
const MOST_NAMED: usize = 4;

/// A list of names longer than this is no title of a window.
const LONGEST_WINDOW: usize = 60;

/// What the curves show, in their order.
const CURVES: [&str; 2] = ["How much of it is solid", "How firm it is"];

/// Said of a table whose figures have intervals.
const INTERVALS: &str = "In brackets: 90 % intervals.";

/// Bars to report on.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Report {
    /// The bars, one or more.
    pub formulas: Vec<Recipe>,
    /// What is asked of them, and how it is computed.
    pub options: Options,
    /// Units of the words.
    pub units: Units,
}

/// What the bars are.
#[derive(Debug, Clone)]
pub struct Reported {
    /// The bars as the model takes them.
    pub formulas: Vec<Formula>,
    /// What each is.
    pub answers: Vec<Assessment>,
    /// Their differences, where there are several.
    pub comparison: Option<Comparison>,
}

/// Assesses the bars of a report.
///
/// # Errors
/// A formula is none, or the options are outside the model.
pub fn assess(engine: &Engine, asked: &Report) -> Result<Reported, Refusal> {
    let formulas = engine.formulas(&asked.formulas)?;
    let (library, model) = (&engine.library, &engine.model);
    if let [formula] = formulas.as_slice() {
        let answers = vec![barwright_blend::assess(library, model, formula, &asked.options)?];
        return Ok(Reported { formulas, answers, comparison: None });
    }
    let comparison = barwright_blend::compare(library, model, &formulas, &asked.options)?;
    Ok(Reported { formulas, answers: comparison.formulas.clone(), comparison: Some(comparison) })
}

/// Plans of each bar, and how many simulated draws their intervals come from.
#[derive(Debug, Clone, Default)]
pub struct Plans {
    /// Sections of each bar.
    pub of: Vec<Vec<Section>>,
    /// Draws.
    pub draws: usize,
}

/// Makes the page.
///
/// # Arguments
/// * `sources`: where the figures of the ingredients come from.
///
/// # Errors
/// The curves cannot be computed.
pub fn page(
    engine: &Engine,
    asked: &Report,
    found: &Reported,
    plans: Plans,
    sources: Section,
) -> Result<String, Refusal> {
    let titles = titles(&found.formulas, &engine.library);
    let shown = Shown { engine, asked, found, titles: &titles };
    let named = list(&titles.iter().take(MOST_NAMED).cloned().collect::<Vec<_>>(), "and");
    let more = titles.len().saturating_sub(MOST_NAMED);
    let title = if more > 0 { format!("{named}, and {more} more") } else { named };
    let window = match titles.len() {
        count if count > 1 && title.chars().count() > LONGEST_WINDOW => format!("{count} formulas"),
        _ => title.clone(),
    };
    let planned = plans.of.iter().any(|of| !of.is_empty()).then_some(plans.draws);
    let mut document = Document::new(title, "").lead([Block::Small(shown.asked_for())]);
    document.sections = vec![shown.answer(), shown.curves()?];
    document.sections.extend(shown.tables());
    for (title, sections) in titles.iter().zip(plans.of) {
        let several = titles.len() > 1;
        document.sections.extend(sections.into_iter().map(|section| {
            let heading = if several { format!("{title}: {}", lower(&section.heading)) } else { section.heading };
            Section { heading, ..section }
        }));
    }
    let answers: Vec<&Assessment> = found.answers.iter().collect();
    document.sections.extend([cautions::section(&answers, &titles), shown.rests_on(planned), sources]);
    Ok(html::page(&document, &format!("{window}: report"), FOOT))
}

/// What is shown.
struct Shown<'a> {
    engine: &'a Engine,
    asked: &'a Report,
    found: &'a Reported,
    titles: &'a [String],
}

impl Shown<'_> {
    /// What was asked, in a sentence.
    fn asked_for(&self) -> String {
        let Report { options, units, .. } = self.asked;
        format!(
            "Asked of a {} bar: relief of {} whole out of the mould at {}, and its shape kept for a day at {}.",
            options.state.word(),
            units.given_length(options.relief_mm),
            units.given_degrees(options.release_c),
            units.given_degrees(options.hold_c)
        )
    }

    /// The view of a comparison, where there is one.
    fn compared(&self) -> Option<View<'_>> {
        self.found.comparison.as_ref().map(|comparison| View {
            comparison,
            formulas: &self.found.formulas,
            library: &self.engine.library,
            options: &self.asked.options,
            units: self.asked.units,
        })
    }

    /// The answer: of one formula, or what decides between several and then of each.
    fn answer(&self) -> Section {
        let mut blocks = Vec::new();
        let view = self.compared();
        if let Some(view) = &view {
            blocks.push(Block::said(what_decides(view, self.titles)));
            if same_blends(&self.found.formulas).iter().any(|first| *first != 0) {
                blocks.push(Block::Under("Which to pour".to_owned()));
                blocks.push(Block::terms(purposes(view, self.titles)));
            }
        }
        for ((title, answer), recipe) in self.titles.iter().zip(&self.found.answers).zip(&self.asked.formulas) {
            if view.is_some() {
                blocks.push(Block::Under(title.clone()));
            }
            blocks.push(Block::Said(sentences(answer, &self.asked.options, self.asked.units)));
            blocks.extend(recipe.remark.as_deref().map(|remark| Block::Small(visible(remark))));
        }
        blocks.push(Block::Small(RULE_OF_THUMB.to_owned()));
        Section::new("The answer", blocks)
    }

    /// Solids and firmness: a picture each, so that paper may part them.
    fn curves(&self) -> Result<Section, Refusal> {
        let Reported { formulas, answers, .. } = self.found;
        let computed = curves::computed(self.engine, formulas, answers, &self.asked.options)?;
        let both = curves::picture(formulas, &self.engine.library, &computed, self.asked.units);
        let caption = both.caption;
        let blocks = CURVES.into_iter().zip(both.charts).map(|(title, chart)| {
            Block::Picture(Picture {
                title: title.to_owned(),
                charts: vec![chart],
                beside: 1,
                caption: caption.clone(),
            })
        });
        Ok(Section::new("Solids and firmness against temperature", blocks))
    }

    /// The tables of parts and figures: of one formula, landmarks with their tests; of several, all properties side by side.
    fn tables(&self) -> Vec<Section> {
        let said = |mut table: Table, caption: &str| {
            table.caption = caption.to_owned();
            Block::Table(table)
        };
        let section = |heading: &str, tables: Vec<Table>, caption: &str| {
            Section::new(heading, tables.into_iter().map(|table| said(table, caption)))
        };
        let units = self.asked.units;
        let (found, library) = (self.found, &self.engine.library);
        let parts = parts(&found.formulas, library, self.titles);
        let mut sections = vec![section("Parts", parts, "Mass %, in groups with their sums.")];
        match (self.compared(), found.answers.first()) {
            (Some(view), _) => sections.push(section("Side by side", side_by_side(&view, self.titles), INTERVALS)),
            (None, Some(answer)) => {
                sections.push(section("Melting", vec![melting_table(answer, units)], INTERVALS));
                sections.push(section("Solids and firmness", vec![firmness_table(answer, units)], INTERVALS));
            }
            (None, None) => {}
        }
        sections
    }

    fn rests_on(&self, plan_draws: Option<usize>) -> Section {
        let several = self.titles.len() > 1;
        let mut said: Vec<String> = (self.titles.iter().zip(&self.found.formulas))
            .map(|(title, formula)| {
                let basis = Basis::of(&self.engine.library, formula).sentence();
                if several { format!("{title}. {basis}") } else { basis }
            })
            .collect();
        said.extend(self.found.answers.first().map(interval_words));
        said.extend(plan_draws.map(|draws| format!("Intervals of the plans: from {draws} trial computations.")));
        Section::new("What this rests on", [Block::said(said)])
    }
}
