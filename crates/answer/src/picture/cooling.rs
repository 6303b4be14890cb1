//! A bar that cools, in each place.

use barwright_making::Cooling;
use barwright_making::cool::WATCHED_S;

use super::chart::{Axis, Chart, Dash, Picture, Series, Shape};
use super::parcel::{level, time_axis};
use crate::words::units::Units;

/// Widths of the lines of the middle, which decides, and of the surface.
const WIDTHS: (f64, f64) = (2.4, 1.0);

/// Time shown after the last bar has left its mould, as a share of it.
const BEYOND: f64 = 1.5;

/// No bar cools below this, °C: a level that is lower is none.
const COLDEST_C: f64 = -20.0;

/// Describes the middle of the bar (thick) and its surface (thin) against time in each place.
pub fn picture(found: &Cooling, pour_c: f64, units: Units) -> Picture {
    let last_s = found.places.iter().filter_map(|one| one.release_s.map(|time| time.value)).fold(0.0, f64::max);
    let end_s = if last_s > 0.0 { (BEYOND * last_s).min(WATCHED_S) } else { WATCHED_S };
    let (axis, hour) = time_axis(end_s);
    let mut series = Vec::new();
    // The levels first: their names have a place along the whole line.
    for (celsius, word) in [(found.sets_c, "sets"), (found.releases_c, "leaves the mould")] {
        if let Some(celsius) = celsius.filter(|celsius| *celsius < pour_c && *celsius > COLDEST_C) {
            series.push(level(word, units.scaled(celsius), end_s / hour, Shape::Line(Dash::Dots, 0.8)));
        }
    }
    for (look, one) in found.places.iter().enumerate() {
        let within = || one.history.iter().filter(|sample| sample.time_s <= end_s);
        let middle = within().map(|one| (one.time_s / hour, units.scaled(one.centre_c))).collect();
        let surface = within().map(|one| (one.time_s / hour, units.scaled(one.surface_c))).collect();
        series.push(Series::line(format!("{}, middle", one.place.name), look, WIDTHS.0, middle));
        series.push(Series::line(format!("{}, surface", one.place.name), look, WIDTHS.1, surface));
    }
    let y = Axis::linear(format!("temperature, {}", units.degree()));
    Picture {
        title: "Cooling in the mould".to_owned(),
        charts: vec![Chart { title: String::new(), x: axis.within(0.0, end_s / hour), y, series, places: Vec::new() }],
        beside: 1,
        caption: "By the central estimates. Below its levels, at the warmest spot, the bar sets and leaves the mould; the latter is a rule of thumb.".to_owned(),
    }
}
