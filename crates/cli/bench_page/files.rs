//! The chosen folder: its formula files by name, and nothing else.

use std::ffi::OsStr;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::{Mutex, PoisonError};

use barwright_reference::formula::{Format, read, rewrite_toml, to_toml};
use barwright_reference::{Formula, Library};
use barwright_save::save;
use serde::Serialize;

use crate::complain::visible;
use crate::error::{CliError, Complaint};
use crate::input::{read_file, say};
use crate::profile::digest;

/// Ending of a formula file.
const ENDING: &str = ".toml";

/// Longest name taken, bytes: what common file systems take.
const LONGEST_NAME: usize = 120;

/// Most files listed.
const MOST_FILES: usize = 2000;

/// The folder.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    /// Held while a file is looked at and written.
    writing: Mutex<()>,
}

/// A formula file as opened.
#[derive(Debug)]
pub struct Opened {
    /// Digest of its bytes.
    pub digest: String,
    /// Its formula.
    pub formula: Formula,
    /// Its remark.
    pub remark: Option<String>,
    /// Notes on how it was read.
    pub notes: Vec<String>,
}

/// Why a file was not saved.
#[derive(Debug)]
pub enum NotSaved {
    /// It is not as it was when it was opened; its digest now.
    Changed(Option<String>),
    /// Anything else.
    Failed(CliError),
}

impl From<CliError> for NotSaved {
    fn from(error: CliError) -> Self {
        NotSaved::Failed(error)
    }
}

/// A file listed.
#[derive(Debug, Serialize)]
pub struct Listed {
    name: String,
}

impl Folder {
    /// Takes a folder.
    ///
    /// # Errors
    /// It is not there, or is none.
    pub fn open(path: &Path) -> Result<Self, CliError> {
        let shown = visible(&path.display().to_string());
        let real = path.canonicalize().ok().filter(|real| real.is_dir()).ok_or_else(|| {
            Complaint::new("no-folder", format!("there is no folder `{shown}`"))
                .hint("Make it first, or name another behind `--folder`.")
        })?;
        Ok(Folder { path: real, writing: Mutex::new(()) })
    }

    /// Its path as shown.
    pub fn shown(&self) -> String {
        visible(&self.path.display().to_string())
    }

    /// Lists the formula files.
    pub fn list(&self) -> Result<Vec<Listed>, CliError> {
        let entries = fs::read_dir(&self.path)
            .map_err(|error| Complaint::new("no-folder", format!("the folder cannot be read: {error}")))?;
        let names = entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok());
        let mut names: Vec<String> = names.filter(|name| self.place(name).is_ok_and(|path| path.is_file())).collect();
        names.sort_unstable();
        names.truncate(MOST_FILES);
        Ok(names.into_iter().map(|name| Listed { name }).collect())
    }

    /// Opens a file.
    pub fn read(&self, name: &str, library: &Library) -> Result<Opened, CliError> {
        let path = self.place(name)?;
        let text =
            self.text(&path, name)?.ok_or_else(|| Complaint::new("no-file", format!("there is no file `{name}`")))?;
        let stem = name.strip_suffix(ENDING).unwrap_or(name);
        let reading = read(&text, Format::Toml, stem, library).map_err(|errors| {
            CliError::input(errors.into_iter().map(|error| Complaint::from_diagnostic(error, name, &text)).collect())
        })?;
        let notes = reading.notes.iter().map(|note| say(note, name, &text)).collect();
        let formula = reading.formulas.into_iter().next();
        let formula = formula.ok_or_else(|| Complaint::new("no-formula", format!("`{name}` holds no formula")))?;
        Ok(Opened { digest: digest(text.as_bytes()), formula, remark: reading.remark, notes })
    }

    /// Saves a formula; returns the digest of what was written.
    ///
    /// # Arguments
    /// * `expected`: digest of the file when it was opened; `None` when it must not be there yet.
    ///
    /// # Errors
    /// The file is another than expected, or cannot be written.
    pub fn write(
        &self,
        name: &str,
        expected: Option<&str>,
        formula: &Formula,
        library: &Library,
    ) -> Result<String, NotSaved> {
        let path = self.place(name)?;
        let _alone = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        let old = self.text(&path, name)?;
        let found = old.as_ref().map(|text| digest(text.as_bytes()));
        if found.as_deref() != expected {
            return Err(NotSaved::Changed(found));
        }
        let text = match &old {
            // What else stands in the file stays: comments, order, units.
            Some(text) => {
                let stem = name.strip_suffix(ENDING).unwrap_or(name);
                let named = read(text, Format::Toml, stem, library).ok();
                let named = named.and_then(|reading| reading.formulas.into_iter().next()).map(|old| old.name);
                let renamed = named.is_some_and(|old| old != formula.name).then_some(formula.name.as_str());
                rewrite_toml(text, &formula.parts, renamed, library)
            }
            None => to_toml(formula, None, "", library),
        };
        let text = text.map_err(|error| CliError::from(Complaint::new("unwritable", error.to_string())))?;
        save(&path, text.as_bytes()).map_err(CliError::from)?;
        Ok(digest(text.as_bytes()))
    }

    /// The text of a file that may not be there.
    fn text(&self, path: &Path, name: &str) -> Result<Option<Rc<str>>, CliError> {
        match fs::metadata(path) {
            Ok(found) if found.is_file() => {
                read_file(path, name).map(Some).map_err(|complaint| CliError::input(vec![*complaint]))
            }
            Ok(_) => Err(refused(name, "is no file")),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(error) => Err(refused(name, &format!("cannot be read: {error}"))),
        }
    }

    /// Where a name leads: directly into the folder, or nowhere.
    fn place(&self, name: &str) -> Result<PathBuf, CliError> {
        if let Some(fault) = fault(name) {
            return Err(refused(name, fault));
        }
        let path = self.path.join(name);
        match fs::symlink_metadata(&path) {
            Ok(found) if found.is_symlink() => {
                let inside = path.canonicalize().is_ok_and(|real| real.parent() == Some(self.path.as_path()));
                if inside { Ok(path) } else { Err(refused(name, "is a link that leads out of the folder")) }
            }
            _ => Ok(path),
        }
    }
}

/// What is wrong with a name of a file.
fn fault(name: &str) -> Option<&'static str> {
    if name.len() > LONGEST_NAME {
        Some("is too long for a name")
    } else if !name.ends_with(ENDING) || Path::new(name).file_name() != Some(OsStr::new(name)) || name.starts_with('.')
    {
        Some("is no name of a formula file, such as `winter.toml`")
    } else if name.contains(['/', '\\', ':', '"', '<', '>', '|', '?', '*']) || visible(name) != name {
        Some("has a character that no name should have")
    } else {
        None
    }
}

/// Says that a name is refused.
fn refused(name: &str, why: &str) -> CliError {
    let shown: String = visible(name).chars().take(LONGEST_NAME).collect();
    Complaint::new("bad-name", format!("`{shown}` {why}")).into()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    #[test]
    fn only_plain_names_are_taken() {
        for name in ["winter.toml", "my bar, 2nd try.toml", "Jojoba & Bär.toml", "a..b.toml"] {
            assert_eq!(fault(name), None, "{name}");
        }
        for name in [
            "",
            ".toml",
            "..toml",
            "../x.toml",
            "a/b.toml",
            "/x.toml",
            "a\\b.toml",
            "c:x.toml",
            "x.csv",
            "x.toml/",
            "x.TOML",
            "x\0.toml",
            "x\n.toml",
            "\u{202e}x.toml",
            "x.toml\0",
        ] {
            assert!(fault(name).is_some(), "{name:?}");
        }
        assert!(fault(&format!("{}.toml", "x".repeat(200))).is_some());
    }
}
