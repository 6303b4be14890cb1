//! How many samples are worth their cost.

/// Readings to spend, unlike trials times samples: up to three quarters of a second.
const READINGS: usize = 45_000;

/// Fewest samples for each score; with fewer the mode and its curvature stand.
const MIN_SAMPLES_A_SCORE: usize = 10;

/// Samples of the first round.
pub(super) const FIRST_ROUND: usize = 1_000;

/// Largest number of samples for a number of unlike readings.
pub(super) fn most_samples(unlike: usize) -> usize {
    READINGS / unlike.max(1)
}

/// Whether samples for this number of scores and of unlike readings are worth their cost.
pub(super) fn is_affordable(unlike: usize, scores: usize) -> bool {
    most_samples(unlike) >= FIRST_ROUND.max(MIN_SAMPLES_A_SCORE * scores)
}
