//! Plans of pouring and cooling: for a weigh sheet, what `pour` and `cool` say of the batch at hand.

use std::ops::ControlFlow;

use barwright_blend::Options;
use barwright_making::batch::{Batch, Scent};
use barwright_making::{CoolTask, MakingError};
use barwright_reference::mould::Mould;
use barwright_reference::{Formula, IngredientId};

use crate::engine::Engine;
use crate::places::{self, Room};
use crate::pour::{self, Pour};
use crate::refusal::Refusal;
use crate::words::units::Units;
use crate::{Control, cool};

/// Parts in which the progress of one of several computations is counted.
const STAGE_PARTS: usize = 1000;

/// What a weigh sheet is planned for.
pub(crate) struct PlanTask<'a> {
    /// The formula without scent.
    pub(crate) formula: &'a Formula,
    /// Scents, which go in last.
    pub(crate) scents: &'a [Scent],
    /// The weigh sheet.
    pub(crate) sheet: &'a Batch,
    /// The mould; without one nothing is known of the cooling.
    pub(crate) mould: Option<&'a Mould>,
    /// The room it is made in.
    pub(crate) room: Room,
    /// Simulated draws.
    pub(crate) draws: usize,
    /// Units shown.
    pub(crate) units: Units,
}

/// The plans of a weigh sheet.
pub(crate) struct Plans<'a> {
    /// Melting and pouring; `None` where the model does not reach, of which there is a note.
    pub(crate) pour: Option<pour::Plan<'a>>,
    /// What follows in the mould.
    pub(crate) cool: Option<cool::Plan>,
    /// Which plans were left out, and why.
    pub(crate) notes: Vec<String>,
}

/// Plans the pour, and the cooling where a mould is known.
///
/// # Errors
/// Faults of the model, and a stop by `control`. A plan of sizes that the heat model does not take is left out with a note.
pub(crate) fn plan<'a>(engine: &'a Engine, task: &PlanTask<'a>, control: Control<'_>) -> Result<Plans<'a>, Refusal> {
    let usual = Options::default();
    let relief_mm = task.mould.and_then(|mould| mould.relief_mm).unwrap_or(usual.relief_mm);
    let bench = engine.bench(&Options { draws: task.draws, relief_mm, ..usual })?;
    let known = |scent: &Scent| engine.library.get(scent.ingredient)?.lot_flash_c;
    let asked = Pour {
        mass_kg: Some(1e-3 * task.sheet.jugs.iter().map(|jug| jug.melt_g).fold(0.0, f64::max)),
        mould: task.mould.cloned(),
        room: task.room,
        flash_c: task.scents.iter().filter_map(known).reduce(f64::min),
        units: task.units,
        ..Pour::default()
    };
    let scents: Vec<IngredientId> = task.scents.iter().map(|scent| scent.ingredient).collect();
    pour::flash_above_room(&engine.library, &asked, task.formula, &scents)?;
    let mut notes = Vec::new();
    let stages = if task.mould.is_some() { 2 } else { 1 };
    let poured = pour::Plan::new(&bench, &asked, task.formula, None, &stage(control, 0, stages));
    let mut pour = within_reach(poured, "pour", &mut notes)?;
    pour.iter_mut().for_each(|plan| plan.melt_kg = 1e-3 * task.sheet.melt_g);
    let cool = match (&pour, task.mould) {
        (Some(pour), Some(mould)) => {
            // A bar in its mould starts clear throughout, whatever the jug may still be poured at.
            let room_c = task.room.air_c;
            let clear_c = bench.heat_curves(task.formula, 0)?.central.clear_c.unwrap_or(room_c);
            let cool_task = CoolTask {
                formula: if task.scents.is_empty() { task.formula } else { &task.sheet.whole },
                mould,
                pour_c: pour.found.pour_c.max(clear_c.ceil()),
                mould_c: room_c,
                places: &places::usual(room_c, false),
                room: task.room.pair(),
                fine: false,
            };
            let cooled = cool::Plan::new(&bench, &cool_task, task.units, &stage(control, 1, stages));
            within_reach(cooled, "cooling", &mut notes)?
        }
        _ => None,
    };
    Ok(Plans { pour, cool, notes })
}

/// Turns sizes and temperatures outside the heat model into a note.
pub(crate) fn within_reach<T>(
    found: Result<T, MakingError>,
    what: &str,
    notes: &mut Vec<String>,
) -> Result<Option<T>, Refusal> {
    match found {
        Ok(found) => Ok(Some(found)),
        Err(error @ (MakingError::Heat(_) | MakingError::NotMelted { .. } | MakingError::NotCooled { .. })) => {
            notes.push(format!("no plan of the {what}: {error}"));
            Ok(None)
        }
        Err(error) => Err(error.into()),
    }
}

/// The control of one of several computations in a row, each counted as an equal part of all.
pub(crate) fn stage(control: Control<'_>, index: usize, of: usize) -> impl Fn(usize, usize) -> ControlFlow<()> + Sync {
    move |done, total| control(index * STAGE_PARTS + done * STAGE_PARTS / total.max(1), of * STAGE_PARTS)
}
