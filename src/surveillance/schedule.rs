//! Days from a bare schedule, for a calculation on given numbers.

use crate::model::identifiers::{AssignmentId, GroupId, SiteId};
use crate::model::measured::Measured;
use crate::surveillance::calendar::add_months;
use crate::surveillance::day_count::{Day, WINDOW_MONTHS};
use crate::surveillance::work_days::{Pattern, work_days};
use chrono::NaiveDate;
use uuid::Uuid;

/// Work at one exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scheduled {
    /// First day.
    pub from: NaiveDate,
    /// First day no longer; without it twelve months from `from` are looked at.
    pub to: Option<NaiveDate>,
    /// Shifts a week.
    pub shifts_per_week: f64,
    /// The 8-hour TWA of each of them.
    pub twa: Measured,
}

/// The days of a schedule, placed as those of assignments are; entries that overlap never share a date.
pub fn scheduled_days(schedule: &[Scheduled]) -> Vec<Day> {
    let end = |entry: &Scheduled| entry.to.unwrap_or_else(|| add_months(entry.from, WINDOW_MONTHS));
    let Some(horizon) = schedule.iter().map(end).max() else { return Vec::new() };
    // The entries are no facts: their place in the list stands in for an identifier.
    let patterns: Vec<_> = (0_u128..)
        .zip(schedule)
        .map(|(place, entry)| Pattern {
            assignment: AssignmentId(Uuid::from_u128(place)),
            group: GroupId(Uuid::nil()),
            site: SiteId(Uuid::nil()),
            from: entry.from,
            to: Some(end(entry)),
            shifts_per_week: entry.shifts_per_week,
            hours_per_shift: 8.0,
        })
        .collect();
    let placed = work_days(&patterns, &[], &[], horizon).days.into_iter();
    placed
        .filter_map(|day| {
            let place = usize::try_from(day.assignment?.0.as_u128()).ok()?;
            Some(Day { twa: Some(schedule.get(place)?.twa), ..Day::new(day.date) })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn an_open_schedule_runs_twelve_months_and_keeps_each_entrys_exposure() {
        // This registry's rule: 2.5 shifts a week are 3, 2, 3, 2 …: 130 in 52 weeks, and Monday 4 January.
        let entry = |from, to: Option<&str>, twa| Scheduled {
            from: date(from),
            to: to.map(date),
            shifts_per_week: 2.5,
            twa: Measured::Value(twa),
        };
        let days = scheduled_days(&[entry("2026-01-05", None, 3.0)]);
        assert_eq!(days.len(), 131);
        assert_eq!(days.last().unwrap().date, date("2027-01-04"));
        let two =
            [entry("2026-01-05", Some("2026-01-12"), 1.0), entry("2026-01-05", Some("2026-01-12"), 2.0)];
        let twas: Vec<_> = scheduled_days(&two).iter().map(|day| day.twa.unwrap().lower()).collect();
        assert_eq!(twas, [1.0, 1.0, 1.0, 2.0, 2.0, 2.0]);
    }
}
