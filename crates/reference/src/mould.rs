//! A mould as TOML text: its shape, cavities, finest relief and wall.
//!
//! ```toml
//! name = "..."                 note = "..."
//! shape = "box"                length, width, height          or   shape = "round", diameter, height
//! cavities = 6                 relief = "0.8mm"               wall = "5mm"
//! volume = "46ml"              most = "200C"
//! ```
//! Lengths are in mm without a unit. `volume` is one cavity's, as measured with water: relief and rounded edges make it less than the shape's.

use std::ops::{Range, RangeInclusive};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use toml::de::DeValue;

use crate::findings::Findings;
use crate::formula::BYTE_ORDER_MARK;
use crate::formula::quantity::{Quantity, QuantityError, Unit, parse_quantity};
use crate::length::parse_length;
use crate::number::{Scan, scan};
use crate::temperature::parse_temperature;
use crate::toml_text::{Entry, filled_text, number_text, read, unknown_key, wrong_kind};
use crate::wording::{quote, short};
use crate::{Diagnostic, Diagnostics};

/// The keys a mould file can have.
const KEYS: &[&str] =
    &["name", "note", "shape", "length", "width", "height", "diameter", "cavities", "relief", "wall", "volume", "most"];

/// Outer sizes of a bar taken, mm.
pub const BAR_MM: RangeInclusive<f64> = 2.0..=1000.0;

/// Walls taken, mm.
const WALL_MM: RangeInclusive<f64> = 0.2..=200.0;

/// Finest reliefs taken, mm.
pub const RELIEF_MM: RangeInclusive<f64> = 0.05..=50.0;

/// Volumes of one cavity taken, ml.
const VOLUME_ML: RangeInclusive<f64> = 0.05..=1e6;

/// Most cavities.
const MAX_CAVITIES: f64 = 1000.0;

/// Share of the shape's volume that a measured one may be.
const FILLED: RangeInclusive<f64> = 0.1..=1.02;

/// Wall of a usual silicone mould, mm.
const USUAL_WALL_MM: f64 = 5.0;

/// Outer shape of a bar.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BarShape {
    /// Rectangular.
    Box {
        /// mm.
        length_mm: f64,
        /// mm.
        width_mm: f64,
        /// mm.
        height_mm: f64,
    },
    /// Round.
    Round {
        /// mm.
        diameter_mm: f64,
        /// mm.
        height_mm: f64,
    },
}

impl BarShape {
    /// Volume, ml.
    ///
    /// ```
    /// use barwright_reference::mould::BarShape;
    /// let bar = BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 };
    /// assert_eq!(bar.volume_ml(), 48.0);
    /// ```
    pub fn volume_ml(&self) -> f64 {
        match *self {
            BarShape::Box { length_mm, width_mm, height_mm } => length_mm * width_mm * height_mm / 1e3,
            BarShape::Round { diameter_mm, height_mm } => {
                std::f64::consts::PI * (0.5 * diameter_mm).powi(2) * height_mm / 1e3
            }
        }
    }
}

/// A mould.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Mould {
    /// Its name.
    pub name: Option<String>,
    /// A remark.
    pub note: Option<String>,
    /// Shape of one bar.
    pub shape: BarShape,
    /// Bars in one filling.
    pub cavities: u32,
    /// Finest relief that must come out whole, mm.
    pub relief_mm: Option<f64>,
    /// Thickness of bottom and sides, mm.
    pub wall_mm: f64,
    /// Volume of one cavity, ml.
    pub volume_ml: f64,
    /// Whether that was measured.
    pub volume_measured: bool,
    /// Hottest it may be filled, °C.
    pub most_c: Option<f64>,
}

impl Mould {
    /// A silicone mould of one cavity, of which nothing but the shape is known.
    pub fn plain(shape: BarShape) -> Mould {
        Mould {
            name: None,
            note: None,
            shape,
            cavities: 1,
            relief_mm: None,
            wall_mm: USUAL_WALL_MM,
            volume_ml: shape.volume_ml(),
            volume_measured: false,
            most_c: None,
        }
    }

    /// Reads a mould from TOML text.
    ///
    /// # Errors
    /// Every error of the text.
    ///
    /// ```
    /// use barwright_reference::mould::Mould;
    /// let text = "shape = 'round'\ndiameter = 60\nheight = '1 in'\ncavities = 6\nrelief = '0.8mm'\n";
    /// let mould = Mould::read(text)?;
    /// assert_eq!((mould.cavities, mould.relief_mm, mould.volume_ml.round()), (6, Some(0.8), 72.0));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn read(text: &str) -> Result<Mould, Diagnostics> {
        let body = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
        let offset = text.len() - body.len();
        let mut findings = Findings::default();
        let mut written = Written::default();
        for entry in read(body, offset, &mut findings) {
            written.take(&entry, &mut findings);
        }
        let mould = written.assemble(0..text.len(), &mut findings);
        let (mould, _) = findings.finish(mould)?;
        // Without an error there is a mould.
        mould.ok_or_else(|| vec![Diagnostic::error("no-shape", "the mould has no shape", 0..text.len())].into())
    }
}

/// A figure with its place.
type Figure = Option<(f64, Range<usize>)>;

/// What a mould file says.
#[derive(Default)]
struct Written {
    name: Option<String>,
    note: Option<String>,
    shape: Option<(String, Range<usize>)>,
    length: Figure,
    width: Figure,
    height: Figure,
    diameter: Figure,
    cavities: Figure,
    relief: Figure,
    wall: Figure,
    volume: Figure,
    most: Figure,
    /// Sizes that were written, right or wrong: they are not missing.
    seen: Vec<&'static str>,
}

impl Written {
    fn take(&mut self, entry: &Entry<'_>, findings: &mut Findings) {
        let Some(key) = KEYS.iter().find(|key| **key == entry.key) else {
            findings.push(unknown_key(entry, KEYS));
            return;
        };
        self.seen.push(key);
        match *key {
            "name" => self.name = filled_text(entry, findings),
            "note" => self.note = filled_text(entry, findings),
            "shape" => self.shape = filled_text(entry, findings).map(|word| (word, entry.value_span.clone())),
            "length" => self.length = figure(entry, findings, |text| parse_length(text, BAR_MM)),
            "width" => self.width = figure(entry, findings, |text| parse_length(text, BAR_MM)),
            "height" => self.height = figure(entry, findings, |text| parse_length(text, BAR_MM)),
            "diameter" => self.diameter = figure(entry, findings, |text| parse_length(text, BAR_MM)),
            "relief" => self.relief = figure(entry, findings, |text| parse_length(text, RELIEF_MM)),
            "wall" => self.wall = figure(entry, findings, |text| parse_length(text, WALL_MM)),
            "volume" => self.volume = figure(entry, findings, volume),
            "most" => {
                self.most = figure(entry, findings, |text| parse_temperature(text).map_err(|error| error.to_string()))
            }
            _ => self.cavities = figure(entry, findings, cavities),
        }
    }

    fn assemble(self, whole: Range<usize>, findings: &mut Findings) -> Option<Mould> {
        let (word, place) = match self.shape {
            Some(shape) => shape,
            None => {
                if !self.seen.contains(&"shape") {
                    findings.push(
                        Diagnostic::error("no-shape", "the mould has no shape", whole)
                            .hint("Write `shape = \"box\"` with length, width and height, or `shape = \"round\"` with diameter and height."),
                    );
                }
                return None;
            }
        };
        let (needed, foreign): (&[&'static str], &[&'static str]) = match word.as_str() {
            "box" => (&["length", "width", "height"], &["diameter"]),
            "round" => (&["diameter", "height"], &["length", "width"]),
            _ => {
                findings.push(
                    Diagnostic::error("unknown-shape", format!("{} is no shape taken", quote(&word)), place)
                        .hint("Write \"box\" or \"round\", whichever is nearer: the heat hardly minds rounded edges."),
                );
                return None;
            }
        };
        for key in needed.iter().filter(|key| !self.seen.contains(key)) {
            findings.push(
                Diagnostic::error(
                    "size-missing",
                    format!("a mould of shape {} needs `{key}`", quote(&word)),
                    place.clone(),
                )
                .hint(format!("Measure the bar and write such as `{key} = \"40mm\"`.")),
            );
        }
        for key in foreign.iter().filter(|key| self.seen.contains(key)) {
            findings.push(
                Diagnostic::error(
                    "size-foreign",
                    format!("a mould of shape {} has no `{key}`", quote(&word)),
                    place.clone(),
                )
                .hint(format!("Leave `{key}` out, or change the shape.")),
            );
        }
        let value = |figure: &Figure| figure.as_ref().map(|(value, _)| *value);
        let height_mm = value(&self.height)?;
        let shape = match word.as_str() {
            "round" => BarShape::Round { diameter_mm: value(&self.diameter)?, height_mm },
            _ => BarShape::Box { length_mm: value(&self.length)?, width_mm: value(&self.width)?, height_mm },
        };
        if let Some((volume, span)) = &self.volume
            && !FILLED.contains(&(volume / shape.volume_ml()))
        {
            let message =
                format!("a cavity of {} ml does not fit a shape of {} ml", short(*volume), short(shape.volume_ml()));
            findings.push(
                Diagnostic::error("volume-misfit", message, span.clone())
                    .hint("Fill one cavity with water and weigh it: 1 g is 1 ml. Check the sizes too."),
            );
        }
        let plain = Mould::plain(shape);
        Some(Mould {
            cavities: value(&self.cavities).map_or(plain.cavities, |count| count as u32),
            relief_mm: value(&self.relief),
            wall_mm: value(&self.wall).unwrap_or(plain.wall_mm),
            volume_ml: value(&self.volume).unwrap_or(plain.volume_ml),
            volume_measured: self.volume.is_some(),
            most_c: value(&self.most),
            name: self.name,
            note: self.note,
            shape,
        })
    }
}

/// Reads a figure by `how`, or reports what is wrong with it.
fn figure(entry: &Entry<'_>, findings: &mut Findings, how: impl Fn(&str) -> Result<f64, String>) -> Figure {
    let text = match &entry.value {
        DeValue::String(text) => text.as_ref(),
        value => match number_text(value) {
            Some(number) => number,
            None => {
                findings.push(wrong_kind(entry, "a number or a text in quotes"));
                return None;
            }
        },
    };
    match how(text) {
        Ok(value) => Some((value, entry.value_span.clone())),
        Err(message) => {
            let message = format!("{}: {message}", quote(&entry.key));
            findings.push(Diagnostic::error("bad-size", message, entry.value_span.clone()));
            None
        }
    }
}

/// Reads a volume in ml.
fn volume(text: &str) -> Result<f64, String> {
    let millilitres = match parse_quantity(text) {
        Err(QuantityError::Volume { millilitres, .. }) => millilitres,
        Ok(Quantity { value, unit: Unit::Parts }) => value,
        _ => return Err(format!("{} is not a volume; write such as `46ml` or `1.6 fl oz`", quote(text))),
    };
    if VOLUME_ML.contains(&millilitres) {
        Ok(millilitres)
    } else {
        Err(format!("{} ml is outside {} to {} ml", short(millilitres), VOLUME_ML.start(), VOLUME_ML.end()))
    }
}

/// Reads a number of cavities.
fn cavities(text: &str) -> Result<f64, String> {
    match scan(text.trim()) {
        Scan::Number { value, rest: "", .. } if value.fract() == 0.0 && (1.0..=MAX_CAVITIES).contains(&value) => {
            Ok(value)
        }
        _ => Err(format!("{} is not a number of cavities from 1 to {MAX_CAVITIES}", quote(text))),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    const BOX: &str = "shape = 'box'\nlength = 60\nwidth = '4cm'\nheight = '20 mm'\n";

    #[test]
    fn everything_a_mould_can_say_is_read() {
        let text = format!(
            "name = 'fern'\nnote = 'invented'\n{BOX}cavities = 6\nrelief = '0.8mm'\nwall = 4\nvolume = '46ml'\nmost = '230C'\n"
        );
        let mould = Mould::read(&text).unwrap();
        assert_eq!(mould.shape, BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 });
        assert_eq!((mould.cavities, mould.relief_mm, mould.wall_mm), (6, Some(0.8), 4.0));
        assert_eq!((mould.volume_ml, mould.volume_measured, mould.most_c), (46.0, true, Some(230.0)));
        let plain = Mould::read(BOX).unwrap();
        assert_eq!(
            (plain.cavities, plain.wall_mm, plain.volume_ml, plain.volume_measured),
            (1, USUAL_WALL_MM, 48.0, false)
        );
    }

    #[test]
    fn a_round_mould_is_a_cylinder() {
        let mould = Mould::read("shape = 'round'\ndiameter = 60\nheight = '20mm'").unwrap();
        assert_eq!(mould.shape, BarShape::Round { diameter_mm: 60.0, height_mm: 20.0 });
        // π · 3 cm · 3 cm · 2 cm.
        assert!((mould.volume_ml - 56.548_667_764_6).abs() < 1e-9, "{}", mould.volume_ml);
        assert_eq!(BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 }.volume_ml(), 48.0);
    }

    #[test]
    fn a_volume_without_a_unit_is_in_millilitres() {
        for volume in ["46", "'46'", "'46ml'"] {
            assert_eq!(Mould::read(&format!("{BOX}volume = {volume}")).unwrap().volume_ml, 46.0, "{volume}");
        }
    }

    #[test]
    fn after_a_byte_order_mark_places_are_those_of_the_text() {
        let text = format!("{BYTE_ORDER_MARK}shape = 'heart'");
        let errors = Mould::read(&text).unwrap_err();
        assert_eq!(&text[errors[0].span.clone()], "'heart'");
    }

    #[test]
    fn every_refusal_has_its_code() {
        for (text, codes) in [
            ("", vec!["no-shape"]),
            ("shape = 'heart'", vec!["unknown-shape"]),
            ("shape = 3", vec!["wrong-kind"]),
            ("shape = 'box'\nlength = 60", vec!["size-missing", "size-missing"]),
            ("shape = 'round'\ndiameter = 60\nheight = 20\nlength = 3", vec!["size-foreign"]),
            ("shape = 'round'\ndiameter = 0\nheight = '2km'", vec!["bad-size", "bad-size"]),
            (&format!("{BOX}volume = '460ml'"), vec!["volume-misfit"]),
            (&format!("{BOX}volume = '46 g'"), vec!["bad-size"]),
            (&format!("{BOX}cavities = 2.5"), vec!["bad-size"]),
            (&format!("{BOX}cavities = 0"), vec!["bad-size"]),
            (&format!("{BOX}relief = true"), vec!["wrong-kind"]),
            (&format!("{BOX}releif = 1"), vec!["unknown-key"]),
            (&format!("{BOX}most = '900C'"), vec!["bad-size"]),
        ] {
            let errors = Mould::read(text).unwrap_err();
            assert_eq!(errors.iter().map(|error| error.code).collect::<Vec<_>>(), codes, "{text}: {errors:?}");
        }
    }
}
