//! How the code is laid out and documented: what a file may use, what a public function must say.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod circles;
mod documented;
mod uses;
