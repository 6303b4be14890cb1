//! One bar: the figures of its melting and firmness, each with its 90 % interval.
//!
//!     cargo run --release -p barwright --example assess_one_bar
#![allow(clippy::print_stdout, reason = "it is a program")]

use barwright::prelude::*;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let engine = Engine::builtin()?;
    let parts = [("beeswax", 26.0), ("mango butter", 22.0), ("shea butter", 10.0), ("sunflower oil", 42.0)];
    let bar = Formula::from_parts(&engine.library, parts)?.named("Leaf bar");
    let assessment = assess(&engine.library, &engine.model, &bar, &Options::default())?;
    let shown = |what: &str, estimate: Option<Estimate>, unit: &str| match estimate {
        Some(one) => println!("{what}: {:.1} {unit} ({:.1} to {:.1})", one.value, one.low, one.high),
        None => println!("{what}: none"),
    };
    shown("slip point", assessment.melt.slip_point_c, "°C");
    shown("keeps its shape for a day up to", assessment.warmth.hold_c, "°C");
    for firmness in &assessment.firmness {
        shown(&format!("yield stress at {} °C", firmness.temperature_c), Some(firmness.yield_stress_kpa), "kPa");
    }
    Ok(())
}
