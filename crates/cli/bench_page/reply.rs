//! What is sent back.

use axum::http::StatusCode;
use serde::Serialize;

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

/// JSON.
const JSON: &str = "application/json";

/// What was wrong, for the page to show.
#[derive(Debug, Serialize)]
struct Wrong<'a> {
    error: Vec<WrongOne<'a>>,
}

/// One thing that was wrong.
#[derive(Debug, Serialize)]
struct WrongOne<'a> {
    code: &'a str,
    message: &'a str,
    hints: &'a [String],
}

impl Reply {
    /// Sends a value as JSON.
    pub fn json(value: &impl Serialize) -> Self {
        Reply::json_as(StatusCode::OK, value)
    }

    /// Sends a value as JSON with a status.
    pub fn json_as(status: StatusCode, value: &impl Serialize) -> Self {
        match serde_json::to_vec(value) {
            Ok(body) => Reply { status, media: JSON, body, policy: None },
            Err(_) => Reply::refused(StatusCode::INTERNAL_SERVER_ERROR, "internal", "the answer could not be written"),
        }
    }

    /// Says one thing that is wrong.
    pub fn refused(status: StatusCode, code: &str, message: &str) -> Self {
        Reply::json_as(status, &Wrong { error: vec![WrongOne { code, message, hints: &[] }] })
    }

    /// Says what a command would say on standard error.
    pub fn failed(error: &CliError) -> Self {
        let status = match error.kind {
            Kind::Input | Kind::CommandLine => StatusCode::UNPROCESSABLE_ENTITY,
            Kind::Output | Kind::ReaderGone | Kind::Internal => StatusCode::INTERNAL_SERVER_ERROR,
        };
        let all = error.faults.iter();
        let all = all.map(|one| WrongOne { code: one.code, message: &one.message, hints: &one.hints });
        Reply::json_as(status, &Wrong { error: all.collect() })
    }
}

impl From<Result<Reply, CliError>> for Reply {
    fn from(result: Result<Reply, CliError>) -> Self {
        result.unwrap_or_else(|error| Reply::failed(&error))
    }
}
