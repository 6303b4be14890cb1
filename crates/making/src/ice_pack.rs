//! The air in a box with a melting ice pack.
//!
//! The air stores no heat. Without the bars' own heat it stands between outside and pack:
//!
//! ```text
//! T_in = (W T_out + P T_pack) / (W + P),     dE/dt = W P / (W + P) · (T_out − T_pack)
//! T_pack = E / (m c_ice)        E < 0
//!          0 °C                 0 ≤ E ≤ m L
//!          (E − m L) / (m c_w)  E > m L
//! ```
//! | symbol | what |
//! |---|---|
//! | `W`, `P` | heat paths of wall and pack, W/K |
//! | `E`, `m` | heat the pack has taken since it was ice at 0 °C, J; its mass, kg |
//! | `L`, `c_ice`, `c_w` | 334 kJ/kg; 2.05 and 4.19 kJ/kgK |
//!
//! To the bars the box is a source at `T_in` behind `1/(W + P)`.
//!
//! # Validity
//! One temperature of the air in the box; a pack of water, all ice at 0 °C at the start (a colder one lasts some percent longer). The heat the bars give to
//! the pack is left out: a bar of 50 g from 22 °C melts about 15 g of ice.
//!
//! # Source
//! First law; heats of water: CRC Handbook (recalled).

use barwright_heat::ambient::Side;
use barwright_heat::{Ambient, HeatError};

use crate::packing::Paths;
use crate::times;

/// Heat of fusion of ice, J/kg.
const FUSION_J_PER_KG: f64 = 334e3;

/// Heat capacity of ice, J/kgK.
const ICE_J_PER_KGK: f64 = 2050.0;

/// Heat capacity of water, J/kgK.
const WATER_J_PER_KGK: f64 = 4190.0;

/// Steps of the pack's balance over a route.
const STEPS: usize = 4000;

/// Rows of the route in the box, besides its steps: each ends a step of every run.
const ROWS: usize = 96;

/// The box with its pack along a route.
#[derive(Debug, Clone, PartialEq)]
pub struct Inside {
    /// Air in the box, without the heat of the bars.
    pub air: Ambient,
    /// Time at which the last ice has melted, s; `None` when some is left at the end.
    pub melted_s: Option<f64>,
    /// Heat the pack has taken, J.
    pub taken_j: f64,
}

/// Temperature of a pack by the heat it has taken, °C.
fn pack_c(taken_j: f64, mass_kg: f64) -> f64 {
    let past_j = taken_j - mass_kg * FUSION_J_PER_KG;
    if taken_j < 0.0 {
        taken_j / (mass_kg * ICE_J_PER_KGK)
    } else if past_j > 0.0 {
        past_j / (mass_kg * WATER_J_PER_KGK)
    } else {
        0.0
    }
}

/// Heat of a pack at its end of a step of backward Euler: `E = E_0 + g Δt (T_out − T_pack(E))`, solved piece by piece.
fn taken_j(before_j: f64, outside_c: f64, path_s: f64, mass_kg: f64) -> f64 {
    // As if it stayed at 0 °C.
    let level_j = before_j + path_s * outside_c;
    let fusion_j = mass_kg * FUSION_J_PER_KG;
    if level_j < 0.0 {
        level_j / (1.0 + path_s / (mass_kg * ICE_J_PER_KGK))
    } else if level_j > fusion_j {
        fusion_j + (level_j - fusion_j) / (1.0 + path_s / (mass_kg * WATER_J_PER_KGK))
    } else {
        level_j
    }
}

/// Computes the air in the box.
///
/// # Arguments
/// * `outside`: air along the route.
/// * `length_s`: of the route, s.
/// * `mass_kg`: of the pack; with none, the air is that outside.
///
/// # Errors
/// [`HeatError`] for an invalid length.
pub(crate) fn inside(outside: &Ambient, length_s: f64, mass_kg: f64, paths: Paths) -> Result<Inside, HeatError> {
    let Paths { wall_w_per_k: wall, pack_w_per_k: pack } = paths;
    if mass_kg <= 0.0 || pack <= 0.0 {
        return Ok(Inside { air: outside.clone(), melted_s: None, taken_j: 0.0 });
    }
    let path_w_per_k = wall * pack / (wall + pack);
    let air_c = |outside_c: f64, taken: f64| (wall * outside_c + pack * pack_c(taken, mass_kg)) / (wall + pack);
    let (mut taken, mut before_s, mut melted_s) = (0.0, 0.0, None);
    let mut rows = vec![(0.0, air_c(outside.temperature_c(0.0, Side::After), taken))];
    let mut kept_s = 0.0;
    for time_s in times::along(outside, length_s, STEPS).into_iter().skip(1) {
        let (from_c, to_c) =
            (outside.temperature_c(before_s, Side::After), outside.temperature_c(time_s, Side::Before));
        taken = taken_j(taken, 0.5 * (from_c + to_c), path_w_per_k * (time_s - before_s), mass_kg);
        if melted_s.is_none() && taken >= mass_kg * FUSION_J_PER_KG {
            melted_s = Some(time_s);
        }
        before_s = time_s;
        let after_c = outside.temperature_c(time_s, Side::After);
        let steps = after_c != to_c;
        if steps || time_s - kept_s >= length_s / ROWS as f64 || time_s >= length_s {
            rows.push((time_s, air_c(to_c, taken)));
            if steps {
                rows.push((time_s, air_c(after_c, taken)));
            }
            kept_s = time_s;
        }
    }
    Ok(Inside { air: Ambient::route(&rows)?, melted_s, taken_j: taken })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    const PATHS: Paths = Paths { wall_w_per_k: 0.1, pack_w_per_k: 0.3 };
    const DAY_S: f64 = 86_400.0;

    /// While it melts, `g T_out` a second goes into `m L`.
    #[test]
    fn a_pack_lasts_as_long_as_its_ice() {
        let found = inside(&Ambient::constant(40.0).unwrap(), DAY_S, 0.2, PATHS).unwrap();
        let lasts_s = 0.2 * FUSION_J_PER_KG / (0.075 * 40.0);
        assert!((found.melted_s.unwrap() - lasts_s).abs() < DAY_S / STEPS as f64 + 1.0);
        assert!((found.air.temperature_c(3600.0, Side::After) - 10.0).abs() < 0.02);
        // Then it warms as water: T = 40 (1 − exp(−t g / m c)).
        let end_c = 40.0 * (1.0 - (-(DAY_S - lasts_s) * 0.075 / (0.2 * WATER_J_PER_KGK)).exp());
        let air_c = 0.25 * 40.0 + 0.75 * end_c;
        assert!((found.air.temperature_c(DAY_S, Side::After) - air_c).abs() < 0.1, "{air_c}");
    }

    #[test]
    fn what_the_pack_takes_comes_through_the_wall() {
        let day: Vec<(f64, f64)> =
            (0..=24).map(|hour| (3600.0 * f64::from(hour), 30.0 + f64::from(hour % 7))).collect();
        let outside = Ambient::route(&day).unwrap();
        let found = inside(&outside, DAY_S, 0.3, PATHS).unwrap();
        let count = 20_000;
        let through_j: f64 = (0..count)
            .map(|step| {
                let time_s = DAY_S * (f64::from(step) + 0.5) / f64::from(count);
                let (out_c, in_c) =
                    (outside.temperature_c(time_s, Side::After), found.air.temperature_c(time_s, Side::After));
                PATHS.wall_w_per_k * (out_c - in_c) * DAY_S / f64::from(count)
            })
            .sum();
        assert!((through_j / found.taken_j - 1.0).abs() < 0.003, "{through_j} {}", found.taken_j);
    }

    #[test]
    fn no_pack_changes_nothing_and_a_little_one_little() {
        let outside = Ambient::route(&[(0.0, 20.0), (7200.0, 45.0), (7200.0, 30.0), (DAY_S, 30.0)]).unwrap();
        let none = inside(&outside, DAY_S, 0.0, Paths { pack_w_per_k: 0.0, ..PATHS }).unwrap();
        assert_eq!(none.air, outside);
        let little = inside(&outside, DAY_S, 1e-6, Paths { pack_w_per_k: 1e-6, ..PATHS }).unwrap();
        for time_s in [0.0, 3600.0, 7200.0, 40_000.0] {
            for side in [Side::Before, Side::After] {
                let off_k = little.air.temperature_c(time_s, side) - outside.temperature_c(time_s, side);
                assert!(off_k.abs() < 0.01, "{time_s}: {off_k}");
            }
        }
    }

    #[test]
    fn without_a_mass_or_a_path_there_is_no_pack() {
        let outside = Ambient::constant(30.0).unwrap();
        for (mass_kg, pack_w_per_k) in [(0.0, 0.3), (0.2, 0.0)] {
            let found = inside(&outside, DAY_S, mass_kg, Paths { pack_w_per_k, ..PATHS }).unwrap();
            assert_eq!(found, Inside { air: outside.clone(), melted_s: None, taken_j: 0.0 });
        }
    }

    /// No more than one about every ninety-sixth of the route, one at its end, and two at every step of the air outside; rows in line with their neighbours are left out.
    #[test]
    fn the_air_in_the_box_has_few_rows() {
        let steady = inside(&Ambient::constant(30.0).unwrap(), DAY_S, 0.2, PATHS).unwrap();
        let kinks = steady.air.kinks_s();
        assert!((20..=ROWS + 2).contains(&kinks.len()), "{}", kinks.len());
        assert_eq!(kinks.last(), Some(&DAY_S));
        let outside = Ambient::route(&[(0.0, 20.0), (7200.0, 20.0), (7200.0, 40.0), (DAY_S, 40.0)]).unwrap();
        let stepped = inside(&outside, DAY_S, 0.2, PATHS).unwrap().air;
        // A quarter of a step of 20 K gets past the wall at once: 0.1 of 0.4 W/K.
        let step_k = stepped.temperature_c(7200.0, Side::After) - stepped.temperature_c(7200.0, Side::Before);
        assert!((step_k - 5.0).abs() < 1e-9, "{step_k}");
    }

    /// A quarter of what the air outside goes up and down by gets past the wall, a hundred times what a row may be off; but a row stands only every ninety-sixth.
    #[test]
    fn air_that_goes_up_and_down_all_day_has_no_more_rows_in_the_box() {
        let rows: Vec<(f64, f64)> =
            (0..=140).map(|row| (DAY_S / 140.0 * f64::from(row), 30.0 + 4.0 * f64::from(row % 2))).collect();
        let outside = Ambient::route(&rows).unwrap();
        assert_eq!(outside.kinks_s().len(), 141);
        let count = inside(&outside, DAY_S, 0.2, PATHS).unwrap().air.kinks_s().len();
        assert!((20..=ROWS + 2).contains(&count), "{count}");
    }

    #[test]
    fn frost_outside_cools_the_ice() {
        let found = inside(&Ambient::constant(-10.0).unwrap(), 50.0 * DAY_S, 0.2, PATHS).unwrap();
        assert_eq!(found.melted_s, None);
        assert!((found.air.temperature_c(50.0 * DAY_S, Side::After) + 10.0).abs() < 0.01);
    }
}
