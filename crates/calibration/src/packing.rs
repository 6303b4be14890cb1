//! Which way the species pack into crystals, as part of the fit.
//!
//! Each packing of the priors is tried in turn on top of those taken so far: a coarse fit from where it stands, then
//!
//! ```text
//! F = Σ r² / σ² + Σ ((p − m) / s)²
//! ```
//! is compared. One that lowers `F` by [`LEAST_GAIN`] is taken, the best first; passes go on until none is. Rows count in full here: a row far
//! off may be a bad row, which is why the fit makes light of it, but to a packing it may as well be the sign of a wrong crystal.

use barwright_blend::coordinate::Coordinate;

use crate::calibrate::{CalibrationError, Fitting, Trial, spread_out};

/// `F` must fall by this much: two for the share, which is one more parameter (Akaike 1974, recalled), two for the choice among a dozen (judgement).
pub const LEAST_GAIN: f64 = 4.0;

/// A packing is judged when a step of its fit gains no more than this share: about as much as the data tell.
const GAIN_TOLERANCE: f64 = 0.002;

/// How a packing compares with those taken before it.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// Its name.
    pub name: String,
    /// Change of `F` when it was last tried: below zero is better.
    pub change: f64,
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
/// As [`crate::calibrate()`].
pub(crate) fn choose(trial: &Trial<'_>, start: &Fitting) -> Result<Vec<Compared>, CalibrationError> {
    let mut compared: Vec<Compared> = (start.priors.packings.iter())
        .map(|packing| Compared { name: packing.name.clone(), change: 0.0, chosen: packing.chosen })
        .collect();
    let mut best: Option<Fitting> = None;
    loop {
        let from = best.as_ref().unwrap_or(start);
        let mut next: Option<(usize, Fitting)> = None;
        for (index, one) in compared.iter_mut().enumerate().filter(|(_, one)| !one.chosen) {
            let fitting = with(trial, from, index)?;
            one.change = fitting.objective - from.objective;
            let least = next.as_ref().map_or(from.objective - LEAST_GAIN, |(_, other)| other.objective);
            if fitting.objective < least {
                next = Some((index, fitting));
            }
        }
        let Some((index, fitting)) = next else { return Ok(compared) };
        compared[index].chosen = true;
        best = Some(fitting);
    }
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
