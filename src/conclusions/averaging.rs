//! From samples to shift averages: the 8-hour average, short-term values, comparisons with limits.

use crate::conclusions::asked::Asked;
use crate::conclusions::comparison::{Comparison, ComparisonAnswer, Stretch, compare};
use crate::conclusions::control_state::{ControlState, control_state, in_place};
use crate::conclusions::evidence::{GroupEvidence, SampleEvidence};
use crate::conclusions::flag::{Flag, raise, raise_if};
use crate::conclusions::limits::{AgentEvidence, rule_set_on};
use crate::conclusions::noise_criterion::criterion_met;
use crate::conclusions::sample::{Concluded, conclude};
use crate::conclusions::shift_average::{AveragedStretch, ShiftSample, ShiftTwa, ShortTermValue, both};
use crate::conclusions::shift_of_worker::{
    WorkerDay, is_short, shift_minutes, stated_shift, stated_unsampled,
};
use crate::conclusions::use_of_result::Uses;
use crate::hygiene::noise::{LevelSegment, bound_by_other_threshold, compared_level, noise_dose};
use crate::hygiene::shift::{
    EIGHT_HOURS_MINUTES, Segment, ShiftAverage, Unsampled, duplicate_average, shift_average,
    unsampled_minutes,
};
use crate::model::facts::agent::{Limit, LimitKind};
use crate::model::facts::sampling::{Covers, NoiseCriterion, Position, SampleOutcome};
use crate::model::identifiers::{EventId, GroupId, SiteId, WorkerId};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::text::Code;
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::{BTreeMap, BTreeSet};

/// A breathing-zone sample with what it says of the agent, in the unit of the shift.
struct Usable<'e> {
    evidence: &'e SampleEvidence,
    concluded: Concluded,
    concentration: Measured,
    group: Option<&'e GroupEvidence>,
}

/// The shift averages of an agent over the samples handed in, by shift date, worker and group.
///
/// For the profile of a group hand in the group's samples; for a worker's record, the worker's. Of groups that are not
/// among `groups` no limit in force is known, so nothing is compared.
pub fn shift_averages(
    samples: &[SampleEvidence],
    agent: &AgentEvidence,
    groups: &[&GroupEvidence],
    asked: Asked,
) -> Vec<ShiftTwa> {
    let mut shifts: BTreeMap<ShiftKey, Vec<Usable<'_>>> = BTreeMap::new();
    let mut parts_of_day: BTreeMap<WorkerDay, Vec<_>> = BTreeMap::new();
    for evidence in samples {
        let sample = &evidence.sample.fact;
        let (Some(worker), Position::BreathingZone) = (sample.worker_id, sample.position) else { continue };
        if evidence.sample.stands() {
            // How long a shift was does not wait for what the laboratory says of another part of it.
            let parts = parts_of_day.entry((worker, sample.shift_date)).or_default();
            parts.push((&*evidence.event, sample.group_id));
        }
        if sample.came_out() != SampleOutcome::Valid {
            continue;
        }
        let group =
            groups.iter().copied().find(|group| sample.group_id.is_some_and(|id| id.0 == group.group.id));
        // Noise comes by criterion, each a shift of its own.
        let results = if agent.is_noise() { usize::MAX } else { 1 };
        for concluded in conclude(evidence, agent, asked).into_iter().take(results) {
            let Some(concentration) = concluded.concentration else { continue };
            let criterion = concluded.criterion.filter(|_| agent.is_noise());
            let key = (sample.shift_date, worker, sample.group_id, criterion);
            shifts.entry(key).or_default().push(Usable { evidence, concluded, concentration, group });
        }
    }
    let read: BTreeSet<ShiftKey> = shifts.keys().copied().collect();
    shifts
        .into_iter()
        .filter_map(|((date, worker, group, _), mut usable)| {
            usable.sort_by(|one, two| order(one.evidence).cmp(&order(two.evidence)));
            let first = usable.first()?;
            let day = (worker, date);
            let short = is_short(&first.evidence.event.fact, day, &parts_of_day[&day]);
            let mut shift = one_shift(day, group, &usable, agent, short);
            compare_with_limits(&mut shift, first.group, agent, |criterion| {
                read.contains(&(date, worker, group, Some(criterion)))
            });
            Some(shift)
        })
        .collect()
}

/// A shift date of a worker in a group, by one criterion of noise.
type ShiftKey = (NaiveDate, WorkerId, Option<GroupId>, Option<NoiseCriterion>);

/// The order in which samples were taken.
fn order(evidence: &SampleEvidence) -> (Option<DateTime<Utc>>, &Code, uuid::Uuid) {
    let sample = &evidence.sample.fact;
    let start = sample.runs.iter().flatten().map(|run| run.start).min();
    (start, &sample.number, evidence.sample.id)
}

fn one_shift(
    (worker, date): WorkerDay,
    group: Option<GroupId>,
    usable: &[Usable<'_>],
    agent: &AgentEvidence,
    short_shift: bool,
) -> ShiftTwa {
    let first = &usable[0];
    let event = &first.evidence.event;
    let unit = agent.unit().unwrap_or(first.concluded.unit);
    let (fitting, others): (Vec<_>, Vec<_>) =
        usable.iter().partition::<Vec<&Usable<'_>>, _>(|usable| usable.concluded.unit == unit);
    let mut flags = Vec::new();
    raise_if(&mut flags, !others.is_empty(), Flag::UnitNotOfLimit);
    fitting.iter().flat_map(|usable| &usable.concluded.flags).for_each(|&flag| raise(&mut flags, flag));

    let bundles = bundles(&fitting);
    let (short_term, whole): (Vec<_>, Vec<_>) =
        bundles.into_iter().partition(|bundle| bundle[0].evidence.sample.fact.covered() == Covers::ShortTerm);
    let averaged =
        |bundle: &Vec<&Usable<'_>>| if agent.is_noise() { averaged_noise(bundle) } else { averaged(bundle) };
    let stretches: Vec<AveragedStretch> = whole.iter().filter_map(averaged).collect();
    let peaks: Vec<ShortTermValue> =
        short_term.iter().filter_map(averaged).map(ShortTermValue::from).collect();
    let minutes_of_shift = shift_minutes(&event.fact, (worker, date), group);
    let stated = stated_shift(&event.fact, (worker, date), group);
    let unsampled = stated_unsampled(stated, agent, unit);
    let criterion = first.concluded.criterion.filter(|_| agent.is_noise());
    let average = match criterion {
        None => average_of(&stretches, minutes_of_shift, unsampled, |stretch| stretch.concentration),
        // Parts of a shift add as doses: each stands with the dose that 8 hours of it would make.
        Some(criterion) => {
            average_of(&stretches, minutes_of_shift, as_dose(unsampled, criterion), |stretch| {
                stretch.eight_hour_dose.unwrap_or(stretch.concentration)
            })
        }
    };
    let dose = average.filter(|_| criterion.is_some()).map(|average| average.eight_hour_twa.rounded());
    let twa = average.map(|average| match criterion {
        None => average.eight_hour_twa.rounded(),
        Some(criterion) => compared_level(average.eight_hour_twa, criterion),
    });
    let changed = stretches.iter().any(|stretch| stretch.at_lower_flow.is_some());
    let twa_at_lower_flow = average_of(&stretches, minutes_of_shift, unsampled, |stretch| {
        stretch.at_lower_flow.unwrap_or(stretch.concentration)
    })
    .filter(|_| changed)
    .map(|average| average.eight_hour_twa.rounded());
    let part_sampled = average.is_some_and(|average| average.partly_sampled);
    raise_if(&mut flags, twa.is_none(), Flag::NoEightHourAverage);
    raise_if(&mut flags, part_sampled, Flag::ShiftPartlySampled);
    raise_if(&mut flags, short_shift, Flag::ShortShift);

    let averaged_samples: Vec<&Usable<'_>> = whole.iter().flatten().copied().collect();
    // A short-term sample beside the average bears on the short-term limits only.
    let bearing = if averaged_samples.is_empty() { &fitting } else { &averaged_samples };
    let mut uses = uses_of(bearing);
    if part_sampled {
        uses.narrow_to_part_of_shift();
    }
    if short_shift {
        uses.narrow_to_short_shift();
    }
    let controls_as_in_era = bearing.iter().all(|usable| usable.controls_as_in_era());
    for usable in &fitting {
        usable.flag_controls(&mut flags);
    }

    ShiftTwa {
        worker,
        group,
        site: first.evidence.sample.site,
        shift_date: date,
        event: EventId(event.id),
        agent_code: agent.code().clone(),
        criterion,
        dose,
        twa,
        twa_at_lower_flow,
        unit,
        sampled_minutes: average.map_or(0.0, |average| significant(average.sampled_minutes)),
        shift_minutes: minutes_of_shift,
        unsampled,
        uses,
        controls_as_in_era,
        accepted: bearing.iter().all(|usable| usable.concluded.accepted),
        flagged: bearing.iter().any(|usable| usable.concluded.blocking().next().is_some()),
        not_accepted: fitting.iter().filter(|usable| !usable.concluded.accepted).count(),
        part_sampled,
        short_shift,
        stretches,
        peaks,
        samples: fitting.iter().map(|usable| usable.listed()).collect(),
        comparisons: Vec::new(),
        flags,
    }
}

/// What is stated of the unsampled time as the dose, per cent, that 8 hours of it would make.
fn as_dose(unsampled: Option<Unsampled>, criterion: NoiseCriterion) -> Option<Unsampled> {
    Some(match unsampled? {
        Unsampled::At(level) => {
            let eight_hours = LevelSegment { level, minutes: EIGHT_HOURS_MINUTES };
            Unsampled::At(noise_dose(&[eight_hours], criterion).dose_percent)
        }
        otherwise => otherwise,
    })
}

/// Compares a shift with the limits of its day; `is_read` tells which criteria of noise were read in it.
fn compare_with_limits(
    shift: &mut ShiftTwa,
    group: Option<&GroupEvidence>,
    agent: &AgentEvidence,
    is_read: impl Fn(NoiseCriterion) -> bool,
) {
    let Some(group) = group else { return raise(&mut shift.flags, Flag::GroupUnknown) };
    let agent = &*agent.at(SiteId(group.site.id));
    if agent.is_noise() {
        return compare_noise(shift, group, agent, is_read);
    }
    let long = shift.stretches.iter().map(|stretch| {
        let mean = both(stretch.concentration, stretch.at_lower_flow);
        Stretch { mean, minutes: stretch.minutes, short_term: false }
    });
    let short = shift.peaks.iter().map(|peak| {
        let mean = both(peak.mean, peak.at_lower_flow);
        Stretch { mean, minutes: peak.minutes, short_term: true }
    });
    let stretches: Vec<Stretch> = long.chain(short).collect();
    let where_and_when = (rule_set_on(group, shift.shift_date), shift.shift_date);
    shift.comparisons = compare(agent, where_and_when, shift.unit, |_| shift.compared(), &stretches);
    flag_coarse_bounds(shift);
}

/// Flags a comparison of the 8-hour average that bounds leave undecided.
fn flag_coarse_bounds(shift: &mut ShiftTwa) {
    let eight_hours =
        |comparison: &Comparison| matches!(comparison.kind, LimitKind::Twa | LimitKind::ActionLevel);
    let undecided = shift
        .comparisons
        .iter()
        .any(|comparison| eight_hours(comparison) && comparison.answer == ComparisonAnswer::CannotTell);
    let bounded = shift
        .stretches
        .iter()
        .any(|stretch| matches!(stretch.concentration, Measured::Below(_) | Measured::Between { .. }));
    raise_if(&mut shift.flags, undecided && bounded, Flag::ReportingLimitTooHigh);
}

/// Each level of noise by the criterion that it is met by; where that was not read, by what this one says of it.
fn compare_noise(
    shift: &mut ShiftTwa,
    group: &GroupEvidence,
    agent: &AgentEvidence,
    is_read: impl Fn(NoiseCriterion) -> bool,
) {
    let (Some(own), Some(level)) = (shift.criterion, shift.compared()) else { return };
    let met_by = |limit: &Limit| criterion_met(limit.authority.as_str(), limit.kind);
    let compared = |limit: &Limit| {
        let wanted = met_by(limit);
        (wanted == own || !is_read(wanted)).then(|| bound_by_other_threshold(level, own, wanted)).flatten()
    };
    let where_and_when = (rule_set_on(group, shift.shift_date), shift.shift_date);
    shift.comparisons = compare(agent, where_and_when, shift.unit, compared, &[]);
    let bounded = agent
        .in_force(where_and_when.0, shift.shift_date)
        .into_iter()
        .any(|limit| met_by(limit) != own && compared(limit).is_some());
    raise_if(&mut shift.flags, bounded, Flag::OtherThresholdOnly);
    flag_coarse_bounds(shift);
}

impl Usable<'_> {
    fn state(&self) -> Option<ControlState> {
        self.group.map(|group| control_state(&self.evidence.sample.fact, group))
    }

    fn controls_as_in_era(&self) -> bool {
        let sample = &self.evidence.sample.fact;
        self.group.zip(self.state()).is_some_and(|(group, state)| {
            state.ran() == Some(&in_place(group, sample.task_id, sample.shift_date))
        })
    }

    fn flag_controls(&self, flags: &mut Vec<Flag>) {
        let sample = &self.evidence.sample.fact;
        let (Some(group), Some(state)) = (self.group, self.state()) else { return };
        match state {
            ControlState::NotRecorded => raise(flags, Flag::ControlStateNotRecorded),
            ControlState::PartOfTheTime(_) => raise(flags, Flag::ControlPartlyRunning),
            ControlState::Ran(ran) => {
                let off = !in_place(group, sample.task_id, sample.shift_date).is_subset(&ran);
                raise_if(flags, off, Flag::ControlOff);
            }
        }
    }

    fn listed(&self) -> ShiftSample {
        let sample = &self.evidence.sample.fact;
        ShiftSample {
            sample_id: self.concluded.sample_id,
            result_id: self.concluded.result_id,
            task: sample.task_id,
            covers: sample.covered(),
            concentration: self.concentration,
            minutes: self.concluded.minutes,
            control_state: self.state(),
            accepted: self.concluded.accepted,
        }
    }
}

/// Each sample with the duplicates of it, the sample first; a duplicate whose original gives nothing stands for it.
fn bundles<'u, 'e>(usable: &[&'u Usable<'e>]) -> Vec<Vec<&'u Usable<'e>>> {
    let original_of = |usable: &Usable<'_>| {
        let sample = &usable.evidence.sample.fact;
        match sample.covered() {
            Covers::Duplicate => sample.duplicate_of.clone().unwrap_or_else(|| sample.number.clone()),
            Covers::Shift | Covers::Task | Covers::ShortTerm => sample.number.clone(),
        }
    };
    let mut bundles: Vec<(Code, Vec<&Usable<'_>>)> = Vec::new();
    for &one in usable {
        let number = original_of(one);
        match bundles.iter_mut().find(|(known, _)| *known == number) {
            Some((_, bundle)) => bundle.push(one),
            None => bundles.push((number, vec![one])),
        }
    }
    for (number, bundle) in &mut bundles {
        bundle.sort_by_key(|usable| usable.evidence.sample.fact.number != *number);
    }
    bundles.into_iter().map(|(_, bundle)| bundle).collect()
}

fn averaged(bundle: &[&Usable<'_>]) -> Option<AveragedStretch> {
    let values: Vec<Measured> = bundle.iter().map(|usable| usable.concentration).collect();
    let lower_flow: Vec<Measured> =
        bundle.iter().map(|usable| usable.concluded.at_lower_flow.unwrap_or(usable.concentration)).collect();
    let changed = bundle.iter().any(|usable| usable.concluded.at_lower_flow.is_some());
    let minutes = bundle.first()?.concluded.minutes;
    Some(AveragedStretch {
        sample_ids: bundle.iter().map(|usable| usable.concluded.sample_id).collect(),
        concentration: mean_of_duplicates(&values)?,
        eight_hour_dose: None,
        at_lower_flow: if changed { mean_of_duplicates(&lower_flow) } else { None },
        minutes,
    })
    .filter(|stretch| stretch.minutes > 0.0)
}

/// A stretch of noise: the mean of the doses of a sample and its duplicates, each as 8 hours of it would make it.
fn averaged_noise(bundle: &[&Usable<'_>]) -> Option<AveragedStretch> {
    let first = &bundle.first()?.concluded;
    let criterion = first.criterion?;
    let doses: Vec<Measured> = bundle
        .iter()
        .filter(|usable| usable.concluded.minutes > 0.0)
        .filter_map(|usable| {
            let dose = usable.concluded.dose?;
            Some(dose.scaled(EIGHT_HOURS_MINUTES / usable.concluded.minutes))
        })
        .collect();
    let dose = mean_of_duplicates(&doses)?;
    Some(AveragedStretch {
        sample_ids: bundle.iter().map(|usable| usable.concluded.sample_id).collect(),
        concentration: if doses.len() == 1 {
            bundle[0].concentration
        } else {
            compared_level(dose, criterion)
        },
        eight_hour_dose: Some(dose),
        at_lower_flow: None,
        minutes: first.minutes,
    })
    .filter(|stretch| stretch.minutes > 0.0)
}

/// The mean of duplicates; a single value stays as it is.
fn mean_of_duplicates(values: &[Measured]) -> Option<Measured> {
    match values {
        [one] => Some(*one),
        several => duplicate_average(several).map(Measured::rounded),
    }
}

fn average_of(
    stretches: &[AveragedStretch],
    minutes_of_shift: f64,
    unsampled: Option<Unsampled>,
    of: impl Fn(&AveragedStretch) -> Measured,
) -> Option<ShiftAverage> {
    let segments: Vec<Segment> = stretches
        .iter()
        .map(|stretch| Segment { concentration: of(stretch), minutes: stretch.minutes })
        .collect();
    let rest = unsampled_minutes(&segments, minutes_of_shift);
    shift_average(&segments, rest, unsampled)
}

fn uses_of(usable: &[&Usable<'_>]) -> Uses {
    usable.iter().fold(Uses::all(), |uses, usable| {
        uses.and(&Uses::of(&usable.evidence.sample.fact, &usable.evidence.event.fact.purpose))
    })
}

#[cfg(test)]
mod tests;
