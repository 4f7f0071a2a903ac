//! Secrets of accounts and tokens, apart from the facts.

use crate::model::identifiers::AccountId;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Keeps the digest of a token's secret.
pub async fn keep_token(tx: &mut Tx, token: Uuid, digest: [u8; 32]) -> Result<(), StoreError> {
    tx.query("INSERT INTO token_secret (token_id, digest) VALUES ($1, $2)")
        .bind(token)
        .bind(digest.to_vec())
        .execute()
        .await?;
    Ok(())
}

/// The token with this digest, whatever has become of it.
pub async fn token_of(tx: &mut Tx, digest: [u8; 32]) -> Result<Option<Uuid>, StoreError> {
    let row: Option<(Uuid,)> = tx
        .query("SELECT token_id FROM token_secret WHERE digest = ")
        .push_bind(digest.to_vec())
        .fetch_optional()
        .await?;
    Ok(row.map(|(id,)| id))
}

/// Keeps the hash of an account's password, instead of any earlier one.
pub async fn keep_password(
    tx: &mut Tx,
    account: AccountId,
    hash: String,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    tx.query(
        "INSERT INTO account_secret (account_id, password_hash, changed_at) VALUES ($1, $2, $3) \
         ON CONFLICT (account_id) DO UPDATE SET password_hash = excluded.password_hash, \
         changed_at = excluded.changed_at",
    )
    .bind(account.0)
    .bind(hash)
    .bind(now)
    .execute()
    .await?;
    Ok(())
}

/// The hash of an account's password, if it has one.
pub async fn password_of(tx: &mut Tx, account: AccountId) -> Result<Option<String>, StoreError> {
    let row: Option<(String,)> = tx
        .query("SELECT password_hash FROM account_secret WHERE account_id = ")
        .push_bind(account.0)
        .fetch_optional()
        .await?;
    Ok(row.map(|(hash,)| hash))
}
