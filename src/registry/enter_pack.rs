//! Enters the built-in agents, limits and clauses in the journal, on the first start of each release that changes them.

use crate::access::caller::Caller;
use crate::model::facts::account::{Grant, Role};
use crate::model::facts::agent::{Agent, Limit};
use crate::model::facts::rules::PackRow;
use crate::model::identifiers::AccountId;
use crate::model::shape::Shape;
use crate::model::text::Code;
use crate::registry::refusal::Refusal;
use crate::registry::writer::{Change, Registry};
use crate::store::marks;
use crate::store::versions::{self, Where};
use crate::surveillance::pack::Pack;
use serde_json::Value;
use std::collections::BTreeMap;
use uuid::Uuid;

/// The registry's own account: it writes what follows from facts.
pub const REGISTRY: AccountId = AccountId(Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0001));
/// The account of whoever works on the database directly.
pub const CONSOLE: AccountId = AccountId(Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0002));

/// The registry as a caller.
pub fn registry_itself() -> Caller {
    let all = |role| Grant { role, site_ids: None };
    Caller { account: REGISTRY, grants: vec![all(Role::Hygienist)], console_user: None }
}

/// Somebody with direct access to the database.
pub fn console(user: &str) -> Caller {
    let all = |role| Grant { role, site_ids: None };
    let grants = vec![all(Role::Administrator), all(Role::Hygienist), all(Role::Corporate)];
    Caller { account: CONSOLE, grants, console_user: Some(user.to_owned()) }
}

impl Registry {
    /// Enters what of the built-in pack the journal does not hold yet, or holds otherwise. Does nothing when all is there.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn enter_pack(&self, pack: &Pack) -> Result<usize, Refusal> {
        let caller = registry_itself();
        let mut change = self.begin_plain(&caller).await?;
        let written = enter_agents(&mut change, pack).await? + enter_rows(&mut change, pack).await?;
        if written > 0 {
            // Rules that changed may change every conclusion; on the first start there is nothing to mark.
            marks::set_all(&mut change.tx, change.position).await?;
            self.commit(change, None).await?;
        }
        Ok(written)
    }
}

async fn enter_agents(change: &mut Change, pack: &Pack) -> Result<usize, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let known: BTreeMap<String, _> = versions::list::<Agent>(&mut change.tx, &scope, as_of, &[], None)
        .await?
        .into_iter()
        .map(|agent| (agent.fact.code.to_string(), agent))
        .collect();
    let mut written = 0;
    for entry in &pack.agents {
        let agent = if let Some(agent) = known.get(entry.agent.code.as_str()) {
            agent.id
        } else {
            written += 1;
            change.add(&scope, None, None, entry.agent.clone()).await?.id
        };
        let of_agent = [Where::Parent(agent)];
        let limits = versions::list::<Limit>(&mut change.tx, &scope, as_of, &of_agent, None).await?;
        for limit in &entry.limits {
            if !limits.iter().any(|held| held.fact == *limit) {
                change.add(&scope, None, Some(agent), limit.clone()).await?;
                written += 1;
            }
        }
    }
    Ok(written)
}

async fn enter_rows(change: &mut Change, pack: &Pack) -> Result<usize, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let held = versions::list::<PackRow>(&mut change.tx, &scope, as_of, &[], None).await?;
    let held: BTreeMap<(String, String), _> =
        held.into_iter().map(|row| ((row.fact.file.to_string(), row.fact.row_id.to_string()), row)).collect();
    let mut written = 0;
    for (file, row_id, columns) in pack.rows() {
        let (Some(file), Some(row_id)) = (Code::new(file), Code::new(&row_id)) else { continue };
        let key = (file.to_string(), row_id.to_string());
        let row = PackRow { row_id, file, columns };
        match held.get(&key) {
            Some(old) if old.fact.columns.to_json() == row.columns => {}
            Some(old) => {
                change.alter(&scope, old, row, None, "replaced by a new release", None).await?;
                written += 1;
            }
            None => {
                change.add(&scope, None, None, row).await?;
                written += 1;
            }
        }
    }
    Ok(written)
}

impl Pack {
    /// Every clause and factor as a row: the file it is from, its id, its columns.
    pub(super) fn rows(&self) -> Vec<(&'static str, String, Value)> {
        let mut rows = Vec::new();
        rows.extend(
            self.surveillance
                .iter()
                .map(|row| ("surveillance_triggers", row.trigger_id.clone(), row.to_json())),
        );
        rows.extend(
            self.details.iter().map(|row| ("surveillance_details", row.detail_id.clone(), row.to_json())),
        );
        rows.extend(
            self.monitoring.iter().map(|row| ("monitoring_triggers", row.rule_id.clone(), row.to_json())),
        );
        rows.extend(
            self.monitoring_readings
                .iter()
                .map(|row| ("monitoring_readings", row.reading_id.clone(), row.to_json())),
        );
        rows.extend(self.respirators.iter().map(|row| ("respirators", row.row_id.clone(), row.to_json())));
        rows.extend(self.controls.iter().map(|row| ("controls", row.row_id.clone(), row.to_json())));
        rows.extend(self.records.iter().map(|row| ("records", row.record_id.clone(), row.to_json())));
        let cover =
            |row: &crate::surveillance::pack::Cover| format!("{} {}", row.rule_agent_code, row.agent_code);
        rows.extend(self.covers().iter().map(|row| ("covers", cover(row), row.to_json())));
        rows
    }
}
