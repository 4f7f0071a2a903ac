//! Look-ups over samples and their results that touch several tables at once.

use crate::store::backend::Tx;
use crate::store::error::StoreError;
use chrono::NaiveDate;
use std::collections::BTreeSet;
use uuid::Uuid;

/// Group, task and worker of every sample with a result of an agent.
pub async fn measured_with(
    tx: &mut Tx,
    agent: &str,
    position: i64,
) -> Result<BTreeSet<(Option<Uuid>, Option<Uuid>, Option<Uuid>)>, StoreError> {
    let rows: Vec<(Option<Uuid>, Option<Uuid>, Option<Uuid>)> = tx
        .query(
            "SELECT DISTINCT s.group_id, s.task_id, s.worker_id FROM lab_result r \
             JOIN sample s ON s.id = r.sample_id AND s.known_from <= $1 AND s.known_to > $1 \
             WHERE r.known_from <= $1 AND r.known_to > $1 AND r.agent_code = $2",
        )
        .bind(position)
        .bind(agent.to_owned())
        .fetch_all()
        .await?;
    Ok(rows.into_iter().collect())
}

/// The agents with results among samples whose column holds an identifier, in order of their codes.
async fn agents(
    tx: &mut Tx,
    column: &'static str,
    subject: Uuid,
    position: i64,
) -> Result<Vec<String>, StoreError> {
    let rows: Vec<(String,)> = tx
        .query(
            "SELECT DISTINCT r.agent_code FROM sample s \
             JOIN lab_result r ON r.sample_id = s.id AND r.known_from <= $1 AND r.known_to > $1 \
             WHERE s.known_from <= $1 AND s.known_to > $1 AND s.",
        )
        .push(column)
        .push(" = $2 ORDER BY 1")
        .bind(position)
        .bind(subject)
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(code,)| code).collect())
}

/// The agents for which a group has results.
pub async fn agents_of_group(tx: &mut Tx, group: Uuid, position: i64) -> Result<Vec<String>, StoreError> {
    agents(tx, "group_id", group, position).await
}

/// The agents for which a task has results.
pub async fn agents_of_task(tx: &mut Tx, task: Uuid, position: i64) -> Result<Vec<String>, StoreError> {
    agents(tx, "task_id", task, position).await
}

/// The agents measured on a worker's own samples.
pub async fn agents_on_worker(tx: &mut Tx, worker: Uuid, position: i64) -> Result<Vec<String>, StoreError> {
    agents(tx, "worker_id", worker, position).await
}

/// The agents measured on a worker's own samples, or measured or expected in any group that he was ever assigned to or
/// worked a recorded day in. Void assignments and days count too: what was concluded from them must be concluded afresh.
pub async fn agents_of_worker(tx: &mut Tx, worker: Uuid, position: i64) -> Result<Vec<String>, StoreError> {
    // Three look-ups in one, each by its index: as one condition with OR they would read every sample there is. What is
    // expected and not measured is a day that nobody has assessed.
    let rows: Vec<(String,)> = tx
        .query(
            "WITH his (group_id) AS (SELECT a.group_id FROM assignment a WHERE a.parent_id = $2 \
             AND a.known_from <= $1 AND a.known_to > $1 UNION SELECT d.group_id FROM worked_day d \
             WHERE d.parent_id = $2 AND d.known_from <= $1 AND d.known_to > $1) \
             SELECT r.agent_code FROM sample s \
             JOIN lab_result r ON r.sample_id = s.id AND r.known_from <= $1 AND r.known_to > $1 \
             WHERE s.known_from <= $1 AND s.known_to > $1 AND s.worker_id = $2 \
             UNION SELECT r.agent_code FROM his JOIN sample s ON s.group_id = his.group_id \
             JOIN lab_result r ON r.sample_id = s.id AND r.known_from <= $1 AND r.known_to > $1 \
             WHERE s.known_from <= $1 AND s.known_to > $1 \
             UNION SELECT e.agent_code FROM his JOIN expected_agent e ON e.parent_id = his.group_id \
             WHERE e.known_from <= $1 AND e.known_to > $1 ORDER BY 1",
        )
        .bind(position)
        .bind(worker)
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(code,)| code).collect())
}

/// Everybody who was ever assigned to a group, worked a recorded day in it or was sampled in it, void or not.
pub async fn workers_of_group(tx: &mut Tx, group: Uuid, position: i64) -> Result<Vec<Uuid>, StoreError> {
    let rows: Vec<(Uuid,)> = tx
        .query(
            "SELECT parent_id FROM assignment WHERE group_id = $2 AND known_from <= $1 AND known_to > $1 \
             UNION SELECT parent_id FROM worked_day WHERE group_id = $2 AND known_from <= $1 AND known_to > $1 \
             UNION SELECT worker_id FROM sample WHERE group_id = $2 AND worker_id IS NOT NULL \
             AND known_from <= $1 AND known_to > $1 ORDER BY 1",
        )
        .bind(position)
        .bind(group)
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(worker,)| worker).collect())
}

/// The groups in which a worker was sampled on a date.
pub async fn groups_of_shift(
    tx: &mut Tx,
    worker: Uuid,
    date: NaiveDate,
    position: i64,
) -> Result<Vec<Uuid>, StoreError> {
    let rows: Vec<(Uuid,)> = tx
        .query(
            "SELECT DISTINCT group_id FROM sample WHERE worker_id = $2 AND shift_date = $3 \
             AND known_from <= $1 AND known_to > $1 AND group_id IS NOT NULL ORDER BY 1",
        )
        .bind(position)
        .bind(worker)
        .bind(date)
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(group,)| group).collect())
}

/// The groups of a site with samples that name a control, whether or not it ever stood on a task of theirs.
pub async fn groups_naming_control(
    tx: &mut Tx,
    site: Uuid,
    control: Uuid,
    position: i64,
) -> Result<Vec<Uuid>, StoreError> {
    let rows: Vec<(Uuid,)> = tx
        .query(
            "SELECT DISTINCT group_id FROM sample WHERE site_id = $2 AND known_from <= $1 AND known_to > $1 \
             AND group_id IS NOT NULL AND body LIKE $3 ORDER BY 1",
        )
        .bind(position)
        .bind(site)
        .bind(format!("%{control}%"))
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(group,)| group).collect())
}
