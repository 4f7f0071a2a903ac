//! Removing what two people have disposed of: version rows, images and salts. The envelopes with their digests stay.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::journal::MEDICAL;
use crate::store::tables::Table;
use uuid::Uuid;

/// What went of one fact.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Removed {
    /// The positions whose images went.
    pub positions: Vec<i64>,
    /// Whether its entries stand in the medical chain.
    pub medical: bool,
}

/// Has what is deleted overwritten where the engine would leave it in the file.
///
/// SQLite leaves deleted bytes in free pages unless told otherwise; PostgreSQL overwrites them when it vacuums.
pub async fn overwrite(tx: &mut Tx) -> Result<(), StoreError> {
    tx.overwrite_what_is_deleted().await
}

/// Removes the versions of a fact (or one of them) with their images and salts.
pub async fn remove(
    tx: &mut Tx,
    table: &Table,
    id: Uuid,
    revision: Option<i64>,
) -> Result<Removed, StoreError> {
    let mut query = tx.query("DELETE FROM ").push(table.name).push(" WHERE id = ").push_bind(id);
    if let Some(revision) = revision {
        query = query.push(" AND revision = ").push_bind(revision);
    }
    let rows: Vec<(i64,)> = query.push(" RETURNING known_from").fetch_all().await?;
    let mut positions: Vec<i64> = rows.into_iter().map(|(position,)| position).collect();
    positions.sort_unstable();
    let mut medical = false;
    for position in &positions {
        let chains: Vec<(String,)> = tx
            .query("UPDATE journal_entry SET image = NULL, salt = NULL WHERE subject_id = ")
            .push_bind(id)
            .push(" AND kind = ")
            .push_bind(table.kind)
            .push(" AND position = ")
            .push_bind(*position)
            .push(" RETURNING chain")
            .fetch_all()
            .await?;
        medical |= chains.iter().any(|(chain,)| chain == MEDICAL);
    }
    Ok(Removed { positions, medical })
}

/// The facts of a table that hang on others by a column, in whatever version.
pub async fn hanging_on(
    tx: &mut Tx,
    table: &Table,
    column: &'static str,
    ids: &[Uuid],
) -> Result<Vec<Uuid>, StoreError> {
    let mut found = Vec::new();
    for some in ids.chunks(400) {
        let rows: Vec<(Uuid,)> = tx
            .query("SELECT DISTINCT id FROM ")
            .push(table.name)
            .push(" WHERE ")
            .push(column)
            .push(" IN ")
            .push_list(some.to_vec())
            .push(" ORDER BY 1")
            .fetch_all()
            .await?;
        found.extend(rows.into_iter().map(|(id,)| id));
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

/// The facts of a table under some things that name one of these by a field which is no look-up column, in whatever version.
pub async fn became(
    tx: &mut Tx,
    table: &Table,
    under: &[Uuid],
    field: &str,
    ids: &[Uuid],
) -> Result<Vec<Uuid>, StoreError> {
    let mut found = Vec::new();
    for some in under.chunks(400) {
        let rows: Vec<(Uuid, String)> = tx
            .query("SELECT id, body FROM ")
            .push(table.name)
            .push(" WHERE parent_id IN ")
            .push_list(some.to_vec())
            .fetch_all()
            .await?;
        let named = |body: &str| -> Option<Uuid> {
            let fact: serde_json::Value = serde_json::from_str(body).ok()?;
            fact.get(field)?.as_str()?.parse().ok()
        };
        found.extend(
            rows.iter()
                .filter(|(_, body)| named(body).is_some_and(|id| ids.contains(&id)))
                .map(|(id, _)| *id),
        );
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

/// The kind of a fact, its chain, and whether a revision of it is there and was followed by another: `None` where there is no
/// such fact.
pub async fn kind_of(tx: &mut Tx, id: Uuid) -> Result<Option<(String, String)>, StoreError> {
    tx.query("SELECT kind, chain FROM journal_entry WHERE subject_id = ")
        .push_bind(id)
        .push(" ORDER BY position LIMIT 1")
        .fetch_optional()
        .await
}

/// Where a revision of a fact ends and its site; `None` where there is none.
pub async fn ends_at(
    tx: &mut Tx,
    table: &Table,
    id: Uuid,
    revision: i64,
) -> Result<Option<(i64, Option<Uuid>)>, StoreError> {
    tx.query("SELECT known_to, site_id FROM ")
        .push(table.name)
        .push(" WHERE id = ")
        .push_bind(id)
        .push(" AND revision = ")
        .push_bind(revision)
        .fetch_optional()
        .await
}
