//! `pour`: what to melt first, how hot, when to pour.

use std::ffi::OsStr;

use barwright_blend::Estimate;
use barwright_blend::assess::Workbench;
use barwright_blend::cautions::Caution;
use barwright_making::Pouring;
use barwright_making::pour::{Limit, MeltStep, PourTask, pour};
use barwright_reference::Library;
use serde::Serialize;

use crate::args::Pour;
use crate::error::CliError;
use crate::input::load;
use crate::mould::load as load_mould;
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;
use crate::progress;
use crate::render;
use barwright_answer::plans::{USUAL_KG, filling_kg};
use barwright_answer::{Fault, Refusal};

/// One step of melting as JSON.
#[derive(Debug, Serialize)]
struct StepJson<'a> {
    ingredient: &'a str,
    #[serde(flatten)]
    step: &'a MeltStep,
}

/// Viscosity at one temperature as JSON.
#[derive(Debug, Serialize)]
struct ViscosityJson {
    temperature_c: f64,
    viscosity_mpa_s: Estimate,
}

/// The answer as JSON.
#[derive(Debug, Serialize)]
pub(super) struct Answer<'a> {
    formula: &'a str,
    mass_kg: f64,
    order: Vec<StepJson<'a>>,
    clear_c: Option<Estimate>,
    haze_c: Option<Estimate>,
    ceiling_c: f64,
    scent_below_c: Option<f64>,
    limit: &'a Limit,
    window: bool,
    hold_c: f64,
    pour_c: f64,
    workable_min: Option<Estimate>,
    heat_kj: Estimate,
    viscosity: Vec<ViscosityJson>,
    second_c: Option<Estimate>,
    microwave_bursts: Option<u32>,
    cautions: &'a [Caution],
}

/// Runs the subcommand.
pub fn run(order: &Pour, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let written: Vec<&OsStr> = std::iter::once(order.formula.as_os_str()).chain(order.with.as_deref()).collect();
    let loaded = load(&written, profile.lots(order.lots.as_deref()).as_deref(), streams)?;
    let several = || {
        CliError::from(
            Fault::new("several-formulas", "with `--with`, each of the two must be one formula")
                .hint("Write one of them as a text, or put it into a file of its own."),
        )
    };
    let (index, second) = match &order.with {
        None => (pick(&loaded.formulas, order.named.as_deref(), "pour")?, None),
        Some(_) if loaded.formulas.len() == 2 => (0, loaded.formulas.get(1)),
        Some(_) => return Err(several()),
    };
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let mould = order.mould.as_deref().map(load_mould).transpose()?;
    let model = profile.model(streams)?;
    let bench = Workbench::new(&loaded.library, &model, order.options())?;
    let filling_kg = mould.as_ref().map(|mould| filling_kg(mould, &loaded.library, formula));
    let mass_kg = order.mass.or(filling_kg).unwrap_or(USUAL_KG);
    let task = PourTask {
        formula,
        second,
        mass_kg,
        room_c: order.room,
        mould_most_c: mould.as_ref().and_then(|mould| mould.most_c),
        flash_c: order.flash,
        pour_c: order.pour,
    };
    let found = progress::watched(|control| pour(&bench, &task, control))?.map_err(Refusal::from)?;
    let assessment = &found.assessment;
    if order.showing.json {
        let bursts = order.microwave.map(|watts| found.bursts(watts));
        return streams.data.json(&json(&found, &formula.name, mass_kg, &loaded.library, bursts));
    }
    let view = render::pour::View {
        found: &found,
        formula,
        second,
        library: &loaded.library,
        mass_kg,
        melt_kg: mass_kg,
        of_mould: order.mass.is_none() && filling_kg.is_some(),
        microwave: order.microwave,
        scent: order.flash,
        assessment,
        units: order.showing.units,
    };
    render::pour::write(&mut streams.data, &view)?;
    Ok(())
}

/// The answer as JSON.
pub(super) fn json<'a>(
    found: &'a Pouring,
    formula: &'a str,
    mass_kg: f64,
    library: &'a Library,
    microwave_bursts: Option<u32>,
) -> Answer<'a> {
    let key = |index: usize| library.ingredients.get(index).map_or("", |one| one.key.as_str());
    let viscosity = render::pour::temperatures(found)
        .into_iter()
        .map(|temperature_c| ViscosityJson { temperature_c, viscosity_mpa_s: found.viscosity.at(temperature_c) });
    Answer {
        formula,
        mass_kg,
        order: found.order.iter().map(|step| StepJson { ingredient: key(step.ingredient), step }).collect(),
        clear_c: found.clear_c,
        haze_c: found.haze_c,
        ceiling_c: found.ceiling_c,
        scent_below_c: found.scent_below_c,
        limit: &found.limit,
        window: found.window,
        hold_c: found.hold_c,
        pour_c: found.pour_c,
        workable_min: found.workable_s.map(|one| scaled(one, 1.0 / 60.0)),
        heat_kj: scaled(found.heat_j, 1e-3),
        viscosity: viscosity.collect(),
        second_c: found.second_c,
        microwave_bursts,
        cautions: &found.assessment.cautions,
    }
}

/// An estimate in another unit.
fn scaled(one: Estimate, factor: f64) -> Estimate {
    Estimate { value: factor * one.value, low: factor * one.low, high: factor * one.high }
}
