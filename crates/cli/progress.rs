//! A bar of progress on a terminal; nothing elsewhere.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Starts a bar on standard error; it may be moved from any thread.
pub fn bar(template: &str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
    match ProgressStyle::with_template(template) {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}
