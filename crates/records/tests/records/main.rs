//! What the records promise: nothing acknowledged is lost, nothing bad gets in, everything comes back.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a test may stop at the first surprise and say what it measured"
)]

mod damage;
mod full;
mod input;
mod kills;
mod many;
mod part_files;
mod refused;
mod support;
mod tables;
mod traces;
mod writers;
