//! Dates: months, weeks and working days.

use chrono::{Datelike, Days, Months, NaiveDate, Weekday};
use std::collections::BTreeSet;

/// The same day `months` later; where that month is shorter, its last day (29 February and a year: 28 February).
pub fn add_months(date: NaiveDate, months: u32) -> NaiveDate {
    date.checked_add_months(Months::new(months)).unwrap_or(NaiveDate::MAX)
}

/// The day `days` calendar days later.
pub fn add_days(date: NaiveDate, days: u64) -> NaiveDate {
    date.checked_add_days(Days::new(days)).unwrap_or(NaiveDate::MAX)
}

/// The Monday of a date's week.
pub fn monday(date: NaiveDate) -> NaiveDate {
    date.week(Weekday::Mon).checked_first_day().unwrap_or(NaiveDate::MIN)
}

/// A site's working days: Monday to Friday, but neither federal holidays nor the site's own.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WorkingDays {
    site_holidays: BTreeSet<NaiveDate>,
}

impl WorkingDays {
    /// The calendar of a site with these holidays of its own.
    pub fn new(site_holidays: impl IntoIterator<Item = NaiveDate>) -> Self {
        Self { site_holidays: site_holidays.into_iter().collect() }
    }

    /// Whether it is a working day.
    pub fn is_working_day(&self, date: NaiveDate) -> bool {
        !matches!(date.weekday(), Weekday::Sat | Weekday::Sun)
            && !self.site_holidays.contains(&date)
            && !is_federal_holiday(date)
    }

    /// The `count`th working day after a date (the day after it is the first that can count); the date itself for none.
    pub fn add(&self, date: NaiveDate, count: u32) -> NaiveDate {
        let Some(before) = count.checked_sub(1) else { return date };
        let mut working = date.iter_days().skip(1).filter(|day| self.is_working_day(*day));
        working.nth(before as usize).unwrap_or(NaiveDate::MAX)
    }
}

/// Whether federal offices are closed: the holiday itself, or the weekday on which one that falls on a weekend is kept.
fn is_federal_holiday(date: NaiveDate) -> bool {
    // 1 January kept on the Friday before is the one holiday that leaves its year.
    [date.year(), date.year() + 1].into_iter().any(|year| us_federal_holidays(year).any(|kept| kept == date))
}

/// The weekdays on which the federal holidays of a year are kept (5 U.S.C. 6103(a), (b); Executive Order 11582): one on
/// a Saturday is kept on the Friday before, one on a Sunday on the Monday after.
pub fn us_federal_holidays(year: i32) -> impl Iterator<Item = NaiveDate> {
    const JUNETEENTH_SINCE: i32 = 2021;
    let nth = move |month, weekday, n| NaiveDate::from_weekday_of_month_opt(year, month, weekday, n);
    let on = move |month, day| NaiveDate::from_ymd_opt(year, month, day);
    let last_monday_of_may = nth(5, Weekday::Mon, 5).or_else(|| nth(5, Weekday::Mon, 4));
    let days = [
        on(1, 1),
        nth(1, Weekday::Mon, 3),
        nth(2, Weekday::Mon, 3),
        last_monday_of_may,
        on(6, 19).filter(|_| year >= JUNETEENTH_SINCE),
        on(7, 4),
        nth(9, Weekday::Mon, 1),
        nth(10, Weekday::Mon, 2),
        on(11, 11),
        nth(11, Weekday::Thu, 4),
        on(12, 25),
    ];
    days.into_iter().flatten().filter_map(|day| match day.weekday() {
        Weekday::Sat => day.pred_opt(),
        Weekday::Sun => day.succ_opt(),
        _ => Some(day),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn twelve_months_from_a_leap_day_end_on_the_last_of_february() {
        // This registry's rule: [d, d + 12 calendar months), month ends clamped.
        assert_eq!(add_months(date("2024-02-29"), 12), date("2025-02-28"));
        assert_eq!(add_months(date("2026-01-05"), 12), date("2027-01-05"));
        assert_eq!(add_months(date("2026-08-31"), 6), date("2027-02-28"));
    }

    #[test]
    fn federal_holidays_of_2026_are_kept_on_their_weekdays() {
        // U.S. Office of Personnel Management, list of federal holidays for 2026: 4 July is a Saturday, kept on the 3rd.
        let kept: Vec<_> = us_federal_holidays(2026).map(|day| day.to_string()).collect();
        assert_eq!(
            kept,
            [
                "2026-01-01",
                "2026-01-19",
                "2026-02-16",
                "2026-05-25",
                "2026-06-19",
                "2026-07-03",
                "2026-09-07",
                "2026-10-12",
                "2026-11-11",
                "2026-11-26",
                "2026-12-25",
            ]
        );
        // 1 January 2028 is a Saturday: kept on 31 December 2027.
        assert!(is_federal_holiday(date("2027-12-31")));
    }

    #[test]
    fn working_days_skip_weekends_federal_and_site_holidays() {
        let site = WorkingDays::new([date("2026-07-06")]);
        assert_eq!(site.add(date("2026-07-01"), 1), date("2026-07-02"));
        assert_eq!(site.add(date("2026-07-01"), 2), date("2026-07-07"));
        assert_eq!(site.add(date("2026-07-04"), 0), date("2026-07-04"));
        // 15 working days of a notice (29 CFR 1910.1025(d)(8)) over Memorial Day 2026.
        assert_eq!(WorkingDays::default().add(date("2026-05-18"), 15), date("2026-06-09"));
    }
}
