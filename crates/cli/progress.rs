//! Long computations: a bar of progress on a terminal, and stopping at Ctrl-C.

use std::io;
use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::stop::Stop;

/// The bar of a computation whose parts are alike.
const PLAIN: &str = "{bar:30} {percent:>3} %  {eta} left";

/// What is over sooner shows no bar.
const SHOWN_AFTER: Duration = Duration::from_secs(1);

/// A bar on standard error, once the computation takes longer than a glance; nothing is drawn where that is no terminal. It may be moved from any thread.
pub struct Bar {
    bar: ProgressBar,
    started: Instant,
    shown: AtomicBool,
}

impl Bar {
    /// Starts one.
    pub fn new(template: &str) -> Self {
        Bar::since(template, Instant::now())
    }

    fn since(template: &str, started: Instant) -> Self {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
        let bar = match ProgressStyle::with_template(template) {
            Ok(style) => bar.with_style(style),
            Err(_) => bar,
        };
        Bar { bar, started, shown: AtomicBool::new(false) }
    }

    /// Moves it to so many parts done of all; parts that end in any order never move it back.
    pub fn moved(&self, done: u64, total: u64) {
        if self.started.elapsed() >= SHOWN_AFTER && !self.shown.swap(true, Ordering::Relaxed) {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        self.bar.set_length(total);
        self.bar.set_position(self.bar.position().max(done));
    }

    /// Sets what stands beside it.
    pub fn say(&self, message: String) {
        self.bar.set_message(message);
    }

    /// Takes it away.
    pub fn clear(&self) {
        self.bar.finish_and_clear();
    }
}

/// Runs a computation of many parts under a bar; Ctrl-C stops it.
///
/// # Arguments
/// * `work`: the computation; it calls what it is given with the parts done and all parts, from any thread.
pub fn watched<T>(work: impl FnOnce(&(dyn Fn(usize, usize) -> ControlFlow<()> + Sync)) -> T) -> io::Result<T> {
    let stop = Stop::listen()?;
    let bar = Bar::new(PLAIN);
    let done = work(&|done, total| {
        bar.moved(done as u64, total as u64);
        if stop.asked() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    bar.clear();
    Ok(done)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_shows_only_after_a_second_and_never_goes_back() {
        let quick = Bar::new(PLAIN);
        quick.moved(3, 10);
        quick.moved(2, 10);
        assert_eq!((quick.shown.load(Ordering::Relaxed), quick.bar.position()), (false, 3));
        let Some(started) = Instant::now().checked_sub(SHOWN_AFTER) else { return };
        let slow = Bar::since(PLAIN, started);
        slow.moved(3, 10);
        assert!(slow.shown.load(Ordering::Relaxed));
    }
}
