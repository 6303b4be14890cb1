//! Misfit of unlike molecules in one crystal.
//!
//! ```text
//! ln K_i = (ΔH_i / R)(1/T − 1/Tm_i) − g_f,      g_f = (w_f / 2) Σ_ij Y_i Y_j u_ij
//!
//! between kinds      u_ij = 1 for i ≠ j,                Σ Y Y u = 1 − Σ Y²
//! between lengths    u_ij = ((n_i − n_j) / 4)²,         Σ Y Y u = 2 Var(n) / 4²        n carbon atoms of the molecule
//! ```
//! A crystal of many kinds of molecule is looser than the ideal solid solution: Margules excess `w u_ij` between every two. Where the molecules differ in
//! length above all (28 to 44 carbons in a lauric fat), it grows with the square of that difference. It is taken at `Y`, the
//! composition of the whole that shares the crystal, not at that of the crystal, which differs from it by what has dissolved; so the equilibrium
//! stays that of an ideal solid solution of lower melting points `1/Tm' = 1/Tm + R g_f / ΔH`.
//!
//! # Source
//! Margules excess of triglyceride crystals, none in α, some in β′, most in β: Wesdorp 1990, thesis, Delft (recalled). Chains two carbons apart share a
//! lattice and four apart do not: of alkanes, see [`crate::chain_length`]; two molecules do not where `w u` is 2, so lengths have a `w` near 2.

use serde::Deserialize;

use crate::chain_length::carbons;
use crate::equilibrium::{GAS_CONSTANT, SpeciesAmount};

/// A crystal of less is left alone, mol in the unit the masses are in over kg/mol: the cube of its amount would no longer be a number.
const MIN_MOLES: f64 = 1e-100;

/// Lengths this far apart have the misfit `w`, carbon atoms.
const LENGTH_STEP: f64 = 4.0;

/// Which molecules of one crystal have a misfit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Between {
    /// Any two that are not the same species.
    #[default]
    Kinds,
    /// Molecules of different length.
    Lengths,
}

/// Misfit of one family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Misfit {
    /// Excess `w`, in units of RT; not negative.
    pub w: f64,
    /// Which molecules it is between.
    pub between: Between,
}

/// One crystal: what its composition gives.
struct Crystal {
    between: Between,
    total_moles: f64,
    /// `Σ Y²` of kinds, the mean of lengths.
    moment: f64,
    /// `Σ Y Y u`.
    unlikeness: f64,
}

impl Crystal {
    /// `None` for one of (nearly) no mass.
    fn of<'a>(members: impl Iterator<Item = &'a SpeciesAmount> + Clone, between: Between) -> Option<Self> {
        let total_moles: f64 = members.clone().map(moles).sum();
        if total_moles < MIN_MOLES {
            return None;
        }
        let shares = members.map(|one| (moles(one) / total_moles, length(one)));
        let (moment, unlikeness) = match between {
            Between::Kinds => {
                let squares: f64 = shares.map(|(share, _)| share * share).sum();
                (squares, 1.0 - squares)
            }
            Between::Lengths => {
                let mean: f64 = shares.clone().map(|(share, length)| share * length).sum();
                let variance: f64 = shares.map(|(share, length)| share * (length - mean) * (length - mean)).sum();
                (mean, 2.0 * variance)
            }
        };
        Some(Crystal { between, total_moles, moment, unlikeness })
    }

    /// `dΣ Y Y u` per mole of one of its species.
    fn rate(&self, one: &SpeciesAmount) -> f64 {
        let apart = match self.between {
            Between::Kinds => 2.0 * (self.moment - moles(one) / self.total_moles),
            Between::Lengths => 2.0 * (length(one) - self.moment) * (length(one) - self.moment) - self.unlikeness,
        };
        apart / self.total_moles
    }
}

fn moles(one: &SpeciesAmount) -> f64 {
    one.mass / one.molar_mass_kg_mol
}

/// Length of a molecule over [`LENGTH_STEP`].
fn length(one: &SpeciesAmount) -> f64 {
    carbons(1e3 * one.molar_mass_kg_mol) / LENGTH_STEP
}

/// Number of solid solutions of the family that has most.
fn solutions(amounts: &[SpeciesAmount]) -> usize {
    amounts.iter().map(|one| one.solution).max().map_or(0, |last| last + 1)
}

/// Every crystal that has a misfit: its `w`, and whether a species belongs to it.
fn crystals(
    misfit: &[Misfit],
    solutions: usize,
) -> impl Iterator<Item = (Misfit, impl Fn(&SpeciesAmount) -> bool + Copy)> {
    misfit.iter().enumerate().filter(|(_, one)| one.w > 0.0).flat_map(move |(family, &one)| {
        (0..solutions).map(move |solution| {
            (one, move |species: &SpeciesAmount| species.family == Some(family) && species.solution == solution)
        })
    })
}

/// Lowers the melting points of every family by its misfit.
///
/// # Arguments
/// * `amounts`: the species with their masses.
/// * `misfit`: of each family; one beyond its end has none.
pub(crate) fn lower_melting_points(amounts: &mut [SpeciesAmount], misfit: &[Misfit]) {
    for (Misfit { w, between }, belongs) in crystals(misfit, solutions(amounts)) {
        let Some(crystal) = Crystal::of(amounts.iter().filter(|one| belongs(one)), between) else { continue };
        let excess = 0.5 * w * crystal.unlikeness;
        for one in amounts.iter_mut().filter(|one| belongs(one)) {
            one.melt_k = 1.0 / (1.0 / one.melt_k + GAS_CONSTANT * excess / one.heat_j_mol);
        }
    }
}

/// Returns how `g` of each species (dimensionless) changes with the masses.
///
/// # Arguments
/// * `amounts`: the species, before or after [`lower_melting_points`].
/// * `mass`: change of the mass of each, in the unit of the masses.
/// * `misfit`: of each family.
/// * `rates`: receives the rate of `g` of each species, dimensionless.
pub fn rates(amounts: &[SpeciesAmount], mass: &[f64], misfit: &[Misfit], rates: &mut Vec<f64>) {
    rates.clear();
    rates.resize(amounts.len(), 0.0);
    for (Misfit { w, between }, belongs) in crystals(misfit, solutions(amounts)) {
        let Some(crystal) = Crystal::of(amounts.iter().filter(|one| belongs(one)), between) else { continue };
        let changing = amounts.iter().zip(mass).filter(|(one, _)| belongs(one));
        let rate: f64 = changing.map(|(one, mass)| crystal.rate(one) * (mass / one.molar_mass_kg_mol)).sum();
        for (_, into) in amounts.iter().zip(&mut *rates).filter(|(one, _)| belongs(one)) {
            *into = 0.5 * w * rate;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const KINDS: Misfit = Misfit { w: 1.0, between: Between::Kinds };
    const LENGTHS: Misfit = Misfit { w: 2.0, between: Between::Lengths };

    #[test]
    fn a_trace_whose_squares_are_nothing_is_left_alone() {
        for mass in [1e-99, 1e-110, 1e-160, 1e-200, 1e-300, f64::MIN_POSITIVE] {
            let mut amounts = [310.0, 300.0].map(|melt_k| SpeciesAmount::crystal(mass, 0.8, 0, melt_k, 1e5));
            lower_melting_points(&mut amounts, &[KINDS]);
            assert!(amounts.iter().all(|one| (290.0..=310.0).contains(&one.melt_k)), "{mass}: {amounts:?}");
            let mut found = Vec::new();
            rates(&amounts, &[mass, 0.0], &[KINDS], &mut found);
            assert!(found.iter().all(|rate| rate.is_finite()), "{mass}: {found:?}");
        }
    }

    #[test]
    fn a_crystal_of_one_kind_has_no_misfit_and_more_kinds_have_more() {
        let depression = |kinds: usize| {
            let mut amounts: Vec<_> = (0..kinds).map(|_| SpeciesAmount::crystal(1.0, 0.8, 1, 310.0, 1e5)).collect();
            lower_melting_points(&mut amounts, &[Misfit { w: 0.0, ..KINDS }, Misfit { w: 1.5, ..KINDS }]);
            310.0 - amounts[0].melt_k
        };
        assert!(depression(1).abs() < 1e-12);
        assert!(0.0 < depression(2) && depression(2) < depression(3) && depression(3) < depression(9));
    }

    #[test]
    fn a_family_without_mass_is_left_alone() {
        let mut amounts = [SpeciesAmount::crystal(0.0, 0.8, 0, 310.0, 1e5)];
        lower_melting_points(&mut amounts, &[KINDS]);
        assert!((amounts[0].melt_k - 310.0).abs() < 1e-12);
    }

    /// Triglycerides of so many carbons of a chain, at 310 K, one mole each.
    fn of_lengths(carbons: &[f64]) -> Vec<SpeciesAmount> {
        let of = |n: &f64| {
            let molar_mass_kg_mol = 1e-3 * (2.016 + 14.027 * n);
            SpeciesAmount::crystal(molar_mass_kg_mol, molar_mass_kg_mol, 0, 310.0, 1e5)
        };
        carbons.iter().map(of).collect()
    }

    #[test]
    fn misfit_of_lengths_is_that_of_pairs() {
        let lengths = [36.0, 36.0, 38.0, 42.0];
        let mut amounts = of_lengths(&lengths);
        lower_melting_points(&mut amounts, &[LENGTHS]);
        // g = (w / 2) Σ Y Y ((n_i − n_j) / 4)², pair by pair.
        let pairs = lengths.iter().flat_map(|a| lengths.iter().map(move |b| ((a - b) / 4.0_f64).powi(2)));
        let g = 0.5 * LENGTHS.w * pairs.sum::<f64>() / 16.0;
        assert!((g - 0.75).abs() < 1e-12, "{g}");
        for one in &amounts {
            let lowered = (1.0 / one.melt_k - 1.0 / 310.0) * one.heat_j_mol / GAS_CONSTANT;
            assert!((lowered / g - 1.0).abs() < 1e-9, "{lowered} against {g}");
        }
        // Other molecules of one length are no misfit, and four carbons apart, half and half, w / 4 is: at w = 2 the two no longer mix.
        let depression = |lengths: &[f64]| {
            let mut amounts = of_lengths(lengths);
            lower_melting_points(&mut amounts, &[LENGTHS]);
            (1.0 / amounts[0].melt_k - 1.0 / 310.0) * 1e5 / GAS_CONSTANT
        };
        assert!(depression(&[36.0, 36.0]).abs() < 1e-12);
        assert!((depression(&[36.0, 40.0]) - 0.25 * LENGTHS.w).abs() < 1e-9);
    }

    #[test]
    fn every_solid_solution_has_the_misfit_of_its_own_composition() {
        // Two lengths in one, one alone in another.
        let mut amounts = of_lengths(&[36.0, 40.0, 48.0]);
        amounts[0].solution = 1;
        amounts[1].solution = 1;
        lower_melting_points(&mut amounts, &[LENGTHS]);
        let lowered = |one: &SpeciesAmount| (1.0 / one.melt_k - 1.0 / 310.0) * one.heat_j_mol / GAS_CONSTANT;
        let found: Vec<f64> = amounts.iter().map(lowered).collect();
        assert!((found[0] - 0.5).abs() < 1e-9 && (found[1] - 0.5).abs() < 1e-9 && found[2].abs() < 1e-12, "{found:?}");
    }

    #[test]
    fn rates_are_the_slopes_of_both_kinds_of_misfit() {
        let (moved, step) = ([0.3, -0.1, 0.0, 0.2], 1e-6);
        for misfit in [KINDS, LENGTHS] {
            let mut base = of_lengths(&[30.0, 34.0, 38.0, 44.0]);
            base.iter_mut().zip([1.0, 2.0, 3.0, 1.5]).for_each(|(one, times)| one.mass *= times);
            let g = |by: f64| {
                let mut amounts = base.clone();
                amounts.iter_mut().zip(moved).for_each(|(one, moved)| one.mass += by * moved);
                lower_melting_points(&mut amounts, &[misfit]);
                (1.0 / amounts[0].melt_k - 1.0 / 310.0) * 1e5 / GAS_CONSTANT
            };
            let slope = (g(step) - g(-step)) / (2.0 * step);
            let mut found = Vec::new();
            rates(&base, &moved, &[misfit], &mut found);
            assert!(slope.abs() > 1e-3);
            assert!(found.iter().all(|rate| (rate / slope - 1.0).abs() < 1e-5), "{found:?} against {slope}");
        }
    }

    #[test]
    fn halves_of_two_kinds_have_a_quarter_of_w() {
        let mut amounts = [310.0, 300.0].map(|melt_k| SpeciesAmount::crystal(1.0, 0.8, 0, melt_k, 1e5));
        lower_melting_points(&mut amounts, &[KINDS]);
        assert!((310.0 - amounts[0].melt_k - 1.984).abs() < 1e-3, "{amounts:?}");
    }
}
