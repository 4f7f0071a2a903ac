//! A worker with employments, assignments and days.

use crate::model::facts::site::Site;
use crate::model::facts::worker::{Absence, Assignment, Employment, WorkedDay, Worker};
use crate::model::version::Version;
use crate::registry::gather;
use crate::registry::gather::persons::{self, Person};
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::versions::{AsOf, Where};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A worker and everything that says where he worked when.
#[derive(Debug, Clone)]
pub struct WorkerEvidence {
    /// Which entries these facts were recorded under.
    pub person: Person,
    /// The worker.
    pub worker: Version<Worker>,
    /// Employments, by first day.
    pub employments: Vec<Version<Employment>>,
    /// Assignments, by first day.
    pub assignments: Vec<Version<Assignment>>,
    /// Recorded days.
    pub worked_days: Vec<Version<WorkedDay>>,
    /// Absences.
    pub absences: Vec<Version<Absence>>,
    /// The sites of the assignments.
    pub sites: Vec<Version<Site>>,
}

/// Gathers the person behind an entry.
pub async fn worker(tx: &mut Tx, as_of: AsOf, id: Uuid) -> Result<Option<WorkerEvidence>, StoreError> {
    let person = persons::person(tx, as_of, id).await?;
    of_person(tx, as_of, person).await
}

/// Gathers a person by these entries alone.
pub async fn of_person(
    tx: &mut Tx,
    as_of: AsOf,
    person: Person,
) -> Result<Option<WorkerEvidence>, StoreError> {
    let Some(worker) = gather::one::<Worker>(tx, as_of, person.id).await? else { return Ok(None) };
    let of_worker = [Where::Parents(person.entries())];
    let mut employments = gather::all::<Employment>(tx, as_of, &of_worker).await?;
    employments.sort_by_key(|employment| (employment.fact.from, employment.id));
    let mut assignments = gather::all::<Assignment>(tx, as_of, &of_worker).await?;
    assignments.sort_by_key(|assignment| (assignment.fact.from, assignment.id));
    let site_ids: Vec<Uuid> =
        assignments.iter().filter_map(|assignment| assignment.site).map(|site| site.0).collect();
    let mut worked_days = gather::all::<WorkedDay>(tx, as_of, &of_worker).await?;
    // A day in a group that was recorded under two entries is one day.
    let mut known = BTreeSet::new();
    worked_days.retain(|day| known.insert((day.fact.date, day.fact.group_id)));
    Ok(Some(WorkerEvidence {
        person,
        worked_days,
        absences: gather::all::<Absence>(tx, as_of, &of_worker).await?,
        sites: gather::many::<Site>(tx, as_of, &site_ids, Where::Ids).await?,
        worker,
        employments,
        assignments,
    }))
}

impl WorkerEvidence {
    /// The day after the latest local date over the worker's sites: the first day nothing is known of yet.
    pub fn horizon(&self, now: DateTime<Utc>) -> NaiveDate {
        let local = self.sites.iter().map(|site| now.with_timezone(&site.fact.time_zone.0).date_naive());
        let today = local.max().unwrap_or_else(|| now.date_naive());
        today.succ_opt().unwrap_or(today)
    }
}
