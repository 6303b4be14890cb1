//! Two bars side by side: what differs by enough to notice, and how surely.
//!
//!     cargo run --release -p barwright --example compare_two
#![allow(clippy::print_stdout, reason = "it is a program")]

use barwright::prelude::*;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let engine = Engine::builtin()?;
    let bar = |name: &str, wax: f64, oil: f64| -> Result<Formula, Diagnostics> {
        let parts = [("beeswax", wax), ("shea butter", 30.0), ("sunflower oil", oil)];
        Ok(Formula::from_parts(&engine.library, parts)?.named(name))
    };
    let bars = [bar("winter", 25.0, 45.0)?, bar("summer", 35.0, 35.0)?];
    // The same draws of lots and model for both: pairs are told apart far better than each is known.
    let comparison = compare(&engine.library, &engine.model, &bars, &Options::default())?;
    for difference in comparison.differences.iter().filter(|difference| difference.decisive) {
        let highest = difference.probability_highest.iter().zip(&bars).max_by(|a, b| a.0.total_cmp(b.0));
        if let Some((probability, bar)) = highest {
            println!("{}: highest in {} ({:.0} %)", difference.property, bar.name, 100.0 * probability);
        }
    }
    Ok(())
}
