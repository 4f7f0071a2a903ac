//! How many further results would bring the upper limit of a percentile below a limit, if mean and spread stay as they are.

use super::lognormal::tolerance_factor;
use crate::model::working::Formula;

/// The number.
pub const FURTHER_RESULTS: Formula = Formula {
    formula: "smallest m with K(n + m) <= (ln limit - mean of ln x) / s, K as in the upper limit of the percentile",
    source: "this registry's rule",
};

/// More further results than this are no plan.
pub const MOST: u32 = 1_000;

/// The further results needed; `Some(0)` where the limit of the percentile lies there already, `None` where the percentile
/// itself does not, or more than 1,000 would be needed.
///
/// `distance` is how many standard deviations of the logarithms (of noise of levels) the limit lies above their mean, `n` the
/// results at hand.
///
/// # Formula
/// The smallest m with `K(n + m, p, confidence) <= distance`; K is the one-sided tolerance factor of the normal distribution
/// by the non-central t, as in the upper limit of the percentile. A projection, no promise: this registry's rule.
///
/// ```
/// use doseward::hygiene::further_results::further_results;
/// // K falls to 2.396 at 20 results and is 2.423 at 19 (one-sided, 95 % of the values, 95 % confidence).
/// assert_eq!(further_results(2.4, 6, 0.95, 0.95), Some(14));
/// ```
pub fn further_results(distance: f64, n: u32, p: f64, confidence: f64) -> Option<u32> {
    let enough = |further: u32| {
        tolerance_factor(f64::from(n + further), p, confidence).is_some_and(|factor| factor <= distance)
    };
    if n < 2 || !distance.is_finite() {
        return None;
    }
    if enough(0) {
        return Some(0);
    }
    let mut high = 1;
    while !enough(high) {
        if high >= MOST {
            return None;
        }
        high = (high * 2).min(MOST);
    }
    let mut low = high / 2;
    while high - low > 1 {
        let middle = low.midpoint(high);
        if enough(middle) { high = middle } else { low = middle }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // One-sided tolerance factors of the normal distribution for 95 % of the values with 95 % confidence, Natrella,
    // Experimental Statistics, NBS Handbook 91 (1963), table A-7 (from memory): 2.911 at 10, 2.566 at 15, 2.396 at 20.
    #[test]
    fn the_handbook_factors_are_reached_where_the_table_has_them() {
        assert_eq!(further_results(2.912, 5, 0.95, 0.95), Some(5));
        assert_eq!(further_results(2.567, 5, 0.95, 0.95), Some(10));
        assert_eq!(further_results(2.397, 5, 0.95, 0.95), Some(15));
        assert_eq!(further_results(2.912, 10, 0.95, 0.95), Some(0));
    }

    #[test]
    fn no_number_of_results_brings_it_below_a_limit_that_the_percentile_passes() {
        // 1.6449 is the standard normal quantile of 95 %.
        assert_eq!(further_results(1.644, 10, 0.95, 0.95), None);
        assert_eq!(further_results(-1.0, 10, 0.95, 0.70), None);
        assert_eq!(further_results(3.0, 1, 0.95, 0.95), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn further_off_never_needs_more_and_more_confidence_never_fewer(distance in 2.0..6.0f64, n in 2u32..30) {
            let of = |distance, confidence| further_results(distance, n, 0.95, confidence).unwrap();
            prop_assert!(of(distance * 1.2, 0.95) <= of(distance, 0.95));
            prop_assert!(of(distance, 0.70) <= of(distance, 0.95));
        }
    }
}
