//! Answers: a page, the way to another one, a file.

use crate::pages::stopped::Stopped;
use askama::Template;
use axum::body::Body;
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

/// An answer.
#[derive(Debug)]
pub struct Answer {
    status: StatusCode,
    headers: HeaderMap,
    body: Body,
}

impl Answer {
    /// A page.
    ///
    /// # Errors
    /// The template cannot be written out.
    pub fn page(template: &impl Template) -> Result<Self, Stopped> {
        Self::page_with(StatusCode::OK, template)
    }

    /// A page with another status: what was sent has faults, say.
    ///
    /// # Errors
    /// The template cannot be written out.
    pub fn page_with(status: StatusCode, template: &impl Template) -> Result<Self, Stopped> {
        let html = template.render().map_err(Stopped::inside)?;
        Ok(Self::file(status, "text/html; charset=utf-8", html))
    }

    /// The way to another page, which the browser then asks for: after a form that was carried out.
    pub fn see(address: &str) -> Self {
        let mut headers = HeaderMap::new();
        let address = HeaderValue::from_str(address).unwrap_or(HeaderValue::from_static("/"));
        headers.insert(header::LOCATION, address);
        Self { status: StatusCode::SEE_OTHER, headers, body: Body::empty() }
    }

    /// Any file.
    pub fn file(status: StatusCode, media_type: &'static str, body: impl Into<Body>) -> Self {
        let mut headers = HeaderMap::new();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(media_type));
        Self { status, headers, body: body.into() }
    }

    /// With a further header; a value that is no header text is left out.
    #[must_use]
    pub fn with(mut self, name: HeaderName, value: &str) -> Self {
        if let Ok(value) = HeaderValue::from_str(value) {
            self.headers.append(name, value);
        }
        self
    }

    /// With a cookie that is set.
    #[must_use]
    pub fn with_cookie(self, cookie: &str) -> Self {
        self.with(header::SET_COOKIE, cookie)
    }
}

impl IntoResponse for Answer {
    fn into_response(self) -> Response {
        let mut response = Response::new(self.body);
        *response.status_mut() = self.status;
        *response.headers_mut() = self.headers;
        response
    }
}
