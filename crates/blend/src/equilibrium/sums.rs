//! Buffers of the solver, and the sums over species that residuals and derivatives are made of.

use super::problem::Run;
use super::{FamilyBlock, Problem};
use crate::exponential::exponential;

/// Newton steps on each family's solid in the cold start.
const START_STEPS: usize = 2;

/// The cold start leaves at least this share as liquid.
const START_LIQUID: f64 = 0.2;

/// Sums of one crystal family; letters as in [`Sums`].
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct FamilySums {
    /// `r_f = 1 − Σ n K / E`.
    pub residual: f64,
    /// `∂r_f/∂L = Σ n K / E²`.
    pub to_liquid: f64,
    /// `∂r_f/∂S_f = Σ n K² / E²`.
    pub to_solid: f64,
    /// `Σ n K d / E²`, with `d = δ_i − δ̄`.
    pub first_moment: f64,
    /// `Σ n K d² / E²`.
    pub second_moment: f64,
}

/// What is left of the sums of a block that moves, once its solid is eliminated.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Moving {
    /// Position of the block.
    pub index: usize,
    /// Its residual.
    pub residual: f64,
    /// Change of its solid by itself.
    pub alone: f64,
    /// Change of its solid with that of the liquid.
    pub with_liquid: f64,
    /// Change of its solid with that of δ̄.
    pub with_delta: f64,
}

/// Sums over all species.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    /// `r_L = 1 − Σ n / E`.
    pub residual: f64,
    /// `∂r_L/∂L = Σ n / E²`.
    pub to_liquid: f64,
    /// `r_δ = Σ n d / E`.
    pub delta_residual: f64,
    /// `Σ n d / E²`.
    pub delta_to_liquid: f64,
}

impl Sums {
    /// Adds a run: `Σ n/E`, `Σ n/E²` and its δ − δ̄.
    fn add(&mut self, in_liquid: f64, slope: f64, apart: f64) {
        self.residual -= in_liquid;
        self.to_liquid += slope;
        self.delta_residual += apart * in_liquid;
        self.delta_to_liquid += apart * slope;
    }
}

/// Everything the solver writes to.
#[derive(Debug, Clone)]
pub(super) struct Work {
    pub temperature_k: f64,
    /// `exp[(ΔH/R)(1/T − 1/Tm)]` of each crystallising species.
    pub ideal_k: Vec<f64>,
    /// `Σ n K` of each run of the problem at γ = 1.
    pub ideal_saturation: Vec<f64>,
    /// `exp[(δ − δ̄)²]` of each liquid class.
    pub class_gamma: Vec<f64>,
    /// `δ − δ̄` of each liquid class.
    pub class_apart: Vec<f64>,
    pub liquid: f64,
    pub delta_bar: f64,
    /// Moles of solid, one entry per block of the problem.
    pub solids: Vec<f64>,
    pub families: Vec<FamilySums>,
    /// The blocks that move in a step of the fast path come first.
    pub moving: Vec<Moving>,
    /// Which blocks are free to move in the current step of the safe path.
    pub free: Vec<bool>,
    pub step: Vec<f64>,
    pub trial: Vec<f64>,
    pub iterations: usize,
}

/// `K` of each species in an ideal liquid, `exp[(ΔH/R)(1/T − 1/Tm)]`, as many at a time as the machine can.
#[multiversion::multiversion(targets("x86_64+avx2"))]
fn ideal_k(into: &mut [f64], heat_k: &[f64], inverse_melt: &[f64], inverse: f64) {
    for ((k, heat), melt) in into.iter_mut().zip(heat_k).zip(inverse_melt) {
        *k = exponential(heat * (inverse - melt));
    }
}

impl Work {
    /// Buffers for a problem, filled with zeros.
    pub fn new(problem: &Problem) -> Self {
        let blocks = problem.blocks().len();
        Work {
            temperature_k: 0.0,
            ideal_k: vec![0.0; problem.crystallising()],
            ideal_saturation: vec![0.0; problem.crystal_runs().len()],
            class_gamma: vec![1.0; problem.class_delta.len()],
            class_apart: vec![0.0; problem.class_delta.len()],
            liquid: 1.0,
            delta_bar: 0.0,
            solids: vec![0.0; blocks],
            families: vec![FamilySums::default(); blocks],
            moving: vec![Moving::default(); blocks],
            free: vec![false; blocks],
            step: vec![0.0; blocks],
            trial: vec![0.0; blocks],
            iterations: 0,
        }
    }

    /// Evaluates the ideal `K` of every crystallising species.
    pub fn set_temperature(&mut self, problem: &Problem, temperature_k: f64) {
        self.ideal_k.resize(problem.crystallising(), 0.0);
        self.class_gamma.resize(problem.class_delta.len(), 1.0);
        self.class_apart.resize(problem.class_delta.len(), 0.0);
        let blocks = problem.blocks().len();
        self.ideal_saturation.resize(problem.crystal_runs().len(), 0.0);
        for list in [&mut self.solids, &mut self.step, &mut self.trial] {
            list.resize(blocks, 0.0);
        }
        self.families.resize(blocks, FamilySums::default());
        self.free.resize(blocks, false);
        self.moving.resize(blocks, Moving::default());
        self.temperature_k = temperature_k;
        self.iterations = 0;
        ideal_k(&mut self.ideal_k, &problem.heat_k, &problem.inverse_melt, 1.0 / temperature_k);
        for (saturation, run) in self.ideal_saturation.iter_mut().zip(problem.crystal_runs()) {
            let range = run.start..run.end;
            *saturation = problem.moles[range.clone()].iter().zip(&self.ideal_k[range]).map(|(n, k)| n * k).sum();
        }
    }

    /// Sets δ̄ (dimensionless) and with it the activity coefficients.
    pub fn set_delta_bar(&mut self, problem: &Problem, delta_bar: f64) {
        self.delta_bar = delta_bar;
        let classes = self.class_gamma.iter_mut().zip(&mut self.class_apart).zip(&problem.class_delta);
        for ((gamma, apart), delta) in classes {
            *apart = delta - delta_bar;
            *gamma = exponential(*apart * *apart);
        }
    }

    /// Tries the all-liquid state; keeps it and returns true when nothing wants to crystallise.
    pub fn try_all_liquid(&mut self, problem: &Problem) -> bool {
        // The activity coefficients only raise K, so these cheap sums settle most solid mixtures at once.
        if problem.blocks().iter().any(|block| self.ideal_saturation[block.runs()].iter().sum::<f64>() > 1.0) {
            return false;
        }
        let delta_bar = self.delta_bar;
        self.set_delta_bar(problem, problem.overall_delta());
        if problem.blocks().iter().any(|block| self.saturation(problem, block) > 1.0) {
            self.delta_bar = delta_bar;
            return false;
        }
        self.liquid = 1.0;
        self.solids.fill(0.0);
        true
    }

    /// `Σ n K` of a family, with its activity coefficients.
    fn saturation(&self, problem: &Problem, block: &FamilyBlock) -> f64 {
        let runs = problem.runs[block.runs()].iter().zip(&self.ideal_saturation[block.runs()]);
        runs.map(|(run, ideal)| ideal * self.class_gamma[run.class]).sum()
    }

    /// Tries the all-solid state; keeps it and returns true when no liquid can form.
    ///
    /// The excess energy of a regular liquid is never negative, so a mixture that stays solid against the ideal liquid stays
    /// solid. The reverse does not hold: false means that the question is open.
    pub fn try_all_solid(&mut self, problem: &Problem) -> bool {
        if problem.crystallising() < problem.moles.len() {
            return false;
        }
        let mut incipient_liquid = 0.0;
        for (solid, block) in self.trial.iter_mut().zip(problem.blocks()) {
            let range = block.start..block.end;
            *solid = problem.moles[range.clone()].iter().sum();
            for (n, k) in problem.moles[range.clone()].iter().zip(&self.ideal_k[range]) {
                incipient_liquid += n / (k * *solid);
            }
            if incipient_liquid > 1.0 {
                return false;
            }
        }
        self.liquid = 0.0;
        self.solids.copy_from_slice(&self.trial);
        self.set_delta_bar(problem, problem.overall_delta());
        true
    }

    /// Starts from nothing: the solids that all as liquid would leave, and the liquid that those leave.
    ///
    /// Keeps δ̄ as it is. `r_f` rises and is concave in `S_f`, so Newton from the bound `S_f ≥ n_i − L / K_i` (each species
    /// alone) climbs to its root without overshooting.
    pub fn start_cold(&mut self, problem: &Problem) {
        let mut left = 1.0;
        for (block, into) in problem.blocks().iter().zip(&mut self.solids) {
            let mut solid = 0.0_f64;
            let species = || {
                problem.runs[block.runs()].iter().flat_map(|run| {
                    let (range, gamma) = (run.start..run.end, self.class_gamma[run.class]);
                    let moles = problem.moles[range.clone()].iter();
                    moles.zip(&self.ideal_k[range]).map(move |(&n, &k)| (n, k * gamma))
                })
            };
            for (n, k) in species() {
                solid = solid.max(n - 1.0 / k);
            }
            for _ in 0..START_STEPS {
                let (mut residual, mut slope) = (1.0, 0.0);
                for (n, k) in species() {
                    let share = k / (1.0 + k * solid);
                    let in_solid = n * share;
                    residual -= in_solid;
                    slope += in_solid * share;
                }
                if residual >= 0.0 {
                    break;
                }
                solid -= residual / slope;
            }
            *into = solid;
            left -= solid;
        }
        self.liquid = left.max(START_LIQUID);
    }

    /// Evaluates every sum at the current liquid, solids and δ̄ (activity coefficients already set).
    pub fn evaluate(&mut self, problem: &Problem) -> Sums {
        let mut families = std::mem::take(&mut self.families);
        let sums = self.each_family(problem, |index, _, family| families[index] = family);
        self.families = families;
        sums
    }

    /// Evaluates every sum.
    ///
    /// # Arguments
    /// * `see`: is handed those of each block: its position, its solid in moles, the sums.
    #[inline(always)]
    pub fn each_family(&self, problem: &Problem, mut see: impl FnMut(usize, f64, FamilySums)) -> Sums {
        let liquid = self.liquid;
        let inverse_liquid = 1.0 / liquid;
        let mut all = Sums { residual: 1.0, ..Sums::default() };
        let all_liquid = |all: &mut Sums, runs: &[Run]| {
            for run in runs {
                let in_liquid = run.moles * inverse_liquid;
                all.add(in_liquid, in_liquid * inverse_liquid, self.class_apart[run.class]);
            }
        };
        for (index, (block, &solid)) in problem.blocks().iter().zip(&self.solids).enumerate() {
            let mut family = FamilySums { residual: 1.0, ..FamilySums::default() };
            let runs = &problem.runs[block.runs()];
            if solid == 0.0 {
                // Without solid every E is L: an undersaturated family needs no loop over its species.
                let residual = 1.0 - self.saturation(problem, block) * inverse_liquid;
                if residual >= 0.0 {
                    all_liquid(&mut all, runs);
                    see(index, solid, FamilySums { residual, ..family });
                    continue;
                }
            }
            for run in runs {
                // One activity coefficient for all: it is taken out of the sums.
                let gamma = self.class_gamma[run.class];
                let solid = gamma * solid;
                let (mut liquid_sum, mut liquid_slope) = (0.0, 0.0);
                let (mut solid_sum, mut to_liquid, mut to_solid) = (0.0, 0.0, 0.0);
                let range = run.start..run.end;
                for (&n, &k) in problem.moles[range.clone()].iter().zip(&self.ideal_k[range]) {
                    let inverse = 1.0 / (liquid + k * solid);
                    let in_liquid = n * inverse;
                    let in_solid = k * in_liquid;
                    let slope = in_solid * inverse;
                    liquid_sum += in_liquid;
                    liquid_slope += in_liquid * inverse;
                    solid_sum += in_solid;
                    to_liquid += slope;
                    to_solid += k * slope;
                }
                to_liquid *= gamma;
                let apart = self.class_apart[run.class];
                all.add(liquid_sum, liquid_slope, apart);
                family.residual -= gamma * solid_sum;
                family.to_liquid += to_liquid;
                family.to_solid += gamma * gamma * to_solid;
                let moment = apart * to_liquid;
                family.first_moment += moment;
                family.second_moment += apart * moment;
            }
            see(index, solid, family);
        }
        all_liquid(&mut all, &problem.runs[problem.crystal_runs().len()..]);
        all
    }

    /// `K` of species `i` (dimensionless), with its activity coefficient; 0 for one that never crystallises.
    pub fn k(&self, problem: &Problem, i: usize) -> f64 {
        self.ideal_k.get(i).map_or(0.0, |k| k * self.class_gamma[problem.class[i]])
    }

    /// `ln K` of species `i`, with its activity coefficient; minus infinity for one that never crystallises.
    pub fn ln_k(&self, problem: &Problem, i: usize) -> f64 {
        let Some(apart) = problem.class.get(i).and_then(|&class| self.class_apart.get(class)) else {
            return f64::NEG_INFINITY;
        };
        problem.ln_ideal_k(i, self.temperature_k) + apart * apart
    }

    /// Hands over each block with crystals: the caller's number of its family, and the sum of two quantities of its species over what of each is solid.
    #[inline(always)]
    pub fn each_solid(&self, problem: &Problem, whole: [&[f64]; 2], mut see: impl FnMut(usize, [f64; 2])) {
        for (block, &solid) in problem.blocks().iter().zip(&self.solids) {
            if solid == 0.0 {
                continue;
            }
            let mut sums = [0.0; 2];
            for run in &problem.runs[block.runs()] {
                let gamma_solid = self.class_gamma[run.class] * solid;
                let [first, second] = whole.map(|quantity| &quantity[run.start..run.end]);
                for ((k, first), second) in self.ideal_k[run.start..run.end].iter().zip(first).zip(second) {
                    let in_solid = k * gamma_solid;
                    let part = in_solid / (self.liquid + in_solid);
                    sums[0] += part * first;
                    sums[1] += part * second;
                }
            }
            see(block.family, sums);
        }
    }

    fn solid_of(&self, problem: &Problem, i: usize) -> f64 {
        let block = problem.blocks().iter().position(|block| i >= block.start && i < block.end);
        block.map_or(0.0, |index| self.solids[index])
    }

    /// Moles of species `i` in the liquid, per mole of mixture.
    pub fn species_liquid(&self, problem: &Problem, i: usize) -> f64 {
        if i >= problem.crystallising() {
            return problem.species_moles(i);
        }
        problem.moles[i] * self.liquid / (self.liquid + self.k(problem, i) * self.solid_of(problem, i))
    }

    /// Moles of species `i` in its solid solution, per mole of mixture.
    pub fn species_solid(&self, problem: &Problem, i: usize) -> f64 {
        if i >= problem.crystallising() {
            return 0.0;
        }
        let solid = self.k(problem, i) * self.solid_of(problem, i);
        problem.moles[i] * solid / (self.liquid + solid)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_species_at_a_time_give_the_bits_of_one_at_a_time() {
        let of = |from: f64, step: f64| (0..39).map(|i| from + step * f64::from(i)).collect::<Vec<f64>>();
        let (heat_k, melt_k) = (of(5e3, 613.7), of(240.0, 3.3));
        let inverse_melt: Vec<f64> = melt_k.iter().map(|melt_k| 1.0 / melt_k).collect();
        for kelvin in [213.15, 293.15, 333.3, 473.15] {
            let mut together = vec![0.0; heat_k.len()];
            ideal_k(&mut together, &heat_k, &inverse_melt, 1.0 / kelvin);
            let alone = heat_k.iter().zip(&inverse_melt).map(|(heat, melt)| exponential(heat * (1.0 / kelvin - melt)));
            assert!(together.iter().zip(alone).all(|(one, other)| one.to_bits() == other.to_bits()), "{kelvin} K");
        }
    }
}
