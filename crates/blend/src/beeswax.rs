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

/// Beeswax levels at which the scale is laid, mass %: the last is neat beeswax.
pub const SCALE_PERCENT: [f64; 6] = [1.0, 5.0, 15.0, 35.0, 65.0, NEAT_PERCENT];

/// Neat beeswax, mass %.
pub const NEAT_PERCENT: f64 = 100.0;

/// Stands among the draws for a bar harder than neat beeswax, %: finite, so that quantiles are numbers, and so large that a quantile between it
/// and a percentage lies beyond the scale.
const HARDER_PERCENT: f64 = f64::MAX;

/// Structure of beeswax in oil at one temperature, in one draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeeswaxScale {
    /// `φ_eff` at each level of [`SCALE_PERCENT`].
    pub structure: [f64; SCALE_PERCENT.len()],
}

impl BeeswaxScale {
    /// A scale on which nothing is solid yet.
    pub(crate) const LIQUID: BeeswaxScale = BeeswaxScale { structure: [0.0; SCALE_PERCENT.len()] };

    /// Whether neat beeswax is liquid.
    pub(crate) fn is_liquid(&self) -> bool {
        let [.., neat] = self.structure;
        neat <= 0.0
    }

    /// Returns the percentage of beeswax in liquid oil that has a given structure: straight lines between the levels.
    ///
    /// # Arguments
    /// * `structure`: `φ_eff` of the bar, dimensionless.
    ///
    /// # Returns
    /// Mass %, from 0 to 100; `None` for a structure above that of any level.
    ///
    /// # Example
    /// ```
    /// use barwright_blend::beeswax::BeeswaxScale;
    /// let scale = BeeswaxScale { structure: [0.01, 0.05, 0.15, 0.35, 0.65, 1.0] };
    /// assert_eq!(scale.percent(0.25), Some(25.0));
    /// assert_eq!(scale.percent(1.5), None);
    /// ```
    pub fn percent(&self, structure: f64) -> Option<f64> {
        if structure <= 0.0 {
            return Some(0.0);
        }
        let (mut below_percent, mut below) = (0.0, 0.0);
        for (&percent, &at) in SCALE_PERCENT.iter().zip(&self.structure) {
            if structure <= at {
                return Some(below_percent + (structure - below) / (at - below) * (percent - below_percent));
            }
            (below_percent, below) = (percent, at);
        }
        None
    }

    /// Returns the structure of a percentage of beeswax in oil: the inverse of [`BeeswaxScale::percent`].
    ///
    /// # Arguments
    /// * `percent`: beeswax, mass %, up to 100.
    ///
    /// # Returns
    /// `φ_eff`, dimensionless; that of neat beeswax above 100 %.
    pub fn structure_of(&self, percent: f64) -> f64 {
        let (mut below_percent, mut below) = (0.0, 0.0);
        for (&at_percent, &at) in SCALE_PERCENT.iter().zip(&self.structure) {
            if percent <= at_percent {
                return below + (at - below) * (percent - below_percent) / (at_percent - below_percent);
            }
            (below_percent, below) = (at_percent, at);
        }
        below
    }
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
    /// * `percent`: [`BeeswaxScale::percent`] by the central model.
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

    const SCALE: BeeswaxScale = BeeswaxScale { structure: [0.01, 0.05, 0.15, 0.35, 0.65, 1.0] };

    #[test]
    fn the_scale_reads_back_its_own_points_and_ends_at_neat_beeswax() {
        for (percent, structure) in SCALE_PERCENT.into_iter().zip(SCALE.structure) {
            assert!((SCALE.percent(structure).unwrap() - percent).abs() < 1e-9);
        }
        for percent in [0.5, 3.0, 40.0, 99.9] {
            assert!((SCALE.percent(SCALE.structure_of(percent)).unwrap() - percent).abs() < 1e-9);
        }
        assert!((SCALE.percent(0.25).unwrap() - 25.0).abs() < 1e-9);
        assert_eq!(SCALE.percent(0.0), Some(0.0));
        for structure in [1.0 + 1e-9, 1.5, 1e300] {
            assert_eq!(SCALE.percent(structure), None);
        }
    }

    #[test]
    fn where_beeswax_is_molten_anything_solid_is_beyond_the_scale() {
        assert!(BeeswaxScale::LIQUID.is_liquid() && !SCALE.is_liquid());
        assert_eq!(BeeswaxScale::LIQUID.percent(0.1), None);
        assert_eq!(BeeswaxScale::LIQUID.percent(0.0), Some(0.0));
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
