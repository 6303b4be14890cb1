//! How well the fit predicts an experiment it has not seen: every source left out in turn.
//!
//! Fitting rows tell how well the model can be bent to them. Where a quantity has no unseen rows, this is the honest error: the rows of one
//! source are taken away, all of them, the fit is made again, and they are predicted.

use std::collections::BTreeSet;

use barwright_blend::Parameters;
use barwright_reference::Library;

use super::calibrate::calibrate;
use super::error::CalibrationError;
use super::packing::Choice;
use crate::published::group::Group;
use crate::published::{Measurement, Report, Scored, Use, predict, score};

/// Draws behind the intervals.
const DRAWS: usize = 256;

/// Scores each source that has fitting rows of `group`, predicted by a fit without it.
///
/// # Arguments
/// * `library`: reference tables.
/// * `priors`: parameters before the fit, their packings chosen.
/// * `table`: measurements.
/// * `group`: which quantity.
///
/// # Errors
/// As [`calibrate`].
pub fn held_out(
    library: &Library,
    priors: &Parameters,
    table: &[Measurement],
    group: Group,
) -> Result<Report, CalibrationError> {
    let belongs = |row: &Measurement| row.use_as == Use::Fit && Group::of(row) == Some(group);
    let sources: BTreeSet<&str> = table.iter().filter(|row| belongs(row)).map(|row| row.source.as_str()).collect();
    let mut scored: Vec<Scored> = Vec::new();
    for source in sources {
        let others: Vec<Measurement> = table.iter().filter(|row| row.source != source).cloned().collect();
        let parameters = calibrate(library, priors, &others, Choice::AsGiven)?.parameters;
        let (places, own): (Vec<usize>, Vec<Measurement>) = table
            .iter()
            .enumerate()
            .filter(|(_, row)| belongs(row) && row.source == source)
            .map(|(i, row)| (i, row.clone()))
            .unzip();
        let found = predict(library, &parameters, &own, DRAWS)?;
        scored.extend(found.into_iter().map(|one| Scored { row: places[one.row], ..one }));
    }
    Ok(score(table, &scored))
}
