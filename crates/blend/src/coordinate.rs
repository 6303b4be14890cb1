//! The parameters that a fit may move, each as one coordinate with a normal spread.
//!
//! | coordinate | scale |
//! |---|---|
//! | `delta:CLASS` | δ of a liquid class |
//! | `melt-shift:FAMILY` | K |
//! | `misfit:FAMILY` | w |
//! | `packing:NAME` | share, 0 to 1 |
//! | `structuring:FAMILY`, `critical:FAMILY` | logarithm |
//! | `yield` | logarithm |
//! | `exponent`, `softening` | exponents |
//! | `drop`, `end` | logarithm |
//!
//! One list serves the draws behind the intervals and the fit, so that what was fitted is what is drawn.

use crate::parameters::Parameters;

/// Smallest exponent of the network.
pub const SMALLEST_EXPONENT: f64 = 1.0;

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
    /// Share of its species in the packing at this position.
    Packing(usize),
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
    list.extend((0..parameters.packings.len()).map(Coordinate::Packing));
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
            Coordinate::Packing(i) => {
                format!("packing:{}", parameters.packings.get(i).map_or("", |packing| packing.name.as_str()))
            }
            Coordinate::Yield => "yield".to_owned(),
            Coordinate::Exponent => "exponent".to_owned(),
            Coordinate::Softening => "softening".to_owned(),
            Coordinate::Drop => "drop".to_owned(),
            Coordinate::End => "end".to_owned(),
        }
    }

    /// Position of the family it belongs to, if it belongs to one.
    pub fn family(self) -> Option<usize> {
        match self {
            Coordinate::Structuring(i) | Coordinate::Critical(i) | Coordinate::MeltShift(i) | Coordinate::Misfit(i) => {
                Some(i)
            }
            _ => None,
        }
    }

    /// Whether its own scale is that of the logarithm.
    fn is_logarithm(self) -> bool {
        match self {
            Coordinate::Structuring(_)
            | Coordinate::Critical(_)
            | Coordinate::Yield
            | Coordinate::Drop
            | Coordinate::End => true,
            Coordinate::Delta(_)
            | Coordinate::MeltShift(_)
            | Coordinate::Misfit(_)
            | Coordinate::Packing(_)
            | Coordinate::Exponent
            | Coordinate::Softening => false,
        }
    }

    /// The figure of the parameter file for `value` on its own scale; one the model has no use for (a negative misfit) is moved to the nearest
    /// useful one.
    pub(crate) fn figure(self, value: f64) -> f64 {
        let figure = if self.is_logarithm() { value.exp() } else { value };
        match self {
            Coordinate::Misfit(_) | Coordinate::Softening => figure.max(0.0),
            Coordinate::Packing(_) => figure.clamp(0.0, 1.0),
            Coordinate::Exponent => figure.max(SMALLEST_EXPONENT),
            Coordinate::Drop => figure.min(1.0),
            _ => figure,
        }
    }

    /// Where the parameter file keeps its figure and the standard deviation; `None` when it is none of `parameters`.
    fn place(self, parameters: &mut Parameters) -> Option<(&mut f64, &mut f64)> {
        let Parameters { liquid_classes, families, packings, firmness, landmarks, .. } = parameters;
        match self {
            Coordinate::Delta(i) => liquid_classes.get_mut(i).map(|class| (&mut class.delta, &mut class.sd)),
            Coordinate::Structuring(i) => families.get_mut(i).map(|one| (&mut one.structuring, &mut one.ln_sd)),
            Coordinate::Critical(i) => {
                families.get_mut(i).map(|one| (&mut one.critical_percent, &mut one.critical_ln_sd))
            }
            Coordinate::MeltShift(i) => {
                families.get_mut(i).map(|one| (&mut one.melt_shift_k, &mut one.melt_shift_sd_k))
            }
            Coordinate::Misfit(i) => families.get_mut(i).map(|one| (&mut one.misfit, &mut one.misfit_sd)),
            Coordinate::Packing(i) => packings.get_mut(i).map(|one| (&mut one.share, &mut one.share_sd)),
            Coordinate::Yield => Some((&mut firmness.yield_kpa, &mut firmness.yield_ln_sd)),
            Coordinate::Exponent => Some((&mut firmness.exponent, &mut firmness.exponent_sd)),
            Coordinate::Softening => Some((&mut firmness.softening_exponent, &mut firmness.softening_exponent_sd)),
            Coordinate::Drop => Some((&mut landmarks.drop_over_slip, &mut landmarks.drop_over_slip_ln_sd)),
            Coordinate::End => Some((&mut landmarks.end_percent, &mut landmarks.end_ln_sd)),
        }
    }

    /// Centre and standard deviation on its own scale; NaN when it is none of `parameters`.
    pub fn spread(self, parameters: &Parameters) -> (f64, f64) {
        let Parameters { liquid_classes, families, packings, firmness, landmarks, .. } = parameters;
        let family = |index: usize| families.get(index);
        let kept = match self {
            Coordinate::Delta(i) => liquid_classes.get(i).map(|class| (class.delta, class.sd)),
            Coordinate::Structuring(i) => family(i).map(|one| (one.structuring, one.ln_sd)),
            Coordinate::Critical(i) => family(i).map(|one| (one.critical_percent, one.critical_ln_sd)),
            Coordinate::MeltShift(i) => family(i).map(|one| (one.melt_shift_k, one.melt_shift_sd_k)),
            Coordinate::Misfit(i) => family(i).map(|one| (one.misfit, one.misfit_sd)),
            Coordinate::Packing(i) => packings.get(i).map(|one| (one.share, one.share_sd)),
            Coordinate::Yield => Some((firmness.yield_kpa, firmness.yield_ln_sd)),
            Coordinate::Exponent => Some((firmness.exponent, firmness.exponent_sd)),
            Coordinate::Softening => Some((firmness.softening_exponent, firmness.softening_exponent_sd)),
            Coordinate::Drop => Some((landmarks.drop_over_slip, landmarks.drop_over_slip_ln_sd)),
            Coordinate::End => Some((landmarks.end_percent, landmarks.end_ln_sd)),
        };
        let (figure, sd) = kept.unwrap_or((f64::NAN, f64::NAN));
        (if self.is_logarithm() { figure.ln() } else { figure }, sd)
    }

    /// Writes centre and standard deviation, on its own scale, into a parameter set.
    pub fn store(self, parameters: &mut Parameters, centre: f64, sd: f64) {
        if let Some(place) = self.place(parameters) {
            (*place.0, *place.1) = (self.figure(centre), sd);
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::model::Model;
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
            let central = ModelDraws::new(&Model::from(parameters.clone()), &Draws::none()).central;
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
