//! The parameters that a fit may move, each as one coordinate with a normal spread.
//!
//! | coordinate | scale |
//! |---|---|
//! | `delta:CLASS` | δ of a liquid class |
//! | `melt-shift:FAMILY` | K |
//! | `misfit:FAMILY` | w |
//! | `structuring:FAMILY`, `critical:FAMILY` | logarithm |
//! | `yield` | logarithm |
//! | `exponent`, `softening` | exponents |
//! | `drop`, `end` | logarithm |
//!
//! One list serves the draws behind the intervals and the fit, so that what was fitted is what is drawn.

use crate::Parameters;
use crate::model_draw::ModelDraw;

/// Smallest exponent of the network.
const SMALLEST_EXPONENT: f64 = 1.0;

/// One parameter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coordinate {
    /// δ of the liquid class at this position.
    Delta(usize),
    /// Structuring power of the family at this position, logarithm.
    Structuring(usize),
    /// Critical gelling level of the family, logarithm of mass %.
    Critical(usize),
    /// Shift of the family's melting points, K.
    MeltShift(usize),
    /// Misfit of the family.
    Misfit(usize),
    /// Yield stress of the reference structure, logarithm of kPa.
    Yield,
    /// Network exponent.
    Exponent,
    /// Exponent of softening.
    Softening,
    /// Structure at the drop point over that at the slip point, logarithm.
    Drop,
    /// Solids at the end of melting, logarithm of mass %.
    End,
}

/// Returns every coordinate of `parameters`, in the order of the file.
pub fn all(parameters: &Parameters) -> Vec<Coordinate> {
    let families = 0..parameters.families.len();
    let mut list: Vec<_> = (0..parameters.liquid_classes.len()).map(Coordinate::Delta).collect();
    for kind in [Coordinate::Structuring, Coordinate::Critical, Coordinate::MeltShift, Coordinate::Misfit] {
        list.extend(families.clone().map(kind));
    }
    list.extend([Coordinate::Yield, Coordinate::Exponent, Coordinate::Softening, Coordinate::Drop, Coordinate::End]);
    list
}

impl Coordinate {
    /// Its name, as in the correlation table of the parameter file; empty when it is none of `parameters`.
    pub fn name(self, parameters: &Parameters) -> String {
        let family = |index: usize| parameters.families.get(index).map_or("", |family| family.name.as_str());
        match self {
            Coordinate::Delta(i) => {
                format!("delta:{}", parameters.liquid_classes.get(i).map_or("", |class| class.name.as_str()))
            }
            Coordinate::Structuring(i) => format!("structuring:{}", family(i)),
            Coordinate::Critical(i) => format!("critical:{}", family(i)),
            Coordinate::MeltShift(i) => format!("melt-shift:{}", family(i)),
            Coordinate::Misfit(i) => format!("misfit:{}", family(i)),
            Coordinate::Yield => "yield".to_owned(),
            Coordinate::Exponent => "exponent".to_owned(),
            Coordinate::Softening => "softening".to_owned(),
            Coordinate::Drop => "drop".to_owned(),
            Coordinate::End => "end".to_owned(),
        }
    }

    /// Centre and standard deviation on its own scale; NaN when it is none of `parameters`.
    pub fn spread(self, parameters: &Parameters) -> (f64, f64) {
        let firmness = &parameters.firmness;
        let landmarks = &parameters.landmarks;
        let family = |index: usize| parameters.families.get(index);
        match self {
            Coordinate::Delta(i) => parameters.liquid_classes.get(i).map(|class| (class.delta, class.sd)),
            Coordinate::Structuring(i) => family(i).map(|family| (family.structuring.ln(), family.ln_sd)),
            Coordinate::Critical(i) => family(i).map(|family| (family.critical_percent.ln(), family.critical_ln_sd)),
            Coordinate::MeltShift(i) => family(i).map(|family| (family.melt_shift_k, family.melt_shift_sd_k)),
            Coordinate::Misfit(i) => family(i).map(|family| (family.misfit, family.misfit_sd)),
            Coordinate::Yield => Some((firmness.yield_kpa.ln(), firmness.yield_ln_sd)),
            Coordinate::Exponent => Some((firmness.exponent, firmness.exponent_sd)),
            Coordinate::Softening => Some((firmness.softening_exponent, firmness.softening_exponent_sd)),
            Coordinate::Drop => Some((landmarks.drop_over_slip.ln(), landmarks.drop_over_slip_ln_sd)),
            Coordinate::End => Some((landmarks.end_percent.ln(), landmarks.end_ln_sd)),
        }
        .unwrap_or((f64::NAN, f64::NAN))
    }

    /// Writes `value`, on its own scale, into a draw; a value the model has no use for (a negative misfit) is moved to the nearest useful one.
    pub fn apply(self, draw: &mut ModelDraw, value: f64) {
        let place = |list: &mut Vec<f64>, index: usize, value: f64| {
            if let Some(place) = list.get_mut(index) {
                *place = value;
            }
        };
        match self {
            Coordinate::Delta(i) => place(&mut draw.delta, i, value),
            Coordinate::Structuring(i) => place(&mut draw.structuring, i, value.exp()),
            Coordinate::Critical(i) => place(&mut draw.critical_percent, i, value.exp()),
            Coordinate::MeltShift(i) => place(&mut draw.melt_shift_k, i, value),
            Coordinate::Misfit(i) => place(&mut draw.misfit, i, value.max(0.0)),
            Coordinate::Yield => draw.yield_kpa = value.exp(),
            Coordinate::Exponent => draw.exponent = value.max(SMALLEST_EXPONENT),
            Coordinate::Softening => draw.softening_exponent = value.max(0.0),
            Coordinate::Drop => draw.drop_over_slip = value.exp().min(1.0),
            Coordinate::End => draw.end_percent = value.exp(),
        }
    }

    /// Writes centre and standard deviation, on its own scale, into a parameter set.
    pub fn store(self, parameters: &mut Parameters, centre: f64, sd: f64) {
        match self {
            Coordinate::Delta(i) => {
                if let Some(class) = parameters.liquid_classes.get_mut(i) {
                    (class.delta, class.sd) = (centre, sd);
                }
            }
            Coordinate::Structuring(i) => {
                if let Some(family) = parameters.families.get_mut(i) {
                    (family.structuring, family.ln_sd) = (centre.exp(), sd);
                }
            }
            Coordinate::Critical(i) => {
                if let Some(family) = parameters.families.get_mut(i) {
                    (family.critical_percent, family.critical_ln_sd) = (centre.exp(), sd);
                }
            }
            Coordinate::MeltShift(i) => {
                if let Some(family) = parameters.families.get_mut(i) {
                    (family.melt_shift_k, family.melt_shift_sd_k) = (centre, sd);
                }
            }
            Coordinate::Misfit(i) => {
                if let Some(family) = parameters.families.get_mut(i) {
                    (family.misfit, family.misfit_sd) = (centre.max(0.0), sd);
                }
            }
            Coordinate::Yield => {
                (parameters.firmness.yield_kpa, parameters.firmness.yield_ln_sd) = (centre.exp(), sd);
            }
            Coordinate::Exponent => (parameters.firmness.exponent, parameters.firmness.exponent_sd) = (centre, sd),
            Coordinate::Softening => {
                (parameters.firmness.softening_exponent, parameters.firmness.softening_exponent_sd) = (centre, sd);
            }
            Coordinate::Drop => {
                (parameters.landmarks.drop_over_slip, parameters.landmarks.drop_over_slip_ln_sd) = (centre.exp(), sd);
            }
            Coordinate::End => {
                (parameters.landmarks.end_percent, parameters.landmarks.end_ln_sd) = (centre.exp(), sd);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::model_draw::ModelDraws;
    use crate::sampling::Draws;

    #[test]
    fn what_is_stored_is_read_back_and_drawn() {
        let mut parameters = Parameters::builtin().unwrap();
        for one in all(&parameters) {
            let (centre, sd) = one.spread(&parameters);
            let moved = if let Coordinate::Drop = one { centre - 0.1 } else { centre + 0.1 };
            one.store(&mut parameters, moved, sd + 0.01);
            let (back, spread) = one.spread(&parameters);
            assert!((back - moved).abs() < 1e-12 && (spread - sd - 0.01).abs() < 1e-12, "{}", one.name(&parameters));
            let central = ModelDraws::new(&parameters, &Draws::new(0, 0)).central;
            let mut applied = central.clone();
            one.apply(&mut applied, moved);
            let (left, right) = (format!("{applied:.9?}"), format!("{central:.9?}"));
            assert_eq!(left, right, "{}", one.name(&parameters));
        }
    }

    #[test]
    fn no_two_coordinates_share_a_name() {
        let parameters = Parameters::builtin().unwrap();
        let mut names: Vec<_> = all(&parameters).iter().map(|one| one.name(&parameters)).collect();
        let count = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), count);
    }
}
