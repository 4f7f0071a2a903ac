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
