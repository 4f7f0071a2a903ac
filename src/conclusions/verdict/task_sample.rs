//! Samples of a task as a verdict needs them, and why others cannot be used.

use crate::conclusions::asked::Asked;
use crate::conclusions::changed_after_result::{
    result_voided, sample_voided_after_result, use_changed_after_result,
};
use crate::conclusions::control_state::{ControlState, control_state};
use crate::conclusions::evidence::{GroupEvidence, SampleEvidence};
use crate::conclusions::flag::Flag;
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::sample::{Concluded, conclude};
use crate::conclusions::shift_average::ShiftTwa;
use crate::conclusions::standing_result::is_used;
use crate::conclusions::use_of_result::{LeftOutReason, Uses, VerdictUse};
use crate::conclusions::verdict::view::ExclusionReason;
use crate::hygiene::shift::EIGHT_HOURS_MINUTES;
use crate::model::facts::control::Task;
use crate::model::facts::sampling::{Covers, NoiseCriterion, Position, Purpose, Sample};
use crate::model::identifiers::{ControlId, SampleId, WorkerId};
use crate::model::measured::Measured;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::version::Version;
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A task and what its verdicts are drawn from.
#[derive(Debug, Clone, Copy)]
pub struct TaskEvidence<'e> {
    /// The task.
    pub task: &'e Version<Task>,
    /// Its group, with the controls of its tasks and those that samples name.
    pub group: &'e GroupEvidence,
    /// The agent.
    pub agent: &'e AgentEvidence,
    /// Samples of the task, and background samples of its group; others are passed over.
    pub samples: &'e [SampleEvidence],
    /// The group's 8-hour TWAs of whole shifts.
    pub whole_shifts: &'e [WholeShift],
}

/// An 8-hour TWA of a whole shift in the task's group.
#[derive(Debug, Clone, PartialEq)]
pub struct WholeShift {
    /// The worker.
    pub worker_id: WorkerId,
    /// The shift date.
    pub shift_date: NaiveDate,
    /// Controls that ran all the sampled time.
    pub ran: BTreeSet<ControlId>,
    /// The TWA, in the unit of the agent's limit.
    pub twa: Measured,
}

impl WholeShift {
    /// A shift average that speaks for a whole shift; `None` where part of it is not known, or not what ran.
    pub fn of(shift: &ShiftTwa) -> Option<Self> {
        let whole = shift.enters_profile() && !shift.part_sampled && !shift.short_shift;
        let states = shift.samples.iter().filter(|sample| sample.covers != Covers::ShortTerm);
        let ran = states
            .map(|sample| sample.control_state.as_ref()?.ran().cloned())
            .reduce(|one, two| Some(one?.intersection(&two?).copied().collect()))??;
        whole.then_some(Self { worker_id: shift.worker, shift_date: shift.shift_date, ran, twa: shift.twa? })
    }
}

/// Whose air a sample is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// A worker's.
    Worker(WorkerId),
    /// That of a fixed location.
    Location(String),
    /// Nobody's in particular (a background, an inlet without a name).
    Unnamed,
}

/// A sample that a verdict may use.
#[derive(Debug, Clone, PartialEq)]
pub struct TaskSample {
    /// The sample.
    pub id: SampleId,
    /// Its number.
    pub number: Code,
    /// The number of the sample that it duplicates.
    pub duplicate_of: Option<Code>,
    /// Its event.
    pub event: Uuid,
    /// Where the air was taken.
    pub position: Position,
    /// What it stands for.
    pub covers: Covers,
    /// Whose air it is.
    pub place: Place,
    /// The shift date.
    pub date: NaiveDate,
    /// The controls that ran; for a background absent where this is not known.
    pub ran: Option<BTreeSet<ControlId>>,
    /// The concentration in the unit of all; of noise the average level over the run.
    pub value: Measured,
    /// The dose of noise, per cent, that 8 hours of it would make.
    pub eight_hour_dose: Option<Measured>,
    /// Minutes sampled.
    pub minutes: f64,
    /// From when to when, where the runs say so.
    pub span: Option<(DateTime<Utc>, DateTime<Utc>)>,
    /// The same in minutes after 00:00 of the shift date, local time.
    pub clock: Option<(i64, i64)>,
    /// Minutes of arc time.
    pub arc_minutes: Option<f64>,
    /// Materials worked on, in small letters.
    pub materials: Option<String>,
    /// The location, in small letters.
    pub location: Option<String>,
    /// Whether it was taken because the worst was looked for, or after a complaint.
    pub chosen: bool,
    /// Whether its result is accepted.
    pub accepted: bool,
}

impl TaskSample {
    /// What is averaged over time: the concentration, of noise the dose.
    pub fn amount(&self) -> Measured {
        self.eight_hour_dose.unwrap_or(self.value)
    }
}

/// A sample that is not used, with what it would have been compared with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LeftOut {
    /// The sample.
    pub id: SampleId,
    /// Its position.
    pub position: Position,
    /// Whether it is a short-term sample.
    pub short_term: bool,
    /// Why.
    pub reason: ExclusionReason,
}

/// The samples of a task, by shift date and number.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TaskSamples {
    /// Those that may be compared.
    pub usable: Vec<TaskSample>,
    /// Backgrounds.
    pub backgrounds: Vec<TaskSample>,
    /// Those that may not be.
    pub left_out: Vec<LeftOut>,
}

/// The unit of all values of an agent: that of its limit, else that of the first sample with a concentration.
pub fn unit_of(evidence: &TaskEvidence<'_>, asked: Asked) -> Unit {
    let first = || {
        let mut found = evidence.samples.iter().flat_map(|sample| conclude(sample, evidence.agent, asked));
        found.find(|concluded| concluded.concentration.is_some()).map(|concluded| concluded.unit)
    };
    evidence.agent.unit().or_else(first).unwrap_or(Unit::MgPerM3)
}

/// Sorts the samples of a task into those that may be compared and those that may not; of noise by one criterion.
pub fn task_samples(
    evidence: &TaskEvidence<'_>,
    unit: Unit,
    criterion: Option<NoiseCriterion>,
    asked: Asked,
) -> TaskSamples {
    let mut ordered: Vec<&SampleEvidence> =
        evidence.samples.iter().filter(|sample| belongs(evidence, &sample.sample.fact)).collect();
    ordered.sort_by_key(|sample| {
        let fact = &sample.sample.fact;
        (fact.shift_date, &fact.number, sample.sample.id)
    });
    let mut samples = TaskSamples::default();
    for sample in ordered {
        let fact = &sample.sample.fact;
        let left_out = |reason| LeftOut {
            id: SampleId(sample.sample.id),
            position: fact.position,
            short_term: fact.covered() == Covers::ShortTerm,
            reason,
        };
        let admitted = admit(evidence, sample, (unit, criterion), asked);
        // Compared by another result all the same.
        if admitted.is_ok() && result_voided(sample, evidence.agent.code()) {
            samples.left_out.push(left_out(ExclusionReason::ChangedAfterResult));
        }
        match admitted {
            Ok(admitted) if fact.position == Position::Background => samples.backgrounds.push(admitted),
            Ok(admitted) => samples.usable.push(admitted),
            Err(Some(reason)) => samples.left_out.push(left_out(reason)),
            Err(None) => {}
        }
    }
    samples
}

/// Whether a sample is of this task; a background may be of its group or of no group at all.
pub(super) fn belongs(evidence: &TaskEvidence<'_>, sample: &Sample) -> bool {
    let of_task = sample.task_id.is_some_and(|task| task.0 == evidence.task.id);
    match sample.position {
        Position::FieldBlank => false,
        Position::Background => {
            of_task
                || sample.task_id.is_none()
                    && sample.group_id.is_none_or(|group| group.0 == evidence.group.group.id)
        }
        _ => of_task,
    }
}

/// The sample as a verdict needs it, or why it cannot be used (`None`: it has nothing to do with the agent).
fn admit(
    evidence: &TaskEvidence<'_>,
    sample: &SampleEvidence,
    (unit, criterion): (Unit, Option<NoiseCriterion>),
    asked: Asked,
) -> Result<TaskSample, Option<ExclusionReason>> {
    let fact = &sample.sample.fact;
    let of_agent = |code: &Code| code == evidence.agent.code();
    let concerned = fact.agent_codes.iter().flatten().any(of_agent)
        || fact.on_site_results.iter().flatten().any(|read| of_agent(&read.agent_code))
        || sample.results.iter().any(|result| of_agent(&result.fact.agent_code));
    if !concerned {
        return Err(None);
    }
    if sample_voided_after_result(sample) {
        return Err(Some(ExclusionReason::ChangedAfterResult));
    }
    if !sample.sample.stands() || !sample.event.stands() {
        return Err(Some(ExclusionReason::Voided));
    }
    let uses = Uses::of(fact, &sample.event.fact.purpose);
    if uses.verdict == VerdictUse::Never && use_changed_after_result(sample) {
        return Err(Some(ExclusionReason::ChangedAfterResult));
    }
    if uses.verdict == VerdictUse::Never {
        return Err(uses.reasons.iter().find_map(|reason| never(*reason)));
    }
    let refuse = |reason| Err(Some(reason));
    let found = conclude(sample, evidence.agent, asked);
    let by_others = !found.is_empty();
    let mut of_criterion = found.into_iter().filter(|one| criterion.is_none() || one.criterion == criterion);
    let Some(Concluded { unit: found_in, concentration, dose, minutes, flags, accepted, .. }) =
        of_criterion.next()
    else {
        return Err(if by_others {
            Some(ExclusionReason::OtherCriterion)
        } else {
            without_result(sample, evidence.agent, asked)
        });
    };
    if flags.contains(&Flag::NoNoiseDose) {
        return refuse(ExclusionReason::NoNoiseDose);
    }
    if found_in != unit || flags.contains(&Flag::UnitNotOfLimit) {
        return refuse(ExclusionReason::UnitNotOfLimit);
    }
    let Some(value) = concentration else { return refuse(ExclusionReason::NoConcentration) };
    if minutes <= 0.0 {
        return refuse(ExclusionReason::NoMinutes);
    }
    let background = fact.position == Position::Background;
    let ran = match control_state(fact, evidence.group) {
        ControlState::Ran(controls) => Some(controls),
        ControlState::NotRecorded | ControlState::PartOfTheTime(_) if background => None,
        ControlState::NotRecorded => return refuse(ExclusionReason::ControlStateNotRecorded),
        ControlState::PartOfTheTime(_) => return refuse(ExclusionReason::ControlPartlyRunning),
    };
    let location = fact.location.as_ref().map(|location| location.as_str().to_lowercase());
    let place = match (fact.position, fact.worker_id, &location) {
        (Position::BreathingZone, Some(worker), _) => Place::Worker(worker),
        (Position::BreathingZone, None, _) => return refuse(ExclusionReason::WorkerNotStated),
        (_, _, Some(location)) => Place::Location(location.clone()),
        (Position::Area, _, None) => return refuse(ExclusionReason::LocationNotStated),
        (_, _, None) => Place::Unnamed,
    };
    let span = span(fact);
    Ok(TaskSample {
        id: SampleId(sample.sample.id),
        number: fact.number.clone(),
        duplicate_of: fact.duplicate_of.clone(),
        event: sample.event.id,
        position: fact.position,
        covers: fact.covered(),
        place,
        date: fact.shift_date,
        ran,
        value,
        eight_hour_dose: dose.map(|dose| dose.scaled(EIGHT_HOURS_MINUTES / minutes)),
        minutes,
        span,
        clock: span.map(|span| clock(evidence.group, fact.shift_date, span)),
        arc_minutes: fact.arc_minutes,
        materials: fact.materials.as_ref().map(|materials| materials.as_str().to_lowercase()),
        location,
        chosen: sample
            .event
            .fact
            .purpose
            .iter()
            .any(|purpose| matches!(purpose, Purpose::WorstCase | Purpose::Complaint)),
        accepted,
    })
}

/// Why a sample that concerns the agent has no result to use; `None` where the reader asked for accepted ones only.
fn without_result(sample: &SampleEvidence, agent: &AgentEvidence, asked: Asked) -> Option<ExclusionReason> {
    let mut of_agent = sample.results.iter().filter(|result| result.fact.agent_code == *agent.code());
    if result_voided(sample, agent.code()) && !of_agent.any(|result| is_used(result, Asked::default())) {
        return Some(ExclusionReason::ChangedAfterResult);
    }
    (!asked.accepted_only).then_some(ExclusionReason::ResultAwaited)
}

/// The reasons that keep a sample from every verdict.
fn never(reason: LeftOutReason) -> Option<ExclusionReason> {
    Some(match reason {
        LeftOutReason::PumpFailed => ExclusionReason::PumpFailed,
        LeftOutReason::Lost => ExclusionReason::Lost,
        LeftOutReason::Damaged => ExclusionReason::Damaged,
        LeftOutReason::Contaminated => ExclusionReason::Contaminated,
        LeftOutReason::NotAnalysed => ExclusionReason::NotAnalysed,
        LeftOutReason::NotRepresentative => ExclusionReason::NotRepresentative,
        LeftOutReason::Upset => ExclusionReason::Upset,
        LeftOutReason::Emergency => ExclusionReason::Emergency,
        _ => return None,
    })
}

/// From the first start to the last end.
fn span(sample: &Sample) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    let runs = sample.runs.as_deref().unwrap_or_default();
    let start = runs.iter().map(|run| run.start).min()?;
    let end = runs.iter().filter_map(|run| run.end).max()?;
    Some((start, end))
}

/// A span in minutes after 00:00 of the shift date, by the site's clock.
fn clock(group: &GroupEvidence, date: NaiveDate, (start, end): (DateTime<Utc>, DateTime<Utc>)) -> (i64, i64) {
    let zone = group.site.fact.time_zone.0;
    let midnight = date.and_time(NaiveTime::MIN);
    let minutes = |at: DateTime<Utc>| (at.with_timezone(&zone).naive_local() - midnight).num_minutes();
    (minutes(start), minutes(end))
}
