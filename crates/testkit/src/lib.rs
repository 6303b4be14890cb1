//! What tests and benches share: random blends from the reference table, the same equilibrium by a general convex solver, and whether the figures of an
//! answer are figures.

pub mod figures;
pub mod peer;
pub mod random;

/// Whether statistics are asked for at their full size, as before a release: `BARWRIGHT_FULL=1`. Every day a sample is enough, one that still fails when what
/// it looks at is wrong.
pub fn full() -> bool {
    std::env::var_os("BARWRIGHT_FULL").is_some_and(|value| value == "1")
}
