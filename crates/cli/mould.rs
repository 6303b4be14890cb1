//! The mould a command is about: from a file or from a size.

use std::path::{Path, PathBuf};

use barwright_reference::length::parse_length;
use barwright_reference::mould::{BAR_MM, BarShape, Mould};

use crate::error::CliError;
use crate::input::read_text;
use barwright_answer::Fault;

/// How a size is written.
const HOW: &str = "write length, width and height, `60x40x20mm`, or diameter and height, `60x25mm`";

/// The mould, as the command line names it.
#[derive(Debug, clap::Args)]
pub struct MouldArgs {
    /// Your mould: a .toml file with shape, sizes, cavities and finest relief
    #[arg(long, value_name = "FILE")]
    pub mould: Option<PathBuf>,
    /// Size of the bar, when you have no mould file: `60x40x20mm`, or `60x25mm` for a round one
    #[arg(long, value_name = "SIZE", conflicts_with = "mould", value_parser = parse_size)]
    pub size: Option<BarShape>,
}

impl MouldArgs {
    /// Loads the mould, where one or a size is named.
    ///
    /// # Errors
    /// Everything that is wrong with its file.
    pub fn load(&self) -> Result<Option<Mould>, CliError> {
        match &self.mould {
            Some(path) => load(path).map(Some),
            None => Ok(self.size.map(Mould::plain)),
        }
    }
}

/// Loads a mould file.
///
/// # Errors
/// Everything that is wrong with it.
pub fn load(path: &Path) -> Result<Mould, CliError> {
    let (text, origin) = read_text(path)?;
    Mould::read(&text).map_err(|errors| {
        let faults = errors.into_iter().map(|error| Fault::from_diagnostic(error, &origin, &text));
        CliError::input(faults.collect())
    })
}

/// Reads a size: `60x40x20mm`, `2.5 x 1.5 x 1 in`, `60x25mm`.
///
/// # Errors
/// What is wrong, in one sentence.
pub fn parse_size(text: &str) -> Result<BarShape, String> {
    let unit_at = text.trim_end().rfind(|letter: char| letter.is_ascii_digit() || letter == '.').map_or(0, |at| at + 1);
    let (numbers, unit) = text.split_at(unit_at);
    let lengths: Result<Vec<f64>, String> = numbers
        .split(['x', 'X', '×', '*'])
        .map(|number| {
            parse_length(&format!("{}{unit}", number.trim()), BAR_MM).map_err(|error| format!("{error}; {HOW}"))
        })
        .collect();
    match *lengths?.as_slice() {
        [length_mm, width_mm, height_mm] => Ok(BarShape::Box { length_mm, width_mm, height_mm }),
        [diameter_mm, height_mm] => Ok(BarShape::Round { diameter_mm, height_mm }),
        _ => Err(HOW.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read() {
        let plain = BarShape::Box { length_mm: 60.0, width_mm: 40.0, height_mm: 20.0 };
        for text in ["60x40x20mm", "60 x 40 x 20", "6×4×2 cm", "60X40X20 mm"] {
            assert_eq!(parse_size(text), Ok(plain), "{text}");
        }
        assert_eq!(parse_size("60x25mm"), Ok(BarShape::Round { diameter_mm: 60.0, height_mm: 25.0 }));
        for text in ["", "60", "60x0x20mm", "60x40x20x10mm", "axb", "60x40x20 g", "5000x40x20mm", "x"] {
            assert!(parse_size(text).is_err(), "{text}");
        }
    }
}
