//! What is said when something is not done: problem documents (RFC 9457).

use crate::model::shape::{Fault, Faults};
use crate::registry::refusal::Refusal;
use crate::store::error::StoreError;
use axum::body::Body;
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value, json};
use std::error::Error;
use std::sync::Arc;

/// A kind of problem: its name is the last part of the document's `type` and never changes.
#[derive(Debug, PartialEq, Eq)]
pub struct Kind {
    /// The name.
    pub name: &'static str,
    /// HTTP status.
    pub status: StatusCode,
    /// What it is called.
    pub title: &'static str,
    /// What a program can do about it.
    pub advice: &'static str,
}

macro_rules! kinds {
    ($($constant:ident = $status:ident, $name:literal, $title:literal, $advice:literal;)*) => {
        $(#[doc = $title] pub const $constant: Kind =
            Kind { name: $name, status: StatusCode::$status, title: $title, advice: $advice };)*

        /// Every kind of problem.
        pub const KINDS: &[&Kind] = &[$(&$constant),*];
    };
}

kinds! {
    UNREADABLE = BAD_REQUEST, "unreadable", "Not readable",
        "The request is not what its form promises (JSON, a key, an address). Correct it before sending it again.";
    UNAUTHORISED = UNAUTHORIZED, "unauthorised", "No valid credentials",
        "Send Authorization: Bearer with a token that has neither expired nor been revoked.";
    FORBIDDEN = FORBIDDEN, "forbidden", "Not allowed",
        "None of the account's roles may do this.";
    UNKNOWN = NOT_FOUND, "unknown", "No such thing",
        "There is no such thing, or the account may not know that there is.";
    METHOD = METHOD_NOT_ALLOWED, "method_not_allowed", "Method not allowed",
        "The address exists, but not with this method; Allow names those that do.";
    TOO_SLOW = REQUEST_TIMEOUT, "too_slow", "The request took too long to arrive",
        "Send it again over a better line, or in smaller parts.";
    CONFLICT = CONFLICT, "conflict", "Something stands in the way",
        "A natural key is taken, or the thing is in that state already.";
    STILL_RUNNING = CONFLICT, "still_running", "The first request is still running",
        "Ask again with the same Idempotency-Key a little later.";
    STALE = PRECONDITION_FAILED, "stale", "Changed since it was read",
        "Read the thing again, look at what changed, and send If-Match with its new ETag.";
    TOO_LARGE = PAYLOAD_TOO_LARGE, "too_large", "The body is too large",
        "JSON bodies may hold 2 MiB, files 10 MiB; larger loads are for the command line.";
    MEDIA_TYPE = UNSUPPORTED_MEDIA_TYPE, "media_type", "The body is of the wrong media type",
        "Send one of the media types that the API document names for the operation.";
    FAULTS = UNPROCESSABLE_ENTITY, "faults", "Faults in what was sent",
        "errors lists every fault with its JSON pointer; nothing was stored.";
    KEY_REUSED = UNPROCESSABLE_ENTITY, "key_reused", "The Idempotency-Key was used for another request",
        "Use a new key for a new request.";
    NEEDS_MATCH = PRECONDITION_REQUIRED, "needs_match", "If-Match is required",
        "Read the thing and send its ETag in If-Match.";
    INTERNAL = INTERNAL_SERVER_ERROR, "internal", "The registry failed",
        "Nothing of the request was stored. The log of the service tells more under the request's id.";
    BUSY = SERVICE_UNAVAILABLE, "busy", "The registry is busy",
        "Ask again after the seconds in Retry-After, with the same Idempotency-Key if it was a POST.";
    NO_ROOM = INSUFFICIENT_STORAGE, "no_room", "No room left to write",
        "Nothing of the request was stored. Once there is room on the disk of the database, the same request is taken.";
}

/// A problem on its way to the client.
#[derive(Debug, Clone)]
pub struct Problem {
    kind: &'static Kind,
    detail: String,
    errors: Vec<Fault>,
    headers: Vec<(HeaderName, HeaderValue)>,
    source: Option<Arc<dyn Error + Send + Sync>>,
}

impl Problem {
    /// A problem of a kind, told in a sentence.
    pub fn new(kind: &'static Kind, detail: impl Into<String>) -> Self {
        Self { kind, detail: detail.into(), errors: Vec::new(), headers: Vec::new(), source: None }
    }

    /// There is no such thing.
    pub fn unknown() -> Self {
        Refusal::Unknown.into()
    }

    /// Faults in a body or in query parameters.
    pub fn faults(faults: &Faults) -> Self {
        let detail = match faults.len() {
            1 => "one fault in what was sent".to_owned(),
            n => format!("{n} faults in what was sent"),
        };
        Self { errors: faults.iter().cloned().collect(), ..Self::new(&FAULTS, detail) }
    }

    /// Something failed inside; the client learns nothing of it.
    pub fn internal(source: impl Error + Send + Sync + 'static) -> Self {
        Self { source: Some(Arc::new(source)), ..Self::panicked() }
    }

    /// Something failed inside without an error to show.
    pub fn panicked() -> Self {
        Self::new(&INTERNAL, "the registry failed; nothing of the request was stored")
    }

    /// The registry has no room for this now.
    pub fn busy(detail: impl Into<String>) -> Self {
        Self::new(&BUSY, detail).with(header::RETRY_AFTER, HeaderValue::from_static("2"))
    }

    /// With a further header.
    #[must_use]
    pub fn with(mut self, name: HeaderName, value: HeaderValue) -> Self {
        self.headers.push((name, value));
        self
    }

    /// Its kind.
    pub fn kind(&self) -> &'static Kind {
        self.kind
    }

    /// The document that is sent; `instance` is the request's id.
    pub fn document(&self, instance: &str) -> Value {
        let mut document = Map::new();
        document.insert("type".into(), json!(format!("/problems/{}", self.kind.name)));
        document.insert("title".into(), json!(self.kind.title));
        document.insert("status".into(), json!(self.kind.status.as_u16()));
        document.insert("detail".into(), json!(self.detail));
        document.insert("instance".into(), json!(instance));
        if !self.errors.is_empty() {
            let errors =
                self.errors.iter().map(|fault| json!({"pointer": fault.pointer, "detail": fault.detail}));
            document.insert("errors".into(), errors.collect());
        }
        Value::Object(document)
    }

    /// Logs what failed inside, with the whole chain, once.
    pub fn log(&self) {
        if let Some(source) = &self.source {
            let mut chain = source.to_string();
            let mut next = source.source();
            while let Some(error) = next {
                chain.push_str(": ");
                chain.push_str(&error.to_string());
                next = error.source();
            }
            tracing::error!(error = %chain, "the request failed inside");
        }
    }

    /// The whole answer.
    pub fn answer(&self, instance: &str) -> Response {
        let mut response = Response::new(Body::from(self.document(instance).to_string()));
        *response.status_mut() = self.kind.status;
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        for (name, value) in &self.headers {
            headers.insert(name.clone(), value.clone());
        }
        response
    }
}

/// The edge writes the document, for only it knows the request's id.
impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut response = Response::new(Body::empty());
        *response.status_mut() = self.kind.status;
        response.extensions_mut().insert(self);
        response
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        let kind = match &refusal {
            Refusal::Unreadable(_) => &UNREADABLE,
            Refusal::Faults(faults) => return Self::faults(faults),
            Refusal::Unauthorised => {
                let scheme = HeaderValue::from_static("Bearer");
                return Self::new(&UNAUTHORISED, refusal.to_string()).with(header::WWW_AUTHENTICATE, scheme);
            }
            Refusal::Forbidden => &FORBIDDEN,
            Refusal::Unknown => &UNKNOWN,
            Refusal::Conflict { detail, faults } => {
                let errors = faults.iter().cloned().collect();
                return Self { errors, ..Self::new(&CONFLICT, detail) };
            }
            Refusal::NeedsMatch => &NEEDS_MATCH,
            Refusal::Stale => &STALE,
            Refusal::KeyReused => &KEY_REUSED,
            Refusal::Busy => return Self::busy(refusal.to_string()),
            Refusal::Unreachable(_) => {
                let told = Self::busy(refusal.to_string());
                return Self { source: Some(Arc::new(refusal)), ..told };
            }
            Refusal::NoRoom(_) => {
                let wait = HeaderValue::from_static("60");
                let told = Self::new(&NO_ROOM, refusal.to_string()).with(header::RETRY_AFTER, wait);
                return Self { source: Some(Arc::new(refusal)), ..told };
            }
            Refusal::StillRunning => &STILL_RUNNING,
            Refusal::Store(_) => return Self::internal(refusal),
        };
        Self::new(kind, refusal.to_string())
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        Refusal::from(error).into()
    }
}

impl From<Faults> for Problem {
    fn from(faults: Faults) -> Self {
        Self::faults(&faults)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failure_inside_tells_the_client_nothing() {
        let failed = Problem::from(StoreError::Damaged("sample 7: mass".into()));
        let document = failed.document("r-1");
        assert_eq!(document["status"], 500);
        assert!(!document.to_string().contains("mass"));
    }

    #[test]
    fn every_kind_has_a_name_of_its_own() {
        let names: std::collections::BTreeSet<_> = KINDS.iter().map(|kind| kind.name).collect();
        assert_eq!(names.len(), KINDS.len());
    }

    #[test]
    fn faults_keep_their_pointers_and_order() {
        let mut faults = Faults::default();
        faults.note("/b", "is wrong");
        faults.note("/a", "is wrong too");
        let document = Problem::from(faults).document("r-1");
        assert_eq!(document["type"], "/problems/faults");
        assert_eq!(document["errors"][0]["pointer"], "/b");
        assert_eq!(document["errors"][1], json!({"pointer": "/a", "detail": "is wrong too"}));
    }
}
