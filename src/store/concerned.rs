//! Look-ups of what concerns a worker without having been measured on him.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::marks::EVERY_AGENT;
use uuid::Uuid;

/// The groups and sites of a worker, as the table `his`: where he was ever assigned, worked a recorded day or was sampled,
/// void or not. `$1` is the position, `$2` the worker; each part is found by its index.
macro_rules! with_his {
    ($query:literal) => {
        concat!(
            "WITH his (group_id, site_id) AS ( \
             SELECT group_id, site_id FROM assignment WHERE parent_id = $2 AND known_from <= $1 AND known_to > $1 \
             UNION SELECT group_id, site_id FROM worked_day \
             WHERE parent_id = $2 AND known_from <= $1 AND known_to > $1 \
             UNION SELECT group_id, site_id FROM sample \
             WHERE worker_id = $2 AND known_from <= $1 AND known_to > $1) ",
            $query
        )
    };
}

/// The agents of the conditions of every group of a worker, void or not.
pub async fn agents_of_conditions(
    tx: &mut Tx,
    worker: Uuid,
    position: i64,
) -> Result<Vec<String>, StoreError> {
    let rows: Vec<(String,)> = tx
        .query(with_his!(
            "SELECT DISTINCT c.agent_code FROM his JOIN group_condition c ON c.parent_id = his.group_id \
             WHERE c.known_from <= $1 AND c.known_to > $1 ORDER BY 1"
        ))
        .bind(position)
        .bind(worker)
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(code,)| code).collect())
}

/// The releases that name a worker, and those on any of his sites, void or not.
pub async fn releases_of_worker(tx: &mut Tx, worker: Uuid, position: i64) -> Result<Vec<Uuid>, StoreError> {
    let rows: Vec<(Uuid,)> = tx
        .query(with_his!(
            "SELECT r.id FROM plant_release r WHERE r.known_from <= $1 AND r.known_to > $1 \
             AND (r.body LIKE $3 OR r.site_id IN (SELECT site_id FROM his)) ORDER BY 1"
        ))
        .bind(position)
        .bind(worker)
        .bind(format!("%{worker}%"))
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(id,)| id).collect())
}

/// The groups of a worker, void or not.
pub async fn groups_of_worker(tx: &mut Tx, worker: Uuid, position: i64) -> Result<Vec<Uuid>, StoreError> {
    let rows: Vec<(Uuid,)> = tx
        .query(with_his!("SELECT DISTINCT group_id FROM his WHERE group_id IS NOT NULL ORDER BY 1"))
        .bind(position)
        .bind(worker)
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(group,)| group).collect())
}

/// Whether what a group of a worker shows of an agent is marked stale: whatever rests on where the group stands then is too,
/// before the mark of the worker himself is set.
pub async fn a_group_is_marked(
    tx: &mut Tx,
    worker: Uuid,
    agent_code: &str,
    position: i64,
) -> Result<bool, StoreError> {
    let row: Option<(i64,)> = tx
        .query(with_his!(
            "SELECT m.wanted FROM his JOIN mark m ON m.subject_id = his.group_id \
             WHERE m.kind = 'profile' AND m.agent_code IN ($3, $4) LIMIT 1"
        ))
        .bind(position)
        .bind(worker)
        .bind(agent_code)
        .bind(EVERY_AGENT)
        .fetch_optional()
        .await?;
    Ok(row.is_some())
}
