//! A thousand bars of one shelf: the least wax that still holds 43 °C, on one bench for all.
//!
//!     cargo run --release -p barwright --example screen_a_thousand
#![allow(clippy::print_stdout, reason = "it is a program")]

use barwright::prelude::*;

/// Bars along each of the two shares that vary.
const STEPS: usize = 32;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let engine = Engine::builtin()?;
    let options = Options { draws: 16, at_c: vec![25.0], ..Options::default() };
    let bench = Workbench::new(&engine.library, &engine.model, options)?;
    let mut best: Option<(f64, f64, f64)> = None;
    for wax in 0..STEPS {
        for butter in 0..STEPS {
            let (wax, butter) = (15.0 + wax as f64 * 0.8, 10.0 + butter as f64);
            let parts = [("beeswax", wax), ("shea butter", butter), ("sunflower oil", 100.0 - wax - butter)];
            let bar = Formula::from_parts(&engine.library, parts)?;
            let holds = bench.assess(&bar)?.probability(|outcome| outcome.hold_c >= Some(43.0));
            if holds >= 0.75 && best.is_none_or(|(least, ..)| wax < least) {
                best = Some((wax, butter, holds));
            }
        }
    }
    match best {
        Some((wax, butter, holds)) => {
            println!(
                "beeswax {wax:.1} %, shea butter {butter:.0} %: holds 43 °C in {:.0} % of the draws",
                100.0 * holds
            );
        }
        None => println!("none of them holds 43 °C surely enough"),
    }
    Ok(())
}
