//! The mixture as the solver sees it: species sorted into families, amounts as moles.

use super::{EquilibriumError, LARGEST_DELTA_RANGE_SQUARED};
use crate::exponential::exponential;

/// Molar gas constant, J/(mol K) (CODATA 2018, exact).
pub const GAS_CONSTANT: f64 = 8.314_462_618_153_24;

/// One species of a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpeciesAmount {
    /// Mass, any unit, the same for all species.
    pub mass: f64,
    /// Molar mass, kg/mol.
    pub molar_mass_kg_mol: f64,
    /// Crystal family, or `None` when it never crystallises.
    pub family: Option<usize>,
    /// Which of the family's solid solutions, where it has several.
    pub solution: usize,
    /// Melting point, K; ignored when it never crystallises.
    pub melt_k: f64,
    /// Heat of fusion, J/mol; ignored when it never crystallises.
    pub heat_j_mol: f64,
    /// Regular-solution parameter δ of the liquid, dimensionless.
    pub delta: f64,
}

impl SpeciesAmount {
    /// A crystallising species in an ideal liquid; its mass in any unit, the same for all species.
    pub fn crystal(mass: f64, molar_mass_kg_mol: f64, family: usize, melt_k: f64, heat_j_mol: f64) -> Self {
        SpeciesAmount { mass, molar_mass_kg_mol, family: Some(family), solution: 0, melt_k, heat_j_mol, delta: 0.0 }
    }

    /// A species that never crystallises, in an ideal liquid; its mass in any unit, the same for all species.
    pub fn amorphous(mass: f64, molar_mass_kg_mol: f64) -> Self {
        SpeciesAmount { mass, molar_mass_kg_mol, family: None, solution: 0, melt_k: 1.0, heat_j_mol: 1.0, delta: 0.0 }
    }
}

/// A run of species that share one solid solution; a family may have several.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FamilyBlock {
    /// The caller's number of the family.
    pub family: usize,
    /// First species.
    pub start: usize,
    /// One past the last species.
    pub end: usize,
    /// First of its runs.
    pub(super) first_run: usize,
    /// One past the last of its runs.
    pub(super) end_run: usize,
}

impl FamilyBlock {
    /// Its runs.
    pub(super) fn runs(&self) -> std::ops::Range<usize> {
        self.first_run..self.end_run
    }
}

/// How near a melt is to crystallising, by the family that is nearest.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Saturation {
    /// `Σ x_i γ_i K_i`: above 1 it crystallises.
    pub sum: f64,
    /// Rate of its logarithm with `1/T`, K.
    pub rate_k: f64,
}

/// Neighbouring species that share both family (or none) and liquid class: what the inner loops run over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Run {
    pub start: usize,
    pub end: usize,
    pub class: usize,
    /// Moles of all its species per mole of mixture.
    pub moles: f64,
}

/// A mixture, ready to be solved at any temperature.
#[derive(Debug, Clone)]
pub struct Problem {
    /// Moles per mole of mixture.
    pub(super) moles: Vec<f64>,
    /// ΔH / R, K.
    pub(super) heat_k: Vec<f64>,
    /// 1 / Tm, 1/K.
    pub(super) inverse_melt: Vec<f64>,
    /// Molar mass, kg/mol.
    pub(super) molar_mass: Vec<f64>,
    /// Mass, kg per mole of mixture.
    pub(super) mass_kg: Vec<f64>,
    /// Mass times melting point, kg K per mole of mixture.
    pub(super) mass_kg_k: Vec<f64>,
    /// Moles per mole of mixture times ΔH / R, K.
    pub(super) moles_heat_k: Vec<f64>,
    /// Liquid class of each species.
    pub(super) class: Vec<usize>,
    /// δ of each liquid class.
    pub(super) class_delta: Vec<f64>,
    pub(super) mean_molar_mass: f64,
    /// Moles in the unit it was filled from.
    filled_moles: f64,
    blocks: Vec<FamilyBlock>,
    pub(super) runs: Vec<Run>,
    family_count: usize,
    /// Caller's index of each species here.
    source: Vec<usize>,
    /// The same with those that are not there.
    order: Vec<usize>,
}

impl Problem {
    /// Sorts the species into families and turns masses into moles.
    ///
    /// Species of zero mass are left out. The order of `species` does not change any result.
    ///
    /// # Arguments
    /// * `species`: masses in any one unit; family numbers below `families`.
    /// * `families`: how many crystal families the caller knows.
    ///
    /// # Errors
    /// [`EquilibriumError::Empty`], [`EquilibriumError::NotPositive`], [`EquilibriumError::NotFinite`], [`EquilibriumError::FamilyOutOfRange`],
    /// [`EquilibriumError::LiquidSplits`].
    pub fn new(species: &[SpeciesAmount], families: usize) -> Result<Self, EquilibriumError> {
        let mut problem = Problem {
            moles: Vec::new(),
            heat_k: Vec::new(),
            inverse_melt: Vec::new(),
            molar_mass: Vec::new(),
            mass_kg: Vec::new(),
            mass_kg_k: Vec::new(),
            moles_heat_k: Vec::new(),
            class: Vec::new(),
            class_delta: Vec::new(),
            mean_molar_mass: 0.0,
            filled_moles: 0.0,
            blocks: Vec::new(),
            runs: Vec::new(),
            family_count: families,
            source: Vec::new(),
            order: Vec::new(),
        };
        problem.fill(species)?;
        Ok(problem)
    }

    /// Refills this problem from `species`, reusing its memory.
    ///
    /// # Errors
    /// As [`Problem::new`].
    pub fn fill(&mut self, species: &[SpeciesAmount]) -> Result<(), EquilibriumError> {
        for (index, one) in species.iter().enumerate() {
            check(index, one, self.family_count)?;
        }
        let key = |i: usize| species[i].family.map_or((usize::MAX, 0), |family| (family, species[i].solution));
        // What draws and amounts leave as it is comes first: the order of the last one is right, or nearly.
        let compare = |&a: &usize, &b: &usize| {
            let (one, other) = (&species[a], &species[b]);
            (key(a).cmp(&key(b)))
                .then_with(|| one.delta.to_bits().cmp(&other.delta.to_bits()))
                .then_with(|| one.molar_mass_kg_mol.to_bits().cmp(&other.molar_mass_kg_mol.to_bits()))
                .then_with(|| one.melt_k.to_bits().cmp(&other.melt_k.to_bits()))
                .then_with(|| one.mass.to_bits().cmp(&other.mass.to_bits()))
                .then_with(|| a.cmp(&b))
        };
        if self.order.len() != species.len() {
            self.order.clear();
            self.order.extend(0..species.len());
        }
        if !self.order.is_sorted_by(|a, b| compare(a, b).is_lt()) {
            self.order.sort_unstable_by(compare);
        }
        self.source.clear();
        self.source.extend(self.order.iter().filter(|&&i| species[i].mass > 0.0));
        if self.source.is_empty() {
            return Err(EquilibriumError::Empty);
        }
        for list in [&mut self.moles, &mut self.heat_k, &mut self.inverse_melt, &mut self.molar_mass] {
            list.clear();
        }
        let there = self.source.iter().map(|&i| &species[i]);
        self.molar_mass.extend(there.clone().map(|one| one.molar_mass_kg_mol));
        self.heat_k.extend(there.clone().map(|one| one.heat_j_mol / GAS_CONSTANT));
        self.inverse_melt.extend(there.clone().map(|one| 1.0 / one.melt_k));
        self.moles.extend(there.clone().map(|one| one.mass / one.molar_mass_kg_mol));
        let total_moles: f64 = self.moles.iter().sum();
        let total_mass: f64 = there.map(|one| one.mass).sum();
        for moles in &mut self.moles {
            *moles /= total_moles;
        }
        self.class.clear();
        self.class_delta.clear();
        self.blocks.clear();
        self.runs.clear();
        let mut start = 0;
        while let Some(&first) = self.source.get(start) {
            let one = &species[first];
            let alike = |&&i: &&usize| species[i].delta == one.delta && key(i) == key(first);
            let end = start + self.source[start..].iter().take_while(alike).count();
            let class = self.class_delta.iter().position(|&d| d == one.delta).unwrap_or_else(|| {
                self.class_delta.push(one.delta);
                self.class_delta.len() - 1
            });
            self.class.resize(end, class);
            self.runs.push(Run { start, end, class, moles: self.moles[start..end].iter().sum() });
            if let Some(family) = one.family {
                let end_run = self.runs.len();
                match self.blocks.last_mut() {
                    Some(block) if key(self.source[block.start]) == key(first) => {
                        (block.end, block.end_run) = (end, end_run);
                    }
                    _ => self.blocks.push(FamilyBlock { family, start, end, first_run: end_run - 1, end_run }),
                }
            }
            start = end;
        }
        for list in [&mut self.mass_kg, &mut self.mass_kg_k, &mut self.moles_heat_k] {
            list.clear();
        }
        self.mass_kg.extend(self.moles.iter().zip(&self.molar_mass).map(|(n, molar)| n * molar));
        self.mass_kg_k.extend(self.mass_kg.iter().zip(&self.inverse_melt).map(|(kg, inverse)| kg / inverse));
        self.moles_heat_k.extend(self.moles.iter().zip(&self.heat_k).map(|(n, heat)| n * heat));
        self.mean_molar_mass = total_mass / total_moles;
        self.filled_moles = total_moles;
        let (low, high) = self.delta_range();
        let range_squared = (high - low) * (high - low);
        if range_squared > LARGEST_DELTA_RANGE_SQUARED {
            return Err(EquilibriumError::LiquidSplits { range_squared });
        }
        Ok(())
    }

    /// Number of species with a nonzero amount.
    pub fn len(&self) -> usize {
        self.moles.len()
    }

    /// Whether the mixture is empty; a built problem never is.
    pub fn is_empty(&self) -> bool {
        self.moles.is_empty()
    }

    /// Number of species that can crystallise; they come first.
    pub fn crystallising(&self) -> usize {
        self.blocks.last().map_or(0, |block| block.end)
    }

    /// Runs of species that can crystallise; the others follow in `runs`.
    pub(super) fn crystal_runs(&self) -> &[Run] {
        &self.runs[..self.blocks.last().map_or(0, |block| block.end_run)]
    }

    /// Number of crystal families the caller knows, present or not.
    pub fn family_count(&self) -> usize {
        self.family_count
    }

    /// The solid solutions present, each a run of species.
    pub fn blocks(&self) -> &[FamilyBlock] {
        &self.blocks
    }

    /// Moles of species `i` (own order) per mole of mixture; 0 for one that is not there.
    pub fn species_moles(&self, i: usize) -> f64 {
        self.moles.get(i).copied().unwrap_or(0.0)
    }

    /// δ of species `i` (own order), dimensionless; 0 for one that is not there.
    pub fn species_delta(&self, i: usize) -> f64 {
        self.class.get(i).and_then(|&class| self.class_delta.get(class)).copied().unwrap_or(0.0)
    }

    /// Molar mass of species `i` (own order), kg/mol; 0 for one that is not there.
    pub fn species_molar_mass(&self, i: usize) -> f64 {
        self.molar_mass.get(i).copied().unwrap_or(0.0)
    }

    /// `(ΔH_i/R)(1/T − 1/Tm_i)` of species `i` (own order) at `temperature_k`; minus infinity for one that never crystallises or
    /// is not there.
    pub fn ln_ideal_k(&self, i: usize, temperature_k: f64) -> f64 {
        if i >= self.crystallising() {
            return f64::NEG_INFINITY;
        }
        self.heat_k[i] * (1.0 / temperature_k - self.inverse_melt[i])
    }

    /// Position of own species `i` in the list the problem was built from; `None` for one that is not there.
    pub(crate) fn source_index(&self, i: usize) -> Option<usize> {
        self.source.get(i).copied()
    }

    /// Moles of all species, in the unit of mass it was filled with over kg/mol.
    pub(super) fn filled_moles(&self) -> f64 {
        self.filled_moles
    }

    /// Mean molar mass, kg/mol.
    pub fn mean_molar_mass(&self) -> f64 {
        self.mean_molar_mass
    }

    /// δ averaged over all moles.
    pub(crate) fn overall_delta(&self) -> f64 {
        self.moles.iter().zip(&self.class).map(|(n, &c)| n * self.class_delta[c]).sum()
    }

    /// Smallest and largest δ present.
    pub(crate) fn delta_range(&self) -> (f64, f64) {
        self.class_delta.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &d| (low.min(d), high.max(d)))
    }

    /// Largest over the families of `Σ x_i γ_i K_i` in the all-liquid mixture: above 1 something crystallises.
    pub fn largest_saturation(&self, temperature_k: f64) -> f64 {
        self.saturation(temperature_k).sum
    }

    /// Saturation of the all-liquid mixture with the family that is nearest to crystallising.
    pub(crate) fn saturation(&self, temperature_k: f64) -> Saturation {
        let delta_bar = self.overall_delta();
        let mut largest = Saturation::default();
        for block in &self.blocks {
            let (mut sum, mut by_heat) = (0.0, 0.0);
            for i in block.start..block.end {
                let apart = self.class_delta[self.class[i]] - delta_bar;
                let one = self.moles[i] * exponential(self.ln_ideal_k(i, temperature_k) + apart * apart);
                sum += one;
                by_heat += one * self.heat_k[i];
            }
            if sum > largest.sum {
                largest = Saturation { sum, rate_k: by_heat / sum };
            }
        }
        largest
    }
}

fn check(index: usize, one: &SpeciesAmount, families: usize) -> Result<(), EquilibriumError> {
    let positive = |quantity, value: f64| {
        if value.is_finite() && value > 0.0 {
            Ok(())
        } else {
            Err(EquilibriumError::NotPositive { species: index, quantity, value })
        }
    };
    if one.mass != 0.0 {
        positive("mass", one.mass)?;
    }
    positive("molar mass", one.molar_mass_kg_mol)?;
    if !(one.delta * one.delta).is_finite() {
        return Err(EquilibriumError::NotFinite { species: index, delta: one.delta });
    }
    if let Some(family) = one.family {
        positive("melting point", one.melt_k)?;
        positive("heat of fusion", one.heat_j_mol)?;
        if family >= families {
            return Err(EquilibriumError::FamilyOutOfRange { species: index, family, families });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use super::*;

    fn one(mass: f64) -> SpeciesAmount {
        SpeciesAmount::crystal(mass, 0.8, 0, 320.0, 1.5e5)
    }

    #[test]
    fn what_is_not_physical_is_refused_with_its_number() {
        for (species, quantity) in [
            (one(-1.0), "mass"),
            (one(f64::NAN), "mass"),
            (one(f64::INFINITY), "mass"),
            (SpeciesAmount { molar_mass_kg_mol: 0.0, ..one(1.0) }, "molar mass"),
            (SpeciesAmount { melt_k: -3.0, ..one(1.0) }, "melting point"),
            (SpeciesAmount { heat_j_mol: f64::NAN, ..one(1.0) }, "heat of fusion"),
        ] {
            match Problem::new(&[one(1.0), species], 1) {
                Err(EquilibriumError::NotPositive { species: 1, quantity: found, .. }) => assert_eq!(found, quantity),
                other => panic!("{quantity}: {other:?}"),
            }
        }
        let refused = |species| Problem::new(&[one(1.0), species], 1).unwrap_err();
        let strange = refused(SpeciesAmount { family: Some(7), ..one(1.0) });
        assert_eq!(strange, EquilibriumError::FamilyOutOfRange { species: 1, family: 7, families: 1 });
        let endless = refused(SpeciesAmount { delta: f64::INFINITY, ..one(1.0) });
        assert_eq!(endless, EquilibriumError::NotFinite { species: 1, delta: f64::INFINITY });
        assert_eq!(Problem::new(&[], 1).unwrap_err(), EquilibriumError::Empty);
        assert_eq!(Problem::new(&[one(0.0)], 1).unwrap_err(), EquilibriumError::Empty);
    }

    #[test]
    fn a_melt_that_would_split_is_refused() {
        let apart = [one(1.0), SpeciesAmount { delta: 1.5, ..one(1.0) }];
        assert!(matches!(Problem::new(&apart, 1), Err(EquilibriumError::LiquidSplits { .. })));
    }

    #[test]
    fn a_problem_filled_again_is_that_filled_once_whatever_was_in_it() {
        let species = |masses: [f64; 4], melt_k: [f64; 4]| -> Vec<SpeciesAmount> {
            let of = |(mass, melt_k)| SpeciesAmount { mass, melt_k, ..one(1.0) };
            masses.into_iter().zip(melt_k).map(of).collect()
        };
        let draws = [
            species([1.0, 2.0, 3.0, 4.0], [310.0, 320.0, 330.0, 340.0]),
            species([1.0, 2.0, 3.0, 4.0], [340.0, 310.0, 335.0, 330.0]),
            // One drops out, another comes in its place, then fewer are there at all.
            species([0.0, 2.0, 3.0, 4.0], [340.0, 310.0, 335.0, 330.0]),
            species([5.0, 0.0, 3.0, 4.0], [340.0, 310.0, 335.0, 330.0]),
            species([5.0, 0.0, 3.0, 4.0], [340.0, 310.0, 335.0, 330.0])[..3].to_vec(),
        ];
        let mut problem = Problem::new(&draws[0], 1).unwrap();
        for draw in &draws {
            problem.fill(draw).unwrap();
            let once = Problem::new(draw, 1).unwrap();
            assert_eq!(format!("{problem:?}"), format!("{once:?}"));
        }
    }

    #[test]
    fn the_order_given_is_kept_as_source_index() {
        let species = [SpeciesAmount { family: Some(1), ..one(1.0) }, one(2.0), SpeciesAmount::amorphous(1.0, 0.4)];
        let problem = Problem::new(&species, 2).unwrap();
        let order: Vec<usize> = (0..=problem.len()).filter_map(|i| problem.source_index(i)).collect();
        assert_eq!(order, [1, 0, 2]);
        assert_eq!(problem.crystallising(), 2);
    }
}
