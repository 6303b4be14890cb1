//! Which way the species pack into crystals, as part of the fit.
//!
//! Each packing of the priors is tried in turn on top of those taken so far: a coarse fit from where it stands, then
//!
//! ```text
//! F = Σ r² / σ² + Σ ((p − m) / s)²
//! ```
//! is compared. One that lowers `F` by [`MIN_GAIN`] is taken, the best first; passes go on until none is. Rows count in full here: a row far
//! off may be a bad row, which is why the fit makes light of it, but to a packing it may as well be the sign of a wrong crystal. The `σ` of rows of one
//! sample is mostly that of its lot, so a curve that has moved as a whole costs little: a packing that leaves the rows of one kind further off than before,
//! root mean square, by more than [`LARGEST_LOSS`] is not taken whatever `F` says.
//!
//! # Source
//! `F` as in `calibrate.rs`; the search is our own.

use std::collections::BTreeMap;

use barwright_blend::coordinate::Coordinate;

use super::error::CalibrationError;
use super::observation::{Observation, Scale};
use super::robust::{Fitting, Trial, spread_out};

/// `F` must fall by this much: two for the share, which is one more parameter (Akaike 1974, recalled), two for the choice among a dozen (judgement).
pub const MIN_GAIN: f64 = 4.0;

/// The root mean square of the residuals of one kind may grow by this share (judgement).
pub const LARGEST_LOSS: f64 = 0.05;

/// A packing is judged when a step of its fit gains no more than this share: about as much as the data tell.
const GAIN_TOLERANCE: f64 = 0.002;

/// How a packing compares with those taken before it.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// Its name.
    pub name: String,
    /// Change of `F` when it was last tried: below zero is better.
    pub change: f64,
    /// Largest growth of the root mean square of one kind of rows then, as a share of what it was.
    pub loss: f64,
    /// Whether it was taken.
    pub chosen: bool,
}

/// Where the choice comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// Every packing is tried.
    Search,
    /// The priors say which are chosen.
    AsGiven,
}

/// Tries every packing of the priors.
///
/// # Errors
/// As [`super::calibrate()`].
pub(crate) fn choose(trial: &Trial<'_>, start: &Fitting) -> Result<Vec<Compared>, CalibrationError> {
    let mut compared: Vec<Compared> = (start.priors.packings.iter())
        .map(|packing| Compared { name: packing.name.clone(), change: 0.0, loss: 0.0, chosen: packing.chosen })
        .collect();
    let mut best: Option<Fitting> = None;
    loop {
        let from = best.as_ref().unwrap_or(start);
        let mut next: Option<(usize, Fitting)> = None;
        for (index, one) in compared.iter_mut().enumerate().filter(|(_, one)| !one.chosen) {
            let fitting = with(trial, from, index)?;
            one.change = fitting.objective - from.objective;
            one.loss = loss(trial.bench.observations, &from.fit.residuals, &fitting.fit.residuals);
            let least = next.as_ref().map_or(from.objective - MIN_GAIN, |(_, other)| other.objective);
            if fitting.objective < least && one.loss <= LARGEST_LOSS {
                next = Some((index, fitting));
            }
        }
        let Some((index, fitting)) = next else { return Ok(compared) };
        compared[index].chosen = true;
        best = Some(fitting);
    }
}

/// Largest growth of the root mean square of one kind of rows, as a share of what it was; below zero where all shrink.
///
/// # Arguments
/// * `observations`: the rows.
/// * `before`, `after`: their residuals, on the scale of each.
pub fn loss(observations: &[Observation], before: &[f64], after: &[f64]) -> f64 {
    let mut squares: BTreeMap<Scale, (f64, f64)> = BTreeMap::new();
    for ((one, before), after) in observations.iter().zip(before).zip(after) {
        let (was, is) = squares.entry(one.scale).or_default();
        *was += before * before;
        *is += after * after;
    }
    squares.values().filter(|(was, _)| *was > 0.0).map(|(was, is)| (is / was).sqrt() - 1.0).fold(-1.0, f64::max)
}

/// The fit that stands, with one more packing.
fn with(trial: &Trial<'_>, from: &Fitting, index: usize) -> Result<Fitting, CalibrationError> {
    let mut priors = from.priors.clone();
    let mut reached = Vec::new();
    if let Some(packing) = priors.packings.get_mut(index) {
        packing.chosen = true;
        reached.extend(packing.moves.iter().map(|one| one.family.clone()));
    }
    let (mut free, mut start) = (from.free.clone(), from.fit.parameters.clone());
    for (coordinate, prior) in spread_out(&priors) {
        let of_family = coordinate.family().and_then(|family| priors.families.get(family));
        let joins =
            of_family.is_some_and(|family| reached.contains(&family.name)) || coordinate == Coordinate::Packing(index);
        if joins && free.iter().all(|(known, _)| *known != coordinate) {
            free.push((coordinate, prior));
            start.push(prior.mean);
        }
    }
    trial.from(&priors, free, start, 1, GAIN_TOLERANCE)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::fit::observation;
    use crate::published::measurement;
    use barwright_reference::Library;

    /// Solids half as far off again and firmness half as far: a loss of a half, whatever the sum does.
    #[test]
    fn the_loss_is_that_of_the_kind_that_loses_most() {
        let table = "id,study,formula,state,quantity,temperature_c,value,sd,kind,method,source,status,use,reason,note\n\
            A,a,cocoa-butter 100,rested,solids_percent,20,80,2,point,m,lipp1998,recalled,fit,,\n\
            B,a,cocoa-butter 100,rested,solids_percent,25,70,2,point,m,lipp1998,recalled,fit,,\n\
            C,a,beeswax 100,rested,needle_dmm,25,20,,point,m,lipp1998,recalled,fit,,\n";
        let library = Library::builtin().unwrap();
        let rows = observation::of(&library, &measurement::read(table, &library).unwrap());
        assert_eq!(rows.len(), 3);
        // 3 and 4 points become 4.5 and 6: 5 to 7.5.
        assert!((loss(&rows, &[3.0, 4.0, 1.0], &[4.5, -6.0, 0.5]) - 0.5).abs() < 1e-12);
        assert!((loss(&rows, &[3.0, 4.0, 1.0], &[3.0, 4.0, 1.2]) - 0.2).abs() < 1e-12);
        assert!((loss(&rows, &[3.0, 4.0, 1.0], &[1.5, 2.0, 0.9]) + 0.1).abs() < 1e-12);
    }
}
