//! Heat that air takes from a plate by itself, and heat that goes by radiation.
//!
//! ```text
//! h = Nu k / L,   Ra = g β |T_s − T_∞| L³ Pr / ν²,   properties at the film temperature (T_s + T_∞)/2,   β = 1/T_film
//! ```

use crate::error::ABSOLUTE_ZERO_C;

/// Standard gravity, m/s².
const GRAVITY: f64 = 9.806_65;
/// Stefan–Boltzmann constant, W/m²K⁴ (CODATA 2018).
const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;
/// Specific gas constant of air, J/kgK (U.S. Standard Atmosphere 1976).
const GAS_CONSTANT: f64 = 287.053;
/// Sea-level pressure, Pa.
const PRESSURE_PA: f64 = 101_325.0;
/// Heat capacity of air, J/kgK, within 0.5 % from 230 to 370 K.
const HEAT_CAPACITY: f64 = 1006.0;
/// Film temperatures the properties are held to, K.
const FILM_RANGE_K: (f64, f64) = (150.0, 800.0);

/// Least Nusselt number of a flat plate with heat on one side, on the length area over perimeter: a disk in still air that only conducts.
///
/// A disk of diameter D in an endless medium has the shape factor 4 D, half of it on each side: `Nu = (2 D)(D/4)/(π D²/4) = 2/π`.
pub const NU_LEAST_FLAT: f64 = 2.0 / std::f64::consts::PI;

/// Air at sea level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// W/mK.
    pub conductivity_w_per_mk: f64,
    /// m²/s.
    pub kinematic_viscosity_m2_per_s: f64,
    /// Prandtl number.
    pub prandtl: f64,
}

impl Air {
    /// Returns the properties of dry air at sea level.
    ///
    /// `μ = 1.458e-6 T^1.5/(T + 110.4)`, `k = 2.64638e-3 T^1.5/(T + 245.4·10^(−12/T))`, `ρ = p/(R T)`, `c_p = 1006`
    ///
    /// # Arguments
    /// * `temperature_c`: °C.
    ///
    /// # Validity
    /// −120 to 530 °C; outside it is held at the end.
    ///
    /// # Example
    /// ```
    /// let air = barwright_heat::convection::Air::at(26.85);
    /// assert!((air.conductivity_w_per_mk / 0.0263 - 1.0).abs() < 0.01); // Incropera, table A.4, 300 K (recalled)
    /// ```
    ///
    /// # Source
    /// U.S. Standard Atmosphere 1976, equations 51 and 53 (recalled).
    pub fn at(temperature_c: f64) -> Self {
        let t = (temperature_c - ABSOLUTE_ZERO_C).clamp(FILM_RANGE_K.0, FILM_RANGE_K.1);
        let power = t * t.sqrt();
        let viscosity = 1.458e-6 * power / (t + 110.4);
        let conductivity_w_per_mk = 2.646_38e-3 * power / (t + 245.4 * 10_f64.powf(-12.0 / t));
        let density = PRESSURE_PA / (GAS_CONSTANT * t);
        Air {
            conductivity_w_per_mk,
            kinematic_viscosity_m2_per_s: viscosity / density,
            prandtl: HEAT_CAPACITY * viscosity / conductivity_w_per_mk,
        }
    }
}

/// How a plate stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Facing {
    /// Upright.
    Sideways,
    /// Flat, air above it.
    Up,
    /// Flat, air below it.
    Down,
}

/// Returns the Nusselt number (dimensionless) of an upright plate in still air.
///
/// `Nu = (0.825 + 0.387 Ra^(1/6) / [1 + (0.492/Pr)^(9/16)]^(8/27))²`
///
/// # Arguments
/// * `prandtl`: Pr, dimensionless.
/// * `rayleigh`: Ra on the height, dimensionless.
///
/// # Validity
/// Up to Ra 1e12, any Pr, from laminar to turbulent. Below Ra 1e9 the laminar form of the same paper lies some 5 % higher; one smooth form is
/// kept.
///
/// # Example
/// ```
/// // The Python library `ht` 1.2.0, run for this: Pr 0.69, Gr 2.63e9 → 147.16185223770603.
/// let nusselt = barwright_heat::convection::nusselt_upright(0.69, 0.69 * 2.63e9);
/// assert!((nusselt / 147.161_852_237_706_03 - 1.0).abs() < 1e-12);
/// ```
///
/// # Source
/// Churchill and Chu 1975, Int. J. Heat Mass Transfer 18, 1323; Incropera, equation 9.26 (recalled).
pub fn nusselt_upright(prandtl: f64, rayleigh: f64) -> f64 {
    // Powers by roots, which are the same on every machine and sooner made.
    let ratio_root = (0.492 / prandtl).sqrt();
    let to_nine_sixteenths = ratio_root * ratio_root.sqrt().sqrt().sqrt();
    let to_eight_twenty_sevenths = (1.0 + to_nine_sixteenths).cbrt().cbrt().cbrt().powi(8);
    let root = 0.825 + 0.387 * rayleigh.max(0.0).cbrt().sqrt() / to_eight_twenty_sevenths;
    root * root
}

/// Returns the Nusselt number (dimensionless) of a flat plate in still air whose air can rise or sink away: warm and facing up, or cold and facing down.
///
/// `Nu = max(0.54 Ra^(1/4), 0.15 Ra^(1/3), 2/π)`
///
/// # Arguments
/// * `rayleigh`: Ra on area over perimeter, dimensionless.
///
/// # Validity
/// Ra 1e4 to 1e7 by the first, to 1e11 by the second; they cross at 4.7e6, where the greater is taken so that nothing jumps. Below 1e4, where a
/// small bar lies, the first is carried on down to conduction ([`NU_LEAST_FLAT`]).
///
/// # Example
/// ```
/// // The Python library `ht` 1.2.0, `Nu_horizontal_plate_McAdams`, run for this.
/// let nusselt = barwright_heat::convection::nusselt_flat_open(1e5);
/// assert!((nusselt / 9.602_708_814_210_184 - 1.0).abs() < 1e-12);
/// ```
///
/// # Source
/// Lloyd and Moran 1974; McAdams 1954; Incropera, equations 9.30 and 9.31 (recalled).
pub fn nusselt_flat_open(rayleigh: f64) -> f64 {
    let rayleigh = rayleigh.max(0.0);
    (0.54 * rayleigh.sqrt().sqrt()).max(0.15 * rayleigh.cbrt()).max(NU_LEAST_FLAT)
}

/// Returns the Nusselt number (dimensionless) of a flat plate in still air whose air is held: warm and facing down, or cold and facing up.
///
/// `Nu = max(0.27 Ra^(1/4), 2/π)`
///
/// # Arguments
/// * `rayleigh`: Ra on area over perimeter, dimensionless.
///
/// # Validity
/// Ra 1e5 to 1e10; below, carried on down to conduction ([`NU_LEAST_FLAT`]).
///
/// # Example
/// ```
/// // The Python library `ht` 1.2.0, `Nu_horizontal_plate_McAdams`, run for this.
/// let nusselt = barwright_heat::convection::nusselt_flat_held(1e6);
/// assert!((nusselt / 8.538_149_682_454_625 - 1.0).abs() < 1e-12);
/// ```
///
/// # Source
/// McAdams 1954; Incropera, equation 9.32 to the sixth edition (recalled).
pub fn nusselt_flat_held(rayleigh: f64) -> f64 {
    (0.27 * rayleigh.max(0.0).sqrt().sqrt()).max(NU_LEAST_FLAT)
}

/// Returns the mean coefficient of a plate in still air.
///
/// # Arguments
/// * `facing`: how it stands.
/// * `length_m`: height when upright, area over perimeter when flat, m.
/// * `surface_c`, `air_c`: mean temperatures, °C.
///
/// # Returns
/// W/m²K.
///
/// # Validity
/// That of [`nusselt_upright`], [`nusselt_flat_open`] and [`nusselt_flat_held`].
///
/// # Example
/// ```
/// use barwright_heat::convection::{Facing, natural_w_per_m2k};
/// let side = natural_w_per_m2k(Facing::Sideways, 0.02, 42.0, 22.0);
/// assert!(side > 6.0 && side < 9.0);
/// ```
pub fn natural_w_per_m2k(facing: Facing, length_m: f64, surface_c: f64, air_c: f64) -> f64 {
    let film_c = 0.5 * (surface_c + air_c);
    let air = Air::at(film_c);
    let film_k = (film_c - ABSOLUTE_ZERO_C).clamp(FILM_RANGE_K.0, FILM_RANGE_K.1);
    let viscosity = air.kinematic_viscosity_m2_per_s;
    let rayleigh =
        GRAVITY / film_k * (surface_c - air_c).abs() * length_m.powi(3) * air.prandtl / (viscosity * viscosity);
    let warm = surface_c > air_c;
    let nusselt = match (facing, warm) {
        (Facing::Sideways, _) => nusselt_upright(air.prandtl, rayleigh),
        (Facing::Up, true) | (Facing::Down, false) => nusselt_flat_open(rayleigh),
        (Facing::Up, false) | (Facing::Down, true) => nusselt_flat_held(rayleigh),
    };
    nusselt * air.conductivity_w_per_mk / length_m
}

/// Returns the coefficient of radiation between a surface and walls around it at the temperature of the air.
///
/// `h = ε σ (T_s² + T_∞²)(T_s + T_∞)`
///
/// # Arguments
/// * `emissivity`: dimensionless, 0 to 1; 0.9 to 0.95 for wax, paper and silicone.
/// * `surface_c`, `air_c`: °C.
///
/// # Returns
/// W/m²K.
///
/// # Validity
/// A small grey body in large surroundings.
///
/// # Example
/// ```
/// let h = barwright_heat::convection::radiation_w_per_m2k(0.95, 42.0, 22.0);
/// assert!((h - 6.1).abs() < 0.05);
/// ```
///
/// # Source
/// Incropera, equation 1.9 (recalled); constant from CODATA 2018.
#[inline]
pub fn radiation_w_per_m2k(emissivity: f64, surface_c: f64, air_c: f64) -> f64 {
    let (surface, air) = ((surface_c - ABSOLUTE_ZERO_C).max(0.0), (air_c - ABSOLUTE_ZERO_C).max(0.0));
    emissivity * STEFAN_BOLTZMANN * (surface * surface + air * air) * (surface + air)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn air_is_that_of_the_table() {
        // Incropera, table A.4 (recalled): T K, μ Pa s, k W/mK, Pr. Its density, and so its ν, is for a pressure some percent lower.
        for (t, viscosity, conductivity, prandtl) in
            [(250.0, 159.6e-7, 22.3e-3, 0.720), (300.0, 184.6e-7, 26.3e-3, 0.707), (350.0, 208.2e-7, 30.0e-3, 0.700)]
        {
            let air = Air::at(t + ABSOLUTE_ZERO_C);
            let ours = air.kinematic_viscosity_m2_per_s * PRESSURE_PA / (GAS_CONSTANT * t);
            assert!((ours / viscosity - 1.0).abs() < 0.01, "{t}: {air:?}");
            assert!((air.conductivity_w_per_mk / conductivity - 1.0).abs() < 0.01, "{t}: {air:?}");
            assert!((air.prandtl / prandtl - 1.0).abs() < 0.015, "{t}: {air:?}");
        }
    }

    #[test]
    fn upright_plates_are_those_of_the_library() {
        // Computed with the Python library `ht`: air °C, surface °C, W/m²K for heights 20, 40, 60 mm, one decimal.
        for (air_c, surface_c, table) in [
            (22.0, 42.0, [7.7, 6.2, 5.6]),
            (4.0, 44.0, [9.1, 7.5, 6.8]),
            (-18.0, 22.0, [9.2, 7.7, 7.0]),
            (45.0, 30.0, [7.2, 5.8, 5.2]),
        ] {
            for (height, expected) in [0.02, 0.04, 0.06].into_iter().zip(table) {
                let ours = natural_w_per_m2k(Facing::Sideways, height, surface_c, air_c);
                assert!((ours - expected).abs() < 0.15, "{air_c} {height}: {ours} against {expected}");
            }
        }
        for (air_c, surface_c, expected) in [(22.0, 42.0, 6.1), (4.0, 44.0, 5.7), (-18.0, 22.0, 4.5), (45.0, 30.0, 6.5)]
        {
            let ours = radiation_w_per_m2k(0.95, surface_c, air_c);
            assert!((ours - expected).abs() < 0.06, "{air_c}: {ours} against {expected}");
        }
    }

    #[test]
    fn flat_plates_follow_the_side_the_air_can_leave() {
        let at = |facing, surface| natural_w_per_m2k(facing, 0.02, surface, 20.0);
        assert!(at(Facing::Up, 60.0) > at(Facing::Down, 60.0));
        assert!(at(Facing::Up, -20.0) < at(Facing::Down, -20.0));
        // No difference, no motion: conduction is left.
        assert!((at(Facing::Up, 20.0) * 0.02 / Air::at(20.0).conductivity_w_per_mk - NU_LEAST_FLAT).abs() < 1e-12);
    }

    #[test]
    fn no_jump_where_the_laws_meet() {
        let mut before = nusselt_flat_open(1.0);
        for k in 1..4000 {
            let now = nusselt_flat_open(10_f64.powf(f64::from(k) / 400.0));
            assert!(now >= before && now < 1.01 * before);
            before = now;
        }
    }
}
