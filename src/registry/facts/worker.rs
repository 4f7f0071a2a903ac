//! Workers, employments, assignments and days.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::control::{Control, ControlKind};
use crate::model::facts::group::Group;
use crate::model::facts::sampling::Sample;
use crate::model::facts::worker::{
    Absence, Assignment, EarlierExposure, Employment, Relation, RespiratorConfirmation, WorkedDay, Worker,
    WorkerDraft,
};
use crate::model::identifiers::WorkerId;
use crate::model::shape::{Faults, Shape};
use crate::model::version::Version;
use crate::registry::correcting::{Referrer, referrers, touches};
use crate::registry::facts::{alias, refer};
use crate::registry::place::{Place, Under};
use crate::registry::reach::{self, Reach};
use crate::registry::recording::{self, Recorded};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::Key;
use crate::store::versions::{self, AsOf, Where};
use chrono::NaiveDate;
use serde_json::{Map, Value};
use uuid::Uuid;

/// More shifts a week than this are remarked upon.
const SHIFTS_OF_A_WEEK: f64 = 7.0;

fn of_worker(place: &Place) -> Vec<Reach> {
    place.parent.map(|worker| Reach::Worker(WorkerId(worker))).into_iter().collect()
}

impl Recorded for Worker {
    const UNDER: Under = Under::Nothing;
    const RECORD: Action = Action::RecordWorkers;
    const READ: Action = Action::ReadWorkers;
    const FIXED: &'static [(&'static str, &'static str)] =
        &[("entered_by", "is the account that entered the worker")];

    async fn follow_voiding(version: &Version<Self>, _: i64, change: &mut Change) -> Result<(), Refusal> {
        if version.stands() { Ok(()) } else { alias::must_stand_alone(change, version.id).await }
    }
}

/// Enters a worker: the person and the first employment, in one request.
///
/// # Errors
/// Every fault in it, or a conflict when employer and number are known already.
pub async fn enter(
    change: &mut Change,
    body: &Value,
) -> Result<(Version<Worker>, Version<Employment>), Refusal> {
    let scope = change.caller.may(Action::RecordWorkers)?;
    let draft = WorkerDraft::parse(body)?;
    let mut faults = Faults::default();
    if draft.left_on.is_some_and(|left| left < draft.hired_on) {
        faults.note("/left_on", "must not be before hired_on");
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let person = Worker {
        given_name: draft.given_name,
        family_name: draft.family_name,
        job_title: draft.job_title,
        entered_by: change.caller.account,
    };
    let worker = change.add(&scope, None, None, person).await?;
    let employment = Employment {
        employer: draft.employer,
        employee_number: draft.employee_number,
        relation: draft.relation.unwrap_or(Relation::Own),
        from: draft.hired_on,
        to: draft.left_on.and_then(|left| left.succ_opt()),
    };
    let employment = change
        .add(&scope, None, Some(worker.id), employment)
        .await
        .map_err(recording::taken::<Employment>)?;
    reach::mark(change, worker.id, &[Reach::Worker(WorkerId(worker.id))]).await?;
    Ok((worker, employment))
}

/// A worker as an answer shows him: the person with his employments, the first one's fields beside.
pub fn view(worker: &Version<Worker>, employments: &[Version<Employment>]) -> Value {
    let mut view = recording::view(worker);
    if let Some(first) = employments.iter().find(|employment| employment.stands()) {
        view["employer"] = first.fact.employer.to_json();
        view["employee_number"] = first.fact.employee_number.to_json();
        view["relation"] = first.fact.relation.to_json();
        view["hired_on"] = first.fact.from.to_json();
        if let Some(left) = first.fact.to.and_then(|to| to.pred_opt()) {
            view["left_on"] = left.to_json();
        }
    }
    view["employments"] = employments.iter().map(recording::view).collect();
    view
}

/// The employments of workers, in order of their first days.
pub async fn employments(
    tx: &mut Tx,
    scope: &Scope,
    as_of: AsOf,
    workers: Vec<Uuid>,
) -> Result<Vec<Version<Employment>>, StoreError> {
    let mut found =
        versions::list::<Employment>(tx, scope, as_of, &[Where::Parents(workers), Where::Standing], None)
            .await?;
    found.sort_by_key(|employment| (employment.fact.from, employment.id));
    Ok(found)
}

/// The first day of a span on which a worker is not employed, if there is one.
async fn first_day_not_employed(
    change: &mut Change,
    worker: Uuid,
    from: NaiveDate,
    to: Option<NaiveDate>,
) -> Result<Option<NaiveDate>, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let mut covered = from;
    for employment in employments(&mut change.tx, &scope, as_of, vec![worker]).await? {
        if employment.fact.from <= covered {
            match employment.fact.to {
                None => return Ok(None),
                Some(end) => covered = covered.max(end),
            }
        }
    }
    Ok((to.is_none_or(|to| covered < to)).then_some(covered))
}

/// Notes a fault unless the worker is employed on every day of the span.
pub async fn must_be_employed(
    change: &mut Change,
    worker: Uuid,
    from: NaiveDate,
    to: Option<NaiveDate>,
    at: &str,
    faults: &mut Faults,
) -> Result<(), Refusal> {
    if let Some(day) = first_day_not_employed(change, worker, from, to).await? {
        faults.note(at, format!("the worker has no employment on {day}"));
    }
    Ok(())
}

impl Recorded for Employment {
    const UNDER: Under = Under::Worker;
    const RECORD: Action = Action::RecordWorkers;
    const READ: Action = Action::ReadWorkers;
    const TAKEN: &'static str = "a worker with this employer and employee number is recorded already";

    async fn bound(
        version: &Version<Self>,
        fields: &Map<String, Value>,
        change: &mut Change,
    ) -> Result<Vec<Referrer>, Refusal> {
        let Some(worker) = version.parent.filter(|_| touches(fields, &["from", "to"])) else {
            return Ok(Vec::new());
        };
        let mut found = referrers::<Assignment>(change, &[Where::Parent(worker)]).await?;
        found.extend(referrers::<WorkedDay>(change, &[Where::Parent(worker)]).await?);
        found.extend(referrers::<Sample>(change, &[Where::Is("worker_id", Key::Id(Some(worker)))]).await?);
        Ok(found)
    }

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        _: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::in_order(Some(self.from), self.to, "/to", faults);
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        of_worker(place)
    }
}

impl Recorded for EarlierExposure {
    const UNDER: Under = Under::Worker;
    const RECORD: Action = Action::RecordWorkers;
    const READ: Action = Action::ReadHistories;

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::agent(change, &self.agent_code, "/agent_code", faults).await?;
        refer::in_order(Some(self.from), Some(self.to), "/to", faults);
        refer::within(self.days_per_year, 0.0, 366.0, "/days_per_year", faults);
        if self.mean.as_ref().is_some_and(|mean| !mean.unit.is_exposure()) {
            faults.note("/mean/unit", "must be a unit of exposure");
        }
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        of_worker(place)
    }
}

impl Recorded for Assignment {
    const UNDER: Under = Under::AnyWorker;
    const RECORD: Action = Action::RecordWorkers;
    const READ: Action = Action::ReadWorkers;
    const MOVED_BY: Option<&'static str> = Some("worker_id");

    async fn bound(
        version: &Version<Self>,
        fields: &Map<String, Value>,
        change: &mut Change,
    ) -> Result<Vec<Referrer>, Refusal> {
        if !touches(fields, &["from", "to", "respirator_control_id"]) {
            return Ok(Vec::new());
        }
        referrers::<RespiratorConfirmation>(change, &[Where::Parent(version.id)]).await
    }

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        let group = refer::existing::<Group>(change, scope, None, self.group_id, "/group_id", faults).await?;
        place.site = group.as_ref().and_then(|group| group.site);
        refer::in_order(Some(self.from), self.to, "/to", faults);
        refer::within(Some(self.shifts_per_week), 0.0, 14.0, "/shifts_per_week", faults);
        refer::within(Some(self.hours_per_shift), 0.0, 24.0, "/hours_per_shift", faults);
        if let Some(respirator) = self.respirator_control_id {
            let at = "/respirator_control_id";
            let found = refer::existing::<Control>(change, scope, place.site, respirator, at, faults).await?;
            if found.is_some_and(|control| control.fact.kind != ControlKind::Respirator) {
                faults.note(at, "must be a control of kind respirator");
            }
        }
        if self.respirator_worn_share.is_some_and(|share| !(0.0..=1.0).contains(&share)) {
            faults.note("/respirator_worn_share", "must lie between 0 and 1");
        }
        let Some(worker) = place.parent else { return Ok(()) };
        must_be_employed(change, worker, self.from, self.to, "/from", faults).await?;
        let entries = change.person(worker).await?.entries();
        let (everything, as_of) = (change.everything(), change.as_of());
        let of_worker = [Where::Parents(entries), Where::Standing];
        let others =
            versions::list::<Assignment>(&mut change.tx, &everything, as_of, &of_worker, None).await?;
        let twice = others.iter().any(|other| {
            other.fact.group_id == self.group_id
                && refer::spans_meet((self.from, self.to), (other.fact.from, other.fact.to))
        });
        if twice {
            faults.note("/from", "the worker is assigned to this group on these days already");
        }
        Ok(())
    }

    async fn remarks(&self, place: &Place, change: &mut Change) -> Result<Vec<&'static str>, Refusal> {
        let Some(worker) = place.parent else { return Ok(Vec::new()) };
        // What lies under another entry of the same person is told to those who see all sites.
        let sees_all = change.caller.may(Action::ReadWorkers).is_ok_and(|scope| scope.is_all());
        let entries = if sees_all { change.person(worker).await?.entries() } else { vec![worker] };
        let (everything, as_of) = (change.everything(), change.as_of());
        let of_worker = [Where::Parents(entries), Where::Standing];
        let all = versions::list::<Assignment>(&mut change.tx, &everything, as_of, &of_worker, None).await?;
        let beside = all
            .iter()
            .filter(|other| refer::spans_meet((self.from, self.to), (other.fact.from, other.fact.to)));
        let shifts: f64 = beside.clone().map(|other| other.fact.shifts_per_week).sum();
        let mut remarks = Vec::new();
        if shifts > SHIFTS_OF_A_WEEK {
            remarks.push("more_than_seven_shifts_a_week");
        }
        // That he works at another site at the same time is told only to those who see all sites.
        if sees_all && beside.clone().any(|other| other.site != place.site) {
            remarks.push("assigned_at_another_site");
        }
        Ok(remarks)
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        of_worker(place)
    }
}

impl Recorded for RespiratorConfirmation {
    const UNDER: Under = Under::Assignment;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadWorkers;

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::in_order(Some(self.from), self.to, "/to", faults);
        let Some(assignment) = place.parent else { return Ok(()) };
        let as_of = change.as_of();
        let found = versions::find::<Assignment>(&mut change.tx, scope, as_of, assignment).await?;
        let Some(fact) = found.map(|assignment| assignment.fact) else { return Ok(()) };
        if fact.respirator_control_id.is_none() {
            faults.note("/from", "the assignment names no respirator that could be confirmed");
        }
        if self.from < fact.from || fact.to.is_some_and(|to| self.from >= to) {
            faults.note("/from", "must lie within the assignment");
        }
        if let (Some(to), Some(end)) = (self.to, fact.to)
            && to > end
        {
            faults.note("/to", "must not be after the assignment ends");
        }
        Ok(())
    }
}

impl Recorded for WorkedDay {
    const UNDER: Under = Under::Worker;
    const RECORD: Action = Action::RecordWorkers;
    const READ: Action = Action::ReadWorkers;
    const TAKEN: &'static str = "this day is recorded for this group already";

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        let group = refer::existing::<Group>(change, scope, None, self.group_id, "/group_id", faults).await?;
        place.site = group.and_then(|group| group.site);
        refer::within(Some(self.hours), 0.0, 24.0, "/hours", faults);
        if let Some(worker) = place.parent {
            must_be_employed(change, worker, self.date, self.date.succ_opt(), "/date", faults).await?;
        }
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        of_worker(place)
    }
}

impl Recorded for Absence {
    const UNDER: Under = Under::Worker;
    const RECORD: Action = Action::RecordWorkers;
    const READ: Action = Action::ReadWorkers;

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        _: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::in_order(Some(self.from), Some(self.to), "/to", faults);
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        of_worker(place)
    }
}
