//! Constants that several files use.

/// 0 °C in kelvin.
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// A room, °C: a blend that slips below it is not a bar.
pub(crate) const ROOM_C: f64 = 20.0;
