//! Writes a file whole or not at all: the one way the command puts a file on disk.

use std::fmt::Display;
use std::fs::{self, Metadata, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

use barwright_records::part_in;
pub use barwright_records::{refusal, sweep};

use barwright_answer::Fault;

use crate::error::CliError;

/// Links followed from a name to its file before they are taken for a circle.
const MAX_LINKS: usize = 32;

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
/// The name is a folder's or a link that leads in a circle, its folder is missing, the file is read-only, or the system refuses.
///
/// # Validity
/// The file's owner and its other hard links are not kept: the new file belongs to whoever runs the program.
pub fn save(path: &Path, contents: &[u8]) -> Result<(), CliError> {
    let refuse = |error: io::Error| refused(path, &error);
    let old = match fs::metadata(path) {
        Ok(old) if old.is_dir() => return Err(unwritable(path, "it is a folder", "Name a file, not a folder.")),
        Ok(old) if !old.is_file() => {
            let mut device = OpenOptions::new().write(true).open(path).map_err(refuse)?;
            return device.write_all(contents).and_then(|()| device.flush()).map_err(refuse);
        }
        Ok(old) if old.permissions().readonly() => {
            let hint = "Name another file, or allow this one to be changed.";
            return Err(unwritable(path, "it is marked read-only", hint));
        }
        Ok(old) => Some(old),
        Err(error) if error.kind() == ErrorKind::NotFound => None,
        Err(error) => return Err(refuse(error)),
    };
    let target = follow_links(path).map_err(refuse)?;
    let folder = target.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if !folder.is_dir() {
        let why = format!("there is no folder `{}`", folder.display());
        return Err(unwritable(path, why, "Make the folder first, or name a file in one that exists."));
    }
    replace(&target, folder, old.as_ref(), contents).map_err(refuse)
}

/// Says why a file was not written; what stood under its name before is untouched.
fn unwritable(path: &Path, why: impl Display, hint: &str) -> CliError {
    Fault::new("unwritable", format!("`{}` cannot be written: {why}", path.display())).hint(hint).into()
}

/// Says that the system refused.
fn refused(path: &Path, error: &io::Error) -> CliError {
    if refusal::is_circle(error) {
        return unwritable(path, "it is a link that leads in a circle", "Name the file itself, or remove the link.");
    }
    if refusal::is_too_many_open(error) {
        return unwritable(path, "too many files are open", refusal::TOO_MANY_OPEN_HINT);
    }
    unwritable(path, error, "Name a file in a folder you may write to.")
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
    for _ in 0..MAX_LINKS {
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
mod tests;
