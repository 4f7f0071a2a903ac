//! What surrounds every request: its id, its log line, its measures, headers of the answer, and the last resort.

use crate::api::endpoint::endpoints;
use crate::api::medical;
use crate::api::problem::Problem;
use crate::api::{App, TellPeople};
use crate::registry::clock::{Clock as _, Ids as _, MachineClock};
use axum::Router;
use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse as _, Response};
use futures_util::FutureExt as _;
use std::panic::AssertUnwindSafe;
use std::time::{Duration, Instant};
use tower_http::compression::CompressionLayer;
use tracing::Instrument as _;

/// The header of a request's id, in both directions.
pub const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");
/// What stands in logs and measures for a route that is nobody's business but the physician's.
const CONFIDENTIAL: &str = "confidential";
/// How long a request may take.
const PATIENCE: Duration = Duration::from_mins(1);
/// How long a request's id given by the client may be.
const ID_MOST: usize = 64;

/// Puts the edge around a router.
pub(crate) fn around(router: Router, app: App) -> Router {
    router.layer(from_fn_with_state(app, edge)).layer(CompressionLayer::new())
}

async fn edge(State(app): State<App>, request: Request, next: Next) -> Response {
    let begun = Instant::now();
    let id = request_id(&app, request.headers());
    let mut request = request;
    // Whoever answers knows under which number.
    if let Ok(id) = HeaderValue::from_str(&id) {
        request.headers_mut().insert(REQUEST_ID, id);
    }
    let for_people = app.tell_people.filter(|_| asks_for_a_page(&request));
    // The template, never the path: identifiers and queries stay out of logs and measures.
    let route = request.extensions().get::<MatchedPath>().map_or("none", MatchedPath::as_str).to_owned();
    let method = request.method().as_str().to_owned();
    // Where only the physician goes, not even how often and with what success is counted by route.
    let confidential = is_confidential(&route);
    let (method, route) = if confidential { ("-".into(), CONFIDENTIAL.into()) } else { (method, route) };
    let span = tracing::info_span!("request", request_id = %id, method, route);
    let response = async {
        let response = match app.room.try_acquire() {
            Ok(_room) => carry_out(request, next).await,
            Err(_) => Problem::busy("too many requests at once; come back in a moment").into_response(),
        };
        let mut response = tell_problem(response, &id, for_people);
        add_headers(response.headers_mut(), &id);
        let took = begun.elapsed();
        let status = response.status().as_u16();
        let status = if confidential && status < 500 { 0 } else { status };
        app.measures.answered(&method, &route, status, took);
        let duration_ms = u64::try_from(took.as_millis()).unwrap_or(u64::MAX);
        tracing::info!(status, duration_ms, "request answered");
        response
    };
    response.instrument(span).await
}

fn is_confidential(route: &str) -> bool {
    endpoints().iter().any(|endpoint| endpoint.path == route && medical::is_confidential(endpoint))
}

/// The request itself; a panic or an endless wait becomes an answer like any other.
async fn carry_out(request: Request, next: Next) -> Response {
    let answering = AssertUnwindSafe(next.run(request)).catch_unwind();
    match tokio::time::timeout(PATIENCE, answering).await {
        Ok(Ok(response)) => response,
        Ok(Err(_)) => {
            tracing::error!("a request panicked; its transaction is rolled back");
            Problem::panicked().into_response()
        }
        Err(_) => {
            let detail = format!("the request took longer than {} seconds", PATIENCE.as_secs());
            Problem::busy(detail).into_response()
        }
    }
}

/// Whether a person asks with a browser for something that is no part of the API.
fn asks_for_a_page(request: &Request) -> bool {
    let of_programs =
        ["/api/", "/health/", "/metrics"].iter().any(|start| request.uri().path().starts_with(start));
    let accepted = request.headers().get(header::ACCEPT).and_then(|accept| accept.to_str().ok());
    !of_programs && accepted.is_some_and(|accept| accept.contains("text/html"))
}

/// Writes the document of a problem, or its page; an error that came without one gets one.
fn tell_problem(mut response: Response, id: &str, for_people: Option<TellPeople>) -> Response {
    let is_page = |response: &Response| {
        let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
        kind.is_some_and(|kind| kind.starts_with("text/html"))
    };
    let problem = match response.extensions_mut().remove::<Problem>() {
        Some(problem) => problem,
        None if response.status().is_server_error() && !is_page(&response) => Problem::panicked(),
        None => return response,
    };
    problem.log();
    let mut told = problem.answer(id);
    if let Some(tell) = for_people {
        let page = tell(told.status(), id);
        let (head, body) = page.into_parts();
        told.headers_mut().extend(head.headers);
        *told.body_mut() = body;
    }
    if let Some(allow) = response.headers_mut().remove(header::ALLOW) {
        told.headers_mut().insert(header::ALLOW, allow);
    }
    told
}

fn request_id(app: &App, headers: &HeaderMap) -> String {
    let given = headers.get(REQUEST_ID).and_then(|id| id.to_str().ok()).filter(|id| {
        let plain = |c: u8| c.is_ascii_alphanumeric() || b"-_.".contains(&c);
        !id.is_empty() && id.len() <= ID_MOST && id.bytes().all(plain)
    });
    given.map_or_else(|| app.request_ids.id(MachineClock.now()).to_string(), str::to_owned)
}

fn add_headers(headers: &mut HeaderMap, id: &str) {
    let fixed = [
        (header::CACHE_CONTROL, "no-store"),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        ),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ];
    for (name, value) in fixed {
        // An answer that set its own knows better (the static pages of the reference).
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    if let Ok(id) = HeaderValue::from_str(id) {
        headers.insert(REQUEST_ID, id);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::registry::clock::MachineIds;
    use crate::registry::writer::Registry;
    use crate::store::backend::Database;
    use axum::body::Body;
    use axum::routing::get;
    use http_body_util::BodyExt as _;
    use std::sync::Arc;
    use tokio::sync::Semaphore;
    use tower::ServiceExt as _;

    async fn app() -> (App, tempfile::TempDir) {
        let directory = tempfile::tempdir().unwrap();
        let url = format!("sqlite:{}", directory.path().join("registry.sqlite").display());
        let database = Database::open(&url).await.unwrap();
        let registry = Registry::new(database, Arc::new(MachineClock), Arc::new(MachineIds::default()));
        (App::new(registry), directory)
    }

    async fn ask(app: App) -> (u16, serde_json::Value) {
        let router = Router::new().route("/", get(|| async { panic!("a secret") as &'static str }));
        let request = Request::builder().uri("/").body(Body::empty()).unwrap();
        let response = around(router, app).oneshot(request).await.unwrap();
        let status = response.status().as_u16();
        let body = response.into_body().collect().await.unwrap().to_bytes();
        (status, serde_json::from_slice(&body).unwrap())
    }

    #[tokio::test]
    async fn a_panic_becomes_a_problem_that_tells_nothing() {
        let (app, _directory) = app().await;
        let (status, document) = ask(app).await;
        assert_eq!((status, document["type"].as_str()), (500, Some("/problems/internal")));
        assert!(!document.to_string().contains("secret"));
    }

    #[tokio::test]
    async fn without_room_a_request_is_told_to_come_back() {
        let (app, _directory) = app().await;
        let (status, document) = ask(App { room: Arc::new(Semaphore::new(0)), ..app }).await;
        assert_eq!((status, document["type"].as_str()), (503, Some("/problems/busy")));
    }
}
