//! How much of full time was worked: by schedule, or as recorded.

use crate::conclusions::history::thresholds::FULL_TIME_SHIFTS;
use crate::model::facts::worker::{Absence, WorkedDay};
use crate::model::identifiers::GroupId;
use crate::model::version::Version;
use crate::surveillance::calendar::{add_days, monday};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// Days of a week.
const WEEK: f64 = 7.0;

/// Days recorded and days absent of one worker.
#[derive(Debug, Clone, Default)]
pub struct Worked {
    recorded: BTreeMap<NaiveDate, BTreeSet<GroupId>>,
    weeks: BTreeSet<NaiveDate>,
    absent: BTreeSet<NaiveDate>,
}

/// Days of an interval by how they count.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct DaysWorked {
    /// Calendar days.
    pub calendar: u32,
    /// Calendar days that the schedule weighs: neither absent nor in a recorded week.
    pub by_schedule: u32,
    /// Days recorded in the group.
    pub recorded: u32,
}

impl DaysWorked {
    /// Calendar days of full time.
    pub fn full_time_days(self, shifts_per_week: f64) -> f64 {
        (f64::from(self.by_schedule) * shifts_per_week + f64::from(self.recorded) * WEEK) / FULL_TIME_SHIFTS
    }

    /// The share of full time over the interval.
    pub fn weight(self, shifts_per_week: f64) -> f64 {
        if self.calendar == 0 {
            return 0.0;
        }
        self.full_time_days(shifts_per_week) / f64::from(self.calendar)
    }
}

impl Worked {
    /// From the facts that stand, looking at days before `until` only.
    pub fn of(recorded: &[Version<WorkedDay>], absences: &[Version<Absence>], until: NaiveDate) -> Self {
        let mut worked = Self::default();
        for day in recorded.iter().filter(|day| day.stands()) {
            worked.recorded.entry(day.fact.date).or_default().insert(day.fact.group_id);
            worked.weeks.insert(monday(day.fact.date));
        }
        for absence in absences.iter().filter(|absence| absence.stands()) {
            let days = absence.fact.from.iter_days();
            worked.absent.extend(days.take_while(|date| *date < absence.fact.to.min(until)));
        }
        worked
    }

    /// The days of an interval in a group; `schedule` is whether a schedule stands behind it.
    pub fn days(&self, group: GroupId, from: NaiveDate, to: NaiveDate, schedule: bool) -> DaysWorked {
        let mut days = DaysWorked::default();
        for date in from.iter_days().take_while(|date| *date < to) {
            days.calendar += 1;
            if self.weeks.contains(&monday(date)) {
                days.recorded +=
                    u32::from(self.recorded.get(&date).is_some_and(|groups| groups.contains(&group)));
            } else if schedule && !self.absent.contains(&date) {
                days.by_schedule += 1;
            }
        }
        days
    }

    /// The parts of recorded weeks (Monday to Monday) that no assignment to the group covers, where a day of them is
    /// recorded in it.
    pub fn unassigned(
        &self,
        covered: impl Fn(GroupId, NaiveDate) -> bool,
    ) -> BTreeSet<(GroupId, NaiveDate, NaiveDate)> {
        let recorded =
            self.recorded.iter().flat_map(|(date, groups)| groups.iter().map(|group| (*group, *date)));
        recorded
            .filter(|(group, date)| !covered(*group, *date))
            .map(|(group, date)| {
                let week = monday(date);
                let free = |day: &NaiveDate| !covered(group, *day);
                let after = week.iter_days().take(7).filter(|day| *day > date).find(|day| !free(day));
                let before =
                    week.iter_days().take(7).take_while(|day| *day < date).filter(|day| !free(day)).max();
                let from = before.and_then(|day| day.succ_opt()).unwrap_or(week);
                (group, from, after.unwrap_or_else(|| add_days(week, 7)))
            })
            .collect()
    }
}
