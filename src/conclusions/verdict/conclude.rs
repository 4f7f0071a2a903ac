//! The verdicts of a task for an agent, put together.

use crate::conclusions::asked::Asked;
use crate::conclusions::verdict::case::Case;
use crate::conclusions::verdict::noise::criterion_compared;
use crate::conclusions::verdict::task_sample::{TaskEvidence, TaskSamples, task_samples, unit_of};
use crate::conclusions::verdict::view::VerdictView;
use crate::model::facts::control::Control;
use crate::model::facts::sampling::Position;
use crate::model::identifiers::ControlId;
use crate::model::version::Version;
use std::collections::BTreeSet;

/// The verdicts of a task for an agent: one for each control that is not worn, and position (short-term samples apart).
///
/// By control code, then breathing zone, area, and outlet for the removal efficiency of a control that ran between inlet and outlet. A control without any sample has
/// its breathing-zone row, with nothing to compare.
pub fn control_verdicts(evidence: &TaskEvidence<'_>, asked: Asked) -> Vec<VerdictView> {
    let unit = unit_of(evidence, asked);
    let criterion = criterion_compared(evidence, asked);
    let samples = task_samples(evidence, unit, criterion, asked);
    let mut verdicts = Vec::new();
    for control in controls(evidence, &samples) {
        let case = Case { evidence, samples: &samples, control, unit, criterion, asked };
        for (position, short_term) in
            [Position::BreathingZone, Position::Area].into_iter().flat_map(|at| [(at, false), (at, true)])
        {
            let first = position == Position::BreathingZone && !short_term;
            if first || case.concerns(&[position], short_term) {
                verdicts.push(if criterion.is_some() {
                    case.compared_levels(position, short_term)
                } else {
                    case.compared(position, short_term)
                });
            }
        }
        if criterion.is_none() && case.has_removal() {
            verdicts.push(case.removal());
        }
    }
    verdicts
}

/// The controls to judge: those that ever stood on the task or ran on a sample of it, but none that is worn.
fn controls<'e>(evidence: &TaskEvidence<'e>, samples: &TaskSamples) -> Vec<&'e Version<Control>> {
    let mut judged: BTreeSet<ControlId> = evidence
        .group
        .periods
        .iter()
        .filter(|period| period.stands() && period.parent == Some(evidence.task.id))
        .map(|period| period.fact.control_id)
        .collect();
    judged.extend(samples.usable.iter().filter_map(|sample| sample.ran.as_ref()).flatten());
    let mut controls: Vec<&Version<Control>> = evidence
        .group
        .controls
        .iter()
        .filter(|control| control.stands() && judged.contains(&ControlId(control.id)))
        .filter(|control| !control.fact.kind.is_worn())
        .collect();
    controls.sort_by_key(|control| (&control.fact.code, control.id));
    controls.dedup_by_key(|control| control.id);
    controls
}
