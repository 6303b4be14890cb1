//! One set of model parameters: the central one, or a draw from their spread.

use nalgebra::{Cholesky, DMatrix, DVector};

use crate::Parameters;
use crate::coordinate;
use crate::equilibrium::LARGEST_DELTA_RANGE_SQUARED;
use crate::heat_curve::HeatProperties;
use crate::parameters::Correlation;
use crate::sampling::Draws;

/// Model parameters of one draw; vectors follow the order of [`Parameters`].
#[derive(Debug, Clone, PartialEq)]
pub struct ModelDraw {
    /// δ of each liquid class.
    pub delta: Vec<f64>,
    /// Structuring power of each family.
    pub structuring: Vec<f64>,
    /// Critical gelling level of each family, mass %.
    pub critical_percent: Vec<f64>,
    /// Shift of each family's melting points, K.
    pub melt_shift_k: Vec<f64>,
    /// Misfit of unlike molecules in each family's crystal, `w`.
    pub misfit: Vec<f64>,
    /// Share of its species in each packing.
    pub packing_share: Vec<f64>,
    /// Yield stress of the reference structure, kPa, with the spread between casts.
    pub yield_kpa: f64,
    /// Network exponent.
    pub exponent: f64,
    /// Exponent of the stiffness of the crystals on `1 − T/Tm`.
    pub softening_exponent: f64,
    /// Structure at the drop point over that at the slip point.
    pub drop_over_slip: f64,
    /// Solids at which a calorimeter sees the end of melting, mass %.
    pub end_percent: f64,
    /// Detail: geometry times modulus over yield stress.
    pub compliance: f64,
    /// Warmth: load, kPa.
    pub load_kpa: f64,
    /// Warmth: crystals over their critical gelling level below which oil weeps.
    pub weep_below: f64,
    /// Heat and volume.
    pub heat: HeatProperties,
}

/// The central parameters and all draws.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelDraws {
    /// Every parameter at its central value.
    pub central: ModelDraw,
    /// The draws.
    pub drawn: Vec<ModelDraw>,
}

impl ModelDraws {
    /// Draws every model parameter: fitted ones with their correlation, the others each on its own.
    pub fn new(parameters: &Parameters, draws: &Draws) -> Self {
        let central = ModelDraw {
            delta: parameters.liquid_classes.iter().map(|class| class.delta).collect(),
            structuring: parameters.families.iter().map(|family| family.structuring).collect(),
            critical_percent: parameters.families.iter().map(|family| family.critical_percent).collect(),
            melt_shift_k: parameters.families.iter().map(|family| family.melt_shift_k).collect(),
            misfit: parameters.families.iter().map(|family| family.misfit).collect(),
            packing_share: parameters.packings.iter().map(|packing| packing.share).collect(),
            yield_kpa: parameters.firmness.yield_kpa,
            exponent: parameters.firmness.exponent,
            softening_exponent: parameters.firmness.softening_exponent,
            drop_over_slip: parameters.landmarks.drop_over_slip,
            end_percent: parameters.landmarks.end_percent,
            compliance: parameters.detail.compliance,
            load_kpa: parameters.warmth.load_kpa,
            weep_below: parameters.warmth.weep_below,
            heat: HeatProperties::central(&parameters.heat),
        };
        let mut drawn = vec![central.clone(); draws.count()];
        if drawn.is_empty() {
            return ModelDraws { central, drawn };
        }
        let names = &parameters.correlation.names;
        let mut together = DMatrix::zeros(draws.count(), names.len());
        for (index, name) in names.iter().enumerate() {
            together.set_column(index, &DVector::from_vec(draws.dimension(name)));
        }
        if let Some(root) = correlation_root(&parameters.correlation) {
            together *= root.transpose();
        }
        for one in coordinate::all(parameters) {
            let (centre, sd) = one.spread(parameters);
            if sd == 0.0 {
                continue;
            }
            let name = one.name(parameters);
            let scores = match names.iter().position(|known| *known == name) {
                Some(index) => together.column(index).iter().copied().collect(),
                None => draws.dimension(&name),
            };
            for (draw, z) in drawn.iter_mut().zip(scores) {
                one.apply(draw, centre + sd * z);
            }
        }
        let heuristics =
            draws.dimension("cast").into_iter().zip(draws.dimension("compliance")).zip(draws.dimension("load"));
        for (draw, ((cast, compliance), load)) in drawn.iter_mut().zip(heuristics) {
            draw.yield_kpa *= (parameters.firmness.cast_ln_sd * cast).exp();
            draw.compliance *= (parameters.detail.compliance_ln_sd * compliance).exp();
            draw.load_kpa *= (parameters.warmth.load_ln_sd * load).exp();
        }
        for (draw, weep) in drawn.iter_mut().zip(draws.dimension("weep")) {
            draw.weep_below *= (parameters.warmth.weep_ln_sd * weep).exp();
        }
        for (draw, heat) in drawn.iter_mut().zip(HeatProperties::draw(&parameters.heat, draws)) {
            draw.heat = heat;
        }
        for draw in &mut drawn {
            keep_one_liquid(&mut draw.delta);
        }
        ModelDraws { central, drawn }
    }
}

/// Lower Cholesky factor of a correlation; `None` when it is not positive definite.
pub(crate) fn correlation_root(correlation: &Correlation) -> Option<DMatrix<f64>> {
    let size = correlation.names.len();
    let entry = |i: usize, j: usize| correlation.rows.get(i).and_then(|row| row.get(j)).copied().unwrap_or(0.0);
    let full = DMatrix::from_fn(size, size, |i, j| entry(i.max(j), i.min(j)));
    Some(Cholesky::new(full)?.l())
}

/// Draws whose δ lie too far apart are drawn together until the melt is one liquid again.
fn keep_one_liquid(delta: &mut [f64]) {
    let (low, high) = delta.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &d| (l.min(d), h.max(d)));
    let range = high - low;
    let allowed = 0.999 * LARGEST_DELTA_RANGE_SQUARED.sqrt();
    if range > allowed {
        let middle = 0.5 * (low + high);
        for one in delta {
            *one = middle + (*one - middle) * allowed / range;
        }
    }
}
