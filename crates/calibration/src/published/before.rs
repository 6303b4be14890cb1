//! How each group of rows stood before the present round of work on the model: `data/validation/before.csv`.
//!
//! The same rows, in the classes they are in today, predicted by the model of commit 8af72f0. The fitting rows of firmness were then the other reading of the
//! gel test. Two groups have rows that came later (read unseen melting, fitting solids): theirs are by the model of commit e8505eb, which is in the same round, with
//! the published samples scaled to triglycerides alone.

use serde::Deserialize;

use super::group::Group;
use super::measurement::{Status, Use};
use super::score::Report;

/// The table.
pub const BUILTIN: &str = include_str!("../../../../data/validation/before.csv");

/// One group as it stood.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Before {
    /// What the rows may be used for.
    #[serde(rename = "use")]
    pub use_as: Use,
    /// How the values came into the table; `None`: any way.
    pub status: Option<Status>,
    /// What is scored.
    pub group: Group,
    /// Point values.
    pub points: usize,
    /// Root mean square error, in the unit of the group.
    pub rmse: f64,
}

/// Reads the table.
///
/// # Errors
/// When a line is not one of the table.
pub fn read(text: &str) -> Result<Vec<Before>, csv::Error> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().collect()
}

/// Writes beside each group of a report how it stood, where that is known for as many rows.
pub fn set_beside(report: &mut Report, before: &[Before]) {
    for now in report.errors.iter_mut().chain(&mut report.unseen_by_status) {
        let of = |one: &&Before| {
            (one.use_as, one.status, one.group, one.points) == (now.use_as, now.status, now.group, now.points)
        };
        now.rmse_before = before.iter().find(of).map(|one| one.rmse);
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::published::score::Errors;

    fn solids(points: usize, status: Option<Status>) -> Errors {
        Errors {
            group: Group::Solids,
            use_as: Use::Fit,
            status,
            points,
            without_prediction: 0,
            bias: 0.0,
            mean_absolute: 0.0,
            rmse: 0.0,
            rmse_before: None,
            rmse_error: 0.0,
            p75: 0.0,
            p95: 0.0,
            largest: 0.0,
            inside_share: 0.0,
            inside_with_test_share: 0.0,
            mean_width: 0.0,
            within_factor_two: None,
            bounds: 0,
            bounds_kept: 0,
        }
    }

    #[test]
    fn a_group_is_set_beside_itself_and_as_many_rows() {
        let before = read(BUILTIN).unwrap();
        let mut report = Report {
            errors: vec![solids(57, None), solids(56, None), solids(57, Some(Status::Read))],
            unseen_by_status: Vec::new(),
            rankings: Vec::new(),
            worst: Vec::new(),
            left_out: Vec::new(),
            rows: Vec::new(),
        };
        set_beside(&mut report, &before);
        assert_eq!(report.errors.iter().map(|one| one.rmse_before).collect::<Vec<_>>(), [Some(8.2), None, None]);
        assert!(read("use,status,group,points,rmse\nunseen,read,colour,1,1\n").is_err());
    }
}
