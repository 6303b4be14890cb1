//! What a bar must do, in words.

use barwright_blend::Options;
use barwright_blend::property::NOTICEABLE_RATIO;
use barwright_reference::space::{Wish, WishText};
use barwright_reformulate::demand::DemandError;
use barwright_reformulate::{Demand, Firmness};

use crate::firmness::parse_firmness;
use crate::reading::{model_temperature, parse_relief, percent, positive};
use crate::refusal::Fault;
use crate::words::number::{amount, in_hundred};
use crate::words::units::Units;

/// What a demand asks, as the end of a sentence about the bar.
pub(crate) fn words(demand: &Demand, units: Units) -> String {
    let firmness = |than: &Firmness, least: bool| {
        let bound = if least { "at least" } else { "at most" };
        match than {
            Firmness::Kpa(kpa) => format!("{bound} as firm as {}", units.given_stress(*kpa)),
            Firmness::BeeswaxPercent(percent) => {
                format!("{bound} as firm as oil with {} % beeswax", amount(*percent))
            }
            Firmness::Measured(_) => {
                let other = if least { "softer" } else { "firmer" };
                format!("at most {NOTICEABLE_RATIO} times {other} than the bought bar")
            }
        }
    };
    match demand {
        Demand::Hold { temperature_c } => {
            format!("keeps its shape for a day at {}", units.given_degrees(*temperature_c))
        }
        Demand::Detail { relief_mm } => {
            format!("leaves a mould with relief of {} whole", units.given_length(*relief_mm))
        }
        Demand::Firmer { than, temperature_c } => {
            format!("is {} at {}", firmness(than, true), units.given_degrees(*temperature_c))
        }
        Demand::Softer { than, temperature_c } => {
            format!("is {} at {}", firmness(than, false), units.given_degrees(*temperature_c))
        }
        Demand::Melts { percent } => format!("melts by at least {} % on skin", amount(*percent)),
    }
}

/// How sure a bar must be to meet demands, as `90 % confidence`.
pub(crate) fn confidence_words(demands: &[Demand], confidence: f64) -> String {
    let own = demands.iter().map(|demand| demand.confidence(confidence)).find(|own| *own != confidence);
    let own = own.map_or_else(String::new, |own| format!(" ({} for the bought bar)", in_hundred(own)));
    format!("{} confidence{own}", in_hundred(confidence))
}

/// What one wish asks.
pub(crate) enum Asked {
    /// What the bar must do.
    Demands(Vec<Demand>),
    /// What a kilogram may cost, in any currency.
    Price(f64),
    /// As firm as the bar of this file.
    Like(String),
}

/// Reads one wish, as it stands in a space.
pub(crate) fn asked(wish: &WishText) -> Result<Asked, String> {
    let one = |demand: Demand| Asked::Demands(vec![demand]);
    match wish.wish {
        Wish::Hold => model_temperature(&wish.text).map(|temperature_c| one(Demand::Hold { temperature_c })),
        Wish::Detail => parse_relief(&wish.text).map(|relief_mm| one(Demand::Detail { relief_mm })),
        Wish::Firmness => parse_firmness(&wish.text).map(|firmness| Asked::Demands(firmness.0)),
        Wish::Like => Ok(Asked::Like(wish.text.clone())),
        Wish::Skin => percent(&wish.text).map(|percent| one(Demand::Melts { percent })),
        Wish::MaxPrice => positive(&wish.text).map(Asked::Price),
    }
}

/// Returns options whose relief and temperature to hold are those demanded, where they are.
pub(crate) fn options(options: &Options, demands: &[Demand]) -> Options {
    let mut options = options.clone();
    for demand in demands {
        match *demand {
            Demand::Hold { temperature_c } => options.hold_c = temperature_c,
            Demand::Detail { relief_mm } => options.relief_mm = relief_mm,
            Demand::Firmer { .. } | Demand::Softer { .. } | Demand::Melts { .. } => {}
        }
    }
    options
}

/// Says that nothing is demanded.
pub fn none() -> Fault {
    Fault::new("no-demand", "no target given").hint(
        "Say what it must do: `--hold 45C`, `--detail 0.8mm`, `--firmness 30%@25C`, `--skin 60`, `--max-price 12`, `--like market-bar.toml`.",
    )
}

/// Says why a firmness cannot be demanded.
pub(crate) fn unmeasurable(error: DemandError) -> Fault {
    Fault::new("demand", error.to_string()).hint("Ask for more beeswax in the oil, at a lower temperature, or in kPa.")
}
