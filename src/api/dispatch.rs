//! From a request on the wire to its handler: credentials, role, parameters, media type, body.

use crate::access::caller::Caller;
use crate::api::App;
use crate::api::edge;
use crate::api::endpoint::{Access, Endpoint, endpoints};
use crate::api::problem::{self, Problem};
use crate::api::reply::Reply;
use crate::api::request::{self, Request};
use crate::model::facts::account::TokenUse;
use crate::model::identifiers::AccountId;
use crate::model::shape::Faults;
use crate::registry::refusal::Refusal;
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Query, RawPathParams};
use axum::http::{HeaderMap, HeaderValue, Method, header};
use axum::routing::{MethodFilter, MethodRouter, on};
use http_body_util::BodyExt as _;
use std::time::Duration;
use uuid::Uuid;

/// How long a body may take to arrive.
const ARRIVAL: Duration = Duration::from_secs(30);
/// Up to this many bytes of a body that is too large are taken off the line, so that its sender hears why.
const DISCARD_MOST: usize = 64 << 20;

/// The API as a router.
pub fn router(app: App) -> Router {
    router_beside(app, Router::new())
}

/// The API as a router, beside another face, with the edge around both.
pub fn router_beside(app: App, other: Router) -> Router {
    let mut router = other;
    for endpoint in endpoints() {
        router = router.route(&endpoint.path, route(endpoint, &app));
    }
    let router = router
        .fallback(|| async { Problem::new(&problem::UNKNOWN, "there is nothing at this address") })
        .method_not_allowed_fallback(|| async {
            Problem::new(&problem::METHOD, "this address does not know the method")
        });
    edge::around(router, app)
}

fn route(endpoint: &'static Endpoint, app: &App) -> MethodRouter {
    let filter = match endpoint.method {
        Method::POST => MethodFilter::POST,
        Method::PATCH => MethodFilter::PATCH,
        _ => MethodFilter::GET,
    };
    let app = app.clone();
    on(filter, async move |parts: Result<RawPathParams, _>, request: axum::extract::Request| {
        // A path that is not UTF-8 names nothing.
        let parts = parts.map_err(|_| Problem::unknown())?;
        let parts = parts.iter().map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
        answer(app, endpoint, parts, request).await
    })
}

async fn answer(
    app: App,
    endpoint: &'static Endpoint,
    parts: Vec<(String, String)>,
    request: axum::extract::Request,
) -> Result<Reply, Problem> {
    let (head, body) = request.into_parts();
    let caller = caller(&app, endpoint.access, &head.headers).await?;
    let query: Vec<(String, String)> = Query::try_from_uri(&head.uri)
        .map(|Query(pairs)| pairs)
        .map_err(|_| Problem::new(&problem::UNREADABLE, "the query is not readable"))?;
    check_parameters(endpoint, &query)?;
    let mut key = None;
    let body = if endpoint.writes() {
        key = request::idempotency_key(&head.headers)?;
        let body = read_body(body, &head.headers, endpoint.body_most).await?;
        check_media_type(endpoint, &head.headers, &body)?;
        body
    } else {
        Bytes::new()
    };
    let client = app.proxies.client(&head.extensions, &head.headers).map(|address| address.to_string());
    let purpose = request::purpose(&head.headers)?;
    let request = Request {
        caller,
        client,
        purpose,
        method: head.method,
        path: head.uri.path().to_owned(),
        route: &endpoint.path,
        parts,
        query,
        raw_query: head.uri.query().unwrap_or_default().to_owned(),
        headers: head.headers,
        body,
        body_optional: endpoint.body_optional,
        key,
    };
    (endpoint.handler)(app, request).await
}

async fn caller(app: &App, access: Access, headers: &HeaderMap) -> Result<Caller, Problem> {
    if matches!(access, Access::Open | Access::SecretInPath) {
        return Ok(Caller { account: AccountId(Uuid::nil()), grants: Vec::new(), console_user: None });
    }
    let secret = bearer(headers).ok_or(Refusal::Unauthorised)?;
    let caller = app.registry.caller_of(secret, TokenUse::Api).await.map_err(|refusal| match refusal {
        Refusal::Unauthorised => Problem::from(refusal)
            .with(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer error=\"invalid_token\"")),
        other => other.into(),
    })?;
    if let Access::Needs(action) = access {
        caller.may(action).map_err(Refusal::from)?;
    }
    Ok(caller)
}

fn bearer(headers: &HeaderMap) -> Option<&str> {
    let (scheme, secret) = headers.get(header::AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| secret.trim())
}

/// Every parameter must be one the endpoint knows, and be there once.
fn check_parameters(endpoint: &Endpoint, query: &[(String, String)]) -> Result<(), Problem> {
    let mut faults = Faults::default();
    for (n, (name, _)) in query.iter().enumerate() {
        if !endpoint.query.iter().any(|known| known.name == name) {
            faults.note(format!("/{name}"), "is no query parameter of this address");
        } else if query[..n].iter().any(|(earlier, _)| earlier == name) {
            faults.note(format!("/{name}"), "is given more than once");
        }
    }
    for parameter in endpoint.query.iter().filter(|parameter| parameter.required) {
        if !query.iter().any(|(name, _)| name == parameter.name) {
            faults.note(format!("/{}", parameter.name), "is required as a query parameter");
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(faults.into()) }
}

fn check_media_type(endpoint: &Endpoint, headers: &HeaderMap, body: &Bytes) -> Result<(), Problem> {
    let given = request::media_type(headers);
    let nothing_sent = body.is_empty() && given.is_empty();
    if endpoint.bodies.is_empty() || (endpoint.body_optional && nothing_sent) {
        return Ok(());
    }
    let is_json = |known: &str| {
        known == "application/json" && given.starts_with("application/") && given.ends_with("+json")
    };
    if endpoint.bodies.iter().any(|known| known.media_type == given || is_json(known.media_type)) {
        return Ok(());
    }
    let known: Vec<&str> = endpoint.bodies.iter().map(|known| known.media_type).collect();
    Err(Problem::new(&problem::MEDIA_TYPE, format!("Content-Type must be {}", known.join(" or "))))
}

async fn read_body(body: Body, headers: &HeaderMap, most: usize) -> Result<Bytes, Problem> {
    let announced =
        headers.get(header::CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse::<usize>().ok());
    let too_large = || {
        let detail = format!("the body may hold {most} bytes at most");
        Problem::new(&problem::TOO_LARGE, detail)
    };
    if announced.is_some_and(|length| length > DISCARD_MOST) {
        return Err(too_large().with(header::CONNECTION, HeaderValue::from_static("close")));
    }
    let reading = async {
        let mut body = body;
        let mut read = Vec::with_capacity(announced.unwrap_or_default().min(most));
        let mut arrived = 0_usize;
        while let Some(frame) = body.frame().await {
            let frame = frame.map_err(|_| Problem::new(&problem::UNREADABLE, "the body broke off"))?;
            let Ok(data) = frame.into_data() else { continue };
            arrived += data.len();
            if arrived > DISCARD_MOST {
                return Err(too_large().with(header::CONNECTION, HeaderValue::from_static("close")));
            }
            if arrived <= most {
                read.extend_from_slice(&data);
            } else {
                // What is too large is read to its end and thrown away, a piece at a time.
                read = Vec::new();
            }
        }
        if arrived > most { Err(too_large()) } else { Ok(Bytes::from(read)) }
    };
    tokio::time::timeout(ARRIVAL, reading).await.unwrap_or_else(|_| {
        let detail = format!("the body did not arrive within {} seconds", ARRIVAL.as_secs());
        Err(Problem::new(&problem::TOO_SLOW, detail))
    })
}
