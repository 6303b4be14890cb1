//! The report: one page to keep, of one formula or several. The answer first, then curves, tables, plans, cautions, what it rests on, sources.

use barwright_blend::assess::Workbench;
use barwright_blend::{Assessment, Comparison, Options};
use barwright_making::cool::CELLS;
use barwright_making::{CoolTask, MakingError, Packing, ParcelTask};
use barwright_reference::Formula;
use barwright_reference::mould::Mould;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::assess::{RULE_OF_THUMB, firmness_table, half_as_firm, interval_words, melting_table, sentences};
use crate::compare::{View, deciding, parts, side_by_side};
use crate::document::{Block, Document, Section, Table};
use crate::engine::{Engine, Recipe};
use crate::mould::usual_mould;
use crate::picture::{Picture, curves};
use crate::places::{self, Room};
use crate::plans::{stage, within_reach};
use crate::pour::{self, Pour};
use crate::refusal::Refusal;
use crate::routes::{Found, Route};
use crate::usual::{too_hot, usual_pour_c};
use crate::words::basis::Basis;
use crate::words::names::{list, lower, titles};
use crate::words::units::Units;
use crate::words::visible::visible;
use crate::{Answered, Control, cautions, cool, html, ingredients, parcel};

/// Where the figures come from.
const FOOT: &str = "Worked out by barwright from the formula: predictions, not measurements.";

/// Largest number of formulas named in the title.
const MAX_NAMED: usize = 4;

/// A list of names longer than this is no title of a window.
const LONGEST_WINDOW: usize = 60;

/// What the curves show, in their order.
const CURVES: [&str; 2] = ["How much of it is solid", "How firm it is"];

/// Said of a table whose figures have intervals.
const INTERVALS: &str = "In brackets: 90 % intervals.";

/// Largest number of simulated draws behind each interval of a plan, as on a weigh sheet.
const MAX_PLAN_DRAWS: usize = 64;

/// What is there to keep of one bar, or of several?
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Report {
    /// The bars, one or more.
    pub formulas: Vec<Recipe>,
    /// Demands and options.
    pub options: Options,
    /// Whether to say how to melt and pour each.
    pub pour: bool,
    /// The mould; with one, the report says how each sets in it.
    pub mould: Option<Mould>,
    /// A route; with one, the report says what becomes of each in the post.
    pub route: Option<Route>,
    /// The room, for the plans.
    pub room: Room,
    /// Units of the words.
    pub units: Units,
}

/// What a report says of its bars.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Reported {
    /// What each is.
    pub answers: Vec<Assessment>,
    /// Their differences, where there are several.
    pub comparison: Option<Comparison>,
    /// Which plans were left out, and why.
    pub notes: Vec<String>,
}

/// Answers [`Report`].
///
/// # Errors
/// A formula is none, there is no such route, the options are outside the model, a melt is too hot for the mould, or `control` stopped it.
pub fn report(engine: &Engine, asked: &Report, control: Control<'_>) -> Result<Answered<Reported>, Refusal> {
    let formulas = engine.formulas(&asked.formulas)?;
    let route = asked.route.as_ref().map(Route::find).transpose()?;
    let (library, model) = (&engine.library, &engine.model);
    let (answers, comparison) = match formulas.as_slice() {
        [formula] => (vec![barwright_blend::assess(library, model, formula, &asked.options)?], None),
        _ => {
            let comparison = barwright_blend::compare(library, model, &formulas, &asked.options)?;
            (comparison.formulas.clone(), Some(comparison))
        }
    };
    let plans = Plans::new(engine, asked, route)?;
    let titles = titles(&formulas, &engine.library);
    let shown = Shown {
        engine,
        asked,
        formulas: &formulas,
        answers: &answers,
        comparison: comparison.as_ref(),
        titles: &titles,
    };
    let named = list(&titles.iter().take(MAX_NAMED).cloned().collect::<Vec<_>>(), "and");
    let more = titles.len().saturating_sub(MAX_NAMED);
    let title = if more > 0 { format!("{named}, and {more} more") } else { named };
    let mut document = Document::new(title, "").lead([Block::Small(shown.asked_for())]);
    document.sections = vec![shown.answer(), shown.curves()?];
    document.sections.extend(shown.tables());
    let (several, mut planned, mut notes) = (titles.len() > 1, false, Vec::new());
    for (index, (title, formula)) in titles.iter().zip(&formulas).enumerate() {
        let control = stage(control, index, formulas.len());
        if control(0, 1).is_break() {
            return Err(MakingError::Stopped.into());
        }
        for section in plans.sections(formula, &control, &mut notes)? {
            let heading = if several { format!("{title}: {}", lower(&section.heading)) } else { section.heading };
            document.sections.push(Section { heading, ..section });
            planned = true;
        }
    }
    let all: Vec<&Assessment> = answers.iter().collect();
    let rests_on = shown.rests_on(planned.then_some(plans.draws()));
    document.sections.extend([cautions::section(&all, &titles), rests_on, ingredients::sources(library, &formulas)]);
    Ok(Answered { figures: Reported { answers, comparison, notes }, document, picture: None })
}

/// Returns a report as a page.
pub fn page(report: &Answered<Reported>) -> String {
    let title = &report.document.title;
    let window = match report.figures.answers.len() {
        count if count > 1 && title.chars().count() > LONGEST_WINDOW => format!("{count} formulas"),
        _ => title.clone(),
    };
    html::page(&report.document, &format!("{window}: report"), FOOT)
}

/// What is planned for each bar.
struct Plans<'a> {
    asked: &'a Report,
    bench: Workbench<'a>,
    route: Option<Found>,
}

impl<'a> Plans<'a> {
    fn new(engine: &'a Engine, asked: &'a Report, route: Option<Found>) -> Result<Self, Refusal> {
        let draws = asked.options.draws.min(MAX_PLAN_DRAWS);
        Ok(Plans { asked, bench: engine.bench(&Options { draws, ..asked.options.clone() })?, route })
    }

    /// Simulated draws.
    fn draws(&self) -> usize {
        self.bench.options().draws
    }

    /// The plans asked for, of one bar.
    fn sections(
        &self,
        formula: &Formula,
        control: Control<'_>,
        notes: &mut Vec<String>,
    ) -> Result<Vec<Section>, Refusal> {
        let Report { pour, mould, .. } = self.asked;
        let count = [*pour, mould.is_some(), self.route.is_some()].into_iter().filter(|wanted| *wanted).count();
        let mut sections = Vec::new();
        let mut done = 0;
        let mut next = || {
            done += 1;
            stage(control, done - 1, count)
        };
        if *pour {
            sections.extend(self.pour(formula, &next(), notes)?);
        }
        if let Some(mould) = mould {
            sections.extend(self.cool(formula, mould, &next(), notes)?);
        }
        if let Some(route) = &self.route {
            sections.push(self.post(formula, route, &next())?);
        }
        Ok(sections)
    }

    fn pour(
        &self,
        formula: &Formula,
        control: Control<'_>,
        notes: &mut Vec<String>,
    ) -> Result<Option<Section>, Refusal> {
        let Report { mould, room, units, .. } = self.asked;
        let asked = Pour { mould: mould.clone(), room: *room, units: *units, ..Pour::default() };
        pour::flash_above_room(self.bench.library(), &asked, formula, &[])?;
        let plan = within_reach(pour::Plan::new(&self.bench, &asked, formula, None, control), "pour", notes)?;
        Ok(plan.map(|plan| plan.section()))
    }

    fn cool(
        &self,
        formula: &Formula,
        mould: &Mould,
        control: Control<'_>,
        notes: &mut Vec<String>,
    ) -> Result<Option<Section>, Refusal> {
        let Report { room, units, .. } = self.asked;
        let pour_c = usual_pour_c(&self.bench, formula, room.air_c)?;
        too_hot(mould, pour_c)?;
        let task = CoolTask {
            formula,
            mould,
            pour_c,
            mould_c: room.air_c,
            places: &places::usual(room.air_c, false),
            room: room.pair(),
            fine: false,
        };
        let plan = within_reach(cool::Plan::new(&self.bench, &task, *units, control), "cooling", notes)?;
        Ok(plan.map(|plan| plan.section()))
    }

    fn post(&self, formula: &Formula, route: &Found, control: Control<'_>) -> Result<Section, Refusal> {
        let mould = self.asked.mould.clone().unwrap_or_else(usual_mould);
        let task = ParcelTask {
            formula,
            packing: Packing { shape: mould.shape, bars: 1, foam_m: 0.0, ice_kg: 0.0 },
            bar_ml: mould.volume_ml,
            start_c: self.asked.room.air_c,
            route: &route.route.rows,
            cell_m: CELLS.cell_m,
            fine: false,
        };
        let found = barwright_making::parcel(&self.bench, &task, control).map_err(parcel::refused)?;
        let usual_size = self.asked.mould.is_none();
        let units = self.asked.units;
        Ok(parcel::section(&parcel::View { found: &found, route, task: &task, usual_size, units }))
    }
}

/// What is shown.
struct Shown<'a> {
    engine: &'a Engine,
    asked: &'a Report,
    formulas: &'a [Formula],
    answers: &'a [Assessment],
    comparison: Option<&'a Comparison>,
    titles: &'a [String],
}

impl Shown<'_> {
    /// The request, in a sentence.
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
        self.comparison.map(|comparison| View {
            comparison,
            formulas: self.formulas,
            library: &self.engine.library,
            options: &self.asked.options,
            units: self.asked.units,
            titles: self.titles,
            like: None,
        })
    }

    /// The answer: of one formula, or what decides between several and then of each.
    fn answer(&self) -> Section {
        let mut blocks = Vec::new();
        let view = self.compared();
        if let Some(view) = &view {
            blocks.extend(deciding(view));
        }
        for ((title, answer), recipe) in self.titles.iter().zip(self.answers).zip(&self.asked.formulas) {
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
        let computed = curves::computed(self.engine, self.formulas, self.answers, &self.asked.options)?;
        let both = curves::picture(self.formulas, &self.engine.library, &computed, self.asked.units);
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
        let parts = parts(self.formulas, &self.engine.library, self.titles);
        let mut sections = vec![section("Parts", parts, "Mass %, in groups with their sums.")];
        match (self.compared(), self.answers.first()) {
            (Some(view), _) => {
                let mut beside = section("Side by side", side_by_side(&view), INTERVALS);
                beside.blocks.push(half_as_firm(units));
                sections.push(beside);
            }
            (None, Some(answer)) => {
                let mut melting = section("Melting", vec![melting_table(answer, units)], INTERVALS);
                melting.blocks.push(half_as_firm(units));
                sections.push(melting);
                sections.push(section("Solids and firmness", vec![firmness_table(answer, units)], INTERVALS));
            }
            (None, None) => {}
        }
        sections
    }

    fn rests_on(&self, plan_draws: Option<usize>) -> Section {
        let several = self.titles.len() > 1;
        let mut said: Vec<String> = (self.titles.iter().zip(self.formulas))
            .map(|(title, formula)| {
                let basis = Basis::of(&self.engine.library, formula).sentence();
                if several { format!("{title}. {basis}") } else { basis }
            })
            .collect();
        said.extend(self.answers.first().map(interval_words));
        said.extend(plan_draws.map(|draws| format!("Intervals of the plans: from {draws} simulated draws.")));
        Section::new("What this rests on", [Block::said(said)])
    }
}
