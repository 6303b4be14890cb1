//! Places a bar comes to, and how warm they are, °C: one list for plots, plans and the page.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A place and its temperature, °C.
pub type Place = (&'static str, f64);

/// A kitchen fridge.
const FRIDGE: Place = ("fridge", 5.0);

/// Where a bar is cooled besides the room.
const COLD: [Place; 2] = [FRIDGE, ("freezer", -18.0)];

/// A usual room, °C.
const ROOM_C: f64 = 20.0;

/// What curves are marked with.
pub const MARKED: [Place; 4] = [FRIDGE, ("room", ROOM_C), ("skin", 33.0), ("hot parcel", 45.0)];

/// The room bars are made in.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Room {
    /// Temperature of its air, °C.
    pub air_c: f64,
    /// Relative humidity, %.
    pub humidity_percent: f64,
}

impl Default for Room {
    fn default() -> Self {
        Room { air_c: ROOM_C, humidity_percent: 50.0 }
    }
}

impl Room {
    /// Temperature, °C, and relative humidity, %.
    pub(crate) fn pair(self) -> (f64, f64) {
        (self.air_c, self.humidity_percent)
    }
}

/// Where a bar is cooled by default: room, fridge and freezer.
///
/// # Arguments
/// * `room_c`: air of the room, °C.
/// * `fan`: whether a fan blows in each.
pub fn usual(room_c: f64, fan: bool) -> Vec<barwright_making::Place> {
    let all = std::iter::once(("room", room_c)).chain(COLD);
    all.map(|(name, air_c)| barwright_making::Place { name: name.to_owned(), air_c, fan }).collect()
}
