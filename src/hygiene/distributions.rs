//! The normal and Student's t distribution, each from the crate that computes it best.
//!
//! `cdflib` gives the error function and the t distribution to about 14 digits, `statrs` the quantiles; the t
//! quantile is polished by one Newton step.

use cdflib::special::{error_fc, error_fc_scaled};
use cdflib::traits::ContinuousCdf as _;
use std::f64::consts::{FRAC_1_SQRT_2, FRAC_2_PI, PI};

/// ln(2 pi) / 2.
pub const LN_SQRT_TWO_PI: f64 = 0.918_938_533_204_672_7;

/// The standard normal density.
///
/// # Formula
/// `exp(-z^2 / 2) / sqrt(2 pi)`, z without unit.
///
/// ```
/// use doseward::hygiene::distributions::normal_density;
/// assert!((normal_density(0.0) - 0.39894).abs() < 1e-5);
/// ```
pub fn normal_density(z: f64) -> f64 {
    (-0.5 * z * z - LN_SQRT_TWO_PI).exp()
}

/// The probability of a standard normal value below `z`, to full relative accuracy in the lower tail.
///
/// ```
/// use doseward::hygiene::distributions::normal_cdf;
/// assert!((normal_cdf(1.6449) - 0.95).abs() < 1e-5);
/// ```
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * error_fc(-z * FRAC_1_SQRT_2)
}

/// The probability of a standard normal value above `z`.
///
/// ```
/// use doseward::hygiene::distributions::normal_upper_tail;
/// assert!((normal_upper_tail(1.6449) - 0.05).abs() < 1e-5);
/// ```
pub fn normal_upper_tail(z: f64) -> f64 {
    normal_cdf(-z)
}

/// The logarithm of [`normal_cdf`], finite far into the lower tail.
///
/// ```
/// use doseward::hygiene::distributions::normal_ln_cdf;
/// assert!((normal_ln_cdf(0.0) + 2f64.ln()).abs() < 1e-14 && normal_ln_cdf(-100.0).is_finite());
/// ```
pub fn normal_ln_cdf(z: f64) -> f64 {
    if z < -5.0 { (0.5 * error_fc_scaled(-z * FRAC_1_SQRT_2)).ln() - 0.5 * z * z } else { normal_cdf(z).ln() }
}

/// The density over the distribution function at `z` (the inverse of Mills' ratio, mirrored).
///
/// # Formula
/// `phi(z) / Phi(z)`, z without unit.
///
/// ```
/// use doseward::hygiene::distributions::normal_hazard_below;
/// // 0.39894 / 0.5
/// assert!((normal_hazard_below(0.0) - 0.79788).abs() < 1e-5);
/// ```
pub fn normal_hazard_below(z: f64) -> f64 {
    if z < -5.0 {
        FRAC_2_PI.sqrt() / error_fc_scaled(-z * FRAC_1_SQRT_2)
    } else {
        normal_density(z) / normal_cdf(z)
    }
}

/// The standard normal quantile; infinite at 0 and 1.
///
/// ```
/// use doseward::hygiene::distributions::normal_quantile;
/// assert!((normal_quantile(0.95) - 1.6449).abs() < 1e-4);
/// ```
pub fn normal_quantile(p: f64) -> f64 {
    use statrs::distribution::{ContinuousCDF as _, Normal};
    if p <= 0.0 {
        f64::NEG_INFINITY
    } else if p >= 1.0 {
        f64::INFINITY
    } else {
        Normal::standard().inverse_cdf(p)
    }
}

/// The probability of a t value below `t` with `df` degrees of freedom.
///
/// ```
/// use doseward::hygiene::distributions::t_cdf;
/// // With one degree of freedom 1/2 + atan(t) / pi.
/// assert!((t_cdf(1.0, 1.0) - 0.75).abs() < 1e-12);
/// ```
pub fn t_cdf(t: f64, df: f64) -> f64 {
    if t.is_infinite() {
        return if t > 0.0 { 1.0 } else { 0.0 };
    }
    if t > 0.0 { 1.0 - t_upper_tail(t, df) } else { cdflib::StudentsT::new(df).cdf(t) }
}

/// The probability of a t value above `t`, to full relative accuracy in the upper tail.
///
/// ```
/// use doseward::hygiene::distributions::t_upper_tail;
/// assert!((t_upper_tail(1.0, 1.0) - 0.25).abs() < 1e-12);
/// ```
pub fn t_upper_tail(t: f64, df: f64) -> f64 {
    if t > 0.0 { t_cdf(-t, df) } else { 1.0 - t_cdf(t, df) }
}

/// The t quantile at `p` between 0 and 1 with `df` degrees of freedom, above zero.
///
/// ```
/// use doseward::hygiene::distributions::t_quantile;
/// // As tabled.
/// assert!((t_quantile(0.975, 4.0) - 2.776).abs() < 1e-3);
/// ```
pub fn t_quantile(p: f64, df: f64) -> f64 {
    use statrs::distribution::{ContinuousCDF as _, StudentsT};
    if p > 0.5 {
        return -t_quantile(1.0 - p, df);
    }
    let start = StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |t| t.inverse_cdf(p));
    if !start.is_finite() {
        return start;
    }
    let polished = start - (t_cdf(start, df) - p) / t_density(start, df);
    if polished.is_finite() { polished } else { start }
}

fn t_density(t: f64, df: f64) -> f64 {
    use cdflib::special::gamma_log;
    let constant = gamma_log(0.5 * (df + 1.0)) - gamma_log(0.5 * df) - 0.5 * (df * PI).ln();
    (constant - 0.5 * (df + 1.0) * (t * t / df).ln_1p()).exp()
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "figures that come out exactly")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn close(one: f64, two: f64, relative: f64) {
        assert!((one - two).abs() <= relative * two.abs(), "{one} is not {two}");
    }

    // Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, tables of chapter 26 (from memory).
    #[test]
    fn tabled_quantiles_are_met() {
        assert!((normal_quantile(0.975) - 1.959_964).abs() < 5e-7);
        assert!((t_quantile(0.975, 5.0) - 2.571).abs() < 5e-4);
        assert!((t_quantile(0.975, 1.0) - 12.706).abs() < 5e-4);
        assert!((t_quantile(0.025, 5.0) + 2.571).abs() < 5e-4);
    }

    // Computed with SciPy 1.17.1: norm.logcdf(-40), t.sf(8, 5), t.ppf(0.001, 2.5).
    #[test]
    fn tails_keep_their_relative_accuracy() {
        close(normal_ln_cdf(-40.0), -804.608_442_013_753_9, 1e-14);
        close(t_upper_tail(8.0, 5.0), 0.000_246_453_330_286_222_1, 1e-12);
        close(t_quantile(0.001, 2.5), -13.822_193_110_865_964, 1e-8);
        assert_eq!(t_cdf(f64::NEG_INFINITY, 3.0), 0.0);
    }

    #[test]
    fn the_two_ways_to_the_tail_agree_where_they_meet() {
        close(normal_ln_cdf(-5.000_000_1), normal_ln_cdf(-4.999_999_9), 1e-6);
        close(normal_hazard_below(-5.000_000_1), normal_hazard_below(-4.999_999_9), 1e-6);
    }

    proptest! {
        #[test]
        fn quantile_and_distribution_undo_each_other(p in 0.000_1..0.999_9f64, df in 1.0..200.0f64) {
            prop_assert!((normal_cdf(normal_quantile(p)) - p).abs() < 1e-13);
            prop_assert!((t_cdf(t_quantile(p, df), df) - p).abs() < 1e-13);
        }
    }
}
