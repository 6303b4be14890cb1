//! Misfit of unlike molecules in one crystal.
//!
//! ```text
//! ln K_i = (ΔH_i / R)(1/T − 1/Tm_i) − g_f,      g_f = (w_f / 2) (1 − Σ_{j in f} Y_j²)
//! ```
//! A crystal of many kinds of molecule is looser than the ideal solid solution: one-parameter Margules excess between every two unlike
//! kinds. It is taken at `Y`, the composition of the whole that shares the crystal, not at that of the crystal, which differs from it by what has
//! dissolved; so the equilibrium stays that of an ideal solid solution of lower melting points `1/Tm' = 1/Tm + R g_f / ΔH`.
//!
//! # Source
//! Margules excess of triglyceride crystals, none in α, some in β′, most in β: Wesdorp 1990, thesis, Delft (recalled).

use crate::equilibrium::{GAS_CONSTANT, SpeciesAmount};

/// A crystal of less is left alone, mol in the unit the masses are in over kg/mol: the cube of its amount would be no number any more.
const LEAST_MOLES: f64 = 1e-100;

/// Lowers the melting points of every family by its misfit.
///
/// # Arguments
/// * `amounts`: the species with their masses.
/// * `misfit`: `w` of each family, not negative; a family beyond its end has none.
///
/// # Example
/// Two species of 100 kJ/mol, half and half, with w = 1: `g = 1/4`, about 2 K.
/// ```
/// use barwright_blend::equilibrium::SpeciesAmount;
/// use barwright_blend::misfit::lower_melting_points;
/// let mut amounts = [SpeciesAmount::crystal(1.0, 0.8, 0, 310.0, 1e5), SpeciesAmount::crystal(1.0, 0.8, 0, 300.0, 1e5)];
/// lower_melting_points(&mut amounts, &[1.0]);
/// assert!((310.0 - amounts[0].melt_k - 1.984).abs() < 1e-3);
/// ```
pub fn lower_melting_points(amounts: &mut [SpeciesAmount], misfit: &[f64]) {
    let solutions = amounts.iter().map(|one| one.solution).max().map_or(0, |last| last + 1);
    for (family, &w) in misfit.iter().enumerate().filter(|(_, w)| **w > 0.0) {
        for solution in 0..solutions {
            let belongs = |one: &SpeciesAmount| one.family == Some(family) && one.solution == solution;
            let (mut total, mut squares) = (0.0, 0.0);
            for one in amounts.iter().filter(|one| belongs(one)) {
                let n = one.mass / one.molar_mass_kg_mol;
                total += n;
                squares += n * n;
            }
            if total < LEAST_MOLES {
                continue;
            }
            let excess = 0.5 * w * (1.0 - squares / (total * total));
            for one in amounts.iter_mut().filter(|one| belongs(one)) {
                one.melt_k = 1.0 / (1.0 / one.melt_k + GAS_CONSTANT * excess / one.heat_j_mol);
            }
        }
    }
}

/// Returns how `g` of each species changes with the masses: `dg = −w Σ Y dY`.
///
/// # Arguments
/// * `amounts`: the species, before or after [`lower_melting_points`].
/// * `mass`: change of the mass of each.
/// * `misfit`: `w` of each family.
/// * `rates`: receives one rate for each species.
pub fn rates(amounts: &[SpeciesAmount], mass: &[f64], misfit: &[f64], rates: &mut Vec<f64>) {
    rates.clear();
    rates.resize(amounts.len(), 0.0);
    let solutions = amounts.iter().map(|one| one.solution).max().map_or(0, |last| last + 1);
    for (family, &w) in misfit.iter().enumerate().filter(|(_, w)| **w > 0.0) {
        for solution in 0..solutions {
            let belongs = |one: &SpeciesAmount| one.family == Some(family) && one.solution == solution;
            let (mut total, mut total_rate, mut squares, mut cross) = (0.0, 0.0, 0.0, 0.0);
            for (one, mass) in amounts.iter().zip(mass).filter(|(one, _)| belongs(one)) {
                let (n, rate) = (one.mass / one.molar_mass_kg_mol, mass / one.molar_mass_kg_mol);
                total += n;
                total_rate += rate;
                squares += n * n;
                cross += n * rate;
            }
            if total < LEAST_MOLES {
                continue;
            }
            let rate = -w * (cross / (total * total) - squares * total_rate / (total * total * total));
            for (one, into) in amounts.iter().zip(&mut *rates) {
                if belongs(one) {
                    *into = rate;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trace_whose_squares_are_nothing_is_left_alone() {
        for mass in [1e-99, 1e-110, 1e-160, 1e-200, 1e-300, f64::MIN_POSITIVE] {
            let mut amounts = [310.0, 300.0].map(|melt_k| SpeciesAmount::crystal(mass, 0.8, 0, melt_k, 1e5));
            lower_melting_points(&mut amounts, &[1.0]);
            assert!(amounts.iter().all(|one| (290.0..=310.0).contains(&one.melt_k)), "{mass}: {amounts:?}");
            let mut found = Vec::new();
            rates(&amounts, &[mass, 0.0], &[1.0], &mut found);
            assert!(found.iter().all(|rate| rate.is_finite()), "{mass}: {found:?}");
        }
    }

    #[test]
    fn a_crystal_of_one_kind_has_no_misfit_and_more_kinds_have_more() {
        let depression = |kinds: usize| {
            let mut amounts: Vec<_> = (0..kinds).map(|_| SpeciesAmount::crystal(1.0, 0.8, 1, 310.0, 1e5)).collect();
            lower_melting_points(&mut amounts, &[0.0, 1.5]);
            310.0 - amounts[0].melt_k
        };
        assert!(depression(1).abs() < 1e-12);
        assert!(0.0 < depression(2) && depression(2) < depression(3) && depression(3) < depression(9));
    }

    #[test]
    fn a_family_without_mass_is_left_alone() {
        let mut amounts = [SpeciesAmount::crystal(0.0, 0.8, 0, 310.0, 1e5)];
        lower_melting_points(&mut amounts, &[1.0]);
        assert!((amounts[0].melt_k - 310.0).abs() < 1e-12);
    }
}
