//! What a mould holds, in words.

use barwright_making::declaration::OUNCE_G;
use barwright_reference::mould::{BarShape, Mould};

use crate::words::names::{capital, name};
use crate::words::number::significant;
use crate::words::units::Units;

/// A palm-sized bar, mm.
const USUAL: BarShape = BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 };

/// The default mould, that of a palm-sized bar.
pub(crate) fn usual_mould() -> Mould {
    Mould::plain(USUAL)
}

/// A mass: `57 g`, `2.0 oz`.
pub fn mass(grams: f64, units: Units) -> String {
    match units {
        Units::Metric if grams >= 1000.0 => format!("{} kg", significant(1e-3 * grams, 3)),
        Units::Metric => format!("{} g", significant(grams, if grams < 100.0 { 2 } else { 3 })),
        Units::Us => format!("{} oz", significant(grams / OUNCE_G, 2)),
    }
}

/// What a mould holds: `Fern tray: 6 bars of 44 g, 60 mm × 40 mm × 20 mm`.
///
/// # Arguments
/// * `called`: what it is called where it has no name.
/// * `bar_kg`: mass of one bar, kg.
pub fn filling(mould: &Mould, called: &str, bar_kg: f64, units: Units) -> String {
    let grams = 1e3 * bar_kg;
    let bars = match mould.cavities {
        1 => format!("one bar of {}", mass(grams, units)),
        count => format!("{count} bars of {}, {} in all", mass(grams, units), mass(grams * f64::from(count), units)),
    };
    format!(
        "{}: {bars}, {}",
        mould.name.as_ref().map_or_else(|| called.to_owned(), |named| capital(&name(named))),
        size(mould.shape, units)
    )
}

/// The size of a bar: `60 × 40 × 20 mm`.
pub fn size(shape: BarShape, units: Units) -> String {
    let one = |mm: f64| units.given_length(mm);
    match shape {
        BarShape::Box { length_mm, width_mm, height_mm } => {
            format!("{} × {} × {}", one(length_mm), one(width_mm), one(height_mm))
        }
        BarShape::Round { diameter_mm, height_mm } => format!("{} across, {} high", one(diameter_mm), one(height_mm)),
    }
}
