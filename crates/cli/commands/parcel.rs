//! `parcel`: a bar along a hot route.

use barwright_answer::words::names;
use std::ffi::OsStr;
use std::path::Path;

use barwright_blend::assess::Workbench;
use barwright_blend::cautions::Caution;
use barwright_blend::suitability::Verdict;
use barwright_blend::{Estimate, Options};
use barwright_making::parcel::Outcome;
use barwright_making::{MakingError, Packing, Parcel, ParcelTask, Way, parcel};
use barwright_reference::names::normalise;
use barwright_reference::route::{KnownRoute, Route, known_routes};
use barwright_reference::suggest::nearest;
use serde::Serialize;

use crate::args;
use barwright_answer::words::units::Units;

use crate::error::CliError;
use crate::input::{self, check_stdin_once, load, read_text_of, say};
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;
use crate::progress;
use crate::render;
use crate::save::save;
use barwright_answer::picture;
use barwright_answer::{Fault, Refusal};

/// A route as the command takes it.
pub struct Sent {
    /// Its name.
    pub name: String,
    /// The air.
    pub route: Route,
    /// What is known of a built-in one.
    pub known: Option<KnownRoute>,
}

/// One way as JSON; times in hours.
#[derive(Debug, Serialize)]
struct WayJson<'a> {
    #[serde(flatten)]
    way: &'a Way,
    keeps_shape: f64,
    verdict: Verdict,
    core_c: Estimate,
    mean_c: Estimate,
    edge_c: Estimate,
    melted_percent: Estimate,
    fails_h: Option<Estimate>,
    ice_gone_h: Option<f64>,
}

/// A route as JSON.
#[derive(Debug, Serialize)]
struct RouteJson<'a> {
    name: &'a str,
    hours: f64,
    lowest_c: f64,
    highest_c: f64,
    averaged_over_min: Option<f64>,
    status: Option<&'a str>,
    source: Option<&'a str>,
}

/// A record as JSON.
#[derive(Debug, Serialize)]
struct RecordJson {
    hours: f64,
    outside_c: f64,
    inside_c: f64,
    core_c: f64,
    mean_c: f64,
    melted_percent: f64,
}

/// The answer as JSON.
#[derive(Debug, Serialize)]
struct Answer<'a> {
    formula: &'a str,
    state: &'a str,
    route: RouteJson<'a>,
    bars: u32,
    bars_g: f64,
    foam_mm: f64,
    ice_g: f64,
    start_c: f64,
    holds_c: Option<Estimate>,
    asked: WayJson<'a>,
    ways: Vec<WayJson<'a>>,
    hold_needed_c: f64,
    finished: bool,
    history: Vec<RecordJson>,
    cautions: &'a [Caution],
}

/// A built-in route as JSON.
#[derive(Debug, Serialize)]
struct KnownJson<'a> {
    name: &'a str,
    note: &'a str,
    status: &'a str,
    source: Option<String>,
    /// Hours and °C.
    rows: Vec<(f64, f64)>,
}

/// Runs the subcommand.
pub fn run(order: &args::Parcel, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let known = known()?;
    let (Some(formula), Some(route)) = (&order.formula, &order.route) else {
        return list(&known, order.showing.json, order.showing.units, streams);
    };
    let lots = profile.lots(order.lots.as_deref());
    check_stdin_once(&[formula, route], lots.as_deref())?;
    let sent = sent(route, known, streams)?;
    let loaded = load(&[formula], lots.as_deref(), streams)?;
    let index = pick(&loaded.formulas, order.named.as_deref(), "parcel")?;
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let named = order.mould.load()?;
    let is_usual = named.is_none();
    let mould = named.unwrap_or_else(barwright_answer::mould::usual_mould);
    let model = profile.model(streams)?;
    let options = order.options();
    let bench = Workbench::new(&loaded.library, &model, options.clone())?;
    let task = ParcelTask {
        formula,
        packing: Packing { shape: mould.shape, bars: order.bars, foam_m: 1e-3 * order.insulate, ice_kg: order.ice },
        bar_ml: mould.volume_ml,
        start_c: order.start,
        route: &sent.route.rows,
        cell_m: 1e-3 * order.cell,
    };
    let found = progress::watched(|control| parcel(&bench, &task, control))?.map_err(unsent)?;
    let assessment = bench.assess(formula)?;
    if let Some(window_s) = found.window_s {
        let (rows, minutes) = (sent.route.rows.len(), (window_s / 60.0).round());
        streams.remarks.note(&format!("the {rows} rows of the route are averaged over {minutes} min each"))?;
    }
    if order.showing.json {
        let mut cautions = assessment.cautions.clone();
        cautions.extend(render::parcel::cautions(&task.packing));
        streams.data.json(&json(&found, &sent, &task, &options, &cautions))?;
    } else {
        let view = render::parcel::View {
            found: &found,
            sent: &sent,
            task: &task,
            usual_size: is_usual,
            options: &options,
            assessment: &assessment,
            units: order.showing.units,
        };
        render::parcel::write(&mut streams.data, &view)?;
    }
    if let Some(path) = &order.out {
        save(path, &table(&found)?)?;
        streams.remarks.note(&format!("{} times written into {}", found.asked.history.len(), path.display()))?;
    }
    if order.drawing.is_wanted() {
        order
            .drawing
            .show(&picture::parcel::picture(&found, &names::name(&sent.name), order.showing.units), streams)?;
    }
    if !found.finished {
        streams.remarks.note("stopped early: not everything that may help was tried")?;
    }
    Ok(())
}

/// The built-in routes.
pub(super) fn known() -> Result<Vec<KnownRoute>, CliError> {
    known_routes().map_err(|faults| {
        let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
        CliError::internal(format!("the table of routes is faulty: {}", faults.join("; ")))
    })
}

/// Says why there is no answer.
pub(super) fn unsent(error: MakingError) -> CliError {
    match error {
        error @ MakingError::Heat(_) => Fault::new("out-of-range", error.to_string())
            .hint("Check the size of the bar and the temperatures and times of the route.")
            .into(),
        error => Refusal::from(error).into(),
    }
}

/// Finds or reads the route, and writes the notes on how it was read.
pub(super) fn sent(written: &OsStr, known: Vec<KnownRoute>, streams: &mut Streams<'_>) -> Result<Sent, CliError> {
    let wanted = written.to_str().map(normalise).unwrap_or_default();
    let path = Path::new(written);
    let named = known.iter().position(|one| normalise(&one.name) == wanted);
    if let Some(one) = named.and_then(|at| known.get(at)) {
        return Ok(Sent { name: one.name.clone(), route: one.route.clone(), known: Some(one.clone()) });
    }
    let is_file = path.extension().is_some() || written == "-" || path.exists() || path.components().count() > 1;
    if !is_file {
        let near = nearest(&wanted, known.iter().map(|one| one.name.as_str()).enumerate(), 3);
        let near: Vec<String> =
            near.iter().filter_map(|at| known.get(*at)).map(|one| format!("`{}`", one.name)).collect();
        let message = format!("no route is called `{}`", names::name(&written.to_string_lossy()));
        return Err(Fault::new("unknown-route", message)
            .hint(format!(
                "The nearest names are {}; `barwright parcel --routes` lists all.",
                names::list(&near, "and")
            ))
            .hint("To name a file, write its ending too, such as `.csv`.")
            .into());
    }
    let (text, origin) = read_text_of(path, &input::ROUTE).map_err(|fault| CliError::input(vec![*fault]))?;
    let (route, notes) = Route::read(&text).map_err(|errors| {
        let errors = errors.into_iter().map(|error| Fault::from_diagnostic(error, &origin, &text));
        CliError::input(errors.collect())
    })?;
    for note in &notes {
        streams.remarks.note(&say(note, &origin, &text))?;
    }
    let name = path.file_stem().map_or(origin, |stem| stem.to_string_lossy().into_owned());
    Ok(Sent { name: if written == "-" { "the route".to_owned() } else { name }, route, known: None })
}

/// Lists the built-in routes.
fn list(known: &[KnownRoute], as_json: bool, units: Units, streams: &mut Streams<'_>) -> Result<(), CliError> {
    if !as_json {
        return Ok(render::parcel::write_routes(&mut streams.data, known, units)?);
    }
    let routes: Vec<KnownJson<'_>> = known
        .iter()
        .map(|one| KnownJson {
            name: &one.name,
            note: &one.note,
            status: one.status.word(),
            source: barwright_reference::sources::source_citation(&one.source),
            rows: one.route.rows.iter().map(|&(time_s, celsius)| (time_s / 3600.0, celsius)).collect(),
        })
        .collect();
    streams.data.json(&routes)
}

/// The course of the bar as CSV.
fn table(found: &Parcel) -> Result<Vec<u8>, CliError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let failed = |error: csv::Error| CliError::internal(format!("the table could not be made: {error}"));
    let header = ["hours", "outside_c", "inside_c", "core_c", "mean_c", "warmest_c", "melted_percent"];
    writer.write_record(header).map_err(failed)?;
    for (one, (_, outside_c)) in found.asked.history.iter().zip(&found.outside) {
        let figures = [*outside_c, one.ambient_c, one.centre_c, one.mean_c, one.warmest_c, 100.0 * one.melted_share];
        let row = std::iter::once(format!("{:.4}", one.time_s / 3600.0))
            .chain(figures.iter().map(|figure| render::number::fixed(*figure, 2)));
        writer.write_record(row).map_err(failed)?;
    }
    writer.into_inner().map_err(|error| CliError::internal(format!("the table could not be made: {error}")))
}

fn json<'a>(
    found: &'a Parcel,
    sent: &'a Sent,
    task: &ParcelTask<'a>,
    options: &Options,
    cautions: &'a [Caution],
) -> Answer<'a> {
    let scaled = |one: Estimate, by: f64| Estimate { value: by * one.value, low: by * one.low, high: by * one.high };
    let way = |one: &'a Outcome| WayJson {
        way: &one.way,
        keeps_shape: one.keeps,
        verdict: Verdict::from_probability(one.keeps),
        core_c: one.core_c,
        mean_c: one.mean_c,
        edge_c: one.edge_c,
        melted_percent: scaled(one.melted_share, 100.0),
        fails_h: one.fails_s.map(|time| scaled(time, 1.0 / 3600.0)),
        ice_gone_h: one.ice_gone_s.map(|time| time / 3600.0),
    };
    let history = found.asked.history.iter().zip(&found.outside).map(|(one, (_, outside_c))| RecordJson {
        hours: one.time_s / 3600.0,
        outside_c: *outside_c,
        inside_c: one.ambient_c,
        core_c: one.centre_c,
        mean_c: one.mean_c,
        melted_percent: 100.0 * one.melted_share,
    });
    Answer {
        formula: &task.formula.name,
        state: options.state.word(),
        route: RouteJson {
            name: &sent.name,
            hours: found.length_s / 3600.0,
            lowest_c: found.extremes_c.0,
            highest_c: found.extremes_c.1,
            averaged_over_min: found.window_s.map(|window| window / 60.0),
            status: sent.known.as_ref().map(|one| one.status.word()),
            source: sent.known.as_ref().map(|one| one.source.as_str()),
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
        cautions,
    }
}
