//! What can go wrong at the bench.

use barwright_blend::BlendError;
use barwright_heat::HeatError;

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MakingError {
    /// The blend model failed.
    #[error(transparent)]
    Blend(#[from] BlendError),
    /// The heat model failed, or was asked for something outside its range.
    #[error(transparent)]
    Heat(#[from] HeatError),
    /// The melt would not be fully molten at the pour.
    #[error("{pour_c:.1} °C is below {clear_c:.1} °C, where the last crystal of this blend dissolves")]
    NotMelted {
        /// Temperature of the pour, °C.
        pour_c: f64,
        /// Clear point of the blend, °C.
        clear_c: f64,
    },
    /// The melt would be poured hotter than the scent in it may be.
    #[error("a pour at {pour_c:.1} °C is hotter than the scent allows, {most_c:.1} °C")]
    TooHotForScent {
        /// Temperature of the pour, °C.
        pour_c: f64,
        /// Hottest the melt may be with the scent in it, °C.
        most_c: f64,
    },
    /// The air of a place is no colder than the pour.
    #[error("{place}: air of {air_c:.1} °C does not cool a melt of {pour_c:.1} °C")]
    NotCooled {
        /// Which place.
        place: String,
        /// Its air, °C.
        air_c: f64,
        /// Temperature of the pour, °C.
        pour_c: f64,
    },
    /// The caller stopped it.
    #[error("stopped")]
    Stopped,
}
