//! Sheets as SVG and PNG, by the drawing library.

use kuva::backend::png::PngBackend;
use kuva::backend::svg::SvgBackend;
use kuva::render::color::Color;
use kuva::render::render::{PathData, Primitive, Scene, TextAnchor, build_path};

use super::chart::{Dash, Marker, Picture};
use super::dash;
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

/// How dark a band is, and one of several, which has an outline of this width: four on each other still show every line.
const SHADES: (f64, f64) = (0.16, 0.1);
const OUTLINE: f64 = 0.6;

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
    sample: 26.0,
    whole: false,
    fine: 4.0,
    beside: true,
    spacing: (65.0, 45.0),
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

/// Makes the scene of a sheet.
///
/// # Arguments
/// * `cut`: whether lines are cut into their dashes; on a PNG the library's begin anew at each point of a line, and have round ends.
fn scene(sheet: &Sheet, cut: bool) -> Scene {
    let mut scene = Scene::new(sheet.width.round(), sheet.height.round());
    scene.font_family = Some(FONT.to_owned());
    scene.text_color = Some(INK.to_owned());
    for item in &sheet.items {
        draw(&mut scene, item, cut);
    }
    scene
}

fn draw(scene: &mut Scene, item: &Item, cut: bool) {
    match item {
        Item::Words(area, text, role) => {
            let title = *role == Role::Title;
            scene.add(Primitive::Text {
                x: area.x,
                y: area.y + BASE * area.height,
                content: text.clone(),
                size: if title { TITLES } else { LETTERS },
                anchor: TextAnchor::Start,
                rotate: None,
                bold: title,
                color: match role {
                    Role::Title | Role::Axis => None,
                    Role::Lesser => Some(Color::from(SOFT)),
                    Role::Name(number) => Some(Color::from(ink(*number))),
                },
            });
        }
        Item::Frame(Area { x, y, width, height }) => scene.add(Primitive::Rect {
            x: *x,
            y: *y,
            width: *width,
            height: *height,
            fill: Color::None,
            stroke: Some(Color::from(INK)),
            stroke_width: Some(1.0),
            opacity: None,
        }),
        Item::Tick(from, to) => scene.add(straight(*from, *to, INK, None)),
        Item::Place(x, top, foot) => scene.add(straight((*x, *top), (*x, *foot), FAINT, Some("2,3".to_owned()))),
        Item::Band(upper, lower, dash, number) => {
            let around: Vec<(f64, f64)> = upper.iter().chain(lower.iter().rev()).copied().collect();
            scene.add(Primitive::Path(Box::new(PathData {
                d: build_path(&around) + "Z",
                fill: Some(Color::from(ink(*number))),
                stroke: Color::None,
                stroke_width: 0.0,
                opacity: Some(if dash.is_some() { SHADES.1 } else { SHADES.0 }),
                stroke_dasharray: None,
            })));
            for (dash, edge) in dash.iter().flat_map(|dash| [(dash, upper), (dash, lower)]) {
                line(scene, edge, *dash, OUTLINE, *number, cut);
            }
        }
        Item::Line(points, dash, width, number) => line(scene, points, *dash, *width, *number, cut),
        Item::Point(at, marker, number) => point(scene, *at, *marker, ink(*number)),
    }
}

fn line(scene: &mut Scene, points: &[(f64, f64)], dash: Dash, width: f64, number: usize, cut: bool) {
    let mut add = |points: &[(f64, f64)], dash: Option<String>| {
        scene.add(Primitive::PolyLine {
            points: points.to_vec(),
            stroke: Color::from(ink(number)),
            stroke_width: width,
            stroke_dasharray: dash,
        });
    };
    if cut {
        // Shorter by the round ends they get.
        let shorter = [-width, width].into_iter().cycle();
        let pattern: Vec<f64> =
            dash.pattern().iter().zip(shorter).map(|(part, by)| (part + by).max(THINNEST)).collect();
        dash::cut(points, &pattern).iter().for_each(|dash| add(dash, None));
    } else {
        add(points, dashes(dash));
    }
}

fn straight(from: (f64, f64), to: (f64, f64), colour: &str, dash: Option<String>) -> Primitive {
    Primitive::Line {
        x1: from.0,
        y1: from.1,
        x2: to.0,
        y2: to.1,
        stroke: Color::from(colour),
        stroke_width: 1.0,
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
