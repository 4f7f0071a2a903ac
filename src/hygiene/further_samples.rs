//! How many further results would settle what a control does.

use super::distributions::t_quantile;
use super::noncentral_t;
use crate::model::working::Formula;

/// The number.
pub const FURTHER_SAMPLES: Formula = Formula {
    formula: "smallest m further values on each side (further pairs) with P(95 % interval excludes 1 or the target) >= 0.8 at the \
              present difference d and spread: T' non-central t with noncentrality |d - x| / se(m), x the further of \
              ln 1 and ln(1 - target)",
    source: "Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd edition 1988, chapter 2 (power of t tests, \
             from memory)",
};

/// The power that is asked for.
pub const POWER: f64 = 0.8;
/// More further values than this are no plan.
pub const MOST: u32 = 10_000;

/// The present spread of logarithms, and how it shrinks with further values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// The standard deviation of log ratios over so many pairs.
    Pairs {
        /// Pairs.
        n: f64,
        /// Of the log ratios.
        deviation: f64,
    },
    /// The standard deviations of two independent sides.
    Sides {
        /// Values without the control.
        n_without: f64,
        /// Values with it.
        n_with: f64,
        /// Of the logarithms without it.
        deviation_without: f64,
        /// Of the logarithms with it.
        deviation_with: f64,
    },
}

impl Spread {
    /// The standard error of the log ratio with `further` values on each side, and its degrees of freedom.
    fn with(self, further: f64) -> (f64, f64) {
        match self {
            Self::Pairs { n, deviation } => (deviation / (n + further).sqrt(), n + further - 1.0),
            Self::Sides { n_without, n_with, deviation_without, deviation_with } => {
                let (one, two) = (n_without + further, n_with + further);
                let (of_one, of_two) = (deviation_without.powi(2) / one, deviation_with.powi(2) / two);
                let variance = of_one + of_two;
                let lost = of_one.powi(2) / (one - 1.0) + of_two.powi(2) / (two - 1.0);
                (variance.sqrt(), variance * variance / lost)
            }
        }
    }
}

/// The power of the comparison with `further` values on each side when the truth lies `distance` (in logarithms) off.
///
/// # Formula
/// `P(T' > t) + P(T' < -t)`, t = t(0.975, df), T' non-central t with noncentrality `distance / se`; logarithms, no units.
/// Cohen, Statistical Power Analysis, 2nd edition 1988, chapter 2 (from memory).
///
/// ```
/// use doseward::hygiene::further_samples::{Spread, power};
/// // Without any difference the interval still misses one time in twenty.
/// let spread = Spread::Pairs { n: 5.0, deviation: 1.0 };
/// assert!((power(0.0, spread, 5.0) - 0.05).abs() < 1e-9);
/// ```
pub fn power(distance: f64, spread: Spread, further: f64) -> f64 {
    let (error, freedom) = spread.with(further);
    let (critical, shift) = (t_quantile(0.975, freedom), distance.abs() / error);
    noncentral_t::upper_tail(critical, freedom, shift) + noncentral_t::cdf(-critical, freedom, shift)
}

/// The further values needed on each side; `None` without spread, or where more than 10,000 would be.
///
/// `ln_ratio` is the present ln(with/without), `ln_target` that of the target (minus infinity for 100 %).
///
/// # Formula
/// The smallest m with [`power`] of at least 0.8 for the further of `|d|` and `|d - ln_target|`. Cohen, 2nd edition 1988,
/// chapter 2 (from memory).
///
/// ```
/// use doseward::hygiene::further_samples::{Spread, further_samples};
/// // d = ln(1/4), s = ln 2 on three values a side: with two more the power is 0.79, with three more 0.88.
/// let s = 2f64.ln();
/// let spread = Spread::Sides { n_without: 3.0, n_with: 3.0, deviation_without: s, deviation_with: s };
/// assert_eq!(further_samples(0.25f64.ln(), 0.5f64.ln(), spread), Some(3));
/// ```
pub fn further_samples(ln_ratio: f64, ln_target: f64, spread: Spread) -> Option<u32> {
    let distance = [0.0, ln_target]
        .into_iter()
        .filter(|end| end.is_finite())
        .map(|end| (ln_ratio - end).abs())
        .fold(0.0, f64::max);
    let (error, freedom) = spread.with(1.0);
    if !(error > 0.0 && freedom > 0.0 && distance > 0.0 && distance.is_finite()) {
        return None;
    }
    let enough = |further: u32| power(distance, spread, f64::from(further)) >= POWER;
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

    // Cohen, Statistical Power Analysis, 2nd edition 1988, table 2.4.1 (two-sided 5 %, power 0.80, from memory): 64 a side
    // for a difference of half a standard deviation, 26 for 0.8.
    #[test]
    fn the_handbook_numbers_of_two_sides_are_met() {
        let from_two = |difference: f64| {
            let spread =
                Spread::Sides { n_without: 2.0, n_with: 2.0, deviation_without: 1.0, deviation_with: 1.0 };
            further_samples(difference, difference, spread)
        };
        assert_eq!((from_two(0.5), from_two(0.8)), (Some(62), Some(24)));
    }

    #[test]
    fn without_spread_or_difference_there_is_no_number() {
        assert_eq!(further_samples(0.5, -0.7, Spread::Pairs { n: 3.0, deviation: 0.0 }), None);
        assert_eq!(further_samples(0.0, 0.0, Spread::Pairs { n: 3.0, deviation: 1.0 }), None);
        assert_eq!(further_samples(1e-3, 0.0, Spread::Pairs { n: 3.0, deviation: 1.0 }), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn a_larger_difference_never_needs_more(difference in 0.2..3.0f64, deviation in 0.2..2.0f64) {
            let spread = Spread::Pairs { n: 4.0, deviation };
            let (one, two) = (further_samples(difference, 0.0, spread), further_samples(1.5 * difference, 0.0, spread));
            prop_assert!(two.unwrap() <= one.unwrap());
        }
    }
}
