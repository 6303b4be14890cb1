//! Powder in a bar: grains that neither melt nor dissolve thicken the melt and stiffen the bar.
//!
//! ```text
//! η/η_0 = (1 − φ/φ_m)⁻²            τ/τ_0 = √(1 − φ) / (1 − φ/φ_m)            1/φ_m = Σ (φ_i/φ) / φ_m,i
//! ```
//! | symbol | what |
//! |---|---|
//! | `φ`, `φ_i` | share of the volume that is powder, and one of them |
//! | `φ_m` | its share at which the grains touch and nothing flows any more |
//! | `η`, `τ` | viscosity of the melt, yield stress of the bar; without powder `η_0`, `τ_0` |
//!
//! # Validity
//! Grains that are wetted by the oil and do not hold together by themselves, up to [`MAX_CROWDING`] of `φ_m`. The oil that porous grains soak up, and
//! what grains do to the way fat crystallises, are left out: a bar with much starch or charcoal comes out too soft here.
//!
//! # Source
//! Viscosity: Maron and Pierce 1956, J. Colloid Sci. 11:80 (recalled); it is the rule of Krieger and Dougherty 1959 with an exponent of 2. Yield stress of
//! a paste filled with grains: Chateau, Ovarlez and Trung 2008, J. Rheol. 52:489, `τ/τ_0 = √((1 − φ) η/η_0)` (recalled).

use barwright_reference::Ingredient;

use crate::sampling::Draws;

/// More powder than this share of `φ_m` makes a crumb, not a melt: the rules end here.
pub(crate) const MAX_CROWDING: f64 = 0.9;

/// A drawn `φ_m` is at least this, and at most 1.
const SMALLEST_PACKING: f64 = 0.1;

/// Before the key of a powder: the dimension of its `φ_m`.
const PACKING: &str = "grain-packing";

/// What one part of a formula takes up.
#[derive(Debug, Clone)]
pub(crate) struct Space {
    ml_per_g: f64,
    /// `φ_m` of a powder: central, and in each draw.
    packing: Option<(f64, Vec<f64>)>,
}

impl Space {
    /// The space of an ingredient, by its density at room temperature.
    pub fn of(ingredient: &Ingredient, draws: &Draws) -> Self {
        let packing = ingredient.powder.as_ref().map(|powder| {
            let scores = draws.dimension(&format!("{PACKING}:{}", ingredient.key)).into_iter();
            let drawn = |score: f64| (powder.max_packing + powder.max_packing_sd * score).clamp(SMALLEST_PACKING, 1.0);
            (powder.max_packing, scores.map(drawn).collect())
        });
        Space { ml_per_g: 1.0 / ingredient.density_g_ml, packing }
    }
}

/// Volumes, ml in 100 g, or their rates: all are linear in the amounts.
#[derive(Debug, Clone, Copy, Default)]
struct Volumes {
    all: f64,
    /// Masses, g: of all, of the powder.
    mass: [f64; 2],
    powder: f64,
    /// `Σ V_i / φ_m,i`.
    crowded: f64,
}

impl Volumes {
    fn of<'s>(parts: impl Iterator<Item = (f64, &'s Space)>, draw: Option<usize>) -> Self {
        let mut volumes = Volumes::default();
        for (percent, space) in parts {
            let volume = percent * space.ml_per_g;
            volumes.all += volume;
            volumes.mass[0] += percent;
            if let Some((central, drawn)) = &space.packing {
                volumes.powder += volume;
                volumes.mass[1] += percent;
                volumes.crowded += volume / draw.and_then(|index| drawn.get(index)).unwrap_or(central);
            }
        }
        volumes
    }
}

/// Powder of a bar in one draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Filler {
    /// `φ`.
    pub volume: f64,
    /// `φ/φ_m`, at most [`MAX_CROWDING`].
    pub crowding: f64,
    /// Share of the mass that is powder.
    pub mass: f64,
}

impl Filler {
    /// No powder.
    pub const NONE: Filler = Filler { volume: 0.0, crowding: 0.0, mass: 0.0 };

    /// The powder among parts, mass % each, in a draw; the central one for `None`.
    pub fn of<'s>(parts: impl Iterator<Item = (f64, &'s Space)>, draw: Option<usize>) -> Self {
        let Volumes { all, powder, crowded, mass } = Volumes::of(parts, draw);
        if powder > 0.0 {
            let crowding = (crowded / all).min(MAX_CROWDING);
            Filler { volume: powder / all, crowding, mass: mass[1] / mass[0] }
        } else {
            Filler::NONE
        }
    }

    /// What the viscosity is multiplied by, dimensionless.
    pub fn thickening(self) -> f64 {
        (1.0 - self.crowding).powi(-2)
    }

    /// What the yield stress is multiplied by, dimensionless.
    pub fn stiffening(self) -> f64 {
        (1.0 - self.volume).sqrt() / (1.0 - self.crowding)
    }

    /// The rate of the logarithm of [`Filler::stiffening`].
    ///
    /// # Arguments
    /// * `parts`, `draw`: as for [`Filler::of`].
    /// * `rates`: the same with the change of each part, mass %.
    pub fn ln_stiffening_rate<'s>(
        self,
        parts: impl Iterator<Item = (f64, &'s Space)>,
        rates: impl Iterator<Item = (f64, &'s Space)>,
        draw: Option<usize>,
    ) -> f64 {
        let (volumes, changes) = (Volumes::of(parts, draw), Volumes::of(rates, draw));
        let rate = |change: f64, share: f64| (change - share * changes.all) / volumes.all;
        let crowding_rate = if self.crowding < MAX_CROWDING { rate(changes.crowded, self.crowding) } else { 0.0 };
        crowding_rate / (1.0 - self.crowding) - 0.5 * rate(changes.powder, self.volume) / (1.0 - self.volume)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use barwright_reference::Library;

    use super::*;

    fn spaces(keys: [&str; 3]) -> [Space; 3] {
        let library = Library::builtin().unwrap();
        keys.map(|key| Space::of(library.ingredient(key).unwrap(), &Draws::new(3, 64)))
    }

    #[test]
    fn factors_are_those_of_the_published_rules() {
        // Round grains at 30 and 48 % by volume, φ_m 0.60: Maron and Pierce give 4 and 25; Chateau, Ovarlez and Trung √(0.7 · 4), √(0.52 · 25).
        for (volume, thicker, stiffer) in [(0.30_f64, 4.0_f64, 2.8_f64.sqrt()), (0.48, 25.0, 13.0_f64.sqrt())] {
            let filler = Filler { volume, crowding: volume / 0.6, mass: 0.5 };
            assert!((filler.thickening() - thicker).abs() < 1e-9 && (filler.stiffening() - stiffer).abs() < 1e-9);
        }
        // In little powder the first grains count two and a half times their volume (Einstein 1906: spheres) where φ_m is 0.8.
        let dilute = Filler { volume: 1e-4, crowding: 1e-4 / 0.8, mass: 2e-4 };
        assert!(((dilute.thickening() - 1.0) / 1e-4 - 2.5).abs() < 1e-3);
        assert_eq!((Filler::NONE.thickening(), Filler::NONE.stiffening()), (1.0, 1.0));
    }

    #[test]
    fn volumes_follow_the_densities_and_packings_add_up_by_volume() {
        let spaces = spaces(["kaolin", "corn-starch", "olive-oil"]);
        let filler = Filler::of([26.0, 15.0, 91.1].into_iter().zip(&spaces), None);
        // 10 ml of kaolin, 10 ml of starch, 100 ml of oil.
        assert!((filler.volume - 20.0 / 120.0).abs() < 1e-3, "{filler:?}");
        assert!((filler.mass - 41.0 / 132.1).abs() < 1e-12, "{filler:?}");
        assert!((filler.crowding - (10.0 / 0.45 + 10.0 / 0.60) / 120.0).abs() < 1e-3, "{filler:?}");
        let drawn: Vec<f64> =
            (0..64).map(|draw| Filler::of([26.0, 0.0, 91.1].into_iter().zip(&spaces), Some(draw)).crowding).collect();
        let (least, most) = drawn.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), &one| (a.min(one), b.max(one)));
        assert!(least < 0.18 && most > 0.26, "{least} {most}");
        let heap = Filler::of([90.0, 5.0, 5.0].into_iter().zip(&spaces), None);
        assert_eq!(heap.crowding, MAX_CROWDING);
        assert_eq!(Filler::of([0.0, 0.0, 5.0].into_iter().zip(&spaces), None), Filler::NONE);
    }

    #[test]
    fn the_rate_is_the_slope() {
        let spaces = spaces(["kaolin", "corn-starch", "olive-oil"]);
        let parts = [12.0, 8.0, 80.0];
        for along in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, -0.5, -0.5]] {
            let at = |step: f64| {
                let moved = parts.into_iter().zip(along).map(|(part, along)| part + step * along);
                Filler::of(moved.zip(&spaces), Some(5)).stiffening().ln()
            };
            let filler = Filler::of(parts.into_iter().zip(&spaces), Some(5));
            let rate =
                filler.ln_stiffening_rate(parts.into_iter().zip(&spaces), along.into_iter().zip(&spaces), Some(5));
            let slope = (at(1e-4) - at(-1e-4)) / 2e-4;
            assert!((rate - slope).abs() < 1e-7, "{along:?}: {rate} {slope}");
        }
    }
}
