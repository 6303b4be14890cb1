//! Long computations: a bar of progress on a terminal, and stopping at Ctrl-C.

use std::io;
use std::ops::ControlFlow;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::stop::Stop;

/// The bar of a computation whose parts are alike.
const PLAIN: &str = "{bar:30} {percent:>3} %  {eta} left";

/// Starts a bar on standard error; nothing is drawn where that is no terminal. It may be moved from any thread.
pub fn bar(template: &str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
    match ProgressStyle::with_template(template) {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}

/// Runs a computation of many parts under a bar; Ctrl-C stops it.
///
/// # Arguments
/// * `work`: the computation; it calls what it is given with the parts done and all parts, from any thread.
pub fn watched<T>(work: impl FnOnce(&(dyn Fn(usize, usize) -> ControlFlow<()> + Sync)) -> T) -> io::Result<T> {
    let stop = Stop::listen()?;
    let bar = bar(PLAIN);
    let done = work(&|done, total| {
        bar.set_length(total as u64);
        // Parts end in any order.
        bar.set_position(bar.position().max(done as u64));
        if stop.asked() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    bar.finish_and_clear();
    Ok(done)
}
