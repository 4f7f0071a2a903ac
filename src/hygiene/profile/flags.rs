//! The flags of a profile: why a figure is absent, or needs care.

/// There is no result.
pub const NO_RESULTS: &str = "no_results";
/// One result has no spread.
pub const SINGLE_RESULT: &str = "single_result";
/// All results are the same value, so that there is no spread.
pub const ALL_EQUAL: &str = "all_equal";
/// No result is a detected value.
pub const NO_DETECTED_RESULTS: &str = "no_detected_results";
/// Fewer than two different detected values: no distribution is fitted.
pub const FEWER_THAN_TWO_DISTINCT_DETECTED: &str = "fewer_than_two_distinct_detected";
/// A result is not above zero, which no log-normal distribution holds.
pub const VALUE_NOT_POSITIVE: &str = "value_not_positive";
/// What compares with a limit is absent because none was given.
pub const NO_LIMIT: &str = "no_limit";
/// The fit is not tested: fewer than 3 results, more than 5000, or one that is not a plain value.
pub const FIT_NOT_TESTED: &str = "fit_not_tested";
/// EN 689 takes at least 3 results.
pub const TOO_FEW_FOR_EN_689: &str = "too_few_for_en_689";
/// EN 689 from 6 results needs a fitted distribution.
pub const EN_689_NEEDS_A_FIT: &str = "en_689_needs_a_fit";
/// A result above a limit only or a range leaves the estimates by substitution and ranks without an answer.
pub const RANGES_NOT_RANKED: &str = "ranges_not_ranked";
/// A figure is too large for any number.
pub const BEYOND_NUMBERS: &str = "beyond_numbers";
/// The unbiased estimate of the mean lies below the exact lower limit, as it does where values spread over many powers of
/// ten: the estimate grows as exp(s sqrt(n)), the limit as exp(s^2 / 2).
pub const MEAN_BELOW_ITS_LIMIT: &str = "mean_below_its_limit";
/// A non-detect's limit is above the exposure limit.
pub const REPORTING_LIMIT_TOO_HIGH: &str = "reporting_limit_too_high";

/// An upper limit would lie below its estimate and is left out.
pub const LIMIT_BELOW_ESTIMATE: &str = "limit_below_estimate";
/// So many results are bounds that nobody has shown how often the limits hold.
pub const MOSTLY_BOUNDS: &str = "mostly_bounds";

/// Above this share of bounds how often limits hold was not simulated.
pub const MOST_BOUNDS_SIMULATED: f64 = 0.7;

/// Every flag of a profile with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (NO_RESULTS, "There is no result."),
    (SINGLE_RESULT, "One result has no spread."),
    (ALL_EQUAL, "All results are the same value, so that there is no spread."),
    (NO_DETECTED_RESULTS, "No result is a detected value."),
    (
        FEWER_THAN_TWO_DISTINCT_DETECTED,
        "Fewer than two different detected values: no distribution is fitted.",
    ),
    (VALUE_NOT_POSITIVE, "A result is not above zero, which no log-normal distribution holds."),
    (NO_LIMIT, "What compares with a limit is absent because none was given."),
    (
        FIT_NOT_TESTED,
        "The fit is not tested: fewer than 3 results, more than 5000, or one that is no plain value.",
    ),
    (TOO_FEW_FOR_EN_689, "EN 689 takes at least 3 results."),
    (EN_689_NEEDS_A_FIT, "EN 689 from 6 results needs a fitted distribution."),
    (RANGES_NOT_RANKED, "Overloaded results and ranges leave substitution and ranks without an answer."),
    (BEYOND_NUMBERS, "A figure is too large for any number."),
    (
        MEAN_BELOW_ITS_LIMIT,
        "The results spread so far that the estimate of the arithmetic mean lies below its lower limit: do not use it.",
    ),
    (
        LIMIT_BELOW_ESTIMATE,
        "With hardly any detected values an upper limit would lie below its estimate; it is left out, and says nothing.",
    ),
    (
        MOSTLY_BOUNDS,
        "More than seven in ten results are bounds: the limits may hold less often than they say.",
    ),
    (REPORTING_LIMIT_TOO_HIGH, "A non-detect's limit is above the exposure limit."),
];
