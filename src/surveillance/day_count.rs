//! Counting days in twelve months: the worst ones, the first that reach a number, and calendar years beside them.

pub use crate::model::facts::duty::Window;
use crate::model::measured::{Answer, Measured};
use crate::surveillance::calendar::add_months;
use crate::surveillance::level::Level;
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;

/// Months of the window in which days are counted, where a text does not say otherwise.
pub const WINDOW_MONTHS: u32 = 12;

/// What is known of one date of one worker and one agent, in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Day {
    /// The date.
    pub date: NaiveDate,
    /// The worker's own 8-hour TWA, over all groups and sites.
    pub twa: Option<Measured>,
    /// Whether it may also show that the date does not count: everything behind it is accepted, and nothing flagged.
    pub may_lower: bool,
    /// The highest standing of the groups worked in; `None` where nothing was assigned.
    pub standing: Option<Level>,
    /// The same where lying exactly at the limit counts as above it; `None` where that makes no difference.
    pub standing_at_limit: Option<Level>,
    /// How many of the groups worked in stand somewhere.
    pub groups_stand: GroupsStand,
    /// Whether the agent is expected in a group worked in, or was found there, for clauses that look at any exposure at all.
    pub agent_there: bool,
    /// The worker's highest short-term average (or excursion).
    pub short_term: Option<Measured>,
    /// The highest mean of a sample that ran longer than any short-term limit is averaged over: above such a limit, it
    /// was exceeded in some part of it; below, nothing is said.
    pub longer_mean: Option<Measured>,
    /// Whether a respirator was required; `None` where that is not known.
    pub respirator: Option<bool>,
}

/// How many of the groups worked in on a date stand somewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GroupsStand {
    /// Each of them.
    All,
    /// Some or none.
    NotAll,
    /// Some, and a further one, where the agent is expected or was found, nowhere yet: the date may lie higher than the
    /// highest standing says.
    OpenBeside,
}

impl Day {
    /// A date of which nothing is known yet.
    pub fn new(date: NaiveDate) -> Self {
        Self {
            date,
            twa: None,
            may_lower: true,
            standing: None,
            standing_at_limit: None,
            groups_stand: GroupsStand::NotAll,
            agent_there: false,
            short_term: None,
            longer_mean: None,
            respirator: None,
        }
    }
}

impl Day {
    /// What the own average says by a comparison. What is not accepted yet, or flagged, may start a duty and end none: it
    /// does not show that the date lies below.
    pub fn own(&self, compare: impl Fn(Measured) -> Answer) -> Option<Answer> {
        match self.twa.map(compare)? {
            Answer::Below if !self.may_lower => Some(Answer::CannotTell),
            answer => Some(answer),
        }
    }

    /// What the standing of the groups says; `None` where nothing was assigned. Of two groups one of which stands nowhere
    /// the other may say that the date reaches a level, and not that it lies below.
    pub fn by_standing(&self, standing: Option<Level>, answer: impl Fn(Level) -> Answer) -> Option<Answer> {
        match standing.map(answer)? {
            Answer::Below if self.groups_stand == GroupsStand::OpenBeside => Some(Answer::CannotTell),
            answer => Some(answer),
        }
    }
}

/// Which of the group's standings makes an assigned day count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tier {
    /// At or above the action level.
    ActionLevel,
    /// Above the limit.
    Limit,
    /// Any at all.
    AnyExposure,
}

impl Tier {
    pub(super) fn answer(self, standing: Level) -> Answer {
        let reached = match self {
            Self::ActionLevel => standing >= Level::AtOrAboveActionLevel,
            Self::Limit => standing == Level::AboveLimit,
            Self::AnyExposure => standing != Level::Unknown,
        };
        match standing {
            Level::Unknown => Answer::CannotTell,
            _ if reached => Answer::AtOrAbove,
            _ => Answer::Below,
        }
    }
}

/// How one date counts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Verdict {
    /// The worker's own measurement reaches the level.
    pub measured: bool,
    /// It counts: by the own measurement, or where that does not tell, by the group's standing.
    pub counts: bool,
    /// Neither tells, or the own measurement does not and the standing was taken instead.
    pub undecided: bool,
}

impl Verdict {
    /// From the answer of the own measurement, if there is one, and that of the standing, if there is one.
    pub fn of(own: Option<Answer>, standing: Option<Answer>) -> Self {
        match own {
            Some(Answer::AtOrAbove) => Self { measured: true, counts: true, undecided: false },
            // An own measured day replaces what the standing says of its date.
            Some(Answer::Below) => Self::default(),
            Some(Answer::CannotTell) | None => Self {
                measured: false,
                counts: standing == Some(Answer::AtOrAbove),
                undecided: own.is_some() || standing == Some(Answer::CannotTell),
            },
        }
    }

    /// The 8-hour average of a day against a level; `own` tells how a measurement is compared with it.
    pub fn of_average(day: &Day, tier: Tier, own: impl Fn(Measured) -> Answer) -> Self {
        Self::of(day.own(own), day.by_standing(day.standing, |standing| tier.answer(standing)))
    }
}

/// Counted dates, in order and each once.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Dates(Vec<NaiveDate>);

/// A window with the number of dates in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Count {
    /// How many dates.
    pub count: usize,
    /// In which window.
    pub window: Window,
}

/// The first window that reaches a number of days.
#[derive(Debug, Clone, PartialEq)]
pub struct FirstMet {
    /// The window; it begins with a counted date.
    pub window: Window,
    /// On which date the count in it reaches the number.
    pub first_met_on: NaiveDate,
}

impl FromIterator<NaiveDate> for Dates {
    fn from_iter<I: IntoIterator<Item = NaiveDate>>(dates: I) -> Self {
        let mut dates: Vec<_> = dates.into_iter().collect();
        dates.sort_unstable();
        dates.dedup();
        Self(dates)
    }
}

impl Dates {
    /// How many there are in all.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// In order.
    pub fn iter(&self) -> impl Iterator<Item = NaiveDate> + '_ {
        self.0.iter().copied()
    }

    /// Those from `from` on and before `to`.
    pub fn within(&self, from: NaiveDate, to: NaiveDate) -> &[NaiveDate] {
        let at = |date: NaiveDate| self.0.partition_point(|known| *known < date);
        self.0.get(at(from)..at(to)).unwrap_or_default()
    }

    /// Whether a window [d, d + months) over a counted date d holds both the date asked about and at least `needed`
    /// counted ones.
    pub fn covers(&self, on: NaiveDate, months: u32, needed: usize) -> bool {
        self.windows(months)
            .any(|(_, count)| count.window.from <= on && on < count.window.to && count.count >= needed.max(1))
    }

    /// The windows [d, d + months), one after the other and none across another, that hold at least `needed` dates, with
    /// the date on which each does: as many of them as there can be.
    pub fn apart(&self, months: u32, needed: usize) -> Vec<FirstMet> {
        let mut found: Vec<FirstMet> = Vec::new();
        for (first, count) in self.windows(months) {
            let free = found.last().is_none_or(|last| last.window.to <= count.window.from);
            if free && count.count >= needed.max(1) {
                let reached = self.0.get(first + needed.max(1) - 1).copied();
                found.extend(reached.map(|first_met_on| FirstMet { window: count.window, first_met_on }));
            }
        }
        found
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The windows [d, d + months) over each counted date d, with their counts.
    fn windows(&self, months: u32) -> impl Iterator<Item = (usize, Count)> {
        let mut end = 0;
        self.0.iter().enumerate().map(move |(first, from)| {
            let to = add_months(*from, months);
            // Windows only move forward, so each date is passed once.
            while self.0.get(end).is_some_and(|date| *date < to) {
                end += 1;
            }
            (first, Count { count: end - first, window: Window { from: *from, to } })
        })
    }

    /// The window with the most dates, the earliest of equals.
    pub fn worst(&self, months: u32) -> Option<Count> {
        self.windows(months)
            .map(|(_, count)| count)
            .reduce(|worst, next| if next.count > worst.count { next } else { worst })
    }

    /// The first window that holds at least `needed` dates.
    pub fn first_met(&self, months: u32, needed: usize) -> Option<FirstMet> {
        let (first, count) = self.windows(months).find(|(_, count)| count.count >= needed.max(1))?;
        let first_met_on = self.0.get(first + needed.max(1) - 1).copied()?;
        Some(FirstMet { window: count.window, first_met_on })
    }

    /// How many dates each calendar year has.
    pub fn calendar_years(&self) -> BTreeMap<i32, usize> {
        let mut years = BTreeMap::new();
        for date in &self.0 {
            *years.entry(date.year()).or_default() += 1;
        }
        years
    }
}

/// The days at or above an action level, three numbers that are never mixed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct DaysAtOrAbove {
    /// Own TWAs at or above.
    pub measured: Dates,
    /// Assigned days while the group stood there, own measured days in their place.
    pub by_standing: Dates,
    /// Days that nothing decides.
    pub undecided: Dates,
}

/// Counts a worker's days at or above an action level (in the unit of the days).
pub fn days_at_or_above(days: &[Day], action_level: f64) -> DaysAtOrAbove {
    let verdicts: Vec<_> = days
        .iter()
        .map(|day| (day.date, Verdict::of_average(day, Tier::ActionLevel, |twa| twa.against(action_level))))
        .collect();
    let those = |which: fn(&Verdict) -> bool| {
        verdicts.iter().filter(|(_, verdict)| which(verdict)).map(|(date, _)| *date).collect()
    };
    DaysAtOrAbove {
        measured: those(|verdict| verdict.measured),
        by_standing: those(|verdict| verdict.counts),
        undecided: those(|verdict| verdict.undecided),
    }
}

/// The chance, between 0 and 1, that a scheduled day is at or above a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// The date.
    pub date: NaiveDate,
    /// The estimate.
    pub estimate: f64,
    /// Its lower end.
    pub lower: f64,
    /// Its upper end.
    pub upper: f64,
}

/// Days to be expected in the worst window by the estimate: (estimate, lower, upper) and the window.
///
/// # Formula
/// Σ p over the scheduled days of [d, d + months).
pub fn expected(chances: &[Chance], months: u32) -> Option<((f64, f64, f64), Window)> {
    let mut chances = chances.to_vec();
    chances.sort_by_key(|chance| chance.date);
    // Sums up to each day: a window is the difference of two of them.
    let mut sums = vec![(0.0, 0.0, 0.0)];
    for chance in &chances {
        let (estimate, lower, upper) = sums[sums.len() - 1];
        sums.push((estimate + chance.estimate, lower + chance.lower, upper + chance.upper));
    }
    let mut end = 0;
    let mut worst: Option<((f64, f64, f64), Window)> = None;
    for (first, chance) in chances.iter().enumerate() {
        let to = add_months(chance.date, months);
        while chances.get(end).is_some_and(|later| later.date < to) {
            end += 1;
        }
        let (from, until) = (sums[first], sums[end]);
        let sum = (until.0 - from.0, until.1 - from.1, until.2 - from.2);
        if worst.as_ref().is_none_or(|(worst, _)| sum.0 > worst.0) {
            worst = Some((sum, Window { from: chance.date, to }));
        }
    }
    worst
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn run(from: &str, count: usize) -> Vec<NaiveDate> {
        date(from).iter_days().take(count).collect()
    }

    #[test]
    fn twenty_days_at_each_of_two_sites_are_forty_in_one_window() {
        // This registry's rule: one worker, one window, all sites.
        let dates: Dates = run("2026-02-02", 20).into_iter().chain(run("2026-10-05", 20)).collect();
        let worst = dates.worst(WINDOW_MONTHS).unwrap();
        assert_eq!(worst.count, 40);
        assert_eq!(worst.window, Window { from: date("2026-02-02"), to: date("2027-02-02") });
        let first = dates.first_met(WINDOW_MONTHS, 30).unwrap();
        assert_eq!(first.first_met_on, date("2026-10-14"));
    }

    #[test]
    fn the_worst_window_may_straddle_two_calendar_years() {
        let dates: Dates = run("2025-12-01", 20).into_iter().chain(run("2026-01-05", 15)).collect();
        assert_eq!(dates.worst(WINDOW_MONTHS).unwrap().count, 35);
        assert_eq!(dates.calendar_years(), BTreeMap::from([(2025, 20), (2026, 15)]));
    }

    #[test]
    fn a_date_twelve_months_later_is_outside_the_window() {
        let at = |second| [date("2025-03-02"), date(second)].into_iter().collect::<Dates>();
        assert_eq!(at("2026-03-01").worst(12).unwrap().count, 2);
        assert_eq!(at("2026-03-02").worst(12).unwrap().count, 1);
    }

    #[test]
    fn two_groups_on_one_date_are_one_day() {
        let dates: Dates = [date("2026-03-02"), date("2026-03-02")].into_iter().collect();
        assert_eq!(dates.len(), 1);
    }

    #[test]
    fn an_own_measured_day_replaces_the_standing_of_its_date() {
        let day = |on, twa, standing| Day { twa, standing, ..Day::new(date(on)) };
        let days = [
            day("2026-03-02", None, Some(Level::AtOrAboveActionLevel)),
            day("2026-03-03", Some(Measured::Value(1.0)), Some(Level::AtOrAboveActionLevel)),
            day("2026-03-04", Some(Measured::Value(2.5)), Some(Level::BelowActionLevel)),
            // Cannot tell: keeps what the standing says and is counted as undecided too.
            day("2026-03-05", Some(Measured::Below(3.1)), Some(Level::AboveLimit)),
            day("2026-03-06", Some(Measured::Below(3.1)), None),
            day("2026-03-07", None, Some(Level::Unknown)),
            day("2026-03-08", None, None),
        ];
        let counted = days_at_or_above(&days, 2.5);
        let of = |dates: &[&str]| dates.iter().map(|on| date(on)).collect::<Dates>();
        assert_eq!(counted.measured, of(&["2026-03-04"]));
        assert_eq!(counted.by_standing, of(&["2026-03-02", "2026-03-04", "2026-03-05"]));
        assert_eq!(counted.undecided, of(&["2026-03-05", "2026-03-06", "2026-03-07"]));
    }

    #[test]
    fn a_group_that_stands_nowhere_leaves_the_day_open_and_takes_no_day_away() {
        // This registry's rule: nothing is known of the other half of the shift.
        let day = |standing| Day {
            standing: Some(standing),
            groups_stand: GroupsStand::OpenBeside,
            ..Day::new(date("2026-03-02"))
        };
        let below = days_at_or_above(&[day(Level::BelowActionLevel)], 2.5);
        assert_eq!([below.by_standing.len(), below.undecided.len()], [0, 1]);
        let reached = days_at_or_above(&[day(Level::AtOrAboveActionLevel)], 2.5);
        assert_eq!([reached.by_standing.len(), reached.undecided.len()], [1, 0]);
        let own =
            days_at_or_above(&[Day { twa: Some(Measured::Value(1.0)), ..day(Level::BelowActionLevel) }], 2.5);
        assert_eq!(own.undecided.len(), 0, "the own average is of the whole day");
    }

    #[test]
    fn what_is_not_accepted_counts_and_takes_no_day_away() {
        // This registry's rule.
        let day = |twa| Day {
            twa: Some(Measured::Value(twa)),
            may_lower: false,
            standing: Some(Level::AtOrAboveActionLevel),
            ..Day::new(date("2026-03-02"))
        };
        let below = days_at_or_above(&[day(1.0)], 2.5);
        assert_eq!([below.measured.len(), below.by_standing.len(), below.undecided.len()], [0, 1, 1]);
        let reached = days_at_or_above(&[Day { standing: None, ..day(2.5) }], 2.5);
        assert_eq!([reached.measured.len(), reached.by_standing.len(), reached.undecided.len()], [1, 1, 0]);
    }

    #[test]
    fn expected_days_add_up_over_the_worst_window() {
        let chance = |on, estimate| Chance { date: date(on), estimate, lower: 0.0, upper: 1.0 };
        let chances = [chance("2024-01-01", 0.5), chance("2026-01-01", 0.25), chance("2026-06-01", 0.5)];
        let ((estimate, lower, upper), window) = expected(&chances, WINDOW_MONTHS).unwrap();
        assert_eq!((estimate, lower, upper), (0.75, 0.0, 2.0));
        assert_eq!(window.from, date("2026-01-01"));
    }
}
