//! What is said when something is not done: what happened, what was kept, what to do, and the number of the request.

use crate::model::shape::Faults;
use crate::pages::Pages;
use crate::pages::dispatch;
use crate::pages::frame::Frame;
use crate::pages::moment::ASKED;
use crate::pages::visit::Visit;
use crate::registry::refusal::Refusal;
use crate::store::error::StoreError;
use askama::Template;
use axum::body::Body;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::Response;
use std::error::Error;

/// Why a page is not shown, or a form not carried out.
#[derive(Debug)]
pub struct Stopped {
    status: StatusCode,
    /// The family of texts that tell it: `stopped-unknown-title`, `-happened`, `-kept`, `-do`.
    kind: &'static str,
    /// What the use case says of it.
    detail: Option<String>,
    source: Option<Box<dyn Error + Send + Sync>>,
}

impl Stopped {
    const fn new(status: StatusCode, kind: &'static str) -> Self {
        Self { status, kind, detail: None, source: None }
    }

    /// There is no such thing, or it may not be seen.
    pub fn unknown() -> Self {
        Self::new(StatusCode::NOT_FOUND, "unknown")
    }

    /// None of the account's roles may do this.
    pub fn forbidden() -> Self {
        Self::new(StatusCode::FORBIDDEN, "forbidden")
    }

    /// The session is over.
    pub fn signed_out() -> Self {
        Self::new(StatusCode::UNAUTHORIZED, "signed-out")
    }

    /// A form that came from elsewhere.
    pub fn from_elsewhere() -> Self {
        Self::new(StatusCode::FORBIDDEN, "from-elsewhere")
    }

    /// A form that is not readable.
    pub fn unreadable() -> Self {
        Self::new(StatusCode::BAD_REQUEST, "unreadable")
    }

    /// A form that is too large.
    pub fn too_large() -> Self {
        Self::new(StatusCode::PAYLOAD_TOO_LARGE, "too-large")
    }

    /// A day that is none, or has not come.
    pub fn no_day() -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, "no-day")
    }

    /// Something failed inside.
    pub fn inside(source: impl Error + Send + Sync + 'static) -> Self {
        Self { source: Some(Box::new(source)), ..Self::new(StatusCode::INTERNAL_SERVER_ERROR, "inside") }
    }

    /// Whether the session is over: then signing in comes first.
    pub fn is_signed_out(&self) -> bool {
        self.status == StatusCode::UNAUTHORIZED
    }

    /// Tells it on a page with the menu.
    pub(crate) fn tell(&self, pages: &Pages, visit: &Visit) -> Response {
        if let Some(source) = &self.source {
            let mut chain = source.to_string();
            let mut next = source.source();
            while let Some(error) = next {
                chain.push_str(": ");
                chain.push_str(&error.to_string());
                next = error.source();
            }
            tracing::error!(error = %chain, "a page failed inside");
        }
        // Looked at from an earlier day, what is unknown may be something that was entered since.
        let then = visit.query.given(ASKED).filter(|_| self.kind == "unknown");
        let kind = if then.is_some() { "unknown-then" } else { self.kind };
        let frame = Frame::of(pages, visit, &format!("stopped-{kind}-title"));
        let now = then.map(|_| visit.path.clone()).unwrap_or_default();
        self.on(frame, kind, now, &visit.id)
    }

    /// `now` is where the same is looked at as known now; empty where it is already.
    fn on(&self, frame: Frame, kind: &str, now: String, id: &str) -> Response {
        let text = |part: &str| frame.t(&format!("stopped-{kind}-{part}"));
        let template = StoppedPage {
            happened: self.detail.clone().unwrap_or_else(|| text("happened")),
            kept: text("kept"),
            to_do: text("do"),
            now,
            id: id.to_owned(),
            frame,
        };
        let html = template.render().unwrap_or_default();
        let mut response = Response::new(Body::from(html));
        *response.status_mut() = self.status;
        let html = HeaderValue::from_static("text/html; charset=utf-8");
        response.headers_mut().insert(header::CONTENT_TYPE, html);
        dispatch::add_fixed_headers(response.headers_mut());
        response
    }
}

/// Every kind of stop, for the test of the texts.
pub const KINDS: &[&str] = &[
    "unknown",
    "unknown-then",
    "forbidden",
    "signed-out",
    "from-elsewhere",
    "unreadable",
    "too-large",
    "no-day",
    "inside",
    "conflict",
    "busy",
    "no-room",
    "faults",
    "stale",
];

#[derive(Template)]
#[template(path = "pages/stopped.html")]
struct StoppedPage {
    frame: Frame,
    happened: String,
    kept: String,
    to_do: String,
    now: String,
    id: String,
}

/// Tells somebody whose request reached no page what became of it.
pub fn tell_outside(status: StatusCode, id: &str) -> Response {
    let stopped = match status {
        StatusCode::NOT_FOUND | StatusCode::METHOD_NOT_ALLOWED => Stopped::unknown(),
        StatusCode::SERVICE_UNAVAILABLE => Stopped::new(status, "busy"),
        StatusCode::PAYLOAD_TOO_LARGE => Stopped::too_large(),
        status if status.is_client_error() => Stopped::new(status, "unreadable"),
        status => Stopped::new(status, "inside"),
    };
    let mut frame = Frame::bare(None, String::new());
    frame.title = frame.t(&format!("stopped-{}-title", stopped.kind));
    stopped.on(frame, stopped.kind, String::new(), id)
}

impl From<Refusal> for Stopped {
    fn from(refusal: Refusal) -> Self {
        let told = |status, kind, detail: String| Self { detail: Some(detail), ..Self::new(status, kind) };
        match refusal {
            Refusal::Unreadable(_) => Self::unreadable(),
            Refusal::Faults(faults) => told(StatusCode::UNPROCESSABLE_ENTITY, "faults", listed(&faults)),
            Refusal::Unauthorised => Self::signed_out(),
            Refusal::Forbidden => Self::forbidden(),
            Refusal::Unknown => Self::unknown(),
            Refusal::Conflict { detail, .. } => told(StatusCode::CONFLICT, "conflict", sentence(&detail)),
            Refusal::NeedsMatch | Refusal::Stale => Self::new(StatusCode::CONFLICT, "stale"),
            Refusal::KeyReused | Refusal::StillRunning | Refusal::Busy | Refusal::Unreachable(_) => {
                Self::new(StatusCode::SERVICE_UNAVAILABLE, "busy")
            }
            Refusal::NoRoom(_) => Self::new(StatusCode::INSUFFICIENT_STORAGE, "no-room"),
            Refusal::Store(error) => Self::inside(error),
        }
    }
}

impl From<StoreError> for Stopped {
    fn from(error: StoreError) -> Self {
        Refusal::from(error).into()
    }
}

impl From<crate::access::caller::Denied> for Stopped {
    fn from(denied: crate::access::caller::Denied) -> Self {
        Refusal::from(denied).into()
    }
}

/// Faults that no field stands for.
fn listed(faults: &Faults) -> String {
    let told: Vec<String> = faults
        .iter()
        .map(|fault| format!("{} {}", fault.pointer.trim_start_matches('/').replace('_', " "), fault.detail))
        .collect();
    sentence(&told.join("; "))
}

/// A detail as a sentence.
fn sentence(detail: &str) -> String {
    let detail = crate::pages::told::heading(detail.trim());
    if detail.ends_with(['.', '!', '?']) { detail } else { format!("{detail}.") }
}
