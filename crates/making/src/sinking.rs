//! How fast powder sinks in the melt before it sets.
//!
//! ```text
//! v = (1 − φ)^4.65 (ρ_p − ρ) g d² / (18 μ)
//! ```
//! | symbol | what |
//! |---|---|
//! | `v` | speed of a grain, m/s; negative where it rises |
//! | `φ` | share of the volume that is powder: crowded grains hinder each other |
//! | `ρ_p`, `ρ`, `d` | density of the grain and of the melt, kg/m³, diameter, m |
//! | `μ` | viscosity of the melt between the grains, Pa·s |
//!
//! # Validity
//! Round grains, each by itself, slower than about a millimetre a second (Reynolds number below 0.1). Fine oxides clump, and the clump sinks: they come out
//! too slow here. Plates sink at about two thirds of this.
//!
//! # Source
//! Stokes 1851, for a sphere; hindrance by Richardson and Zaki 1954 (both textbook; recalled).

use barwright_blend::Estimate;
use barwright_blend::assess::Workbench;
use barwright_blend::root::{End, Tolerance, find_root};
use barwright_blend::viscosity::{HIGHEST_C, MeltCurve, MeltViscosity};
use barwright_reference::{Formula, IngredientId, Powder};

/// Acceleration of free fall, m/s².
const GRAVITY_M_PER_S2: f64 = 9.806_65;

/// Exponent of the hindrance.
const HINDRANCE: f64 = 4.65;

/// A powder that sinks no faster than this stays where it was stirred to until a small bar sets, mm/min (common practice, no source).
pub const SLOW_MM_PER_MIN: f64 = 1.0;

/// When the search for a temperature ends: K, and the logarithm of the speed.
const TOLERANCE: Tolerance = Tolerance { argument: 1e-3, value: 1e-4 };

/// Before the key of a powder: the dimension of its diameter.
const DIAMETER: &str = "grain-diameter";

/// How one powder sinks.
#[derive(Debug, Clone, PartialEq)]
pub struct Sinking {
    /// The powder.
    pub ingredient: IngredientId,
    /// At the pour, mm/min.
    pub mm_per_min: Estimate,
    /// Temperature below which it sinks slower than [`SLOW_MM_PER_MIN`], °C; `None` where the melt hazes before.
    pub slow_below_c: Option<f64>,
}

/// Speed of a grain, m/s; see the head of this file.
///
/// # Arguments
/// * `diameter_m`: m.
/// * `density_kg_per_m3`: of the grain and of the melt, kg/m³.
/// * `viscosity_pa_s`: of the melt, Pa·s.
/// * `volume`: share of the volume that is powder.
fn speed_m_per_s(diameter_m: f64, density_kg_per_m3: [f64; 2], viscosity_pa_s: f64, volume: f64) -> f64 {
    let heavier = density_kg_per_m3[0] - density_kg_per_m3[1];
    (1.0 - volume).powf(HINDRANCE) * heavier * GRAVITY_M_PER_S2 * diameter_m * diameter_m / (18.0 * viscosity_pa_s)
}

/// How the powders of a formula sink.
///
/// # Arguments
/// * `bench`: draws and library.
/// * `formula`: parts in mass %.
/// * `viscosity`: of its melt.
/// * `pour_c`, `haze_c`: temperature of the pour and of the first haze, °C.
pub(crate) fn sinking(
    bench: &Workbench<'_>,
    formula: &Formula,
    viscosity: &MeltViscosity,
    pour_c: f64,
    haze_c: f64,
) -> Vec<Sinking> {
    let library = bench.library();
    let parts = || formula.parts.iter().filter_map(|part| library.get(part.ingredient).map(|one| (part, one)));
    let volume = |powder: bool| -> f64 {
        let counted = parts().filter(|(_, one)| !powder || one.powder.is_some());
        counted.map(|(part, one)| part.percent / one.density_g_ml).sum()
    };
    let share = volume(true) / volume(false);
    let mm_per_min = |powder: &Powder, grain_g_ml: f64, curve: &MeltCurve, celsius: f64, score: f64| {
        let diameter_m = 1e-6 * powder.diameter_um * (powder.diameter_ln_sd * score).exp();
        let densities = [1e3 * grain_g_ml, 1e3 * curve.density_g_ml(celsius)];
        60e3 * speed_m_per_s(diameter_m, densities, 1e-3 * curve.melt_mpa_s(celsius), share)
    };
    let mut found: Vec<Sinking> = Vec::new();
    for (part, one) in parts() {
        let Some(powder) = one.powder.as_ref().filter(|_| found.iter().all(|it| it.ingredient != part.ingredient))
        else {
            continue;
        };
        let at =
            |curve: &MeltCurve, celsius: f64, score: f64| mm_per_min(powder, one.density_g_ml, curve, celsius, score);
        let scores = bench.draws().dimension(&format!("{DIAMETER}:{}", one.key));
        let drawn = viscosity.drawn.iter().zip(scores).map(|(curve, score)| at(curve, pour_c, score)).collect();
        let faster = |celsius: f64| (at(&viscosity.central, celsius, 0.0).abs() / SLOW_MM_PER_MIN).ln();
        let ends = [haze_c, HIGHEST_C].map(|at| End { at, value: faster(at) });
        let slow_below_c = match ends {
            [cold, _] if cold.value > 0.0 => None,
            [_, hot] if hot.value <= 0.0 => Some(HIGHEST_C),
            [cold, hot] => Some(find_root(cold, hot, TOLERANCE, faster)),
        };
        let mm_per_min = Estimate::from_draws(at(&viscosity.central, pour_c, 0.0), drawn);
        found.push(Sinking { ingredient: part.ingredient, mm_per_min, slow_below_c });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sphere_falls_as_in_the_handbook() {
        // Textbook case (recalled): a steel ball of 1 mm, 7800 kg/m³, in glycerol of 1260 kg/m³ and 1.5 Pa·s falls at 2.4 mm/s.
        let steel = speed_m_per_s(1e-3, [7800.0, 1260.0], 1.5, 0.0);
        assert!((steel - 2.38e-3).abs() < 0.01e-3, "{steel}");
        // Quartz silt of 10 µm in water of 20 °C, 1.002 mPa·s: 0.09 mm/s (soil tables of settling; recalled).
        let silt = speed_m_per_s(10e-6, [2650.0, 998.0], 1.002e-3, 0.0);
        assert!((silt - 0.09e-3).abs() < 0.001e-3, "{silt}");
        // Richardson and Zaki: at 10 % by volume 0.61 of the speed.
        let crowded = speed_m_per_s(10e-6, [2650.0, 998.0], 1.002e-3, 0.1);
        assert!((crowded / silt - 0.613).abs() < 0.001, "{}", crowded / silt);
        // What is lighter than the melt rises.
        assert!(speed_m_per_s(10e-6, [800.0, 998.0], 1e-3, 0.0) < 0.0);
    }
}
