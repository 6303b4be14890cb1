//! What tests and benches share: random blends from the reference table, and whether the figures of an answer are figures.
#![allow(dead_code, reason = "no test or bench uses all of it")]

pub mod figures;
pub mod random;
