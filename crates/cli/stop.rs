//! Stopping at Ctrl-C with what there is.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;

/// Exit status when the user does not wait for a clean stop: 128 and the number of SIGINT, as shells have it.
const STOPPED_STATUS: i32 = 130;

/// Whether the user wants a long computation to stop.
#[derive(Debug, Clone)]
pub struct Stop(Arc<AtomicBool>);

impl Stop {
    /// Listens for Ctrl-C and for a request to end; a second one ends the program at once.
    pub fn listen() -> std::io::Result<Self> {
        let asked = Arc::new(AtomicBool::new(false));
        for signal in [SIGINT, SIGTERM] {
            // In this order: the first signal sets the flag after it was looked at.
            flag::register_conditional_shutdown(signal, STOPPED_STATUS, Arc::clone(&asked))?;
            flag::register(signal, Arc::clone(&asked))?;
        }
        Ok(Stop(asked))
    }

    /// Whether it was asked for.
    pub fn asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
