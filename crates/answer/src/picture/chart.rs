//! What a picture says, whatever it is drawn on.

use serde::Serialize;

/// A picture: charts, with what they are about.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Picture {
    /// Over all charts.
    pub title: String,
    /// Charts, in the order read.
    pub charts: Vec<Chart>,
    /// Charts side by side, where there is room.
    pub beside: usize,
    /// Under all charts: what is shaded, how it was computed.
    pub caption: String,
}

/// One pair of axes and what is drawn on it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Chart {
    /// Over it; may be empty.
    pub title: String,
    /// Across.
    pub x: Axis,
    /// Upwards.
    pub y: Axis,
    /// Lines and points.
    pub series: Vec<Series>,
    /// Places on the axis across that matter.
    pub places: Vec<Place>,
}

impl Picture {
    /// What is drawn, in words, for those who do not see it; the figures stand in the tables.
    pub fn in_words(&self) -> String {
        let all: Vec<String> = self.charts.iter().map(Chart::in_words).collect();
        format!("{} {}", all.join(" "), self.caption).trim().to_owned()
    }
}

impl Chart {
    fn in_words(&self) -> String {
        let names: Vec<&str> =
            self.series.iter().map(|one| one.name.as_str()).filter(|name| !name.is_empty()).collect();
        let places: Vec<String> = self.places.iter().map(|place| place.words.join(" ")).collect();
        let mut said = format!("{} against {}: {}", self.y.label, self.x.label, names.join("; "));
        if !places.is_empty() {
            said.push_str(&format!(". Marked: {}", places.join(", ")));
        }
        if !self.title.is_empty() {
            said = format!("{}: {said}", self.title);
        }
        format!("{said}.")
    }
}

/// An axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Axis {
    /// What it measures, with its unit.
    pub label: String,
    /// Whether it is logarithmic.
    pub logarithmic: bool,
    /// From and to; `None` to go by the data.
    pub range: Option<(f64, f64)>,
}

impl Axis {
    /// A linear axis that goes by the data.
    pub fn linear(label: impl Into<String>) -> Self {
        Axis { label: label.into(), logarithmic: false, range: None }
    }

    /// A logarithmic axis that goes by the data.
    pub fn logarithmic(label: impl Into<String>) -> Self {
        Axis { logarithmic: true, ..Axis::linear(label) }
    }

    /// Sets where it begins and ends.
    #[must_use]
    pub fn within(mut self, from: f64, to: f64) -> Self {
        self.range = Some((from, to));
        self
    }
}

/// A place on an axis, named in two lines above the chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Place {
    /// Where.
    pub at: f64,
    /// What it is, and how much.
    pub words: [String; 2],
}

/// Data with one look.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// What it is.
    pub name: String,
    /// Line or points.
    pub shape: Shape,
    /// Colour, as the number of an ink.
    pub ink: usize,
    /// Where; of error bars both ends in turn.
    pub points: Vec<(f64, f64)>,
    /// Across, and from and to upwards: shaded.
    pub band: Vec<(f64, f64, f64)>,
    /// Where its name stands.
    pub naming: Naming,
}

/// How data is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Shape {
    /// A line of some width.
    Line(Dash, f64),
    /// Points.
    Points(Marker),
    /// Error bars.
    Bars,
}

/// Dashes of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Dash {
    /// None.
    Solid,
    /// Long ones.
    Long,
    /// Dots.
    Dots,
    /// Long and dot.
    Mixed,
    /// Very long ones.
    Longer,
    /// Long and two dots.
    Pairs,
}

impl Dash {
    /// On and off in turn, in parts of a line's usual spacing; empty for a solid line.
    pub fn pattern(self) -> &'static [f64] {
        match self {
            Dash::Solid => &[],
            Dash::Long => &[8.0, 4.0],
            Dash::Dots => &[2.0, 4.0],
            Dash::Mixed => &[8.0, 3.0, 2.0, 3.0],
            Dash::Longer => &[12.0, 4.0],
            Dash::Pairs => &[8.0, 3.0, 2.0, 3.0, 2.0, 3.0],
        }
    }
}

/// How a point looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Marker {
    /// A small dot, for one of many.
    Dot,
    /// An open circle.
    Circle,
    /// A filled square.
    Square,
}

/// Where the name of a series stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub enum Naming {
    /// At the end of its line; below the chart where there is no room.
    AtEnd,
    /// Below the chart, with a sample.
    Below,
    /// Nowhere.
    None,
    /// Each point has its own letter beside it, and the series its name below.
    Each(Vec<String>),
}

impl Series {
    /// A line, named at its end.
    pub fn line(name: impl Into<String>, look: usize, width: f64, points: Vec<(f64, f64)>) -> Self {
        let dashes = [Dash::Solid, Dash::Long, Dash::Dots, Dash::Mixed, Dash::Longer, Dash::Pairs];
        let dash = dashes.get(look % dashes.len()).copied().unwrap_or(Dash::Solid);
        let shape = Shape::Line(dash, width);
        Series { name: name.into(), shape, ink: look, points, band: Vec::new(), naming: Naming::AtEnd }
    }

    /// Points, named below the chart.
    pub fn points(name: impl Into<String>, look: usize, marker: Marker, points: Vec<(f64, f64)>) -> Self {
        let shape = Shape::Points(marker);
        Series { name: name.into(), shape, ink: look, points, band: Vec::new(), naming: Naming::Below }
    }

    /// Error bars without a name, each from one end to the other.
    pub fn bars(look: usize, ends: Vec<[(f64, f64); 2]>) -> Self {
        let points = ends.into_iter().flatten().collect();
        Series { shape: Shape::Bars, naming: Naming::None, ..Series::points("", look, Marker::Dot, points) }
    }

    /// Every height it reaches, its band's among them.
    pub fn heights(&self) -> impl Iterator<Item = f64> {
        let band = self.band.iter().flat_map(|&(_, low, high)| [low, high]);
        self.points.iter().map(|point| point.1).chain(band)
    }

    /// Sets where its name stands.
    #[must_use]
    pub fn named(self, naming: Naming) -> Self {
        Series { naming, ..self }
    }
}

/// The least and the greatest of some values; the wrong way round where there are none.
pub fn extent(values: impl IntoIterator<Item = f64>) -> (f64, f64) {
    let wider = |(low, high): (f64, f64), value: f64| (low.min(value), high.max(value));
    values.into_iter().fold((f64::INFINITY, f64::NEG_INFINITY), wider)
}
