//! Measured against predicted values.

use barwright_calibration::published::group::Group;
use barwright_calibration::published::score::Row;
use barwright_calibration::published::{Report, Use};

use super::chart::{Axis, Chart, Marker, Naming, Picture, Series};

/// Groups drawn, in order.
const GROUPS: [Group; 5] = [Group::Solids, Group::Melting, Group::GelMelting, Group::Firmness, Group::Gelling];

/// Least value on a logarithmic axis.
const LEAST: f64 = 1e-3;

/// Charts side by side.
const BESIDE: usize = 2;

/// Room beyond the values, as a share of them.
const MARGIN: f64 = 0.05;

/// Describes measured against predicted, one chart for each group that has any; fitting rows are squares, unseen ones circles.
pub fn picture(report: &Report) -> Picture {
    let charts = GROUPS.into_iter().filter_map(|group| {
        let rows: Vec<&Row> = report.rows.iter().filter(|row| row.group == group && row.predicted.is_some()).collect();
        (!rows.is_empty()).then(|| chart(group, &rows))
    });
    Picture {
        title: "Measured and predicted".to_owned(),
        charts: charts.collect(),
        beside: BESIDE,
        caption: "On the line, both are the same. No parameter was fitted on an unseen row, and no table was set with one in view.".to_owned(),
    }
}

fn chart(group: Group, rows: &[&Row]) -> Chart {
    let logarithmic = group.logarithmic();
    let shown = |value: f64| if logarithmic { value.max(LEAST) } else { value };
    let place = |row: &&&Row| Some((shown(row.measured), shown(row.predicted.as_ref()?.value)));
    let (low, high) = rows
        .iter()
        .filter_map(|row| place(&row))
        .flat_map(|(x, y)| [x, y])
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    let (from, to) = if logarithmic {
        let room = (high / low).powf(MARGIN).max(1.0 + MARGIN);
        (low / room, high * room)
    } else {
        let room = MARGIN * (high - low).max(1.0);
        (low - room, high + room)
    };
    let mut series = vec![Series::line("", 0, 0.8, vec![(from, from), (to, to)]).named(Naming::None)];
    for (use_as, marker, ink, word) in [
        (Use::Unseen, Marker::Circle, 0, "unseen"),
        (Use::Fit, Marker::Square, 1, "fitting rows"),
        (Use::Apart, Marker::Dot, 2, "scored apart"),
    ] {
        let points: Vec<(f64, f64)> =
            rows.iter().filter(|row| row.use_as == use_as).filter_map(|row| place(&row)).collect();
        if !points.is_empty() {
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
