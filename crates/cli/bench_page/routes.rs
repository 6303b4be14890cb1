//! Which address leads where, and the gate before all of them.

use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{Path, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONNECTION, CONTENT_LENGTH, CONTENT_SECURITY_POLICY, CONTENT_TYPE, REFERRER_POLICY, RETRY_AFTER,
    SET_COOKIE, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Form, Router};
use http_body_util::LengthLimitError;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use tokio::sync::Semaphore;
use tokio::time::timeout;

use super::answer::{self, Backend};
use super::guard::{Guard, POLICY, Shown};
use super::queue::Queue;
use super::reply::Reply;
use crate::error::CliError;

/// Largest request, bytes: a bar of forty parts has two thousand.
pub const MAX_BODY: usize = 256 * 1024;

/// Time a request has to arrive.
const BODY_TIME: Duration = Duration::from_secs(10);

/// Time an answer has to be worked out: the slowest change takes a few seconds.
const ANSWER_TIME: Duration = Duration::from_secs(60);

/// When to ask again, in seconds.
const RETRY_SECONDS: &str = "1";

/// Where browsers are told to open no window of ours for others.
const OPENER_POLICY: HeaderName = HeaderName::from_static("cross-origin-opener-policy");

/// Where browsers are told who may load this.
const RESOURCE_POLICY: HeaderName = HeaderName::from_static("cross-origin-resource-policy");

/// The files of the page: address, media type, content.
const ASSETS: [(&str, &str, &str); 6] = [
    ("/", "text/html; charset=utf-8", include_str!("assets/index.html")),
    ("/page.css", "text/css; charset=utf-8", include_str!("assets/page.css")),
    ("/page.js", "text/javascript; charset=utf-8", include_str!("assets/page.js")),
    ("/curves.js", "text/javascript; charset=utf-8", include_str!("assets/curves.js")),
    ("/ask.js", "text/javascript; charset=utf-8", include_str!("assets/ask.js")),
    ("/mark.svg", "image/svg+xml", include_str!("assets/mark.svg")),
];

/// Most requests answered at once.
pub const MAX_REQUESTS: u32 = 256;

/// What the handlers share.
pub struct Site {
    /// Who may ask.
    pub guard: Guard,
    /// Where questions are handed in.
    pub queue: Queue,
    /// Requests that may still be taken; the server waits for all to come back before it ends.
    pub places: Semaphore,
}

/// A form with the question as JSON in its one field: a page to print opens in a window of its own.
#[derive(Debug, Deserialize)]
struct SheetForm {
    ask: String,
}

/// Makes the routes.
pub fn routes(site: Arc<Site>) -> Router {
    let mut router = Router::new();
    for (path, media, content) in ASSETS {
        router = router.route(path, get(move || async move { ([(CONTENT_TYPE, media)], content) }));
    }
    router
        .route(
            "/api/start",
            get(|State(site): At| async move { ask(&site, |backend| Ok(answer::start(backend))).await }),
        )
        .route("/api/files", get(|State(site): At| async move { ask(&site, answer::files).await }))
        .route("/api/files/{name}", get(open).put(save))
        .route("/api/assess", post(|at: At, headers: HeaderMap, body: Bytes| asked(at, headers, body, answer::look)))
        .route("/api/ask", post(|at: At, headers: HeaderMap, body: Bytes| asked(at, headers, body, answer::ask)))
        .route("/sheet", post(sheet))
        .fallback(|| async { Reply::refused(StatusCode::NOT_FOUND, "nothing", "there is nothing at this address") })
        .layer(middleware::from_fn_with_state(Arc::clone(&site), gate))
        .with_state(site)
}

/// The state as handlers take it.
type At = State<Arc<Site>>;

/// Lets a request in, or not; and gives every answer the headers that keep other pages out.
async fn gate(State(site): At, request: Request, next: Next) -> Response {
    let uri = request.uri().clone();
    let mut response = match site.guard.check(request.method(), &uri, request.headers()) {
        Err(refusal) => refuse(refusal.status, refusal.code, refusal.message),
        Ok(shown) => {
            let mut response = match site.places.try_acquire() {
                Ok(_place) => within_limits(request, next).await,
                Err(_) => refuse(StatusCode::SERVICE_UNAVAILABLE, "busy", "too many requests at once; ask again"),
            };
            if shown == Shown::Address
                && let Some(cookie) = site.guard.cookie(&uri).and_then(|text| HeaderValue::try_from(text).ok())
            {
                response.headers_mut().insert(SET_COOKIE, cookie);
            }
            response
        }
    };
    let busy = response.status() == StatusCode::SERVICE_UNAVAILABLE;
    let headers = response.headers_mut();
    for (name, value) in [
        (CACHE_CONTROL, "no-store"),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // Not `no-referrer`: with it a browser sends `Origin: null` with the form of the weigh sheet.
        (REFERRER_POLICY, "same-origin"),
        (OPENER_POLICY, "same-origin"),
        (RESOURCE_POLICY, "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    if busy {
        headers.insert(RETRY_AFTER, HeaderValue::from_static(RETRY_SECONDS));
    }
    response
}

/// Takes a request of bounded size in bounded time, and bounds the time of its answer.
async fn within_limits(request: Request, next: Next) -> Response {
    let too_large = || refuse(StatusCode::PAYLOAD_TOO_LARGE, "too-large", "the request is larger than any bar");
    let stated = request.headers().get(CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse::<u64>().ok());
    if stated.is_some_and(|stated| stated > MAX_BODY as u64) {
        return too_large();
    }
    let (head, body) = request.into_parts();
    let body = match timeout(BODY_TIME, to_bytes(body, MAX_BODY)).await {
        Err(_) => return refuse(StatusCode::REQUEST_TIMEOUT, "slow", "the request did not arrive in time"),
        Ok(Err(error)) => {
            let limit = std::error::Error::source(&error).is_some_and(|source| source.is::<LengthLimitError>());
            return if limit {
                too_large()
            } else {
                refuse(StatusCode::BAD_REQUEST, "broken", "the request did not arrive whole")
            };
        }
        Ok(Ok(body)) => body,
    };
    match timeout(ANSWER_TIME, next.run(Request::from_parts(head, Body::from(body)))).await {
        Ok(response) => response,
        Err(_) => refuse(StatusCode::SERVICE_UNAVAILABLE, "slow", "the answer took too long"),
    }
}

/// Refuses and ends the connection, whatever else may come on it.
fn refuse(status: StatusCode, code: &'static str, message: &str) -> Response {
    let mut response = Reply::refused(status, code, message).into_response();
    response.headers_mut().insert(CONNECTION, HeaderValue::from_static("close"));
    response
}

/// Hands a question to the backend.
async fn ask(
    site: &Site,
    question: impl for<'b, 'a> FnOnce(&'b Backend<'a>) -> Result<Reply, CliError> + Send + 'static,
) -> Reply {
    site.queue.ask(move |backend| Reply::from(question(backend))).await
}

/// Reads a question in JSON and hands it to the backend.
async fn asked<Q: DeserializeOwned + Send + 'static>(
    State(site): At,
    headers: HeaderMap,
    body: Bytes,
    question: fn(&Backend<'_>, Q) -> Result<Reply, CliError>,
) -> Reply {
    match read(&headers, &body) {
        Ok(asked) => ask(&site, move |backend| question(backend, asked)).await,
        Err(refused) => refused,
    }
}

/// Reads JSON.
fn read<Q: DeserializeOwned>(headers: &HeaderMap, body: &[u8]) -> Result<Q, Reply> {
    let media = headers.get(CONTENT_TYPE).and_then(|media| media.to_str().ok()).unwrap_or("");
    if media.split(';').next().map(str::trim) != Some("application/json") {
        return Err(Reply::refused(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "media",
            "the question must be application/json",
        ));
    }
    parse(body)
}

/// Reads JSON without looking at what it is called.
fn parse<Q: DeserializeOwned>(body: &[u8]) -> Result<Q, Reply> {
    serde_json::from_slice(body).map_err(|error| {
        Reply::refused(StatusCode::BAD_REQUEST, "question", &format!("the question cannot be read: {error}"))
    })
}

/// Opens a file.
async fn open(State(site): At, Path(name): Path<String>) -> Reply {
    ask(&site, move |backend| answer::open(backend, &name)).await
}

/// Saves a file.
async fn save(State(site): At, Path(name): Path<String>, headers: HeaderMap, body: Bytes) -> Reply {
    match read(&headers, &body) {
        Ok(asked) => ask(&site, move |backend| answer::save(backend, &name, asked)).await,
        Err(refused) => refused,
    }
}

/// Makes the weigh sheet.
async fn sheet(State(site): At, Form(form): Form<SheetForm>) -> Reply {
    match parse(form.ask.as_bytes()) {
        Ok(asked) => ask(&site, move |backend| answer::sheet(backend, asked)).await,
        Err(refused) => refused,
    }
}

impl IntoResponse for Reply {
    fn into_response(self) -> Response {
        let mut response = (self.status, [(CONTENT_TYPE, self.media)], self.body).into_response();
        if let Some(policy) = self.policy.and_then(|policy| HeaderValue::try_from(policy).ok()) {
            response.headers_mut().insert(CONTENT_SECURITY_POLICY, policy);
        }
        response
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_asset_asks_for_anything_from_elsewhere() {
        for (path, _, content) in ASSETS {
            for far in ["http://", "https://", "//cdn", "@import", "url("] {
                let hits = content.matches(far).count()
                    - content.matches("http://www.w3.org/2000/svg").count() * usize::from(far == "http://");
                assert_eq!(hits, 0, "{path}: {far}");
            }
            assert!(
                !content.contains(" style=") && !content.contains("onclick="),
                "{path}: the policy would refuse it"
            );
        }
    }
}
