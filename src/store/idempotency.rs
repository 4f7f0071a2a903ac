//! First answers to writing requests, so that a second asking gets the same answer.

use crate::model::identifiers::AccountId;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use chrono::{DateTime, Duration, Utc};

/// How long a first answer is kept.
pub const KEPT_DAYS: i64 = 30;

/// The answer to a writing request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// HTTP status.
    pub status: i64,
    /// Where the new thing is.
    pub location: Option<String>,
    /// The body as sent.
    pub body: String,
}

/// What was asked.
#[derive(Debug, Clone)]
pub struct Asked {
    /// The key.
    pub key: String,
    /// Method and path.
    pub route: String,
    /// SHA-256 of query and body.
    pub body_digest: [u8; 32],
}

/// What is kept under a key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kept {
    /// Nothing yet.
    Nothing,
    /// The answer to this very request.
    Answer(Answer),
    /// The answer to another request.
    Other,
}

/// Route, digest of the body, status, location and body of the answer.
type KeptRow = (String, Vec<u8>, i64, Option<String>, String);

/// Looks a key up.
pub async fn find(
    tx: &mut Tx,
    account: AccountId,
    asked: &Asked,
    now: DateTime<Utc>,
) -> Result<Kept, StoreError> {
    let row: Option<KeptRow> = tx
        .query("SELECT route, body_digest, status, location, body FROM idempotency WHERE account_id = ")
        .push_bind(account.0)
        .push(" AND key = ")
        .push_bind(asked.key.clone())
        .push(" AND stored_at > ")
        .push_bind(now - Duration::days(KEPT_DAYS))
        .fetch_optional()
        .await?;
    Ok(match row {
        None => Kept::Nothing,
        Some((route, digest, status, location, body))
            if route == asked.route && digest == asked.body_digest =>
        {
            Kept::Answer(Answer { status, location, body })
        }
        Some(_) => Kept::Other,
    })
}

/// Keeps an answer; a key whose time is over is taken again.
pub async fn keep(
    tx: &mut Tx,
    account: AccountId,
    asked: &Asked,
    answer: &Answer,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    tx.query("DELETE FROM idempotency WHERE stored_at <= ")
        .push_bind(now - Duration::days(KEPT_DAYS))
        .execute()
        .await?;
    tx.query(
        "INSERT INTO idempotency (account_id, key, route, body_digest, status, location, body, stored_at) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(account.0)
    .bind(asked.key.clone())
    .bind(asked.route.clone())
    .bind(asked.body_digest.to_vec())
    .bind(answer.status)
    .bind(answer.location.clone())
    .bind(answer.body.clone())
    .bind(now)
    .execute()
    .await?;
    Ok(())
}
