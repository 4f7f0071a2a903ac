//! The days at or above the action level in numbers: measured, by standing, undecided, never mixed.

use crate::conclusions::history::worker_days::WorkerDays;
use crate::record;
use crate::surveillance::day_count::{Dates, WINDOW_MONTHS};
use chrono::NaiveDate;
use serde_json::{Map, Value, json};

record! {
    /// Days in the worst twelve months.
    pub struct WorstTwelveMonths {
        /// How many.
        count: i64,
        /// The first day of these months; absent without any day.
        from: Option<NaiveDate>,
        /// The first day no longer.
        to: Option<NaiveDate>,
    }
}

record! {
    /// Assigned days while the group stood at or above, own measured days in their place.
    pub struct ByStanding {
        /// The worst twelve months.
        worst_12_months: WorstTwelveMonths,
        /// Days by calendar year.
        calendar_years: Value,
    }
}

record! {
    /// A number of days to be expected.
    pub struct ExpectedDays {
        /// The estimate.
        estimate: f64,
        /// Its lower end.
        lower: f64,
        /// Its upper end.
        upper: f64,
    }
}

record! {
    /// Days at or above the action level over the whole life, all sites together; counts of the worst twelve months.
    pub struct DayNumbers {
        /// Own averages at or above, the most in any twelve months.
        measured: i64,
        /// Assigned days while the group stood there.
        by_standing: ByStanding,
        /// Days worked times the chance that such a day is at or above; absent where no day has a chance, and for noise.
        expected: Option<ExpectedDays>,
        /// Days that nothing decides, the most in any twelve months.
        undecided: i64,
    }
}

/// The numbers of a worker's days.
pub fn day_numbers(days: &WorkerDays, expected: Option<ExpectedDays>) -> DayNumbers {
    let found = days.at_or_above();
    let worst = found.by_standing.worst(WINDOW_MONTHS);
    let years: Map<String, Value> = found
        .by_standing
        .calendar_years()
        .into_iter()
        .map(|(year, days)| (year.to_string(), json!(days)))
        .collect();
    DayNumbers {
        measured: most(&found.measured),
        by_standing: ByStanding {
            worst_12_months: WorstTwelveMonths {
                count: most(&found.by_standing),
                from: worst.as_ref().map(|worst| worst.window.from),
                to: worst.as_ref().map(|worst| worst.window.to),
            },
            calendar_years: Value::Object(years),
        },
        expected,
        undecided: most(&found.undecided),
    }
}

fn most(dates: &Dates) -> i64 {
    dates.worst(WINDOW_MONTHS).map_or(0, |worst| i64::try_from(worst.count).unwrap_or(i64::MAX))
}
