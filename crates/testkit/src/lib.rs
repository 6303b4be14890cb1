//! What tests and benches share: random blends from the reference table, and the same equilibrium by a general convex solver.

pub mod peer;
pub mod random;
