//! One-sided limits where some results are only bounds.
//!
//! The posterior under a prior uniform in mu and ln sigma. Where every result is detected it gives exactly the limits of
//! the non-central t distribution, and with bounds it passes into them without a step. Lower limits of the arithmetic mean
//! are the lower of two, the other under a prior with 1/sigma more: the first holds too seldom where the GSD is wide, the
//! second where it is narrow. How often all of them hold with bounds is shown by `tests/coverage` and written down in
//! `docs/coverage-of-limits-with-bounds.md`.

use super::censored::LogResult;
use super::posterior::{Posterior, Prior};
use crate::model::working::Formula;

/// The limits.
pub const LIMITS_WITH_BOUNDS: Formula = Formula {
    formula: "quantile of the posterior of mu + z sigma (percentile), mu + sigma^2/2 (arithmetic mean) or \
              1 - Phi((ln limit - mu)/sigma) (exceedance) under a prior uniform in mu and ln sigma; of the arithmetic mean's \
              lower limit the lower one of this and of that under a prior with 1/sigma more",
    source: "Box and Tiao, Bayesian Inference in Statistical Analysis, 1973, section 2.4 (prior, exact for detected values; \
             from memory); the second prior, and with bounds: coverage shown by this registry's own simulation",
};

/// The second prior of lower limits of the arithmetic mean has one power of sigma less.
const LOWER_MEAN_POWER: f64 = -1.0;

/// The limits of a group with bounds among its results.
///
/// ```
/// use doseward::hygiene::{censored::LogResult, limits_with_bounds::LimitsWithBounds};
/// // All detected, ln 1, ln 2, ln 4: the exact limits, 2 x 2^7.656 with the tabled factor; half of the days above 2.
/// let logs = [1.0f64, 2.0, 4.0].map(|value| LogResult::Exact(value.ln()));
/// let limits = LimitsWithBounds::of(&logs).unwrap();
/// assert!((limits.percentile_limit(0.95, 0.95).unwrap() / 403.4 - 1.0).abs() < 1e-3);
/// assert!((limits.exceedance_limit(2.0, 0.5) - 0.5).abs() < 1e-6);
/// assert!(limits.mean_lower_limit(0.95) < limits.mean_upper_limit(0.95));
/// ```
#[derive(Debug, Clone)]
pub struct LimitsWithBounds {
    posterior: Posterior,
    /// Under the second prior of lower limits of the mean.
    narrower: Option<Posterior>,
}

impl LimitsWithBounds {
    /// From natural logarithms; `None` unless two of the detected values differ.
    pub fn of(results: &[LogResult]) -> Option<Self> {
        let posterior = Posterior::of(results, Prior::Flat)?;
        let narrower = posterior.tilted(LOWER_MEAN_POWER);
        Some(Self { posterior, narrower })
    }

    /// The limit of the percentile `p` at this one-sided confidence (below one half: a lower limit), in the unit of the
    /// results; `None` beyond a double.
    ///
    /// # Formula
    /// `exp` of the quantile of `mu + z_p sigma`, in the unit of the results. See [`LIMITS_WITH_BOUNDS`].
    pub fn percentile_limit(&self, p: f64, confidence: f64) -> Option<f64> {
        in_range(self.posterior.ln_percentile_quantile(p, confidence))
    }

    /// The upper limit of the arithmetic mean at this one-sided confidence; `None` beyond a double.
    ///
    /// # Formula
    /// `exp` of the quantile of `mu + sigma^2 / 2`, in the unit of the results. See [`LIMITS_WITH_BOUNDS`].
    pub fn mean_upper_limit(&self, confidence: f64) -> Option<f64> {
        in_range(self.posterior.ln_mean_quantile(confidence))
    }

    /// The lower limit of the arithmetic mean at this one-sided confidence; `None` beyond a double.
    ///
    /// # Formula
    /// `exp` of the lower one of the quantiles of `mu + sigma^2 / 2` under both priors, in the unit of the results. See
    /// [`LIMITS_WITH_BOUNDS`].
    pub fn mean_lower_limit(&self, confidence: f64) -> Option<f64> {
        let limits = [Some(&self.posterior), self.narrower.as_ref()].into_iter().flatten();
        in_range(limits.map(|one| one.ln_mean_quantile(1.0 - confidence)).fold(f64::INFINITY, f64::min))
    }

    /// The limit of the share of days above `limit` (above zero): an upper one at this one-sided confidence, a lower one
    /// at 1 - confidence.
    ///
    /// # Formula
    /// The quantile of `1 - Phi((ln limit - mu) / sigma)`, a share from 0 to 1. See [`LIMITS_WITH_BOUNDS`].
    pub fn exceedance_limit(&self, limit: f64, probability: f64) -> f64 {
        self.posterior.exceedance_quantile(limit, probability)
    }
}

fn in_range(logarithm: f64) -> Option<f64> {
    Some(logarithm.exp()).filter(|limit| limit.is_finite() && *limit > 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hygiene::lognormal::LogSample;
    use crate::model::measured::Measured;
    use proptest::prelude::*;

    fn logs(results: &[Measured]) -> Vec<LogResult> {
        results.iter().filter_map(|result| LogResult::of(*result)).collect()
    }

    #[test]
    fn two_different_detected_values_are_needed() {
        assert!(LimitsWithBounds::of(&logs(&[Measured::Value(1.0), Measured::Below(0.5)])).is_none());
        assert!(LimitsWithBounds::of(&logs(&[Measured::Value(1.0), Measured::Value(1.0)])).is_none());
        assert!(LimitsWithBounds::of(&[]).is_none());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]

        #[test]
        fn of_detected_values_they_are_the_exact_ones(
            values in prop::collection::vec(0.1..10.0f64, 3..20), limit in 1.0..20.0f64,
        ) {
            let sample = LogSample::of(&values);
            prop_assume!(sample.as_ref().is_some_and(|sample| sample.deviation > 1e-6));
            let sample = sample.unwrap();
            let results: Vec<_> = values.iter().copied().map(Measured::Value).collect();
            let limits = LimitsWithBounds::of(&logs(&results)).unwrap();
            for confidence in [0.05, 0.7, 0.95] {
                let (one, two) =
                    (limits.percentile_limit(0.95, confidence).unwrap(), sample.percentile_limit(0.95, confidence).unwrap());
                // Eight digits of a probability: where a limit runs far off, as many of its distance in logarithms.
                prop_assert!((one / two).ln().abs() < 1e-6 * (1.0 + two.ln().abs()), "{one} {two}");
                let (one, two) =
                    (limits.exceedance_limit(limit, confidence), sample.exceedance_limit(limit, confidence));
                prop_assert!((one - two).abs() < 1e-6, "{one} {two}");
            }
        }

        #[test]
        fn a_range_that_shrinks_to_its_value_brings_the_limits_along(
            values in prop::collection::vec(0.1..10.0f64, 4..10), width in 1e-5..1e-3f64,
        ) {
            let exact: Vec<_> = values.iter().copied().map(Measured::Value).collect();
            let mut range = exact.clone();
            range[0] = Measured::Between { lower: values[0], upper: values[0] * (1.0 + width) };
            let (one, two) = (LimitsWithBounds::of(&logs(&exact)), LimitsWithBounds::of(&logs(&range)));
            if let (Some(one), Some(two)) = (one, two) {
                let of = |limits: &LimitsWithBounds| limits.percentile_limit(0.95, 0.95).unwrap().ln();
                // The limit moves no faster than a few times the range in logarithms.
                prop_assert!((of(&one) - of(&two)).abs() < 30.0 * width, "{} {}", of(&one), of(&two));
            }
        }
    }
}
