//! Beeswax equivalent: the percentage of beeswax in liquid oil that would be as firm at the same temperature.
//!
//! ```text
//! b with φ_eff(b % beeswax, 100 − b % oil, T) = φ_eff(bar, T)
//! ```
//! There is none where beeswax itself is liquid, nor for a bar that is harder than neat beeswax.
//!
//! # Source
//! Our own definition.

use schemars::JsonSchema;
use serde::Serialize;

use crate::interval::Estimate;

/// Beeswax levels of the scale, mass %: from none to neat.
pub(crate) const SCALE_PERCENT: [f64; 7] = [0.0, 1.0, 5.0, 15.0, 35.0, 65.0, NEAT_PERCENT];

/// Level of neat beeswax.
pub(crate) const NEAT_LEVEL: usize = SCALE_PERCENT.len() - 1;

/// Level that is read first: most bars lie beside it.
const FIRST_LEVEL: usize = 4;

/// Neat beeswax, mass %.
pub const NEAT_PERCENT: f64 = 100.0;

/// Stands among the draws for a bar harder than neat beeswax, %: finite, so that quantiles are numbers, and so large that a quantile between it
/// and a percentage lies beyond the scale.
const HARDER_PERCENT: f64 = f64::MAX;

/// The percentage of beeswax in liquid oil that has a given structure: straight lines between the levels.
///
/// # Arguments
/// * `structure`: `φ_eff` of the bar, dimensionless.
/// * `at`: `φ_eff` at a level of [`SCALE_PERCENT`], rising, from 0 at the first; only those around the answer are asked for.
///
/// # Returns
/// Mass %, from 0 to 100; `None` for a structure above that of any level.
///
/// # Errors
/// Those of `at`.
pub(crate) fn percent_of<E>(structure: f64, mut at: impl FnMut(usize) -> Result<f64, E>) -> Result<Option<f64>, E> {
    if structure <= 0.0 {
        return Ok(Some(0.0));
    }
    let mut level = FIRST_LEVEL;
    while at(level)? >= structure {
        level -= 1;
    }
    while at(level + 1)? < structure {
        level += 1;
        if level == NEAT_LEVEL {
            return Ok(None);
        }
    }
    let (below, above) = (at(level)?, at(level + 1)?);
    let (low, high) = (SCALE_PERCENT[level], SCALE_PERCENT[level + 1]);
    Ok(Some(low + (structure - below) / (above - below) * (high - low)))
}

/// The structure of a percentage of beeswax in oil, dimensionless: the inverse of [`percent_of`].
///
/// # Arguments
/// * `percent`: beeswax, mass %; above 100 it is that of neat beeswax.
/// * `at`: as for [`percent_of`].
///
/// # Errors
/// Those of `at`.
pub(crate) fn structure_of<E>(percent: f64, mut at: impl FnMut(usize) -> Result<f64, E>) -> Result<f64, E> {
    let percent = percent.clamp(0.0, NEAT_PERCENT);
    let above = SCALE_PERCENT.partition_point(|&one| one < percent).clamp(1, NEAT_LEVEL);
    let (low, high) = (SCALE_PERCENT[above - 1], SCALE_PERCENT[above]);
    let below = at(above - 1)?;
    Ok(below + (at(above)? - below) * (percent - low) / (high - low))
}

/// Firmness of a bar as a beeswax equivalent, with its 90 % interval.
///
/// As JSON it is two keys of the object it stands in: `beeswax_equivalent_percent`, an [`Estimate`], where there is a percentage; and
/// `beeswax_equivalent`, whose `status` is `percent`, `harder_than_beeswax` or `beeswax_is_liquid`. Where the interval of a percentage goes on beyond
/// neat beeswax, its `high` is 100 and the status stands beside `"high_end": "harder_than_beeswax"`. Where the interval of a bar harder
/// than beeswax begins below it, `low_percent` is its lower end.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(into = "Written")]
#[schemars(with = "Written")]
pub enum BeeswaxEquivalent {
    /// As firm as liquid oil with this much beeswax in it, mass %.
    Percent {
        /// By the central model.
        value: f64,
        /// Lower end of the interval.
        low: f64,
        /// Upper end; `None` where it is harder than neat beeswax.
        high: Option<f64>,
    },
    /// Harder than neat beeswax.
    HarderThanBeeswax {
        /// Lower end of the interval, mass % of beeswax in oil; `None` where that is also harder than neat beeswax.
        low: Option<f64>,
    },
    /// Neat beeswax is liquid: no percentage of it measures a bar.
    BeeswaxIsLiquid,
}

impl BeeswaxEquivalent {
    /// Summarises the draws.
    ///
    /// # Arguments
    /// * `liquid`: whether neat beeswax is liquid by the central model.
    /// * `percent`: [`percent_of`] by the central model.
    /// * `drawn`: the same in each draw. A solid bar is harder than beeswax in the draws in which that is liquid.
    pub(crate) fn from_draws(liquid: bool, percent: Option<f64>, drawn: impl Iterator<Item = Option<f64>>) -> Self {
        if liquid {
            return BeeswaxEquivalent::BeeswaxIsLiquid;
        }
        let placed = |percent: Option<f64>| percent.unwrap_or(HARDER_PERCENT);
        let on_scale = |percent: f64| (percent <= NEAT_PERCENT).then_some(percent);
        let Estimate { value, low, high } = Estimate::from_draws(placed(percent), drawn.map(placed).collect());
        match on_scale(value) {
            Some(value) => BeeswaxEquivalent::Percent { value, low, high: on_scale(high) },
            None => BeeswaxEquivalent::HarderThanBeeswax { low: on_scale(low) },
        }
    }

    /// The percentage, where there is one; its upper end is 100 % where the interval goes on beyond neat beeswax.
    pub fn percent(&self) -> Option<Estimate> {
        match *self {
            BeeswaxEquivalent::Percent { value, low, high } => {
                Some(Estimate { value, low, high: high.unwrap_or(NEAT_PERCENT) })
            }
            BeeswaxEquivalent::HarderThanBeeswax { .. } | BeeswaxEquivalent::BeeswaxIsLiquid => None,
        }
    }
}

/// Status of a beeswax equivalent, as JSON.
#[derive(Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum Standing {
    Percent,
    HarderThanBeeswax,
    BeeswaxIsLiquid,
}

/// The keys of a [`BeeswaxEquivalent`].
#[derive(Serialize, JsonSchema)]
struct Written {
    #[serde(skip_serializing_if = "Option::is_none")]
    beeswax_equivalent_percent: Option<Estimate>,
    beeswax_equivalent: WrittenStatus,
}

/// Meaning of its figure.
#[derive(Serialize, JsonSchema)]
struct WrittenStatus {
    status: Standing,
    #[serde(skip_serializing_if = "Option::is_none")]
    high_end: Option<Standing>,
    #[serde(skip_serializing_if = "Option::is_none")]
    low_percent: Option<f64>,
}

impl From<BeeswaxEquivalent> for Written {
    fn from(one: BeeswaxEquivalent) -> Self {
        let (status, high_end, low_percent) = match one {
            BeeswaxEquivalent::Percent { high: Some(_), .. } => (Standing::Percent, None, None),
            BeeswaxEquivalent::Percent { high: None, .. } => {
                (Standing::Percent, Some(Standing::HarderThanBeeswax), None)
            }
            BeeswaxEquivalent::HarderThanBeeswax { low } => (Standing::HarderThanBeeswax, None, low),
            BeeswaxEquivalent::BeeswaxIsLiquid => (Standing::BeeswaxIsLiquid, None, None),
        };
        Written {
            beeswax_equivalent_percent: one.percent(),
            beeswax_equivalent: WrittenStatus { status, high_end, low_percent },
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const SCALE: [f64; 7] = [0.0, 0.01, 0.05, 0.15, 0.35, 0.65, 1.0];

    const LIQUID: [f64; 7] = [0.0; 7];

    fn percent(scale: [f64; 7], structure: f64) -> Option<f64> {
        percent_of(structure, |level| Ok::<_, ()>(scale[level])).unwrap()
    }

    #[test]
    fn the_scale_reads_back_its_own_points_and_ends_at_neat_beeswax() {
        let structure = |percent: f64| structure_of(percent, |level| Ok::<_, ()>(SCALE[level])).unwrap();
        for (level, structure) in SCALE_PERCENT.into_iter().zip(SCALE) {
            assert!((percent(SCALE, structure).unwrap() - level).abs() < 1e-9);
        }
        for one in [0.5, 3.0, 40.0, 99.9] {
            assert!((percent(SCALE, structure(one)).unwrap() - one).abs() < 1e-9);
        }
        assert!((structure(250.0) - 1.0).abs() < 1e-12);
        assert!((percent(SCALE, 0.25).unwrap() - 25.0).abs() < 1e-9);
        assert_eq!(percent(SCALE, 0.0), Some(0.0));
        for structure in [1.0 + 1e-9, 1.5, 1e300] {
            assert_eq!(percent(SCALE, structure), None);
        }
    }

    #[test]
    fn where_beeswax_is_molten_anything_solid_is_beyond_the_scale() {
        assert_eq!(percent(LIQUID, 0.1), None);
        assert_eq!(percent(LIQUID, 0.0), Some(0.0));
    }

    #[test]
    fn most_bars_need_two_levels_and_none_a_level_twice_removed() {
        for (structure, levels) in
            [(0.2, vec![3, 4]), (0.5, vec![4, 5]), (0.9, vec![4, 5, 6]), (0.1, vec![2, 3, 4]), (2.0, vec![4, 5, 6])]
        {
            let mut read = Vec::new();
            let mut at = |level: usize| {
                read.push(level);
                Ok::<_, ()>(SCALE[level])
            };
            percent_of(structure, &mut at).unwrap();
            read.sort_unstable();
            read.dedup();
            assert_eq!(read, levels, "{structure}");
        }
        assert_eq!(percent_of(0.2, |_| Err::<f64, _>("refused")), Err("refused"));
    }

    /// The equivalent of draws from one percentage to another, in steps of one; draws above 100 are harder than beeswax.
    fn drawn(liquid: bool, value: u32, from: u32, to: u32) -> BeeswaxEquivalent {
        let on_scale = |percent: u32| (percent <= 100).then_some(f64::from(percent));
        BeeswaxEquivalent::from_draws(liquid, on_scale(value), (from..=to).map(on_scale))
    }

    #[test]
    fn an_interval_may_begin_and_end_beyond_neat_beeswax() {
        let BeeswaxEquivalent::Percent { value, low, high: Some(high) } = drawn(false, 50, 0, 100) else {
            unreachable!("all of it is on the scale")
        };
        assert!(value == 50.0 && (low - 5.0).abs() < 1.0 && (high - 95.0).abs() < 1.0, "{low} {high}");
        let BeeswaxEquivalent::Percent { value, low, high: None } = drawn(false, 90, 70, 110) else {
            unreachable!("the upper end is not on the scale")
        };
        assert!(value == 90.0 && (low - 72.0).abs() < 1.0, "{low}");
        let BeeswaxEquivalent::HarderThanBeeswax { low: Some(low) } = drawn(false, 110, 80, 140) else {
            unreachable!("the lower end is on the scale")
        };
        assert!((low - 83.0).abs() < 1.0, "{low}");
        assert_eq!(drawn(false, 150, 110, 190), BeeswaxEquivalent::HarderThanBeeswax { low: None });
        assert_eq!(drawn(true, 50, 0, 100), BeeswaxEquivalent::BeeswaxIsLiquid);
        // Without draws, and where the central model is below or above all of them.
        let alone = BeeswaxEquivalent::from_draws(false, Some(40.0), std::iter::empty());
        assert_eq!(alone, BeeswaxEquivalent::Percent { value: 40.0, low: 40.0, high: Some(40.0) });
        assert_eq!(drawn(false, 60, 110, 190), BeeswaxEquivalent::Percent { value: 60.0, low: 60.0, high: None });
        assert!(matches!(drawn(false, 150, 40, 60), BeeswaxEquivalent::HarderThanBeeswax { low: Some(_) }));
    }

    #[test]
    fn json_has_a_percentage_or_says_why_not() {
        for (one, json) in [
            (
                BeeswaxEquivalent::Percent { value: 40.0, low: 30.0, high: Some(50.0) },
                r#"{"beeswax_equivalent_percent":{"value":40.0,"low":30.0,"high":50.0},"beeswax_equivalent":{"status":"percent"}}"#,
            ),
            (
                BeeswaxEquivalent::Percent { value: 90.0, low: 60.0, high: None },
                r#"{"beeswax_equivalent_percent":{"value":90.0,"low":60.0,"high":100.0},"beeswax_equivalent":{"status":"percent","high_end":"harder_than_beeswax"}}"#,
            ),
            (
                BeeswaxEquivalent::HarderThanBeeswax { low: Some(80.0) },
                r#"{"beeswax_equivalent":{"status":"harder_than_beeswax","low_percent":80.0}}"#,
            ),
            (
                BeeswaxEquivalent::HarderThanBeeswax { low: None },
                r#"{"beeswax_equivalent":{"status":"harder_than_beeswax"}}"#,
            ),
            (BeeswaxEquivalent::BeeswaxIsLiquid, r#"{"beeswax_equivalent":{"status":"beeswax_is_liquid"}}"#),
        ] {
            assert_eq!(serde_json::to_string(&one).unwrap(), json);
        }
    }
}
