//! Look-ups of what concerns a worker without having been measured on him.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use uuid::Uuid;

/// The agents of the conditions of every group that a worker was ever assigned to or worked a recorded day in, void or not.
pub async fn agents_of_conditions(
    tx: &mut Tx,
    worker: Uuid,
    position: i64,
) -> Result<Vec<String>, StoreError> {
    let rows: Vec<(String,)> = tx
        .query(
            "SELECT DISTINCT c.agent_code FROM group_condition c \
             WHERE c.known_from <= $1 AND c.known_to > $1 AND c.parent_id IN ( \
             SELECT a.group_id FROM assignment a WHERE a.parent_id = $2 AND a.known_from <= $1 AND a.known_to > $1 \
             UNION SELECT d.group_id FROM worked_day d \
             WHERE d.parent_id = $2 AND d.known_from <= $1 AND d.known_to > $1) ORDER BY 1",
        )
        .bind(position)
        .bind(worker)
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(code,)| code).collect())
}

/// The releases that name a worker, and those on any site that he was ever assigned to, void or not.
pub async fn releases_of_worker(tx: &mut Tx, worker: Uuid, position: i64) -> Result<Vec<Uuid>, StoreError> {
    let rows: Vec<(Uuid,)> = tx
        .query(
            "SELECT r.id FROM plant_release r WHERE r.known_from <= $1 AND r.known_to > $1 AND (r.body LIKE $3 \
             OR r.site_id IN (SELECT a.site_id FROM assignment a \
             WHERE a.parent_id = $2 AND a.known_from <= $1 AND a.known_to > $1)) ORDER BY 1",
        )
        .bind(position)
        .bind(worker)
        .bind(format!("%{worker}%"))
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(id,)| id).collect())
}

/// The groups that a worker was ever assigned to or worked a recorded day in, void or not.
pub async fn groups_of_worker(tx: &mut Tx, worker: Uuid, position: i64) -> Result<Vec<Uuid>, StoreError> {
    let rows: Vec<(Uuid,)> = tx
        .query(
            "SELECT group_id FROM assignment WHERE parent_id = $2 AND known_from <= $1 AND known_to > $1 \
             UNION SELECT group_id FROM worked_day WHERE parent_id = $2 AND known_from <= $1 AND known_to > $1 \
             ORDER BY 1",
        )
        .bind(position)
        .bind(worker)
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(group,)| group).collect())
}
