//! A user's desk inside the program: requests go through the very router that the network reaches.

use crate::cli::failure::Failure;
use crate::model::facts::account::Role;
use http::{Method, Request, Response, StatusCode};
use http_body_util::BodyExt;
use serde_json::Value;
use std::collections::BTreeMap;
use std::convert::Infallible;
use tower::{Service, ServiceExt as _};

/// Where every path of the API begins.
pub(super) const BASE: &str = "/api/v1";

/// The router, and a token for each role.
#[derive(Debug, Clone)]
pub(super) struct Desk<R> {
    router: R,
    tokens: BTreeMap<Role, String>,
}

/// A request that was answered.
#[derive(Debug)]
pub(super) struct Answered {
    /// The status.
    pub status: StatusCode,
    /// The body, `null` where it is no JSON.
    pub body: Value,
}

/// What is sent with a request.
#[derive(Debug)]
pub(super) struct Sent {
    /// The media type.
    pub kind: &'static str,
    /// The body.
    pub body: String,
    /// The idempotency key, for what is recorded.
    pub key: Option<String>,
}

impl<R> Desk<R> {
    /// A desk at a router.
    pub(super) fn new(router: R, tokens: BTreeMap<Role, String>) -> Self {
        Self { router, tokens }
    }
}

/// What a desk asks of: a router that takes text and never fails itself.
pub(super) trait Router:
    Service<Request<String>, Error = Infallible, Response = Response<Self::Body>> + Clone
{
    /// The body of its answers.
    type Body: BodyExt;
}

impl<R, B> Router for R
where
    R: Service<Request<String>, Error = Infallible, Response = Response<B>> + Clone,
    B: BodyExt,
{
    type Body = B;
}

impl<R: Router> Desk<R> {
    /// Sends something below `/api/v1` as a user of a role would.
    ///
    /// # Errors
    /// The request cannot be put together; what the registry refuses is an answer.
    pub(super) async fn post(&self, role: Role, path: &str, sent: Sent) -> Result<Answered, Failure> {
        let mut request = self.request(Method::POST, role, path).header("content-type", sent.kind);
        if let Some(key) = sent.key {
            request = request.header("idempotency-key", key);
        }
        self.ask(request.body(sent.body)).await
    }

    /// Asks for something below `/api/v1` as a user of a role would.
    ///
    /// # Errors
    /// The request cannot be put together; what the registry refuses is an answer.
    pub(super) async fn get(&self, role: Role, path: &str) -> Result<Answered, Failure> {
        self.ask(self.request(Method::GET, role, path).body(String::new())).await
    }

    fn request(&self, method: Method, role: Role, path: &str) -> http::request::Builder {
        let token = self.tokens.get(&role).map(String::as_str).unwrap_or_default();
        Request::builder()
            .method(method)
            .uri(format!("{BASE}{path}"))
            .header("authorization", format!("Bearer {token}"))
    }

    async fn ask(&self, request: http::Result<Request<String>>) -> Result<Answered, Failure> {
        let request = request.map_err(|error| Failure::Refused(error.to_string()))?;
        let Ok(answer) = self.router.clone().oneshot(request).await;
        let status = answer.status();
        let body = answer.into_body().collect().await;
        let body = body.map_err(|_| Failure::Refused("an answer broke off".into()))?.to_bytes();
        Ok(Answered { status, body: serde_json::from_slice(&body).unwrap_or(Value::Null) })
    }
}
