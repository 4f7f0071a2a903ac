//! Whom a sample stands for: those assigned to its group on its shift date.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::sampling::Sample;
use crate::model::facts::worker::{Assignment, Worker};
use crate::model::identifiers::{GroupId, WorkerId};
use crate::model::version::Version;
use crate::record;
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Where};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use uuid::Uuid;

record! {
    /// A worker for whom a sample stands.
    pub struct Represented {
        /// The worker.
        worker_id: WorkerId,
        /// Name.
        name: String,
        /// Job title then.
        job_title: Option<String>,
        /// Whether it was this worker who wore the sampler.
        sampled: bool,
    }
}

/// `GET /samples/{id}/represents`.
///
/// # Errors
/// [`Refusal::Unknown`] where the sample is not in sight.
pub async fn represents(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    id: Uuid,
) -> Result<Vec<Represented>, Refusal> {
    let scope = caller.may(Action::ReadWorkers)?;
    let sample = recording::read::<Sample>(tx, caller, as_of, id).await?;
    let day = sample.fact.shift_date;
    let mut titles: BTreeMap<Uuid, Option<String>> = BTreeMap::new();
    if let Some(group) = sample.fact.group_id {
        for assignment in assigned_on(tx, as_of, group, day).await? {
            titles.insert(
                assignment.parent.unwrap_or_default(),
                assignment.fact.job_title.as_ref().map(ToString::to_string),
            );
        }
    }
    if let Some(worker) = sample.fact.worker_id {
        let title = sample.fact.job_title.as_ref().map(ToString::to_string);
        let known = titles.entry(worker.0).or_default();
        *known = title.or(known.take());
    }
    // A member of the group with several entries is one member, told under the entry that the reader knows.
    let entries: Vec<Uuid> = titles.keys().copied().collect();
    let persons = persons(tx, as_of, &entries).await?.in_sight(tx, &scope, as_of).await?;
    let mut members: BTreeMap<Uuid, Option<String>> = BTreeMap::new();
    for (entry, title) in titles {
        let known = members.entry(persons.stands_under(entry)).or_default();
        *known = known.take().or(title);
    }
    let sampled = sample.fact.worker_id.map(|worker| persons.worker(worker));
    let ids: Vec<Uuid> = members.keys().copied().collect();
    let workers = gather::many::<Worker>(tx, as_of, &ids, Where::Ids).await?;
    Ok(workers
        .into_iter()
        .map(|worker| Represented {
            worker_id: WorkerId(worker.id),
            name: format!("{} {}", worker.fact.given_name, worker.fact.family_name),
            job_title: members
                .get(&worker.id)
                .cloned()
                .flatten()
                .or_else(|| worker.fact.job_title.as_ref().map(ToString::to_string)),
            sampled: sampled == Some(WorkerId(worker.id)),
        })
        .collect())
}

/// The assignments to a group that hold on a day.
pub(crate) async fn assigned_on(
    tx: &mut Tx,
    as_of: AsOf,
    group: GroupId,
    day: NaiveDate,
) -> Result<Vec<Version<Assignment>>, Refusal> {
    let of_group = [Where::Is("group_id", Key::Id(Some(group.0)))];
    let mut found = gather::all::<Assignment>(tx, as_of, &of_group).await?;
    found.retain(|one| one.fact.from <= day && one.fact.to.is_none_or(|to| day < to));
    Ok(found)
}
