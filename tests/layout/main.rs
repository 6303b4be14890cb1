//! How the code is laid out: what a file may use.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod circles;
mod uses;
