//! The chance of anything that can be said of one draw: here that a bar survives a warm van and still glides on skin.
//!
//!     cargo run --release -p barwright --example chance_of_an_event
#![allow(clippy::print_stdout, reason = "it is a program")]

use barwright::prelude::*;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let engine = Engine::builtin()?;
    let bar = Formula::from_parts(&engine.library, [("beeswax", 28.0), ("cocoa butter", 22.0), ("jojoba oil", 50.0)])?;
    let assessment = assess(&engine.library, &engine.model, &bar, &Options::default())?;
    let holds = assessment.probability(|outcome| outcome.hold_c >= Some(43.0));
    let both = assessment.probability(|outcome| outcome.hold_c >= Some(43.0) && outcome.melted_percent >= 60.0);
    println!("holds 43 °C: {:.0} %; holds 43 °C and melts by 60 % on skin: {:.0} %", 100.0 * holds, 100.0 * both);
    Ok(())
}
