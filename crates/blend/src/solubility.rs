//! Solubility of one pure solid in a liquid.

use crate::equilibrium::GAS_CONSTANT;

/// Returns the mole fraction of a pure solid that dissolves at a temperature.
///
/// `x = exp[−(ΔH / R)(1/T − 1/Tm)] / γ`, at most 1.
///
/// # Arguments
/// * `temperature_k`: K, positive.
/// * `melt_k`: melting point of the solid, K, positive.
/// * `heat_j_mol`: heat of fusion, J/mol, positive.
/// * `gamma`: activity coefficient of the dissolved solid, dimensionless, positive; 1 is ideal.
///
/// # Returns
/// Mole fraction, 0 to 1; 1 above the melting point (where the solid mixes in any amount).
///
/// # Validity
/// Heat capacity difference neglected: good within some tens of kelvin of the melting point.
///
/// # Example
/// T 260 K, Tm 278.68 K, ΔH 9952 J/mol, γ 3.0176 (the `chemicals` Python library, after Gmehling 2012; read):
/// ```
/// let x = barwright_blend::solubility::solid_solubility(260.0, 278.68, 9952.0, 3.0176);
/// assert!((x - 0.243400713).abs() < 1e-8);
/// ```
///
/// # Source
/// Gmehling, Kolbe, Kleiber and Rarey 2012, Chemical Thermodynamics for Process Simulation (as quoted by that library).
pub fn solid_solubility(temperature_k: f64, melt_k: f64, heat_j_mol: f64, gamma: f64) -> f64 {
    let ideal = (-heat_j_mol / GAS_CONSTANT * (1.0 / temperature_k - 1.0 / melt_k)).exp();
    (ideal / gamma).min(1.0)
}
