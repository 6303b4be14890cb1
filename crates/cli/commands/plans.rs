//! The plans of pouring and cooling for a weigh sheet: what `pour` and `cool` say, of the batch at hand.

use barwright_blend::assess::Workbench;
use barwright_blend::{Model, Options};
use barwright_making::batch::{Batch, Scent};
use barwright_making::{CoolTask, Cooling, MakingError, PourTask, Pouring, cool, pour};
use barwright_reference::mould::Mould;
use barwright_reference::{Formula, Library};

use super::cool::{refused, usual_places};
use crate::error::CliError;
use crate::output::Streams;
use crate::progress;

/// What is planned for.
pub struct PlanTask<'a> {
    /// Reference tables and lots.
    pub library: &'a Library,
    /// Parameters of the model.
    pub model: &'a Model,
    /// The formula without scent.
    pub formula: &'a Formula,
    /// Scents, which go in last.
    pub scents: &'a [Scent],
    /// The weigh sheet.
    pub sheet: &'a Batch,
    /// The mould; without one nothing is known of the cooling.
    pub mould: Option<&'a Mould>,
    /// Temperature of the room, °C, and its humidity, %.
    pub room: (f64, f64),
    /// Trial computations.
    pub draws: usize,
}

/// What came of it.
pub struct Plans {
    /// How it was computed.
    pub options: Options,
    /// Mass in the fullest jug, kg.
    pub jug_kg: f64,
    /// Lowest flash point that the lots of the scents state, °C.
    pub flash_c: Option<f64>,
    /// Melting and pouring; `None` where the model does not reach, which was said.
    pub pour: Option<Pouring>,
    /// Temperature of the melt as it fills the mould, °C, and what follows.
    pub cool: Option<(f64, Cooling)>,
}

/// Plans the pour, and the cooling where a mould is known.
///
/// # Errors
/// Faults of the model, and Ctrl-C. A plan of sizes that the heat model does not take is left out with a note.
pub fn plan(task: &PlanTask<'_>, streams: &mut Streams<'_>) -> Result<Plans, CliError> {
    let usual = Options::default();
    let relief_mm = task.mould.and_then(|mould| mould.relief_mm).unwrap_or(usual.relief_mm);
    let options = Options { draws: task.draws, relief_mm, ..usual };
    let bench = Workbench::new(task.library, task.model, options.clone())?;
    let jug_kg = 1e-3 * task.sheet.jugs.iter().map(|jug| jug.melt_g).fold(0.0, f64::max);
    let known = |scent: &Scent| task.library.ingredients.get(scent.ingredient)?.lot_flash_c;
    let flash_c = task.scents.iter().filter_map(known).reduce(f64::min);
    let (room_c, _) = task.room;
    let pour_task = PourTask {
        formula: task.formula,
        second: None,
        mass_kg: jug_kg,
        room_c,
        mould_most_c: task.mould.and_then(|mould| mould.most_c),
        flash_c,
        pour_c: None,
    };
    let pouring = within_reach(progress::watched(|control| pour(&bench, &pour_task, control))?, "pour", streams)?;
    let cooling = match (&pouring, task.mould) {
        (Some(pouring), Some(mould)) => {
            // A bar in its mould starts clear throughout, whatever the jug may still be poured at.
            let clear_c = bench.heat_curves(task.formula, 0)?.central.clear_c.unwrap_or(room_c);
            let pour_c = pouring.pour_c.max(clear_c.ceil());
            let places = usual_places(room_c, false);
            let cool_task = CoolTask {
                formula: if task.scents.is_empty() { task.formula } else { &task.sheet.whole },
                mould,
                pour_c,
                mould_c: room_c,
                places: &places,
                room: task.room,
            };
            let found = progress::watched(|control| cool(&bench, &cool_task, control))?;
            within_reach(found, "cooling", streams)?.map(|cooling| (pour_c, cooling))
        }
        _ => None,
    };
    Ok(Plans { options, jug_kg, flash_c, pour: pouring, cool: cooling })
}

/// Turns sizes and temperatures outside the heat model into a note.
pub(super) fn within_reach<T>(
    found: Result<T, MakingError>,
    what: &str,
    streams: &mut Streams<'_>,
) -> Result<Option<T>, CliError> {
    match found {
        Ok(found) => Ok(Some(found)),
        Err(error @ (MakingError::Heat(_) | MakingError::NotMelted { .. } | MakingError::NotCooled { .. })) => {
            streams.remarks.note(&format!("no plan of the {what}: {error}"))?;
            Ok(None)
        }
        Err(error) => Err(refused(error)),
    }
}
