//! Which controls were in place, and which of them ran while a sample was taken.

use crate::conclusions::evidence::GroupEvidence;
use crate::model::facts::sampling::Sample;
use crate::model::identifiers::{ControlId, TaskId};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// Which controls ran while a sample was taken. Respirators and other things worn are never among them.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ControlState {
    /// One was in place and nobody recorded whether it ran: the sample joins no verdict.
    NotRecorded,
    /// These ran for part of the sampled time: the sample joins no verdict.
    PartOfTheTime(BTreeSet<ControlId>),
    /// These ran, all the time; empty: nothing ran.
    Ran(BTreeSet<ControlId>),
}

impl ControlState {
    /// The controls that ran all the time, where that is known.
    pub fn ran(&self) -> Option<&BTreeSet<ControlId>> {
        match self {
            Self::Ran(controls) => Some(controls),
            Self::NotRecorded | Self::PartOfTheTime(_) => None,
        }
    }
}

/// Controls in place by the calendar on a shift date, on one task or on all tasks of the group.
pub fn in_place(group: &GroupEvidence, task: Option<TaskId>, on: NaiveDate) -> BTreeSet<ControlId> {
    group
        .tasks
        .iter()
        .filter(|known| known.stands() && task.is_none_or(|task| task.0 == known.id))
        .filter(|known| holds(known.fact.from, known.fact.to, on))
        .flat_map(|known| group.periods.iter().filter(move |period| period.parent == Some(known.id)))
        .filter(|period| period.stands() && holds(Some(period.fact.from), period.fact.to, on))
        .map(|period| period.fact.control_id)
        .filter(|control| !is_worn(group, *control))
        .collect()
}

/// Which controls ran while a sample was taken.
///
/// `control_ids_running` left out with nothing in place by the calendar reads as nothing ran.
pub fn control_state(sample: &Sample, group: &GroupEvidence) -> ControlState {
    match &sample.control_ids_running {
        None if in_place(group, sample.task_id, sample.shift_date).is_empty() => {
            ControlState::Ran(BTreeSet::new())
        }
        None => ControlState::NotRecorded,
        Some(running) => {
            let running: BTreeSet<_> = running.iter().copied().filter(|id| !is_worn(group, *id)).collect();
            match sample.running_share {
                Some(share) if share > 0.0 && share < 1.0 && !running.is_empty() => {
                    ControlState::PartOfTheTime(running)
                }
                Some(share) if share <= 0.0 => ControlState::Ran(BTreeSet::new()),
                _ => ControlState::Ran(running),
            }
        }
    }
}

/// Whether a control is worn; one that is not among the evidence is taken as not worn.
fn is_worn(group: &GroupEvidence, control: ControlId) -> bool {
    group.controls.iter().any(|known| known.id == control.0 && known.fact.kind.is_worn())
}

/// Whether a dated fact holds on a date: `from` is the first day, `to` the first day no longer.
pub(crate) fn holds(from: Option<NaiveDate>, to: Option<NaiveDate>, on: NaiveDate) -> bool {
    from.is_none_or(|from| from <= on) && to.is_none_or(|to| on < to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::{ARM, TASK, date, group, id, sample};
    use serde_json::{Value, json};

    fn state(running: &Value, arm_from: Option<&str>) -> ControlState {
        control_state(&sample(50, &json!({"control_ids_running": running})).fact, &group(arm_from))
    }

    // The readings are this registry's rules; the shift date is 2 March 2026.
    #[test]
    fn missing_reads_as_nothing_ran_only_where_nothing_was_in_place() {
        assert_eq!(state(&Value::Null, None), ControlState::Ran(BTreeSet::new()));
        assert_eq!(state(&Value::Null, Some("2026-03-03")), ControlState::Ran(BTreeSet::new()));
        assert_eq!(state(&Value::Null, Some("2026-03-02")), ControlState::NotRecorded);
        assert_eq!(state(&json!([]), Some("2026-03-02")), ControlState::Ran(BTreeSet::new()));
    }

    #[test]
    fn a_respirator_is_never_among_what_ran() {
        let both = json!([id(ARM), id(41)]);
        assert_eq!(state(&both, None), ControlState::Ran([ControlId(id(ARM))].into()));
    }

    #[test]
    fn a_control_that_ran_part_of_the_time_is_neither_on_nor_off() {
        let share = |share: f64| {
            let change = json!({"control_ids_running": [id(ARM)], "running_share": share});
            control_state(&sample(50, &change).fact, &group(None))
        };
        assert_eq!(share(0.5).ran(), None);
        assert_eq!(share(1.0), ControlState::Ran([ControlId(id(ARM))].into()));
        assert_eq!(share(0.0), ControlState::Ran(BTreeSet::new()));
    }

    #[test]
    fn what_is_in_place_is_read_from_the_calendar_of_the_task() {
        let group = group(Some("2026-03-02"));
        let on =
            |task: Option<u128>, day: &str| in_place(&group, task.map(|task| TaskId(id(task))), date(day));
        assert_eq!(on(Some(TASK), "2026-03-01"), BTreeSet::new());
        assert_eq!(on(Some(TASK), "2026-03-02"), [ControlId(id(ARM))].into());
        assert_eq!(on(None, "2026-03-02"), [ControlId(id(ARM))].into());
        assert_eq!(on(Some(99), "2026-03-02"), BTreeSet::new());
    }
}
