//! The way of every request that writes: key, turn, use case, answer, commit.

use crate::api::App;
use crate::api::problem::Problem;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::registry::refusal::Refusal;
use crate::registry::writer::{Begun, Change};
use crate::store::idempotency::{Answer, Asked};
use axum::http::{StatusCode, header};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::future::Future;
use std::pin::Pin;

/// What a use case has made, as the answer tells it.
#[derive(Debug, Clone, PartialEq)]
pub struct Made {
    status: StatusCode,
    location: Option<String>,
    body: Value,
    kept: Option<Value>,
    dry: bool,
}

impl Made {
    /// Something new at an address below the API's base, such as `/groups/0190…`.
    pub fn new(address: &str, body: Value) -> Self {
        let location = Some(format!("{}{address}", crate::api::BASE));
        Self { status: StatusCode::CREATED, location, body, kept: None, dry: false }
    }

    /// The same, with a secret in the answer that must not be kept for a second asking.
    pub fn with_secret(address: &str, body: Value, without: Value) -> Self {
        Self { kept: Some(without), ..Self::new(address, body) }
    }

    /// What was changed.
    pub fn changed(body: Value) -> Self {
        Self { status: StatusCode::OK, location: None, body, kept: None, dry: false }
    }

    /// What was made before: nothing is added.
    pub fn before(body: Value) -> Self {
        Self { status: StatusCode::OK, location: None, body, kept: None, dry: false }
    }

    /// What would have been made: nothing is stored.
    pub fn dry_run(mut body: Value) -> Self {
        if let Value::Object(body) = &mut body {
            body.insert("dry_run".into(), Value::Bool(true));
        }
        Self { status: StatusCode::OK, location: None, body, kept: None, dry: true }
    }
}

/// The work of a use case inside a writing request.
pub type Work<'c> = Pin<Box<dyn Future<Output = Result<Made, Refusal>> + Send + 'c>>;

/// Carries out a request whose body is JSON.
///
/// # Errors
/// Whatever the use case refuses; then nothing is stored.
pub async fn write<W>(app: App, request: Request, work: W) -> Result<Reply, Problem>
where
    W: for<'c> FnOnce(&'c mut Change, &'c Request, &'c Value) -> Work<'c> + Send,
{
    let body = request.json()?;
    carry_out(app, request, body, work).await
}

/// Carries out a request whose input was read before, outside the transaction.
///
/// # Errors
/// Whatever the use case refuses; then nothing is stored.
pub async fn carry_out<I, W>(app: App, request: Request, input: I, work: W) -> Result<Reply, Problem>
where
    I: Send + Sync,
    W: for<'c> FnOnce(&'c mut Change, &'c Request, &'c I) -> Work<'c> + Send,
{
    let asked = request.key.as_ref().map(|key| Asked {
        key: key.clone(),
        route: format!("{} {}", request.method, request.path),
        body_digest: digest(&request),
    });
    let mut change = match app.registry.begin(&request.caller, asked).await? {
        Begun::Answered(answer) => return Ok(tell(answer)),
        Begun::Change(change) => *change,
    };
    let made = work(&mut change, &request, &input).await?;
    let answer = Answer {
        status: i64::from(made.status.as_u16()),
        location: made.location,
        body: made.body.to_string(),
    };
    if !made.dry {
        let kept = made.kept.map(|body| Answer { body: body.to_string(), ..answer.clone() });
        app.registry.commit(change, Some(kept.as_ref().unwrap_or(&answer))).await?;
    }
    Ok(tell(answer))
}

/// SHA-256 of everything that makes two requests with one key the same.
fn digest(request: &Request) -> [u8; 32] {
    let mut hash = Sha256::new();
    for part in [request.raw_query.as_bytes(), request.media_type().as_bytes(), &request.body] {
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part);
    }
    hash.finalize().into()
}

fn tell(answer: Answer) -> Reply {
    let status = u16::try_from(answer.status).ok().and_then(|status| StatusCode::from_u16(status).ok());
    let reply = Reply::json_text(status.unwrap_or(StatusCode::OK), answer.body);
    match answer.location {
        Some(location) => reply.with(header::LOCATION, &location),
        None => reply,
    }
}
