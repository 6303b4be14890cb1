//! A picture laid out on a surface: where every line and word goes, so that no word stands on another. The surface may be paper, measured in
//! pixels, or a terminal, measured in letters.
//!
//! The drawing library places ticks and paints; its own plots and its terminal were tried (0.6.0) and are not used. On a terminal it draws no
//! dashes, fills a band over its line, lets an axis or a marked place hide the curve, and parts series by colour alone. On paper its names are a
//! legend, or notes that stand on each other and not in the ink of their curve; how wide a text is, it does not say. One layout serves all three.

use std::collections::BTreeSet;

use kuva::render::layout::TickFormat;
use kuva::render::render_utils::{generate_ticks, generate_ticks_log};

use super::chart::{Axis, Chart, Dash, Marker, Naming, Picture, Place, Series, Shape, extent};

/// Room left between the data and the frame, as a share of the axis.
const MARGIN: f64 = 0.04;

/// Most of the width that names at the ends of curves take, as a share.
const SIDE: f64 = 0.3;

/// A figure as wide as most at the ticks.
const USUAL_TICK: &str = "1000";

/// Dots nearer to each other than this, as a share of what is told apart, are on one spot.
const SPOT: f64 = 0.25;

/// Least figure on a logarithmic axis.
const LEAST: f64 = 1e-9;

/// Width of an error bar.
const BAR: f64 = 0.75;

/// Where the letter of a point is tried around it, across and upwards, and how far out.
const AROUND: [(f64, f64); 8] =
    [(1.0, 0.0), (-1.0, 0.0), (0.0, -1.0), (0.0, 1.0), (1.0, -1.0), (-1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
const RINGS: [f64; 3] = [1.0, 2.0, 3.0];

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
    /// What an axis measures, and its figures.
    Axis,
    /// Places that matter, and what is below all.
    Lesser,
    /// What a series is: its ink.
    Name(usize),
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
    /// Shaded: upper and lower edge, at the same places across; dashes of its outline where it is one of several; ink.
    Band(Vec<(f64, f64)>, Vec<(f64, f64)>, Option<Dash>, usize),
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

    /// Breaks a text into lines no wider than so much; a word that is wider is cut.
    fn lines(&self, text: &str, width: f64, role: Role) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            match lines.last_mut() {
                Some(line) if self.width_of(&format!("{line} {word}"), role) <= width => {
                    line.push(' ');
                    line.push_str(word);
                }
                _ => lines.push(self.cut(word, width, role)),
            }
        }
        lines
    }

    /// Cuts a text that is wider than so much.
    fn cut(&self, text: &str, width: f64, role: Role) -> String {
        if self.width_of(text, role) <= width {
            return text.to_owned();
        }
        let mut kept = text.to_owned();
        while kept.pop().is_some() && self.width_of(&format!("{kept}…"), role) > width {}
        format!("{}…", kept.trim_end())
    }
}

/// Lays a picture out.
pub fn lay_out(picture: &Picture, surface: &Surface) -> Sheet {
    let columns = if surface.beside { picture.beside.clamp(1, picture.charts.len().max(1)) } else { 1 };
    let (gap_x, gap_y) = surface.gap;
    let between = 3.0 * gap_x;
    let width = surface.width * columns as f64 + between * (columns - 1) as f64;
    let mut page = Page { surface, items: Vec::new() };
    let mut y = gap_y;
    for line in surface.lines(&picture.title, width - 2.0 * gap_x, Role::Title) {
        y += page.words(line, (gap_x, y), Role::Title);
    }
    for row in picture.charts.chunks(columns) {
        y += gap_y;
        let feet = row.iter().enumerate().map(|(column, chart)| {
            let x = column as f64 * (surface.width + between);
            page.chart(chart, (x, y))
        });
        y = feet.fold(y, f64::max) + gap_y;
    }
    for line in surface.lines(&picture.caption, width - 2.0 * gap_x, Role::Lesser) {
        y += page.words(line, (gap_x, y), Role::Lesser);
    }
    Sheet { width, height: y + gap_y, items: page.items }
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
                let shown = figures.filter(|figure| figure.is_finite() && (!logarithmic || *figure > LEAST));
                let (low, high) = extent(shown.map(value));
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

    /// Where the ticks are, and what stands at them; all of a linear axis with as many decimals.
    fn ticks(&self, room: f64) -> Vec<(f64, String)> {
        let (from, to) = self.data;
        let count = ((self.surface.1 - self.surface.0).abs() / room).max(2.0) as usize;
        let (figures, format) = if self.logarithmic {
            (generate_ticks_log(10f64.powf(from), 10f64.powf(to)), TickFormat::Auto)
        } else {
            let figures = generate_ticks(from, to, count);
            let decimals =
                |one: &f64| TickFormat::Auto.format(*one).split_once('.').map_or(0, |(_, after)| after.len());
            let most = figures.iter().map(decimals).max().unwrap_or(0);
            (figures, TickFormat::Fixed(most))
        };
        figures.into_iter().map(|one| (self.place(one), format.format(one))).collect()
    }
}

/// The end of a line: its height, and how it stands among lines that end there: those that come from above first, the last to come down the first.
#[derive(Debug, Clone, Copy)]
struct End {
    height: f64,
    rank: f64,
}

/// A name at the end of its line.
struct EndName<'a> {
    series: &'a Series,
    lines: Vec<String>,
    end: End,
    /// Upper side.
    top: f64,
}

/// What was laid out so far.
struct Page<'a> {
    surface: &'a Surface,
    items: Vec<Item>,
}

impl Page<'_> {
    /// Puts words and returns the height they take.
    fn words(&mut self, text: String, (x, y): (f64, f64), role: Role) -> f64 {
        let surface = self.surface;
        let height = surface.line * if role == Role::Title { surface.title } else { 1.0 };
        let area = Area { x: surface.at(x), y: surface.at(y), width: surface.width_of(&text, role), height };
        self.items.push(Item::Words(area, text, role));
        height
    }

    /// Lays one chart out, below and right of a corner; returns where it ends.
    fn chart(&mut self, chart: &Chart, (left, top): (f64, f64)) -> f64 {
        let surface = self.surface;
        let Surface { line, gap: (gap_x, gap_y), tick, sample, spacing, .. } = *surface;
        let series = &chart.series;
        let within = surface.width - 2.0 * gap_x;
        let mut y = top;
        if !chart.title.is_empty() {
            y += self.words(surface.cut(&chart.title, within, Role::Title), (left + gap_x, y), Role::Title);
        }
        y += self.words(surface.cut(&chart.y.label, within, Role::Axis), (left + gap_x, y), Role::Axis) + gap_y;
        if !chart.places.is_empty() {
            y += 2.0 * line + gap_y;
        }
        let upwards = series.iter().flat_map(Series::heights);
        let y_scale = Scale::new(&chart.y, upwards, (y + surface.frame, y));
        let y_ticks = y_scale.ticks(spacing.1);
        let widest = |words: &mut dyn Iterator<Item = &str>| {
            words.map(|word| surface.width_of(word, Role::Axis)).fold(0.0, f64::max)
        };
        // Charts under each other keep their left sides in line.
        let figures = widest(&mut y_ticks.iter().map(|(_, word)| word.as_str()).chain([USUAL_TICK]));
        let names = self.broken_names(series);
        let side = match widest(&mut names.iter().flatten().map(String::as_str)) {
            0.0 => 0.0,
            width => width + sample + gap_x,
        };
        let x = surface.at(left + gap_x + figures + gap_x + tick);
        let end = surface.at(left + surface.width - 3.0 * gap_x - side);
        let frame = Area { x, y, width: end - x, height: surface.frame };
        let across = series.iter().flat_map(|one| one.points.iter().map(|point| point.0));
        let x_scale = Scale::new(&chart.x, across, (frame.x, frame.x + frame.width));

        let several = series.iter().filter(|one| !one.band.is_empty()).count() > 1;
        series.iter().for_each(|one| self.band(one, several, (&x_scale, &y_scale), &frame));
        self.places(&chart.places, left, &x_scale, &frame);
        self.items.push(Item::Frame(frame));
        self.ticks(y_ticks, x_scale.ticks(spacing.0), &frame);
        y = frame.y + frame.height + tick + gap_y + line;
        let label = surface.cut(&chart.x.label, frame.width, Role::Axis);
        let start = frame.x + 0.5 * (frame.width - surface.width_of(&label, Role::Axis));
        y += self.words(label, (start, y), Role::Axis);

        let place = |one: &Series| one.points.iter().map(|&(x, y)| (x_scale.place(x), y_scale.place(y))).collect();
        let points: Vec<Vec<(f64, f64)>> = series.iter().map(place).collect();
        let (mut at_ends, mut below) = (Vec::new(), Vec::new());
        for ((one, points), lines) in series.iter().zip(&points).zip(names) {
            match (&one.naming, self.series(one, points, &frame)) {
                (Naming::None, _) => {}
                (Naming::AtEnd, Some(end)) if !lines.is_empty() => {
                    at_ends.push(EndName { series: one, lines, end, top: end.height - 0.5 * line });
                }
                _ => below.push(one),
            }
        }
        self.at_ends(at_ends, &frame);
        let strokes: Vec<Stroke> = series.iter().zip(&points).flat_map(|(one, points)| strokes(one, points)).collect();
        for (one, points) in series.iter().zip(&points) {
            if let Naming::Each(letters) = &one.naming {
                self.letters(letters, points, one.ink, &strokes, &frame);
            }
        }
        for one in below {
            y += gap_y + self.key(one, (frame.x, y + gap_y), left);
        }
        y
    }

    fn ticks(&mut self, upwards: Vec<(f64, String)>, across: Vec<(f64, String)>, frame: &Area) {
        let Surface { line, gap: (gap_x, gap_y), tick, .. } = *self.surface;
        for (at, word) in upwards {
            self.items.push(Item::Tick((frame.x - tick, at), (frame.x, at)));
            let start = frame.x - tick - gap_x - self.surface.width_of(&word, Role::Axis);
            self.words(word, (start, at - 0.5 * line), Role::Axis);
        }
        let foot = frame.y + frame.height;
        let mut end = f64::NEG_INFINITY;
        for (at, word) in across {
            self.items.push(Item::Tick((at, foot), (at, foot + tick)));
            let half = 0.5 * self.surface.width_of(&word, Role::Axis);
            if at - half > end {
                self.words(word, (at - half, foot + tick + gap_y), Role::Axis);
                end = at + half + gap_x;
            }
        }
    }

    fn band(&mut self, one: &Series, several: bool, (x, y): (&Scale, &Scale), frame: &Area) {
        let inside = |at: f64| at.clamp(frame.y, frame.y + frame.height);
        let at = |(at, low, high): &(f64, f64, f64)| (x.place(*at), inside(y.place(*low)), inside(y.place(*high)));
        let (from, to) = (frame.x - LEAST, frame.x + frame.width + LEAST);
        let edges: Vec<_> = one.band.iter().map(at).filter(|(at, ..)| *at >= from && *at <= to).collect();
        if edges.len() > 1 {
            let dash = match one.shape {
                Shape::Line(dash, _) if several => Some(dash),
                _ => None,
            };
            let upper = edges.iter().map(|&(at, _, high)| (at, high)).collect();
            let lower = edges.iter().map(|&(at, low, _)| (at, low)).collect();
            self.items.push(Item::Band(upper, lower, dash, one.ink));
        }
    }

    /// Names places above the frame, moved apart where they would touch.
    fn places(&mut self, places: &[Place], left: f64, x: &Scale, frame: &Area) {
        let Surface { line, gap: (gap_x, gap_y), width, .. } = *self.surface;
        let mut end = f64::NEG_INFINITY;
        for Place { at, words } in places {
            let at = x.place(*at);
            if at < frame.x || at > frame.x + frame.width {
                continue;
            }
            self.items.push(Item::Place(at, frame.y, frame.y + frame.height));
            let widths = words.each_ref().map(|word| self.surface.width_of(word, Role::Lesser));
            let half = 0.5 * widths[0].max(widths[1]);
            let middle = at.max(end + gap_x + half).min(left + width - half);
            for (row, (word, width)) in words.iter().zip(widths).enumerate() {
                let top = frame.y - gap_y - (2.0 - row as f64) * line;
                self.words(word.clone(), (middle - 0.5 * width, top), Role::Lesser);
            }
            end = middle + half;
        }
    }

    /// Draws a series; returns its end, where any of it is a line in the frame.
    fn series(&mut self, one: &Series, points: &[(f64, f64)], frame: &Area) -> Option<End> {
        match one.shape {
            Shape::Line(dash, width) => {
                let pieces = clipped(points, frame);
                let all: Vec<(f64, f64)> = pieces.iter().flatten().copied().collect();
                let height = all.last()?.1;
                let away = all.iter().rposition(|point| (point.1 - height).abs() > self.surface.fine);
                let comes = away.and_then(|away| all.get(away).zip(all.get(away + 1)));
                let rank = comes.map_or(0.0, |(from, to)| if from.1 < height { -to.0 } else { to.0 });
                self.items.extend(pieces.into_iter().map(|piece| Item::Line(piece, dash, width, one.ink)));
                Some(End { height, rank })
            }
            Shape::Bars => {
                let pieces = points.chunks(2).flat_map(|ends| clipped(ends, frame));
                self.items.extend(pieces.map(|piece| Item::Line(piece, Dash::Solid, BAR, one.ink)));
                None
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
                None
            }
        }
    }

    /// The names of series that stand at their ends, broken into lines; none where there is no room for all.
    fn broken_names(&self, series: &[Series]) -> Vec<Vec<String>> {
        let surface = self.surface;
        let of = |one: &Series| match one.naming {
            Naming::AtEnd => surface.lines(&one.name, SIDE * surface.width, Role::Name(one.ink)),
            _ => Vec::new(),
        };
        let names: Vec<Vec<String>> = series.iter().map(of).collect();
        let rows = names.iter().flatten().count();
        if rows as f64 * surface.line > surface.frame { vec![Vec::new(); series.len()] } else { names }
    }

    /// Puts names right of the frame, each at the height of its end, with a sample; moved apart where they would touch.
    fn at_ends(&mut self, mut names: Vec<EndName<'_>>, frame: &Area) {
        let Surface { line, gap: (gap_x, _), sample, fine, .. } = *self.surface;
        let spot = |name: &EndName<'_>| (name.end.height / fine).round();
        names.sort_by(|a, b| spot(a).total_cmp(&spot(b)).then(a.end.rank.total_cmp(&b.end.rank)));
        let height = |name: &EndName<'_>| name.lines.len() as f64 * line;
        let mut top = frame.y;
        for name in &mut names {
            name.top = name.top.max(top);
            top = name.top + height(name);
        }
        let mut foot = frame.y + frame.height;
        for name in names.iter_mut().rev() {
            name.top = name.top.min(foot - height(name));
            foot = name.top;
        }
        let start = frame.x + frame.width + gap_x;
        for EndName { series, lines, top, .. } in names {
            self.sample(series, (start, top));
            for (row, text) in lines.into_iter().enumerate() {
                self.words(text, (start + sample + gap_x, top + row as f64 * line), Role::Name(series.ink));
            }
        }
    }

    /// Puts letters beside their points, as near as no other word stands and where least is covered.
    fn letters(&mut self, letters: &[String], points: &[(f64, f64)], ink: usize, strokes: &[Stroke], frame: &Area) {
        let surface = self.surface;
        let Surface { line, gap: (gap_x, _), .. } = *surface;
        for (letter, &(x, y)) in letters.iter().zip(points) {
            let width = surface.width_of(letter, Role::Name(ink));
            let around = |ring: f64| {
                AROUND.into_iter().map(move |(dx, dy)| Area {
                    x: surface.at(x + dx * (0.5 * width + 1.5 * ring * gap_x) - 0.5 * width) - 0.5 * gap_x,
                    y: surface.at(y + dy * ring * line - 0.5 * line),
                    width: width + gap_x,
                    height: line,
                })
            };
            let taken =
                |area: &Area| self.items.iter().any(|item| matches!(item, Item::Words(other, ..) if other.meets(area)));
            let free = |area: &Area| area.within(frame) && !taken(area);
            let covered = |area: &Area| strokes.iter().filter(|(a, b)| clipped_once(*a, *b, area).is_some()).count();
            let best = RINGS.into_iter().find_map(|ring| around(ring).filter(free).min_by_key(covered));
            if let Some(area) = best {
                self.words(letter.clone(), (area.x + 0.5 * gap_x, area.y), Role::Name(ink));
            }
        }
    }

    /// A sample of a series on a line of words.
    fn sample(&mut self, one: &Series, (x, y): (f64, f64)) {
        let Surface { line, sample, .. } = *self.surface;
        let at = self.surface.at(y) + 0.5 * line;
        self.items.push(match one.shape {
            Shape::Line(dash, width) => Item::Line(vec![(x, at), (x + sample, at)], dash, width, one.ink),
            Shape::Bars => Item::Line(vec![(x, at), (x + sample, at)], Dash::Solid, BAR, one.ink),
            Shape::Points(marker) => Item::Point((x + 0.5 * sample, at), marker, one.ink),
        });
    }

    /// A sample of a series and its name, below a chart; returns the height.
    fn key(&mut self, one: &Series, (x, y): (f64, f64), left: f64) -> f64 {
        let Surface { gap: (gap_x, _), sample, width, .. } = *self.surface;
        self.sample(one, (x, y));
        let start = x + sample + gap_x;
        // Small dots have no ink of their own.
        let role = if one.shape == Shape::Points(Marker::Dot) { Role::Lesser } else { Role::Name(one.ink) };
        self.words(self.surface.cut(&one.name, left + width - start - gap_x, role), (start, y), role)
    }
}

/// A straight piece of what is drawn, from and to.
type Stroke = ((f64, f64), (f64, f64));

/// The straight pieces of a series; a point is one.
fn strokes(one: &Series, points: &[(f64, f64)]) -> Vec<Stroke> {
    let every = if matches!(one.shape, Shape::Bars) { 2 } else { 1 };
    let ends = usize::from(!matches!(one.shape, Shape::Points(_)));
    points.iter().copied().zip(points.iter().skip(ends).copied()).step_by(every).collect()
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
        let paper =
            Surface { letter: |_| 7.0, whole: false, line: 15.0, gap: (6.0, 4.0), tick: 5.0, ..terminal(400.0) };
        for surface in
            [Surface { frame: 200.0, fine: 4.0, spacing: (60.0, 45.0), ..paper }, terminal(80.0), terminal(60.0)]
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

    /// Lines that end at so much of an axis to 100, named at their ends.
    fn ending_at(ends: &[f64]) -> Vec<Item> {
        let line = |(number, end): (usize, &f64)| {
            let bend = (0.5 + 0.1 * number as f64, *end);
            Series::line(format!("to {end} by {number}"), number, 1.0, vec![(0.0, 60.0), bend, (1.0, *end)])
        };
        let chart = Chart {
            title: String::new(),
            x: Axis::linear(""),
            y: Axis::linear("").within(0.0, 100.0),
            series: ends.iter().enumerate().map(line).collect(),
            places: Vec::new(),
        };
        let picture = Picture { title: String::new(), charts: vec![chart], beside: 1, caption: String::new() };
        lay_out(&picture, &terminal(80.0)).items
    }

    #[test]
    fn names_stand_at_the_ends_of_their_lines_moved_apart_where_these_meet() {
        let items = ending_at(&[0.0, 50.0, 0.0, 100.0, 50.0]);
        let frame = items.iter().find_map(|item| if let Item::Frame(area) = item { Some(*area) } else { None });
        let Area { x, y, width, height } = frame.unwrap_or(FRAME);
        let named = |item: &Item| match item {
            Item::Words(area, text, Role::Name(ink)) => Some((area.x > x + width, area.y - y, text.clone(), *ink)),
            _ => None,
        };
        let name = |row: f64, text: &str, ink| (true, row, text.to_owned(), ink);
        let wanted = [
            name(0.0, "to 100 by 3", 3),
            name(7.0, "to 50 by 4", 4),
            name(8.0, "to 50 by 1", 1),
            name(height - 2.0, "to 0 by 2", 2),
            name(height - 1.0, "to 0 by 0", 0),
        ];
        assert_eq!(items.iter().filter_map(named).collect::<Vec<_>>(), wanted);
        // Where there is no room for all, all stand below.
        let many = ending_at(&[50.0; 16]);
        assert!(many.iter().filter_map(named).all(|(beside, row, ..)| !beside && row > height));
    }

    /// A terminal of some width; a wide one has panels beside each other.
    fn terminal(width: f64) -> Surface {
        Surface { beside: width > 100.0, ..crate::picture::letters::surface(width) }
    }
}
