//! Refusals of the system that the standard library has no name for.

use std::io;

use rustix::io::Errno;

/// What to do when too many files are open, one sentence.
pub const TOO_MANY_OPEN_HINT: &str = "Close other programs, or allow more open files (`ulimit -n`), and say it again.";

/// Whether a file was refused because too many are open, in this program or on the whole computer.
pub fn is_too_many_open(error: &io::Error) -> bool {
    matches!(Errno::from_io_error(error), Some(Errno::MFILE | Errno::NFILE))
}

/// Whether a name was refused because its links lead in a circle.
pub fn is_circle(error: &io::Error) -> bool {
    Errno::from_io_error(error) == Some(Errno::LOOP)
}
