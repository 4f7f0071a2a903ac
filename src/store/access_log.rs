//! Who read what about whom. A line is on disk before the answer leaves, and its digest covers the line before it.
//!
//! `digest = SHA-256(digest of the line before ‖ fixed layout of the line)`; the head holds the count and the last digest.

use crate::model::identifiers::{AccountId, WorkerId};
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use chrono::{DateTime, Utc};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// How many lines of an earlier release are taken in at once.
const TAKEN_IN_AT_ONCE: i64 = 500;

/// One request that read named workers' exposure.
#[derive(Debug, Clone, PartialEq, Eq)]
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
    /// From where it came, if that is known.
    pub client: Option<String>,
    /// What for, if the reader said so.
    pub purpose: Option<String>,
}

impl Line {
    /// The fixed layout that is digested: numbers big-endian, texts with their length before them; what is not there is a
    /// single zero byte.
    fn bytes(&self, place: i64) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(160);
        for number in [place, self.at.timestamp_micros(), self.position, self.workers] {
            bytes.extend(number.to_be_bytes());
        }
        bytes.extend(self.id.as_bytes());
        bytes.extend(self.account.0.as_bytes());
        match self.worker {
            Some(worker) => {
                bytes.push(1);
                bytes.extend(worker.0.as_bytes());
            }
            None => bytes.push(0),
        }
        for text in [Some(&self.request), self.scope.as_ref(), self.client.as_ref(), self.purpose.as_ref()] {
            match text {
                Some(text) => {
                    bytes.push(1);
                    bytes.extend((text.len() as u64).to_be_bytes());
                    bytes.extend(text.as_bytes());
                }
                None => bytes.push(0),
            }
        }
        bytes
    }
}

/// A line as it stands in the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placed {
    /// The line.
    pub line: Line,
    /// Its place, from 1; none where an earlier release wrote it and no start has taken it in yet.
    pub place: Option<i64>,
    /// The digest over it and every line before it.
    pub digest: Option<Vec<u8>>,
}

/// The digest of a line at a place, after the one before it.
pub fn digest_of(before: &[u8], place: i64, line: &Line) -> [u8; 32] {
    Sha256::new().chain_update(before).chain_update(line.bytes(place)).finalize().into()
}

/// How many lines stand in the log, and the digest of the last.
pub async fn head(tx: &mut Tx) -> Result<(i64, Vec<u8>), StoreError> {
    tx.query("SELECT lines, digest FROM access_head WHERE one = 1").fetch_one().await
}

/// Takes the turn of those who write lines, and the next place with the digest before it. Nothing else is locked in such a
/// transaction, so that readers queue here and never wait for each other in a circle.
async fn next_place(tx: &mut Tx) -> Result<(i64, Vec<u8>), StoreError> {
    tx.query("UPDATE access_head SET lines = lines + 1 WHERE one = 1 RETURNING lines, digest")
        .fetch_one()
        .await
}

async fn set_head(tx: &mut Tx, digest: [u8; 32]) -> Result<(), StoreError> {
    tx.query("UPDATE access_head SET digest = ")
        .push_bind(digest.to_vec())
        .push(" WHERE one = 1")
        .execute()
        .await?;
    Ok(())
}

/// Sets the head to the last line that stands there, after lines were put in as they were.
pub async fn set_head_to_last(tx: &mut Tx) -> Result<(), StoreError> {
    tx.query(
        "UPDATE access_head SET lines = l.place, digest = l.digest FROM access_line l WHERE one = 1 \
         AND l.place = (SELECT max(place) FROM access_line)",
    )
    .execute()
    .await?;
    Ok(())
}

/// Writes a line behind the last one.
pub async fn write(tx: &mut Tx, line: &Line) -> Result<(), StoreError> {
    let (place, before) = next_place(tx).await?;
    let digest = digest_of(&before, place, line);
    tx.query(
        "INSERT INTO access_line (id, at, account_id, request, worker_id, scope, position, workers, client, purpose, \
         place, digest) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
    )
    .bind(line.id)
    .bind(line.at)
    .bind(line.account.0)
    .bind(line.request.clone())
    .bind(line.worker.map(|worker| worker.0))
    .bind(line.scope.clone())
    .bind(line.position)
    .bind(line.workers)
    .bind(line.client.clone())
    .bind(line.purpose.clone())
    .bind(place)
    .bind(digest.to_vec())
    .execute()
    .await?;
    set_head(tx, digest).await
}

const COLUMNS: &str = "SELECT id, at, account_id, request, worker_id, scope, position, workers, client, purpose, place, \
                       digest FROM access_line WHERE TRUE";

#[derive(sqlx::FromRow)]
struct LineRow {
    id: Uuid,
    at: DateTime<Utc>,
    account_id: Uuid,
    request: String,
    worker_id: Option<Uuid>,
    scope: Option<String>,
    position: i64,
    workers: i64,
    client: Option<String>,
    purpose: Option<String>,
    place: Option<i64>,
    digest: Option<Vec<u8>>,
}

impl From<LineRow> for Placed {
    fn from(row: LineRow) -> Self {
        let line = Line {
            id: row.id,
            at: row.at,
            account: AccountId(row.account_id),
            request: row.request,
            worker: row.worker_id.map(WorkerId),
            scope: row.scope,
            position: row.position,
            workers: row.workers,
            client: row.client,
            purpose: row.purpose,
        };
        Self { line, place: row.place, digest: row.digest }
    }
}

/// Which lines to read.
#[derive(Debug, Clone, Default)]
pub struct Reading {
    /// Only those older than this one.
    pub after: Option<Uuid>,
    /// Only those that name this worker, or name nobody and spanned one of these.
    pub worker: Option<(WorkerId, Vec<String>)>,
    /// Only those of this account.
    pub account: Option<AccountId>,
    /// Not those of this request.
    pub without: Option<&'static str>,
    /// At most how many.
    pub limit: i64,
}

/// Lines by their identifiers, which follow time, the newest first: reading the log leaves lines, which a reader who goes on
/// to older ones never meets.
pub async fn lines(tx: &mut Tx, reading: &Reading) -> Result<Vec<Placed>, StoreError> {
    let mut query = tx.query(COLUMNS);
    if let Some(after) = reading.after {
        query = query.push(" AND id < ").push_bind(after);
    }
    if let Some((worker, scopes)) = &reading.worker {
        query = query.push(" AND (worker_id = ").push_bind(worker.0);
        // Asked for under another entry of the same person: that one is named, and the others stand beside it.
        query = query
            .push(" OR (worker_id IS NOT NULL AND scope LIKE ")
            .push_bind(format!("with %{}%", worker.0));
        query =
            query.push(") OR (worker_id IS NULL AND scope IN ").push_list(scopes.iter().cloned()).push("))");
    }
    if let Some(account) = reading.account {
        query = query.push(" AND account_id = ").push_bind(account.0);
    }
    if let Some(without) = reading.without {
        query = query.push(" AND request <> ").push_bind(without);
    }
    let rows: Vec<LineRow> =
        query.push(" ORDER BY id DESC LIMIT ").push_bind(reading.limit).fetch_all().await?;
    Ok(rows.into_iter().map(Placed::from).collect())
}

/// Lines in the order of their places, after one of them.
pub async fn placed(tx: &mut Tx, after: i64, limit: i64) -> Result<Vec<Placed>, StoreError> {
    let query = tx.query(COLUMNS).push(" AND place > ").push_bind(after);
    let rows: Vec<LineRow> = query.push(" ORDER BY place LIMIT ").push_bind(limit).fetch_all().await?;
    Ok(rows.into_iter().map(Placed::from).collect())
}

/// How many lines have no place yet.
pub async fn without_place(tx: &mut Tx) -> Result<i64, StoreError> {
    let (lines,): (i64,) =
        tx.query("SELECT count(*) FROM access_line WHERE place IS NULL").fetch_one().await?;
    Ok(lines)
}

/// The digest at a place of the log, if it is there.
pub async fn digest_at(tx: &mut Tx, place: i64) -> Result<Option<Vec<u8>>, StoreError> {
    let row: Option<(Option<Vec<u8>>,)> =
        tx.query("SELECT digest FROM access_line WHERE place = ").push_bind(place).fetch_optional().await?;
    Ok(row.and_then(|(digest,)| digest))
}

/// Gives some lines that an earlier release wrote their places, in order of time; how many.
pub async fn take_in(tx: &mut Tx) -> Result<i64, StoreError> {
    if without_place(tx).await? == 0 {
        return Ok(0);
    }
    let mut taken = 0;
    // The turn is taken before the lines are read: another instance may be starting too.
    let (first, mut before) = next_place(tx).await?;
    let query = tx.query(COLUMNS).push(" AND place IS NULL ORDER BY at, id LIMIT ");
    let rows: Vec<LineRow> = query.push_bind(TAKEN_IN_AT_ONCE).fetch_all().await?;
    for row in rows {
        let Placed { line, .. } = row.into();
        let place = first + taken;
        let digest = digest_of(&before, place, &line);
        tx.query("UPDATE access_line SET place = ")
            .push_bind(place)
            .push(", digest = ")
            .push_bind(digest.to_vec())
            .push(" WHERE id = ")
            .push_bind(line.id)
            .execute()
            .await?;
        before = digest.to_vec();
        taken += 1;
    }
    tx.query("UPDATE access_head SET lines = ")
        .push_bind(first - 1 + taken)
        .push(", digest = ")
        .push_bind(before)
        .push(" WHERE one = 1")
        .execute()
        .await?;
    Ok(taken)
}
