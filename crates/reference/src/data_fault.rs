//! What is wrong with the reference tables.

/// A fault in the reference tables: file, line and what was wrong.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{file}, line {line}: {what}")]
pub struct DataFault {
    /// File name below `data/`.
    pub file: &'static str,
    /// Line, counted from 1.
    pub line: u64,
    /// What was wrong.
    pub what: String,
}
