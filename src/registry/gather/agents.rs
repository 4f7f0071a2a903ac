//! Agents with their limits, and the clauses that were known.

use crate::conclusions::limits::AgentEvidence;
use crate::model::facts::agent::{Agent, Limit};
use crate::model::facts::clause::Clause;
use crate::model::facts::rules::{ComparedWith, PackRow};
use crate::model::version::Version;
use crate::registry::gather;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::{Key, Stored as _};
use crate::store::versions::{self, AsOf, Where};
use crate::surveillance::pack::Pack;
use std::sync::Arc;
use tokio::sync::Mutex;
use uuid::Uuid;

/// An agent by its code.
pub async fn agent(tx: &mut Tx, as_of: AsOf, code: &str) -> Result<Option<AgentEvidence>, StoreError> {
    let of_code = [Where::Is("code", Key::Text(Some(code.to_owned())))];
    match gather::all::<Agent>(tx, as_of, &of_code).await?.pop() {
        Some(agent) => with_limits(tx, as_of, agent).await.map(Some),
        None => Ok(None),
    }
}

async fn with_limits(tx: &mut Tx, as_of: AsOf, agent: Version<Agent>) -> Result<AgentEvidence, StoreError> {
    let mut limits = gather::all::<Limit>(tx, as_of, &[Where::Parent(agent.id)]).await?;
    // Those of single sites stand under their site and name the agent.
    let of_code = [Where::Is("agent_code", Key::Text(Some(agent.fact.code.to_string())))];
    limits.extend(gather::all::<Limit>(tx, as_of, &of_code).await?);
    // A total is compared with the limit rows a hygienist names; the latest naming counts.
    if let Some(named) = gather::all::<ComparedWith>(tx, as_of, &[Where::Parent(agent.id)]).await?.pop() {
        let ids: Vec<Uuid> = named.fact.limit_ids.iter().map(|id| id.0).collect();
        limits.extend(
            gather::many::<Limit>(tx, as_of, &ids, Where::Ids).await?.into_iter().filter(Version::stands),
        );
    }
    Ok(AgentEvidence::new(agent, limits))
}

/// Several agents by their codes, in order of the codes.
pub async fn agents(
    tx: &mut Tx,
    as_of: AsOf,
    codes: impl IntoIterator<Item = String>,
) -> Result<Vec<AgentEvidence>, StoreError> {
    let mut codes: Vec<String> = codes.into_iter().collect();
    codes.sort_unstable();
    codes.dedup();
    let mut found = Vec::with_capacity(codes.len());
    for code in codes {
        found.extend(agent(tx, as_of, &code).await?);
    }
    Ok(found)
}

/// The clauses about an agent of authorities other than the law that comes with the program, whenever in force.
pub async fn clauses_of_others(
    tx: &mut Tx,
    as_of: AsOf,
    code: &str,
) -> Result<Vec<Version<Clause>>, StoreError> {
    let of_code = [Where::Is("agent_code", Key::Text(Some(code.to_owned())))];
    let mut clauses = gather::all::<Clause>(tx, as_of, &of_code).await?;
    clauses.retain(Version::stands);
    Ok(clauses)
}

/// The clauses and factors as they were known.
pub async fn pack(tx: &mut Tx, as_of: AsOf) -> Result<Pack, StoreError> {
    let rows = gather::all::<PackRow>(tx, as_of, &[]).await?;
    let of_file = |file: &str| -> Vec<serde_json::Value> {
        rows.iter().filter(|row| row.fact.file.as_str() == file).map(|row| row.fact.columns.clone()).collect()
    };
    Pack::of_rows(of_file).map_err(StoreError::Damaged)
}

/// The clauses as they were last read: hundreds of rows that change with a release.
#[derive(Debug, Default)]
pub struct KeptPack(Mutex<Option<(i64, Arc<Pack>)>>);

impl KeptPack {
    /// The clauses as they are known: read anew only where a row was written since.
    pub async fn read(&self, tx: &mut Tx, as_of: AsOf) -> Result<Arc<Pack>, StoreError> {
        let written = versions::last_written(tx, PackRow::TABLE, as_of.position).await?;
        let mut kept = self.0.lock().await;
        if let Some((position, pack)) = &*kept
            && *position == written
        {
            return Ok(Arc::clone(pack));
        }
        let pack = Arc::new(pack(tx, as_of).await?);
        *kept = Some((written, Arc::clone(&pack)));
        Ok(pack)
    }
}
