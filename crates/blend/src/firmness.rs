//! Firmness: yield stress of the crystal network, and the beeswax equivalent.
//!
//! ```text
//! φ_eff = Σ_k s_k φ_k            τ = τ_0 φ_eff^m exp[−a (T − 25 °C)]
//! ```
//! φ_k is the crystallised mass fraction of family k, s_k its structuring power relative to beeswax.
//!
//! # Source
//! Power law of crystal networks with exponent 1.4 to 4: Narine and Marangoni 1999, Phys. Rev. E 59:1908 (recalled). Its size is
//! set from needle penetrations of neat waxes (recalled) and common practice; see `data/model.toml`.

use crate::model_draw::ModelDraw;

/// Temperature at which `yield_kpa` of the parameters holds, °C.
pub const REFERENCE_C: f64 = 25.0;

/// Returns the structure `φ_eff = Σ s_k φ_k`: the mass fraction of beeswax crystals that would be as stiff.
///
/// # Arguments
/// * `model`: parameters.
/// * `fractions`: crystallised mass fraction of each family, order as in the parameters.
pub fn structure(model: &ModelDraw, fractions: &[f64]) -> f64 {
    model.structuring.iter().zip(fractions).map(|(s, phi)| s * phi).sum()
}

/// Returns how far the crystals are above their critical gelling level: `Σ 100 φ_k / c_k`; 1 just holds the oil.
///
/// # Arguments
/// As for [`structure`].
pub fn holding(model: &ModelDraw, fractions: &[f64]) -> f64 {
    model.critical_percent.iter().zip(fractions).map(|(c, phi)| 100.0 * phi / c).sum()
}

/// Returns the yield stress of a structure at a temperature.
///
/// # Arguments
/// * `model`: parameters.
/// * `structure`: φ_eff, dimensionless.
/// * `temperature_c`: °C.
///
/// # Returns
/// kPa; 0 without crystals.
///
/// # Validity
/// From gels of a few percent to neat wax; a factor of about 3 either way.
pub fn yield_kpa(model: &ModelDraw, structure: f64, temperature_c: f64) -> f64 {
    if structure <= 0.0 {
        return 0.0;
    }
    model.yield_kpa * structure.powf(model.exponent) * (-model.softening_per_k * (temperature_c - REFERENCE_C)).exp()
}

/// Beeswax levels at which the equivalence scale is laid, mass %.
pub const SCALE_PERCENT: [f64; 6] = [1.0, 5.0, 15.0, 35.0, 65.0, 100.0];

/// Returns the percentage of beeswax in liquid oil that has a given structure at the same temperature.
///
/// Straight lines between the points of the scale; above neat beeswax the scale goes on in proportion, so that 150 means
/// half as much structure again as neat beeswax.
///
/// # Arguments
/// * `scale`: structure at each level of [`SCALE_PERCENT`], rising.
/// * `structure`: the structure to place.
pub fn beeswax_equivalent_percent(scale: &[f64; SCALE_PERCENT.len()], structure: f64) -> f64 {
    if structure <= 0.0 {
        return 0.0;
    }
    let (mut below_percent, mut below) = (0.0, 0.0);
    for (&percent, &at) in SCALE_PERCENT.iter().zip(scale) {
        if structure <= at {
            let width = at - below;
            let share = if width > 0.0 { (structure - below) / width } else { 1.0 };
            return below_percent + share * (percent - below_percent);
        }
        (below_percent, below) = (percent, at);
    }
    if below > 0.0 { below_percent * structure / below } else { f64::INFINITY }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_beeswax_scale_reads_back_its_own_points_and_goes_on_above() {
        let scale = [0.01, 0.05, 0.15, 0.35, 0.65, 1.0];
        for (percent, structure) in SCALE_PERCENT.into_iter().zip(scale) {
            assert!((beeswax_equivalent_percent(&scale, structure) - percent).abs() < 1e-9);
        }
        assert!((beeswax_equivalent_percent(&scale, 1.5) - 150.0).abs() < 1e-9);
        assert!((beeswax_equivalent_percent(&scale, 0.25) - 25.0).abs() < 1e-9);
        assert!(beeswax_equivalent_percent(&scale, 0.0).abs() < f64::EPSILON);
    }

    #[test]
    fn where_beeswax_itself_is_molten_anything_solid_is_beyond_the_scale() {
        assert!(beeswax_equivalent_percent(&[0.0; SCALE_PERCENT.len()], 0.1).is_infinite());
    }
}
