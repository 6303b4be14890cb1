//! How much of a sample a test takes.

/// Whether statistics are asked for at their full size, as before a release: `BARWRIGHT_FULL=1`. Every day a sample is enough, one that still fails when what
/// it looks at is wrong.
pub fn full() -> bool {
    std::env::var_os("BARWRIGHT_FULL").is_some_and(|value| value == "1")
}
