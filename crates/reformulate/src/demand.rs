//! Demands on a bar, and how far a bar is from meeting them.
//!
//! | demand | met in a draw when | margin |
//! |---|---|---|
//! | keeps its shape at T | yield stress ≥ load and holding ≥ weeping limit, at T, in use | the smaller logarithm of the two ratios |
//! | takes relief of w | yield stress ≥ c W / w, at release, fresh | logarithm of the ratio |
//! | at least, at most this firm at T | yield stress, or structure against beeswax in oil, at T, in use | logarithm of the ratio |
//! | as firm as a measured bar at T | two: at most [`NOTICEABLE_RATIO`] times softer, at most so much firmer, at T, in use | logarithm of the ratio |
//! | melts on skin | melted share ≥ share, at skin temperature, in use | difference over [`MELTED_SCALE`] points |
//!
//! Each demand is for one temperature, so one equilibrium for each draw decides it: no landmark is looked for.
//!
//! A measured bar has a spread of its own, so that each draw has its own yield stress of it, too. Prediction and measurement together spread too far for
//! a bar to be surely neither softer nor firmer: each side has a confidence of its own, usually an even chance ([`Likeness`]).

use barwright_blend::assess::Workbench;
use barwright_blend::beeswax::NEAT_PERCENT;
use barwright_blend::equilibrium::EquilibriumError;
use barwright_blend::property::NOTICEABLE_RATIO;
use barwright_blend::suitability::yield_kpa_for_feature;
use barwright_blend::{Draw, MeasuredYield, Options, Point, PointRates, Spread};
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
    /// As firm as a bar that was measured, give or take [`NOTICEABLE_RATIO`].
    Measured(Likeness),
}

/// Confidence of a likeness that asks for none, 0 to 1: as likely a little softer as a little firmer.
pub const EVEN_CHANCE: f64 = 0.5;

/// A measured bar to come near to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Likeness {
    /// Its yield stress at the temperature of the demand.
    #[serde(flatten)]
    pub measured: MeasuredYield,
    /// Share of draws that must meet either side, 0 to 1.
    #[serde(default = "even_chance")]
    pub confidence: f64,
}

fn even_chance() -> f64 {
    EVEN_CHANCE
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
    /// No bar has the yield stress or the spread that was measured.
    #[error("a measured firmness of {kpa} kPa with a spread of {ln_sd} is none")]
    NoYieldStress {
        /// kPa.
        kpa: f64,
        /// Standard deviation of its logarithm.
        ln_sd: f64,
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
    /// The two demands on a bar that is as firm as a measured one.
    pub fn like(likeness: Likeness, temperature_c: f64) -> [Demand; 2] {
        let than = Firmness::Measured(likeness);
        [Demand::Firmer { than, temperature_c }, Demand::Softer { than, temperature_c }]
    }

    /// Firmness that it is measured against, and °C.
    fn firmness(&self) -> Option<(Firmness, f64)> {
        match *self {
            Demand::Firmer { than, temperature_c } | Demand::Softer { than, temperature_c } => {
                Some((than, temperature_c))
            }
            Demand::Hold { .. } | Demand::Detail { .. } | Demand::Melts { .. } => None,
        }
    }

    /// Share of draws that must meet it, 0 to 1: of a likeness its own, where that is less.
    ///
    /// # Arguments
    /// * `asked`: share asked of all demands, 0 to 1.
    ///
    /// # Returns
    /// A share, 0 to 1.
    pub fn confidence(&self, asked: f64) -> f64 {
        match self.firmness() {
            Some((Firmness::Measured(likeness), _)) => likeness.confidence.min(asked),
            _ => asked,
        }
    }

    /// What each is measured against, where that differs from draw to draw: the structure of beeswax in oil, or the yield stress of a measured bar, kPa.
    ///
    /// # Errors
    /// As [`Workbench::beeswax_structure`].
    pub(crate) fn references(
        demands: &[Demand],
        bench: &Workbench<'_>,
    ) -> Result<Vec<Option<Spread<f64>>>, EquilibriumError> {
        let reference = |demand: &Demand| match demand.firmness() {
            Some((Firmness::BeeswaxPercent(percent), celsius)) => bench.beeswax_structure(percent, celsius).map(Some),
            Some((Firmness::Measured(like), celsius)) => Ok(Some(like.measured.spread(celsius, bench.draws()))),
            Some((Firmness::Kpa(_), _)) | None => Ok(None),
        };
        demands.iter().map(reference).collect()
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
    /// [`Demand::references`].
    pub references: &'a [Option<Spread<f64>>],
}

impl Measure<'_> {
    /// Refuses demands that no bar can be measured against.
    ///
    /// # Errors
    /// [`DemandError`].
    pub fn check(&self) -> Result<(), DemandError> {
        for (demand, asked) in self.demands.iter().enumerate() {
            match asked.firmness() {
                Some((Firmness::BeeswaxPercent(percent), temperature_c)) => {
                    if !(percent > 0.0 && percent <= NEAT_PERCENT) {
                        return Err(DemandError::NoPercentage { percent });
                    }
                    if self.reference(demand, None) <= 0.0 {
                        return Err(DemandError::BeeswaxIsLiquid { percent, temperature_c });
                    }
                }
                Some((Firmness::Measured(Likeness { measured, .. }), _)) if !measured.is_sound() => {
                    return Err(DemandError::NoYieldStress { kpa: measured.kpa, ln_sd: measured.ln_sd });
                }
                _ => {}
            }
        }
        Ok(())
    }

    /// What a demand is measured against in a draw, see [`Demand::references`].
    fn reference(&self, demand: usize, number: Option<usize>) -> f64 {
        let Some(Some(reference)) = self.references.get(demand) else { return 0.0 };
        number.and_then(|index| reference.drawn.get(index)).copied().unwrap_or(reference.central)
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
                    let beeswax = self.reference(demand, draw.number).max(f64::MIN_POSITIVE);
                    (point.structure / beeswax).min(f64::MAX)
                }
                Firmness::Measured(_) => {
                    let ratio = point.yield_kpa / self.reference(demand, draw.number);
                    if self.demands[demand].wants_less() { ratio / NOTICEABLE_RATIO } else { ratio * NOTICEABLE_RATIO }
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
            Demand::Firmer { than: Firmness::BeeswaxPercent(_), .. } => structure,
            Demand::Softer { than: Firmness::BeeswaxPercent(_), .. } => -structure,
            Demand::Detail { .. } | Demand::Firmer { .. } => firmer,
            Demand::Softer { .. } => -firmer,
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
