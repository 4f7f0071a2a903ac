//! Who was present at a release: those it names, and those who belonged to its groups that day.

use crate::model::identifiers::{GroupId, WorkerId};
use crate::surveillance::work_days::Absence;
use chrono::NaiveDate;

/// A release, on its site's local date.
#[derive(Debug, Clone, Copy)]
pub struct ReleasedOn<'r> {
    /// The date.
    pub on: NaiveDate,
    /// Groups whose members were present.
    pub groups: &'r [GroupId],
    /// Workers who were present.
    pub workers: &'r [WorkerId],
}

/// Where a worker belonged.
#[derive(Debug, Clone, Copy)]
pub struct Belonging<'b> {
    /// Assignments: group, first day, first day no longer.
    pub assigned: &'b [(GroupId, NaiveDate, Option<NaiveDate>)],
    /// Days recorded as worked.
    pub recorded: &'b [(GroupId, NaiveDate)],
    /// Absences.
    pub absences: &'b [Absence],
}

/// Whether a worker was present. A schedule does not say who was there on a given day, so everybody assigned counts, free
/// day or not; an absence takes him out, a recorded day or his name in the release puts him in.
pub fn was_present(release: ReleasedOn<'_>, worker: WorkerId, belonging: Belonging<'_>) -> bool {
    let away = belonging.absences.iter().any(|absence| absence.from <= release.on && release.on < absence.to);
    let assigned = belonging.assigned.iter().any(|(group, from, to)| {
        release.groups.contains(group) && *from <= release.on && to.is_none_or(|to| release.on < to)
    });
    let recorded =
        belonging.recorded.iter().any(|(group, date)| release.groups.contains(group) && *date == release.on);
    release.workers.contains(&worker) || recorded || (assigned && !away)
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    // The rule is this registry's own.
    #[test]
    fn those_named_and_those_assigned_that_day_were_present() {
        let (group, other) = (GroupId(Uuid::from_u128(1)), GroupId(Uuid::from_u128(2)));
        let (ada, bram) = (WorkerId(Uuid::from_u128(3)), WorkerId(Uuid::from_u128(4)));
        let date = |day| NaiveDate::from_ymd_opt(2026, 3, day).unwrap();
        let release = ReleasedOn { on: date(5), groups: &[group], workers: &[ada] };
        let assigned = |group, from, to: Option<u32>| [(group, date(from), to.map(date))];
        let was = |worker, assigned: &[_], recorded: &[_], absences: &[_]| {
            was_present(release, worker, Belonging { assigned, recorded, absences })
        };
        assert!(was(ada, &[], &[], &[]));
        assert!(was(bram, &assigned(group, 5, None), &[], &[]));
        assert!(!was(bram, &assigned(group, 1, Some(5)), &[], &[]));
        assert!(!was(bram, &assigned(group, 6, None), &[], &[]));
        assert!(!was(bram, &assigned(other, 1, None), &[], &[]));
        let away = [Absence { from: date(5), to: date(6) }];
        assert!(!was(bram, &assigned(group, 1, None), &[], &away));
        assert!(was(bram, &assigned(other, 1, None), &[(group, date(5))], &away));
    }
}
