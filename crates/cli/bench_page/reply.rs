//! What is sent back.

use axum::http::StatusCode;
use barwright_answer::Fault;
use serde::Serialize;
use serde_json::json;

use crate::error::{CliError, Kind};

/// An answer, ready to send.
#[derive(Debug)]
pub struct Reply {
    /// Status.
    pub status: StatusCode,
    /// Media type.
    pub media: &'static str,
    /// Content.
    pub body: Vec<u8>,
    /// Content security policy, where it is another than the page's.
    pub policy: Option<String>,
}

impl Reply {
    /// Sends a value as JSON.
    pub fn json(value: &impl Serialize) -> Self {
        Reply::json_as(StatusCode::OK, value)
    }

    /// Sends a value as JSON with a status.
    pub fn json_as(status: StatusCode, value: &impl Serialize) -> Self {
        match serde_json::to_vec(value) {
            Ok(body) => Reply { status, media: "application/json", body, policy: None },
            Err(_) => Reply::refused(StatusCode::INTERNAL_SERVER_ERROR, "internal", "the answer could not be written"),
        }
    }

    /// Says one thing that is wrong.
    pub fn refused(status: StatusCode, code: &'static str, message: &str) -> Self {
        Reply::wrong(status, &[Fault::new(code, message)])
    }

    /// Says what is wrong, for the page to show.
    fn wrong(status: StatusCode, faults: &[Fault]) -> Self {
        let one = |one: &Fault| json!({ "code": one.code, "message": one.message, "hints": one.hints });
        Reply::json_as(status, &json!({ "error": faults.iter().map(one).collect::<Vec<_>>() }))
    }
}

impl From<Result<Reply, CliError>> for Reply {
    /// Says what a command would say on standard error.
    fn from(result: Result<Reply, CliError>) -> Self {
        result.unwrap_or_else(|error| {
            let status = match error.kind {
                Kind::Input | Kind::CommandLine => StatusCode::UNPROCESSABLE_ENTITY,
                Kind::Output | Kind::ReaderGone | Kind::Internal => StatusCode::INTERNAL_SERVER_ERROR,
            };
            Reply::wrong(status, &error.faults)
        })
    }
}
