//! Kaplan-Meier's estimate for results below several limits.

use super::censored::is_non_detect;
use crate::model::measured::Measured;
use crate::model::working::Formula;

/// The estimate.
pub const KAPLAN_MEIER: Formula = Formula {
    formula: "going down through the detected values, P(below v) = P(at most v) (1 - detected at v / results with \
              value or limit at most v); what is left below the smallest detected value lies at the lowest limit",
    source: "Helsel, Statistics for Censored Environmental Data, 2nd edition 2012 (from memory); US EPA 530/R-09-007, \
             Unified Guidance, March 2009, Example 15-1",
};

/// Values with their probabilities, from the largest down.
///
/// ```
/// use doseward::hygiene::kaplan_meier::kaplan_meier;
/// use doseward::model::measured::Measured;
/// // 4 and 2 have a third each, the third that is left lies at 1; squares: (16 + 4 + 1) / 3 = 7.
/// let found = kaplan_meier(&[Measured::Value(4.0), Measured::Value(2.0), Measured::Below(1.0)]).unwrap();
/// assert!((found.mean() - 7.0 / 3.0).abs() < 1e-12 && (found.mean_of(|x| x * x) - 7.0).abs() < 1e-12);
/// assert!((found.deviation_of(|x| x) - (7.0 - 49.0 / 9.0f64).sqrt()).abs() < 1e-12);
/// assert!((found.left_below() - 1.0 / 3.0).abs() < 1e-12 && found.lowest() == Some(1.0));
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct KaplanMeier {
    masses: Vec<(f64, f64)>,
    left: f64,
}

/// The estimate; `None` without a detected value, with a result above a limit only, or with a range that does not
/// start at zero.
///
/// # Formula
/// Going down, `P(below v) = P(at most v) (1 - detected at v / results with value or limit at most v)`, shares; values in
/// their unit. Helsel, 2nd edition 2012 (from memory); US EPA 530/R-09-007, March 2009, Example 15-1.
///
/// ```
/// use doseward::hygiene::kaplan_meier::kaplan_meier;
/// use doseward::model::measured::Measured;
/// // Nothing below: the plain mean.
/// assert_eq!(kaplan_meier(&[Measured::Value(3.0), Measured::Value(1.0)]).unwrap().mean(), 2.0);
/// ```
pub fn kaplan_meier(results: &[Measured]) -> Option<KaplanMeier> {
    let mut detected = Vec::new();
    let mut limits = Vec::new();
    for &result in results {
        match result {
            Measured::Value(value) => detected.push(value),
            bound if is_non_detect(bound) => limits.push(bound.upper()?),
            _ => return None,
        }
    }
    detected.sort_by(|one, two| two.total_cmp(one));
    let smallest = *detected.last()?;
    let count = |at_most: f64| {
        detected.iter().chain(&limits).filter(|value| **value <= at_most).fold(0.0, |count, _| count + 1.0)
    };
    let mut below = 1.0;
    let mut masses = Vec::new();
    for same in detected.chunk_by(|one, two| one.to_bits() == two.to_bits()) {
        let here = same.iter().fold(0.0, |count, _| count + 1.0) / count(same[0]);
        masses.push((same[0], below * here));
        below *= 1.0 - here;
    }
    let mut left = 0.0;
    // Something is left only where a limit lies at or below the smallest detected value.
    if let Some(lowest) = limits.into_iter().reduce(f64::min).filter(|lowest| *lowest <= smallest) {
        left = below;
        masses.push((lowest, below));
    }
    Some(KaplanMeier { masses, left })
}

impl KaplanMeier {
    /// The mean of the values, in their unit.
    ///
    /// # Formula
    /// `sum of value x probability`. See [`KAPLAN_MEIER`].
    pub fn mean(&self) -> f64 {
        self.mean_of(|value| value)
    }

    /// The mean of a function of the values.
    ///
    /// # Formula
    /// `sum of f(value) x probability`, in the unit of f. See [`KAPLAN_MEIER`].
    pub fn mean_of(&self, of: impl Fn(f64) -> f64) -> f64 {
        self.masses.iter().map(|(value, mass)| mass * of(*value)).sum()
    }

    /// The standard deviation of a function of the values, weighted by probability (without n/(n-1)).
    ///
    /// # Formula
    /// `sqrt(sum of (f(value) - mean)^2 x probability)`, in the unit of f. See [`KAPLAN_MEIER`].
    pub fn deviation_of(&self, of: impl Fn(f64) -> f64) -> f64 {
        let mean = self.mean_of(&of);
        self.mean_of(|value| (of(value) - mean).powi(2)).sqrt()
    }

    /// The probability left below the smallest detected value.
    pub fn left_below(&self) -> f64 {
        self.left
    }

    /// The lowest value that carries probability.
    pub fn lowest(&self) -> Option<f64> {
        self.masses.last().map(|(value, _)| *value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn without_non_detects_it_is_the_plain_mean() {
        let all = [Measured::Value(1.0), Measured::Value(4.0), Measured::Value(4.0)];
        let estimate = kaplan_meier(&all).unwrap();
        assert!((estimate.mean() - 3.0).abs() < 1e-15);
        assert!(estimate.left_below().abs() < 1e-15);
        assert_eq!(kaplan_meier(&[Measured::Below(1.0)]), None);
        assert_eq!(kaplan_meier(&[Measured::Value(1.0), Measured::Above(1.0)]), None);
    }

    proptest! {
        #[test]
        fn probabilities_add_up_to_one(
            detected in prop::collection::vec(0.1..10.0f64, 1..12), limits in prop::collection::vec(0.1..10.0f64, 0..12),
        ) {
            let results: Vec<_> = detected.into_iter().map(Measured::Value)
                .chain(limits.into_iter().map(Measured::Below)).collect();
            let estimate = kaplan_meier(&results).unwrap();
            prop_assert!((estimate.mean_of(|_| 1.0) - 1.0).abs() < 1e-12);
        }

        #[test]
        fn the_mean_scales_forgets_the_order_and_lies_among_the_results(
            detected in prop::collection::vec(0.1..10.0f64, 1..12), limits in prop::collection::vec(0.1..10.0f64, 0..12),
            factor in 0.01..100.0f64,
        ) {
            let results: Vec<_> = detected.iter().copied().map(Measured::Value)
                .chain(limits.iter().copied().map(Measured::Below)).collect();
            let scaled: Vec<_> = results.iter().rev().map(|result| result.scaled(factor)).collect();
            let (one, two) = (kaplan_meier(&results).unwrap().mean(), kaplan_meier(&scaled).unwrap().mean());
            prop_assert!((two - factor * one).abs() < 1e-10 * two);
            let all = || detected.iter().chain(&limits);
            let (least, most) = (all().copied().fold(f64::INFINITY, f64::min), detected.iter().copied().fold(0.0, f64::max));
            prop_assert!(one >= least * (1.0 - 1e-12) && one <= most * (1.0 + 1e-12));
        }
    }
}
