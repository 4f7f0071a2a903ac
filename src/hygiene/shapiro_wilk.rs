//! Shapiro and Wilk's test of normality, used on logarithms.

use super::distributions::{normal_quantile, normal_upper_tail};
use crate::model::working::Formula;
use std::f64::consts::FRAC_PI_3;

/// The statistic.
pub const SHAPIRO_WILK: Formula = Formula {
    formula: "W = (sum a_i y_(i))^2 / sum (y_i - mean)^2, p from a normal approximation",
    source: "Royston, Remark AS R94, Applied Statistics 44 (1995) 547-551 (coefficients from memory, \
             confirmed by agreement with SciPy 1.17.1)",
};

/// The most values the approximation was made for.
pub const MOST_VALUES: usize = 5000;

/// W and its p value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// The statistic, at most 1.
    pub w: f64,
    /// The probability of so small a W under normality.
    pub p_value: f64,
}

/// Tests whether the values are normal; `None` below 3 or above 5000 values, or when all are equal.
///
/// # Formula
/// `W = (sum a_i y_(i))^2 / sum (y_i - mean)^2`, no unit; y_(i) the i-th smallest value, a_i its weight. Royston, Applied
/// Statistics 44 (1995) 547-551 (coefficients from memory).
///
/// ```
/// use doseward::hygiene::shapiro_wilk::shapiro_wilk;
/// // Three values: ((y3 - y1) / sqrt(2))^2 over the sum of squares; even steps give 1.
/// assert!((shapiro_wilk(&[1.0, 2.0, 3.0]).unwrap().w - 1.0).abs() < 1e-12);
/// ```
pub fn shapiro_wilk(values: &[f64]) -> Option<Fit> {
    let n = values.len();
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    if !(3..=MOST_VALUES).contains(&n) || sorted.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let count = f64::from(u16::try_from(n).ok()?);
    let mean = sorted.iter().sum::<f64>() / count;
    let squares: f64 = sorted.iter().map(|value| (value - mean).powi(2)).sum();
    if sorted[n - 1] - sorted[0] <= f64::EPSILON * sorted[n - 1].abs() || squares <= 0.0 {
        return None;
    }
    let contrast: f64 = weights(n, count)
        .iter()
        .enumerate()
        .map(|(i, weight)| weight * (sorted[n - 1 - i] - sorted[i]))
        .sum();
    let w = (contrast * contrast / squares).min(1.0);
    Some(Fit { w, p_value: p_value(w, n, count) })
}

/// Value of a polynomial, constant term first.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient)
}

/// The weights of the differences largest - smallest, second largest - second smallest, and so on.
fn weights(n: usize, count: f64) -> Vec<f64> {
    if n == 3 {
        return vec![std::f64::consts::FRAC_1_SQRT_2];
    }
    // Blom's approximate normal scores of the upper half, so that all weights come out positive.
    let mut rank = 0.0;
    let scores: Vec<f64> = (0..n / 2)
        .map(|_| {
            rank += 1.0;
            -normal_quantile((rank - 0.375) / (count + 0.25))
        })
        .collect();
    let squares = 2.0 * scores.iter().map(|score| score * score).sum::<f64>();
    let root = 1.0 / count.sqrt();
    let first = scores[0] / squares.sqrt()
        + polynomial(&[0.0, 0.221_157, -0.147_981, -2.071_190, 4.434_685, -2.706_056], root);
    if n <= 5 {
        let rest = (squares - 2.0 * scores[0].powi(2)) / (1.0 - 2.0 * first * first);
        return std::iter::once(first)
            .chain(scores.iter().skip(1).map(|score| score / rest.sqrt()))
            .collect();
    }
    let second = scores[1] / squares.sqrt()
        + polynomial(&[0.0, 0.042_981, -0.293_762, -1.752_461, 5.682_633, -3.582_633], root);
    let rest = (squares - 2.0 * scores[0].powi(2) - 2.0 * scores[1].powi(2))
        / (1.0 - 2.0 * first * first - 2.0 * second * second);
    [first, second].into_iter().chain(scores.iter().skip(2).map(|score| score / rest.sqrt())).collect()
}

fn p_value(w: f64, n: usize, count: f64) -> f64 {
    if n == 3 {
        // Exact: W is at least 3/4, whose arcsine of the root is pi/3.
        return (6.0 / std::f64::consts::PI * (w.sqrt().asin() - FRAC_PI_3)).max(0.0);
    }
    let short = (1.0 - w).ln();
    if n <= 11 {
        let gamma = polynomial(&[-2.273, 0.459], count);
        if short >= gamma {
            return 0.0;
        }
        let mean = polynomial(&[0.544, -0.399_78, 0.025_054, -6.714e-4], count);
        let deviation = polynomial(&[1.3822, -0.778_57, 0.062_767, -0.002_032_2], count).exp();
        return normal_upper_tail((-(gamma - short).ln() - mean) / deviation);
    }
    let size = count.ln();
    let mean = polynomial(&[-1.5861, -0.310_82, -0.083_751, 0.003_891_5], size);
    let deviation = polynomial(&[-0.4803, -0.082_676, 0.003_030_2], size).exp();
    normal_upper_tail((short - mean) / deviation)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn too_few_or_equal_values_are_not_tested() {
        assert_eq!(shapiro_wilk(&[1.0, 2.0]), None);
        assert_eq!(shapiro_wilk(&[2.0, 2.0, 2.0]), None);
    }

    // Computed with SciPy 1.17.1: shapiro([1, 2, 4]), shapiro([1, 2, 4, 8]), shapiro([1, 2, 4, 8, 9, 11, 30]).
    #[test]
    fn small_sizes_agree_with_another_computation() {
        for (values, w, p) in [
            (&[1.0, 2.0, 4.0][..], 0.964_285_714_285_714_2, 0.636_886_845_028_968_9),
            (&[1.0, 2.0, 4.0, 8.0][..], 0.920_202_678_880_602_6, 0.538_083_777_775_902_5),
            (&[1.0, 2.0, 4.0, 8.0, 9.0, 11.0, 30.0][..], 0.792_513_045_994_985_4, 0.034_513_889_221_275_93),
        ] {
            let fit = shapiro_wilk(values).unwrap();
            assert!((fit.w - w).abs() < 1e-8 && (fit.p_value - p).abs() < 1e-6, "{fit:?}");
        }
    }

    proptest! {
        #[test]
        fn shift_scale_and_order_do_not_matter(
            values in prop::collection::vec(-5.0..5.0f64, 3..40), factor in 0.1..10.0f64,
        ) {
            let moved: Vec<_> = values.iter().rev().map(|value| value * factor + 3.0).collect();
            if let (Some(one), Some(two)) = (shapiro_wilk(&values), shapiro_wilk(&moved)) {
                prop_assert!((one.w - two.w).abs() < 1e-9 && (0.0..=1.0).contains(&one.p_value));
            }
        }
    }
}
