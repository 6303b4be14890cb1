//! A delivery with a certificate: the same bar by the table, and by this lot.
//!
//!     cargo run --release -p barwright --example a_lot_with_its_certificate
#![allow(clippy::print_stdout, reason = "it is a program")]

use barwright::blend::certificate::fit_lots;
use barwright::prelude::*;

/// An invented delivery: beeswax that slips at 65 °C, as its certificate says.
const LOTS: &str = "[lot.spring-wax]\nlike = 'beeswax'\nmelt_c = 65.0\n";

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let engine = Engine::builtin()?;
    let (library, _notes) = engine.library.with_lots(LOTS)?;
    let (library, shifts) = fit_lots(&library, &engine.model.parameters)?;
    for shift in &shifts {
        println!("species of the lot shifted by up to {:.1} times what lots vary", shift.most_sd);
    }
    for wax in ["beeswax", "spring-wax"] {
        let bar = Formula::from_parts(&library, [(wax, 30.0), ("sunflower oil", 70.0)])?;
        let assessment = assess(&library, &engine.model, &bar, &Options::default())?;
        if let Some(slip) = assessment.melt.slip_point_c {
            println!("{wax}: slips at {:.1} °C ({:.1} to {:.1})", slip.value, slip.low, slip.high);
        }
    }
    Ok(())
}
