//! A fitting row as a residual of known size.
//!
//! | group | scale |
//! |---|---|
//! | solids | points of % |
//! | melting, neat and gels | K |
//! | firmness, needle turned into yield stress | logarithm |
//! | force on a probe, less the mean of its study | logarithm |
//! | gelling level | logarithm |
//!
//! Their size is that of the test, [`test_sd`].
//!
//! Gelling levels are published as the lowest level tried that gels, so the true one lies between that and the level tried before: the row
//! counts as the middle of the last step, of [`GELLING_STEP_PERCENT`] or half of the level, whichever is less.
//!
//! A bound is a residual only where the prediction breaks it. What rows of one experiment share (its lot of the ingredients, what the model
//! leaves out) counts once for the experiment, not once a row.

use std::collections::BTreeMap;

use barwright_blend::landmarks::LOWEST_LANDMARK_C;
use barwright_blend::penetration;
use barwright_reference::{IngredientId, Library};

use crate::published::group::Group;
use crate::published::reproducibility::{HALF_WIDTH, test_sd};
use crate::published::{Bound, Measurement, Quantity, Scored, Use};

/// Step of the levels tried for gelling, mass % (published levels are whole percent, or 0.5; judgement).
pub const GELLING_STEP_PERCENT: f64 = 1.0;

/// 90 % interval of a normal distribution over its standard deviation.
const SD_PER_INTERVAL: f64 = 2.0 * HALF_WIDTH;

/// Two yield stresses further apart than this are both as soft as nothing: keeps logarithms finite.
const SMALLEST_KPA: f64 = 1e-6;

/// What is compared, on which scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scale {
    /// Difference in the unit of the group.
    Difference(Group),
    /// Logarithm of a ratio.
    Logarithm(Group),
    /// Logarithm of a ratio, less the mean of its study.
    Ranked,
}

/// One fitting row.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// The row, its needle turned into yield stress.
    pub row: Measurement,
    /// What is compared.
    pub scale: Scale,
    /// Standard deviation of the test.
    pub test_sd: f64,
    /// Its ingredients as positions in the library, in order; a published sample is what it is a sample of.
    pub ingredients: Vec<IngredientId>,
}

/// Picks the fitting rows of a table.
///
/// # Arguments
/// * `library`: the ingredients the rows name.
/// * `table`: the measurements.
pub fn of(library: &Library, table: &[Measurement]) -> Vec<Observation> {
    table.iter().filter(|row| row.use_as == Use::Fit).filter_map(|row| one(library, row)).collect()
}

fn one(library: &Library, row: &Measurement) -> Option<Observation> {
    let mut row = row.clone();
    if row.quantity == Quantity::NeedleDmm {
        row.sd = None;
        row.value = penetration::yield_kpa_from_needle(row.value)?;
        row.quantity = Quantity::YieldKpa;
        // A needle that must not go deeper is a yield stress that must not be lower.
        row.kind = match row.kind {
            Bound::Point => Bound::Point,
            Bound::Low => Bound::High,
            Bound::High => Bound::Low,
        };
    }
    if row.quantity == Quantity::CriticalGellingPercent {
        row.value -= 0.5 * GELLING_STEP_PERCENT.min(0.5 * row.value);
    }
    let scale = match Group::of(&row) {
        Some(group @ (Group::Solids | Group::Melting | Group::GelMelting)) => Scale::Difference(group),
        Some(group @ (Group::Firmness | Group::Gelling)) => Scale::Logarithm(group),
        None => Scale::Ranked,
    };
    let test_sd = test_sd(&row);
    let like = |id: IngredientId| library.get(id).and_then(|found| found.lot_of).unwrap_or(id);
    let mut ingredients: Vec<IngredientId> = row.formula.parts.iter().map(|part| like(part.ingredient)).collect();
    ingredients.sort_unstable();
    Some(Observation { row, scale, test_sd, ingredients })
}

impl Observation {
    /// Prediction less measurement on the row's scale; study means are not yet taken out, bounds are not yet cut.
    pub fn difference(&self, scored: &Scored) -> f64 {
        match self.scale {
            Scale::Difference(Group::Solids) => scored.predicted.map_or(0.0, |found| found.value) - self.row.value,
            Scale::Difference(_) => {
                scored.predicted.map_or(LOWEST_LANDMARK_C, |found| found.value).max(LOWEST_LANDMARK_C)
                    - self.row.value.max(LOWEST_LANDMARK_C)
            }
            Scale::Logarithm(_) | Scale::Ranked => {
                (scored.predicted.map_or(0.0, |found| found.value).max(SMALLEST_KPA) / self.row.value).ln()
            }
        }
    }

    /// Standard deviation of the prediction on the row's scale, from its 90 % interval.
    pub fn predicted_sd(&self, scored: &Scored) -> f64 {
        let Some(found) = scored.predicted else { return 0.0 };
        let width = match self.scale {
            Scale::Difference(_) => found.high - found.low,
            Scale::Logarithm(_) | Scale::Ranked => (found.high.max(SMALLEST_KPA) / found.low.max(SMALLEST_KPA)).ln(),
        };
        width / SD_PER_INTERVAL
    }

    /// What shares its lots and what the model leaves out: the experiment, the set of ingredients, the state and the scale. Five cocoa butters of one table share
    /// the latter.
    fn cluster(&self) -> (&str, &[IngredientId], &'static str, Scale) {
        (&self.row.source, &self.ingredients, self.row.state.word(), self.scale)
    }
}

/// Residuals of all observations.
///
/// # Arguments
/// * `observations`: the rows.
/// * `scored`: their predictions, in the same order.
/// * `residuals`: receives prediction less measurement on the row's scale; 0 for a bound that is kept.
pub fn residuals(observations: &[Observation], scored: &[Scored], residuals: &mut [f64]) {
    let mut studies: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    for ((one, scored), residual) in observations.iter().zip(scored).zip(&mut *residuals) {
        *residual = one.difference(scored);
        if one.scale == Scale::Ranked {
            let study = studies.entry(&one.row.study).or_default();
            (study.0, study.1) = (study.0 + *residual, study.1 + 1.0);
        }
    }
    for (one, residual) in observations.iter().zip(residuals) {
        if one.scale == Scale::Ranked {
            let (sum, count) = studies[one.row.study.as_str()];
            *residual -= sum / count;
        }
        *residual = match one.row.kind {
            Bound::Point => *residual,
            Bound::Low => residual.min(0.0),
            Bound::High => residual.max(0.0),
        };
    }
}

/// How many rows share the experiment of each row.
pub fn cluster_sizes(observations: &[Observation]) -> Vec<f64> {
    let mut sizes = BTreeMap::new();
    for one in observations {
        *sizes.entry(one.cluster()).or_insert(0.0) += 1.0;
    }
    observations.iter().map(|one| sizes[&one.cluster()]).collect()
}

/// Variance of each residual, on its row's scale: that of the test, and that of what its cluster shares times the number of rows in the cluster.
pub fn variances(observations: &[Observation], shared_sd: &[f64]) -> Vec<f64> {
    let each = observations.iter().zip(shared_sd).zip(cluster_sizes(observations));
    each.map(|((one, sd), size)| one.test_sd * one.test_sd + size * sd * sd).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::published::{measurement, samples};

    /// The five cocoa butters of one table are one experiment of 20 figures, the coconut oil of another is one of 5.
    #[test]
    fn samples_of_one_fat_in_one_table_are_one_experiment() {
        let library = samples::with_samples(&Library::builtin().unwrap()).unwrap();
        let rows = of(&library, &measurement::read(measurement::BUILTIN, &library).unwrap());
        let sizes = cluster_sizes(&rows);
        let of_study = |study: &str| {
            let members = rows.iter().zip(&sizes).filter(|(one, _)| one.row.study == study);
            members.map(|(_, size)| *size).collect::<Vec<_>>()
        };
        assert_eq!(of_study("cocoa-butter-origins"), [20.0; 20]);
        assert_eq!(of_study("coconut-typical-curve"), [5.0; 5]);
    }
}
