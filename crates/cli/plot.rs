//! Plots as SVG. The only place that knows the plotting library.

use barwright_validation::score::{Group, Row};
use barwright_validation::{Report, Use};
use kuva::backend::svg::SvgBackend;
use kuva::plot::scatter::MarkerShape;
use kuva::plot::{LinePlot, ScatterPlot};
use kuva::render::figure::Figure;
use kuva::render::layout::Layout;
use kuva::render::plots::Plot;

/// Width and height of one panel, px.
const PANEL: (f64, f64) = (420.0, 400.0);

/// Panels side by side.
const COLUMNS: usize = 2;

/// Groups drawn, in order.
const GROUPS: [Group; 5] = [Group::Solids, Group::Melting, Group::GelMelting, Group::Firmness, Group::Gelling];

/// Draws measured against predicted values, one panel for each group that has any; fitting rows are squares, unseen ones circles.
pub fn measured_against_predicted(report: &Report) -> String {
    let panels: Vec<(Vec<Plot>, Layout)> = GROUPS
        .into_iter()
        .filter_map(|group| {
            let rows: Vec<&Row> =
                report.rows.iter().filter(|row| row.group == group && row.predicted.is_some()).collect();
            (!rows.is_empty()).then(|| panel(group, &rows))
        })
        .collect();
    let columns = COLUMNS.min(panels.len().max(1));
    let count = panels.len().div_ceil(columns).max(1);
    let (plots, layouts) = panels.into_iter().unzip();
    let figure = Figure::new(count, columns).with_cell_size(PANEL.0, PANEL.1).with_plots(plots).with_layouts(layouts);
    stable_ids(&SvgBackend.render_scene(&figure.render()))
}

fn panel(group: Group, rows: &[&Row]) -> (Vec<Plot>, Layout) {
    let logarithmic = group.logarithmic();
    let scaled = |value: f64| if logarithmic { value.max(1e-3).log10() } else { value };
    let point = |row: &&Row| {
        let found = row.predicted.map_or(f64::NAN, |found| found.value);
        (scaled(row.measured), scaled(found))
    };
    let all: Vec<(f64, f64)> = rows.iter().map(point).collect();
    let ends = all
        .iter()
        .flat_map(|&(x, y)| [x, y])
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    let mut plots =
        vec![Plot::Line(LinePlot::new().with_data([(ends.0, ends.0), (ends.1, ends.1)]).with_color("#888888"))];
    for (use_as, shape, colour, word) in [
        (Use::Unseen, MarkerShape::Circle, "#1f4e79", "unseen"),
        (Use::Fit, MarkerShape::Square, "#c8862b", "fitting rows"),
    ] {
        let data: Vec<(f64, f64)> = rows.iter().filter(|row| row.use_as == use_as).map(point).collect();
        if data.is_empty() {
            continue;
        }
        let series = ScatterPlot::new().with_data(data).with_color(colour).with_size(4.0).with_marker(shape);
        plots.push(Plot::Scatter(series.with_legend(word)));
    }
    let unit = match group {
        Group::Solids => "% solids",
        Group::Melting | Group::GelMelting => "°C",
        Group::Firmness => "log10 of the measured unit",
        Group::Gelling => "log10 of mass %",
    };
    let layout = Layout::auto_from_plots(&plots)
        .with_title(group.words())
        .with_x_label(format!("measured, {unit}"))
        .with_y_label(format!("predicted, {unit}"));
    (plots, layout)
}

/// The library numbers its clip paths over the whole process; numbering them per drawing gives the same bytes each time.
fn stable_ids(svg: &str) -> String {
    let mut known: Vec<&str> = Vec::new();
    let mut text = String::with_capacity(svg.len());
    let mut rest = svg;
    while let Some(start) = rest.find("kuva-clip-") {
        let (before, tail) = rest.split_at(start);
        let digits = tail["kuva-clip-".len()..].find(|letter: char| !letter.is_ascii_digit()).unwrap_or(0);
        let (id, after) = tail.split_at("kuva-clip-".len() + digits);
        let number = known.iter().position(|one| *one == id).unwrap_or_else(|| {
            known.push(id);
            known.len() - 1
        });
        text.push_str(before);
        text.push_str(&format!("clip-{number}"));
        rest = after;
    }
    text + rest
}
