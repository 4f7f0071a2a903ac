//! The eras of a group: stretches of time in which its work and its controls were of one kind.

use crate::conclusions::control_state::{holds, in_place};
use crate::conclusions::evidence::GroupEvidence;
use crate::model::identifiers::ControlId;
use crate::model::text::Code;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// A stretch of time in which a group's work was of one kind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Era {
    /// The first day; the first era has none.
    pub from: Option<NaiveDate>,
    /// The first day no longer; the last era has none.
    pub to: Option<NaiveDate>,
    /// Controls in place in it, on any of the group's tasks; after a joined cut those in place at its end.
    pub control_ids: Vec<ControlId>,
}

impl Era {
    /// Whether a shift date lies in it.
    pub fn holds(&self, date: NaiveDate) -> bool {
        holds(self.from, self.to, date)
    }
}

/// The eras of a group for an agent, oldest first; always at least one.
pub fn eras(group: &GroupEvidence, agent: &Code) -> Vec<Era> {
    let mut cuts = cuts(group);
    let joined = |at: &NaiveDate| {
        group.joined.iter().any(|joined| {
            joined.stands()
                && joined.fact.at == *at
                && joined.fact.agent_code.as_ref().is_none_or(|code| code == agent)
        })
    };
    // A cut that is taken out still bounds where controls are read: at the end of the joined era.
    let all = cuts.clone();
    cuts.retain(|at| !joined(at));
    let bounds: Vec<NaiveDate> = cuts.into_iter().collect();
    (0..=bounds.len())
        .map(|n| {
            let from = n.checked_sub(1).map(|before| bounds[before]);
            let to = bounds.get(n).copied();
            let last_cut = match to {
                Some(to) => all.range(..to).next_back(),
                None => all.iter().next_back(),
            };
            // Within one stretch nothing changes, so any of its days shows what is in place.
            let day = last_cut.copied().or_else(|| to.and_then(|to| to.pred_opt()));
            let control_ids = in_place(group, None, day.unwrap_or(NaiveDate::MIN)).into_iter().collect();
            Era { from, to, control_ids }
        })
        .collect()
}

/// The dates on which the work of a group became of another kind.
fn cuts(group: &GroupEvidence) -> BTreeSet<NaiveDate> {
    let mut cuts = BTreeSet::new();
    for task in group.tasks.iter().filter(|task| task.stands()) {
        cuts.extend(task.fact.from);
        cuts.extend(task.fact.to);
        let ends = group
            .periods
            .iter()
            .filter(|period| period.stands() && period.parent == Some(task.id))
            .filter(|period| {
                !group
                    .controls
                    .iter()
                    .any(|control| control.id == period.fact.control_id.0 && control.fact.kind.is_worn())
            })
            .flat_map(|period| [Some(period.fact.from), period.fact.to])
            .flatten();
        // What happens on a task before it joins or after it leaves the group cuts nothing.
        cuts.extend(ends.filter(|at| {
            task.fact.from.is_none_or(|from| from <= *at) && task.fact.to.is_none_or(|to| *at <= to)
        }));
    }
    cuts.extend(group.changes.iter().filter(|change| change.stands()).map(|change| change.fact.from));
    cuts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::{ARM, GROUP, SITE, TASK, date, group, id, version};
    use serde_json::{Value, json};

    fn seen(group: &GroupEvidence, agent: &str) -> Vec<(Option<String>, Option<String>, usize)> {
        let text = |date: Option<NaiveDate>| date.map(|date| date.to_string());
        eras(group, &Code::new(agent).unwrap())
            .into_iter()
            .map(|era| (text(era.from), text(era.to), era.control_ids.len()))
            .collect()
    }

    /// A span's end.
    macro_rules! some {
        ($text:literal) => {
            Some($text.to_owned())
        };
    }

    // What cuts an era is this registry's rule; all dates are invented.
    #[test]
    fn a_group_without_changes_has_one_era_without_ends() {
        assert_eq!(seen(&group(None), "lead"), [(None, None, 0)]);
    }

    #[test]
    fn a_control_that_comes_and_goes_cuts_twice_and_a_respirator_never() {
        let mut group = group(None);
        let period = |number, control: u128, from: &str, to: Value| {
            version(number, Some(TASK), &json!({"control_id": id(control), "from": from, "to": to}))
        };
        group.periods = vec![
            period(60, ARM, "2024-01-01", json!("2025-06-01")),
            period(61, 41, "2024-09-01", Value::Null),
        ];
        assert_eq!(
            seen(&group, "lead"),
            [
                (None, some!("2024-01-01"), 0),
                (some!("2024-01-01"), some!("2025-06-01"), 1),
                (some!("2025-06-01"), None, 0)
            ]
        );
        group.periods[0].voided = Some("Entered by mistake".into());
        assert_eq!(seen(&group, "lead").len(), 1);
    }

    #[test]
    fn equal_cuts_merge_and_tasks_that_join_or_leave_cut_too() {
        let mut group = group(Some("2024-01-01"));
        let change = |from: &str| {
            version(
                70,
                Some(GROUP),
                &json!({"from": from, "kind": "process", "description": "A new line",
                "may_raise": true}),
            )
        };
        group.changes = vec![change("2024-01-01")];
        assert_eq!(seen(&group, "lead").len(), 2);
        group.tasks.push(version(
            71,
            Some(SITE),
            &json!({"code": "U", "title": "Cutting", "group_id": id(GROUP), "from": "2023-01-01", "to": "2024-01-01"}),
        ));
        assert_eq!(
            seen(&group, "lead"),
            [
                (None, some!("2023-01-01"), 0),
                (some!("2023-01-01"), some!("2024-01-01"), 0),
                (some!("2024-01-01"), None, 1)
            ]
        );
        // The arm on the other task counts only while that task is the group's.
        group.periods = vec![version(72, Some(71), &json!({"control_id": id(ARM), "from": "2025-01-01"}))];
        assert_eq!(seen(&group, "lead").len(), 3);
    }

    #[test]
    fn a_cut_that_is_taken_out_joins_its_two_eras_for_the_agent_named() {
        let mut group = group(Some("2024-01-01"));
        let joined = |agent: Value| {
            version(
                80,
                Some(GROUP),
                &json!({"agent_code": agent, "at": "2024-01-01", "reason": "A test hood only"}),
            )
        };
        group.joined = vec![joined(json!("lead"))];
        assert_eq!(seen(&group, "lead"), [(None, None, 1)]);
        assert_eq!(seen(&group, "cadmium").len(), 2);
        group.joined = vec![joined(Value::Null)];
        assert_eq!(seen(&group, "cadmium"), [(None, None, 1)]);
    }

    #[test]
    fn a_date_lies_in_the_era_that_begins_on_it() {
        let eras = eras(&group(Some("2024-01-01")), &Code::new("lead").unwrap());
        assert!(!eras[0].holds(date("2024-01-01")) && eras[1].holds(date("2024-01-01")));
        assert!(eras[0].holds(date("2023-12-31")));
    }
}
