//! Keys that sign anchors, and the secret that hides the medical chain in them: secrets, apart from the facts.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use chrono::{DateTime, Utc};

/// The private half of the newest key that the database keeps.
pub async fn newest_private(tx: &mut Tx) -> Result<Option<Vec<u8>>, StoreError> {
    let row: Option<(Vec<u8>,)> = tx
        .query(
            "SELECT private_key FROM signing_key WHERE private_key IS NOT NULL \
             ORDER BY made_at DESC, fingerprint LIMIT 1",
        )
        .fetch_optional()
        .await?;
    Ok(row.map(|(key,)| key))
}

/// The private half of a key, where the database keeps it.
pub async fn private_of(tx: &mut Tx, fingerprint: [u8; 32]) -> Result<Option<Vec<u8>>, StoreError> {
    let row: Option<(Option<Vec<u8>>,)> = tx
        .query("SELECT private_key FROM signing_key WHERE fingerprint = ")
        .push_bind(fingerprint.to_vec())
        .fetch_optional()
        .await?;
    Ok(row.and_then(|(key,)| key))
}

/// Forgets the private half of a key.
pub async fn forget_private(tx: &mut Tx, fingerprint: [u8; 32]) -> Result<(), StoreError> {
    tx.query("UPDATE signing_key SET private_key = NULL WHERE fingerprint = ")
        .push_bind(fingerprint.to_vec())
        .execute()
        .await?;
    Ok(())
}

/// Fingerprint, public half and since when, of every key that is known; the oldest first.
pub async fn keys(tx: &mut Tx) -> Result<Vec<(Vec<u8>, Vec<u8>, DateTime<Utc>)>, StoreError> {
    tx.query("SELECT fingerprint, public_key, made_at FROM signing_key ORDER BY made_at, fingerprint")
        .fetch_all()
        .await
}

/// The statements by which keys announced those that follow them, with their places, in order.
pub async fn announcements(tx: &mut Tx) -> Result<Vec<(i64, String)>, StoreError> {
    tx.query("SELECT place, statement FROM key_announcement ORDER BY place").fetch_all().await
}

/// Keeps a statement.
pub async fn announce(tx: &mut Tx, place: i64, statement: &str) -> Result<(), StoreError> {
    tx.query("INSERT INTO key_announcement (place, statement) VALUES ($1, $2)")
        .bind(place)
        .bind(statement.to_owned())
        .execute()
        .await?;
    Ok(())
}

/// The public half of a key that has signed here, and since when it is known.
pub async fn public_key(
    tx: &mut Tx,
    fingerprint: [u8; 32],
) -> Result<Option<(Vec<u8>, DateTime<Utc>)>, StoreError> {
    tx.query("SELECT public_key, made_at FROM signing_key WHERE fingerprint = ")
        .push_bind(fingerprint.to_vec())
        .fetch_optional()
        .await
}

/// Keeps a key; one that is known already stays as it is.
pub async fn keep(
    tx: &mut Tx,
    fingerprint: [u8; 32],
    public_key: [u8; 32],
    private_key: Option<[u8; 32]>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    tx.query(
        "INSERT INTO signing_key (fingerprint, public_key, private_key, made_at) VALUES ($1, $2, $3, $4) \
         ON CONFLICT (fingerprint) DO NOTHING",
    )
    .bind(fingerprint.to_vec())
    .bind(public_key.to_vec())
    .bind(private_key.map(|key| key.to_vec()))
    .bind(now)
    .execute()
    .await?;
    Ok(())
}

/// The secret that hides the medical chain.
pub async fn blinding(tx: &mut Tx) -> Result<Option<Vec<u8>>, StoreError> {
    let row: Option<(Vec<u8>,)> =
        tx.query("SELECT secret FROM blinding_secret WHERE one = 1").fetch_optional().await?;
    Ok(row.map(|(secret,)| secret))
}

/// Keeps the secret that hides the medical chain.
pub async fn keep_blinding(tx: &mut Tx, secret: [u8; 32]) -> Result<(), StoreError> {
    tx.query("INSERT INTO blinding_secret (one, secret) VALUES (1, $1) ON CONFLICT (one) DO NOTHING")
        .bind(secret.to_vec())
        .execute()
        .await?;
    Ok(())
}
