//! A bar along a route.

use barwright_making::Parcel;
use barwright_making::parcel::Record;

use super::chart::{Axis, Chart, Dash, Picture, Series, Shape};
use crate::words::units::Units;

/// Looks of core, air outside, air in a box, and what the bar keeps its shape to.
const CORE: usize = 0;
const AIR: usize = 1;
const INSIDE: usize = 2;
const HOLDS: usize = 3;

/// Widths of the line that decides, and of the others.
const THICK: f64 = 2.4;
const THIN: f64 = 1.4;

/// Seconds of an hour and of a minute.
const UNITS_S: [f64; 2] = [3600.0, 60.0];

/// Less than this is told in minutes, s.
const SHORT_S: f64 = 3.0 * 3600.0;

/// Describes air, core, and the temperature to which the bar keeps its shape against time.
///
/// # Arguments
/// * `found`: the bar along the route.
/// * `route`: its name as shown.
/// * `units`: shown.
pub fn picture(found: &Parcel, route: &str, units: Units) -> Picture {
    let (axis, hour) = time_axis(found.length_s);
    let end = found.length_s / hour;
    let history = |of: fn(&Record) -> f64| {
        found.asked.history.iter().map(|one| (one.time_s / hour, units.scaled(of(one)))).collect::<Vec<_>>()
    };
    let outside = found.outside.iter().map(|&(time_s, air_c)| (time_s / hour, units.scaled(air_c))).collect();
    // The levels first: their names have a place along the whole line.
    let mut series = Vec::new();
    if let Some(holds) = &found.holds_c {
        for (celsius, word) in [(holds.value, "keeps its shape to"), (holds.low, "5 % fail below")] {
            let shape = Shape::Line(Dash::Mixed, 0.9);
            series.push(Series { ink: HOLDS, ..level(word, units.scaled(celsius), end, shape) });
        }
    }
    series.push(Series::line("air outside", AIR, THIN, outside));
    series.push(Series::line("core of the bar", CORE, THICK, history(|one| one.centre_c)));
    if found.asked.ice_gone_s.is_some()
        || found.asked.history.first().map(|one| one.ambient_c) != found.outside.first().map(|one| one.1)
    {
        series.push(Series::line("air in the box", INSIDE, THIN, history(|one| one.ambient_c)));
    }
    let y = Axis::linear(format!("temperature, {}", units.degree()));
    let caption = "By the central estimates; the air in the box is without the bars' heat. To what temperature the shape is kept is a rule of thumb.";
    Picture {
        title: format!("Along {route}"),
        charts: vec![Chart { title: String::new(), x: axis.within(0.0, end), y, series, places: Vec::new() }],
        beside: 1,
        caption: caption.to_owned(),
    }
}

/// A temperature that stays.
pub(super) fn level(word: &str, value: f64, end: f64, shape: Shape) -> Series {
    Series { shape, ..Series::line(word, HOLDS, 1.0, vec![(0.0, value), (end, value)]) }
}

/// An axis of time, in minutes or hours, and seconds of its unit.
pub(super) fn time_axis(length_s: f64) -> (Axis, f64) {
    let [hour, minute] = UNITS_S;
    if length_s < SHORT_S { (Axis::linear("time, min"), minute) } else { (Axis::linear("time, h"), hour) }
}
