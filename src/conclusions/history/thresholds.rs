//! The thresholds of a history, all our own choice; they appear in its working.

use crate::model::working::Formula;

/// Own shifts on this many different dates of an era replace the group's mean.
pub const OWN_DATES_ENOUGH: usize = 6;
/// Shifts a week that are full time.
pub const FULL_TIME_SHIFTS: f64 = 5.0;
/// The hours of an assignment may differ by this share from those of the shifts behind a mean.
pub const SHIFT_LENGTH_MAY_DIFFER: f64 = 0.1;
/// Fewer dates than these are few.
pub const DATES_ENOUGH: usize = 3;

/// Whose mean an interval takes.
pub const BASIS: Formula = Formula {
    formula: "own mean with 6 or more usable own shifts on different dates of the era; else the group's mean of the \
              era; else the posterior mean; else the middle of a judged mean; else none",
    source: "this registry's rule",
};

/// How much of full time an interval counts.
pub const WEIGHT: Formula = Formula {
    formula: "weight = (days by schedule x shifts_per_week / 5 + days recorded x 7 / 5) / days of the interval; recorded \
              days replace their calendar week, absences count 0",
    source: "this registry's rule",
};

/// A mean for shifts of another length.
pub const SCALED_BY_HOURS: Formula = Formula {
    formula: "scaled_estimate = estimate x hours_per_shift x 60 / shift_minutes, where they differ by more than 10 %",
    source: "this registry's rule",
};

/// A mean level for shifts of another length.
pub const LEVEL_BY_HOURS: Formula = Formula {
    formula: "scaled_estimate = estimate + exchange rate x log2(hours_per_shift x 60 / shift_minutes), where they differ \
              by more than 10 %",
    source: "this registry's rule; 29 CFR 1910.95 Appendix A, I(1) (the dose grows with time)",
};

/// How much rests on measurements.
pub const MEASURED_SHARE: Formula = Formula {
    formula: "measured_share = weighted days whose mean rests on a measured shift / weighted days assigned",
    source: "this registry's rule",
};

/// Three numbers of days.
pub const DAYS: Formula = Formula {
    formula: "measured: own averages at or above; by standing: assigned days while the group stood there, own measured \
              days in their place; undecided: days that neither tells; each the most in any 12 months [d, d + 12 months)",
    source: "this registry's rule",
};
