//! Sheets as SVG and PNG. The only place that knows the drawing library.

use std::fmt::Write;

use kuva::backend::png::PngBackend;
use kuva::backend::svg::SvgBackend;
use kuva::render::color::Color;
use kuva::render::render::{PathData, Primitive, Scene, TextAnchor};

use super::chart::{Dash, Marker, Picture};
use super::sheet::{Area, Item, Role, Sheet, Surface, lay_out};
use crate::palette::{FAINT, INK, INKS, PALE, SOFT};

/// Letters: those of the PNG, which are as wide as any.
const FONT: &str = "DejaVu Sans, Verdana, Helvetica, Arial, sans-serif";

/// What makes a file SVG.
const NAMESPACE: &str = "http://www.w3.org/2000/svg";

/// Names of title and description in a file of one picture.
const OWN_ID: &str = "picture";

/// Size of letters, px.
const LETTERS: u32 = 12;

/// Size of the letters of titles, px.
const TITLES: u32 = 14;

/// Height of a line against the size of its letters.
const LINE: f64 = 1.3;

/// From the upper side of a line down to where its letters stand, as a share of it.
const BASE: f64 = 0.78;

/// How dark a band is; two on each other are still told apart.
const SHADE: f64 = 0.16;

/// Shortest dash without its ends, px.
const THINNEST: f64 = 0.1;

/// A pixel of a PNG against one of the drawing.
const FINE: f32 = 2.0;

/// Paper.
const PAPER: Surface = Surface {
    width: 620.0,
    frame: 270.0,
    line: LETTERS as f64 * LINE,
    letter,
    title: TITLES as f64 / LETTERS as f64 * 1.08,
    gap: (6.0, 4.0),
    tick: 5.0,
    sample: 34.0,
    whole: false,
    fine: 4.0,
    beside: true,
    spacing: (60.0, 45.0),
};

/// Width of one of several charts side by side, px.
const NARROW: f64 = 430.0;

/// Width of a letter, px: about those of a wide sans serif.
fn letter(letter: char) -> f64 {
    let share = match letter {
        'i' | 'j' | 'l' | '.' | ',' | ':' | ';' | '\'' | '|' | 'I' => 0.34,
        ' ' | 'f' | 't' | 'r' | '(' | ')' | '-' | '/' => 0.41,
        'm' | 'w' | 'M' | 'W' | '%' | '…' => 1.0,
        'A'..='Z' => 0.74,
        _ if letter.is_ascii() => 0.64,
        '°' => 0.5,
        _ => 0.8,
    };
    share * f64::from(LETTERS)
}

/// Draws a picture as SVG for a page, with its title and a description in words for those who do not see it.
///
/// # Arguments
/// * `picture`: what to draw.
/// * `id`: of the title and the description, different for each picture on a page.
pub fn svg(picture: &Picture, id: &str) -> String {
    let sheet = lay_out(picture, &surface(picture));
    let drawn = SvgBackend.render_scene(&scene(&sheet, false));
    let Some((_, inner)) = drawn.split_once('>') else { return drawn };
    let opening = format!(
        r#"<svg viewBox="0 0 {w:.0} {h:.0}" width="{w:.0}" height="{h:.0}" font-family="{FONT}" fill="{INK}" role="img" aria-labelledby="{id}-title {id}-desc"><title id="{id}-title">{}</title><desc id="{id}-desc">{}</desc>"#,
        escaped(&picture.title),
        escaped(&picture.in_words()),
        w = sheet.width,
        h = sheet.height,
    );
    opening + inner
}

/// Draws a picture as SVG in a file of its own.
pub fn svg_file(picture: &Picture) -> String {
    svg(picture, OWN_ID).replacen("<svg", &format!("<svg xmlns=\"{NAMESPACE}\""), 1)
}

/// Draws a picture as PNG.
///
/// # Errors
/// What the library says.
pub fn png(picture: &Picture) -> Result<Vec<u8>, String> {
    let sheet = lay_out(picture, &surface(picture));
    PngBackend::new().with_scale(FINE).render_scene(&scene(&sheet, true))
}

/// The paper of a picture.
fn surface(picture: &Picture) -> Surface {
    if picture.beside > 1 && picture.charts.len() > 1 { Surface { width: NARROW, ..PAPER } } else { PAPER }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

fn ink(number: usize) -> &'static str {
    INKS.get(number % INKS.len()).copied().unwrap_or(INK)
}

/// A dash as the formats write it.
fn dashes(dash: Dash) -> Option<String> {
    let pattern: Vec<String> = dash.pattern().iter().map(ToString::to_string).collect();
    (!pattern.is_empty()).then(|| pattern.join(","))
}

/// A figure to a hundredth of a pixel.
fn rounded(value: f64) -> f64 {
    (100.0 * value).round() / 100.0
}

/// Makes the scene of a sheet.
///
/// # Arguments
/// * `cut`: whether lines are cut into their dashes; the library's own have round ends on a PNG, which close the gaps.
fn scene(sheet: &Sheet, cut: bool) -> Scene {
    let mut scene = Scene::new(sheet.width.round(), sheet.height.round());
    scene.font_family = Some(FONT.to_owned());
    scene.text_color = Some(INK.to_owned());
    for item in &sheet.items {
        match item {
            Item::Line(points, dash, width, number) if cut => {
                let pieces = pieces(points, dash.pattern(), *width);
                pieces.into_iter().for_each(|piece| scene.add(line(&piece, *width, *number, None)));
            }
            item => draw(&mut scene, item),
        }
    }
    scene
}

fn draw(scene: &mut Scene, item: &Item) {
    match item {
        Item::Words(area, text, role) => {
            let title = *role == Role::Title;
            scene.add(Primitive::Text {
                x: rounded(area.x),
                y: rounded(area.y + BASE * area.height),
                content: text.clone(),
                size: if title { TITLES } else { LETTERS },
                anchor: TextAnchor::Start,
                rotate: None,
                bold: title,
                color: matches!(role, Role::Place | Role::Caption).then(|| Color::from(SOFT)),
            });
        }
        Item::Frame(Area { x, y, width, height }) => scene.add(Primitive::Rect {
            x: rounded(*x),
            y: rounded(*y),
            width: rounded(*width),
            height: rounded(*height),
            fill: Color::None,
            stroke: Some(Color::from(INK)),
            stroke_width: Some(1.0),
            opacity: None,
        }),
        Item::Tick(from, to) => scene.add(straight(*from, *to, INK, 1.0, None)),
        Item::Place(x, top, foot) => {
            scene.add(straight((*x, *top), (*x, *foot), FAINT, 1.0, Some("2,3".to_owned())));
        }
        Item::Band(upper, lower, number) => {
            let mut d = String::new();
            for (index, (x, y)) in upper.iter().chain(lower.iter().rev()).enumerate() {
                let _ = write!(d, "{}{} {}", if index == 0 { 'M' } else { 'L' }, rounded(*x), rounded(*y));
            }
            d.push('Z');
            scene.add(Primitive::Path(Box::new(PathData {
                d,
                fill: Some(Color::from(ink(*number))),
                stroke: Color::None,
                stroke_width: 0.0,
                opacity: Some(SHADE),
                stroke_dasharray: None,
            })));
        }
        Item::Line(points, dash, width, number) => scene.add(line(points, *width, *number, dashes(*dash))),
        Item::Point((x, y), marker, number) => point(scene, (rounded(*x), rounded(*y)), *marker, ink(*number)),
    }
}

fn line(points: &[(f64, f64)], width: f64, number: usize, dash: Option<String>) -> Primitive {
    Primitive::PolyLine {
        points: points.iter().map(|(x, y)| (rounded(*x), rounded(*y))).collect(),
        stroke: Color::from(ink(number)),
        stroke_width: width,
        stroke_dasharray: dash,
    }
}

/// Cuts a line into its dashes, shorter by the round ends they get.
fn pieces(points: &[(f64, f64)], pattern: &[f64], width: f64) -> Vec<Vec<(f64, f64)>> {
    if pattern.is_empty() {
        return vec![points.to_vec()];
    }
    let mut pieces: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut parts = pattern
        .iter()
        .enumerate()
        .map(|(index, part)| match index % 2 {
            0 => (true, (part - width).max(THINNEST)),
            _ => (false, part + width),
        })
        .cycle();
    let (mut on, mut left) = parts.next().unwrap_or((true, f64::INFINITY));
    let mut begin = true;
    for (a, b) in points.iter().zip(points.iter().skip(1)) {
        let length = (b.0 - a.0).hypot(b.1 - a.1);
        let mut gone = 0.0;
        while gone < length {
            let step = left.min(length - gone);
            let at = |along: f64| (a.0 + along / length * (b.0 - a.0), a.1 + along / length * (b.1 - a.1));
            if on {
                match pieces.last_mut() {
                    Some(piece) if !begin => piece.push(at(gone + step)),
                    _ => pieces.push(vec![at(gone), at(gone + step)]),
                }
                begin = false;
            }
            gone += step;
            left -= step;
            if left <= 0.0 {
                (on, left) = parts.next().unwrap_or((true, f64::INFINITY));
                begin = true;
            }
        }
    }
    pieces
}

fn straight(from: (f64, f64), to: (f64, f64), colour: &str, width: f64, dash: Option<String>) -> Primitive {
    Primitive::Line {
        x1: rounded(from.0),
        y1: rounded(from.1),
        x2: rounded(to.0),
        y2: rounded(to.1),
        stroke: Color::from(colour),
        stroke_width: width,
        stroke_dasharray: dash,
    }
}

fn point(scene: &mut Scene, (x, y): (f64, f64), marker: Marker, colour: &str) {
    match marker {
        Marker::Dot | Marker::Circle => scene.add(Primitive::Circle {
            cx: x,
            cy: y,
            r: if marker == Marker::Dot { 1.6 } else { 3.6 },
            fill: if marker == Marker::Dot { Color::from(PALE) } else { Color::None },
            fill_opacity: None,
            stroke: (marker == Marker::Circle).then(|| Color::from(colour)),
            stroke_width: (marker == Marker::Circle).then_some(1.3),
        }),
        Marker::Square => scene.add(Primitive::Rect {
            x: x - 3.2,
            y: y - 3.2,
            width: 6.4,
            height: 6.4,
            fill: Color::from(colour),
            stroke: None,
            stroke_width: None,
            opacity: None,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_go_on_around_corners() {
        let cut = pieces(&[(0.0, 0.0), (7.0, 0.0), (7.0, 20.0)], &[10.0, 4.0], 0.0);
        let corner = vec![(0.0, 0.0), (7.0, 0.0), (7.0, 3.0)];
        assert_eq!(cut, [corner, vec![(7.0, 7.0), (7.0, 17.0)]]);
        assert_eq!(pieces(&[(0.0, 0.0), (9.0, 0.0)], &[], 1.0), [[(0.0, 0.0), (9.0, 0.0)]]);
        assert!(pieces(&[(1.0, 1.0), (1.0, 1.0)], &[8.0, 4.0], 9.0).is_empty());
    }
}
