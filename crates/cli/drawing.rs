//! Where a picture goes: below the answer in letters, or into a file.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use barwright_answer::Answered;
use barwright_answer::picture::{self, Picture};
use serde::Serialize;

use crate::args::OUTPUT;
use crate::error::CliError;
use crate::output::{Form, Streams};
use crate::save::save;

/// What a picture is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Format {
    /// Lines and letters, to be scaled.
    Svg,
    /// Pixels.
    Png,
}

/// A file to draw into.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PictureFile {
    path: PathBuf,
    format: Format,
}

/// Where a picture goes.
#[derive(Debug, clap::Args)]
pub struct Drawing {
    /// Save the picture to a file: SVG or PNG, by its extension
    #[arg(long, help_heading = OUTPUT, value_name = "FILE", value_parser = picture_file)]
    plot: Option<PictureFile>,
    /// Draw the picture below the answer, in text
    #[arg(long, help_heading = OUTPUT, conflicts_with = "json")]
    draw: bool,
}

/// Reads the name of a file to draw into.
fn picture_file(name: &str) -> Result<PictureFile, String> {
    let path = PathBuf::from(name);
    let ending = path.extension().and_then(OsStr::to_str).map(str::to_lowercase);
    let format = match ending.as_deref() {
        Some("svg") => Format::Svg,
        Some("png") => Format::Png,
        _ => return Err("a picture is written as .svg or .png; end the name in one of them".to_owned()),
    };
    Ok(PictureFile { path, format })
}

impl PictureFile {
    /// Draws a picture into the file.
    fn write(&self, picture: &Picture) -> Result<&Path, CliError> {
        let bytes = match self.format {
            Format::Svg => picture::svg_file(picture).into_bytes(),
            Format::Png => picture::png(picture)
                .map_err(|error| CliError::internal(format!("the picture could not be drawn: {error}")))?,
        };
        save(&self.path, &bytes)?;
        Ok(&self.path)
    }
}

impl Drawing {
    /// Whether any picture is wanted.
    pub fn is_wanted(&self) -> bool {
        self.draw || self.plot.is_some()
    }

    /// Draws a picture where it is wanted: below the answer, and into a file.
    ///
    /// # Errors
    /// Where it cannot be written.
    pub fn show(&self, picture: &Picture, streams: &mut Streams<'_>) -> Result<(), CliError> {
        if self.draw {
            streams.data.blank()?;
            let columns = streams.data.columns();
            streams.data.as_is(&picture::text(picture, columns))?;
        }
        if let Some(file) = &self.plot {
            let path = file.write(picture)?;
            streams.remarks.note(&format!("drawn into {}", path.display()))?;
        }
        Ok(())
    }
}

impl Streams<'_> {
    /// Writes an answer, and its picture where one is wanted.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn answer<F: Serialize>(
        &mut self,
        answer: &Answered<F>,
        form: Form,
        drawing: &Drawing,
    ) -> Result<(), CliError> {
        self.figures(answer, form)?;
        answer.picture.as_ref().map_or(Ok(()), |picture| drawing.show(picture, self))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ending_decides() {
        for (name, format) in [("a.svg", Format::Svg), ("a/b.c.PNG", Format::Png)] {
            assert_eq!(picture_file(name).map(|file| file.format), Ok(format));
        }
        for name in ["a", "svg", "a.pdf", "a.svg.", ""] {
            assert!(picture_file(name).is_err_and(|words| words.contains(".svg or .png")), "{name}");
        }
    }
}
