//! The best trade-offs of a space, in words.

use barwright_blend::Assessment;
use barwright_reference::Formula;
use barwright_reformulate::explore::Candidate;

/// A trade-off that is shown.
pub struct Shown {
    /// By the central model.
    pub candidate: Candidate,
    /// The formula, its amounts rounded.
    pub formula: Formula,
    /// What it is.
    pub assessment: Assessment,
    /// Share of draws that meet each demand.
    pub probabilities: Vec<f64>,
}

/// The letter of a trade-off: `A`, `B`, ...
pub fn letter(number: usize) -> String {
    char::from(b'A' + u8::try_from(number % 26).unwrap_or(0)).to_string()
}
