//! One set of model parameters: the central one, or a draw from their spread.

use nalgebra::{Cholesky, Matrix2, Vector2};

use crate::Parameters;
use crate::equilibrium::LARGEST_DELTA_RANGE_SQUARED;
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
    /// Yield stress of neat beeswax at 25 °C, kPa, with the spread between casts.
    pub yield_kpa: f64,
    /// Network exponent.
    pub exponent: f64,
    /// Softening of the crystals, 1/K.
    pub softening_per_k: f64,
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
    /// Draws every model parameter.
    pub fn new(parameters: &Parameters, draws: &Draws) -> Self {
        let central = ModelDraw {
            delta: parameters.liquid_classes.iter().map(|class| class.delta).collect(),
            structuring: parameters.families.iter().map(|family| family.structuring).collect(),
            critical_percent: parameters.families.iter().map(|family| family.critical_percent).collect(),
            melt_shift_k: vec![0.0; parameters.families.len()],
            yield_kpa: parameters.firmness.yield_kpa,
            exponent: parameters.firmness.exponent,
            softening_per_k: parameters.firmness.softening_per_k,
            drop_over_slip: parameters.landmarks.drop_over_slip,
            end_percent: parameters.landmarks.end_percent,
            compliance: parameters.detail.compliance,
            load_kpa: parameters.warmth.load_kpa,
            weep_below: parameters.warmth.weep_below,
        };
        let mut drawn = vec![central.clone(); draws.count()];
        for (index, class) in parameters.liquid_classes.iter().enumerate().filter(|(_, class)| class.sd > 0.0) {
            for (draw, z) in drawn.iter_mut().zip(draws.dimension(&format!("delta:{}", class.name))) {
                draw.delta[index] += class.sd * z;
            }
        }
        for (index, family) in parameters.families.iter().enumerate() {
            let name = &family.name;
            for (draw, z) in drawn.iter_mut().zip(draws.dimension(&format!("structuring:{name}"))) {
                draw.structuring[index] *= (family.ln_sd * z).exp();
            }
            for (draw, z) in drawn.iter_mut().zip(draws.dimension(&format!("critical:{name}"))) {
                draw.critical_percent[index] *= (family.critical_ln_sd * z).exp();
            }
            for (draw, z) in drawn.iter_mut().zip(draws.dimension(&format!("melt-shift:{name}"))) {
                draw.melt_shift_k[index] = family.melt_shift_sd_k * z;
            }
        }
        let firmness = &parameters.firmness;
        let root = yield_exponent_root(firmness);
        let pair = draws.dimension("yield").into_iter().zip(draws.dimension("exponent"));
        for (draw, (first, second)) in drawn.iter_mut().zip(pair) {
            let apart = root * Vector2::new(first, second);
            draw.yield_kpa *= apart.x.exp();
            draw.exponent = (draw.exponent + apart.y).max(1.0);
        }
        let landmarks = &parameters.landmarks;
        let singles = draws.dimension("softening").into_iter().zip(draws.dimension("cast"));
        for (draw, (softening, cast)) in drawn.iter_mut().zip(singles) {
            draw.softening_per_k = (draw.softening_per_k + firmness.softening_sd_per_k * softening).max(0.0);
            draw.yield_kpa *= (firmness.cast_ln_sd * cast).exp();
        }
        let heuristics =
            draws.dimension("drop").into_iter().zip(draws.dimension("compliance")).zip(draws.dimension("load"));
        for (draw, ((drop, compliance), load)) in drawn.iter_mut().zip(heuristics) {
            draw.drop_over_slip = (draw.drop_over_slip * (landmarks.drop_over_slip_ln_sd * drop).exp()).min(1.0);
            draw.compliance *= (parameters.detail.compliance_ln_sd * compliance).exp();
            draw.load_kpa *= (parameters.warmth.load_ln_sd * load).exp();
        }
        for (draw, end) in drawn.iter_mut().zip(draws.dimension("end")) {
            draw.end_percent *= (landmarks.end_ln_sd * end).exp();
        }
        for (draw, weep) in drawn.iter_mut().zip(draws.dimension("weep")) {
            draw.weep_below *= (parameters.warmth.weep_ln_sd * weep).exp();
        }
        for draw in &mut drawn {
            keep_one_liquid(&mut draw.delta);
        }
        ModelDraws { central, drawn }
    }
}

/// Lower Cholesky factor of the covariance of (ln yield stress, exponent).
fn yield_exponent_root(firmness: &crate::parameters::Firmness) -> Matrix2<f64> {
    let covariance = firmness.yield_exponent_correlation * firmness.yield_ln_sd * firmness.exponent_sd;
    let matrix = Matrix2::new(firmness.yield_ln_sd.powi(2), covariance, covariance, firmness.exponent_sd.powi(2));
    Cholesky::new(matrix).map_or_else(
        || Matrix2::from_diagonal(&Vector2::new(firmness.yield_ln_sd, firmness.exponent_sd)),
        |cholesky| cholesky.l(),
    )
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
