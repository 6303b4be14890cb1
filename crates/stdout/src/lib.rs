//! Whether standard output was open when the program started.
//!
//! It is looked at before the runtime of the language is there: that opens the null device in place of a closed standard output, and an
//! answer written to it would be lost without a word.

use std::io::{self, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use rustix::fs::{OFlags, fcntl_getfl};
use rustix::stdio::stdout;

/// Whether standard output was closed, or open for reading only.
static CLOSED: AtomicBool = AtomicBool::new(false);

// It calls the system and sets a flag: nothing that needs the runtime.
#[ctor::ctor(unsafe)]
fn look() {
    let takes_output = fcntl_getfl(stdout()).is_ok_and(|flags| flags & OFlags::RWMODE != OFlags::RDONLY);
    CLOSED.store(!takes_output, Ordering::Relaxed);
}

/// Checks that something can be written to standard output.
///
/// # Errors
/// It was closed when the program started.
///
/// ```
/// # use std::io;
/// barwright_stdout::check()?;
/// # Ok::<(), io::Error>(())
/// ```
pub fn check() -> io::Result<()> {
    if CLOSED.load(Ordering::Relaxed) { Err(io::Error::other("standard output is closed")) } else { Ok(()) }
}

/// A writer to standard output that refuses what would be lost.
#[derive(Debug)]
pub struct Checked<W>(pub W);

impl<W: Write> Write for Checked<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        check()?;
        self.0.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}
