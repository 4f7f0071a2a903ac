//! Work that somebody has begun on a page and not sent yet.

use crate::model::identifiers::{AccountId, SiteId};
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use chrono::{DateTime, Utc};

/// Whose it is, at which site, and what it is to become.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DraftKey {
    /// Whose.
    pub account: AccountId,
    /// At which site.
    pub site: SiteId,
    /// What it is to become.
    pub what: &'static str,
}

/// Keeps a draft in place of the one before.
pub async fn keep(tx: &mut Tx, key: DraftKey, body: String, now: DateTime<Utc>) -> Result<(), StoreError> {
    tx.query(
        "INSERT INTO draft (account_id, site_id, what, body, kept_at) VALUES ($1, $2, $3, $4, $5) \
         ON CONFLICT (account_id, site_id, what) DO UPDATE SET body = excluded.body, kept_at = excluded.kept_at",
    )
    .bind(key.account.0)
    .bind(key.site.0)
    .bind(key.what.to_owned())
    .bind(body)
    .bind(now)
    .execute()
    .await?;
    Ok(())
}

/// A draft, and when it was kept.
pub async fn find(tx: &mut Tx, key: DraftKey) -> Result<Option<(String, DateTime<Utc>)>, StoreError> {
    tx.query("SELECT body, kept_at FROM draft WHERE account_id = ")
        .push_bind(key.account.0)
        .push(" AND site_id = ")
        .push_bind(key.site.0)
        .push(" AND what = ")
        .push_bind(key.what.to_owned())
        .fetch_optional()
        .await
}

/// Drops a draft.
pub async fn drop(tx: &mut Tx, key: DraftKey) -> Result<(), StoreError> {
    tx.query("DELETE FROM draft WHERE account_id = ")
        .push_bind(key.account.0)
        .push(" AND site_id = ")
        .push_bind(key.site.0)
        .push(" AND what = ")
        .push_bind(key.what.to_owned())
        .execute()
        .await?;
    Ok(())
}

/// Throws away what was kept before an instant.
pub async fn sweep(tx: &mut Tx, kept_before: DateTime<Utc>) -> Result<(), StoreError> {
    tx.query("DELETE FROM draft WHERE kept_at < ").push_bind(kept_before).execute().await?;
    Ok(())
}
