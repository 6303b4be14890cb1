//! `explore`: the best trade-offs of a space of formulas.

use std::fs;
use std::io::ErrorKind;
use std::ops::ControlFlow;
use std::path::Path;
use std::time::{Duration, Instant};

use barwright_blend::{Assessment, Model, Options, assess};
use barwright_reference::text_cell::guard;
use barwright_reference::{Formula, Library, Part};
use barwright_reformulate::Demand;
use barwright_reformulate::explore::{Candidate, Exploration, ExploreError, FirmnessAim, Progress, Settings, explore};
use barwright_reformulate::judge::Judge;
use serde::Serialize;

use crate::args::Explore;
use crate::error::CliError;
use crate::output::Streams;
use crate::profile::Profile;
use crate::progress;
use crate::render;
use crate::save::save;
use crate::space::{LoadedSpace, load_space};
use crate::stop::Stop;
use barwright_answer::Fault;
use barwright_answer::demand::unmeasurable;
use barwright_answer::explore::Shown;
use barwright_answer::picture;

/// Steps of the amounts shown, mass %: the first that the space allows.
const SHOWN_STEPS_PERCENT: [f64; 2] = [0.5, 0.1];

/// Less than this is not in a bar, mass %.
const NOTHING_PERCENT: f64 = 0.005;

/// Time between two savings of what was found.
const SAVED_EVERY: Duration = Duration::from_secs(20);

/// Candidates tried without one of the demands, to say which one is too much.
const TRIED_WITHOUT: usize = 4000;

/// An even chance.
const EVEN: f64 = 0.5;

/// The bar of progress.
const BAR: &str = "{bar:30} {percent:>3} %  {msg}  {eta} left, Ctrl-C stops with what there is";

/// A part as JSON.
#[derive(Debug, Serialize)]
struct PartJson<'a> {
    ingredient: &'a str,
    percent: f64,
}

/// A trade-off as JSON.
#[derive(Debug, Serialize)]
struct TradeOff<'a> {
    parts: Vec<PartJson<'a>>,
    firmness_kpa: f64,
    hold_c: Option<f64>,
    finest_mm: f64,
    skin_ln_off: f64,
    price_per_kg: Option<f64>,
}

/// A trade-off that is shown, as JSON.
#[derive(Debug, Serialize)]
struct ShownJson<'a> {
    assessment: &'a Assessment,
    demands: Vec<DemandJson<'a>>,
}

/// How surely a demand is met, as JSON.
#[derive(Debug, Serialize)]
struct DemandJson<'a> {
    #[serde(flatten)]
    demand: &'a Demand,
    probability: f64,
}

/// The answer as JSON.
#[derive(Debug, Serialize)]
struct Answer<'a> {
    space: &'a str,
    finished: bool,
    judged: usize,
    rejected: usize,
    firmness_at_c: f64,
    front: Vec<TradeOff<'a>>,
    shown: Vec<ShownJson<'a>>,
}

/// Runs the subcommand.
pub fn run(order: &Explore, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded =
        load_space(&order.space, profile.lots(order.making.lots.as_deref()).as_deref(), order.showing.seed, streams)?;
    let model = profile.model(streams)?;
    let options = wanted(order, &loaded.demands);
    let settings = Settings {
        candidates: usize::try_from(order.candidates).unwrap_or(usize::MAX),
        seed: order.showing.seed,
        options: options.clone(),
        firmness_at_c: order.firmness_at,
        firmness: if order.softer { FirmnessAim::Softer } else { FirmnessAim::Firmer },
        most_price: loaded.most_price,
        ..Settings::default()
    };
    let previous = order.resume.as_deref().map(kept).transpose()?.flatten();
    let found = search(&loaded, &model, &settings, previous, order.resume.as_deref())?;
    let picked = found.thinned(usize::try_from(order.show).unwrap_or(usize::MAX), settings.firmness);
    let shown = shown(&loaded, &model, &options, picked)?;
    if order.showing.json {
        streams.data.json(&json(&loaded, order, &found, &shown))?;
    } else {
        let too_much =
            if found.front.is_empty() && found.finished { too_much(&loaded, &model, &settings)? } else { Vec::new() };
        let view = render::explore::View {
            found: &found,
            shown: &shown,
            loaded: &loaded,
            too_much: &too_much,
            settings: &settings,
            units: order.showing.units,
        };
        render::explore::write(&mut streams.data, &view)?;
    }
    if let Some(path) = &order.out {
        save(path, &table(&loaded, &found, order.firmness_at)?)?;
        streams.remarks.note(&format!("{} trade-offs written into {}", found.front.len(), path.display()))?;
    }
    if order.drawing.is_wanted() {
        order.drawing.show(
            &picture::trade_offs::picture(&found.front, &shown, order.firmness_at, order.showing.units),
            streams,
        )?;
    }
    if !found.finished {
        let on = match &order.resume {
            Some(path) => format!("the same command goes on from {}", path.display()),
            None => "with `--resume FILE` the same command could go on later".to_owned(),
        };
        streams.remarks.note(&format!("stopped early, after {} bars; {on}", found.judged))?;
    }
    Ok(())
}

/// What is computed of the bars shown: relief and warmth at what is asked of them.
fn wanted(order: &Explore, demands: &[Demand]) -> Options {
    let mut options = order.options();
    for demand in demands {
        match *demand {
            Demand::Hold { temperature_c } => options.hold_c = temperature_c,
            Demand::Detail { relief_mm } => options.relief_mm = relief_mm,
            _ => {}
        }
    }
    options
}

/// Reads an earlier exploration; `None` when there is no such file yet.
fn kept(path: &Path) -> Result<Option<Exploration>, CliError> {
    let bytes = match fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => {
            return Err(
                Fault::new("unreadable", format!("--resume: `{}` cannot be read: {error}", path.display())).into()
            );
        }
    };
    serde_json::from_slice(&bytes).map(Some).map_err(|error| {
        Fault::new("not-kept", format!("--resume: `{}` is not a kept exploration: {error}", path.display()))
            .hint("Name a file that `--resume` has written, or one that is not there yet; this one is left as it is.")
            .into()
    })
}

/// Explores until all is done or the user stops it, with a bar on a terminal, and keeps what was found.
fn search(
    loaded: &LoadedSpace,
    model: &Model,
    settings: &Settings,
    mut state: Option<Exploration>,
    resume: Option<&Path>,
) -> Result<Exploration, CliError> {
    let stop = Stop::listen()?;
    let bar = progress::bar(BAR);
    loop {
        let started = Instant::now();
        let go_on = |progress: Progress| {
            bar.set_length(progress.total);
            bar.set_position(progress.done);
            bar.set_message(format!("{} trade-offs so far", progress.front));
            let save_now = resume.is_some() && started.elapsed() > SAVED_EVERY;
            if stop.asked() || save_now { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        };
        let found = explore(&loaded.library, model, &loaded.space, settings, &loaded.demands, state.take(), &go_on)
            .map_err(|error| refused(error, resume))?;
        if let Some(path) = resume {
            save(path, &serde_json::to_vec(&found)?)?;
        }
        if found.finished || stop.asked() {
            bar.finish_and_clear();
            return Ok(found);
        }
        state = Some(found);
    }
}

/// Says why nothing was explored.
fn refused(error: ExploreError, resume: Option<&Path>) -> CliError {
    match (error, resume) {
        (ExploreError::Blend(error), _) => error.into(),
        (error @ ExploreError::OtherExploration, Some(path)) => {
            Fault::new("other-exploration", format!("--resume: `{}`: {error}", path.display()))
                .hint("Name another file, or take the space and options it was kept with; this one is left as it is.")
                .into()
        }
        (ExploreError::Demand(error), _) => unmeasurable(error).into(),
        (error, _) => Fault::new("space", error.to_string()).into(),
    }
}

/// Assesses the trade-offs that are shown, their amounts rounded where the space allows.
fn shown(
    loaded: &LoadedSpace,
    model: &Model,
    options: &Options,
    picked: Vec<Candidate>,
) -> Result<Vec<Shown>, CliError> {
    let LoadedSpace { library, space, demands, .. } = loaded;
    // The confidence decides a margin that is not used here.
    let judge = Judge::new(library, model, options, &space.ingredients, demands, EVEN)?;
    picked
        .into_iter()
        .map(|candidate| {
            let rounded =
                SHOWN_STEPS_PERCENT.into_iter().find_map(|step| loaded.filler.rounded(&candidate.percent, step));
            let percent = rounded.unwrap_or_else(|| candidate.percent.clone());
            let parts = (space.ingredients.iter().zip(&percent))
                .filter(|(_, percent)| **percent > NOTHING_PERCENT)
                .map(|(&ingredient, &percent)| Part { ingredient, percent })
                .collect();
            let formula = Formula { name: loaded.name.clone(), parts };
            let assessment = assess(library, model, &formula, options)?;
            let standings = judge.judge(&percent, false)?;
            let probabilities = standings.iter().map(|one| one.probability).collect();
            Ok(Shown { candidate, formula, assessment, probabilities })
        })
        .collect()
}

/// Demands that leave nothing: without one of these alone, there would be bars. The last position is the price.
fn too_much(loaded: &LoadedSpace, model: &Model, settings: &Settings) -> Result<Vec<usize>, CliError> {
    let count = loaded.demands.len();
    let asked = (0..count).chain(settings.most_price.map(|_| count));
    let mut found = Vec::new();
    for left_out in asked {
        let mut demands = loaded.demands.clone();
        let mut fewer = Settings { candidates: settings.candidates.min(TRIED_WITHOUT), ..settings.clone() };
        if left_out < count {
            demands.remove(left_out);
        } else {
            fewer.most_price = None;
        }
        let go_on = |_: Progress| ControlFlow::Continue(());
        let tried = explore(&loaded.library, model, &loaded.space, &fewer, &demands, None, &go_on);
        if !tried.map_err(|error| refused(error, None))?.front.is_empty() {
            found.push(left_out);
        }
    }
    Ok(found)
}

/// Key of an ingredient.
fn key(library: &Library, index: usize) -> &str {
    library.ingredients.get(index).map_or("", |one| one.key.as_str())
}

/// Every trade-off as CSV.
fn table(loaded: &LoadedSpace, found: &Exploration, firmness_at_c: f64) -> Result<Vec<u8>, CliError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut header = vec![
        "number".to_owned(),
        format!("yield_stress_kpa_at_{firmness_at_c}_c"),
        "hold_c".to_owned(),
        "finest_mm".to_owned(),
        "skin_ln_off".to_owned(),
        "price_per_kg".to_owned(),
    ];
    header.extend(loaded.space.ingredients.iter().map(|&index| guard(key(&loaded.library, index))));
    let failed = |error: csv::Error| CliError::internal(format!("the table could not be made: {error}"));
    writer.write_record(&header).map_err(failed)?;
    for (number, one) in found.front.iter().enumerate() {
        let of = &one.properties;
        let maybe = |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value:.3}"));
        let mut row = vec![
            (number + 1).to_string(),
            format!("{:.3}", of.firmness_kpa),
            maybe(of.hold_c),
            format!("{:.4}", of.finest_mm),
            format!("{:.4}", of.skin_ln_off),
            maybe(of.price),
        ];
        row.extend(one.percent.iter().map(|percent| format!("{percent:.3}")));
        writer.write_record(&row).map_err(failed)?;
    }
    writer.into_inner().map_err(|error| CliError::internal(format!("the table could not be made: {error}")))
}

fn json<'a>(loaded: &'a LoadedSpace, order: &Explore, found: &'a Exploration, shown: &'a [Shown]) -> Answer<'a> {
    let front = found.front.iter().map(|one| TradeOff {
        parts: (loaded.space.ingredients.iter().zip(&one.percent))
            .filter(|(_, percent)| **percent > 0.0)
            .map(|(&index, &percent)| PartJson { ingredient: key(&loaded.library, index), percent })
            .collect(),
        firmness_kpa: one.properties.firmness_kpa,
        hold_c: one.properties.hold_c,
        finest_mm: one.properties.finest_mm,
        skin_ln_off: one.properties.skin_ln_off,
        price_per_kg: one.properties.price,
    });
    let shown = shown.iter().map(|one| ShownJson {
        assessment: &one.assessment,
        demands: (loaded.demands.iter().zip(&one.probabilities))
            .map(|(demand, &probability)| DemandJson { demand, probability })
            .collect(),
    });
    Answer {
        space: &loaded.name,
        finished: found.finished,
        judged: found.judged,
        rejected: found.rejected,
        firmness_at_c: order.firmness_at,
        front: front.collect(),
        shown: shown.collect(),
    }
}
