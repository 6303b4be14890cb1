//! The properties that bars are compared by.

use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Serialize, Serializer};

/// A difference of temperature that a maker would notice, K (judgement).
pub const NOTICEABLE_K: f64 = 2.0;

/// A difference of the melted share that a maker would notice, points (judgement).
pub const NOTICEABLE_POINTS: f64 = 5.0;

/// A ratio of firmness, or of relief, that a maker would notice (judgement).
pub const NOTICEABLE_RATIO: f64 = 1.3;

/// A difference of the graininess index that a maker would notice (judgement).
const NOTICEABLE_GRAIN: f64 = 0.15;

/// A property that bars are compared by; written and serialised as its JSON key.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Property {
    /// Highest temperature at which the bar keeps its shape for a day.
    Hold,
    /// Slip point.
    SlipPoint,
    /// Softening onset.
    Softening,
    /// Share melted on skin.
    SkinMelted,
    /// Index of graininess.
    GrainRisk,
    /// Finest relief that leaves the mould whole.
    FinestFeature,
    /// Yield stress at a temperature.
    YieldStress {
        /// °C.
        at_c: f64,
    },
}

/// A difference that a maker would notice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// Of the value itself, in its unit.
    Absolute(f64),
    /// A ratio of two values: the property is compared by its logarithm.
    Ratio(f64),
}

impl Property {
    /// Unit of its values; empty for an index.
    pub fn unit(self) -> &'static str {
        match self {
            Property::Hold | Property::SlipPoint | Property::Softening => "°C",
            Property::SkinMelted => "%",
            Property::GrainRisk => "",
            Property::FinestFeature => "mm",
            Property::YieldStress { .. } => "kPa",
        }
    }

    /// What it is called in a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Property::Hold => "the temperature up to which the shape is kept",
            Property::SlipPoint => "slip point",
            Property::Softening => "where half the firmness is gone",
            Property::SkinMelted => "share melted on skin",
            Property::GrainRisk => "risk of grain",
            Property::FinestFeature => "finest relief",
            Property::YieldStress { .. } => "firmness",
        }
    }

    /// Whether a bar with less of it is named first: the finer relief, the smaller risk. Of all others the firmer, warmer, or softer on skin.
    pub fn lowest_first(self) -> bool {
        matches!(self, Property::GrainRisk | Property::FinestFeature)
    }

    /// A difference that a maker would notice.
    pub fn step(self) -> Step {
        match self {
            Property::Hold | Property::SlipPoint | Property::Softening => Step::Absolute(NOTICEABLE_K),
            Property::SkinMelted => Step::Absolute(NOTICEABLE_POINTS),
            Property::GrainRisk => Step::Absolute(NOTICEABLE_GRAIN),
            Property::FinestFeature | Property::YieldStress { .. } => Step::Ratio(NOTICEABLE_RATIO),
        }
    }
}

impl fmt::Display for Property {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Property::Hold => f.write_str("hold_c"),
            Property::SlipPoint => f.write_str("slip_point_c"),
            Property::Softening => f.write_str("softening_c"),
            Property::SkinMelted => f.write_str("skin_melted_percent"),
            Property::GrainRisk => f.write_str("grain_risk"),
            Property::FinestFeature => f.write_str("finest_feature_mm"),
            Property::YieldStress { at_c } => write!(f, "yield_stress_kpa_at_{at_c}c"),
        }
    }
}

impl JsonSchema for Property {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Property".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        String::json_schema(generator)
    }
}

impl Serialize for Property {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
