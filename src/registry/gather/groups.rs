//! A group and everything that cuts its eras.

use crate::conclusions::evidence::GroupEvidence;
use crate::model::facts::control::{Control, ControlPeriod, Task};
use crate::model::facts::group::{Group, GroupChange, JoinedEra};
use crate::model::facts::site::{RuleSetChange, Site};
use crate::registry::gather;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Where};
use uuid::Uuid;

/// Gathers a group; `None` where there is none, or its site is not known.
pub async fn group(tx: &mut Tx, as_of: AsOf, id: Uuid) -> Result<Option<GroupEvidence>, StoreError> {
    let Some(group) = gather::one::<Group>(tx, as_of, id).await? else { return Ok(None) };
    let site_id = group.site.map_or_else(Uuid::nil, |site| site.0);
    let Some(site) = gather::one::<Site>(tx, as_of, site_id).await? else { return Ok(None) };
    let tasks = gather::all::<Task>(tx, as_of, &[Where::Is("group_id", Key::Id(Some(id)))]).await?;
    let task_ids: Vec<Uuid> = tasks.iter().map(|task| task.id).collect();
    let periods = gather::all::<ControlPeriod>(tx, as_of, &[Where::Parents(task_ids)]).await?;
    // A plant has few controls; all of them are at hand for those that samples name.
    let controls = gather::all::<Control>(tx, as_of, &[Where::Parent(site_id)]).await?;
    Ok(Some(GroupEvidence {
        changes: gather::all::<GroupChange>(tx, as_of, &[Where::Parent(id)]).await?,
        joined: gather::all::<JoinedEra>(tx, as_of, &[Where::Parent(id)]).await?,
        site_rule_sets: gather::all::<RuleSetChange>(tx, as_of, &[Where::Parent(site_id)]).await?,
        group_rule_sets: gather::all::<RuleSetChange>(tx, as_of, &[Where::Parent(id)]).await?,
        site,
        group,
        tasks,
        periods,
        controls,
    }))
}

/// Several groups.
pub async fn groups(
    tx: &mut Tx,
    as_of: AsOf,
    ids: impl IntoIterator<Item = Uuid>,
) -> Result<Vec<GroupEvidence>, StoreError> {
    let mut ids: Vec<Uuid> = ids.into_iter().collect();
    ids.sort_unstable();
    ids.dedup();
    let mut found = Vec::with_capacity(ids.len());
    for id in ids {
        found.extend(group(tx, as_of, id).await?);
    }
    Ok(found)
}
