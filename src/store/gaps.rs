//! What is not handed over with a journal: the medical chain; and where one that was taken over leaves something out.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::journal::MEDICAL;
use std::collections::BTreeSet;
use uuid::Uuid;

/// How many rows go into one statement.
const AT_ONCE: usize = 400;

/// Position and ordinal of the entries before which something was left out.
pub async fn all(tx: &mut Tx) -> Result<BTreeSet<(i64, i64)>, StoreError> {
    let rows: Vec<(i64, i64)> = tx.query("SELECT position, ordinal FROM journal_gap").fetch_all().await?;
    Ok(rows.into_iter().collect())
}

/// The facts of which something stands in the medical chain.
pub async fn medical(tx: &mut Tx) -> Result<BTreeSet<Uuid>, StoreError> {
    let rows: Vec<(Uuid,)> = tx
        .query("SELECT DISTINCT subject_id FROM journal_entry WHERE chain = ")
        .push_bind(MEDICAL)
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(id,)| id).collect())
}

/// How many entries stand before a position.
pub async fn count_before(tx: &mut Tx, position: i64) -> Result<i64, StoreError> {
    let (entries,): (i64,) = tx
        .query("SELECT count(*) FROM journal_entry WHERE position < ")
        .push_bind(position)
        .fetch_one()
        .await?;
    Ok(entries)
}

/// Puts them in.
pub async fn put(tx: &mut Tx, gaps: &BTreeSet<(i64, i64)>) -> Result<(), StoreError> {
    let gaps: Vec<&(i64, i64)> = gaps.iter().collect();
    for some in gaps.chunks(AT_ONCE) {
        let mut query = tx.query("INSERT INTO journal_gap (position, ordinal)");
        for (n, (position, ordinal)) in some.iter().enumerate() {
            query = query.push(if n == 0 { " VALUES (" } else { "), (" }).push_bind(*position);
            query = query.push(", ").push_bind(*ordinal);
        }
        query.push(")").execute().await?;
    }
    Ok(())
}
