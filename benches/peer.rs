//! The equilibrium as a Gibbs-energy minimum, handed to the general convex solver `clarabel` (exponential cones).
//!
//! ```text
//! minimise  Σ l_i ln(l_i / L) + Σ s_i ln(s_i / S_f) − Σ s_i ln K_i     over  l_i + s_i = n_i,  l, s ≥ 0
//! ```
//! with `L = Σ l_i`, `S_f = Σ_{i in f} s_i`. Each `y ln(y / z) ≤ t` is the exponential cone `(−t, y, z)`. The activity
//! coefficients of the melt are constants here: those of a given δ̄.

use barwright_blend::equilibrium::Problem;
use clarabel::algebra::CscMatrix;
use clarabel::solver::{
    DefaultSettingsBuilder, DefaultSolver, IPSolver, SolverStatus,
    SupportedConeT::{self, ExponentialConeT},
};

/// Accuracy asked of the general solver.
const TOLERANCE: f64 = 1e-13;

/// Accuracy at which its answer is still taken when rounding keeps it from the one asked for.
const REDUCED_TOLERANCE: f64 = 1e-9;

/// Returns the solid moles of each species (own order of the problem), or `None` when the general solver gave up.
pub fn solid_moles(problem: &Problem, temperature_k: f64, delta_bar: f64) -> Option<Vec<f64>> {
    let crystallising = problem.crystallising();
    let count = problem.len();
    // Variables: s_i of the crystallising species, t_i of every liquid species, u_i of every solid one.
    let liquid_bound = |i: usize| crystallising + i;
    let solid_bound = |i: usize| crystallising + count + i;
    let variables = 2 * crystallising + count;
    let mut cost = vec![0.0; variables];
    let (mut rows, mut columns, mut values, mut right) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut cones: Vec<SupportedConeT<f64>> = Vec::new();
    let mut entry = |row: usize, column: usize, value: f64| {
        rows.push(row);
        columns.push(column);
        values.push(value);
    };
    // Cone rows hold `right − A x`.
    let mut row = 0;
    for i in 0..count {
        cost[liquid_bound(i)] = 1.0;
        entry(row, liquid_bound(i), 1.0);
        right.push(0.0);
        if i < crystallising {
            entry(row + 1, i, 1.0);
        }
        right.push(problem.species_moles(i));
        for solid in 0..crystallising {
            entry(row + 2, solid, 1.0);
        }
        right.push(1.0);
        cones.push(ExponentialConeT());
        row += 3;
    }
    for block in problem.blocks() {
        for i in block.start..block.end {
            let apart = problem.species_delta(i) - delta_bar;
            cost[i] = -(problem.ln_ideal_k(i, temperature_k) + apart * apart);
            cost[solid_bound(i)] = 1.0;
            entry(row, solid_bound(i), 1.0);
            right.push(0.0);
            entry(row + 1, i, -1.0);
            right.push(0.0);
            for member in block.start..block.end {
                entry(row + 2, member, -1.0);
            }
            right.push(0.0);
            cones.push(ExponentialConeT());
            row += 3;
        }
    }
    let quadratic = CscMatrix::zeros((variables, variables));
    let linear = CscMatrix::new_from_triplets(row, variables, rows, columns, values);
    let settings = DefaultSettingsBuilder::default()
        .verbose(false)
        .max_iter(500)
        .tol_gap_abs(TOLERANCE)
        .tol_gap_rel(TOLERANCE)
        .tol_feas(TOLERANCE)
        .reduced_tol_gap_abs(REDUCED_TOLERANCE)
        .reduced_tol_gap_rel(REDUCED_TOLERANCE)
        .reduced_tol_feas(REDUCED_TOLERANCE)
        .build()
        .ok()?;
    let mut solver = DefaultSolver::new(&quadratic, &cost, &linear, &right, &cones, settings).ok()?;
    solver.solve();
    let usable = matches!(solver.solution.status, SolverStatus::Solved | SolverStatus::AlmostSolved);
    usable.then(|| solver.solution.x[..crystallising].to_vec())
}
