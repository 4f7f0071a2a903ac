//! Statistics of a log-normal sample without non-detects, with exact limits.

use super::distributions::{normal_quantile, normal_upper_tail, t_quantile};
use super::{land, noncentral_t};
use crate::model::working::Formula;

/// The geometric mean.
pub const GEOMETRIC_MEAN: Formula = Formula {
    formula: "geometric_mean = exp(mean of ln x)",
    source: "Leidel, Busch and Lynch, Occupational Exposure Sampling Strategy Manual, NIOSH 77-173, 1977, \
             technical appendix (from memory)",
};

/// The geometric standard deviation.
pub const GEOMETRIC_STANDARD_DEVIATION: Formula = Formula {
    formula: "geometric_standard_deviation = exp(s), s = standard deviation of ln x with n - 1",
    source: "Leidel, Busch and Lynch, Occupational Exposure Sampling Strategy Manual, NIOSH 77-173, 1977, \
             technical appendix (from memory)",
};

/// The unbiased estimate of the arithmetic mean.
pub const ARITHMETIC_MEAN: Formula = Formula {
    formula: "arithmetic_mean = geometric_mean x psi(s^2 / 2), psi(t) = 0F1(; (n-1)/2; (n-1)^2 t / (2n))",
    source: "Finney, Journal of the Royal Statistical Society Supplement 7 (1941) 155-161 (from memory)",
};

/// The 95th percentile.
pub const PERCENTILE_95: Formula = Formula {
    formula: "percentile_95 = geometric_mean x geometric_standard_deviation^1.6449",
    source: "EN 689:2018, Annex F (log-normal distribution; from memory)",
};

/// An upper limit of a percentile.
pub const PERCENTILE_LIMIT: Formula = Formula {
    formula: "upper limit = exp(mean of ln x + K s), K = t'(confidence; n-1, z sqrt(n)) / sqrt(n)",
    source: "EN 689:2018, Annex F; Hahn and Meeker, Statistical Intervals, 1991 (both from memory)",
};

/// The tolerance factor without a non-central t.
pub const APPROXIMATE_TOLERANCE_FACTOR: Formula = Formula {
    formula: "K = (z_p + sqrt(z_p^2 - a b)) / a, a = 1 - z_c^2 / (2 (n - 1)), b = z_p^2 - z_c^2 / n, z_p and z_c the normal \
              quantiles of the share and of the confidence",
    source: "NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.3 (formula from memory)",
};

/// The share of days above the limit.
pub const EXCEEDANCE: Formula = Formula {
    formula: "exceedance_fraction = 1 - Phi((ln limit - mean of ln x) / s)",
    source: "Leidel, Busch and Lynch, Occupational Exposure Sampling Strategy Manual, NIOSH 77-173, 1977, \
             technical appendix (from memory)",
};

/// A limit of the exceedance fraction.
pub const EXCEEDANCE_LIMIT: Formula = Formula {
    formula: "e with F(k sqrt(n); n-1, z(1-e) sqrt(n)) = confidence (upper) or 1 - confidence (lower), \
              k = (ln limit - mean of ln x) / s",
    source: "Hahn and Meeker, Statistical Intervals, 1991 (from memory)",
};

/// Count, mean and standard deviation (n - 1) of natural logarithms.
///
/// ```
/// use doseward::hygiene::lognormal::LogSample;
/// // ln 1, ln 2, ln 4 are 0, 1, 2 times 0.6931: GM 2, GSD 2; mean 2 x 1.1667; half of the days above 2.
/// let sample = LogSample::of(&[1.0, 2.0, 4.0]).unwrap();
/// let near = |found: f64, by_hand: f64| (found / by_hand - 1.0).abs() < 1e-3;
/// assert!(near(sample.geometric_mean(), 2.0) && near(sample.geometric_standard_deviation(), 2.0));
/// assert!(near(sample.mean_factor(), 1.1667) && near(sample.arithmetic_mean(), 2.3334));
/// // 2 x 2^1.6449, and with the tabled factor of 7.656 for three values 2 x 2^7.656.
/// assert!(near(sample.percentile(0.95), 6.254) && near(sample.percentile_limit(0.95, 0.95).unwrap(), 403.4));
/// // 2 exp(2.920 x 0.6931 / sqrt(3)); (ln 8 - ln 2) / 0.6931.
/// assert!(near(sample.geometric_mean_limit(0.95), 6.434) && near(sample.distance(8.0), 2.0));
/// assert!(near(sample.exceedance(2.0), 0.5) && near(sample.share_beyond(0.0, 0.5), 0.5));
/// assert!(near(sample.exceedance_limit(2.0, 0.5), 0.5));
/// assert!(sample.mean_lower(0.95) < Some(2.3334) && sample.mean_upper(0.95) > Some(2.3334));
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogSample {
    /// How many values, at least two.
    pub n: f64,
    /// The mean of the logarithms.
    pub mean: f64,
    /// Their standard deviation, above zero.
    pub deviation: f64,
}

impl LogSample {
    /// From values above zero; `None` with fewer than two, any not above zero, or all equal.
    pub fn of(values: &[f64]) -> Option<Self> {
        let logs: Vec<f64> = values.iter().map(|value| value.ln()).collect();
        Self::of_logs(&logs)
    }

    /// From natural logarithms; `None` with fewer than two, any not finite, or all equal.
    pub fn of_logs(logs: &[f64]) -> Option<Self> {
        let (n, mean, deviation) = moments(logs)?;
        (logs.len() > 1 && deviation > 0.0).then_some(Self { n, mean, deviation })
    }

    /// exp(mean).
    ///
    /// # Formula
    /// `GM = exp(mean of ln x)`, in the unit of the values. NIOSH 77-173, 1977 (see [`GEOMETRIC_MEAN`]).
    pub fn geometric_mean(&self) -> f64 {
        self.mean.exp()
    }

    /// exp(s).
    ///
    /// # Formula
    /// `GSD = exp(s)`, s with n - 1, no unit. NIOSH 77-173, 1977 (see [`GEOMETRIC_STANDARD_DEVIATION`]).
    pub fn geometric_standard_deviation(&self) -> f64 {
        self.deviation.exp()
    }

    /// Finney's factor psi on the geometric mean.
    ///
    /// # Formula
    /// `psi_n(s^2 / 2)`, a series in s^2 and n, no unit. Finney 1941 (from memory; see [`ARITHMETIC_MEAN`]).
    pub fn mean_factor(&self) -> f64 {
        let half_variance = 0.5 * self.deviation * self.deviation;
        let (b, x) = (0.5 * (self.n - 1.0), (self.n - 1.0) * (self.n - 1.0) * half_variance / (2.0 * self.n));
        let (mut term, mut sum, mut k) = (1.0, 1.0, 0.0);
        while term > 1e-17 * sum && f64::is_finite(sum) {
            term *= x / ((k + 1.0) * (b + k));
            sum += term;
            k += 1.0;
        }
        sum
    }

    /// The minimum-variance unbiased estimate of the arithmetic mean; infinite where a double cannot hold it.
    ///
    /// # Formula
    /// `GM psi_n(s^2 / 2)`, in the unit of the values. Finney 1941 (from memory; see [`ARITHMETIC_MEAN`]).
    pub fn arithmetic_mean(&self) -> f64 {
        (self.mean + self.mean_factor().ln()).exp()
    }

    /// Land's exact upper limit of the arithmetic mean at this one-sided confidence; `None` beyond a double.
    ///
    /// # Formula
    /// `exp(mean + s^2 / 2 + s H(1 - alpha, s, n) / sqrt(n - 1))`, in the unit of the values. Land 1971 (from memory; see [`land::LAND_LIMIT`]).
    pub fn mean_upper(&self, confidence: f64) -> Option<f64> {
        land::ln_limit(self, 1.0 - confidence).map(f64::exp).filter(|limit| limit.is_finite())
    }

    /// Land's exact lower limit of the arithmetic mean at this one-sided confidence.
    ///
    /// # Formula
    /// `exp(mean + s^2 / 2 + s H(alpha, s, n) / sqrt(n - 1))`, in the unit of the values. Land 1971 (from memory; see [`land::LAND_LIMIT`]).
    pub fn mean_lower(&self, confidence: f64) -> Option<f64> {
        land::ln_limit(self, confidence).map(f64::exp)
    }

    /// The value that the share `p` of all days stays below.
    ///
    /// # Formula
    /// `exp(mean + z_p s)`, in the unit of the values. EN 689:2018, Annex F (from memory; see [`PERCENTILE_95`]).
    pub fn percentile(&self, p: f64) -> f64 {
        (self.mean + normal_quantile(p) * self.deviation).exp()
    }

    /// The limit of that percentile at this one-sided confidence (below one half: a lower limit).
    ///
    /// # Formula
    /// `exp(mean + k s)`, `k = t'(confidence; n - 1, z_p sqrt(n)) / sqrt(n)` of the non-central t, in the unit of the values.
    /// Hahn and Meeker 1991 (from memory; see [`PERCENTILE_LIMIT`]).
    pub fn percentile_limit(&self, p: f64, confidence: f64) -> Option<f64> {
        let factor = tolerance_factor(self.n, p, confidence)?;
        Some((self.mean + factor * self.deviation).exp()).filter(|limit| limit.is_finite())
    }

    /// The limit of the geometric mean that it is below with this probability (Student's t on the logarithms).
    ///
    /// # Formula
    /// `exp(mean + t(probability, n - 1) s / sqrt(n))`, in the unit of the values. Student, Biometrika 6 (1908) 1-25 (from memory).
    pub fn geometric_mean_limit(&self, probability: f64) -> f64 {
        (self.mean + t_quantile(probability, self.n - 1.0) * self.deviation / self.n.sqrt()).exp()
    }

    /// The share of days above `limit` (above zero, in the unit of the values).
    ///
    /// # Formula
    /// `1 - Phi((ln limit - mean) / s)`, a share from 0 to 1. NIOSH 77-173, 1977 (see [`EXCEEDANCE`]).
    pub fn exceedance(&self, limit: f64) -> f64 {
        normal_upper_tail(self.distance(limit))
    }

    /// The limit of that share: an upper one at this one-sided confidence, a lower one at 1 - confidence.
    ///
    /// # Formula
    /// `1 - Phi(d / sqrt(n))`, d the non-centrality at which the non-central t of n - 1 degrees reaches `sqrt(n) distance` with this
    /// probability; a share from 0 to 1. Hahn and Meeker 1991 (from memory; see [`EXCEEDANCE_LIMIT`]).
    pub fn exceedance_limit(&self, limit: f64, probability: f64) -> f64 {
        self.share_beyond(self.distance(limit), probability)
    }

    /// The same for a level that lies so many standard deviations of the logarithms above their mean.
    pub fn share_beyond(&self, distance: f64, probability: f64) -> f64 {
        let root = self.n.sqrt();
        // Beyond 39 standard deviations a normal tail is zero in a double.
        noncentral_t::noncentrality(probability, distance * root, self.n - 1.0, 39.0 * root)
            .map_or(f64::NAN, |shift| normal_upper_tail(shift / root))
    }

    /// How many standard deviations of the logarithms the limit lies above their mean.
    ///
    /// # Formula
    /// `(ln limit - mean) / s`, no unit. Definition.
    pub fn distance(&self, limit: f64) -> f64 {
        (limit.ln() - self.mean) / self.deviation
    }
}

/// Count, mean and standard deviation (n - 1; zero for one value); `None` without values or with one not finite.
///
/// ```
/// use doseward::hygiene::lognormal::moments;
/// // 2, 4, 6: mean 4, squares 4 + 0 + 4 over 2 is 4.
/// assert_eq!(moments(&[2.0, 4.0, 6.0]), Some((3.0, 4.0, 2.0)));
/// ```
pub fn moments(values: &[f64]) -> Option<(f64, f64, f64)> {
    if values.is_empty() || values.iter().any(|value| !value.is_finite()) {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "counts of results are far below 2^52")]
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some((n, mean, if n > 1.0 { (squares / (n - 1.0)).sqrt() } else { 0.0 }))
}

/// The one-sided tolerance factor K for the share `p` at this confidence from `n` values (at least 2).
///
/// # Formula
/// `K = t'(confidence; n - 1, z(p) sqrt(n)) / sqrt(n)`, no unit. Hahn and Meeker, Statistical Intervals, 1991 (from memory).
///
/// ```
/// use doseward::hygiene::lognormal::tolerance_factor;
/// // As tabled for six values, 95 % of days at 70 % confidence.
/// assert!((tolerance_factor(6.0, 0.95, 0.70).unwrap() - 2.187).abs() < 1e-3);
/// ```
pub fn tolerance_factor(n: f64, p: f64, confidence: f64) -> Option<f64> {
    Some(noncentral_t::quantile(confidence, n - 1.0, normal_quantile(p) * n.sqrt())? / n.sqrt())
}

/// The customary approximation of [`tolerance_factor`], to show beside the exact one where a text prints it; `None` for
/// so few values that it has none.
///
/// ```
/// use doseward::hygiene::lognormal::{approximate_tolerance_factor, tolerance_factor};
/// // NIST/SEMATECH e-Handbook, section 7.2.6.3, n = 43, 90 % at 99 %: 1.8752, where the exact one is 1.8740.
/// assert!((tolerance_factor(43.0, 0.9, 0.99).unwrap() - 1.8740).abs() < 5e-5);
/// assert!((approximate_tolerance_factor(43.0, 0.9, 0.99).unwrap() - 1.8752).abs() < 5e-5);
/// ```
pub fn approximate_tolerance_factor(n: f64, p: f64, confidence: f64) -> Option<f64> {
    let (share, sure) = (normal_quantile(p), normal_quantile(confidence));
    let a = 1.0 - sure * sure / (2.0 * (n - 1.0));
    let b = share * share - sure * sure / n;
    let factor = (share + (share * share - a * b).sqrt()) / a;
    (n > 1.0 && a > 0.0 && factor.is_finite()).then_some(factor)
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "figures that come out exactly")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn equal_single_or_impossible_values_make_no_sample() {
        assert_eq!(LogSample::of(&[2.0, 2.0, 2.0]), None);
        assert_eq!(LogSample::of(&[2.0]), None);
        assert_eq!(LogSample::of(&[2.0, 0.0]), None);
        assert_eq!(LogSample::of(&[]), None);
    }

    #[test]
    fn too_few_values_have_no_approximate_factor() {
        // a = 1 - 1.6449^2 / (2 (n - 1)) is above zero from n = 3 on.
        assert_eq!(approximate_tolerance_factor(2.0, 0.95, 0.95), None);
        assert_eq!(approximate_tolerance_factor(1.0, 0.95, 0.95), None);
        assert!(approximate_tolerance_factor(3.0, 0.95, 0.95).is_some());
    }

    #[test]
    fn a_limit_far_away_is_never_and_a_tiny_one_always_exceeded() {
        let sample = LogSample::of(&[1.0, 1.000_001, 1.000_002]).unwrap();
        assert_eq!(sample.exceedance_limit(10.0, 0.95), 0.0);
        assert_eq!(sample.exceedance_limit(0.1, 0.05), 1.0);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn figures_scale_with_the_unit_and_forget_the_order(
            values in prop::collection::vec(0.05..50.0f64, 2..12), factor in 0.01..100.0f64,
        ) {
            prop_assume!(LogSample::of(&values).is_some_and(|sample| sample.deviation > 0.01));
            let scaled: Vec<_> = values.iter().rev().map(|value| value * factor).collect();
            let (one, two) = (LogSample::of(&values).unwrap(), LogSample::of(&scaled).unwrap());
            let near = |one: f64, two: f64| (two - factor * one).abs() <= 1e-8 * two;
            prop_assert!(near(one.geometric_mean(), two.geometric_mean()));
            prop_assert!(near(one.arithmetic_mean(), two.arithmetic_mean()));
            prop_assert!(near(one.percentile(0.95), two.percentile(0.95)));
            let limits = (one.percentile_limit(0.95, 0.7), two.percentile_limit(0.95, 0.7));
            if let (Some(one), Some(two)) = limits {
                prop_assert!(near(one, two));
            }
        }

        #[test]
        fn the_approximate_factor_nears_the_exact_one(n in 30u32..400, p in 0.8..0.99f64, confidence in 0.7..0.99f64) {
            let n = f64::from(n);
            let (exact, approximate) =
                (tolerance_factor(n, p, confidence).unwrap(), approximate_tolerance_factor(n, p, confidence).unwrap());
            prop_assert!((approximate / exact - 1.0).abs() < 0.4 / n);
        }

        #[test]
        fn limits_stand_on_their_side_of_the_estimate(values in prop::collection::vec(0.2..5.0f64, 3..10)) {
            prop_assume!(LogSample::of(&values).is_some_and(|sample| sample.deviation > 0.05));
            let sample = LogSample::of(&values).unwrap();
            let (lower, seventy, upper) = (
                sample.exceedance_limit(4.0, 0.05),
                sample.exceedance_limit(4.0, 0.70),
                sample.exceedance_limit(4.0, 0.95),
            );
            prop_assert!(lower < sample.exceedance(4.0) && lower < seventy && seventy < upper);
            prop_assert!(sample.mean_lower(0.95).unwrap() < sample.arithmetic_mean());
            prop_assert!(sample.mean_upper(0.95).is_none_or(|limit| limit > sample.arithmetic_mean()));
            prop_assert!(
                sample.percentile_limit(0.95, 0.7).unwrap() < sample.percentile_limit(0.95, 0.95).unwrap()
            );
        }
    }
}
