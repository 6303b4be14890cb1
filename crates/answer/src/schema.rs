//! The JSON of every answer, described: one JSON schema a question, generated from the types.

use barwright_blend::Comparison;
use barwright_calibration::published::Report as Score;
use schemars::{Schema, schema_for};

use crate::adjust::Adjusted;
use crate::assess::Assessed;
use crate::batch::Batched;
use crate::cool::Cooled;
use crate::explore::Explored;
use crate::ingredients::Found;
use crate::parcel::Sent;
use crate::pour::Poured;
use crate::question::Request;
use crate::report::Reported;
use crate::swap::Swapped;
use crate::trial::Taught;

/// What has a schema: the answers of the subcommands by their names, and `request`, every question.
pub const NAMES: [&str; 14] = [
    "adjust",
    "assess",
    "batch",
    "compare",
    "cool",
    "explore",
    "ingredients",
    "parcel",
    "pour",
    "report",
    "request",
    "swap",
    "trial-fit",
    "validate",
];

/// Returns the JSON Schema (draft 2020-12) of one of [`NAMES`]; `None` for any other name.
pub fn schema(name: &str) -> Option<Schema> {
    Some(match name {
        "adjust" => schema_for!(Adjusted),
        "assess" => schema_for!(Assessed),
        "batch" => schema_for!(Batched),
        "compare" => schema_for!(Comparison),
        "cool" => schema_for!(Cooled),
        "explore" => schema_for!(Explored),
        "ingredients" => schema_for!(Found),
        "parcel" => schema_for!(Sent),
        "pour" => schema_for!(Poured),
        "report" => schema_for!(Reported),
        "request" => schema_for!(Request),
        "swap" => schema_for!(Swapped),
        "trial-fit" => schema_for!(Taught),
        "validate" => schema_for!(Score),
        _ => return None,
    })
}
