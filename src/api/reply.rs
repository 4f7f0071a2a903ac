//! Answers: JSON, entity tags, lists with a cursor.

use crate::api::request::Request;
use crate::registry::anchor::ChainState;
use crate::registry::journal::hex;
use axum::body::Body;
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// An answer that went well.
#[derive(Debug)]
pub struct Reply {
    status: StatusCode,
    headers: HeaderMap,
    body: Body,
}

impl Reply {
    /// An answer of any media type.
    pub fn new(status: StatusCode, media_type: &'static str, body: impl Into<Body>) -> Self {
        let mut headers = HeaderMap::new();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(media_type));
        Self { status, headers, body: body.into() }
    }

    /// JSON that is text already.
    pub fn json_text(status: StatusCode, text: String) -> Self {
        Self::new(status, "application/json", text)
    }

    /// JSON.
    pub fn json(status: StatusCode, value: &Value) -> Self {
        Self::json_text(status, value.to_string())
    }

    /// JSON, status 200: a conclusion or a calculation.
    pub fn ok(value: &Value) -> Self {
        Self::json(StatusCode::OK, value)
    }

    /// One thing with its entity tag; 304 where the client has this very one.
    pub fn one(request: &Request, revision: i64, value: &Value) -> Self {
        let text = value.to_string();
        let tag = entity_tag(revision, text.as_bytes());
        let held = request.headers.get_all(header::IF_NONE_MATCH).iter();
        let mut reply = if held.filter_map(|held| held.to_str().ok()).any(|held| names(held, &tag)) {
            Self { status: StatusCode::NOT_MODIFIED, headers: HeaderMap::new(), body: Body::empty() }
        } else {
            Self::json_text(StatusCode::OK, text)
        };
        reply.set(header::ETAG, &tag);
        reply
    }

    /// A page of a list, from one item more than asked for where there is a next page.
    pub fn items(request: &Request, limit: i64, mut items: Vec<(Uuid, Value)>) -> Self {
        let limit = usize::try_from(limit).unwrap_or_default();
        let more = items.len() > limit;
        items.truncate(limit);
        let next = items.last().filter(|_| more).map(|(id, _)| *id);
        let items: Vec<Value> = items.into_iter().map(|(_, item)| item).collect();
        Self::page(request, items, next.map(|id| id.to_string()))
    }

    /// A page of a list with a cursor of any form.
    pub fn page(request: &Request, items: Vec<Value>, next: Option<String>) -> Self {
        let link = next.as_ref().map(|cursor| {
            let kept: Vec<&str> = request
                .raw_query
                .split('&')
                .filter(|part| !part.is_empty() && !part.starts_with("after="))
                .collect();
            let before: String = kept.iter().flat_map(|part| [part, "&"]).collect();
            format!("<{}?{before}after={cursor}>; rel=\"next\"", request.path)
        });
        let mut reply = Self::ok(&json!({
            "items": Value::Array(items),
            "next": next.map_or(Value::Null, Value::String),
        }));
        if let Some(link) = link {
            reply.set(header::LINK, &link);
        }
        reply
    }

    /// With a further header; a value that is no header text is left out.
    #[must_use]
    pub fn with(mut self, name: HeaderName, value: &str) -> Self {
        self.set(name, value);
        self
    }

    /// With what the record was: the position it was read at, and how the chain stood there.
    #[must_use]
    pub fn proved_by(self, state: &ChainState) -> Self {
        self.with(HeaderName::from_static("x-position"), &state.position.to_string())
            .with(HeaderName::from_static("x-chain"), &state.chain)
            .with(HeaderName::from_static("x-chain-entries"), &state.entries.to_string())
            .with(HeaderName::from_static("x-chain-head"), &state.head)
    }

    fn set(&mut self, name: HeaderName, value: &str) {
        if let Ok(value) = HeaderValue::from_str(value) {
            self.headers.insert(name, value);
        }
    }
}

impl IntoResponse for Reply {
    fn into_response(self) -> Response {
        let mut response = Response::new(self.body);
        *response.status_mut() = self.status;
        *response.headers_mut() = self.headers;
        response
    }
}

/// `"<revision>-<digest of the body>"`: a change looks at the first half, a cached copy at the whole.
pub fn entity_tag(revision: i64, body: &[u8]) -> String {
    format!("\"{revision}-{}\"", hex(&Sha256::digest(body)[..16]))
}

/// Whether a list of entity tags holds this one; `W/` makes no difference to a cached copy (RFC 9110, 8.8.3.2).
fn names(list: &str, tag: &str) -> bool {
    list.split(',').map(str::trim).any(|held| held == "*" || held.strip_prefix("W/").unwrap_or(held) == tag)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tag_is_found_in_a_list_of_tags() {
        let tag = entity_tag(3, b"{}");
        assert!(tag.starts_with("\"3-") && tag.ends_with('"'));
        assert!(names(&format!("\"x\", W/{tag}"), &tag));
        assert!(names("*", &tag));
        assert!(!names("\"3-00\"", &tag));
    }
}
