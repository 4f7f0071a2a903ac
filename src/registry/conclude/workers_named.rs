//! Names in a group's profile: put in for the reader who asks, never stored with it.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::workers_apart::WorkersApartView;
use crate::model::facts::worker::Worker;
use crate::model::identifiers::WorkerId;
use crate::model::shape::Shape;
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Where};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Where a profile tells of workers whose own mean is not the group's.
const FIELD: &str = "workers_apart";

/// Names the workers whom the caller sees and leaves out the others, who are only counted.
///
/// # Errors
/// Only when storage fails.
pub async fn name_workers(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    profiles: &mut [Value],
) -> Result<(), Refusal> {
    let told: BTreeSet<WorkerId> = workers_told(profiles);
    let ids: Vec<Uuid> = told.into_iter().map(|worker| worker.0).collect();
    let told = match caller.may(Action::ReadWorkers) {
        Ok(scope) => persons(tx, as_of, &ids).await?.told(tx, &scope, as_of, ids).await?,
        Err(_) => BTreeMap::new(),
    };
    let seen: Vec<Uuid> = told.values().copied().collect();
    let workers = gather::many::<Worker>(tx, as_of, &seen, Where::Ids).await?;
    let names: BTreeMap<Uuid, String> = workers
        .into_iter()
        .map(|worker| (worker.id, format!("{} {}", worker.fact.given_name, worker.fact.family_name)))
        .collect();
    // A profile names whoever has several entries by the one that stays; the reader may know him by another.
    let known: BTreeMap<WorkerId, (WorkerId, String)> = told
        .into_iter()
        .filter_map(|(worker, id)| Some((WorkerId(worker), (WorkerId(id), names.get(&id)?.clone()))))
        .collect();
    for profile in profiles {
        let Some(kept) = profile.get_mut(FIELD) else { continue };
        // What cannot be read is not handed out.
        let view = WorkersApartView::parse(kept).ok().map(|view| for_reader(view, &known));
        *kept = view.map_or(Value::Null, |view| view.to_json());
    }
    Ok(())
}

/// What a reader gets to see who knows these workers by name: of all others their number alone.
fn for_reader(
    mut view: WorkersApartView,
    known: &BTreeMap<WorkerId, (WorkerId, String)>,
) -> WorkersApartView {
    view.items.retain_mut(|item| {
        let Some((id, name)) = known.get(&item.worker_id).cloned() else { return false };
        (item.worker_id, item.name) = (id, Some(name));
        true
    });
    view
}

/// The workers whom these profiles name.
pub fn workers_told(profiles: &[Value]) -> BTreeSet<WorkerId> {
    profiles
        .iter()
        .filter_map(|profile| WorkersApartView::parse(profile.get(FIELD)?).ok())
        .flat_map(|view| view.items)
        .map(|item| item.worker_id)
        .collect()
}
