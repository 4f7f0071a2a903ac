//! The thresholds of a verdict, all our own choice; they appear in its working.

use crate::model::working::Formula;

/// Arc minutes an hour may differ by this share of those without the control.
pub const ARC_TIME_MAY_DIFFER: f64 = 0.2;
/// Sampled minutes of a shift may differ by this share of those without the control.
pub const SAMPLED_MINUTES_MAY_DIFFER: f64 = 0.2;
/// The background may move by this share of the difference between the states.
pub const BACKGROUND_MAY_MOVE: f64 = 0.5;
/// Fewer dates than these in a state are few.
pub const DATES_ENOUGH: usize = 3;
/// Pairs are compared as pairs from this number on.
pub const PAIRS_ENOUGH: usize = 3;
/// An inlet and an outlet are simultaneous when they share at least this part of the longer one's time.
pub const SIMULTANEOUS_SHARE: f64 = 0.5;
/// Per cent by which a control is meant to lower exposure where nothing is stated.
pub const USUAL_TARGET_PERCENT: f64 = 50.0;
/// No reduction above this is said in words, in per cent.
pub const MOST_SAID_PERCENT: f64 = 99.0;

/// Which samples are compared.
pub const SIDES: Formula = Formula {
    formula: "with: the control is among those running; without: it is not; compared where the other running controls \
              are the same (of the sets that hold both states the one with most samples), area values at the same \
              location only",
    source: "this registry's rule",
};

/// One value of a shift.
pub const ONE_VALUE_A_SHIFT: Formula = Formula {
    formula: "one value for each worker (or location), shift date and state: sum(concentration x minutes) / \
              sum(minutes), before any logarithm; duplicates averaged with their original",
    source: "this registry's rule; common practice (time-weighted mean)",
};

/// One level of a shift.
pub const ONE_LEVEL_A_SHIFT: Formula = Formula {
    formula: "one level for each worker (or location), shift date and state: that of sum(dose) over sum(minutes), \
              level = criterion level + exchange rate x log2(dose_percent x 480 / (100 x minutes)); duplicates by the mean \
              of their doses",
    source: "this registry's rule; 29 CFR 1910.95 Appendix A, I(1) (doses of parts add)",
};

/// The background taken off.
pub const NET_OF_BACKGROUND: Formula = Formula {
    formula: "value - time-weighted background of the same shift; at or below zero: below the value itself",
    source: "this registry's rule",
};

/// What remains without a whole shift measured.
pub const PROJECTION: Formula = Formula {
    formula: "concentration with the control x usual minutes of the task / 480",
    source: "this registry's rule",
};

/// When values are compared as pairs.
pub const PAIRED: Formula = Formula {
    formula: "paired when every worker-and-date (location-and-date) has both states and there are 3 or more",
    source: "this registry's rule",
};

/// What else may explain a difference.
pub const CONFOUNDERS: Formula = Formula {
    formula: "arc minutes an hour or sampled minutes differ by more than 20 % of those without; the background moved by \
              more than half the difference; fewer than 3 dates in a state; one state wholly earlier; other tasks, \
              materials, workers or locations; the shifts without chosen as worst case or after a complaint",
    source: "this registry's rule",
};
