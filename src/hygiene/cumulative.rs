//! Dose over a working life: means times years, with lag.

use crate::model::working::Formula;
use chrono::{Months, NaiveDate};

/// Days in a year of exposure.
pub const DAYS_PER_YEAR: f64 = 365.25;

/// The cumulative exposure.
pub const CUMULATIVE: Formula = Formula {
    formula: "cumulative = sum(mean x share_of_full_time x days / 365.25), `to` being the first day no longer",
    source: "Checkoway, Pearce and Kriebel, Research Methods in Occupational Epidemiology, 2nd edition 2004, \
             intensity times duration (from memory)",
};

/// What the last years before the reference date do not count.
pub const LAG: Formula = Formula {
    formula: "exposure on or after (reference date - lag by the calendar) is left out",
    source: "Checkoway, Pearce and Kriebel, Research Methods in Occupational Epidemiology, 2nd edition 2004, \
             lagged exposure (from memory)",
};

/// The average intensity.
pub const AVERAGE_INTENSITY: Formula = Formula {
    formula: "average_intensity = cumulative / years_exposed; years_exposed = days with a mean above zero, each \
              calendar day once, / 365.25",
    source: "this registry's rule",
};

/// An arithmetic mean with its one-sided 95 % limits, where it has them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanWithLimits {
    /// The mean, in the unit of the whole history.
    pub estimate: f64,
    /// Its lower limit.
    pub lower: Option<f64>,
    /// Its upper limit.
    pub upper: Option<f64>,
}

/// A stretch of a history with one mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The first day.
    pub from: NaiveDate,
    /// The first day no longer.
    pub to: NaiveDate,
    /// The mean exposure.
    pub mean: MeanWithLimits,
    /// The share of full time worked there (five shifts a week are 1).
    pub share_of_full_time: f64,
}

/// A dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cumulative {
    /// The dose, in the unit of the means times years.
    pub value: f64,
    /// The sum with every mean at its lower limit; absent where an interval has none.
    pub lower: Option<f64>,
    /// The sum with every mean at its upper limit; absent where an interval has none.
    pub upper: Option<f64>,
    /// The dose over the years exposed; absent without any.
    pub average_intensity: Option<f64>,
    /// Years with a mean above zero, each calendar day once.
    pub years_exposed: f64,
}

/// The first day that no longer counts: the reference date less the lag by the calendar (29 February becomes 28).
///
/// A lag that leaves the calendar counts nothing.
///
/// # Formula
/// `reference - lag` by the calendar. Checkoway, Pearce and Kriebel, 2nd edition 2004 (from memory).
///
/// ```
/// use chrono::NaiveDate;
/// use doseward::hygiene::cumulative::horizon;
/// let day = |year| NaiveDate::from_ymd_opt(year, 1, 1).unwrap();
/// assert_eq!(horizon(day(2018), 4), day(2014));
/// ```
pub fn horizon(reference: NaiveDate, lag_years: u32) -> NaiveDate {
    let months = Months::new(lag_years.saturating_mul(12));
    reference.checked_sub_months(months).unwrap_or(NaiveDate::MIN)
}

/// Days from `from` to before `to`; zero when they are the wrong way round.
fn days(from: NaiveDate, to: NaiveDate) -> f64 {
    // No calendar holds 2^31 days.
    i32::try_from((to - from).num_days().max(0)).map_or(0.0, f64::from)
}

/// The years of one interval weighted by its share of full time, up to `horizon`.
///
/// # Formula
/// `days / 365.25 x share_of_full_time` years, `to` being the first day no longer. Checkoway, Pearce and Kriebel, 2nd
/// edition 2004 (from memory).
///
/// ```
/// use chrono::NaiveDate;
/// use doseward::hygiene::cumulative::{Interval, MeanWithLimits, weighted_years};
/// let day = |year| NaiveDate::from_ymd_opt(year, 1, 1).unwrap();
/// let mean = MeanWithLimits { estimate: 1.0, lower: None, upper: None };
/// // 1461 days at half time.
/// let interval = Interval { from: day(2010), to: day(2014), mean, share_of_full_time: 0.5 };
/// assert_eq!(weighted_years(&interval, day(2020)), 2.0);
/// ```
pub fn weighted_years(interval: &Interval, horizon: NaiveDate) -> f64 {
    days(interval.from, interval.to.min(horizon)) / DAYS_PER_YEAR * interval.share_of_full_time
}

/// The sum of means times years, in the order given.
///
/// # Formula
/// `sum(mean x years)`, in the unit of the means times years. Checkoway, Pearce and Kriebel, 2nd edition 2004 (from
/// memory).
///
/// ```
/// use doseward::hygiene::cumulative::dose;
/// // 0.5 x 4 + 0.25 x 2
/// assert_eq!(dose([(0.5, 4.0), (0.25, 2.0)]), 2.5);
/// ```
pub fn dose(parts: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    parts.into_iter().fold(0.0, |sum, (mean, years)| sum + mean * years)
}

/// Adds up the intervals in the order given, to `as_of` (the latest `to` when absent) less the lag.
///
/// # Formula
/// `sum(mean x share_of_full_time x days / 365.25)`, in the unit of the means times years; average intensity: that over the
/// years exposed. Checkoway, Pearce and Kriebel, 2nd edition 2004 (from memory); intensity: this registry's rule.
///
/// ```
/// use chrono::NaiveDate;
/// use doseward::hygiene::cumulative::{Interval, MeanWithLimits, cumulative};
/// let day = |year| NaiveDate::from_ymd_opt(year, 1, 1).unwrap();
/// let mean = MeanWithLimits { estimate: 0.5, lower: None, upper: None };
/// // 1461 days are four years: 0.5 x 4.
/// let four = Interval { from: day(2010), to: day(2014), mean, share_of_full_time: 1.0 };
/// let found = cumulative(&[four], None, 0);
/// assert_eq!((found.value, found.years_exposed, found.average_intensity), (2.0, 4.0, Some(0.5)));
/// ```
pub fn cumulative(intervals: &[Interval], as_of: Option<NaiveDate>, lag_years: u32) -> Cumulative {
    let reference = as_of.or_else(|| intervals.iter().map(|interval| interval.to).max());
    let horizon = reference.map_or(NaiveDate::MIN, |reference| horizon(reference, lag_years));
    let counted: Vec<_> = intervals
        .iter()
        .map(|interval| (interval, weighted_years(interval, horizon)))
        .filter(|&(_, years)| years > 0.0)
        .collect();
    let total = |end: fn(&MeanWithLimits) -> Option<f64>| {
        counted.iter().try_fold(0.0, |sum, (interval, years)| Some(sum + end(&interval.mean)? * years))
    };
    let value = dose(counted.iter().map(|(interval, years)| (interval.mean.estimate, *years)));
    let years_exposed = years_exposed(intervals, horizon);
    Cumulative {
        value,
        lower: total(|mean| mean.lower),
        upper: total(|mean| mean.upper),
        average_intensity: (years_exposed > 0.0).then(|| value / years_exposed),
        years_exposed,
    }
}

/// Years before `horizon` covered by an interval with a mean above zero, overlaps once.
fn years_exposed(intervals: &[Interval], horizon: NaiveDate) -> f64 {
    let mut spans: Vec<_> = intervals
        .iter()
        .filter(|interval| interval.mean.estimate > 0.0)
        .map(|interval| (interval.from, interval.to.min(horizon)))
        .collect();
    spans.sort_unstable();
    let mut covered_to = NaiveDate::MIN;
    let mut sum = 0.0;
    for (from, to) in spans {
        sum += days(from.max(covered_to), to);
        covered_to = covered_to.max(to);
    }
    sum / DAYS_PER_YEAR
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "figures that come out exactly")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(offset: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(1990, 1, 1).unwrap() + chrono::Days::new(offset)
    }

    fn interval(from: u64, length: u64, estimate: f64) -> Interval {
        let mean = MeanWithLimits { estimate, lower: Some(estimate / 2.0), upper: Some(estimate * 2.0) };
        Interval { from: day(from), to: day(from + length), mean, share_of_full_time: 1.0 }
    }

    // The rules are this registry's; the numbers are plain arithmetic.
    #[test]
    fn overlapping_intervals_count_each_day_of_exposure_once() {
        let both = [interval(0, 1461, 2.0), interval(731, 1461, 3.0)];
        let dose = cumulative(&both, None, 0);
        assert_eq!(dose.value, 4.0 * 2.0 + 4.0 * 3.0);
        assert_eq!(dose.years_exposed, (731.0 + 1461.0) / 365.25);
        assert_eq!((dose.lower, dose.upper), (Some(10.0), Some(40.0)));
    }

    #[test]
    fn the_lag_goes_back_by_the_calendar() {
        let leap = NaiveDate::from_ymd_opt(2024, 2, 29).unwrap();
        assert_eq!(horizon(leap, 1), NaiveDate::from_ymd_opt(2023, 2, 28).unwrap());
        assert_eq!(horizon(leap, u32::MAX), NaiveDate::MIN);
    }

    #[test]
    fn nothing_and_wrong_order_give_no_dose() {
        let none = cumulative(&[], None, 10);
        assert_eq!((none.value, none.average_intensity), (0.0, None));
        let mut wrong = interval(0, 10, 1.0);
        std::mem::swap(&mut wrong.from, &mut wrong.to);
        assert_eq!(cumulative(&[wrong], None, 0).value, 0.0);
    }

    #[test]
    fn a_mean_without_limits_leaves_the_sum_without_limits() {
        let mut open = interval(0, 10, 1.0);
        open.mean.upper = None;
        let dose = cumulative(&[open], None, 0);
        assert_eq!(dose.upper, None);
        assert!(dose.lower.is_some());
    }

    proptest! {
        #[test]
        fn a_longer_lag_never_raises_the_dose(
            parts in prop::collection::vec((0u64..9000, 1u64..3000, 0.0..10.0f64), 0..6), lag in 0u32..30,
        ) {
            let intervals: Vec<_> = parts.iter().map(|&(from, length, mean)| interval(from, length, mean)).collect();
            let (less, more) = (cumulative(&intervals, None, lag), cumulative(&intervals, None, lag + 1));
            prop_assert!(more.value <= less.value && more.years_exposed <= less.years_exposed);
        }
    }
}
