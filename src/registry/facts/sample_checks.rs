//! What is looked at in a sample on its own: its worker, group and task, its flows and fields; and the labels of its day.

use crate::access::scope::Scope;
use crate::model::facts::control::{Control, Task};
use crate::model::facts::group::Group;
use crate::model::facts::sampling::{Covers, Labels, Position, Sample, SampleOutcome, SamplerKind};
use crate::model::facts::site::Site;
use crate::model::facts::worker::{Assignment, Worker};
use crate::model::identifiers::{GroupId, SiteId};
use crate::model::shape::Faults;
use crate::model::unit::{Dimension, Unit};
use crate::model::version::Version;
use crate::registry::facts::{refer, runs, worker};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::{self, Where};

/// Checks a sample against everything it refers to, and fills in group and labels.
pub(super) async fn check_sample(
    sample: &mut Sample,
    site: SiteId,
    scope: &Scope,
    change: &mut Change,
    at: &str,
    faults: &mut Faults,
) -> Result<(), Refusal> {
    let (everything, as_of) = (change.everything(), change.as_of());
    if let Some(found) = versions::find::<Site>(&mut change.tx, &everything, as_of, site.0).await? {
        runs::check(sample, found.fact.time_zone, at, faults);
        let today = change.at.with_timezone(&found.fact.time_zone.0).date_naive();
        if sample.shift_date > today {
            faults.note(format!("{at}/shift_date"), format!("lies in the future: at the site it is {today}"));
        }
    }
    check_flows(sample, at, faults);
    check_fields(sample, at, faults);
    for (n, code) in sample.agent_codes.iter().flatten().enumerate() {
        refer::agent(change, code, &format!("{at}/agent_codes/{n}"), faults).await?;
    }
    for (n, read) in sample.on_site_results.iter().flatten().enumerate() {
        let at = format!("{at}/on_site_results/{n}");
        refer::agent(change, &read.agent_code, &format!("{at}/agent_code"), faults).await?;
        // A dosimeter shows a level or a dose; a dose is one by a criterion.
        let is_dose = read.value.unit == Unit::Percent && read.criterion.is_some();
        if !read.value.unit.is_exposure() && !is_dose {
            let detail = "must be a unit of exposure, or % for a dose of noise by a named criterion";
            faults.note(format!("{at}/value/unit"), detail);
        }
    }
    let worker = check_worker(sample, scope, change, at, faults).await?;
    let task = match sample.task_id {
        Some(id) => {
            refer::existing::<Task>(change, scope, Some(site), id, &format!("{at}/task_id"), faults).await?
        }
        None => None,
    };
    find_group(sample, site, task.as_ref(), change, at, faults).await?;
    let group = match sample.group_id {
        Some(id) => {
            refer::existing::<Group>(change, scope, Some(site), id, &format!("{at}/group_id"), faults).await?
        }
        None => None,
    };
    let mut controls = Vec::new();
    for (n, id) in sample.control_ids_running.iter().flatten().enumerate() {
        let at = format!("{at}/control_ids_running/{n}");
        controls.extend(refer::existing::<Control>(change, scope, Some(site), *id, &at, faults).await?);
    }
    sample.labels = Some(Labels {
        worker_name: worker.map(|worker| format!("{} {}", worker.fact.given_name, worker.fact.family_name)),
        group_title: group.map(|group| group.fact.title.to_string()),
        task_title: task.map(|task| task.fact.title.to_string()),
        control_titles: sample
            .control_ids_running
            .as_ref()
            .map(|_| controls.iter().map(|control| control.fact.title.to_string()).collect()),
    });
    Ok(())
}

/// The breathing zone has a worker, employed that day; nothing else has one.
async fn check_worker(
    sample: &Sample,
    scope: &Scope,
    change: &mut Change,
    at: &str,
    faults: &mut Faults,
) -> Result<Option<Version<Worker>>, Refusal> {
    let at = format!("{at}/worker_id");
    match (sample.position, sample.worker_id) {
        (Position::BreathingZone, None) => {
            faults.note(at, "is required in the breathing zone");
            Ok(None)
        }
        (Position::BreathingZone, Some(id)) => {
            let found = refer::existing::<Worker>(change, scope, None, id, &at, faults).await?;
            if found.is_some() {
                let day = sample.shift_date;
                worker::must_be_employed(change, id.0, day, day.succ_opt(), &at, faults).await?;
            }
            Ok(found)
        }
        (_, Some(_)) => {
            faults.note(at, "belongs to the breathing zone only");
            Ok(None)
        }
        (_, None) => Ok(None),
    }
}

/// A silent group is that of the worker's assignment on the date; with several, somebody must say which.
async fn find_group(
    sample: &mut Sample,
    site: SiteId,
    task: Option<&Version<Task>>,
    change: &mut Change,
    at: &str,
    faults: &mut Faults,
) -> Result<(), Refusal> {
    if sample.group_id.is_some() {
        return Ok(());
    }
    let Some(worker) = sample.worker_id else {
        sample.group_id = task.map(|task| task.fact.group_id);
        return Ok(());
    };
    let (scope, as_of) = (change.everything(), change.as_of());
    let of_worker = [Where::Parent(worker.0), Where::Site(site), Where::Standing];
    let assignments = versions::list::<Assignment>(&mut change.tx, &scope, as_of, &of_worker, None).await?;
    let day = sample.shift_date;
    let mut groups: Vec<GroupId> = assignments
        .iter()
        .filter(|assignment| assignment.fact.from <= day && assignment.fact.to.is_none_or(|to| day < to))
        .map(|assignment| assignment.fact.group_id)
        .collect();
    groups.sort_unstable();
    groups.dedup();
    // The task tells which of several groups it was.
    if let Some(task) = task
        && groups.contains(&task.fact.group_id)
    {
        groups = vec![task.fact.group_id];
    }
    match groups.as_slice() {
        [group] => sample.group_id = Some(*group),
        [] => faults.note(
            format!("{at}/group_id"),
            "is required: the worker has no assignment at the site on this date",
        ),
        _ => faults.note(
            format!("{at}/group_id"),
            "is required: the worker has several assignments on this date; say which",
        ),
    }
    Ok(())
}

fn check_flows(sample: &Sample, at: &str, faults: &mut Faults) {
    let valid = sample.came_out() == SampleOutcome::Valid;
    let pumped = sample.sampler() == SamplerKind::Pumped && !sample.is_blank();
    for (name, flow) in [("flow_before", &sample.flow_before), ("flow_after", &sample.flow_after)] {
        let at = format!("{at}/{name}");
        match flow {
            None if pumped && valid => faults.note(at, "is required for a valid pumped sample"),
            None => {}
            Some(flow) => {
                flow.must_be(&[Dimension::Flow], "flow", &at, faults);
                if !flow.measured.is_value() || flow.measured.lower() < 0.0 {
                    faults.note(at, "must be a plain number, not below zero");
                } else if pumped && valid && flow.measured.lower() == 0.0 {
                    faults.note(at, "is zero on a valid pumped sample; say what became of it in outcome");
                }
            }
        }
    }
}

fn check_fields(sample: &Sample, at: &str, faults: &mut Faults) {
    let minutes = sample.minutes();
    if sample.minutes_run.is_some_and(|run| run <= 0.0 || run > 36.0 * 60.0) {
        faults.note(format!("{at}/minutes_run"), "must be above 0 and at most 36 hours");
    }
    match (sample.covered(), &sample.duplicate_of) {
        (Covers::Duplicate, None) => faults.note(format!("{at}/duplicate_of"), "is required for a duplicate"),
        (Covers::Duplicate, Some(_)) | (_, None) => {}
        (_, Some(_)) => faults.note(format!("{at}/covers"), "must be duplicate where duplicate_of is given"),
    }
    if sample.calibrated_on.is_some_and(|day| day > sample.shift_date) {
        faults.note(format!("{at}/calibrated_on"), "must not be after the shift date");
    }
    if sample.arc_minutes.is_some_and(|arc| arc < 0.0 || (minutes > 0.0 && arc > minutes)) {
        faults.note(format!("{at}/arc_minutes"), "must lie between 0 and the minutes sampled");
    }
    if sample.running_share.is_some_and(|share| !(0.0..=1.0).contains(&share)) {
        faults.note(format!("{at}/running_share"), "must lie between 0 and 1");
    }
    if sample.running_share.is_some() && sample.control_ids_running.as_ref().is_none_or(Vec::is_empty) {
        faults.note(format!("{at}/running_share"), "needs the controls that were running");
    }
}
