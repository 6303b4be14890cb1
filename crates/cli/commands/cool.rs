//! `cool`: from the poured melt to a bar out of its mould.

use barwright_blend::assess::Workbench;
use barwright_blend::cautions::Caution;
use barwright_blend::{Estimate, Options};
use barwright_making::{CoolTask, Cooling, Place, cool};
use serde::Serialize;

use crate::args::Cool;
use crate::error::CliError;
use crate::input::load;
use crate::output::Streams;
use crate::pick::pick;
use crate::profile::Profile;
use crate::progress;
use crate::render;
use barwright_answer::plans::{too_hot, usual_pour_c};
use barwright_answer::{Refusal, picture, places};

/// One place as JSON; times in minutes.
#[derive(Debug, Serialize)]
struct PlaceJson<'a> {
    place: &'a str,
    air_c: f64,
    skin_min: Option<Estimate>,
    set_min: Option<Estimate>,
    release_min: Option<Estimate>,
    probability_within_a_day: f64,
    grain_risk: f64,
    minutes_from_40c_to_20c: Option<f64>,
    surface_c: f64,
    dew: bool,
}

/// The answer as JSON.
#[derive(Debug, Serialize)]
pub(super) struct Answer<'a> {
    formula: &'a str,
    pour_c: f64,
    relief_mm: f64,
    bar_g: f64,
    sets_c: Option<f64>,
    releases_c: Option<f64>,
    shrinkage_percent: Estimate,
    dew_point_c: f64,
    best: Option<&'a str>,
    places: Vec<PlaceJson<'a>>,
    cautions: &'a [Caution],
}

/// Runs the subcommand.
pub fn run(order: &Cool, profile: &Profile, streams: &mut Streams<'_>) -> Result<(), CliError> {
    let loaded = load(&[&order.formula], profile.lots(order.lots.as_deref()).as_deref(), streams)?;
    let index = pick(&loaded.formulas, order.named.as_deref(), "cool")?;
    let formula = loaded.formulas.get(index).ok_or_else(|| CliError::internal("a formula was read and lost"))?;
    let mould = order.mould.load()?;
    let model = profile.model(streams)?;
    let options = order.options(mould.relief_mm);
    let bench = Workbench::new(&loaded.library, &model, options.clone())?;
    let pour_c = match order.pour {
        Some(pour_c) => pour_c,
        None => usual_pour_c(&bench, formula, order.room)?,
    };
    too_hot(&mould, pour_c)?;
    let places: Vec<Place> = if order.place.is_empty() {
        places::usual(order.room, order.fan)
    } else {
        order.place.iter().map(|(name, air_c)| Place { name: name.clone(), air_c: *air_c, fan: order.fan }).collect()
    };
    let task = CoolTask {
        formula,
        mould: &mould,
        pour_c,
        mould_c: order.room,
        places: &places,
        room: (order.room, order.humidity),
    };
    let found = progress::watched(|control| cool(&bench, &task, control))?.map_err(Refusal::from)?;
    let assessment = &found.assessment;
    if order.showing.json {
        streams.data.json(&json(&found, &formula.name, pour_c, &options, &assessment.cautions))?;
    } else {
        let view = render::cool::View {
            found: &found,
            formula,
            mould: &mould,
            usual_size: order.mould.is_usual(),
            pour_c,
            options: &options,
            assessment,
            units: order.showing.units,
        };
        render::cool::write(&mut streams.data, &view)?;
    }
    if order.drawing.is_wanted() {
        order.drawing.show(&picture::cooling::picture(&found, pour_c, order.showing.units), streams)?;
    }
    Ok(())
}

/// The answer as JSON.
pub(super) fn json<'a>(
    found: &'a Cooling,
    formula: &'a str,
    pour_c: f64,
    options: &Options,
    cautions: &'a [Caution],
) -> Answer<'a> {
    let minutes = |time: &Option<Estimate>| {
        time.map(|time| Estimate { value: time.value / 60.0, low: time.low / 60.0, high: time.high / 60.0 })
    };
    let percent = |one: Estimate| Estimate { value: 100.0 * one.value, low: 100.0 * one.low, high: 100.0 * one.high };
    let places = found.places.iter().map(|one| PlaceJson {
        place: &one.place.name,
        air_c: one.place.air_c,
        skin_min: minutes(&one.skin_s),
        set_min: minutes(&one.set_s),
        release_min: minutes(&one.release_s),
        probability_within_a_day: one.releases,
        grain_risk: one.grain,
        minutes_from_40c_to_20c: one.slow_s.map(|time| time / 60.0),
        surface_c: one.surface_c,
        dew: one.dew,
    });
    Answer {
        formula,
        pour_c,
        relief_mm: options.relief_mm,
        bar_g: 1e3 * found.bar_kg,
        sets_c: found.sets_c,
        releases_c: found.releases_c,
        shrinkage_percent: percent(found.shrinkage),
        dew_point_c: found.dew_point_c,
        best: found.best.and_then(|best| found.places.get(best)).map(|one| one.place.name.as_str()),
        places: places.collect(),
        cautions,
    }
}
