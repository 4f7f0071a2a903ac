//! On which dates a worker worked, or by schedule will: recorded days, and the pattern of assignments elsewhere.

use crate::model::identifiers::{AssignmentId, GroupId, SiteId};
use crate::surveillance::calendar::{add_days, monday};
use chrono::NaiveDate;
use std::collections::{HashMap, HashSet};

/// The schedule of one assignment.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// The assignment.
    pub assignment: AssignmentId,
    /// To which group.
    pub group: GroupId,
    /// At which site.
    pub site: SiteId,
    /// First day.
    pub from: NaiveDate,
    /// First day no longer; `None` while it is open.
    pub to: Option<NaiveDate>,
    /// Shifts a week, such as 2.5.
    pub shifts_per_week: f64,
    /// Hours a shift.
    pub hours_per_shift: f64,
}

impl Pattern {
    fn holds(&self, date: NaiveDate) -> bool {
        self.from <= date && self.to.is_none_or(|to| date < to)
    }
}

/// A day that was recorded as worked.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordedDay {
    /// The date.
    pub date: NaiveDate,
    /// In which group.
    pub group: GroupId,
    /// At which site.
    pub site: SiteId,
    /// How many hours.
    pub hours: f64,
}

/// A time away from work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Absence {
    /// First day away.
    pub from: NaiveDate,
    /// First day back.
    pub to: NaiveDate,
}

/// One date worked in one group.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkDay {
    /// The date.
    pub date: NaiveDate,
    /// In which group.
    pub group: GroupId,
    /// At which site.
    pub site: SiteId,
    /// By which assignment; `None` for a recorded day that no assignment covers.
    pub assignment: Option<AssignmentId>,
    /// How many hours.
    pub hours: f64,
    /// Whether it was recorded, not placed by schedule.
    pub recorded: bool,
}

/// Shifts of a schedule that found no date in their week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dropped {
    /// Whose schedule.
    pub assignment: AssignmentId,
    /// Monday of the week.
    pub week: NaiveDate,
    /// How many shifts.
    pub shifts: u32,
}

/// The days worked, and what the schedules could not place.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WorkDays {
    /// By date.
    pub days: Vec<WorkDay>,
    /// By week.
    pub dropped: Vec<Dropped>,
}

/// The days of one worker before `horizon` (the first day not asked about).
///
/// Week k of an assignment (weeks from Monday, week 1 holds `from`) has ceil(k·s) − ceil((k−1)·s) of its s shifts a
/// week, placed on the first dates of the week that are within the assignment and that no other assignment and no
/// absence takes. Where assignments overlap the earlier `from` places first, then the lower identifier. A week with a
/// recorded day has its recorded days only, whatever the schedules say. Holidays are worked.
pub fn work_days(
    patterns: &[Pattern],
    recorded: &[RecordedDay],
    absences: &[Absence],
    horizon: NaiveDate,
) -> WorkDays {
    let mut waiting: Vec<(&Pattern, Shifts)> =
        patterns.iter().map(|pattern| (pattern, Shifts::of(pattern.shifts_per_week))).collect();
    waiting.sort_by_key(|(pattern, _)| (pattern.from, pattern.assignment));
    let recorded_weeks: HashSet<NaiveDate> = recorded.iter().map(|day| monday(day.date)).collect();
    let mut away = Away::new(absences);

    let mut found = WorkDays::default();
    let mut waiting = waiting.into_iter().peekable();
    let mut active: Vec<(&Pattern, Shifts)> = Vec::new();
    let mut week = waiting.peek().map_or(horizon, |(pattern, _)| monday(pattern.from));
    while week < horizon {
        let next_week = add_days(week, 7);
        active.retain(|(pattern, _)| pattern.to.is_none_or(|to| week < to));
        while let Some(starting) = waiting.next_if(|(pattern, _)| pattern.from < next_week) {
            active.push(starting);
        }
        if !recorded_weeks.contains(&week) {
            let mut free: Vec<NaiveDate> =
                week.iter_days().take(7).filter(|date| !away.holds(*date)).collect();
            for (pattern, shifts) in &active {
                place(pattern, *shifts, week, horizon, &mut free, &mut found);
            }
        }
        week = match waiting.peek() {
            // Nobody works in between: go straight to the next assignment.
            Some((pattern, _)) if active.is_empty() => next_week.max(monday(pattern.from)),
            None if active.is_empty() => horizon,
            _ => next_week,
        };
    }

    let mut of_group: HashMap<GroupId, Vec<&Pattern>> = HashMap::new();
    for pattern in patterns {
        of_group.entry(pattern.group).or_default().push(pattern);
    }
    found.days.extend(recorded.iter().filter(|day| day.date < horizon).map(|day| {
        WorkDay {
            date: day.date,
            group: day.group,
            site: day.site,
            assignment: of_group
                .get(&day.group)
                .and_then(|patterns| patterns.iter().find(|pattern| pattern.holds(day.date)))
                .map(|pattern| pattern.assignment),
            hours: day.hours,
            recorded: true,
        }
    }));
    found.days.sort_by_key(|day| day.date);
    found
}

/// Places one week of a schedule on the free dates and takes these.
fn place(
    pattern: &Pattern,
    shifts: Shifts,
    week: NaiveDate,
    horizon: NaiveDate,
    free: &mut Vec<NaiveDate>,
    found: &mut WorkDays,
) {
    let week_number = (week - monday(pattern.from)).num_days() / 7 + 1;
    let mut left = shifts.in_week(week_number);
    free.retain(|date| {
        let take = left > 0 && pattern.holds(*date);
        if take {
            left -= 1;
            if *date < horizon {
                found.days.push(WorkDay {
                    date: *date,
                    group: pattern.group,
                    site: pattern.site,
                    assignment: Some(pattern.assignment),
                    hours: pattern.hours_per_shift,
                    recorded: false,
                });
            }
        }
        !take
    });
    if left > 0 {
        found.dropped.push(Dropped { assignment: pattern.assignment, week, shifts: left });
    }
}

/// How many of s shifts a week fall in week k from 1: ceil(k·s) − ceil((k−1)·s).
pub(super) fn shifts_in_week(shifts_per_week: f64, week: i64) -> u32 {
    Shifts::of(shifts_per_week).in_week(week)
}

/// Shifts a week as an exact decimal fraction: 3.3 is 33/10, which no binary number is.
#[derive(Debug, Clone, Copy)]
struct Shifts {
    numerator: i128,
    denominator: i128,
}

impl Shifts {
    fn of(shifts_per_week: f64) -> Self {
        // The shortest decimal text of a double is the one that was entered.
        let text = format!("{shifts_per_week}");
        let (whole, decimals) = text.split_once('.').unwrap_or((&text, ""));
        let decimals = decimals.get(..decimals.len().min(12)).unwrap_or_default();
        let numerator =
            format!("{whole}{decimals}").parse::<i128>().unwrap_or(0).clamp(0, i128::from(u64::MAX));
        Self { numerator, denominator: decimals.chars().fold(1, |size, _| size * 10) }
    }

    /// ceil(k·s) − ceil((k−1)·s) for week k from 1.
    fn in_week(self, k: i64) -> u32 {
        let ceiling = |weeks: i64| {
            let product = i128::from(weeks) * self.numerator;
            (product + self.denominator - 1).div_euclid(self.denominator)
        };
        u32::try_from(ceiling(k) - ceiling(k - 1)).unwrap_or(u32::MAX)
    }
}

/// Absences in order, asked for dates that only go up.
struct Away {
    absences: Vec<Absence>,
    next: usize,
}

impl Away {
    fn new(absences: &[Absence]) -> Self {
        let mut absences = absences.to_vec();
        absences.sort_by_key(|absence| absence.from);
        // Joined where they overlap, so that the first one not yet over decides.
        absences.dedup_by(|later, earlier| {
            let joins = later.from <= earlier.to;
            if joins {
                earlier.to = earlier.to.max(later.to);
            }
            joins
        });
        Self { absences, next: 0 }
    }

    fn holds(&mut self, date: NaiveDate) -> bool {
        while self.absences.get(self.next).is_some_and(|absence| absence.to <= date) {
            self.next += 1;
        }
        self.absences.get(self.next).is_some_and(|absence| absence.from <= date)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    // The rules of this file are this registry's own; no statute says how a schedule falls on dates.

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn pattern(number: u128, from: &str, to: Option<&str>, shifts_per_week: f64) -> Pattern {
        Pattern {
            assignment: AssignmentId(Uuid::from_u128(number)),
            group: GroupId(Uuid::from_u128(number)),
            site: SiteId(Uuid::from_u128(1)),
            from: date(from),
            to: to.map(date),
            shifts_per_week,
            hours_per_shift: 8.0,
        }
    }

    fn recorded(on: &str, group: u128) -> RecordedDay {
        let (group, site) = (GroupId(Uuid::from_u128(group)), SiteId(Uuid::from_u128(1)));
        RecordedDay { date: date(on), group, site, hours: 6.0 }
    }

    fn dates(found: &WorkDays) -> Vec<String> {
        found.days.iter().map(|day| day.date.to_string()).collect()
    }

    #[test]
    fn two_and_a_half_shifts_a_week_alternate_three_and_two() {
        // 5 January 2026 is a Monday.
        let found = work_days(&[pattern(1, "2026-01-05", None, 2.5)], &[], &[], date("2026-01-19"));
        assert_eq!(dates(&found), ["2026-01-05", "2026-01-06", "2026-01-07", "2026-01-12", "2026-01-13"]);
        assert!(found.dropped.is_empty());
    }

    #[test]
    fn a_tenth_is_a_tenth_and_not_its_binary_neighbour() {
        // ceil(k·3.3) − ceil((k−1)·3.3): 4 3 3 4 3 3 4 3 3 3, in all 33 of ten weeks (k = 10 is exactly 33).
        let shifts = Shifts::of(3.3);
        let weeks: Vec<_> = (1..=10).map(|k| shifts.in_week(k)).collect();
        assert_eq!(weeks, [4, 3, 3, 4, 3, 3, 4, 3, 3, 3]);
        assert_eq!(Shifts::of(1.1).in_week(10), 1);
        assert_eq!(Shifts::of(0.0).in_week(1), 0);
        assert_eq!(Shifts::of(-2.0).in_week(1), 0);
    }

    #[test]
    fn week_one_holds_the_first_day_and_drops_what_no_longer_fits() {
        // From a Friday: Friday, Saturday, Sunday; two shifts find no date.
        let found =
            work_days(&[pattern(1, "2026-01-09", Some("2026-01-14"), 5.0)], &[], &[], date("2026-06-01"));
        assert_eq!(dates(&found), ["2026-01-09", "2026-01-10", "2026-01-11", "2026-01-12", "2026-01-13"]);
        let dropped: Vec<_> = found.dropped.iter().map(|week| (week.week.to_string(), week.shifts)).collect();
        assert_eq!(dropped, [("2026-01-05".to_owned(), 2), ("2026-01-12".to_owned(), 3)]);
    }

    #[test]
    fn the_horizon_cuts_days_and_is_no_drop() {
        let found = work_days(&[pattern(1, "2026-01-05", None, 5.0)], &[], &[], date("2026-01-07"));
        assert_eq!(dates(&found), ["2026-01-05", "2026-01-06"]);
        assert!(found.dropped.is_empty());
    }

    #[test]
    fn a_recorded_day_replaces_the_week_of_every_assignment() {
        let patterns = [pattern(1, "2026-01-05", None, 3.0), pattern(2, "2026-01-05", None, 2.0)];
        let found = work_days(&patterns, &[recorded("2026-01-10", 2)], &[], date("2026-01-14"));
        assert_eq!(dates(&found), ["2026-01-10", "2026-01-12", "2026-01-13"]);
        assert!(found.days[0].recorded);
        assert_eq!(found.days[0].assignment, Some(patterns[1].assignment));
        assert!(found.dropped.is_empty());
    }

    #[test]
    fn overlapping_assignments_never_share_a_date_and_the_earlier_goes_first() {
        let patterns = [pattern(1, "2026-01-12", None, 3.0), pattern(2, "2026-01-05", None, 3.0)];
        let found = work_days(&patterns, &[], &[], date("2026-01-19"));
        let second: Vec<_> = found
            .days
            .iter()
            .filter(|day| day.date >= date("2026-01-12"))
            .map(|day| (day.date.to_string(), day.assignment == Some(patterns[0].assignment)))
            .collect();
        let expected = ["12", "13", "14", "15", "16", "17"].map(|day| format!("2026-01-{day}"));
        assert_eq!(second.iter().map(|(day, _)| day.clone()).collect::<Vec<_>>(), expected);
        assert_eq!(
            second.iter().map(|(_, first)| *first).collect::<Vec<_>>(),
            [false, false, false, true, true, true]
        );
    }

    #[test]
    fn absences_take_their_dates() {
        let away = |from, to| Absence { from: date(from), to: date(to) };
        let absences = [away("2026-01-06", "2026-01-08"), away("2026-01-05", "2026-01-07")];
        let found = work_days(&[pattern(1, "2026-01-05", None, 5.0)], &[], &absences, date("2026-01-12"));
        assert_eq!(dates(&found), ["2026-01-08", "2026-01-09", "2026-01-10", "2026-01-11"]);
        assert_eq!(found.dropped[0].shifts, 1);
    }

    #[test]
    fn a_recorded_day_without_an_assignment_still_counts() {
        let found = work_days(&[], &[recorded("2026-01-10", 9)], &[], date("2026-02-01"));
        assert_eq!(found.days[0].assignment, None);
        assert_eq!(found.days[0].hours.to_bits(), 6.0_f64.to_bits());
    }

    #[test]
    fn an_assignment_after_a_gap_is_found() {
        let patterns =
            [pattern(1, "2020-01-06", Some("2020-01-07"), 1.0), pattern(2, "2026-01-07", None, 1.0)];
        let found = work_days(&patterns, &[], &[], date("2026-01-12"));
        assert_eq!(dates(&found), ["2020-01-06", "2026-01-07"]);
    }
}
