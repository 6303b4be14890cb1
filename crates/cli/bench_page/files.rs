//! The chosen folder: its formula files by name, and nothing else.

use std::ffi::OsStr;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::{Mutex, PoisonError};

use barwright_reference::formula::{Format, read, rewrite_toml, to_toml};
use barwright_reference::{Formula, Library};

use crate::error::CliError;
use crate::input::{read_file, say};
use crate::profile::digest;
use crate::save::save;
use barwright_answer::Fault;
use barwright_answer::words::visible::visible;

/// Ending of a formula file.
const ENDING: &str = ".toml";

/// Longest name taken, bytes: what common file systems take.
const MAX_NAME_BYTES: usize = 120;

/// Most files listed.
const MAX_FILES: usize = 2000;

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

impl Folder {
    /// Takes a folder.
    ///
    /// # Errors
    /// It is not there, or is none.
    pub fn open(path: &Path) -> Result<Self, CliError> {
        let shown = visible(&path.display().to_string());
        let real = path.canonicalize().ok().filter(|real| real.is_dir()).ok_or_else(|| {
            Fault::new("no-folder", format!("there is no folder `{shown}`"))
                .hint("Make it first, or name another behind `--folder`.")
        })?;
        Ok(Folder { path: real, writing: Mutex::new(()) })
    }

    /// Its path as shown.
    pub fn shown(&self) -> String {
        visible(&self.path.display().to_string())
    }

    /// Lists the formula files.
    pub fn list(&self) -> Result<Vec<String>, CliError> {
        let entries = fs::read_dir(&self.path)
            .map_err(|error| Fault::new("no-folder", format!("the folder cannot be read: {error}")))?;
        let names = entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok());
        let mut names: Vec<String> = names.filter(|name| self.place(name).is_ok_and(|path| path.is_file())).collect();
        names.sort_unstable();
        names.truncate(MAX_FILES);
        Ok(names)
    }

    /// Opens a file.
    pub fn read(&self, name: &str, library: &Library) -> Result<Opened, CliError> {
        let path = self.place(name)?;
        let text =
            self.text(&path, name)?.ok_or_else(|| Fault::new("no-file", format!("there is no file `{name}`")))?;
        let stem = name.strip_suffix(ENDING).unwrap_or(name);
        let reading = read(&text, Format::Toml, stem, library).map_err(|errors| {
            CliError::input(errors.into_iter().map(|error| Fault::from_diagnostic(error, name, &text)).collect())
        })?;
        let notes = reading.notes.iter().map(|note| say(note, name, &text)).collect();
        let formula = reading.formulas.into_iter().next();
        let formula = formula.ok_or_else(|| Fault::new("no-formula", format!("`{name}` holds no formula")))?;
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
        let text = text.map_err(|error| CliError::from(Fault::new("unwritable", error.to_string())))?;
        save(&path, text.as_bytes())?;
        Ok(digest(text.as_bytes()))
    }

    /// The text of a file that may not be there.
    fn text(&self, path: &Path, name: &str) -> Result<Option<Arc<str>>, CliError> {
        match fs::metadata(path) {
            Ok(found) if found.is_file() => Ok(Some(read_file(path, name)?)),
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
    if name.len() > MAX_NAME_BYTES {
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
    let shown: String = visible(name).chars().take(MAX_NAME_BYTES).collect();
    Fault::new("bad-name", format!("`{shown}` {why}")).into()
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

    fn folder() -> (tempfile::TempDir, Folder, Library) {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder::open(place.path()).unwrap();
        (place, folder, Library::builtin().unwrap())
    }

    fn code(error: &CliError) -> &'static str {
        error.faults.first().unwrap().code
    }

    /// A formula named `name`, `beeswax` parts of beeswax and the rest olive oil.
    fn bar(name: &str, beeswax: f64, library: &Library) -> Formula {
        let text = format!("beeswax {beeswax}, olive oil {}", 100.0 - beeswax);
        barwright_reference::formula::read_inline(&text, name, library).unwrap().formulas.remove(0)
    }

    #[test]
    fn a_name_as_long_as_a_system_takes() {
        let of = |bytes: usize| format!("{}{ENDING}", "x".repeat(bytes - ENDING.len()));
        assert_eq!(fault(&of(MAX_NAME_BYTES)), None);
        assert_eq!(fault(&of(MAX_NAME_BYTES + 1)), Some("is too long for a name"));
        assert!(code(&refused(&"y".repeat(500), "is too long")) == "bad-name");
        assert!(refused(&"y".repeat(500), "is too long").faults[0].message.len() < 200);
    }

    #[test]
    fn a_folder_must_be_one() {
        let place = tempfile::tempdir().unwrap();
        let file = place.path().join("x.toml");
        std::fs::write(&file, "").unwrap();
        for path in [place.path().join("nowhere"), file] {
            let error = Folder::open(&path).unwrap_err();
            assert_eq!(code(&error), "no-folder");
        }
        let folder = Folder::open(place.path()).unwrap();
        assert_eq!(folder.shown(), place.path().canonicalize().unwrap().display().to_string());
    }

    #[test]
    fn a_list_holds_formula_files_alone_in_order_and_not_without_end() {
        let (place, folder, _) = folder();
        std::fs::create_dir(place.path().join("a folder.toml")).unwrap();
        for name in ["b.toml", "a.toml", "notes.txt", ".hidden.toml"] {
            std::fs::write(place.path().join(name), "").unwrap();
        }
        let names = |folder: &Folder| folder.list().unwrap();
        assert_eq!(names(&folder), ["a.toml", "b.toml"]);
        for number in 0..MAX_FILES {
            std::fs::write(place.path().join(format!("c{number:04}.toml")), "").unwrap();
        }
        assert_eq!(names(&folder).len(), MAX_FILES);
        drop(place);
        assert_eq!(code(&folder.list().unwrap_err()), "no-folder");
    }

    #[test]
    fn what_is_saved_is_read_and_only_what_was_seen_is_replaced() {
        let (place, folder, library) = folder();
        assert_eq!(code(&folder.read("bar.toml", &library).unwrap_err()), "no-file");
        let first = folder.write("bar.toml", None, &bar("Leaf bar", 30.0, &library), &library).unwrap();
        let opened = folder.read("bar.toml", &library).unwrap();
        assert_eq!((opened.digest.as_str(), opened.formula.name.as_str()), (first.as_str(), "Leaf bar"));
        // It is there now: neither as new nor under another digest is it replaced.
        for expected in [None, Some("0")] {
            let refused = folder.write("bar.toml", expected, &bar("Leaf bar", 20.0, &library), &library);
            assert!(matches!(refused, Err(NotSaved::Changed(Some(found))) if found == first));
        }
        let path = place.path().join("bar.toml");
        let with_remark = format!("# my own remark\n{}", std::fs::read_to_string(&path).unwrap());
        std::fs::write(&path, with_remark).unwrap();
        let seen = folder.read("bar.toml", &library).unwrap().digest;
        folder.write("bar.toml", Some(&seen), &bar("Leaf bar, soft", 20.0, &library), &library).unwrap();
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(text.starts_with("# my own remark\n") && text.contains("Leaf bar, soft"), "{text}");
        let opened = folder.read("bar.toml", &library).unwrap();
        assert_eq!((opened.formula.name.as_str(), opened.formula.parts[0].percent), ("Leaf bar, soft", 20.0));
        // A name that stays is not written anew.
        let without_name = "[parts]\nbeeswax = 1\n'olive oil' = 3\n";
        std::fs::write(&path, without_name).unwrap();
        let seen = folder.read("bar.toml", &library).unwrap();
        assert_eq!(seen.formula.name, "bar");
        folder.write("bar.toml", Some(&seen.digest), &bar("bar", 20.0, &library), &library).unwrap();
        assert!(!std::fs::read_to_string(&path).unwrap().contains("name"));
    }

    #[test]
    fn what_is_no_file_or_no_formula_is_told() {
        let (place, folder, library) = folder();
        std::fs::create_dir(place.path().join("inner.toml")).unwrap();
        std::fs::write(place.path().join("bad.toml"), "[parts]\nbeswax = 1\n").unwrap();
        assert_eq!(code(&folder.read("inner.toml", &library).unwrap_err()), "bad-name");
        assert_eq!(code(&folder.read("../bad.toml", &library).unwrap_err()), "bad-name");
        assert_eq!(code(&folder.read("bad.toml", &library).unwrap_err()), "unknown-ingredient");
        let bar = bar("x", 30.0, &library);
        assert!(matches!(folder.write("inner.toml", None, &bar, &library), Err(NotSaved::Failed(_))));
        assert!(matches!(folder.write("../x.toml", None, &bar, &library), Err(NotSaved::Failed(_))));
        assert!(!place.path().parent().unwrap().join("x.toml").exists());
    }

    /// The folder is replaced by a file while the page is open (POSIX `stat` of a name below a file: ENOTDIR): nobody knows whether its files are gone.
    #[test]
    #[cfg(unix)]
    fn a_file_that_cannot_be_looked_at_is_not_taken_as_gone() {
        let (place, folder, library) = folder();
        let path = place.path().to_owned();
        drop(place);
        std::fs::write(&path, "").unwrap();
        let error = folder.read("bar.toml", &library).unwrap_err();
        let saved = folder.write("bar.toml", None, &bar("x", 30.0, &library), &library);
        std::fs::remove_file(&path).unwrap();
        assert!(code(&error) == "bad-name" && error.faults[0].message.contains("cannot be read"), "{error:?}");
        let NotSaved::Failed(error) = saved.unwrap_err() else { unreachable!("nothing was seen there") };
        assert_eq!(code(&error), "bad-name");
    }

    #[test]
    #[cfg(unix)]
    fn a_link_may_stay_in_the_folder_and_not_leave_it() {
        use std::os::unix::fs::symlink;
        let outer = tempfile::tempdir().unwrap();
        let inside = outer.path().join("inside");
        std::fs::create_dir(&inside).unwrap();
        let folder = Folder::open(&inside).unwrap();
        let library = Library::builtin().unwrap();
        std::fs::write(outer.path().join("secret.toml"), "[parts]\nbeeswax = 1\n").unwrap();
        std::fs::write(inside.join("here.toml"), "[parts]\nbeeswax = 1\n").unwrap();
        symlink("../secret.toml", inside.join("out.toml")).unwrap();
        symlink("here.toml", inside.join("near.toml")).unwrap();
        assert!(folder.read("near.toml", &library).is_ok());
        assert_eq!(code(&folder.read("out.toml", &library).unwrap_err()), "bad-name");
        assert_eq!(folder.list().unwrap().len(), 2);
    }
}
