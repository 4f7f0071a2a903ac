//! Who read what about whom. A line is on disk before the answer leaves.

use crate::model::identifiers::{AccountId, WorkerId};
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// One request that read named workers' exposure.
#[derive(Debug, Clone)]
pub struct Line {
    /// Its identifier.
    pub id: Uuid,
    /// When.
    pub at: DateTime<Utc>,
    /// Who.
    pub account: AccountId,
    /// Which request, as method and route template (no names, no values).
    pub request: String,
    /// The one worker it was about.
    pub worker: Option<WorkerId>,
    /// For a bulk read: what it spanned; for one worker with several entries: `with` and the others.
    pub scope: Option<String>,
    /// The position it was answered at.
    pub position: i64,
    /// How many workers it named.
    pub workers: i64,
}

/// Writes a line.
pub async fn write(tx: &mut Tx, line: &Line) -> Result<(), StoreError> {
    tx.query(
        "INSERT INTO access_line (id, at, account_id, request, worker_id, scope, position, workers) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(line.id)
    .bind(line.at)
    .bind(line.account.0)
    .bind(line.request.clone())
    .bind(line.worker.map(|worker| worker.0))
    .bind(line.scope.clone())
    .bind(line.position)
    .bind(line.workers)
    .execute()
    .await?;
    Ok(())
}

/// The lines about a worker, under whichever of his entries he was asked for, oldest first: account, instant, request.
pub async fn about(tx: &mut Tx, worker: WorkerId) -> Result<Vec<(Uuid, DateTime<Utc>, String)>, StoreError> {
    tx.query("SELECT account_id, at, request FROM access_line WHERE worker_id = ")
        .push_bind(worker.0)
        .push(" OR (worker_id IS NOT NULL AND scope LIKE ")
        .push_bind(format!("with %{}%", worker.0))
        .push(") ORDER BY at, id")
        .fetch_all()
        .await
}
