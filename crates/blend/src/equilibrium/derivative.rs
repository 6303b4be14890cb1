//! Response of the crystals to a small change of the mixture or of the temperature: the implicit function theorem on the solved equations.
//!
//! # Equations
//! With the equations of [`super`], a change `ṅ_i` of the moles and `k̇_i` of `ln κ_i` (`κ` is `K` without γ), `d_i = δ_i − δ̄`:
//!
//! ```text
//! dE_i = dL + K_i dS + K_i S dlnK_i,   dlnK_i = k̇_i − 2 d_i dδ̄
//! Σ (ṅ/E − n dE/E²) = 0
//! Σ_f (ṅ K/E + n K/E² (L dlnK − dL − K dS_f)) = 0      for each solid solution present
//! Σ (ṅ d/E − n d dE/E²) − dδ̄ = 0
//! ```
//! linear in `dL`, `dS_f`, `dδ̄`. A solid solution that is absent stays so: at the temperature where one appears, the derivative is that of the
//! side without it.
//!
//! # Source
//! Implicit function theorem (textbook; recalled); checked against central differences in the tests below.

use nalgebra::{DMatrix, DVector, Dyn, LU};

use super::{Phases, Problem};

/// A small change of the mixture, per unit of whatever drives it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Change {
    /// Change of mass of each species, in the order and unit the problem was filled from.
    pub mass: Vec<f64>,
    /// Fall of `ln κ` of each species by misfit, same order: melting points shift with it.
    pub misfit: Vec<f64>,
    /// Change of temperature, K.
    pub temperature_k: f64,
    /// Change of the logarithm of what powder multiplies the yield stress by; the crystals know nothing of it.
    pub ln_stiffening: f64,
}

/// Rates of the crystals of each of the caller's families.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FamilyRates {
    /// Rate of the crystallised mass fraction.
    pub fractions: Vec<f64>,
    /// Rate of the mean melting point of the species in the crystals, K; 0 where there are none.
    pub melt_k: Vec<f64>,
}

/// The equations of one solved equilibrium, linearised and factored.
#[derive(Debug)]
pub struct Linearised<'a> {
    phases: Phases<'a>,
    /// Blocks with crystals.
    present: Vec<usize>,
    /// In the problem's own order.
    states: Vec<State>,
    /// `None` where all is liquid or all is solid: nothing to solve then.
    factors: Option<LU<f64, Dyn, Dyn>>,
}

/// State of one species in the solution.
#[derive(Debug, Clone, Copy)]
struct State {
    n: f64,
    k: f64,
    e: f64,
    solid: f64,
    apart: f64,
    /// Position among the unknowns of its solid solution, where that is there.
    column: Option<usize>,
}

impl<'a> Phases<'a> {
    /// Linearises the equations at this solution.
    pub(crate) fn linearise(self) -> Linearised<'a> {
        let present: Vec<usize> =
            (0..self.problem.blocks().len()).filter(|&block| self.block_moles(block) > 0.0).collect();
        let blocks = self.problem.blocks();
        let (crystallising, all) = (self.problem.crystallising(), self.problem.len());
        let in_blocks = (0..blocks.len())
            .flat_map(|block| std::iter::repeat_n(Some(block), blocks[block].end - blocks[block].start));
        let block_of = in_blocks.chain(std::iter::repeat_n(None, all - crystallising));
        let state = |(i, block): (usize, Option<usize>)| {
            let solid = block.map_or(0.0, |block| self.block_moles(block));
            let k = self.work.k(self.problem, i);
            State {
                n: self.problem.species_moles(i),
                k,
                e: self.liquid_moles() + k * solid,
                solid,
                apart: self.problem.species_delta(i) - self.delta_bar(),
                column: present.iter().position(|one| Some(*one) == block).map(|at| at + 2),
            }
        };
        let states = block_of.enumerate().map(state).collect();
        let mut linearised = Linearised { phases: self, present, states, factors: None };
        if !linearised.present.is_empty() && self.liquid_moles() > 0.0 {
            linearised.factors = Some(linearised.matrix().lu());
        }
        linearised
    }
}

impl Linearised<'_> {
    fn problem(&self) -> &Problem {
        self.phases.problem
    }

    fn matrix(&self) -> DMatrix<f64> {
        let size = self.present.len() + 2;
        let liquid = self.phases.liquid_moles();
        let mut matrix = DMatrix::zeros(size, size);
        matrix[(1, 1)] = -1.0;
        for &State { n, k, e, solid, apart, column } in &self.states {
            let by_square = n / (e * e);
            matrix[(0, 0)] -= by_square;
            matrix[(0, 1)] += 2.0 * by_square * k * solid * apart;
            matrix[(1, 0)] -= by_square * apart;
            matrix[(1, 1)] += 2.0 * by_square * k * solid * apart * apart;
            if let Some(column) = column {
                matrix[(0, column)] -= by_square * k;
                matrix[(1, column)] -= by_square * k * apart;
                matrix[(column, 0)] -= by_square * k;
                matrix[(column, 1)] -= 2.0 * by_square * k * liquid * apart;
                matrix[(column, column)] -= by_square * k * k;
            }
        }
        matrix
    }

    /// Returns the rates of the crystals along a change.
    pub fn along(&self, change: &Change) -> FamilyRates {
        let problem = self.problem();
        let liquid = self.phases.liquid_moles();
        let temperature_k = self.phases.temperature_k();
        let total_moles = problem.filled_moles();
        let source = |i: usize| problem.source_index(i).unwrap_or(usize::MAX);
        let of = |list: &[f64], i: usize| list.get(source(i)).copied().unwrap_or(0.0);
        let moles: Vec<f64> =
            (0..problem.len()).map(|i| of(&change.mass, i) / problem.species_molar_mass(i) / total_moles).collect();
        let ln_k: Vec<f64> = (0..problem.len())
            .map(|i| {
                let by_heat = problem.heat_k.get(i).copied().unwrap_or(0.0) / (temperature_k * temperature_k);
                -of(&change.misfit, i) - by_heat * change.temperature_k
            })
            .collect();
        let mut right = DVector::zeros(self.present.len() + 2);
        for (i, &State { n, k, e, solid, apart, column }) in self.states.iter().enumerate() {
            let by_square = n / (e * e);
            // Species that never crystallise have k = 0: their ln K does not count.
            let total = moles[i] / e - by_square * k * solid * ln_k[i];
            right[0] -= total;
            right[1] -= total * apart;
            if let Some(column) = column {
                right[column] -= moles[i] * k / e + by_square * k * liquid * ln_k[i];
            }
        }
        let step = self.factors.as_ref().and_then(|factors| factors.solve(&right));
        let zero = DVector::zeros(right.len());
        let step = step.unwrap_or(zero);
        let families = problem.family_count();
        let mut rates = FamilyRates { fractions: vec![0.0; families], melt_k: vec![0.0; families] };
        let (mut mass, mut mass_k) = (vec![0.0; families], vec![0.0; families]);
        for (at, &block) in self.present.iter().enumerate() {
            let family = problem.blocks()[block].family;
            let range = problem.blocks()[block].start..problem.blocks()[block].end;
            for i in range {
                let State { n, k, e, solid, apart, .. } = self.states[i];
                let (molar_mass, melt_k) = (problem.species_molar_mass(i), 1.0 / problem.inverse_melt[i]);
                let crystal = n * k * solid / e;
                let change_ln_k = ln_k[i] - 2.0 * apart * step[1];
                let change_e = step[0] + k * step[at + 2] + k * solid * change_ln_k;
                let rate = if liquid > 0.0 {
                    moles[i] * k * solid / e + n * k / e * (step[at + 2] + solid * change_ln_k - solid * change_e / e)
                } else {
                    moles[i]
                };
                // The melting point itself moves with the misfit: 1/Tm' = 1/Tm + g R / ΔH.
                let melt_rate = -of(&change.misfit, i) * melt_k * melt_k / problem.heat_k[i];
                rates.fractions[family] += molar_mass * rate;
                rates.melt_k[family] += molar_mass * (rate * melt_k + crystal * melt_rate);
                mass[family] += molar_mass * crystal;
                mass_k[family] += molar_mass * crystal * melt_k;
            }
        }
        let whole = problem.mean_molar_mass();
        let whole_rate: f64 = moles.iter().enumerate().map(|(i, rate)| rate * problem.species_molar_mass(i)).sum();
        for family in 0..families {
            if mass[family] > 0.0 {
                let mean_k = mass_k[family] / mass[family];
                rates.melt_k[family] = (rates.melt_k[family] - mean_k * rates.fractions[family]) / mass[family];
                rates.fractions[family] = (rates.fractions[family] - mass[family] / whole * whole_rate) / whole;
            }
        }
        rates
    }
}
