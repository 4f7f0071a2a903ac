//! Marks: what a fact has made stale, with the position from which it is wanted afresh.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Stands for every agent of a subject; whoever follows the mark spreads it over the agents that occur there.
pub const EVERY_AGENT: &str = "*";

/// Which derived table a mark is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MarkKind {
    /// A group and an agent: `group_profile`.
    Profile,
    /// A task and an agent: `control_verdict`.
    Verdict,
    /// A worker and an agent: `worker_shifts`.
    Shifts,
    /// A worker and an agent: `worker_summary`, and the duties that follow from it.
    Summary,
}

impl MarkKind {
    /// Every kind.
    pub const ALL: [Self; 4] = [Self::Profile, Self::Verdict, Self::Shifts, Self::Summary];

    /// The word in the table.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Profile => "profile",
            Self::Verdict => "verdict",
            Self::Shifts => "shifts",
            Self::Summary => "summary",
        }
    }

    fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }
}

/// One thing to be computed afresh.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mark {
    /// What.
    pub kind: MarkKind,
    /// The group, task or worker.
    pub subject: Uuid,
    /// The agent's code.
    pub agent: String,
}

/// Sets a mark, or moves it on; never back, for another fact may have wanted it later meanwhile.
pub async fn set(tx: &mut Tx, mark: &Mark, wanted: i64) -> Result<(), StoreError> {
    tx.query(
        "INSERT INTO mark (kind, subject_id, agent_code, wanted) VALUES ($1, $2, $3, $4) \
         ON CONFLICT (kind, subject_id, agent_code) DO UPDATE \
         SET wanted = CASE WHEN mark.wanted > excluded.wanted THEN mark.wanted ELSE excluded.wanted END",
    )
    .bind(mark.kind.as_str())
    .bind(mark.subject)
    .bind(mark.agent.clone())
    .bind(wanted)
    .execute()
    .await?;
    Ok(())
}

/// Marks every group, task and worker there ever was.
pub async fn set_all(tx: &mut Tx, wanted: i64) -> Result<(), StoreError> {
    for (kind, facts) in [
        (MarkKind::Profile, "exposure_group"),
        (MarkKind::Verdict, "task"),
        (MarkKind::Shifts, "worker"),
        (MarkKind::Summary, "worker"),
    ] {
        tx.query("INSERT INTO mark (kind, subject_id, agent_code, wanted) SELECT DISTINCT ")
            .push_bind(kind.as_str())
            .push(", id, ")
            .push_bind(EVERY_AGENT)
            .push(", ")
            .push_bind(wanted)
            .push(" FROM ")
            .push(facts)
            .push(
                " WHERE TRUE ON CONFLICT (kind, subject_id, agent_code) \
                 DO UPDATE SET wanted = excluded.wanted, leased_until = NULL",
            )
            .execute()
            .await?;
    }
    Ok(())
}

/// Whether something is marked, for its agent or for every one.
pub async fn is_set(tx: &mut Tx, mark: &Mark) -> Result<bool, StoreError> {
    let row: Option<(i64,)> = tx
        .query("SELECT wanted FROM mark WHERE kind = ")
        .push_bind(mark.kind.as_str())
        .push(" AND subject_id = ")
        .push_bind(mark.subject)
        .push(" AND agent_code IN ")
        .push_list([mark.agent.clone(), EVERY_AGENT.to_owned()])
        .push(" LIMIT 1")
        .fetch_optional()
        .await?;
    Ok(row.is_some())
}

/// The marks to follow next, of one kind: shifts and profiles before what rests on them. Free ones only; they are
/// leased until `until`.
pub async fn claim(
    tx: &mut Tx,
    now: DateTime<Utc>,
    until: DateTime<Utc>,
    at_once: i64,
) -> Result<Vec<Mark>, StoreError> {
    let rows: Vec<(String, Uuid, String)> = tx
        .query("SELECT kind, subject_id, agent_code FROM mark WHERE leased_until IS NULL OR leased_until < ")
        .push_bind(now)
        .push(
            " ORDER BY CASE kind WHEN 'shifts' THEN 1 WHEN 'profile' THEN 2 WHEN 'verdict' THEN 3 ELSE 4 END, \
             subject_id, agent_code LIMIT ",
        )
        .push_bind(at_once)
        .fetch_all()
        .await?;
    let mut claimed: Vec<Mark> = Vec::with_capacity(rows.len());
    for (word, subject, agent) in rows {
        let kind =
            MarkKind::from_word(&word).ok_or_else(|| StoreError::Damaged(format!("mark of kind {word}")))?;
        if claimed.first().is_some_and(|first| first.kind != kind) {
            break;
        }
        let taken = tx
            .query("UPDATE mark SET leased_until = ")
            .push_bind(until)
            .push(" WHERE kind = ")
            .push_bind(word)
            .push(" AND subject_id = ")
            .push_bind(subject)
            .push(" AND agent_code = ")
            .push_bind(agent.clone())
            .push(" AND (leased_until IS NULL OR leased_until < ")
            .push_bind(now)
            .push(")")
            .execute()
            .await?;
        if taken == 1 {
            claimed.push(Mark { kind, subject, agent });
        }
    }
    Ok(claimed)
}

/// Takes a mark away that is wanted no later than `position`; gives a newer one free again.
pub async fn clear(tx: &mut Tx, mark: &Mark, position: i64) -> Result<(), StoreError> {
    let gone = tx
        .query("DELETE FROM mark WHERE wanted <= ")
        .push_bind(position)
        .push(" AND kind = ")
        .push_bind(mark.kind.as_str())
        .push(" AND subject_id = ")
        .push_bind(mark.subject)
        .push(" AND agent_code = ")
        .push_bind(mark.agent.clone())
        .execute()
        .await?;
    if gone == 0 {
        tx.query("UPDATE mark SET leased_until = NULL WHERE kind = ")
            .push_bind(mark.kind.as_str())
            .push(" AND subject_id = ")
            .push_bind(mark.subject)
            .push(" AND agent_code = ")
            .push_bind(mark.agent.clone())
            .execute()
            .await?;
    }
    Ok(())
}

/// How many marks there are.
pub async fn count(tx: &mut Tx) -> Result<i64, StoreError> {
    let (marks,): (i64,) = tx.query("SELECT count(*) FROM mark").fetch_one().await?;
    Ok(marks)
}
