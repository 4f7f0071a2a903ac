//! Sampling events and their samples.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::control::{Control, Task};
use crate::model::facts::group::Group;
use crate::model::facts::laboratory::{BlankCorrected, LabResult, ResultStatus};
use crate::model::facts::sampling::{
    Covers, Labels, Position, Purpose, Sample, SampleOutcome, SamplerKind, SamplingEvent, SamplingEventDraft,
};
use crate::model::facts::site::Site;
use crate::model::facts::worker::{Assignment, Worker};
use crate::model::identifiers::{GroupId, SampleId, SiteId};
use crate::model::shape::{Faults, Shape};
use crate::model::unit::{Dimension, Unit};
use crate::model::version::Version;
use crate::registry::facts::{refer, runs, worker};
use crate::registry::place::{Place, Under};
use crate::registry::reach::{self, Reach};
use crate::registry::recording::{Recorded, taken};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::tables::Key;
use crate::store::versions::{self, Where};
use chrono::NaiveDate;
use serde_json::Value;
use uuid::Uuid;

/// Minutes of a shift when nothing else is said.
pub const SHIFT_MINUTES: f64 = 480.0;

impl Recorded for SamplingEvent {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordSamples;
    const READ: Action = Action::ReadSamples;
    const TAKEN: &'static str = "an event with this reference is recorded at the site already";

    async fn check(
        &mut self,
        _: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::within(Some(self.shift_minutes), 0.0, 1440.0, "/shift_minutes", faults);
        for (n, shift) in self.shifts.iter().flatten().enumerate() {
            let at = format!("/shifts/{n}");
            refer::existing::<Worker>(
                change,
                scope,
                None,
                shift.worker_id,
                &format!("{at}/worker_id"),
                faults,
            )
            .await?;
            if let Some(group) = shift.group_id {
                refer::existing::<Group>(change, scope, None, group, &format!("{at}/group_id"), faults)
                    .await?;
            }
            refer::within(Some(shift.shift_minutes), 0.0, 1440.0, &format!("{at}/shift_minutes"), faults);
        }
        Ok(())
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        vec![Reach::EventItself]
    }
}

impl Recorded for Sample {
    const UNDER: Under = Under::Event;
    const RECORD: Action = Action::RecordSamples;
    const READ: Action = Action::ReadSamples;
    const TAKEN: &'static str = "a sample with this number is recorded at the site already";

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        let Some(site) = place.site else { return Ok(()) };
        check_sample(self, site, scope, change, "", faults).await?;
        let neighbours = runs::around(change, scope, site, self.shift_date).await?;
        check_neighbours(self, &neighbours, change, "", faults).await
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        match (self.is_blank(), place.parent) {
            (true, Some(event)) => vec![Reach::Event(event.into())],
            _ => vec![Reach::SampleItself],
        }
    }
}

async fn check_neighbours(
    sample: &Sample,
    at_site: &[Version<Sample>],
    change: &mut Change,
    at: &str,
    faults: &mut Faults,
) -> Result<(), Refusal> {
    for other in at_site.iter().filter(|other| other.fact.number != sample.number) {
        runs::check_pair(sample, &other.fact, at, faults);
    }
    // The worker may have carried a pump at another site that day.
    if let Some(worker) = sample.worker_id {
        for other in runs::of_worker_around(change, worker.0, sample.shift_date).await? {
            if at_site.iter().all(|known| known.id != other.id) {
                runs::check_pair(sample, &other.fact, at, faults);
            }
        }
    }
    Ok(())
}

/// Records an event with its samples.
///
/// # Errors
/// Every fault in it, or a conflict when reference or a sample's number is taken.
pub async fn record_event(
    change: &mut Change,
    site: Uuid,
    body: &Value,
) -> Result<(Version<SamplingEvent>, Vec<Version<Sample>>), Refusal> {
    let scope = change.caller.may(Action::RecordSamples)?;
    let as_of = change.as_of();
    let mut place = Place::under(&mut change.tx, &scope, as_of, Under::Site, Some(site)).await?;
    place.must_stand()?;
    let site_id = SiteId(site);
    let mut faults = Faults::default();
    let draft = match SamplingEventDraft::read(body, "", &mut faults) {
        Some(draft) if faults.is_empty() => draft,
        _ => {
            check_what_reads(body, site_id, &scope, change, &mut faults).await?;
            return Err(faults.into());
        }
    };
    let mut event = SamplingEvent {
        reference: draft.reference,
        purpose: draft.purpose.unwrap_or_else(|| vec![Purpose::Routine]),
        sampled_by: draft.sampled_by,
        shift_minutes: draft.shift_minutes.unwrap_or(SHIFT_MINUTES),
        shifts: draft.shifts,
        conditions: draft.conditions,
    };
    if event.purpose.is_empty() {
        faults.note("/purpose", "must name at least one purpose");
    }
    event.check(&mut place, &scope, change, &mut faults).await?;
    let mut samples = draft.samples;
    let site = site_id;
    let mut neighbours: Vec<Version<Sample>> = Vec::new();
    let mut days: Vec<NaiveDate> = samples.iter().map(|sample| sample.shift_date).collect();
    days.sort_unstable();
    days.dedup();
    for day in days {
        for found in runs::around(change, &scope, site, day).await? {
            if neighbours.iter().all(|known| known.id != found.id) {
                neighbours.push(found);
            }
        }
    }
    for n in 0..samples.len() {
        let at = format!("/samples/{n}");
        let mut sample = samples[n].clone();
        refuse_labels(&sample, &at, &mut faults);
        check_sample(&mut sample, site, &scope, change, &at, &mut faults).await?;
        for earlier in &samples[..n] {
            if earlier.number == sample.number {
                faults.note(format!("{at}/number"), "stands in this event already");
            }
            runs::check_pair(&sample, earlier, &at, &mut faults);
        }
        check_neighbours(&sample, &neighbours, change, &at, &mut faults).await?;
        samples[n] = sample;
    }
    check_duplicates(&samples, &mut faults);
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let taken_numbers = taken_numbers(change, site, &samples).await?;
    if !taken_numbers.is_empty() {
        return Err(Refusal::Conflict { detail: Sample::TAKEN.into(), faults: taken_numbers });
    }
    let event = change.add(&scope, Some(site), place.parent, event).await.map_err(taken::<SamplingEvent>)?;
    let mut recorded = Vec::with_capacity(samples.len());
    for sample in samples {
        recorded.push(keep_sample(change, &scope, site, event.id, sample).await?);
    }
    Ok((event, recorded))
}

/// Checks the samples of an event that read well although something else of it does not, so that every fault is named.
async fn check_what_reads(
    body: &Value,
    site: SiteId,
    scope: &Scope,
    change: &mut Change,
    faults: &mut Faults,
) -> Result<(), Refusal> {
    refer::within(body.get("shift_minutes").and_then(Value::as_f64), 0.0, 1440.0, "/shift_minutes", faults);
    for (n, sample) in body.get("samples").and_then(Value::as_array).into_iter().flatten().enumerate() {
        if let Ok(mut sample) = Sample::parse(sample) {
            check_sample(&mut sample, site, scope, change, &format!("/samples/{n}"), faults).await?;
        }
    }
    Ok(())
}

/// Records one more sample of an event.
///
/// # Errors
/// Every fault in it, or a conflict when its number is taken.
pub async fn record_sample(
    change: &mut Change,
    event: Uuid,
    body: &Value,
) -> Result<Version<Sample>, Refusal> {
    let scope = change.caller.may(Action::RecordSamples)?;
    let as_of = change.as_of();
    let mut place = Place::under(&mut change.tx, &scope, as_of, Under::Event, Some(event)).await?;
    place.must_stand()?;
    let mut sample = Sample::parse(body)?;
    let mut faults = Faults::default();
    refuse_labels(&sample, "", &mut faults);
    sample.check(&mut place, &scope, change, &mut faults).await?;
    if sample.covered() == Covers::Duplicate {
        let of_event = [Where::Parent(event), Where::Standing];
        let others = versions::list::<Sample>(&mut change.tx, &scope, as_of, &of_event, None).await?;
        if others.iter().all(|other| Some(&other.fact.number) != sample.duplicate_of.as_ref()) {
            faults.note("/duplicate_of", "is no sample of this event");
        }
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let site = place.site.ok_or(Refusal::Unknown)?;
    keep_sample(change, &scope, site, event, sample).await
}

/// Labels are the registry's: they say how names stood on the day, not how somebody wrote them.
fn refuse_labels(sample: &Sample, at: &str, faults: &mut Faults) {
    if sample.labels.is_some() {
        faults.note(format!("{at}/labels"), "is written by the registry");
    }
}

async fn keep_sample(
    change: &mut Change,
    scope: &Scope,
    site: SiteId,
    event: Uuid,
    sample: Sample,
) -> Result<Version<Sample>, Refusal> {
    let sample = change.add(scope, Some(site), Some(event), sample).await.map_err(taken::<Sample>)?;
    for read in sample.fact.on_site_results.iter().flatten() {
        let result = LabResult {
            sample_id: SampleId(sample.id),
            agent_code: read.agent_code.clone(),
            status: ResultStatus::Submitted,
            stands: true,
            mass: None,
            concentration: Some(read.value.clone()),
            criterion: read.criterion,
            reporting_limit: None,
            detection_limit: None,
            blank_corrected: BlankCorrected::Yes,
            estimated: false,
            replaces: None,
            analysed_on: None,
            reason: None,
            marks: None,
        };
        change.add(scope, Some(site), None, result).await?;
    }
    let reached = sample.fact.reach(&Place::of(&sample));
    reach::mark(change, sample.id, &reached).await?;
    Ok(sample)
}

async fn taken_numbers(change: &mut Change, site: SiteId, samples: &[Sample]) -> Result<Faults, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let mut faults = Faults::default();
    for (n, sample) in samples.iter().enumerate() {
        let of_number = [Where::Site(site), Where::Is("number", Key::Text(Some(sample.number.to_string())))];
        if !versions::list::<Sample>(&mut change.tx, &scope, as_of, &of_number, None).await?.is_empty() {
            faults.note(
                format!("/samples/{n}/number"),
                "is taken at the site (a voided sample's number stays taken)",
            );
        }
    }
    Ok(faults)
}

fn check_duplicates(samples: &[Sample], faults: &mut Faults) {
    for (n, sample) in samples.iter().enumerate() {
        if let Some(original) = &sample.duplicate_of
            && !samples.iter().any(|other| other.number == *original && other.covered() != Covers::Duplicate)
        {
            faults.note(
                format!("/samples/{n}/duplicate_of"),
                "is no sample of this event that could have a duplicate",
            );
        }
    }
}

/// Checks a sample against everything it refers to, and fills in group and labels.
async fn check_sample(
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
