//! Heat in a bar against temperature, and its other properties along the way.
//!
//! The enthalpy of the melt is 0 at [`ZERO_C`]. Crystals hold less by their heat of fusion:
//!
//! ```text
//! h(T) = (c_l + φ (c_s − c_l)) (T − T_0) − Σ s_i ΔH_i / M
//! ```
//! | symbol | what |
//! |---|---|
//! | `h` | enthalpy, J/kg |
//! | `φ` | solids at equilibrium at `T`, mass fraction |
//! | `c_s`, `c_l` | heat capacity of crystals and melt, J/kgK |
//! | `s_i`, `ΔH_i`, `M` | crystallised moles of a species per mole, its heat of fusion, mean molar mass |
//!
//! A bar that is warmed follows the curve of the crystals it has; a melt that is cooled that of the crystals it sets into, which melt lower: its
//! undercooling. Both have the same zero, so a change from one to the other loses no heat.
//!
//! # Validity
//! −20 to 120 °C. Heat of mixing, and the change of the heat of fusion with temperature beyond `c_s − c_l`, are left out (a few J/g).
//!
//! # Source
//! First law (textbook; recalled) with the equilibrium of [`crate::equilibrium`]; heat capacities as in `data/priors.toml`, `[heat]`.

use crate::crystals::Point;
use crate::heat_properties::HeatProperties;

/// Temperature at which the enthalpy of the melt is 0, °C.
pub const ZERO_C: f64 = 60.0;

/// One point of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatPoint {
    /// Enthalpy, J/kg.
    pub enthalpy_j_per_kg: f64,
    /// State of the bar there.
    pub state: Point,
}

impl HeatPoint {
    /// Share that is liquid, 0 to 1.
    pub fn melted_share(&self) -> f64 {
        1.0 - self.state.solids
    }
}

/// Heat and volume of one formula in one draw.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatCurves {
    /// In use, as it is warmed; coldest first, the last is all liquid.
    pub in_use: Vec<HeatPoint>,
    /// As the melt sets; coldest first, the last is all liquid.
    pub setting: Vec<HeatPoint>,
    /// Temperature at which the last crystal of the bar in use dissolves, °C; `None` when it is liquid at [`LOWEST_LANDMARK_C`](crate::landmarks::LOWEST_LANDMARK_C).
    pub clear_c: Option<f64>,
    /// Temperature at which the first crystal can form as the melt is cooled, °C.
    pub haze_c: Option<f64>,
    /// What else the heat depends on.
    pub properties: HeatProperties,
    /// Yield stress that keeps its shape, kPa.
    pub load_kpa: f64,
    /// Holding below which oil weeps.
    pub weep_below: f64,
    /// Yield stress, as it sets, that leaves a mould of the relief asked for, kPa.
    pub release_kpa: f64,
}

impl HeatCurves {
    /// Heat from one temperature to another along a curve, J/kg.
    ///
    /// # Arguments
    /// * `curve`: [`HeatCurves::in_use`] or [`HeatCurves::setting`].
    /// * `from_c`, `to_c`: °C.
    pub fn heat_j_per_kg(&self, curve: &[HeatPoint], from_c: f64, to_c: f64) -> f64 {
        self.enthalpy_j_per_kg(curve, to_c) - self.enthalpy_j_per_kg(curve, from_c)
    }

    /// Enthalpy on a curve at a temperature, J/kg; outside the curve by the heat capacity there.
    pub fn enthalpy_j_per_kg(&self, curve: &[HeatPoint], temperature_c: f64) -> f64 {
        let (Some(first), Some(last)) = (curve.first(), curve.last()) else {
            return self.properties.liquid_j_per_kgk * (temperature_c - ZERO_C);
        };
        let inside_c = temperature_c.clamp(first.state.temperature_c, last.state.temperature_c);
        let beyond_k = temperature_c - inside_c;
        let capacity = if beyond_k < 0.0 { self.properties.solid_j_per_kgk } else { self.properties.liquid_j_per_kgk };
        at(curve, inside_c, |one| one.enthalpy_j_per_kg) + capacity * beyond_k
    }

    /// Highest temperature at which the bar keeps its shape for a day and holds its oil, °C; the coldest of the curve when it does nowhere.
    pub fn holds_c(&self) -> Option<f64> {
        let carries_c = falls_to_c(&self.in_use, self.load_kpa, |one| one.state.yield_kpa)?;
        let weeps_c = falls_to_c(&self.in_use, self.weep_below, |one| one.state.holding)?;
        Some(carries_c.min(weeps_c))
    }

    /// Temperature at which crystals just hold the oil as the melt sets, °C.
    pub fn sets_c(&self) -> Option<f64> {
        falls_to_c(&self.setting, 1.0, |one| one.state.holding)
    }

    /// Temperature below which the setting bar can leave the mould with its relief, °C.
    pub fn releases_c(&self) -> Option<f64> {
        falls_to_c(&self.setting, self.release_kpa, |one| one.state.yield_kpa)
    }

    /// Share of its volume that a melt gives up on the way from the mould's filling to a cold bar.
    ///
    /// ```text
    /// 1 − (1 − ε φ)(1 − β (T_pour − T)),     φ solids at T, ε contraction of crystals, β expansion of the melt
    /// ```
    ///
    /// # Arguments
    /// * `pour_c`, `cold_c`: °C.
    ///
    /// # Validity
    /// Within about a third: published contractions scatter that much.
    pub fn shrinkage(&self, pour_c: f64, cold_c: f64) -> f64 {
        let solids = at(&self.setting, cold_c, |one| one.state.solids);
        let colder = self.properties.expansion_per_k * (pour_c - cold_c).max(0.0);
        1.0 - (1.0 - self.properties.crystal_contraction * solids) * (1.0 - colder)
    }
}

/// A property on a curve at a temperature, in the unit of the property: straight between its points, that of the end beyond.
///
/// # Arguments
/// * `curve`: coldest first.
/// * `temperature_c`: °C.
/// * `of`: the property, in any unit.
pub fn at(curve: &[HeatPoint], temperature_c: f64, of: impl Fn(&HeatPoint) -> f64) -> f64 {
    let next = curve.partition_point(|one| one.state.temperature_c < temperature_c);
    match (curve.get(next), next.checked_sub(1).and_then(|before| curve.get(before))) {
        (Some(after), Some(before)) => {
            let step = after.state.temperature_c - before.state.temperature_c;
            let part = (temperature_c - before.state.temperature_c) / step;
            of(before) + part * (of(after) - of(before))
        }
        (Some(only), None) | (None, Some(only)) => of(only),
        (None, None) => 0.0,
    }
}

/// The coldest temperature at which a falling property of a curve is no more than a limit, °C; `None` when it never is.
///
/// # Arguments
/// * `curve`: coldest first.
/// * `limit`: of the property.
/// * `of`: a property that falls with temperature.
pub(crate) fn falls_to_c(curve: &[HeatPoint], limit: f64, of: impl Fn(&HeatPoint) -> f64) -> Option<f64> {
    let index = curve.iter().position(|one| of(one) <= limit)?;
    let after = curve.get(index)?;
    let Some(before) = index.checked_sub(1).and_then(|before| curve.get(before)) else {
        return Some(after.state.temperature_c);
    };
    let part = (of(before) - limit) / (of(before) - of(after));
    Some(before.state.temperature_c + part * (after.state.temperature_c - before.state.temperature_c))
}
