//! Clauses that look at the exposure of earlier years, at this employer and at others; they outlive it.

use crate::model::measured::{Answer, Measured};
use crate::surveillance::calendar::add_months;
use crate::surveillance::case::Earlier;
use crate::surveillance::day_count::Dates;
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeSet;

const MONTHS_OF_A_YEAR: u32 = 12;

/// What a history takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Needed {
    /// So many years, each with enough days.
    Years(u32),
    /// More than so many calendar months with any day.
    MoreThanMonths(u32),
}

/// How a clause reads a history.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HistoryRule {
    /// What it takes.
    pub needed: Needed,
    /// Days a year.
    pub days_a_year: usize,
    /// Only exposure before this day.
    pub before: Option<NaiveDate>,
    /// Whether an earlier exposure of unknown height counts.
    pub unknown_height_counts: bool,
}

/// What a history shows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Shown {
    /// The day on which it was enough.
    pub met_on: Option<NaiveDate>,
    /// Months that count: twelve for every year of own days.
    pub months: u32,
    /// How many earlier exposures cannot be told: their height or their days are not known.
    pub cannot_tell: usize,
    /// Which earlier exposures count, by their place.
    pub used: Vec<usize>,
}

/// Whole months from one day to another.
fn whole_months(from: NaiveDate, to: NaiveDate) -> u32 {
    let by_calendar = (to.year() - from.year()) * 12 + i32::try_from(to.month0()).unwrap_or(0)
        - i32::try_from(from.month0()).unwrap_or(0);
    let months = u32::try_from(by_calendar).unwrap_or(0);
    if months > 0 && add_months(from, months) > to { months - 1 } else { months }
}

/// Reads a history. `own` are the worker's own counted days up to the day of asking; `answer` compares the mean of an
/// earlier exposure with the level of the clause.
///
/// Own years are windows of twelve months, one after the other, each with enough days: the reading that finds the most.
/// An earlier exposure counts with its whole months, those of overlapping entries once, where it held the level on enough
/// days a year; where the clause asks for one year only, a shorter one counts if its days are enough.
pub fn read_history(
    rule: HistoryRule,
    own: &Dates,
    earlier: &[Earlier],
    answer: impl Fn(Measured) -> Answer,
) -> Shown {
    let cut = rule.before.unwrap_or(NaiveDate::MAX);
    let own: Dates = own.iter().filter(|date| *date < cut).collect();
    let mut shown = Shown::default();
    let mut spans: Vec<(NaiveDate, NaiveDate)> = Vec::new();
    for (place, entry) in earlier.iter().enumerate() {
        let (from, to) = (entry.from, entry.to.min(cut));
        if from >= to {
            continue;
        }
        let height = match entry.mean.map(&answer) {
            None if rule.unknown_height_counts => Answer::AtOrAbove,
            None => Answer::CannotTell,
            Some(answer) => answer,
        };
        let days = match rule.needed {
            Needed::MoreThanMonths(_) => Answer::AtOrAbove,
            Needed::Years(years) => enough_days(entry, (from, to), years, rule.days_a_year),
        };
        match (height, days) {
            (Answer::Below, _) | (_, Answer::Below) => {}
            (Answer::AtOrAbove, Answer::AtOrAbove) => {
                spans.push((from, to));
                shown.used.push(place);
            }
            _ => shown.cannot_tell += 1,
        }
    }
    match rule.needed {
        Needed::Years(years) => of_years(&mut shown, years, rule.days_a_year, &own, &spans),
        Needed::MoreThanMonths(months) => of_months(&mut shown, months, &own, &spans),
    }
    shown
}

/// Whether an entry holds enough days a year; for a clause of one year, enough days in the part of it that it lasted.
fn enough_days(entry: &Earlier, (from, to): (NaiveDate, NaiveDate), years: u32, needed: usize) -> Answer {
    let Some(days_per_year) = entry.days_per_year else { return Answer::CannotTell };
    let months = f64::from(whole_months(from, to).min(MONTHS_OF_A_YEAR));
    let held = if years == 1 { days_per_year * months / f64::from(MONTHS_OF_A_YEAR) } else { days_per_year };
    let needed = u32::try_from(needed).unwrap_or(u32::MAX);
    if held >= f64::from(needed) { Answer::AtOrAbove } else { Answer::Below }
}

fn of_years(shown: &mut Shown, years: u32, days: usize, own: &Dates, spans: &[(NaiveDate, NaiveDate)]) {
    let needed = years.saturating_mul(MONTHS_OF_A_YEAR);
    // When what counts, and how many months of it; an earlier exposure is walked month by month.
    let mut credits: Vec<(NaiveDate, u32)> = own
        .apart(MONTHS_OF_A_YEAR, days)
        .into_iter()
        .map(|window| (window.first_met_on, MONTHS_OF_A_YEAR))
        .collect();
    for (from, to) in joined(spans) {
        let months = whole_months(from, to);
        if years == 1 {
            credits.push((to, MONTHS_OF_A_YEAR));
        } else {
            credits.extend((1..=months).map(|month| (add_months(from, month), 1)));
        }
    }
    credits.sort_unstable();
    for (on, months) in credits {
        shown.months += months;
        if shown.met_on.is_none() && shown.months >= needed {
            shown.met_on = Some(on);
        }
    }
}

fn of_months(shown: &mut Shown, more_than: u32, own: &Dates, spans: &[(NaiveDate, NaiveDate)]) {
    let mut months: BTreeSet<(i32, u32)> = own.iter().map(|date| (date.year(), date.month())).collect();
    for (from, to) in spans {
        let mut month = from.with_day(1).unwrap_or(*from);
        while month < *to {
            months.insert((month.year(), month.month()));
            month = add_months(month, 1);
        }
    }
    shown.months = u32::try_from(months.len()).unwrap_or(u32::MAX);
    let enough = months.iter().nth(more_than as usize);
    shown.met_on = enough.and_then(|(year, month)| NaiveDate::from_ymd_opt(*year, *month, 1));
}

/// Spans in order, those that meet joined.
fn joined(spans: &[(NaiveDate, NaiveDate)]) -> Vec<(NaiveDate, NaiveDate)> {
    let mut sorted = spans.to_vec();
    sorted.sort_unstable();
    let mut found: Vec<(NaiveDate, NaiveDate)> = Vec::new();
    for (from, to) in sorted {
        match found.last_mut().filter(|last| from <= last.1) {
            Some(last) => last.1 = last.1.max(to),
            None => found.push((from, to)),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::surveillance::case::Behind;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn earlier(from: &str, to: &str, days: Option<f64>, mean: Option<f64>) -> Earlier {
        let mean = mean.map(Measured::Value);
        Earlier { from: date(from), to: date(to), days_per_year: days, mean, behind: Behind::default() }
    }

    /// 29 CFR 1910.1018(n)(1)(i)(B): above 5 ug/m3 on 30 or more days a year for ten or more years.
    fn ten_years(own: &Dates, earlier: &[Earlier]) -> Shown {
        let rule = HistoryRule {
            needed: Needed::Years(10),
            days_a_year: 30,
            before: None,
            unknown_height_counts: false,
        };
        read_history(rule, own, earlier, |mean| mean.exceeds(5.0))
    }

    #[test]
    fn ten_years_elsewhere_are_enough_and_one_month_less_is_not() {
        let found =
            ten_years(&Dates::default(), &[earlier("1990-03-15", "2000-03-15", Some(30.0), Some(5.1))]);
        assert_eq!((found.months, found.met_on), (120, Some(date("2000-03-15"))));
        for (to, days, mean) in
            [("2000-03-14", 30.0, 5.1), ("2000-03-15", 29.0, 5.1), ("2000-03-15", 30.0, 5.0)]
        {
            let found = ten_years(&Dates::default(), &[earlier("1990-03-15", to, Some(days), Some(mean))]);
            assert_eq!(found.met_on, None, "{to} {days} {mean}");
        }
    }

    #[test]
    fn years_here_and_elsewhere_add_up_and_overlapping_entries_count_once() {
        // Nine years elsewhere, told twice, and thirty own days make ten.
        let told = [
            earlier("1990-01-01", "1999-01-01", Some(200.0), Some(9.0)),
            earlier("1992-01-01", "1995-01-01", Some(200.0), Some(9.0)),
        ];
        let own = |count: usize| date("2020-06-01").iter_days().take(count).collect::<Dates>();
        assert_eq!(ten_years(&own(29), &told).met_on, None);
        let found = ten_years(&own(30), &told);
        assert_eq!((found.met_on, found.used), (Some(date("2020-06-30")), vec![0, 1]));
    }

    #[test]
    fn what_is_not_known_of_an_earlier_exposure_cannot_be_told() {
        let told = [
            earlier("1980-01-01", "1995-01-01", None, Some(9.0)),
            earlier("1980-01-01", "1995-01-01", Some(99.0), None),
        ];
        let found = ten_years(&Dates::default(), &told);
        assert_eq!((found.met_on, found.cannot_tell), (None, 2));
    }

    #[test]
    fn more_than_sixty_months_are_the_sixty_first() {
        // 29 CFR 1910.1027(l)(1)(i)(B): more than 60 months before 14 December 1992.
        let rule = HistoryRule {
            needed: Needed::MoreThanMonths(60),
            days_a_year: 1,
            before: Some(date("1992-12-14")),
            unknown_height_counts: true,
        };
        let read = |from, to| {
            read_history(rule, &Dates::default(), &[earlier(from, to, None, None)], |mean| mean.against(2.5))
        };
        assert_eq!(read("1980-01-01", "1985-01-01").met_on, None);
        assert_eq!(read("1980-01-01", "1985-01-02").met_on, Some(date("1985-01-01")));
        assert_eq!(read("1988-01-01", "2020-01-01").months, 60);
    }

    #[test]
    fn a_leap_day_is_a_month_and_a_year_later_on_the_last_day_of_february() {
        assert_eq!(whole_months(date("2020-02-29"), date("2021-02-28")), 12);
        assert_eq!(whole_months(date("2020-02-29"), date("2021-02-27")), 11);
        assert_eq!(whole_months(date("2020-01-31"), date("2020-02-29")), 1);
        assert_eq!(whole_months(date("2020-05-10"), date("2020-05-09")), 0);
    }
}
