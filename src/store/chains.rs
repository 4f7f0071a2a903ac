//! The chains of the journal by their hashes: lengths, heads, and what stands at a place.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::journal::NOTHING_BEFORE;

/// The chains with their lengths and heads.
pub async fn heads(tx: &mut Tx) -> Result<Vec<(String, i64, Vec<u8>)>, StoreError> {
    tx.query("SELECT chain, entries, head FROM journal_chain ORDER BY chain").fetch_all().await
}

/// Count and last hash of a chain as it stood at a position; 0 and [`NOTHING_BEFORE`] before its first entry.
pub async fn head_at(tx: &mut Tx, chain: &str, position: i64) -> Result<(i64, Vec<u8>), StoreError> {
    let row: Option<(i64, Vec<u8>)> = tx
        .query("SELECT place, entry_hash FROM journal_entry WHERE chain = ")
        .push_bind(chain.to_owned())
        .push(" AND position <= ")
        .push_bind(position)
        .push(" ORDER BY place DESC LIMIT 1")
        .fetch_optional()
        .await?;
    Ok(row.unwrap_or_else(|| (0, NOTHING_BEFORE.to_vec())))
}

/// The hash at a place of a chain, if there is such an entry.
pub async fn hash_at(tx: &mut Tx, chain: &str, place: i64) -> Result<Option<Vec<u8>>, StoreError> {
    let row: Option<(Vec<u8>,)> = tx
        .query("SELECT entry_hash FROM journal_entry WHERE chain = ")
        .push_bind(chain.to_owned())
        .push(" AND place = ")
        .push_bind(place)
        .fetch_optional()
        .await?;
    Ok(row.map(|(hash,)| hash))
}

/// Places and hashes of a chain in order, after a place.
pub async fn hashes(
    tx: &mut Tx,
    chain: &str,
    after: i64,
    limit: i64,
) -> Result<Vec<(i64, Vec<u8>)>, StoreError> {
    tx.query("SELECT place, entry_hash FROM journal_entry WHERE chain = ")
        .push_bind(chain.to_owned())
        .push(" AND place > ")
        .push_bind(after)
        .push(" ORDER BY place LIMIT ")
        .push_bind(limit)
        .fetch_all()
        .await
}
