//! A bar along a hot route: whether it keeps its shape, what helps, the course, and what that rests on.

use barwright_blend::cautions::Caution;
use barwright_blend::suitability::Verdict;
use barwright_blend::{Assessment, Estimate, Options};
use barwright_making::cool::CELLS;
use barwright_making::parcel::Outcome;
use barwright_making::{MakingError, Packing, ParcelTask, Way};
use barwright_reference::mould::{BarShape, Mould};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::assess::interval_words;
use crate::document::{Block, Document, Kind, Section, Table};
use crate::engine::{Engine, Recipe};
use crate::mould::{mass, size, usual_mould};
use crate::picture::{Picture, parcel as drawn};
use crate::places::Room;
use crate::refusal::{Fault, Refusal};
use crate::routes::{Found, Route, origin};
use crate::words::names::{name, title};
use crate::words::number::{in_hundred, interval, significant, whole};
use crate::words::units::{Units, with_unit};
use crate::words::visible::visible;
use crate::{Answered, Control, cautions};

/// Rows of the table along the way, about.
const SHOWN: usize = 9;

/// The edges of a bar are told when they get warmer than the mean by this, K.
const TOLD_K: f64 = 3.0;

/// Confidence that more wax is asked with, %: with the 5 % of draws that get warmer than [`barwright_making::Parcel::needed_c`], 90 % are left for the bar.
const ASKED_PERCENT: u8 = 95;

/// How the bar is computed, and what is left out.
const CONDUCTION: &str = "Conduction with the melting curve of this blend, along the crystals it has. It fails when its mean temperature reaches that to which it keeps its shape for a day (a rule of thumb): a short peak is judged strictly. Of several bars in a box the warmest is judged, one at a corner. Still air; sun on the parcel, shocks and the weight of other parcels are left out.";

/// What does a hot route do to a bar?
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Parcel {
    /// The bar.
    pub formula: Recipe,
    /// How it is computed, and in which state it is sent.
    pub options: Options,
    /// The air it goes through.
    pub route: Route,
    /// The mould, which says how large the bar is; without one it is palm-sized.
    pub mould: Option<Mould>,
    /// Bars in one box.
    pub bars: u32,
    /// Temperature of the bars when they are sent, °C.
    pub start_c: f64,
    /// Thickness of foam all round, mm; 0 for none.
    pub foam_mm: f64,
    /// Mass of a frozen ice pack, kg; 0 for none.
    pub ice_kg: f64,
    /// Width of the cells of the computation, mm.
    pub cell_mm: f64,
    /// Whether to draw air and bar against time.
    pub picture: bool,
    /// Units of the words.
    pub units: Units,
}

impl Default for Parcel {
    fn default() -> Self {
        Parcel {
            formula: Recipe::default(),
            options: Options::default(),
            route: Route::default(),
            mould: None,
            bars: 1,
            start_c: Room::default().air_c,
            foam_mm: 0.0,
            ice_kg: 0.0,
            cell_mm: 1e3 * CELLS.cell_m,
            picture: false,
            units: Units::default(),
        }
    }
}

/// What a hot route does to a bar.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Sent {
    formula: String,
    state: String,
    /// The route.
    pub route: Along,
    bars: u32,
    bars_g: f64,
    foam_mm: f64,
    ice_g: f64,
    start_c: f64,
    holds_c: Option<Estimate>,
    asked: SentSo,
    ways: Vec<SentSo>,
    hold_needed_c: f64,
    /// Whether everything that may help was tried.
    pub finished: bool,
    /// The bar along the route, by the central estimate.
    pub history: Vec<Moment>,
    cautions: Vec<Caution>,
}

/// The route a bar was sent along.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Along {
    name: String,
    hours: f64,
    lowest_c: f64,
    highest_c: f64,
    /// Windows its rows were averaged over, min.
    pub averaged_over_min: Option<f64>,
    status: Option<String>,
    source: Option<String>,
    /// How many rows it has.
    #[serde(skip)]
    pub rows: usize,
}

/// What one way to send a bar does; times in hours.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
struct SentSo {
    #[serde(flatten)]
    way: Way,
    keeps_shape: f64,
    verdict: Verdict,
    core_c: Estimate,
    /// Highest mean temperature of the warmest bar: it decides.
    warmest_bar_c: Estimate,
    /// Of all bars.
    mean_c: Estimate,
    edge_c: Estimate,
    melted_percent: Estimate,
    fails_h: Option<Estimate>,
    ice_gone_h: Option<f64>,
    /// Mean temperature of the warmest bar along the way: it decides.
    course: Vec<MeanAt>,
}

/// The mean temperature of a bar at one time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
struct MeanAt {
    hours: f64,
    mean_c: Estimate,
}

/// The bar at one time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Moment {
    /// Time since it was sent, h.
    pub hours: f64,
    /// Air outside, °C.
    pub outside_c: f64,
    /// Air around the bar, °C.
    pub inside_c: f64,
    /// Middle of the bar, °C.
    pub core_c: f64,
    /// Mean of the bar, of several all of them, °C.
    pub mean_c: f64,
    /// Mean of a bar at a corner of the box, which follows the air first, °C.
    pub corner_bar_c: f64,
    /// Warmest spot of the bar, °C.
    #[serde(skip)]
    pub warmest_c: f64,
    /// Share that is liquid, %.
    pub melted_percent: f64,
}

/// Answers [`Parcel`].
///
/// # Errors
/// The formula is not one, there is no such route, options, sizes or temperatures are outside the models, or `control` stopped it early.
pub fn parcel(engine: &Engine, asked: &Parcel, control: Control<'_>) -> Result<Answered<Sent>, Refusal> {
    let formula = engine.formula(&asked.formula)?;
    let route = asked.route.find()?;
    let mould = asked.mould.clone().unwrap_or_else(usual_mould);
    let bench = engine.bench(&asked.options)?;
    let task = ParcelTask {
        formula: &formula,
        packing: Packing { shape: mould.shape, bars: asked.bars, foam_m: 1e-3 * asked.foam_mm, ice_kg: asked.ice_kg },
        bar_ml: mould.volume_ml,
        start_c: asked.start_c,
        route: &route.route.rows,
        cell_m: 1e-3 * asked.cell_mm,
        fine: false,
    };
    let found = barwright_making::parcel(&bench, &task, control).map_err(refused)?;
    let assessment = bench.assess(&formula)?;
    let view =
        View { found: &found, route: &route, task: &task, usual_size: asked.mould.is_none(), units: asked.units };
    let title = title(&formula, &engine.library);
    let state = asked.options.state.word();
    let rests = rests_on(&view).into_iter().chain([interval_words(&assessment)]);
    let mut warned = cautions::section(&[&assessment], &[]);
    warned.blocks.push(cautions_of(&task.packing));
    let document =
        Document { title, aside: format!("{state}, in the post"), ..in_the_post(&view) }.ending(rests, warned);
    let picture = asked.picture.then(|| picture(&view));
    Ok(Answered { figures: Sent::of(&view, state, &assessment), document, picture })
}

/// Says why there is no answer.
pub(crate) fn refused(error: MakingError) -> Refusal {
    match error {
        error @ MakingError::Heat(_) => Fault::new("out-of-range", error.to_string())
            .hint("Check the size of the bar and the temperatures and times of the route.")
            .into(),
        error => error.into(),
    }
}

impl Sent {
    fn of(view: &View<'_>, state: &str, assessment: &Assessment) -> Self {
        let View { found, route, task, .. } = *view;
        let way = |one: &Outcome| SentSo {
            way: one.way,
            keeps_shape: one.keeps,
            verdict: Verdict::from_probability(one.keeps),
            core_c: one.core_c,
            warmest_bar_c: one.warmest_bar_c,
            mean_c: one.mean_c,
            edge_c: one.edge_c,
            melted_percent: one.melted_share.map(|share| 100.0 * share),
            fails_h: one.fails_s.map(|time| time.map(|time_s| time_s * (1.0 / 3600.0))),
            ice_gone_h: one.ice_gone_s.map(|time| time / 3600.0),
            course: one.course_c.iter().map(|&(time_s, mean_c)| MeanAt { hours: time_s / 3600.0, mean_c }).collect(),
        };
        let history = found.asked.history.iter().zip(&found.outside).map(|(one, (_, outside_c))| Moment {
            hours: one.time_s / 3600.0,
            outside_c: *outside_c,
            inside_c: one.ambient_c,
            core_c: one.centre_c,
            mean_c: one.mean_c,
            corner_bar_c: one.corner_bar_c,
            warmest_c: one.warmest_c,
            melted_percent: 100.0 * one.melted_share,
        });
        Sent {
            formula: task.formula.name.clone(),
            state: state.to_owned(),
            route: Along {
                name: route.name.clone(),
                hours: found.length_s / 3600.0,
                lowest_c: found.extremes_c.0,
                highest_c: found.extremes_c.1,
                averaged_over_min: found.window_s.map(|window| window / 60.0),
                status: route.known.as_ref().map(|one| one.status.word().to_owned()),
                source: route.known.as_ref().map(|one| one.source.clone()),
                rows: route.route.rows.len(),
            },
            bars: task.packing.bars,
            bars_g: 1e3 * found.bars_kg,
            foam_mm: 1e3 * task.packing.foam_m,
            ice_g: 1e3 * task.packing.ice_kg,
            start_c: task.start_c,
            holds_c: found.holds_c,
            asked: way(&found.asked),
            ways: found.ways.iter().map(way).collect(),
            hold_needed_c: found.needed_c,
            finished: found.finished,
            history: history.collect(),
            cautions: assessment.cautions.iter().cloned().chain(care(&task.packing)).collect(),
        }
    }
}

/// What a parcel is put into words with.
pub(crate) struct View<'a> {
    /// What was found.
    pub(crate) found: &'a barwright_making::Parcel,
    /// The route.
    pub(crate) route: &'a Found,
    /// The request.
    pub(crate) task: &'a ParcelTask<'a>,
    /// Whether the size of the bar is assumed.
    pub(crate) usual_size: bool,
    /// Units shown.
    pub(crate) units: Units,
}

/// What to take care of with the parcel itself.
fn care(packing: &Packing) -> Vec<Caution> {
    let mut all = vec![Caution::new(
        "leaks",
        "A bar that melts leaks oil, which goes through paper and board and stains other mail: close each in a bag or \
         a tin that holds oil.",
    )];
    if packing.ice_kg > 0.0 {
        all.push(Caution::new(
            "ice",
            "Water settles on cold bars and cold packs: bag both, and let the bars warm up in their bag. Keep paper \
             between ice and bars.",
        ));
    }
    all.push(Caution::new(
        "carriers",
        "Ask your carrier what it takes: wet packs and dry ice have rules of their own, and no carrier promises a \
         temperature unless it says so.",
    ));
    all
}

/// What to take care of with the parcel itself, as a block.
fn cautions_of(packing: &Packing) -> Block {
    Block::Cautions(care(packing).into_iter().map(Into::into).collect())
}

/// What decides, against time, for each way to send it.
fn picture(view: &View<'_>) -> Picture {
    let titles: Vec<String> =
        view.found.ways.iter().map(|one| format!("{}: {}", in_hundred(one.keeps), way(one, view))).collect();
    drawn::picture(view.found, &name(&view.route.name), &titles, view.units)
}

/// A parcel as a section of a report, with its picture.
pub(crate) fn section(view: &View<'_>) -> Section {
    let mut section = in_the_post(view).into_section("In the post");
    section.blocks.push(Block::Picture(picture(view)));
    section.blocks.extend(rests_on(view).into_iter().map(Block::Small));
    section.blocks.push(cautions_of(&view.task.packing));
    section
}

/// A parcel in words: whether the bar keeps its shape, what helps, the course.
fn in_the_post(view: &View<'_>) -> Document {
    let more = Some(helps(view)).filter(|more| !more.is_empty()).map(Block::said);
    Document::default()
        .lead([Block::said(answer(view))])
        .section("What helps, the most reliable first", [Block::Table(ways(view))].into_iter().chain(more))
        .section("Along the way, central estimate", [Block::Table(course(view))])
}

/// The bar at some times along the way.
fn course(view: &View<'_>) -> Table {
    let View { found, units, .. } = *view;
    let boxed = view.task.packing.ice_kg > 0.0;
    let air = format!("air, {}", units.degree());
    let several = view.task.packing.bars > 1;
    let means: &[&str] = if several { &["corner bar", "mean of all"] } else { &["mean"] };
    let heads = ["h", &air].into_iter().chain(boxed.then_some("air in the box")).chain(["core"]);
    let heads = heads.chain(means.iter().copied()).chain(["liquid, %"]);
    let mut table = Table::new("Along the way.").columns(Kind::Number, heads);
    let moments: Vec<_> = found.asked.history.iter().zip(&found.outside).collect();
    let step_s = found.length_s / (SHOWN - 1) as f64;
    let mut next_s = 0.0;
    for (number, (one, (_, outside_c))) in moments.iter().enumerate() {
        if one.time_s + 1.0 < next_s && number + 1 < moments.len() {
            continue;
        }
        while next_s <= one.time_s + 1.0 {
            next_s += step_s;
        }
        let start = [hours(one.time_s), whole(units.scaled(*outside_c))].into_iter();
        let inside = boxed.then(|| whole(units.scaled(one.ambient_c)));
        let shown = |celsius: f64| whole(units.scaled(celsius));
        let corner = several.then(|| shown(one.corner_bar_c));
        let bar = [Some(shown(one.centre_c)), corner, Some(shown(one.mean_c)), Some(whole(100.0 * one.melted_share))];
        table.row(start.chain(inside).chain(bar.into_iter().flatten()));
    }
    table
}

/// What it rests on, in sentences.
fn rests_on(view: &View<'_>) -> Vec<String> {
    let route = view.route.known.as_ref().map(|known| format!("The route. {}.", origin(known)));
    [CONDUCTION.to_owned(), packed(&view.task.packing)].into_iter().chain(route).collect()
}

/// The sentences that matter.
fn answer(view: &View<'_>) -> Vec<String> {
    let mut said = Vec::new();
    let View { found, task, route, units, .. } = *view;
    let asked = &found.asked;
    let (low_c, high_c) = found.extremes_c;
    let air = match (units.given_degrees(low_c.round()), units.given_degrees(high_c.round())) {
        (low, high) if low == high => low,
        (_, high) => format!("{} to {high}", units.given(low_c.round())),
    };
    let verdict = Verdict::from_probability(asked.keeps).word();
    let several = task.packing.bars > 1;
    let what = if several { "Every bar keeps" } else { "Keeps" };
    said.push(format!("{what} its shape on this route: {verdict} ({}).", in_hundred(asked.keeps)));
    said.push(format!(
        "The core gets to {}; at most {} of the bar is liquid, oils included, against {} when it is sent.",
        units.degrees(&asked.core_c),
        with_unit(&interval(&asked.melted_share, |share| whole(100.0 * share)), "%"),
        with_unit(&whole(100.0 * asked.melted_before.value), "%"),
    ));
    let it = if several { "A bar" } else { "It" };
    let holds = match &found.holds_c {
        Some(holds) => format!("{it} keeps its shape for a day up to {}", units.degrees(holds)),
        None => format!("{it} keeps its shape for a day at no temperature"),
    };
    let warmest = units.degrees(&asked.warmest_bar_c);
    let gets = if several {
        format!(
            "here the warmest one, at a corner of the box, gets to {warmest} in its mean, all together to {}",
            units.degrees(&asked.mean_c)
        )
    } else {
        format!("here its mean temperature gets to {warmest}")
    };
    said.push(format!("{holds}; {gets}."));
    if let Some(fails) = &asked.fails_s {
        let who = if several { "The warmest" } else { "It" };
        said.push(format!("{who} fails after {}.", failure(fails, found.length_s)));
    }
    let edge_c = &asked.edge_c;
    let soft = found.holds_c.as_ref().is_none_or(|holds| edge_c.value >= holds.value);
    if soft && edge_c.value - asked.warmest_bar_c.value > TOLD_K {
        said.push(format!("Its edges get to {}: they go soft before the bar as a whole.", units.degrees(edge_c)));
    }
    let what = match task.packing.bars {
        1 => format!("One bar of {}, {}", mass(1e3 * found.bars_kg, units), size(task.packing.shape, units)),
        bars => {
            let one = mass(1e3 * found.bars_kg / f64::from(bars), units);
            format!("{bars} bars of {one}, each {}", size(task.packing.shape, units))
        }
    };
    let unnamed = if view.usual_size { " (no size was given)" } else { "" };
    said.push(format!(
        "{what}{unnamed}; sent at {} along {} ({}, {air}).",
        units.given_degrees(task.start_c),
        visible(&name(&route.name)),
        with_unit(&hours(found.length_s), "h"),
    ));
    said
}

/// What every way does, the most reliable first.
fn ways(view: &View<'_>) -> Table {
    let row = |one: &Outcome| {
        [
            way(one, view),
            in_hundred(one.keeps),
            view.units.degrees(&one.core_c),
            whole(100.0 * one.melted_share.value),
            one.fails_s.as_ref().map_or_else(|| "-".to_owned(), |fails| failure(fails, view.found.length_s)),
        ]
    };
    Table::new("What helps, the most reliable first.")
        .columns(Kind::Figure, ["packed", "keeps its shape", "core gets to"])
        .columns(Kind::Number, ["liquid, %"])
        .columns(Kind::Figure, ["fails after"])
        .rows(view.found.ways.iter().map(row))
}

/// When the ice is gone, and how much firmer a bar would have to be.
fn helps(view: &View<'_>) -> Vec<String> {
    let View { found, units, .. } = *view;
    let melted = |one: &Outcome| {
        one.ice_gone_s.map(|time_s| format!("{} after {}", way(one, view), with_unit(&hours(time_s), "h")))
    };
    let gone: Vec<String> = found.ways.iter().filter_map(melted).collect();
    let gone = (!gone.is_empty()).then(|| format!("The ice has melted: {}.", gone.join("; ")));
    let wax = (Verdict::from_probability(found.asked.keeps) != Verdict::Yes).then(|| {
        let letter = match units {
            Units::Metric => "C",
            Units::Us => "F",
        };
        let needed = whole(units.scaled(found.needed_c).ceil());
        format!(
            "More wax: a bar that with {ASKED_PERCENT} % confidence holds to {needed} {} keeps its shape sent like this with 90 % or more; `barwright adjust FORMULA --hold {needed}{letter} --confidence {ASKED_PERCENT}` says whether there is one.",
            units.degree()
        )
    });
    gone.into_iter().chain(wax).collect()
}

/// A way in words.
fn way(one: &Outcome, view: &View<'_>) -> String {
    let (asked, units) = (&view.task.packing, view.units);
    let with = |foam_mm: f64, ice_g: f64| {
        let foam = (foam_mm > 0.0).then(|| format!("{} of foam", units.given_length(foam_mm)));
        let ice = (ice_g > 0.0).then(|| format!("{} of ice", mass(ice_g, units)));
        let parts: Vec<String> = foam.into_iter().chain(ice).collect();
        if parts.is_empty() { bare(asked).to_owned() } else { parts.join(", ") }
    };
    match one.way {
        Way::AsAsked => format!("as planned: {}", with(1e3 * asked.foam_m, 1e3 * asked.ice_kg)),
        Way::Bare => bare(asked).to_owned(),
        Way::Packed { foam_mm, ice_g } => with(foam_mm, ice_g),
        Way::Later { hours } => {
            let clock = view.route.route.clock_s.map_or_else(String::new, |clock_s| {
                let minutes = ((clock_s / 60.0 + 60.0 * hours).round() as u64) % (24 * 60);
                format!(", at {:02}:{:02}", minutes / 60, minutes % 60)
            });
            format!("sent {hours:.0} h later on this route{clock}")
        }
    }
}

/// A packing without foam and ice, in words.
fn bare(packing: &Packing) -> &'static str {
    if packing.bars > 1 { "carton only" } else { "paper only" }
}

/// How it is packed, in a sentence.
fn packed(packing: &Packing) -> String {
    let round = matches!(packing.shape, BarShape::Round { .. });
    let mut text = match packing.bars {
        1 => "The bar is wrapped in paper and hangs free in the air; foam and ice come with a carton around it"
            .to_owned(),
        _ => {
            let [a, b, c] = packing.counts();
            let square = if round { ", round ones as square ones of their volume" } else { "" };
            format!(
                "The bars, in paper, are stacked {a} × {b} × {c} in a carton that touches them, as one block{square}"
            )
        }
    };
    text.push_str(". Foam has 0.035 W/mK and no gaps. Ice is frozen at 0 °C, lies in flat packs of 20 mm and takes 334 kJ/kg; the bars' own heat does not melt it. How well a pack cools the air of its box is a judgement: try it once with a thermometer.");
    text
}

/// When it fails: `2.3 h (1.1 to over 4)`.
fn failure(fails: &Estimate, length_s: f64) -> String {
    let shown = |seconds: f64| match seconds >= length_s {
        true => format!("over {}", significant(length_s / 3600.0, 2)),
        false => hours(seconds),
    };
    with_unit(&interval(fails, shown), "h")
}

/// Hours, with two digits.
fn hours(seconds: f64) -> String {
    let hours = seconds / 3600.0;
    if hours < 0.05 { "0".to_owned() } else { significant(hours, if hours < 100.0 { 2 } else { 3 }) }
}
