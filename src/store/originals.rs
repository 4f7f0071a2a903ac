//! The bytes of uploaded files, once for each digest.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::Table;
use uuid::Uuid;

/// How many identifiers go into one statement.
const AT_ONCE: usize = 400;

/// Keeps bytes under their digest; those that are there already stay.
pub async fn put(tx: &mut Tx, digest: [u8; 32], bytes: &[u8]) -> Result<(), StoreError> {
    tx.query("INSERT INTO original_bytes (digest, bytes) VALUES ($1, $2) ON CONFLICT (digest) DO NOTHING")
        .bind(digest.to_vec())
        .bind(bytes.to_vec())
        .execute()
        .await?;
    Ok(())
}

/// The bytes under a digest.
pub async fn get(tx: &mut Tx, digest: &[u8]) -> Result<Option<Vec<u8>>, StoreError> {
    let row: Option<(Vec<u8>,)> = tx
        .query("SELECT bytes FROM original_bytes WHERE digest = ")
        .push_bind(digest.to_vec())
        .fetch_optional()
        .await?;
    Ok(row.map(|(bytes,)| bytes))
}

/// The digest that comes next after one, with its bytes.
pub async fn next(tx: &mut Tx, after: &[u8]) -> Result<Option<(Vec<u8>, Vec<u8>)>, StoreError> {
    tx.query("SELECT digest, bytes FROM original_bytes WHERE digest > ")
        .push_bind(after.to_vec())
        .push(" ORDER BY digest LIMIT 1")
        .fetch_optional()
        .await
}

/// How many files there are.
pub async fn count(tx: &mut Tx) -> Result<i64, StoreError> {
    let (files,): (i64,) = tx.query("SELECT count(*) FROM original_bytes").fetch_one().await?;
    Ok(files)
}

/// Removes the bytes under a digest.
pub async fn remove(tx: &mut Tx, digest: &[u8]) -> Result<(), StoreError> {
    tx.query("DELETE FROM original_bytes WHERE digest = ").push_bind(digest.to_vec()).execute().await?;
    Ok(())
}

/// How many of these facts still have their first version in one of the tables.
pub async fn still_there(tx: &mut Tx, tables: &[&Table], ids: &[Uuid]) -> Result<usize, StoreError> {
    let mut there = 0;
    for table in tables {
        for some in ids.chunks(AT_ONCE) {
            let (rows,): (i64,) = tx
                .query("SELECT count(*) FROM ")
                .push(table.name)
                .push(" WHERE revision = 1 AND id IN ")
                .push_list(some.to_vec())
                .fetch_one()
                .await?;
            there += usize::try_from(rows).unwrap_or_default();
        }
    }
    Ok(there)
}

/// What facts of a table were recorded under, in whatever version of them.
pub async fn parents_of(tx: &mut Tx, table: &Table, ids: &[Uuid]) -> Result<Vec<Uuid>, StoreError> {
    let mut found = Vec::new();
    for some in ids.chunks(AT_ONCE) {
        let rows: Vec<(Uuid,)> = tx
            .query("SELECT DISTINCT parent_id FROM ")
            .push(table.name)
            .push(" WHERE parent_id IS NOT NULL AND id IN ")
            .push_list(some.to_vec())
            .fetch_all()
            .await?;
        found.extend(rows.into_iter().map(|(id,)| id));
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}
