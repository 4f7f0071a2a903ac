//! The four derived tables: conclusions kept so that a reader need not compute them. Bookkeeping beside the bytes.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::marks::MarkKind;
use chrono::NaiveDate;
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// Raised whenever the same facts would give other bytes.
pub const CALCULATION_VERSION: i64 = 9;

/// A stored conclusion.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Derived {
    /// The position it was computed at.
    pub position: i64,
    /// The first date on which it would differ with no new fact.
    pub changes_on: Option<NaiveDate>,
    /// The conclusion as JSON text.
    pub body: String,
}

/// Table and key column of a kind.
const fn table(kind: MarkKind) -> (&'static str, &'static str) {
    match kind {
        MarkKind::Profile => ("group_profile", "group_id"),
        MarkKind::Verdict => ("control_verdict", "task_id"),
        MarkKind::Shifts => ("worker_shifts", "worker_id"),
        MarkKind::Summary => ("worker_summary", "worker_id"),
    }
}

/// Stores a conclusion instead of the one before; tells whether its bytes changed.
pub async fn store(
    tx: &mut Tx,
    kind: MarkKind,
    subject: Uuid,
    agent: &str,
    derived: &Derived,
) -> Result<bool, StoreError> {
    let before = find(tx, kind, subject, agent).await?;
    let (name, key) = table(kind);
    let digest: [u8; 32] = Sha256::digest(derived.body.as_bytes()).into();
    tx.query("INSERT INTO ")
        .push(name)
        .push(" (")
        .push(key)
        .push(", agent_code, position, inputs_digest, calculation_version, changes_on, body) VALUES (")
        .push_bind(subject)
        .push(", ")
        .push_bind(agent.to_owned())
        .push(", ")
        .push_bind(derived.position)
        .push(", ")
        .push_bind(digest.to_vec())
        .push(", ")
        .push_bind(CALCULATION_VERSION)
        .push(", ")
        .push_bind(derived.changes_on)
        .push(", ")
        .push_bind(derived.body.clone())
        .push(") ON CONFLICT (")
        .push(key)
        .push(
            ", agent_code) DO UPDATE SET position = excluded.position, inputs_digest = excluded.inputs_digest, \
             calculation_version = excluded.calculation_version, changes_on = excluded.changes_on, \
             body = excluded.body",
        )
        .execute()
        .await?;
    Ok(before.is_none_or(|before| before.body != derived.body))
}

/// Takes a stored conclusion away.
pub async fn remove(tx: &mut Tx, kind: MarkKind, subject: Uuid, agent: &str) -> Result<(), StoreError> {
    let (name, key) = table(kind);
    tx.query("DELETE FROM ")
        .push(name)
        .push(" WHERE ")
        .push(key)
        .push(" = ")
        .push_bind(subject)
        .push(" AND agent_code = ")
        .push_bind(agent.to_owned())
        .execute()
        .await?;
    Ok(())
}

/// The agents for which a subject has a stored conclusion, in order of their codes.
pub async fn agents_of(tx: &mut Tx, kind: MarkKind, subject: Uuid) -> Result<Vec<String>, StoreError> {
    let (name, key) = table(kind);
    let rows: Vec<(String,)> = tx
        .query("SELECT agent_code FROM ")
        .push(name)
        .push(" WHERE ")
        .push(key)
        .push(" = ")
        .push_bind(subject)
        .push(" ORDER BY 1")
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(code,)| code).collect())
}

/// The stored conclusion of this calculation version. One whose bytes are not those that were stored is none: whoever asks
/// works it out from the facts.
pub async fn find(
    tx: &mut Tx,
    kind: MarkKind,
    subject: Uuid,
    agent: &str,
) -> Result<Option<Derived>, StoreError> {
    let (name, key) = table(kind);
    let row: Option<(i64, Option<NaiveDate>, String, Vec<u8>)> = tx
        .query("SELECT position, changes_on, body, inputs_digest FROM ")
        .push(name)
        .push(" WHERE ")
        .push(key)
        .push(" = ")
        .push_bind(subject)
        .push(" AND agent_code = ")
        .push_bind(agent.to_owned())
        .push(" AND calculation_version = ")
        .push_bind(CALCULATION_VERSION)
        .fetch_optional()
        .await?;
    let whole = |body: &str, digest: &[u8]| Sha256::digest(body.as_bytes())[..] == *digest;
    Ok(row
        .filter(|(_, _, body, digest)| whole(body, digest))
        .map(|(position, changes_on, body, _)| Derived { position, changes_on, body }))
}

/// All stored conclusions of a kind with their keys, in key order.
pub async fn all(tx: &mut Tx, kind: MarkKind) -> Result<Vec<(Uuid, String, String)>, StoreError> {
    let (name, key) = table(kind);
    tx.query("SELECT ")
        .push(key)
        .push(", agent_code, body FROM ")
        .push(name)
        .push(" ORDER BY 1, 2")
        .fetch_all()
        .await
}

/// A stored conclusion with its key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// The group, task or worker.
    pub subject: Uuid,
    /// The agent's code.
    pub agent: String,
    /// The conclusion.
    pub derived: Derived,
}

/// Stored conclusions of a kind in key order, after a key, at most so many.
pub async fn page(
    tx: &mut Tx,
    kind: MarkKind,
    after: Option<(Uuid, String)>,
    limit: i64,
) -> Result<Vec<Kept>, StoreError> {
    let (name, key) = table(kind);
    let mut query =
        tx.query("SELECT ").push(key).push(", agent_code, position, changes_on, body FROM ").push(name);
    if let Some((subject, agent)) = after {
        query = query.push(" WHERE (").push(key).push(", agent_code) > (").push_bind(subject);
        query = query.push(", ").push_bind(agent).push(")");
    }
    let rows: Vec<(Uuid, String, i64, Option<NaiveDate>, String)> =
        query.push(" ORDER BY 1, 2 LIMIT ").push_bind(limit).fetch_all().await?;
    let kept = |(subject, agent, position, changes_on, body)| Kept {
        subject,
        agent,
        derived: Derived { position, changes_on, body },
    };
    Ok(rows.into_iter().map(kept).collect())
}

/// Those whose date of change has come, and those of another calculation version.
pub async fn due(tx: &mut Tx, kind: MarkKind, today: NaiveDate) -> Result<Vec<(Uuid, String)>, StoreError> {
    let (name, key) = table(kind);
    tx.query("SELECT ")
        .push(key)
        .push(", agent_code FROM ")
        .push(name)
        .push(" WHERE changes_on <= ")
        .push_bind(today)
        .push(" OR calculation_version <> ")
        .push_bind(CALCULATION_VERSION)
        .push(" ORDER BY 1, 2")
        .fetch_all()
        .await
}

/// Throws all of a kind away.
pub async fn clear(tx: &mut Tx, kind: MarkKind) -> Result<(), StoreError> {
    tx.query("DELETE FROM ").push(table(kind).0).execute().await?;
    Ok(())
}
