//! Measured against predicted values.

use barwright_calibration::published::group::Group;
use barwright_calibration::published::reproducibility::HALF_WIDTH;
use barwright_calibration::published::score::Row;
use barwright_calibration::published::{Report, Use};

use super::chart::{Axis, Chart, Marker, Naming, Picture, Series, extent};

/// Groups drawn, in order.
const GROUPS: [Group; 5] = [Group::Solids, Group::Melting, Group::GelMelting, Group::Firmness, Group::Gelling];

/// Least value on a logarithmic axis.
const LEAST: f64 = 1e-3;

/// Charts side by side.
const BESIDE: usize = 2;

/// Room beyond the values, as a share of them.
const MARGIN: f64 = 0.05;

/// Looks of the line on which both are the same, with the goal around it.
const SAME: (usize, f64) = (3, 0.8);

/// Describes measured against predicted with their 90 % intervals, one chart for each group that has any; fitting rows are squares, unseen ones
/// circles.
pub fn picture(report: &Report) -> Picture {
    let charts = GROUPS.into_iter().filter_map(|group| {
        let rows: Vec<&Row> = report.rows.iter().filter(|row| row.group == group && row.predicted.is_some()).collect();
        (!rows.is_empty()).then(|| chart(group, &rows))
    });
    let (points, kelvin, factor) = (Group::Solids.goal(), Group::Melting.goal(), Group::Firmness.goal().exp());
    Picture {
        title: "Measured and predicted".to_owned(),
        charts: charts.collect(),
        beside: BESIDE,
        caption: format!(
            "On the line, both are the same; shaded: the goal, {points} points, {kelvin} °C or a factor of {factor:.0}. Bars: 90 % intervals, of the measurement where its source states its scatter. No parameter was fitted on an unseen row, and no table was set with one in view."
        ),
    }
}

fn chart(group: Group, rows: &[&Row]) -> Chart {
    let logarithmic = group.logarithmic();
    let shown = |value: f64| if logarithmic { value.max(LEAST) } else { value };
    let place = |row: &&&Row| Some((shown(row.measured), shown(row.predicted.as_ref()?.value)));
    let (low, high) = extent(rows.iter().filter_map(|row| place(&row)).flat_map(|(x, y)| [x, y]));
    let (from, to) = if logarithmic {
        let room = (high / low).powf(MARGIN).max(1.0 + MARGIN);
        (low / room, high * room)
    } else {
        let room = MARGIN * (high - low).max(1.0);
        (low - room, high + room)
    };
    let off =
        |value: f64, by: f64| if logarithmic { value * (by * group.goal()).exp() } else { value + by * group.goal() };
    let mut corners = [from, off(from, 1.0), off(to, -1.0), to];
    corners.sort_by(f64::total_cmp);
    let (ink, width) = SAME;
    let same = Series::line("", 0, width, vec![(from, from), (to, to)]).named(Naming::None);
    let mut series =
        vec![Series { ink, band: corners.map(|value| (value, off(value, -1.0), off(value, 1.0))).into(), ..same }];
    let parts = [
        (Use::Unseen, Marker::Circle, 0, "unseen"),
        (Use::Fit, Marker::Square, 1, "fitting rows"),
        (Use::Apart, Marker::Dot, 2, "scored apart"),
    ];
    for (use_as, marker, ink, word) in parts {
        let of = || rows.iter().filter(|row| row.use_as == use_as);
        let points: Vec<(f64, f64)> = of().filter_map(|row| place(&row)).collect();
        if !points.is_empty() {
            series.push(Series::bars(ink, of().flat_map(|row| bars(row, shown)).collect()));
            series.push(Series::points(word, ink, marker, points));
        }
    }
    let unit = match group {
        Group::Solids => "% solids",
        Group::Melting | Group::GelMelting => "°C",
        Group::Firmness => "in its own unit",
        Group::Gelling => "% by mass",
    };
    let axis = |word: &str| Axis { label: format!("{word}, {unit}"), logarithmic, range: Some((from, to)) };
    Chart { title: group.words().to_owned(), x: axis("measured"), y: axis("predicted"), series, places: Vec::new() }
}

/// The 90 % intervals of a row: of its prediction, upwards, and of its measurement, across, where the source states a standard deviation.
fn bars(row: &Row, shown: impl Fn(f64) -> f64) -> Vec<[(f64, f64); 2]> {
    let Some(predicted) = &row.predicted else { return Vec::new() };
    let at = |measured: f64, predicted: f64| (shown(measured), shown(predicted));
    let measured = row.measured_sd.map(|sd| {
        let half = HALF_WIDTH * sd;
        [at(row.measured - half, predicted.value), at(row.measured + half, predicted.value)]
    });
    [[at(row.measured, predicted.low), at(row.measured, predicted.high)]].into_iter().chain(measured).collect()
}

#[cfg(test)]
mod tests {
    use barwright_blend::Estimate;
    use barwright_calibration::published::Status;

    use super::*;
    use crate::picture::chart::Shape;

    fn row(group: Group, measured: f64, measured_sd: Option<f64>, [low, value, high]: [f64; 3]) -> Row {
        Row {
            id: String::new(),
            group,
            use_as: Use::Unseen,
            status: Status::Read,
            formula: String::new(),
            temperature_c: None,
            measured,
            measured_sd,
            predicted: Some(Estimate { value, low, high }),
            error: None,
            inside: true,
            inside_with_test: true,
        }
    }

    #[test]
    fn points_have_their_intervals_and_the_line_its_goal() {
        let solids = row(Group::Solids, 40.0, Some(2.0), [30.0, 36.0, 48.0]);
        let shown = chart(Group::Solids, &[&solids, &row(Group::Solids, 10.0, None, [8.0, 12.0, 15.0])]);
        assert!(shown.series[0].band.iter().all(|(at, low, high)| (at - low, high - at) == (5.0, 5.0)));
        assert_eq!(shown.series[1].shape, Shape::Bars);
        let half = HALF_WIDTH * 2.0;
        let ends = [(40.0, 30.0), (40.0, 48.0), (40.0 - half, 36.0), (40.0 + half, 36.0), (10.0, 8.0), (10.0, 15.0)];
        assert_eq!(shown.series[1].points, ends);
        // Of ratios, the goal is a factor.
        let gelling = row(Group::Gelling, 4.0, None, [2.0, 3.0, 5.0]);
        let shown = chart(Group::Gelling, &[&gelling]);
        let factor = |part: f64, whole: f64| (whole / part - 2.0).abs() < 1e-9;
        assert!(shown.series[0].band.iter().all(|&(at, low, high)| factor(low, at) && factor(at, high)));
    }
}
