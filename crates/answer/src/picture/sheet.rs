//! A picture laid out on a surface: where every line and word goes, so that no word stands on another. The surface may be paper, measured in
//! pixels, or a terminal, measured in letters.

use std::collections::BTreeSet;

use super::chart::{Axis, Chart, Dash, Marker, Naming, Picture, Place, Series, Shape};
use super::ticks;

/// Room left between the data and the frame, as a share of the axis.
const MARGIN: f64 = 0.04;

/// Places along a line where its name is tried.
const TRIED: usize = 28;

/// Price of covering a line of data, of covering the line of a place, and of standing nearer to another line than to its own.
const COSTS: [f64; 3] = [8.0, 2.0, 5.0];

/// A name that would cost more stands below the chart.
const TOO_DEAR: f64 = 12.0;

/// A figure as wide as most at the ticks.
const USUAL_TICK: &str = "1000";

/// Dots nearer to each other than this, as a share of what is told apart, are on one spot.
const SPOT: f64 = 0.25;

/// Least figure on a logarithmic axis.
const LEAST: f64 = 1e-9;

/// What is drawn on.
#[derive(Debug, Clone, Copy)]
pub struct Surface {
    /// Width of one chart.
    pub width: f64,
    /// Height of the frame of one chart.
    pub frame: f64,
    /// Height of a line of words.
    pub line: f64,
    /// Width of a letter.
    pub letter: fn(char) -> f64,
    /// Letters of titles against others.
    pub title: f64,
    /// Room between words and what is beside them: across and upwards.
    pub gap: (f64, f64),
    /// Length of a tick.
    pub tick: f64,
    /// Length of a sample of a line.
    pub sample: f64,
    /// Whether words stand on whole units only.
    pub whole: bool,
    /// Least distance at which things are told apart.
    pub fine: f64,
    /// Whether charts may stand side by side.
    pub beside: bool,
    /// Room of one tick, across and upwards.
    pub spacing: (f64, f64),
}

/// A rectangle: left, top, width, height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// Left side.
    pub x: f64,
    /// Upper side.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Area {
    fn meets(&self, other: &Area) -> bool {
        self.x < other.x + other.width
            && other.x < self.x + self.width
            && self.y < other.y + other.height
            && other.y < self.y + self.height
    }

    fn holds(&self, (x, y): (f64, f64)) -> bool {
        x >= self.x && x <= self.x + self.width && y >= self.y && y <= self.y + self.height
    }

    fn within(&self, outer: &Area) -> bool {
        outer.holds((self.x, self.y)) && outer.holds((self.x + self.width, self.y + self.height))
    }
}

/// What words are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Title of a picture or chart.
    Title,
    /// What an axis measures.
    Axis,
    /// A figure at a tick.
    Tick,
    /// A place that matters.
    Place,
    /// What a series is.
    Name,
    /// Below all.
    Caption,
}

/// One thing to draw.
#[derive(Debug, Clone, PartialEq)]
pub enum Item {
    /// Words on one line.
    Words(Area, String, Role),
    /// The frame of a chart.
    Frame(Area),
    /// A tick, from and to.
    Tick((f64, f64), (f64, f64)),
    /// The line of a place: across, from and to.
    Place(f64, f64, f64),
    /// Shaded: upper and lower edge, at the same places across; ink.
    Band(Vec<(f64, f64)>, Vec<(f64, f64)>, usize),
    /// A line: dashes, width, ink.
    Line(Vec<(f64, f64)>, Dash, f64, usize),
    /// A point: ink.
    Point((f64, f64), Marker, usize),
}

/// A picture laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
    /// What to draw, in order.
    pub items: Vec<Item>,
}

impl Surface {
    fn width_of(&self, text: &str, role: Role) -> f64 {
        let scale = if role == Role::Title { self.title } else { 1.0 };
        scale * text.chars().map(self.letter).sum::<f64>()
    }

    fn at(&self, value: f64) -> f64 {
        if self.whole { value.round() } else { value }
    }

    /// Breaks a text into lines no wider than so much.
    fn lines(&self, text: &str, width: f64, role: Role) -> Vec<String> {
        let mut lines = vec![String::new()];
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            let Some(line) = lines.last_mut() else { continue };
            let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
            if line.is_empty() || self.width_of(&longer, role) <= width {
                *line = longer;
            } else {
                lines.push(word.to_owned());
            }
        }
        lines.retain(|line| !line.is_empty());
        lines
    }

    /// Cuts a text that is wider than so much.
    fn cut(&self, text: &str, width: f64, role: Role) -> String {
        if self.width_of(text, role) <= width {
            return text.to_owned();
        }
        let mut kept = text.to_owned();
        while kept.pop().is_some() && self.width_of(&kept, role) + (self.letter)('…') > width {}
        format!("{}…", kept.trim_end())
    }
}

/// Lays a picture out.
pub fn lay_out(picture: &Picture, surface: &Surface) -> Sheet {
    let columns = if surface.beside { picture.beside.clamp(1, picture.charts.len().max(1)) } else { 1 };
    let (gap_x, gap_y) = surface.gap;
    let between = 3.0 * gap_x;
    let width = surface.width * columns as f64 + between * (columns - 1) as f64;
    let mut items = Vec::new();
    let mut y = gap_y;
    for line in surface.lines(&picture.title, width - 2.0 * gap_x, Role::Title) {
        y += words(&mut items, surface, line, (gap_x, y), Role::Title);
    }
    for row in picture.charts.chunks(columns) {
        y += gap_y;
        let mut tallest: f64 = 0.0;
        for (column, chart) in row.iter().enumerate() {
            let x = column as f64 * (surface.width + between);
            let laid = Chartist::new(chart, surface, (x, y)).lay_out();
            tallest = tallest.max(laid.height);
            items.extend(laid.items);
        }
        y += tallest + gap_y;
    }
    for line in surface.lines(&picture.caption, width - 2.0 * gap_x, Role::Caption) {
        y += words(&mut items, surface, line, (gap_x, y), Role::Caption);
    }
    Sheet { width, height: y + gap_y, items }
}

/// Puts words and returns the height they take.
fn words(items: &mut Vec<Item>, surface: &Surface, text: String, (x, y): (f64, f64), role: Role) -> f64 {
    let width = surface.width_of(&text, role);
    let scale = if role == Role::Title { surface.title } else { 1.0 };
    let height = surface.line * scale;
    items.push(Item::Words(Area { x: surface.at(x), y: surface.at(y), width, height }, text, role));
    height
}

/// A scale from figures to the surface.
#[derive(Debug, Clone, Copy)]
struct Scale {
    logarithmic: bool,
    data: (f64, f64),
    surface: (f64, f64),
}

impl Scale {
    fn new(axis: &Axis, figures: impl Iterator<Item = f64>, surface: (f64, f64)) -> Self {
        let logarithmic = axis.logarithmic;
        let value = |figure: f64| if logarithmic { figure.max(LEAST).log10() } else { figure };
        let data = axis.range.map_or_else(
            || {
                let (low, high) = figures
                    .filter(|figure| figure.is_finite() && (!logarithmic || *figure > LEAST))
                    .map(value)
                    .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| (low.min(one), high.max(one)));
                let middle = if low <= high { 0.5 * (low + high) } else { 0.5 };
                let half = if high - low > LEAST { (0.5 + MARGIN) * (high - low) } else { 0.5 };
                (middle - half, middle + half)
            },
            |(from, to)| (value(from), value(to)),
        );
        Scale { logarithmic, data, surface }
    }

    fn place(&self, figure: f64) -> f64 {
        let value = if self.logarithmic { figure.max(LEAST).log10() } else { figure };
        let share = (value - self.data.0) / (self.data.1 - self.data.0);
        self.surface.0 + share * (self.surface.1 - self.surface.0)
    }

    fn ticks(&self, room: f64) -> Vec<(f64, String)> {
        let most = ((self.surface.1 - self.surface.0).abs() / room).floor().max(2.0) as usize;
        if self.logarithmic {
            ticks::logarithmic(10f64.powf(self.data.0), 10f64.powf(self.data.1), most)
        } else {
            ticks::linear(self.data.0, self.data.1, most)
        }
    }
}

/// Lays one chart out.
struct Chartist<'a> {
    chart: &'a Chart,
    surface: &'a Surface,
    corner: (f64, f64),
    items: Vec<Item>,
    taken: Vec<Area>,
}

/// A chart laid out.
struct Laid {
    height: f64,
    items: Vec<Item>,
}

impl<'a> Chartist<'a> {
    fn new(chart: &'a Chart, surface: &'a Surface, corner: (f64, f64)) -> Self {
        Chartist { chart, surface, corner, items: Vec::new(), taken: Vec::new() }
    }

    /// Puts words and minds the room they take.
    fn words(&mut self, text: String, at: (f64, f64), role: Role) -> f64 {
        let height = words(&mut self.items, self.surface, text, at, role);
        if let Some(Item::Words(area, ..)) = self.items.last() {
            self.taken.push(*area);
        }
        height
    }

    fn lay_out(mut self) -> Laid {
        let Surface { line, gap: (gap_x, gap_y), tick, spacing, .. } = *self.surface;
        let (left, top) = self.corner;
        let chart = self.chart;
        let mut y = top;
        let within = self.surface.width - 2.0 * gap_x;
        if !chart.title.is_empty() {
            let title = self.surface.cut(&chart.title, within / self.surface.title, Role::Title);
            y += self.words(title, (left + gap_x, y), Role::Title);
        }
        y += self.words(self.surface.cut(&chart.y.label, within, Role::Axis), (left + gap_x, y), Role::Axis) + gap_y;
        if !chart.places.is_empty() {
            y += 2.0 * line + gap_y;
        }
        let series = &chart.series;
        let upwards = series.iter().flat_map(|one| {
            one.points.iter().map(|point| point.1).chain(one.band.iter().flat_map(|&(_, low, high)| [low, high]))
        });
        let y_scale = Scale::new(&chart.y, upwards, (y + self.surface.frame, y));
        // Charts under each other keep their left sides in line.
        let least = self.surface.width_of(USUAL_TICK, Role::Tick);
        let y_ticks = y_scale.ticks(spacing.1);
        let widest = y_ticks.iter().map(|(_, word)| self.surface.width_of(word, Role::Tick)).fold(least, f64::max);
        let from = self.surface.at(left + gap_x + widest + gap_x + tick);
        let frame =
            Area { x: from, y, width: left + self.surface.width - 3.0 * gap_x - from, height: self.surface.frame };
        let across = series.iter().flat_map(|one| one.points.iter().map(|point| point.0));
        let x_scale = Scale::new(&chart.x, across, (frame.x, frame.x + frame.width));

        for one in series {
            self.band(one, &x_scale, &y_scale, &frame);
        }
        self.places(&x_scale, &frame);
        self.items.push(Item::Frame(frame));
        for (value, word) in y_ticks {
            let at = y_scale.place(value);
            self.items.push(Item::Tick((frame.x - tick, at), (frame.x, at)));
            let start = frame.x - tick - gap_x - self.surface.width_of(&word, Role::Tick);
            self.words(word, (start, at - 0.5 * line), Role::Tick);
        }
        let foot = frame.y + frame.height;
        let mut end = f64::NEG_INFINITY;
        for (value, word) in x_scale.ticks(spacing.0) {
            let at = x_scale.place(value);
            self.items.push(Item::Tick((at, foot), (at, foot + tick)));
            let width = self.surface.width_of(&word, Role::Tick);
            if at - 0.5 * width > end {
                self.words(word, (at - 0.5 * width, foot + tick + gap_y), Role::Tick);
                end = at + 0.5 * width + gap_x;
            }
        }
        y = foot + tick + gap_y + line;
        let label = self.surface.cut(&chart.x.label, frame.width, Role::Axis);
        let start = frame.x + 0.5 * (frame.width - self.surface.width_of(&label, Role::Axis));
        y += self.words(label, (start, y), Role::Axis);

        let drawn: Vec<Vec<(f64, f64)>> = series
            .iter()
            .map(|one| one.points.iter().map(|&(x, y)| (x_scale.place(x), y_scale.place(y))).collect())
            .collect();
        for (one, points) in series.iter().zip(&drawn) {
            self.series(one, points, &frame);
        }
        let below = self.names(&drawn, &frame);
        for one in below {
            y += gap_y;
            y += self.key(one, (frame.x, y));
        }
        Laid { height: y - top, items: self.items }
    }

    fn band(&mut self, one: &Series, x: &Scale, y: &Scale, frame: &Area) {
        let inside = |at: f64| at.clamp(frame.y, frame.y + frame.height);
        let within: Vec<_> = one
            .band
            .iter()
            .filter(|(at, ..)| {
                let at = x.place(*at);
                at >= frame.x - LEAST && at <= frame.x + frame.width + LEAST
            })
            .collect();
        if within.len() > 1 {
            let upper = within.iter().map(|(at, _, high)| (x.place(*at), inside(y.place(*high)))).collect();
            let lower = within.iter().map(|(at, low, _)| (x.place(*at), inside(y.place(*low)))).collect();
            self.items.push(Item::Band(upper, lower, one.ink));
        }
    }

    /// Names the places above the frame, moved apart where they would touch.
    fn places(&mut self, x: &Scale, frame: &Area) {
        let Surface { line, gap: (gap_x, gap_y), .. } = *self.surface;
        let mut end = f64::NEG_INFINITY;
        for Place { at, words } in &self.chart.places {
            let at = x.place(*at);
            if at < frame.x || at > frame.x + frame.width {
                continue;
            }
            self.items.push(Item::Place(at, frame.y, frame.y + frame.height));
            let widths = words.each_ref().map(|word| self.surface.width_of(word, Role::Place));
            let half = 0.5 * widths[0].max(widths[1]);
            let last = self.corner.0 + self.surface.width - half;
            let middle = at.max(end + gap_x + half).min(last);
            for (row, (word, width)) in words.iter().zip(widths).enumerate() {
                let top = frame.y - gap_y - (2.0 - row as f64) * line;
                self.words(word.clone(), (middle - 0.5 * width, top), Role::Place);
            }
            end = middle + half;
        }
    }

    fn series(&mut self, one: &Series, points: &[(f64, f64)], frame: &Area) {
        match one.shape {
            Shape::Line(dash, width) => {
                for piece in clipped(points, frame) {
                    self.items.push(Item::Line(piece, dash, width, one.ink));
                }
            }
            Shape::Points(marker) => {
                // Of many dots on one spot, one is seen.
                let spot = |value: f64| (value / (SPOT * self.surface.fine)).round() as i64;
                let mut taken = BTreeSet::new();
                for point in points.iter().filter(|point| frame.holds(**point)) {
                    if marker != Marker::Dot || taken.insert((spot(point.0), spot(point.1))) {
                        self.items.push(Item::Point(*point, marker, one.ink));
                    }
                }
            }
        }
    }

    /// Names series and points where there is room; returns the series to be named below the chart.
    fn names(&mut self, drawn: &[Vec<(f64, f64)>], frame: &Area) -> Vec<&'a Series> {
        let chart = self.chart;
        let dense: Vec<Vec<(f64, f64)>> = (chart.series.iter().zip(drawn))
            .map(|(one, points)| match one.shape {
                Shape::Line(..) => {
                    clipped(points, frame).iter().flat_map(|piece| filled(piece, self.surface.fine)).collect()
                }
                Shape::Points(_) => points.iter().copied().filter(|point| frame.holds(*point)).collect(),
            })
            .collect();
        let mut below = Vec::new();
        for (number, one) in chart.series.iter().enumerate() {
            match &one.naming {
                Naming::None => {}
                Naming::Below => below.push(one),
                Naming::Each(letters) => {
                    below.push(one);
                    for (letter, point) in letters.iter().zip(drawn.get(number).into_iter().flatten()) {
                        if let Some((area, _)) = self.best(letter, &[*point], number, &dense, frame) {
                            self.words(letter.clone(), (area.x, area.y), Role::Name);
                        }
                    }
                }
                Naming::Beside => {
                    let line = dense.get(number).map_or(&[][..], Vec::as_slice);
                    let every = (line.len() / TRIED).max(1);
                    let tried: Vec<_> = line.iter().skip(every / 2).step_by(every).copied().collect();
                    match self.best(&one.name, &tried, number, &dense, frame) {
                        Some((area, cost)) if cost < TOO_DEAR => {
                            self.words(one.name.clone(), (area.x, area.y), Role::Name);
                        }
                        _ => below.push(one),
                    }
                }
            }
        }
        below
    }

    /// The cheapest free place of a name beside one of the points tried.
    fn best(
        &self,
        name: &str,
        tried: &[(f64, f64)],
        own: usize,
        dense: &[Vec<(f64, f64)>],
        frame: &Area,
    ) -> Option<(Area, f64)> {
        let Surface { line, gap: (gap_x, gap_y), .. } = *self.surface;
        let width = self.surface.width_of(name, Role::Name);
        let [cover, cross, near] = COSTS;
        let mut best: Option<(Area, f64)> = None;
        for &(x, y) in tried {
            let (right, above) = (x + 1.5 * gap_x, y - line - gap_y.max(0.5 * self.surface.fine));
            let (left, under) = (x - 1.5 * gap_x - width, y + gap_y);
            let places = [
                (right, above),
                (right, y - 0.5 * line),
                (right, under),
                (left, above),
                (left, y - 0.5 * line),
                (left, under),
            ];
            for (x0, y0) in places {
                let area = Area { x: self.surface.at(x0), y: self.surface.at(y0), width, height: line };
                let wider = Area { x: area.x - 0.5 * gap_x, width: width + gap_x, ..area };
                if !wider.within(frame) || self.taken.iter().any(|taken| taken.meets(&wider)) {
                    continue;
                }
                let middle = (area.x + 0.5 * width, area.y + 0.5 * line);
                let nearest = |points: &[(f64, f64)]| {
                    points.iter().map(|point| distance(*point, &area, middle)).fold(f64::INFINITY, f64::min)
                };
                let to_own = dense.get(own).map_or(f64::INFINITY, |points| nearest(points));
                let mut cost = 0.0;
                for (number, points) in dense.iter().enumerate() {
                    cost += cover * points.iter().filter(|point| wider.holds(**point)).count() as f64;
                    if number != own {
                        let closer = (to_own + 2.0 * line - nearest(points)) / line;
                        cost += near * closer.max(0.0);
                    }
                }
                let crossed =
                    |item: &&Item| matches!(item, Item::Place(at, ..) if *at > wider.x && *at < wider.x + wider.width);
                cost += cross * self.items.iter().filter(crossed).count() as f64;
                if best.is_none_or(|(_, least)| cost < least - LEAST) {
                    best = Some((area, cost));
                }
            }
        }
        best
    }

    /// A sample of a series and its name, below the chart; returns the height.
    fn key(&mut self, one: &Series, (x, y): (f64, f64)) -> f64 {
        let Surface { line, gap: (gap_x, _), sample, .. } = *self.surface;
        let at = self.surface.at(y) + 0.5 * line;
        match one.shape {
            Shape::Line(dash, width) => {
                self.items.push(Item::Line(vec![(x, at), (x + sample, at)], dash, width, one.ink));
            }
            Shape::Points(marker) => self.items.push(Item::Point((x + 0.5 * sample, at), marker, one.ink)),
        }
        let start = x + sample + gap_x;
        let room = self.corner.0 + self.surface.width - start - gap_x;
        self.words(self.surface.cut(&one.name, room, Role::Name), (start, y), Role::Name)
    }
}

/// Distance from a point to an area, or to its middle where the point is in it.
fn distance((x, y): (f64, f64), area: &Area, (middle_x, middle_y): (f64, f64)) -> f64 {
    let dx = ((x - middle_x).abs() - 0.5 * area.width).max(0.0);
    let dy = ((y - middle_y).abs() - 0.5 * area.height).max(0.0);
    dx.hypot(dy)
}

/// A line with a point at least every so much.
fn filled(line: &[(f64, f64)], every: f64) -> Vec<(f64, f64)> {
    let mut all: Vec<(f64, f64)> = line.first().copied().into_iter().collect();
    for (a, b) in line.iter().zip(line.iter().skip(1)) {
        let pieces = ((b.0 - a.0).hypot(b.1 - a.1) / every).ceil().max(1.0) as usize;
        all.extend((1..=pieces).map(|piece| {
            let share = piece as f64 / pieces as f64;
            (a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1))
        }));
    }
    all
}

/// The pieces of a line that are in a frame.
fn clipped(line: &[(f64, f64)], frame: &Area) -> Vec<Vec<(f64, f64)>> {
    let mut pieces: Vec<Vec<(f64, f64)>> = Vec::new();
    for (a, b) in line.iter().zip(line.iter().skip(1)) {
        let Some((start, end)) = clipped_once(*a, *b, frame) else { continue };
        match pieces.last_mut() {
            Some(piece) if piece.last() == Some(&start) => piece.push(end),
            _ => pieces.push(vec![start, end]),
        }
    }
    pieces
}

/// The part of a straight piece that is in a frame (Liang and Barsky).
fn clipped_once(a: (f64, f64), b: (f64, f64), frame: &Area) -> Option<((f64, f64), (f64, f64))> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let (mut from, mut to) = (0.0f64, 1.0f64);
    for (step, room) in [
        (-dx, a.0 - frame.x),
        (dx, frame.x + frame.width - a.0),
        (-dy, a.1 - frame.y),
        (dy, frame.y + frame.height - a.1),
    ] {
        if step == 0.0 {
            if room < 0.0 {
                return None;
            }
        } else if step < 0.0 {
            from = from.max(room / step);
        } else {
            to = to.min(room / step);
        }
    }
    let at = |share: f64| {
        if share <= 0.0 {
            a
        } else if share >= 1.0 {
            b
        } else {
            (a.0 + share * dx, a.1 + share * dy)
        }
    };
    (from <= to && (a.0 + a.1 + b.0 + b.1).is_finite()).then(|| (at(from), at(to)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Area = Area { x: 0.0, y: 0.0, width: 10.0, height: 10.0 };

    #[test]
    fn lines_end_at_the_frame() {
        assert_eq!(clipped(&[(-5.0, 5.0), (5.0, 5.0), (5.0, 25.0)], &FRAME), [[(0.0, 5.0), (5.0, 5.0), (5.0, 10.0)]]);
        assert_eq!(clipped(&[(-1.0, 0.0), (-1.0, 9.0)], &FRAME), Vec::<Vec<(f64, f64)>>::new());
        assert_eq!(clipped(&[(f64::NAN, 0.0), (1.0, 9.0)], &FRAME), Vec::<Vec<(f64, f64)>>::new());
        let twice = clipped(&[(1.0, 1.0), (1.0, 12.0), (3.0, 12.0), (3.0, 1.0)], &FRAME);
        assert_eq!(twice, [[(1.0, 1.0), (1.0, 10.0)], [(3.0, 10.0), (3.0, 1.0)]]);
    }

    /// A picture that is hard to name: lines that cross, touch and leave the frame.
    fn tangled(count: usize, turn: f64) -> Picture {
        let line = |number: usize| {
            let points = (0..60).map(|step| {
                let x = f64::from(step);
                (x, 50.0 + 60.0 * (0.1 * x * turn + number as f64).sin())
            });
            Series::line(format!("formula number {number} with a name"), number, 1.0, points.collect())
        };
        let places = [5.0, 6.0, 20.0, 58.0].map(|at| Place { at, words: ["a place".to_owned(), format!("{at} °C")] });
        let letters = (0..count).map(|number| number.to_string()).collect();
        let points = (0..count).map(|number| (30.0 + 0.1 * number as f64, 50.0)).collect();
        let points = Series::points("points", 1, Marker::Square, points).named(Naming::Each(letters));
        let chart = Chart {
            title: "A chart".to_owned(),
            x: Axis::linear("across, h"),
            y: Axis::linear("upwards, °C").within(0.0, 100.0),
            series: (0..count).map(line).chain([points]).collect(),
            places: places.into(),
        };
        let caption = "A caption with many words ".repeat(9);
        Picture { title: "A title ".repeat(30), charts: vec![chart; 3], beside: 2, caption }
    }

    #[test]
    fn no_word_stands_on_another_and_none_is_cut() {
        let paper = Surface { letter: |_| 7.0, whole: false, line: 15.0, gap: (6.0, 4.0), tick: 5.0, ..letters(400.0) };
        for surface in
            [Surface { frame: 200.0, fine: 4.0, spacing: (60.0, 45.0), ..paper }, letters(80.0), letters(60.0)]
        {
            for count in 0..9 {
                let sheet = lay_out(&tangled(count, 1.0 + 0.3 * count as f64), &surface);
                let areas: Vec<Area> = (sheet.items.iter())
                    .filter_map(|item| if let Item::Words(area, ..) = item { Some(*area) } else { None })
                    .collect();
                let whole = Area { x: 0.0, y: 0.0, width: sheet.width, height: sheet.height };
                for (number, area) in areas.iter().enumerate() {
                    assert!(area.within(&whole), "{count}: {area:?} is outside {whole:?}");
                    // Lines under each other may touch.
                    let inner =
                        Area { x: area.x + 0.1, y: area.y + 0.1, width: area.width - 0.2, height: area.height - 0.2 };
                    assert!(areas.iter().skip(number + 1).all(|other| !inner.meets(other)), "{count}: {area:?}");
                }
            }
        }
    }

    /// A terminal of some width; a wide one has panels beside each other.
    fn letters(width: f64) -> Surface {
        Surface { beside: width > 100.0, ..crate::picture::letters::surface(width) }
    }
}
