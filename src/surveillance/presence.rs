//! Who was present at a release: those it names, and those who belonged to its groups that day.

use crate::model::identifiers::{GroupId, WorkerId};
use crate::surveillance::work_days::Absence;
use chrono::{NaiveDate, NaiveDateTime, Timelike as _};

/// A release, in its site's local time.
#[derive(Debug, Clone, Copy)]
pub struct ReleasedOn<'r> {
    /// When.
    pub at: NaiveDateTime,
    /// Groups whose members were present.
    pub groups: &'r [GroupId],
    /// Workers who were present.
    pub workers: &'r [WorkerId],
}

/// A shift that a worker is known to have worked in a group: recorded as worked, or sampled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownShift {
    /// The group.
    pub group: GroupId,
    /// The site's local date on which the shift started.
    pub date: NaiveDate,
    /// Its hours.
    pub hours: f64,
}

impl KnownShift {
    /// Whether it may have been going on: on its own date whenever that was, as nothing says when it started; on the next
    /// until as many hours after midnight as it had.
    fn may_include(self, at: NaiveDateTime) -> bool {
        let hour = f64::from(at.time().num_seconds_from_midnight()) / 3600.0;
        at.date() == self.date || (self.date.succ_opt() == Some(at.date()) && hour < self.hours)
    }
}

/// Where a worker belonged.
#[derive(Debug, Clone, Copy)]
pub struct Belonging<'b> {
    /// Assignments: group, first day, first day no longer.
    pub assigned: &'b [(GroupId, NaiveDate, Option<NaiveDate>)],
    /// Shifts of which somebody recorded a day or took a sample.
    pub known: &'b [KnownShift],
    /// Absences.
    pub absences: &'b [Absence],
}

/// Whether a worker was present. A schedule does not say who was there on a given day, so everybody assigned counts, free
/// day or not; an absence takes him out, a recorded day, a sample worn or his name in the release puts him in. A night shift
/// bears the date of the evening before.
pub fn was_present(release: ReleasedOn<'_>, worker: WorkerId, belonging: Belonging<'_>) -> bool {
    let on = release.at.date();
    let away = belonging.absences.iter().any(|absence| absence.from <= on && on < absence.to);
    let assigned = belonging.assigned.iter().any(|(group, from, to)| {
        release.groups.contains(group) && *from <= on && to.is_none_or(|to| on < to)
    });
    let known = belonging
        .known
        .iter()
        .any(|shift| release.groups.contains(&shift.group) && shift.may_include(release.at));
    release.workers.contains(&worker) || known || (assigned && !away)
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
        let at = |day, hour| date(day).and_hms_opt(hour, 0, 0).unwrap();
        let release = ReleasedOn { at: at(5, 14), groups: &[group], workers: &[ada] };
        let assigned = |group, from, to: Option<u32>| [(group, date(from), to.map(date))];
        let was = |worker, assigned: &[_], known: &[_], absences: &[_]| {
            was_present(release, worker, Belonging { assigned, known, absences })
        };
        assert!(was(ada, &[], &[], &[]));
        assert!(was(bram, &assigned(group, 5, None), &[], &[]));
        assert!(!was(bram, &assigned(group, 1, Some(5)), &[], &[]));
        assert!(!was(bram, &assigned(group, 6, None), &[], &[]));
        assert!(!was(bram, &assigned(other, 1, None), &[], &[]));
        let away = [Absence { from: date(5), to: date(6) }];
        assert!(!was(bram, &assigned(group, 1, None), &[], &away));
        let shift = |day, hours| [KnownShift { group, date: date(day), hours }];
        assert!(was(bram, &assigned(other, 1, None), &shift(5, 8.0), &away));
        assert!(!was(bram, &[], &shift(4, 12.0), &[]));
        // A shift of ten hours that started on the 4th is over by ten on the 5th at the latest.
        let at_night = |hour| {
            let release = ReleasedOn { at: at(5, hour), groups: &[group], workers: &[] };
            was_present(release, bram, Belonging { assigned: &[], known: &shift(4, 10.0), absences: &[] })
        };
        assert_eq!([at_night(0), at_night(9), at_night(10)], [true, true, false]);
    }
}
