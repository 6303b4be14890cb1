//! Solid-liquid equilibrium of a blend: one liquid, any number of crystal families, one solid solution per family (or several, numbered).
//!
//! # Equations
//! With `n_i` moles of species `i`, `L` moles of liquid and `S_f` moles of the solid solution of family `f`:
//!
//! ```text
//! K_i   = γ_i exp[(ΔH_i / R)(1/T − 1/Tm_i)]          x_i^S = K_i x_i^L
//! ln γ_i = (δ_i − δ̄)²,   δ̄ = Σ x_i^L δ_i              (regular liquid; δ = 0 everywhere is the ideal one)
//! E_i   = L + K_i S_f(i)     l_i = n_i L / E_i        s_i = n_i K_i S_f / E_i
//! r_L   = 1 − Σ_i n_i / E_i        = 0 where liquid is present, ≥ 0 where it is not
//! r_f   = 1 − Σ_{i in f} n_i K_i / E_i = 0 where family f is present, ≥ 0 where it is not
//! ```
//!
//! For a given δ̄ these are the optimality conditions of the convex function
//! `Q(L, S) = L + Σ S_f − Σ n_i ln E_i` over `L, S ≥ 0` (the reduced form of the Gibbs-energy minimum, Michelsen 1994).
//! The Hessian is an arrow: families couple only through the liquid.
//!
//! # Why it cannot fail
//! * `Q` is convex, so `convex` (Newton with an active set and a line search) ends at its only minimum.
//! * The excess energy of the liquid is the variance of δ over the liquid. It leaves the total Gibbs energy strictly convex
//!   while `(δ_max − δ_min)² < 2`, which [`Problem::new`] enforces. Then exactly one δ̄ in `[δ_min, δ_max]` agrees with the
//!   liquid it produces, and `nested` brackets it.
//! * `newton` solves for everything at once from the neighbouring solution. It is fast and may give up; then the nested
//!   solver takes over.
//!
//! # Sources
//! Michelsen 1994, Computers chem. Engng 18:545 (the function Q; recalled). Hildebrand and Scott, The Solubility of
//! Nonelectrolytes (regular solutions; recalled).

mod check;
mod convex;
mod derivative;
mod nested;
mod newton;
mod predict;
mod problem;
mod sums;

pub use check::{Residuals, residuals};
pub(crate) use derivative::Change;
pub use problem::{FamilyBlock, Problem, SpeciesAmount};
pub(crate) use problem::{GAS_CONSTANT, Saturation};

use thiserror::Error;

/// Largest residual (mole fractions) at which a solution is accepted.
pub const RESIDUAL_TOLERANCE: f64 = 1e-12;

/// Lowest temperature the solver accepts, K (−60 °C).
pub const LOWEST_TEMPERATURE_K: f64 = 213.15;

/// Highest temperature the solver accepts, K (200 °C).
pub const HIGHEST_TEMPERATURE_K: f64 = 473.15;

/// Largest allowed `(δ_max − δ_min)²`: below 2 the regular liquid never splits in two.
pub(crate) const LARGEST_DELTA_RANGE_SQUARED: f64 = 1.98;

/// Why an equilibrium could not be computed.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum EquilibriumError {
    /// Nothing to melt.
    #[error("the mixture holds no species")]
    Empty,
    /// An amount, molar mass, melting point or heat is not a positive finite number.
    #[error("species {species}: {quantity} = {value} is not a positive finite number")]
    NotPositive {
        /// Position in the list given.
        species: usize,
        /// Which figure.
        quantity: &'static str,
        /// What it was.
        value: f64,
    },
    /// A liquid parameter that is not a number.
    #[error("species {species}: δ = {delta} is not a finite number")]
    NotFinite {
        /// Position in the list given.
        species: usize,
        /// What it was.
        delta: f64,
    },
    /// A crystal family that the caller does not know.
    #[error("species {species}: family number {family} is not below the count of {families}")]
    FamilyOutOfRange {
        /// Position in the list given.
        species: usize,
        /// Its family.
        family: usize,
        /// How many there are.
        families: usize,
    },
    /// The liquid parameters would let the melt split into two liquids, which this model does not describe.
    #[error("liquid parameters span {range_squared:.3}, above the limit {LARGEST_DELTA_RANGE_SQUARED} for one liquid")]
    LiquidSplits {
        /// `(δ_max − δ_min)²`.
        range_squared: f64,
    },
    /// The temperature lies outside the range of the model.
    #[error("temperature {temperature_k} K is outside {LOWEST_TEMPERATURE_K} to {HIGHEST_TEMPERATURE_K} K")]
    TemperatureOutOfRange {
        /// Temperature asked for, K.
        temperature_k: f64,
    },
    /// The safeguarded solver ran out of iterations; never seen on valid input.
    #[error("no equilibrium at {temperature_k} K after {iterations} iterations (residual {residual:e})")]
    NotConverged {
        /// Temperature, K.
        temperature_k: f64,
        /// Iterations spent.
        iterations: usize,
        /// Largest residual reached.
        residual: f64,
    },
}

/// Solves equilibria of one [`Problem`] and keeps its solutions as starting points.
///
/// All buffers are allocated once; [`Solver::solve`] allocates nothing.
#[derive(Debug, Clone)]
pub struct Solver {
    work: sums::Work,
    known: predict::Known,
}

/// A solved equilibrium, read from a [`Solver`].
#[derive(Debug, Clone, Copy)]
pub struct Phases<'a> {
    problem: &'a Problem,
    work: &'a sums::Work,
}

impl Solver {
    /// Prepares buffers for `problem`.
    pub fn new(problem: &Problem) -> Self {
        Solver { work: sums::Work::new(problem), known: predict::Known::default() }
    }

    /// Forgets the last solution, so that the next one starts cold.
    pub fn reset(&mut self) {
        self.known.clear();
    }

    /// Solves the equilibrium of `problem` at `temperature_k`.
    ///
    /// The result does not depend on the starting point beyond [`RESIDUAL_TOLERANCE`].
    ///
    /// # Arguments
    /// * `problem`: the mixture this solver was made for (same species and families; amounts may have changed).
    /// * `temperature_k`: K, within [`LOWEST_TEMPERATURE_K`] to [`HIGHEST_TEMPERATURE_K`].
    ///
    /// # Errors
    /// [`EquilibriumError::TemperatureOutOfRange`]; [`EquilibriumError::NotConverged`] should never be seen.
    ///
    /// # Example
    /// A pure species is solid below its melting point and liquid above it:
    /// ```
    /// use barwright_blend::equilibrium::{Problem, Solver, SpeciesAmount};
    /// // 1,3-distearoyl-2-oleoylglycerol, beta-1: 43.0 °C, 151 kJ/mol (recalled, Sato et al. 1989)
    /// let sos = SpeciesAmount::crystal(1.0, 0.88949, 0, 316.15, 151_000.0);
    /// let problem = Problem::new(&[sos], 1)?;
    /// let mut solver = Solver::new(&problem);
    /// assert_eq!(solver.solve(&problem, 315.0)?.solid_mass_fraction(), 1.0);
    /// assert_eq!(solver.solve(&problem, 317.0)?.solid_mass_fraction(), 0.0);
    /// # Ok::<(), barwright_blend::equilibrium::EquilibriumError>(())
    /// ```
    pub fn solve<'a>(&'a mut self, problem: &'a Problem, temperature_k: f64) -> Result<Phases<'a>, EquilibriumError> {
        if !(LOWEST_TEMPERATURE_K..=HIGHEST_TEMPERATURE_K).contains(&temperature_k) {
            return Err(EquilibriumError::TemperatureOutOfRange { temperature_k });
        }
        self.work.set_temperature(problem, temperature_k);
        let mut solved = self.work.try_all_liquid(problem) || self.work.try_all_solid(problem);
        if !solved && self.known.predict(&mut self.work) {
            solved = newton::solve(&mut self.work, problem);
        }
        if !solved {
            self.work.set_delta_bar(problem, problem.overall_delta());
            self.work.start_cold(problem);
            solved = newton::solve(&mut self.work, problem);
        }
        if !solved {
            nested::solve(&mut self.work, problem)?;
        }
        self.known.keep(&self.work);
        Ok(Phases { problem, work: &self.work })
    }
}

impl Phases<'_> {
    /// Temperature, K.
    pub(crate) fn temperature_k(&self) -> f64 {
        self.work.temperature_k
    }

    /// Moles of liquid per mole of mixture.
    pub fn liquid_moles(&self) -> f64 {
        self.work.liquid
    }

    /// Moles of the solid solutions of `family` per mole of mixture.
    pub fn solid_moles(&self, family: usize) -> f64 {
        let blocks = self.problem.blocks().iter().zip(&self.work.solids);
        blocks.filter(|(block, _)| block.family == family).map(|(_, solid)| solid).sum()
    }

    /// Moles of one solid solution, by its position in [`Problem::blocks`], per mole of mixture.
    pub(crate) fn block_moles(&self, index: usize) -> f64 {
        self.work.solids.get(index).copied().unwrap_or(0.0)
    }

    /// Mole-averaged δ of the liquid, dimensionless.
    pub fn delta_bar(&self) -> f64 {
        self.work.delta_bar
    }

    /// Newton iterations spent.
    pub fn iterations(&self) -> usize {
        self.work.iterations
    }

    /// Moles of species `i` (in the problem's own order) in the liquid, per mole of mixture.
    pub fn species_liquid_moles(&self, i: usize) -> f64 {
        self.work.species_liquid(self.problem, i)
    }

    /// Moles of species `i` (in the problem's own order) in its solid solution, per mole of mixture.
    pub fn species_solid_moles(&self, i: usize) -> f64 {
        self.work.species_solid(self.problem, i)
    }

    /// `ln K_i`, including the activity coefficient, of species `i` in the problem's own order.
    pub fn ln_k(&self, i: usize) -> f64 {
        self.work.ln_k(self.problem, i)
    }

    /// Mass of solid per mass of mixture, 0 to 1.
    pub fn solid_mass_fraction(&self) -> f64 {
        let mut solid_kg = 0.0;
        self.work.each_solid(self.problem, [&self.problem.mass_kg; 2], |_, [kg, _]| solid_kg += kg);
        (solid_kg / self.problem.mean_molar_mass).clamp(0.0, 1.0)
    }

    /// Heat that melting all crystals takes, J/kg of mixture: `Σ s_i ΔH_i / M`, each heat as at its melting point.
    pub(crate) fn latent_j_per_kg(&self) -> f64 {
        let mut latent_k = 0.0;
        self.work.each_solid(self.problem, [&self.problem.moles_heat_k; 2], |_, [heat_k, _]| latent_k += heat_k);
        latent_k * GAS_CONSTANT / self.problem.mean_molar_mass
    }

    /// Writes what has crystallised of each of the caller's families.
    ///
    /// # Arguments
    /// * `fractions`: receives the crystallised mass fraction of each family.
    /// * `melt_k`: receives the mean melting point of the species in those crystals by mass, K; 0 where there are none.
    pub fn family_solids(&self, fractions: &mut Vec<f64>, melt_k: &mut Vec<f64>) {
        for list in [&mut *fractions, &mut *melt_k] {
            list.clear();
            list.resize(self.problem.family_count(), 0.0);
        }
        self.work.each_solid(self.problem, [&self.problem.mass_kg, &self.problem.mass_kg_k], |family, [kg, kg_k]| {
            fractions[family] += kg;
            melt_k[family] += kg_k;
        });
        for (fraction, melt_k) in fractions.iter_mut().zip(melt_k) {
            if *fraction > 0.0 {
                *melt_k /= *fraction;
                *fraction /= self.problem.mean_molar_mass;
            }
        }
    }
}
