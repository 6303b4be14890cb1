//! Firmness: yield stress of the crystal network.
//!
//! ```text
//! φ_eff = Σ_k s_k h_k(T) φ_k            τ = τ_0 φ_eff^m            h_k = [(1 − T/Tm_k) / (1 − T_0/Tm_0)]^q
//! ```
//! φ_k is the crystallised mass fraction of family k, s_k its structuring power, h_k the stiffness of its crystals at the temperature:
//! molecular crystals soften towards their melting point. `Tm_k` is the mean melting point of the species in the crystals of the family,
//! K; the scale is that of crystals that melt at [`REFERENCE_MELT_C`], at [`REFERENCE_C`].
//!
//! # Source
//! Power law of crystal networks with exponent 1.4 to 4: Narine and Marangoni 1999, Phys. Rev. E 59:1908 (recalled). Homologous
//! temperature as the measure of softness of a crystal: general in materials science (recalled); linear in `1 − T/Tm` because neat beeswax
//! loses about six sevenths of its yield stress from 25 to 43 °C (needle 20 and 76 dmm, recalled).

use crate::model_draw::ModelDraw;
use crate::units::ZERO_CELSIUS_K;

/// Temperature of the reference structure, °C.
pub const REFERENCE_C: f64 = 25.0;

/// Melting point of the crystals of the reference structure, °C: about that of the esters of beeswax.
pub const REFERENCE_MELT_C: f64 = 68.0;

/// Crystals above the mean melting point of their family keep this much of `1 − T/Tm`: those left are the harder ones.
const SMALLEST_HOMOLOGOUS: f64 = 1e-3;

/// Returns the stiffness of crystals at a temperature, `h`, relative to the reference structure.
///
/// # Arguments
/// * `melt_k`: their melting point, K.
/// * `temperature_c`: °C.
/// * `exponent`: `q`.
pub(crate) fn stiffness(melt_k: f64, temperature_c: f64, exponent: f64) -> f64 {
    let reference = 1.0 - (REFERENCE_C + ZERO_CELSIUS_K) / (REFERENCE_MELT_C + ZERO_CELSIUS_K);
    let homologous = (1.0 - (temperature_c + ZERO_CELSIUS_K) / melt_k).max(SMALLEST_HOMOLOGOUS);
    (homologous / reference).powf(exponent)
}

/// Returns the rate of [`stiffness`], `dh = q h / (1 − T/Tm) · (T dTm / Tm² − dT / Tm)`.
///
/// # Arguments
/// * `melt_k`, `temperature_c`, `exponent`: as for [`stiffness`].
/// * `melt_rate`, `temperature_rate`: rates of the melting point and of the temperature, K.
pub(crate) fn stiffness_rate(
    melt_k: f64,
    temperature_c: f64,
    exponent: f64,
    melt_rate: f64,
    temperature_rate: f64,
) -> f64 {
    let temperature_k = temperature_c + ZERO_CELSIUS_K;
    let homologous = 1.0 - temperature_k / melt_k;
    if homologous <= SMALLEST_HOMOLOGOUS {
        return 0.0;
    }
    let rate = temperature_k / (melt_k * melt_k) * melt_rate - temperature_rate / melt_k;
    exponent * stiffness(melt_k, temperature_c, exponent) / homologous * rate
}

/// Returns the structure `φ_eff = Σ s_k h_k φ_k`: the mass fraction of reference crystals that would be as stiff.
///
/// # Arguments
/// * `model`: parameters.
/// * `fractions`: crystallised mass fraction of each family, order as in the parameters.
/// * `melt_k`: mean melting point of the species in the crystals of each family, K.
/// * `temperature_c`: °C.
pub(crate) fn structure(model: &ModelDraw, fractions: &[f64], melt_k: &[f64], temperature_c: f64) -> f64 {
    let families = model.structuring.iter().zip(fractions).zip(melt_k).filter(|((_, phi), _)| **phi > 0.0);
    families.map(|((s, phi), &melt_k)| s * phi * stiffness(melt_k, temperature_c, model.softening_exponent)).sum()
}

/// Returns how far the crystals are above their critical gelling level: `Σ 100 φ_k / c_k`; 1 just holds the oil.
///
/// # Arguments
/// * `model`, `fractions`: as for [`structure`].
pub(crate) fn holding(model: &ModelDraw, fractions: &[f64]) -> f64 {
    let families = model.critical_percent.iter().zip(fractions).filter(|(_, phi)| **phi > 0.0);
    families.map(|(c, phi)| 100.0 * phi / c).sum()
}

/// Returns the yield stress of a structure.
///
/// # Arguments
/// * `model`: parameters.
/// * `structure`: φ_eff, dimensionless.
///
/// # Returns
/// kPa; 0 without crystals.
///
/// # Validity
/// From gels of a few percent to neat wax; a factor of about 3 either way.
pub(crate) fn yield_kpa(model: &ModelDraw, structure: f64) -> f64 {
    if structure <= 0.0 {
        return 0.0;
    }
    model.yield_kpa * structure.powf(model.exponent)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crystals_are_as_stiff_as_the_reference_where_and_as_hot_as_it_is() {
        let at = |temperature_c| stiffness(REFERENCE_MELT_C + ZERO_CELSIUS_K, temperature_c, 1.0);
        assert!((at(REFERENCE_C) - 1.0).abs() < 1e-12);
        assert!((at(43.0) - 25.0 / 43.0).abs() < 1e-12);
    }
}
