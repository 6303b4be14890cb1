//! Threads that compute, and what is done where the system gives none.

use std::sync::atomic::{AtomicBool, Ordering};

use rayon::ThreadPoolBuilder;

/// Whether the system refused the threads of the shared pool, so that whoever computes does it alone.
static ALONE: AtomicBool = AtomicBool::new(false);

/// Starts the threads that share the work of long computations; where the system gives none, this one does all of it.
///
/// Without it the first computation would start them, and stop the program where it cannot.
pub fn start() {
    if ThreadPoolBuilder::new().build_global().is_err() {
        ALONE.store(true, Ordering::Relaxed);
        work_alone();
    }
}

/// Has the thread that calls it compute alone where there is no shared pool; every other one calls it before it computes.
pub fn work_alone() {
    if ALONE.load(Ordering::Relaxed) {
        // A pool of this very thread starts no other and stays as long as the thread; that there is one already is as good.
        let _ = ThreadPoolBuilder::new().num_threads(1).use_current_thread().build();
    }
}
