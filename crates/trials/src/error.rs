//! Why nothing was learned, or what was learned cannot be used.

use barwright_blend::BlendError;
use barwright_blend::maker::MakerError;
use thiserror::Error;

use crate::trial::TrialError;

/// Why nothing was learned.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LearnError {
    /// A trial that makes no sense.
    #[error("trial {number}{}: {error}", if label.is_empty() { String::new() } else { format!(" ({label})") })]
    Trial {
        /// Which one, from 1.
        number: usize,
        /// Its label.
        label: String,
        /// What is wrong with it.
        error: TrialError,
    },
    /// The blend model failed.
    #[error(transparent)]
    Blend(#[from] BlendError),
    /// What was learned cannot be used: a score lies where none can.
    #[error("what the trials say together cannot be: {0}")]
    Beyond(#[from] LearnedError),
    /// The mode was not found: slopes there are no numbers.
    #[error("no most likely maker found: after {steps} steps the slopes are no longer numbers")]
    NotFinite {
        /// Steps taken.
        steps: usize,
    },
}

/// Why what was learned cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum LearnedError {
    /// No maker can have these scores.
    #[error(transparent)]
    Maker(#[from] MakerError),
    /// Scores without a trial to learn them from.
    #[error("{scores} scores are learned from no trial")]
    Untold {
        /// How many scores there are.
        scores: usize,
    },
    /// More samples than are kept.
    #[error("there are {found} samples, at most {most} are kept")]
    Samples {
        /// How many there are.
        found: usize,
        /// The most that are kept.
        most: usize,
    },
    /// A flag of a trial that does not exist, or that is flagged already.
    #[error("trial {number} is flagged, out of {trials}, each flagged once at most")]
    Flag {
        /// Which one, from 1.
        number: usize,
        /// How many trials there are.
        trials: usize,
    },
    /// A flag with a weight that no flagged trial has, or a distance that is not a number.
    #[error(
        "trial {number} is flagged with the weight {weight}, which is not between 0 and 1, or no distance: {surprise}"
    )]
    Weight {
        /// Which one, from 1.
        number: usize,
        /// Its weight.
        weight: f64,
        /// Its distance, standard deviations.
        surprise: f64,
    },
}
