//! What is taken of a pour where nobody says: how much is in the jug, and how hot it is poured.

use barwright_blend::assess::Workbench;
use barwright_making::bar::density_kg_per_m3;
use barwright_reference::mould::Mould;
use barwright_reference::{Formula, Library};

use crate::refusal::{Fault, Refusal};

/// Default mass in a jug, kg.
pub(crate) const USUAL_KG: f64 = 0.5;

/// Of a melt, this share stays on jug and thermometer (common practice, no source).
const LEFT_IN_JUG: f64 = 0.05;

/// A melt is poured this much above the temperature at which its last crystal dissolves, K (common practice, no source).
const POURED_ABOVE_K: f64 = 5.0;

/// Mass that fills a mould, with what stays in the jug, kg.
pub(crate) fn filling_kg(mould: &Mould, library: &Library, formula: &Formula) -> f64 {
    let bars = 1e-6 * mould.volume_ml * f64::from(mould.cavities) * density_kg_per_m3(library, formula);
    bars / (1.0 - LEFT_IN_JUG)
}

/// A pour a little above the temperature at which the last crystal dissolves, °C.
///
/// # Errors
/// Faults of the model.
pub(crate) fn usual_pour_c(bench: &Workbench<'_>, formula: &Formula, room_c: f64) -> Result<f64, Refusal> {
    let clear_c = bench.heat_curves(formula, 0)?.central.clear_c;
    Ok(clear_c.map_or(room_c + POURED_ABOVE_K, |clear_c| (clear_c + POURED_ABOVE_K).ceil()))
}

/// Refuses a melt that the mould cannot take.
///
/// # Errors
/// It is too hot.
pub(crate) fn too_hot(mould: &Mould, pour_c: f64) -> Result<(), Refusal> {
    match mould.most_c {
        Some(most_c) if pour_c > most_c => Err(Fault::new(
            "too-hot",
            format!("a melt of {pour_c:.0} °C is too hot for the mould, which takes {most_c:.0} °C"),
        )
        .hint("Pour cooler with `--pour`, or take another mould.")
        .into()),
        _ => Ok(()),
    }
}
