//! Errors of a heat conduction problem.

/// Why a problem cannot be set up or solved.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum HeatError {
    /// A figure that is not a number, or outside the range of the equations.
    #[error("{what} is {value} {unit}, outside {least} to {most} {unit}")]
    OutOfRange {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// Smallest accepted.
        least: f64,
        /// Largest accepted.
        most: f64,
    },
    /// A table of too few rows.
    #[error("{what} has {rows} rows, {least} are needed")]
    TooFewRows {
        /// Which table.
        what: &'static str,
        /// Number of rows.
        rows: usize,
        /// Rows it needs.
        least: usize,
    },
    /// A table of too many rows.
    #[error("{what} has {rows} rows that matter, {most} at most")]
    TooManyRows {
        /// Which table.
        what: &'static str,
        /// Number of rows.
        rows: usize,
        /// Rows it may have.
        most: usize,
    },
    /// A row out of order.
    #[error("{what}: row {row} has {value} after {before}")]
    Unsorted {
        /// Which column of which table.
        what: &'static str,
        /// The row, counted from 1.
        row: usize,
        /// Value in that row.
        value: f64,
        /// Value in the row before.
        before: f64,
    },
    /// The grid would not fit.
    #[error("the grid is allowed {asked} cells, {least} to {most} are possible")]
    Cells {
        /// Cells asked for.
        asked: usize,
        /// Fewest.
        least: usize,
        /// Most.
        most: usize,
    },
    /// No material for a cooling branch.
    #[error("the {material} has no cooling curve")]
    NoCoolingCurve {
        /// Which material.
        material: &'static str,
    },
    /// A state of another body.
    #[error("the state has {state} cells, the body {body}")]
    OtherBody {
        /// Cells of the state.
        state: usize,
        /// Cells of the body.
        body: usize,
    },
    /// The equations of a step could not be solved, however short the step.
    #[error("no convergence at {time_s} s with a step of {step_s} s (residual {residual_j_per_kg} J/kg)")]
    NotConverged {
        /// Time reached.
        time_s: f64,
        /// Last step tried.
        step_s: f64,
        /// Root mean square of what was left.
        residual_j_per_kg: f64,
    },
    /// More steps than allowed.
    #[error("{steps} steps reached only {time_s} s")]
    TooManySteps {
        /// Steps taken.
        steps: usize,
        /// Time reached.
        time_s: f64,
    },
    /// The caller stopped it.
    #[error("stopped at {time_s} s")]
    Stopped {
        /// Time reached.
        time_s: f64,
    },
}

/// Returns `value` when it lies from `least` to `most`.
pub(crate) fn within(what: &'static str, value: f64, unit: &'static str, range: (f64, f64)) -> Result<f64, HeatError> {
    let (least, most) = range;
    if value >= least && value <= most {
        Ok(value)
    } else {
        Err(HeatError::OutOfRange { what, value, unit, least, most })
    }
}

/// 0 K, °C.
pub const ABSOLUTE_ZERO_C: f64 = -273.15;

/// Accepted temperatures, °C: from just above absolute zero to far above any wax.
pub const TEMPERATURE_RANGE_C: (f64, f64) = (-273.0, 1000.0);

/// Returns a temperature when it is in range.
pub(crate) fn temperature(what: &'static str, value_c: f64) -> Result<f64, HeatError> {
    within(what, value_c, "°C", TEMPERATURE_RANGE_C)
}
