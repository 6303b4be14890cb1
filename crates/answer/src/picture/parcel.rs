//! A bar along a route, for each way to send it: its mean temperature, which decides, and the one at which it fails.

use barwright_blend::Estimate;
use barwright_making::parcel::{Outcome, Parcel, Way};

use super::chart::{Axis, Chart, Dash, Marker, Naming, Picture, Series, Shape, extent};
use crate::words::number::significant;
use crate::words::units::{Units, with_unit};

/// Looks of the bar, air outside, air in a box, and what the bar keeps its shape to.
const BAR: usize = 0;
const AIR: usize = 1;
const INSIDE: usize = 2;
const HOLDS: usize = 3;

/// Widths of the line that decides, of the air, and of a level.
const THICK: f64 = 2.4;
const THIN: f64 = 1.4;
const LEVEL: f64 = 0.9;

/// Charts side by side.
const BESIDE: usize = 2;

/// Room above and below what is drawn, as a share of it.
const MARGIN: f64 = 0.04;

/// Seconds of an hour and of a minute.
const UNITS_S: [f64; 2] = [3600.0, 60.0];

/// Less than this is told in minutes, s.
const SHORT_S: f64 = 3.0 * 3600.0;

/// Describes the mean of the bar with its band, what it keeps its shape to, where it fails, and the air, one chart for each way.
///
/// # Arguments
/// * `found`: the bar along the route.
/// * `route`: its name as shown.
/// * `titles`: of the ways, in their order.
/// * `units`: shown.
pub fn picture(found: &Parcel, route: &str, titles: &[String], units: Units) -> Picture {
    let (axis, hour) = time_axis(found.length_s);
    let ways: Vec<(&String, Vec<Series>)> =
        titles.iter().zip(found.ways.iter().map(|way| series(found, way, hour, units))).collect();
    let (low, high) = extent(ways.iter().flat_map(|(_, series)| series).flat_map(Series::heights));
    let room = MARGIN * (high - low);
    let y = Axis::linear(format!("temperature, {}", units.degree())).within(low - room, high + room);
    let x = axis.within(0.0, found.length_s / hour);
    let chart = |(title, series): (&String, Vec<Series>)| Chart {
        title: title.clone(),
        x: x.clone(),
        y: y.clone(),
        series,
        places: Vec::new(),
    };
    let caption = "The surest way first, each with its chance to keep its shape. Lines: central estimates; shaded, and the bar at a failure: 90 % band. In a draw it fails where its own mean, of several bars that of the warmest, meets its own level, a rule of thumb. The air in the box is without the bars' heat.";
    Picture {
        title: format!("Along {route}"),
        charts: ways.into_iter().map(chart).collect(),
        beside: BESIDE,
        caption: caption.to_owned(),
    }
}

/// What is drawn of one way.
fn series(found: &Parcel, way: &Outcome, hour: f64, units: Units) -> Vec<Series> {
    let end = found.length_s / hour;
    let scaled = |time_s: f64, celsius: f64| (time_s / hour, units.scaled(celsius));
    let banded = |time_s: f64, one: &Estimate| (time_s / hour, units.scaled(one.low), units.scaled(one.high));
    let around: Vec<_> = way.history.iter().map(|one| scaled(one.time_s, one.ambient_c)).collect();
    let outside: Vec<_> = found.outside.iter().map(|&(time_s, air_c)| scaled(time_s, air_c)).collect();
    let boxed = way.ice_gone_s.is_some() || around.first() != outside.first();
    let mut series = Vec::new();
    // Sent later it meets the air of the route at other times.
    if !matches!(way.way, Way::Later { .. }) {
        series.push(Series::line("air outside", AIR, THIN, outside));
        if boxed {
            series.push(Series::line("air in the box", INSIDE, THIN, around));
        }
    } else {
        series.push(Series::line("air around it", AIR, THIN, around));
    }
    let level = found.holds_c.as_ref().map(|holds| Series {
        ink: HOLDS,
        band: [0.0, found.length_s].map(|time_s| banded(time_s, holds)).into(),
        ..level("keeps its shape to", units.scaled(holds.value), end, Shape::Line(Dash::Mixed, LEVEL))
    });
    series.extend(level);
    let mean = way.course_c.iter().map(|(time_s, one)| scaled(*time_s, one.value)).collect();
    let band = way.course_c.iter().map(|(time_s, one)| banded(*time_s, one)).collect();
    series.push(Series { band, ..Series::line("mean of the bar", BAR, THICK, mean) });
    if let (Some(fails), Some(holds)) = (&way.fails_s, &found.holds_c) {
        let at = |time_s: f64| scaled(time_s, holds.value);
        let after = with_unit(&significant(fails.value / hour, 2), if hour == UNITS_S[0] { "h" } else { "min" });
        series.push(Series::bars(BAR, vec![[at(fails.low), at(fails.high)]]));
        series.push(
            Series::points("fails after", BAR, Marker::Square, vec![at(fails.value)]).named(Naming::Each(vec![after])),
        );
    }
    series
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
