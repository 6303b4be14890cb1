//! Names on labels that no rule gives.

use crate::Status;

/// Names of one ingredient that no rule gives.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelName {
    /// Dictionary (INCI) name, as the tables have it.
    pub inci_name: String,
    /// Name on a label of the EU.
    pub eu_name: String,
    /// Name on a label of the US.
    pub us_name: String,
    /// How they were obtained.
    pub status: Status,
    /// Key of the source in `data/sources.bib`.
    pub source: String,
    /// Remarks.
    pub note: String,
}
