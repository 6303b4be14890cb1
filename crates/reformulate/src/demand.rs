//! What is asked of a bar, and how far a bar is from it.
//!
//! | demand | met in a draw when | margin |
//! |---|---|---|
//! | keeps its shape at T | yield stress ≥ load and holding ≥ weeping limit, at T, in use | the smaller logarithm of the two ratios |
//! | takes relief of w | yield stress ≥ c W / w, at release, fresh | logarithm of the ratio |
//! | at least, at most so firm at T | yield stress, or structure against beeswax in oil, at T, in use | logarithm of the ratio |
//! | melts on skin | melted share ≥ share, at skin temperature, in use | difference over [`MELTED_SCALE`] points |
//!
//! Each is asked at one temperature, so one equilibrium for each draw answers it: no landmark is looked for.

use barwright_blend::Parameters;
use barwright_blend::assess::Workbench;
use barwright_blend::landmarks::Point;
use barwright_blend::suitability::yield_kpa_for_feature;
use serde::Serialize;

/// Points of melted share that count as one unit of margin: about what a unit of ln firmness is worth to a maker (judgement).
pub const MELTED_SCALE: f64 = 20.0;

/// A measure of firmness.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "unit", content = "value")]
pub enum Firmness {
    /// Yield stress, kPa.
    Kpa(f64),
    /// As firm as this much beeswax in liquid oil, mass %.
    BeeswaxPercent(f64),
}

/// One demand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
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
    /// At least so firm.
    Firmer {
        /// Than this.
        than: Firmness,
        /// °C.
        temperature_c: f64,
    },
    /// At most so firm.
    Softer {
        /// Than this.
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
    /// Temperatures whose beeswax scale it needs.
    pub(crate) fn scale_c(&self) -> Option<f64> {
        match *self {
            Demand::Firmer { than: Firmness::BeeswaxPercent(_), temperature_c }
            | Demand::Softer { than: Firmness::BeeswaxPercent(_), temperature_c } => Some(temperature_c),
            _ => None,
        }
    }

    /// Whether less strength is better.
    pub(crate) fn wants_less(&self) -> bool {
        matches!(self, Demand::Softer { .. })
    }
}

/// What demands are measured with: a workbench whose temperatures are the [`Demand::scale_c`] of the demands, in their order.
pub(crate) struct Measure<'a> {
    pub bench: &'a Workbench<'a>,
    pub parameters: &'a Parameters,
    pub demands: &'a [Demand],
}

impl Measure<'_> {
    /// Strength over what a demand asks for, at the point it is asked at: met from 1 up, or from 1 down when less is wanted. `None` for a
    /// demand on the melted share, which is met at no strength.
    pub fn strength(&self, demand: usize, draw: Option<usize>, point: &Point) -> Option<f64> {
        let model = self.bench.model_of(draw);
        match self.demands[demand] {
            Demand::Hold { .. } => Some((point.yield_kpa / model.load_kpa).min(point.holding / model.weep_below)),
            Demand::Detail { relief_mm } => {
                Some(point.yield_kpa / yield_kpa_for_feature(&self.parameters.detail, model, relief_mm))
            }
            Demand::Firmer { than, .. } | Demand::Softer { than, .. } => Some(match than {
                Firmness::Kpa(kpa) => point.yield_kpa / kpa,
                Firmness::BeeswaxPercent(percent) => {
                    let at = self.demands[..demand].iter().filter(|one| one.scale_c().is_some()).count();
                    point.structure / self.bench.beeswax_structure(percent, at, draw).max(f64::MIN_POSITIVE)
                }
            }),
            Demand::Melts { .. } => None,
        }
    }

    /// Whether the central values meet a demand, at the point it is asked at.
    pub fn met(&self, demand: usize, point: &Point) -> bool {
        let asked = self.demands[demand];
        match (self.strength(demand, None, point), asked) {
            (Some(ratio), _) if asked.wants_less() => ratio <= 1.0,
            (Some(ratio), _) => ratio >= 1.0,
            (None, Demand::Melts { percent }) => melted_percent(point) >= percent,
            (None, _) => true,
        }
    }
}

/// Melted share at a point, mass %.
pub(crate) fn melted_percent(point: &Point) -> f64 {
    100.0 * (1.0 - point.solids)
}
