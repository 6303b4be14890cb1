//! Demands on a bar, and how far a bar is from meeting them.
//!
//! | demand | met in a draw when | margin |
//! |---|---|---|
//! | keeps its shape at T | yield stress ≥ load and holding ≥ weeping limit, at T, in use | the smaller logarithm of the two ratios |
//! | takes relief of w | yield stress ≥ c W / w, at release, fresh | logarithm of the ratio |
//! | at least, at most this firm at T | yield stress, or structure against beeswax in oil, at T, in use | logarithm of the ratio |
//! | melts on skin | melted share ≥ share, at skin temperature, in use | difference over [`MELTED_SCALE`] points |
//!
//! Each demand is for one temperature, so one equilibrium for each draw decides it: no landmark is looked for.

use barwright_blend::assess::Workbench;
use barwright_blend::beeswax::NEAT_PERCENT;
use barwright_blend::equilibrium::EquilibriumError;
use barwright_blend::suitability::yield_kpa_for_feature;
use barwright_blend::{Draw, Options, Point, PointRates, Spread};
use barwright_reference::CrystalState;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Points of melted share that count as one unit of margin: about what a unit of ln firmness is worth to a maker (judgement).
pub const MELTED_SCALE: f64 = 20.0;

/// A measure of firmness.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "unit", content = "value")]
pub enum Firmness {
    /// Yield stress, kPa.
    Kpa(f64),
    /// As firm as this much beeswax in liquid oil, mass %: above 0, to 100.
    BeeswaxPercent(f64),
}

/// Why a firmness cannot be demanded.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[non_exhaustive]
pub enum DemandError {
    /// A percentage of beeswax that no oil can hold.
    #[error("no oil has {percent} % of beeswax in it")]
    NoPercentage {
        /// Mass %.
        percent: f64,
    },
    /// The oil with beeswax in it is liquid.
    #[error("oil with {percent} % of beeswax in it is liquid at {temperature_c} °C")]
    BeeswaxIsLiquid {
        /// Mass %.
        percent: f64,
        /// °C.
        temperature_c: f64,
    },
}

/// One demand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "demand")]
pub enum Demand {
    /// Keeps its shape for a day.
    Hold {
        /// °C.
        temperature_c: f64,
    },
    /// Leaves a mould of this relief whole.
    Detail {
        /// Finest relief, mm.
        relief_mm: f64,
    },
    /// At least this firm.
    Firmer {
        /// The firmness.
        than: Firmness,
        /// °C.
        temperature_c: f64,
    },
    /// At most this firm.
    Softer {
        /// The firmness.
        than: Firmness,
        /// °C.
        temperature_c: f64,
    },
    /// Melts on skin.
    Melts {
        /// Share that is liquid at skin temperature, at least, mass %.
        percent: f64,
    },
}

impl Demand {
    /// Beeswax in oil that it is measured against: mass % and °C.
    fn beeswax(&self) -> Option<(f64, f64)> {
        match *self {
            Demand::Firmer { than: Firmness::BeeswaxPercent(percent), temperature_c }
            | Demand::Softer { than: Firmness::BeeswaxPercent(percent), temperature_c } => {
                Some((percent, temperature_c))
            }
            _ => None,
        }
    }

    /// Structure of the beeswax in oil that each is measured against; `None` for those that are not.
    ///
    /// # Errors
    /// As [`Workbench::beeswax_structure`].
    pub(crate) fn beeswax_structures(
        demands: &[Demand],
        bench: &Workbench<'_>,
    ) -> Result<Vec<Option<Spread<f64>>>, EquilibriumError> {
        let structure = |(percent, temperature_c)| bench.beeswax_structure(percent, temperature_c);
        demands.iter().map(|demand| demand.beeswax().map(structure).transpose()).collect()
    }

    /// Crystal state and temperature it is judged at.
    ///
    /// # Arguments
    /// * `options`: states in use and at release, temperature at release.
    /// * `skin_c`: temperature of skin, °C.
    pub(crate) fn spot(&self, options: &Options, skin_c: f64) -> Spot {
        let in_use = |temperature_c| Spot { state: options.state, temperature_c };
        match *self {
            Demand::Hold { temperature_c }
            | Demand::Firmer { temperature_c, .. }
            | Demand::Softer { temperature_c, .. } => in_use(temperature_c),
            Demand::Melts { .. } => in_use(skin_c),
            Demand::Detail { .. } => Spot { state: options.release_state(), temperature_c: options.release_c },
        }
    }

    /// Whether less strength is better.
    pub(crate) fn wants_less(&self) -> bool {
        matches!(self, Demand::Softer { .. })
    }
}

/// Crystal state and temperature at which a demand is judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spot {
    /// Crystal state.
    pub state: CrystalState,
    /// °C.
    pub temperature_c: f64,
}

/// What the demands are measured with.
pub(crate) struct Measure<'a> {
    pub bench: &'a Workbench<'a>,
    pub demands: &'a [Demand],
    /// [`Demand::beeswax_structures`].
    pub beeswax: &'a [Option<Spread<f64>>],
}

impl Measure<'_> {
    /// Refuses demands that no bar can be measured against.
    ///
    /// # Errors
    /// [`DemandError`].
    pub fn check(&self) -> Result<(), DemandError> {
        for (demand, asked) in self.demands.iter().enumerate() {
            let Some((percent, temperature_c)) = asked.beeswax() else { continue };
            if !(percent > 0.0 && percent <= NEAT_PERCENT) {
                return Err(DemandError::NoPercentage { percent });
            }
            if self.beeswax_structure(demand, None) <= 0.0 {
                return Err(DemandError::BeeswaxIsLiquid { percent, temperature_c });
            }
        }
        Ok(())
    }

    /// Structure of the beeswax in oil that a demand is measured against.
    fn beeswax_structure(&self, demand: usize, number: Option<usize>) -> f64 {
        let Some(Some(structure)) = self.beeswax.get(demand) else { return 0.0 };
        number.and_then(|index| structure.drawn.get(index)).copied().unwrap_or(structure.central)
    }

    /// Ratio of the strength to what a demand requires, at its temperature: met from 1 up, or from 1 down when less is wanted. `None` for a
    /// demand on the melted share, which is not one of strength.
    pub fn strength(&self, demand: usize, draw: Draw<'_>, point: &Point) -> Option<f64> {
        let model = draw.model;
        match self.demands[demand] {
            Demand::Hold { .. } => Some((point.yield_kpa / model.load_kpa).min(point.holding / model.weep_below)),
            Demand::Detail { relief_mm } => {
                Some(point.yield_kpa / yield_kpa_for_feature(&self.bench.parameters().detail, model, relief_mm))
            }
            Demand::Firmer { than, .. } | Demand::Softer { than, .. } => Some(match than {
                Firmness::Kpa(kpa) => point.yield_kpa / kpa,
                // Where the oil with beeswax in it is liquid in a draw, a solid bar is firmer beyond measure.
                Firmness::BeeswaxPercent(_) => {
                    let beeswax = self.beeswax_structure(demand, draw.number).max(f64::MIN_POSITIVE);
                    (point.structure / beeswax).min(f64::MAX)
                }
            }),
            Demand::Melts { .. } => None,
        }
    }

    /// Margin (dimensionless) of a demand that is none of strength; `None` for any other.
    pub fn melted_margin(&self, demand: usize, point: &Point) -> Option<f64> {
        match self.demands[demand] {
            Demand::Melts { percent } => Some((100.0 * (1.0 - point.solids) - percent) / MELTED_SCALE),
            _ => None,
        }
    }

    /// Derivative of the margin of a demand with the mass % of an ingredient, at its temperature.
    ///
    /// # Arguments
    /// * `rate`: derivatives of the properties at the point with that mass %.
    pub fn margin_rate(&self, demand: usize, draw: Draw<'_>, point: &Point, rate: &PointRates) -> f64 {
        let model = draw.model;
        let relative = |value: f64, rate: f64| rate / value.max(f64::MIN_POSITIVE);
        let firmer = relative(point.yield_kpa, rate.yield_kpa);
        let structure = relative(point.structure, rate.structure);
        match self.demands[demand] {
            Demand::Hold { .. } if point.yield_kpa / model.load_kpa <= point.holding / model.weep_below => firmer,
            Demand::Hold { .. } => relative(point.holding, rate.holding),
            Demand::Detail { .. } | Demand::Firmer { than: Firmness::Kpa(_), .. } => firmer,
            Demand::Softer { than: Firmness::Kpa(_), .. } => -firmer,
            Demand::Firmer { than: Firmness::BeeswaxPercent(_), .. } => structure,
            Demand::Softer { than: Firmness::BeeswaxPercent(_), .. } => -structure,
            Demand::Melts { .. } => -100.0 * rate.solids / MELTED_SCALE,
        }
    }

    /// Whether the central values meet a demand, at its temperature.
    pub fn met(&self, demand: usize, point: &Point) -> bool {
        match self.strength(demand, self.bench.draw(None), point) {
            Some(ratio) if self.demands[demand].wants_less() => ratio <= 1.0,
            Some(ratio) => ratio >= 1.0,
            None => self.melted_margin(demand, point).is_none_or(|margin| margin >= 0.0),
        }
    }
}
