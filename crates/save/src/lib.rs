//! Writes a file whole or not at all: the one way every program of barwright puts a file on disk.
//!
//! # Contents
//! - [`save`]: writes a file.
//! - [`part_in`], [`sweep`]: the part files it goes through, and those that a killed run left behind.
//! - [`refusal`]: refusals of the system that the standard library has no name for.

mod part;
pub mod refusal;

use std::fs::{self, Metadata, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

pub use part::{STALE_AFTER, part_in, sweep};

/// Links followed from a name to its file before they are taken for a circle.
const MOST_LINKS: usize = 32;

/// Why a file was not written; what stood under its name before is untouched.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SaveError {
    /// The name is that of a folder.
    #[error("`{}` cannot be written: it is a folder", path.display())]
    IsFolder {
        /// The name given.
        path: PathBuf,
    },
    /// The folder the file should go into does not exist.
    #[error("`{}` cannot be written: there is no folder `{}`", path.display(), folder.display())]
    NoFolder {
        /// The name given.
        path: PathBuf,
        /// The folder.
        folder: PathBuf,
    },
    /// The file exists and is marked as not to be changed.
    #[error("`{}` cannot be written: it is marked read-only", path.display())]
    ReadOnly {
        /// The name given.
        path: PathBuf,
    },
    /// It is a link of a chain that ends nowhere.
    #[error("`{}` cannot be written: it is a link that leads in a circle", path.display())]
    Circle {
        /// The name given.
        path: PathBuf,
    },
    /// The system lets this program open no more files.
    #[error("`{}` cannot be written: too many files are open", path.display())]
    TooManyOpen {
        /// The name given.
        path: PathBuf,
    },
    /// The system refused.
    #[error("`{}` cannot be written: {source}", path.display())]
    Io {
        /// The name given.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

impl SaveError {
    /// Returns what to do about it, one sentence.
    pub fn hint(&self) -> &'static str {
        match self {
            SaveError::IsFolder { .. } => "Name a file, not a folder.",
            SaveError::NoFolder { .. } => "Make the folder first, or name a file in one that exists.",
            SaveError::ReadOnly { .. } => "Name another file, or allow this one to be changed.",
            SaveError::Circle { .. } => "Name the file itself, or remove the link.",
            SaveError::TooManyOpen { .. } => refusal::TOO_MANY_OPEN_HINT,
            SaveError::Io { .. } => "Name a file in a folder you may write to.",
        }
    }
}

/// Writes `contents` to the file `path`, replacing what it held.
///
/// The contents go into a temporary file in the same folder, are synced to the disk, and are then renamed. Whoever reads the
/// name meanwhile, or after a failure, finds the old file whole or the new one whole, and no part file stays behind. An
/// existing file keeps its permissions; a link stays a link and the file behind it is replaced. A device or a pipe has
/// nothing to replace and is written to directly.
///
/// # Arguments
/// * `path`: the file to write; its folder must exist.
/// * `contents`: all of it.
///
/// # Errors
/// [`SaveError`] when the name is a folder's or a link that leads in a circle, its folder is missing, the file is read-only, or
/// the system refuses.
///
/// # Validity
/// The file's owner and its other hard links are not kept: the new file belongs to whoever runs the program.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("bar.toml");
/// barwright_save::save(&path, b"[parts]\nbeeswax = 1\n")?;
/// assert_eq!(std::fs::read_to_string(&path)?, "[parts]\nbeeswax = 1\n");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn save(path: &Path, contents: &[u8]) -> Result<(), SaveError> {
    let refuse = |source: io::Error| match source {
        source if refusal::is_circle(&source) => SaveError::Circle { path: path.to_owned() },
        source if refusal::is_too_many_open(&source) => SaveError::TooManyOpen { path: path.to_owned() },
        source => SaveError::Io { path: path.to_owned(), source },
    };
    let old = match fs::metadata(path) {
        Ok(old) if old.is_dir() => return Err(SaveError::IsFolder { path: path.to_owned() }),
        Ok(old) if !old.is_file() => {
            let mut device = OpenOptions::new().write(true).open(path).map_err(refuse)?;
            return device.write_all(contents).and_then(|()| device.flush()).map_err(refuse);
        }
        Ok(old) if old.permissions().readonly() => return Err(SaveError::ReadOnly { path: path.to_owned() }),
        Ok(old) => Some(old),
        Err(error) if error.kind() == ErrorKind::NotFound => None,
        Err(error) => return Err(refuse(error)),
    };
    let target = follow_links(path).map_err(refuse)?;
    let folder = target.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if !folder.is_dir() {
        return Err(SaveError::NoFolder { path: path.to_owned(), folder: folder.to_owned() });
    }
    replace(&target, folder, old.as_ref(), contents).map_err(refuse)
}

/// Writes beside `target` and renames; the part file is removed whenever this fails.
fn replace(target: &Path, folder: &Path, old: Option<&Metadata>, contents: &[u8]) -> io::Result<()> {
    sweep(folder);
    let file = part_in(folder)?;
    if let Some(old) = old {
        file.as_file().set_permissions(old.permissions())?;
    }
    write_to_disk(file.as_file(), contents)?;
    file.persist(target).map_err(|error| error.error)?;
    Ok(())
}

/// Writes all of it and waits until it is on the disk: a name given before that could stand for a file cut short by a power cut.
fn write_to_disk(mut file: &fs::File, contents: &[u8]) -> io::Result<()> {
    file.write_all(contents)?;
    file.sync_all()
}

/// Returns the name at the end of a chain of links, whether or not there is a file.
fn follow_links(path: &Path) -> io::Result<PathBuf> {
    let mut path = path.to_owned();
    for _ in 0..MOST_LINKS {
        match fs::symlink_metadata(&path) {
            Ok(found) if found.is_symlink() => {
                let next = fs::read_link(&path)?;
                path = path.parent().unwrap_or(Path::new("")).join(next);
            }
            Ok(_) => return Ok(path),
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(path),
            Err(error) => return Err(error),
        }
    }
    Err(io::Error::other("its links lead in a circle"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    #[test]
    fn a_refused_rename_leaves_no_part_file() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("taken");
        fs::create_dir(&target).unwrap();
        assert!(replace(&target, folder.path(), None, b"x").is_err());
        let names: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert_eq!(names, ["taken"]);
    }

    /// A name that leads nowhere yet is taken as it is; one that cannot be looked at, below a file as if that were a folder (POSIX `lstat`: ENOTDIR), is refused.
    #[test]
    #[cfg(unix)]
    fn links_end_at_a_name_that_is_free_and_not_at_one_that_cannot_be() {
        let folder = tempfile::tempdir().unwrap();
        let (file, free) = (folder.path().join("file"), folder.path().join("free"));
        fs::write(&file, b"x").unwrap();
        for (link, to) in [("to-free", "free"), ("to-none", "file/bar.toml")] {
            std::os::unix::fs::symlink(to, folder.path().join(link)).unwrap();
        }
        assert_eq!(follow_links(&folder.path().join("to-free")).unwrap(), free);
        let refused = |path: &Path| follow_links(path).unwrap_err().kind();
        assert_eq!(refused(&file.join("bar.toml")), ErrorKind::NotADirectory);
        assert_eq!(refused(&folder.path().join("to-none")), ErrorKind::NotADirectory);
    }

    /// A pipe takes what is written and refuses to be synced (POSIX `fsync`: EINVAL): without the call there would be no refusal.
    #[test]
    #[cfg(unix)]
    fn what_is_written_is_synced_and_a_refusal_is_told() {
        use std::io::Read;
        let (mut reader, writer) = io::pipe().unwrap();
        let file = fs::File::from(std::os::fd::OwnedFd::from(writer));
        let refused = write_to_disk(&file, b"all of it").unwrap_err();
        assert_eq!(refused.kind(), ErrorKind::InvalidInput);
        drop(file);
        let mut arrived = String::new();
        reader.read_to_string(&mut arrived).unwrap();
        assert_eq!(arrived, "all of it");
    }
}
