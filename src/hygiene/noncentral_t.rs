//! The non-central t distribution, for exact limits of percentiles and of exceedance.

use super::distributions::{LN_SQRT_TWO_PI, normal_cdf, normal_quantile, normal_upper_tail};
use super::roots;
use crate::model::working::Formula;

/// The distribution function as it is integrated here.
pub const NONCENTRAL_T: Formula = Formula {
    formula: "F(t; df, d) = integral of Phi(t s - d) over s = chi(df) / sqrt(df)",
    source: "Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions, volume 2, 2nd edition 1995, \
             chapter 31 (from memory)",
};

/// What one integration gives at a point.
#[derive(Debug, Clone, Copy)]
struct At {
    cdf: f64,
    upper_tail: f64,
    density: f64,
}

/// Trapezoids in u = ln s: the integrand falls off doubly exponentially, so a plain sum converges to full precision.
///
/// All terms are positive, so both tails keep their relative accuracy; dividing by the summed weights replaces the
/// constant of the chi distribution.
fn integrate(t: f64, df: f64, noncentrality: f64) -> At {
    let spread = 1.0 / (2.0 * df).sqrt();
    let step = spread.min(0.25).min(1.0 / noncentrality.abs().max(1.0)) / 5.0;
    // Beyond these ends the weight is below 1e-17 of the whole.
    let (low, high) = if df < 2.0 {
        (-40.0 / df - 1.0, 2.4)
    } else if df < 60.0 {
        (-40.0 / df - 1.0, 1.9)
    } else {
        (-13.0 * spread - 0.3, 10.0 * spread + 0.2)
    };
    let (mut weights, mut below, mut above, mut density) = (0.0, 0.0, 0.0, 0.0);
    let mut u: f64 = low;
    let mut index = 0.0;
    while u <= high {
        let weight = (df * (u - 0.5 * (2.0 * u).exp_m1())).exp();
        if weight > 1e-40 {
            let s = u.exp();
            let z = t * s - noncentrality;
            weights += weight;
            below += weight * normal_cdf(z);
            above += weight * normal_upper_tail(z);
            density += weight * s * (-0.5 * z * z - LN_SQRT_TWO_PI).exp();
        }
        index += 1.0;
        u = low + step * index;
    }
    At { cdf: below / weights, upper_tail: above / weights, density: density / weights }
}

/// The probability of a value below `t`; `df` above zero.
///
/// ```
/// use doseward::hygiene::noncentral_t::cdf;
/// // At 0 it is Phi(-noncentrality).
/// assert!((cdf(0.0, 5.0, 1.6449) - 0.05).abs() < 1e-5);
/// ```
pub fn cdf(t: f64, df: f64, noncentrality: f64) -> f64 {
    integrate(t, df, noncentrality).cdf
}

/// The probability of a value above `t`; `df` above zero.
///
/// ```
/// use doseward::hygiene::noncentral_t::upper_tail;
/// assert!((upper_tail(0.0, 5.0, 1.6449) - 0.95).abs() < 1e-5);
/// ```
pub fn upper_tail(t: f64, df: f64, noncentrality: f64) -> f64 {
    integrate(t, df, noncentrality).upper_tail
}

/// The value with probability `p` (between 0 and 1) below it; `None` where it is beyond 1e8 standard deviations.
///
/// ```
/// use doseward::hygiene::noncentral_t::quantile;
/// // Without noncentrality Student's t, as tabled.
/// assert!((quantile(0.975, 4.0, 0.0).unwrap() - 2.776).abs() < 1e-3);
/// ```
pub fn quantile(p: f64, df: f64, noncentrality: f64) -> Option<f64> {
    // The smaller tail decides, because the larger one has lost its digits.
    let excess = |t: f64| {
        let at = integrate(t, df, noncentrality);
        if p < 0.5 { at.cdf - p } else { (1.0 - p) - at.upper_tail }
    };
    let start = noncentrality + normal_quantile(p);
    let step = if excess(start) < 0.0 { 0.5 } else { -0.5 };
    let found = roots::outward(excess, start, step, 1e8)?;
    let at = integrate(found, df, noncentrality);
    let missed = if p < 0.5 { at.cdf - p } else { (1.0 - p) - at.upper_tail };
    let polished = found - missed / at.density;
    Some(if polished.is_finite() { polished } else { found })
}

#[cfg(test)]
mod tests {
    use super::super::distributions::t_cdf;
    use super::*;
    use proptest::prelude::*;

    // Computed with SciPy 1.17.1: nct.ppf(0.95, 5, 1.6448536269514722 * sqrt(6)), nct.sf(10, 3, 2).
    #[test]
    fn quantile_and_tail_agree_with_another_computation() {
        let expected = 3.707_683_680_688_687 * 6f64.sqrt();
        let found = quantile(0.95, 5.0, 1.644_853_626_951_472_2 * 6f64.sqrt()).unwrap();
        assert!((found - expected).abs() < 1e-10 * expected);
        assert!((upper_tail(10.0, 3.0, 2.0) - 0.017_705_030_902_937_12).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn without_noncentrality_it_is_students_t(t in -30.0..30.0f64, df in 1.0..300.0f64) {
            prop_assert!((cdf(t, df, 0.0) - t_cdf(t, df)).abs() < 1e-12);
        }

        #[test]
        fn it_falls_with_the_noncentrality(t in 0.0..10.0f64, df in 1.0..50.0f64, d in 0.0..10.0f64) {
            prop_assert!(cdf(t, df, d + 0.5) < cdf(t, df, d));
            prop_assert!((cdf(t, df, d) + upper_tail(t, df, d) - 1.0).abs() < 1e-12);
        }
    }
}
