//! The non-central t distribution, for exact limits of percentiles and of exceedance.

use super::distributions::{LN_SQRT_TWO_PI, normal_cdf, normal_density, normal_quantile};
use super::roots;
use crate::model::working::Formula;

/// The distribution function as it is integrated here.
pub const NONCENTRAL_T: Formula = Formula {
    formula: "F(t; df, d) = integral of Phi(t s - d) over s = chi(df) / sqrt(df)",
    source: "Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions, volume 2, 2nd edition 1995, \
             chapter 31 (from memory)",
};

/// The distribution function next to a point: one of its tails, and how fast it changes.
#[derive(Debug, Clone, Copy)]
struct At {
    /// The tail that was asked for.
    tail: f64,
    /// The density, which is how the lower tail rises with t.
    density: f64,
    /// How the lower tail falls with the noncentrality.
    fall: f64,
}

/// Which of the two tails of the distribution; each keeps its own digits, the other's complement has lost them.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Tail {
    Lower,
    Upper,
}

/// Nodes of s = chi(df) / sqrt(df) with weights that add up to 1.
///
/// Trapezoids in u = ln s: the integrand falls off doubly exponentially, so a plain sum converges to full precision. All
/// terms are positive, so both tails keep their relative accuracy; dividing by the summed weights replaces the constant of
/// the chi distribution.
struct Nodes {
    df: f64,
    /// The greatest noncentrality, without its sign, for which the step is fine enough.
    reach: f64,
    places: Vec<(f64, f64)>,
}

impl Nodes {
    /// For noncentralities up to `reach`; weights below `least` of the greatest are left out.
    fn of(df: f64, reach: f64, least: f64) -> Self {
        // A finer step changes nothing beyond the last two digits (checked for df from 1 to 1000, noncentralities to 120).
        let step = (0.6 / (2.0 * df + (reach + 4.0).powi(2)).sqrt()).min(0.11);
        let mut places = vec![(1.0, 1.0)];
        for direction in [-step, step] {
            let mut index = 1.0;
            loop {
                let u: f64 = direction * index;
                let weight = (df * (u - 0.5 * (2.0 * u).exp_m1())).exp();
                if weight.is_nan() || weight <= least {
                    break;
                }
                places.push((u.exp(), weight));
                index += 1.0;
            }
        }
        let whole: f64 = places.iter().map(|(_, weight)| weight).sum();
        for (_, weight) in &mut places {
            *weight /= whole;
        }
        Self { df, reach, places }
    }

    /// For an answer in a tail of `p`, near this noncentrality.
    fn near(df: f64, noncentrality: f64, p: f64) -> Self {
        Self::of(df, noncentrality.abs() + 1.0, 1e-19 * p)
    }

    fn tail(&self, t: f64, noncentrality: f64, tail: Tail) -> f64 {
        let sign = if tail == Tail::Lower { 1.0 } else { -1.0 };
        self.places.iter().map(|(s, weight)| weight * normal_cdf(sign * (t * s - noncentrality))).sum()
    }

    fn at(&self, t: f64, noncentrality: f64, tail: Tail) -> At {
        let sign = if tail == Tail::Lower { 1.0 } else { -1.0 };
        let mut sum = At { tail: 0.0, density: 0.0, fall: 0.0 };
        for (s, weight) in &self.places {
            let z = t * s - noncentrality;
            let density = weight * (-0.5 * z * z).exp();
            sum.tail += weight * normal_cdf(sign * z);
            sum.density += density * s;
            sum.fall += density;
        }
        let scale = (-LN_SQRT_TWO_PI).exp();
        At { tail: sum.tail, density: sum.density * scale, fall: sum.fall * scale }
    }
}

/// The probability of a value below `t`; `df` above zero.
pub fn cdf(t: f64, df: f64, noncentrality: f64) -> f64 {
    Nodes::of(df, noncentrality.abs(), LEAST).tail(t, noncentrality, Tail::Lower)
}

/// The probability of a value above `t`; `df` above zero.
pub fn upper_tail(t: f64, df: f64, noncentrality: f64) -> f64 {
    Nodes::of(df, noncentrality.abs(), LEAST).tail(t, noncentrality, Tail::Upper)
}

/// Weights below this share of the greatest add nothing to a tail above 1e-20.
const LEAST: f64 = 1e-38;

/// A quantile is looked for so far from where it would be if the distribution were normal.
const FURTHEST: f64 = 1e8;

/// A tail as it is searched for: the smaller one decides, because the larger one has lost its digits.
struct Wanted {
    tail: Tail,
    p: f64,
    /// Its normal quantile.
    z: f64,
}

impl Wanted {
    fn of(p: f64) -> Self {
        let (tail, p) = if p < 0.5 { (Tail::Lower, p) } else { (Tail::Upper, 1.0 - p) };
        Self { tail, p, z: normal_quantile(p) }
    }

    /// How far the lower tail is above the one wanted, and how much one unit of its rise changes that; in normal
    /// quantiles, in which the distribution function is nearly a straight line, so that Newton's steps meet at once.
    fn missed(&self, at: &At) -> (f64, f64) {
        let z = normal_quantile(at.tail);
        let sign = if self.tail == Tail::Lower { 1.0 } else { -1.0 };
        (sign * (z - self.z), normal_density(z).recip())
    }
}

/// The value with probability `p` (between 0 and 1) below it; `None` where it is beyond 1e8 standard deviations.
pub fn quantile(p: f64, df: f64, noncentrality: f64) -> Option<f64> {
    let wanted = Wanted::of(p);
    let nodes = Nodes::near(df, noncentrality, wanted.p);
    let z = normal_quantile(p);
    // t s - d is nearly normal: its mean and variance give the start.
    let mean = 1.0 - 0.25 / df;
    let (leading, radicand) =
        (mean * mean - 0.5 * z * z / df, mean * mean + 0.5 * (noncentrality * noncentrality - z * z) / df);
    let start = if leading > 0.2 && radicand > 0.0 {
        (mean * noncentrality + z * radicand.sqrt()) / leading
    } else {
        noncentrality + z
    };
    let found = roots::newton(
        |t| {
            let at = nodes.at(t, noncentrality, wanted.tail);
            let (missed, rate) = wanted.missed(&at);
            (missed, at.density * rate)
        },
        start,
        (start - FURTHEST, start + FURTHEST),
    )?;
    ((found - start).abs() < FURTHEST).then_some(found)
}

/// The noncentrality at which the probability of a value below `t` is `p`, between `-furthest` and `furthest`; the end
/// that it lies beyond, if it does.
pub fn noncentrality(p: f64, t: f64, df: f64, furthest: f64) -> Option<f64> {
    let wanted = Wanted::of(p);
    let start = t * (1.0 - 0.25 / df) - normal_quantile(p) * (1.0 + 0.5 * t * t / df).sqrt();
    let start = start.clamp(-furthest, furthest);
    let mut nodes = Nodes::near(df, start, wanted.p);
    roots::newton(
        |d| {
            if d.abs() > nodes.reach {
                nodes = Nodes::near(nodes.df, d, wanted.p);
            }
            let at = nodes.at(t, d, wanted.tail);
            let (missed, rate) = wanted.missed(&at);
            (-missed, at.fall * rate)
        },
        start,
        (-furthest, furthest),
    )
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
