//! The targets of fuzzing: each takes any bytes and fails by panicking when an answer breaks what must hold of every answer.
//!
//! A target is a plain function, so that libFuzzer (`fuzz/fuzz_targets`) and the driver on stable Rust (`drive`) run the same code.
//! See `fuzz/README.md` for how to run them and how to add one.
//!
//! | targets | bytes are |
//! |---|---|
//! | [`formulas`], [`texts`], [`records`] | a text or a file |
//! | [`page`] | an address and a question to the bench page |
//! | [`assessing`], [`reformulating`], [`bench`](mod@bench), [`learning`] | a recipe for a task: ingredients, amounts, options, drawn by [`task`] |

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a target fails by panicking")]

use std::time::Duration;

pub mod assessing;
pub mod bench;
pub mod claims;
pub mod formulas;
pub mod learning;
pub mod page;
pub mod records;
pub mod reformulating;
pub mod task;
pub mod texts;

/// A target.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    /// Its name: that of its function, of its file in `fuzz_targets` and of its folder in `seeds`.
    pub name: &'static str,
    /// The function; returns a digest of how it went, by which new kinds of input are told from known ones.
    pub run: fn(&[u8]) -> u64,
    /// An input that takes more computing time is a finding.
    pub limit: Duration,
    /// Share of the time it gets.
    pub weight: u32,
}

const fn target(name: &'static str, run: fn(&[u8]) -> u64, limit_s: u64, weight: u32) -> Target {
    Target { name, run, limit: Duration::from_secs(limit_s), weight }
}

/// Every target. Most time is given to what people have tried least.
pub const TARGETS: [Target; 24] = [
    target("formula_inline", formulas::formula_inline, 1, 2),
    target("formula_toml", formulas::formula_toml, 1, 2),
    target("formula_csv", formulas::formula_csv, 1, 2),
    target("formula_rewrite", formulas::formula_rewrite, 1, 3),
    target("lots", texts::lots, 1, 2),
    target("certificate", texts::certificate, 5, 2),
    target("mould", texts::mould, 1, 1),
    target("route", texts::route, 1, 2),
    target("space", texts::space, 1, 2),
    target("bought", texts::bought, 1, 1),
    target("quantities", texts::quantities, 1, 1),
    target("trial_json", texts::trial_json, 1, 1),
    target("learned", texts::learned, 5, 2),
    target("records", records::records, 5, 2),
    target("page", page::page, 65, 3),
    target("assess", assessing::assess, 5, 4),
    target("compare", assessing::compare, 10, 3),
    target("adjust", reformulating::adjust, 60, 12),
    target("swap", reformulating::swap, 20, 8),
    target("explore", reformulating::explore, 20, 4),
    target("pour", bench::pour, 20, 4),
    target("cool", bench::cool, 20, 6),
    target("parcel", bench::parcel, 60, 14),
    target("learn", learning::learn, 60, 16),
];

/// Returns the target of a name.
pub fn called(name: &str) -> Option<&'static Target> {
    TARGETS.iter().find(|target| target.name == name)
}
