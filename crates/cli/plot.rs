//! Plots as SVG. The only place that knows the plotting library.

use barwright_making::cool::WATCHED_S;
use barwright_making::parcel::Record;
use barwright_making::{Cooling, Parcel};
use barwright_reformulate::explore::{Candidate, Properties};
use barwright_validation::score::{Group, Row};
use barwright_validation::{Report, Use};
use kuva::backend::svg::SvgBackend;
use kuva::plot::annotations::TextAnnotation;
use kuva::plot::scatter::MarkerShape;
use kuva::plot::{LinePlot, LineStyle, ScatterPlot};
use kuva::render::figure::Figure;
use kuva::render::layout::Layout;
use kuva::render::plots::Plot;

use crate::commands::explore::Shown;
use crate::render::explore::letter;

/// Width and height of one panel, px.
const PANEL: (f64, f64) = (420.0, 400.0);

/// Panels side by side.
const COLUMNS: usize = 2;

/// What is less is not drawn on a logarithmic axis.
const LEAST_DRAWN: f64 = 1e-6;

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
    figure(panels)
}

/// Puts panels beside and below each other.
fn figure(panels: Vec<(Vec<Plot>, Layout)>) -> String {
    let columns = COLUMNS.min(panels.len().max(1));
    let count = panels.len().div_ceil(columns).max(1);
    let (plots, layouts) = panels.into_iter().unzip();
    let figure = Figure::new(count, columns).with_cell_size(PANEL.0, PANEL.1).with_plots(plots).with_layouts(layouts);
    stable_ids(&SvgBackend.render_scene(&figure.render()))
}

/// What one axis of the trade-offs shows.
struct Axis {
    label: String,
    logarithmic: bool,
    of: fn(&Properties) -> Option<f64>,
}

/// Draws trade-offs against each other: firmness and warmth, relief and skin feel, price and warmth where there are prices.
///
/// # Arguments
/// * `front`: all of them, drawn as small dots.
/// * `shown`: those shown by letter, drawn as filled squares.
/// * `firmness_at_c`: temperature of the firmness.
pub fn trade_offs(front: &[Candidate], shown: &[Shown], firmness_at_c: f64) -> String {
    let axis = |label: &str, logarithmic, of| Axis { label: label.to_owned(), logarithmic, of };
    let hold = || axis("keeps its shape up to, °C", false, |one| one.hold_c);
    let firmness = axis(&format!("yield stress at {firmness_at_c} °C, kPa"), true, |one| {
        Some(one.firmness_kpa).filter(|kpa| *kpa > LEAST_DRAWN)
    });
    let relief = axis("finest relief, mm", false, |one| Some(one.finest_mm));
    let skin = axis("off the best glide, ln of kPa on skin", false, |one| Some(one.skin_ln_off));
    let price = axis("price of a kilogram", false, |one| one.price);
    let priced = front.iter().any(|one| one.properties.price.is_some());
    let mut panels = vec![trade_off("Firmness and warmth", &hold(), &firmness, front, shown)];
    panels.push(trade_off("Relief and skin feel", &relief, &skin, front, shown));
    if priced {
        panels.push(trade_off("Price and warmth", &hold(), &price, front, shown));
        panels.push(trade_off("Price and relief", &relief, &price, front, shown));
    }
    figure(panels)
}

/// One panel of trade-offs.
fn trade_off(title: &str, x: &Axis, y: &Axis, front: &[Candidate], shown: &[Shown]) -> (Vec<Plot>, Layout) {
    let place = |of: &Properties| (x.of)(of).zip((y.of)(of));
    let all: Vec<(f64, f64)> = front.iter().filter_map(|one| place(&one.properties)).collect();
    let chosen: Vec<(f64, f64)> = shown.iter().filter_map(|one| place(&one.candidate.properties)).collect();
    let series = |data, colour: &str, shape, size| {
        Plot::Scatter(ScatterPlot::new().with_data(data).with_color(colour).with_size(size).with_marker(shape))
    };
    let plots =
        vec![series(all, "#9aa5b1", MarkerShape::Circle, 2.0), series(chosen, "#1f4e79", MarkerShape::Square, 4.0)];
    let mut layout =
        Layout::auto_from_plots(&plots).with_title(title).with_x_label(x.label.clone()).with_y_label(y.label.clone());
    if y.logarithmic {
        layout = layout.with_log_y();
    }
    for (number, one) in shown.iter().enumerate() {
        if let Some((x, y)) = place(&one.candidate.properties) {
            layout = layout.with_annotation(TextAnnotation::new(format!("  {}", letter(number)), x, y));
        }
    }
    (plots, layout)
}

/// Colours and dashes of lines, told apart without colour too.
const LINES: [(&str, LineStyle); 4] = [
    ("#1f4e79", LineStyle::Solid),
    ("#c8862b", LineStyle::Dashed),
    ("#4a7c59", LineStyle::Dotted),
    ("#7a4a6d", LineStyle::DashDot),
];

/// Draws air, core, and the temperature to which the bar keeps its shape against time.
pub fn parcel(found: &Parcel, route: &str) -> String {
    let [core, air, inside, holds] = &LINES;
    let line = |data: Vec<(f64, f64)>, (colour, style): &(&str, LineStyle), width, word: &str| {
        let line = LinePlot::new().with_data(data).with_color(*colour).with_stroke_width(width);
        Plot::Line(line.with_line_style(style.clone()).with_legend(word))
    };
    let history =
        |of: fn(&Record) -> f64| found.asked.history.iter().map(|one| (one.time_s / 3600.0, of(one))).collect();
    let outside = found.outside.iter().map(|&(time_s, air_c)| (time_s / 3600.0, air_c)).collect();
    let mut plots =
        vec![line(outside, air, 1.5, "air outside"), line(history(|one| one.centre_c), core, 2.5, "core of the bar")];
    if found.asked.ice_gone_s.is_some()
        || found.asked.history.first().map(|one| one.ambient_c) != found.outside.first().map(|one| one.1)
    {
        plots.push(line(history(|one| one.ambient_c), inside, 1.5, "air in the box, without the bars' heat"));
    }
    if let Some(estimate) = &found.holds_c {
        for (level, word) in [(estimate.value, "keeps its shape to"), (estimate.low, "5 in 100 fail below")] {
            let end_h = found.length_s / 3600.0;
            plots.push(line(vec![(0.0, level), (end_h, level)], holds, 0.8, word));
        }
    }
    let layout = Layout::auto_from_plots(&plots)
        .with_title(format!("Along {route}"))
        .with_x_label("time, h")
        .with_y_label("temperature, °C");
    figure(vec![(plots, layout)])
}

/// Draws the middle of the bar (thick) and its surface (thin) against time in each place.
pub fn cooling(found: &Cooling, pour_c: f64) -> String {
    let last_s = found.places.iter().filter_map(|one| one.release_s.map(|time| time.value)).fold(0.0, f64::max);
    let end_s = if last_s > 0.0 { (1.5 * last_s).min(WATCHED_S) } else { WATCHED_S };
    let mut plots = Vec::new();
    for (one, (colour, style)) in found.places.iter().zip(LINES.iter().cycle()) {
        let within = || one.history.iter().filter(|sample| sample.time_s <= end_s);
        for (of, width, word) in [
            (within().map(|one| (one.time_s / 3600.0, one.centre_c)).collect::<Vec<_>>(), 2.5, "middle"),
            (within().map(|one| (one.time_s / 3600.0, one.surface_c)).collect(), 1.0, "surface"),
        ] {
            let line = LinePlot::new().with_data(of).with_color(*colour).with_stroke_width(width);
            let line = line.with_line_style(style.clone()).with_legend(format!("{}, {word}", one.place.name));
            plots.push(Plot::Line(line));
        }
    }
    for (level, word) in [(found.sets_c, "sets"), (found.releases_c, "leaves the mould")] {
        if let Some(level) = level.filter(|level| *level < pour_c && *level > -20.0) {
            let line = LinePlot::new().with_data([(0.0, level), (end_s / 3600.0, level)]).with_color("#888888");
            plots.push(Plot::Line(line.with_stroke_width(0.8).with_legend(word)));
        }
    }
    let layout =
        Layout::auto_from_plots(&plots).with_title("Cooling").with_x_label("time, h").with_y_label("temperature, °C");
    figure(vec![(plots, layout)])
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
