//! Samples with their events, results and blanks.

use crate::conclusions::evidence::SampleEvidence;
use crate::model::facts::laboratory::LabResult;
use crate::model::facts::sampling::{Position, Sample, SamplingEvent, Shift};
use crate::model::version::Version;
use crate::registry::gather;
use crate::registry::gather::persons::{self, Persons};
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Where};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

type WithResults = (Version<Sample>, Vec<Version<LabResult>>);

/// Gathers what belongs to samples that were found, each with the worker under whom it was recorded. A sample of a void
/// event is void with it: it stays readable, and no conclusion uses it.
pub async fn evidence(
    tx: &mut Tx,
    as_of: AsOf,
    samples: Vec<Version<Sample>>,
) -> Result<Vec<SampleEvidence>, StoreError> {
    let event_ids: BTreeSet<Uuid> = samples.iter().filter_map(|sample| sample.parent).collect();
    let event_ids: Vec<Uuid> = event_ids.into_iter().collect();
    let events: BTreeMap<Uuid, Arc<Version<SamplingEvent>>> =
        gather::many::<SamplingEvent>(tx, as_of, &event_ids, Where::Ids)
            .await?
            .into_iter()
            .map(|event| (event.id, Arc::new(event)))
            .collect();
    let blanks = blanks(tx, as_of, &event_ids).await?;
    let none = Arc::new(Vec::new());
    let with_results = with_results(tx, as_of, samples).await?;
    Ok(with_results
        .into_iter()
        .filter_map(|(mut sample, results)| {
            let event = Arc::clone(events.get(&sample.parent.unwrap_or_default())?);
            if let (None, Some(reason)) = (&sample.voided, &event.voided) {
                sample.voided = Some(reason.clone());
            }
            let blanks = Arc::clone(blanks.get(&event.id).unwrap_or(&none));
            Some(SampleEvidence { sample, event, results, blanks })
        })
        .collect())
}

async fn with_results(
    tx: &mut Tx,
    as_of: AsOf,
    samples: Vec<Version<Sample>>,
) -> Result<Vec<WithResults>, StoreError> {
    let ids: Vec<Uuid> = samples.iter().map(|sample| sample.id).collect();
    let mut results: BTreeMap<Uuid, Vec<Version<LabResult>>> = BTreeMap::new();
    for result in gather::many::<LabResult>(tx, as_of, &ids, |ids| Where::IsOneOf("sample_id", ids)).await? {
        results.entry(result.fact.sample_id.0).or_default().push(result);
    }
    Ok(samples
        .into_iter()
        .map(|sample| (sample.id, sample))
        .map(|(id, sample)| (sample, results.remove(&id).unwrap_or_default()))
        .collect())
}

async fn blanks(
    tx: &mut Tx,
    as_of: AsOf,
    events: &[Uuid],
) -> Result<BTreeMap<Uuid, Arc<Vec<WithResults>>>, StoreError> {
    let mut found = Vec::new();
    for event in events {
        let blank = Position::FieldBlank.as_str().to_owned();
        let of_event = [Where::Parent(*event), Where::Is("position", Key::Text(Some(blank)))];
        found.extend(gather::all::<Sample>(tx, as_of, &of_event).await?);
    }
    let mut by_event: BTreeMap<Uuid, Vec<WithResults>> = BTreeMap::new();
    for (blank, results) in with_results(tx, as_of, found).await? {
        by_event.entry(blank.parent.unwrap_or_default()).or_default().push((blank, results));
    }
    Ok(by_event.into_iter().map(|(event, blanks)| (event, Arc::new(blanks))).collect())
}

/// Samples by a look-up column, void ones too (a profile says how many were left out that way). Whoever wore the sampler
/// stands under the entry of the person that stays.
pub async fn by(
    tx: &mut Tx,
    as_of: AsOf,
    column: &'static str,
    ids: &[Uuid],
) -> Result<Vec<SampleEvidence>, StoreError> {
    let samples = gather::many::<Sample>(tx, as_of, ids, |ids| Where::IsOneOf(column, ids)).await?;
    let found = evidence(tx, as_of, samples).await?;
    let persons = persons::persons(tx, as_of, &workers_named(&found)).await?;
    Ok(of_persons(found, &persons))
}

/// The samples of workers, under whichever of their entries these were recorded.
pub async fn of_workers(
    tx: &mut Tx,
    as_of: AsOf,
    workers: &[Uuid],
) -> Result<Vec<SampleEvidence>, StoreError> {
    let persons = persons::persons(tx, as_of, workers).await?;
    by(tx, as_of, "worker_id", &persons.entries(workers.iter().copied())).await
}

/// The samples of a person as far as they were recorded under these entries.
pub async fn of_person(
    tx: &mut Tx,
    as_of: AsOf,
    known: &Persons,
    entries: &[Uuid],
) -> Result<Vec<SampleEvidence>, StoreError> {
    let samples = gather::many::<Sample>(tx, as_of, entries, |ids| Where::IsOneOf("worker_id", ids)).await?;
    Ok(of_persons(evidence(tx, as_of, samples).await?, known))
}

fn workers_named(found: &[SampleEvidence]) -> Vec<Uuid> {
    let sampled = found.iter().filter_map(|one| one.sample.fact.worker_id);
    let shifts = found.iter().flat_map(|one| one.event.fact.shifts.iter().flatten());
    let named: BTreeSet<Uuid> = sampled.chain(shifts.map(|shift| shift.worker_id)).map(|id| id.0).collect();
    named.into_iter().collect()
}

/// The same with every worker under the entry of the person that stays.
fn of_persons(mut found: Vec<SampleEvidence>, persons: &Persons) -> Vec<SampleEvidence> {
    if persons.is_empty() {
        return found;
    }
    for one in &mut found {
        let sample = &mut one.sample.fact;
        sample.worker_id = sample.worker_id.map(|worker| persons.worker(worker));
        let named = |shift: &Shift| persons.worker(shift.worker_id) != shift.worker_id;
        if one.event.fact.shifts.iter().flatten().any(named) {
            let event = Arc::make_mut(&mut one.event);
            for shift in event.fact.shifts.iter_mut().flatten() {
                shift.worker_id = persons.worker(shift.worker_id);
            }
        }
    }
    found
}

/// The samples of a group, and those of the same workers on the same dates in other groups: how long a shift was is
/// seen over all of them.
pub async fn of_group(
    tx: &mut Tx,
    as_of: AsOf,
    group: Uuid,
) -> Result<(Vec<SampleEvidence>, Vec<SampleEvidence>), StoreError> {
    let own = by(tx, as_of, "group_id", &[group]).await?;
    let days: BTreeSet<_> = own
        .iter()
        .filter_map(|found| Some((found.sample.fact.worker_id?, found.sample.fact.shift_date)))
        .collect();
    let workers: Vec<Uuid> = days.iter().map(|(worker, _)| worker.0).collect();
    let others = of_workers(tx, as_of, &workers).await?;
    let elsewhere = others
        .into_iter()
        .filter(|other| {
            let sample = &other.sample.fact;
            sample.group_id.map(|id| id.0) != Some(group)
                && sample.worker_id.is_some_and(|worker| days.contains(&(worker, sample.shift_date)))
        })
        .collect();
    Ok((own, elsewhere))
}
