//! Places a bar comes to, and how warm they are, °C: one list for plots, plans and the page.

/// A place and its temperature, °C.
pub type Place = (&'static str, f64);

/// A kitchen fridge.
const FRIDGE: Place = ("fridge", 5.0);

/// Where a bar is cooled besides the room.
pub const COLD: [Place; 2] = [FRIDGE, ("freezer", -18.0)];

/// What curves are marked with.
pub const MARKED: [Place; 4] = [FRIDGE, ("room", 20.0), ("skin", 33.0), ("hot parcel", 45.0)];
