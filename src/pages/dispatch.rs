//! From a request on the wire to its page: origin, session, right, form.

use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::cookies::Cookie;
use crate::pages::cross_site;
use crate::pages::form::{self, Form, SentFile};
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who, pages};
use crate::pages::visit::Visit;
use axum::Router;
use axum::body::Body;
use axum::extract::{ConnectInfo, RawPathParams, Request};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{MethodFilter, on};
use http_body_util::{BodyExt as _, Limited};
use std::net::{IpAddr, SocketAddr};
use std::time::Duration;

/// How long a form may take to arrive.
const ARRIVAL: Duration = Duration::from_secs(30);
/// What a browser may do on our pages: load our own style, typeface, pictures and scripts, and send forms to us.
const POLICY: &str = "default-src 'none'; style-src 'self'; font-src 'self'; img-src 'self'; script-src 'self'; \
    connect-src 'self'; manifest-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; \
    frame-ancestors 'none'";
/// Two years, with subdomains.
const TLS_ONLY: &str = "max-age=63072000; includeSubDomains";

/// Every page as a router.
pub fn router(state: &Pages) -> Router {
    let mut router: Router = Router::new();
    for page in pages() {
        let filter = if page.method == Method::POST { MethodFilter::POST } else { MethodFilter::GET };
        let state = state.clone();
        let route = on(filter, async move |parts: Result<RawPathParams, _>, request: Request| {
            let parts = parts.map(|parts: RawPathParams| {
                parts.iter().map(|(name, value)| (name.to_owned(), value.to_owned())).collect()
            });
            answer(&state, page, parts.unwrap_or_default(), request).await
        });
        router = router.route(page.path, route);
    }
    router
}

async fn answer(
    state: &Pages,
    page: &'static Page,
    parts: Vec<(String, String)>,
    request: Request,
) -> Response {
    let from = sender(state, &request);
    let (head, body) = request.into_parts();
    let mut visit = Visit {
        session: None,
        secret: None,
        route: page.path,
        path: head.uri.path().to_owned(),
        raw_query: head.uri.query().unwrap_or_default().to_owned(),
        parts,
        query: Form::parse(head.uri.query().unwrap_or_default().as_bytes()).unwrap_or_default(),
        form: Form::default(),
        files: Vec::new(),
        id: text(&head.headers, "x-request-id").to_owned(),
        from,
        headers: head.headers,
    };
    let mut response = match carry_out(state, page, &mut visit, body).await {
        Ok(answer) => answer.into_response(),
        Err(stopped) if stopped.is_signed_out() => to_sign_in(page, &visit).into_response(),
        Err(stopped) => stopped.tell(state, &visit),
    };
    add_headers(state, response.headers_mut());
    response
}

async fn carry_out(state: &Pages, page: &Page, visit: &mut Visit, body: Body) -> Result<Answer, Stopped> {
    let sends = page.method == Method::POST;
    if sends && !cross_site::is_from_our_page(&state.settings, &visit.headers) {
        tracing::warn!(from = ?visit.from, "a form from elsewhere was refused");
        return Err(Stopped::from_elsewhere());
    }
    if let Some(secret) = Cookie::Session.value(&state.settings, &visit.headers) {
        visit.session = state.registry.session_of(secret).await?;
        visit.secret = visit.session.is_some().then(|| secret.to_owned());
    }
    admit(page.who, visit)?;
    if sends {
        (visit.form, visit.files) = read(body, &visit.headers, page.body_most).await?;
        // Signing in needs no token: whoever has a session already may have opened the form before.
        if let Some(secret) = visit.secret.as_ref().filter(|_| page.who != Who::Anybody)
            && !cross_site::is_token_of(secret, visit.form.raw(cross_site::FIELD))
        {
            tracing::warn!(from = ?visit.from, "a form without the token of its session was refused");
            return Err(Stopped::from_elsewhere());
        }
    }
    (page.handler)(state.clone(), visit.clone()).await
}

/// Whether the visitor may open the page.
fn admit(who: Who, visit: &Visit) -> Result<(), Stopped> {
    let whole = match (&visit.session, who) {
        (_, Who::Anybody) => return Ok(()),
        (None, _) => return Err(Stopped::signed_out()),
        (Some(session), _) => session.whole,
    };
    match who {
        Who::HalfSignedIn if whole => Err(Stopped::forbidden()),
        Who::HalfSignedIn => Ok(()),
        _ if !whole => Err(Stopped::signed_out()),
        Who::May(action) => Ok(visit.caller().may(action).map(drop)?),
        Who::SignedIn | Who::Anybody => Ok(()),
    }
}

/// The way to signing in, and from there back to what was asked for.
fn to_sign_in(page: &Page, visit: &Visit) -> Answer {
    if page.method == Method::POST || visit.path == "/" {
        return Answer::see("/sign-in");
    }
    let query = if visit.raw_query.is_empty() { String::new() } else { format!("?{}", visit.raw_query) };
    let to = serde_urlencoded::to_string([("to", format!("{}{query}", visit.path))]).unwrap_or_default();
    Answer::see(&format!("/sign-in?{to}"))
}

async fn read(body: Body, headers: &HeaderMap, most: usize) -> Result<(Form, Vec<SentFile>), Stopped> {
    let reading = Limited::new(body, most).collect();
    let collected = tokio::time::timeout(ARRIVAL, reading).await.map_err(|_| Stopped::unreadable())?;
    let bytes = collected.map_err(|_| Stopped::too_large())?.to_bytes();
    let kind = text(headers, "content-type");
    match kind.split(';').next().unwrap_or_default().trim().to_ascii_lowercase().as_str() {
        "application/x-www-form-urlencoded" => {
            Form::parse(&bytes).map(|form| (form, Vec::new())).ok_or_else(Stopped::unreadable)
        }
        "multipart/form-data" => form::parts(bytes, kind).await.ok_or_else(Stopped::unreadable),
        // A form without fields may come without a type.
        "" if bytes.is_empty() => Ok((Form::default(), Vec::new())),
        _ => Err(Stopped::unreadable()),
    }
}

fn text<'h>(headers: &'h HeaderMap, name: &str) -> &'h str {
    headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
}

/// Where a request came from: the line it came on, or what a proxy that we know says of it.
fn sender(state: &Pages, request: &Request) -> Option<IpAddr> {
    let ConnectInfo(peer) = request.extensions().get::<ConnectInfo<SocketAddr>>()?;
    let peer = peer.ip().to_canonical();
    let trusted = |address: &IpAddr| state.settings.proxies.contains(address);
    if !trusted(&peer) {
        return Some(peer);
    }
    // The last address that no proxy of ours wrote.
    let named = request.headers().get_all("x-forwarded-for").iter().filter_map(|line| line.to_str().ok());
    let mut named: Vec<IpAddr> =
        named.flat_map(|line| line.split(',')).filter_map(|one| one.trim().parse().ok()).collect();
    while named.last().is_some_and(trusted) {
        named.pop();
    }
    Some(named.pop().map_or(peer, |address| address.to_canonical()))
}

fn add_headers(state: &Pages, headers: &mut HeaderMap) {
    add_fixed_headers(headers);
    if state.settings.is_secure() {
        headers.insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static(TLS_ONLY));
    }
}

/// What every page says a browser may do.
pub(crate) fn add_fixed_headers(headers: &mut HeaderMap) {
    let fixed = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        // The path of a page names no person, and forms need to say where they come from.
        (header::REFERRER_POLICY, "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (
            HeaderName::from_static("permissions-policy"),
            "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
        ),
    ];
    for (name, value) in fixed {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
}
