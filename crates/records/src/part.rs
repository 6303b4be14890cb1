//! Part files: what a file is until it is whole.

use std::ffi::OsStr;
use std::fs::{self, Metadata, OpenOptions};
use std::io;
use std::path::Path;
use std::time::{Duration, SystemTime};

use tempfile::NamedTempFile;

/// What the name of a part file begins with.
const PREFIX: &str = ".barwright-";

/// What it ends with.
const SUFFIX: &str = ".part";

/// A part file not written to for so long belongs to a run that was killed: the longest takes minutes.
pub const STALE_AFTER: Duration = Duration::from_secs(24 * 3600);

/// Most names of a folder looked at for stale part files.
const MAX_NAMES: usize = 10_000;

/// Makes an empty part file in a folder; it vanishes unless it is given a name.
///
/// # Arguments
/// * `folder`: where the whole file is to be, so that it can be renamed.
///
/// # Errors
/// What the system said; the error does not name the part file, which nobody knows.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let part = barwright_records::part_in(folder.path())?;
/// part.persist(folder.path().join("bar.toml"))?;
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn part_in(folder: &Path) -> io::Result<NamedTempFile> {
    let mut options = OpenOptions::new();
    // A new file is what the user's own mask makes it.
    options.read(true).write(true).create_new(true);
    tempfile::Builder::new().prefix(PREFIX).suffix(SUFFIX).make_in(folder, |path| options.open(path))
}

/// Syncs a part file, gives it its name if nothing has that name, and syncs the folder.
pub(crate) fn keep_part(part: NamedTempFile, path: &Path, folder: &Path) -> io::Result<()> {
    part.as_file().sync_all()?;
    part.persist_noclobber(path).map_err(|error| error.error)?;
    #[cfg(unix)]
    fs::File::open(folder)?.sync_all()?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}

/// Removes the part files that killed runs left in a folder.
///
/// Removed are regular files of this user with the name of a part file, to which nothing was written for [`STALE_AFTER`]. Links are left,
/// and so is what they lead to. What cannot be looked at or removed stays: nothing depends on it.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let name = folder.path().join(".barwright-a1B2c3.part");
/// let file = std::fs::File::create(&name)?;
/// barwright_records::sweep(folder.path());
/// assert!(name.exists(), "a run may be writing it");
/// file.set_modified(std::time::SystemTime::now() - 2 * barwright_records::STALE_AFTER)?;
/// barwright_records::sweep(folder.path());
/// assert!(!name.exists());
/// # Ok::<(), std::io::Error>(())
/// ```
pub fn sweep(folder: &Path) {
    let now = SystemTime::now();
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.take(MAX_NAMES).flatten() {
        // Of an entry that is a link these are the facts of the link.
        if is_part(&entry.file_name()) && entry.metadata().is_ok_and(|facts| is_stale(&facts, now)) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Whether a name is that of a part file.
fn is_part(name: &OsStr) -> bool {
    let middle = name.to_str().and_then(|name| name.strip_prefix(PREFIX)?.strip_suffix(SUFFIX));
    middle.is_some_and(|middle| !middle.is_empty() && middle.bytes().all(|letter| letter.is_ascii_alphanumeric()))
}

/// Whether a file may be removed.
fn is_stale(facts: &Metadata, now: SystemTime) -> bool {
    let age = facts.modified().ok().and_then(|written| now.duration_since(written).ok());
    facts.is_file() && is_ours(facts) && age.is_some_and(|age| age > STALE_AFTER)
}

/// Whether a file belongs to whoever runs the program.
#[cfg(unix)]
fn is_ours(facts: &Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    facts.uid() == rustix::process::geteuid().as_raw()
}

/// Whether a file belongs to whoever runs the program: here a file tells no owner, and only its owner may remove it.
#[cfg(not(unix))]
fn is_ours(_facts: &Metadata) -> bool {
    true
}
