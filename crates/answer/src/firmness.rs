//! Reads a demand on firmness from the command line: `80kPa`, `30%@25C`, `20..40%@68F`.

use barwright_blend::beeswax::NEAT_PERCENT;
use barwright_reference::short;
use barwright_reference::temperature::parse_temperature;
use barwright_reformulate::{Demand, Firmness};

use crate::words::units::PSI_KPA;

/// Temperature of a demand that names none, °C.
const USUAL_C: f64 = 20.0;

/// Temperatures a firmness can be asked at, °C.
const ASKED_AT_C: std::ops::RangeInclusive<f64> = -20.0..=60.0;

/// Yield stresses taken, kPa.
const KPA: std::ops::RangeInclusive<f64> = 0.01..=10_000.0;

/// Beeswax in oil taken, %.
const BEESWAX_PERCENT: std::ops::RangeInclusive<f64> = 1.0..=NEAT_PERCENT;

/// How a demand is written.
const HOW: &str = "write `30%@25C` (as firm as oil with 30 % beeswax in it, at 25 °C), `80kPa`, `12psi`, or a range such as `20..40%`";

/// Demands on firmness: at least, at most, or both.
#[derive(Debug, Clone, PartialEq)]
pub struct FirmnessWish(pub Vec<Demand>);

/// Reads a demand on firmness.
///
/// # Errors
/// What is wrong, in one sentence.
pub fn parse_firmness(text: &str) -> Result<FirmnessWish, String> {
    let (amount, at) = text.split_once('@').map_or((text, None), |(amount, at)| (amount, Some(at)));
    let temperature_c = match at {
        None => USUAL_C,
        Some(at) => parse_temperature(at).map_err(|error| format!("{error}; {HOW}"))?,
    };
    if !ASKED_AT_C.contains(&temperature_c) {
        return Err(format!(
            "{} °C is outside {} to {} °C",
            short(temperature_c),
            ASKED_AT_C.start(),
            ASKED_AT_C.end()
        ));
    }
    let amount = amount.trim();
    let digits = amount.trim_end_matches(|letter: char| letter.is_alphabetic() || letter == '%');
    let unit = amount[digits.len()..].to_lowercase();
    let firmness = |number: &str| -> Result<Option<Firmness>, String> {
        let number = number.trim();
        if number.is_empty() {
            return Ok(None);
        }
        let value: f64 = number.parse().map_err(|_| format!("`{number}` is not a number; {HOW}"))?;
        let (found, value, range) = match unit.as_str() {
            "kpa" => (Firmness::Kpa(value), value, KPA),
            "psi" => (Firmness::Kpa(value * PSI_KPA), value * PSI_KPA, KPA),
            "%" | "bwe" => (Firmness::BeeswaxPercent(value), value, BEESWAX_PERCENT),
            "" => return Err(format!("`{text}` has no unit; {HOW}")),
            other => return Err(format!("`{other}` is no unit of firmness; {HOW}")),
        };
        if range.contains(&value) {
            Ok(Some(found))
        } else {
            let harder = matches!(found, Firmness::BeeswaxPercent(percent) if percent > NEAT_PERCENT);
            Err(format!(
                "`{number}` is outside {} to {} {}{}",
                range.start(),
                range.end(),
                if unit == "psi" { "kPa" } else { &unit },
                if harder { "; for a bar harder than beeswax itself, ask in kPa" } else { "" }
            ))
        }
    };
    let (low, high) = match digits.split_once("..") {
        Some((low, high)) => (firmness(low)?, firmness(high)?),
        None => (firmness(digits)?, None),
    };
    let size = |one: Firmness| match one {
        Firmness::Kpa(value) | Firmness::BeeswaxPercent(value) => value,
        Firmness::Measured(likeness) => likeness.measured.kpa,
    };
    if let (Some(low), Some(high)) = (low, high)
        && size(low) >= size(high)
    {
        return Err(format!("`{text}` runs from the greater to the smaller"));
    }
    let demands: Vec<Demand> = (low.map(|than| Demand::Firmer { than, temperature_c }).into_iter())
        .chain(high.map(|than| Demand::Softer { than, temperature_c }))
        .collect();
    if demands.is_empty() { Err(format!("`{text}` says nothing; {HOW}")) } else { Ok(FirmnessWish(demands)) }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn demands_are_read_in_every_unit() {
        let firmer = |than, temperature_c| Demand::Firmer { than, temperature_c };
        let softer = |than, temperature_c| Demand::Softer { than, temperature_c };
        assert_eq!(parse_firmness("80kPa"), Ok(FirmnessWish(vec![firmer(Firmness::Kpa(80.0), 20.0)])));
        assert_eq!(parse_firmness("30 % @ 25C"), Ok(FirmnessWish(vec![firmer(Firmness::BeeswaxPercent(30.0), 25.0)])));
        let range = vec![firmer(Firmness::BeeswaxPercent(20.0), 20.0), softer(Firmness::BeeswaxPercent(40.0), 20.0)];
        assert_eq!(parse_firmness("20..40BWE@68F"), Ok(FirmnessWish(range)));
        assert_eq!(parse_firmness("..40%"), Ok(FirmnessWish(vec![softer(Firmness::BeeswaxPercent(40.0), 20.0)])));
        for text in ["", "80", "kPa", "80bar", "40..20%", "30%@500C", "nan%", "-3kPa", "..", "1e9kPa", "30%@", "%"] {
            assert!(parse_firmness(text).is_err(), "{text}");
        }
        let harder = parse_firmness("150%@25C").unwrap_err();
        assert_eq!(harder, "`150` is outside 1 to 100 %; for a bar harder than beeswax itself, ask in kPa");
    }
}
