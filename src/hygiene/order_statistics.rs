//! Regression on order statistics: a line through the detected logarithms against their normal scores.

use super::censored::{distinct_detected, is_non_detect};
use super::distributions::normal_quantile;
use super::lognormal::moments;
use crate::model::measured::Measured;
use crate::model::working::Formula;

/// The robust form for several limits.
pub const ORDER_STATISTICS: Formula = Formula {
    formula: "ln x = intercept + slope z(plotting position) over the detected values; non-detects are read off the \
              line at their own positions, detected values are kept; mean and standard deviation (n - 1) of all logs",
    source: "Helsel and Cohn, Water Resources Research 24 (1988) 1997-2004 (plotting positions, from memory); \
             US EPA 530/R-09-007, Unified Guidance, March 2009, Example 15-2",
};

/// The parametric form for one limit.
pub const SINGLE_LIMIT_REGRESSION: Formula = Formula {
    formula: "mean of ln x = intercept, standard deviation = slope of ln x on z((i - 0.375) / (n + 0.25)), i = rank \
              among all n with the non-detects first",
    source: "US EPA 530/R-09-007, Unified Guidance, March 2009, Example 15-3 (parametric regression)",
};

/// Detected values and imputed ones together.
///
/// ```
/// use doseward::hygiene::order_statistics::Imputed;
/// // Logarithms 0 and 2: mean 1, deviation sqrt(2).
/// let both = Imputed { detected: vec![2f64.exp()], imputed: vec![1.0] };
/// let (mean, deviation) = both.log_moments().unwrap();
/// assert!((mean - 1.0).abs() < 1e-12 && (deviation - 2f64.sqrt()).abs() < 1e-12);
/// assert_eq!((both.values().count(), both.moments().unwrap().0), (2, (1.0 + 2f64.exp()) / 2.0));
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Imputed {
    /// The detected values as they are, in the order given.
    pub detected: Vec<f64>,
    /// The values read off the line for the non-detects, ascending.
    pub imputed: Vec<f64>,
}

impl Imputed {
    /// All values, in the unit of the results.
    pub fn values(&self) -> impl Iterator<Item = f64> {
        self.imputed.iter().chain(&self.detected).copied()
    }

    /// Mean and standard deviation (n - 1) of the natural logarithms.
    ///
    /// # Formula
    /// `mean = sum of ln x / n`, `s = sqrt(sum of (ln x - mean)^2 / (n - 1))`, no unit. See [`ORDER_STATISTICS`].
    pub fn log_moments(&self) -> Option<(f64, f64)> {
        let logs: Vec<f64> = self.values().map(f64::ln).collect();
        moments(&logs).map(|(_, mean, deviation)| (mean, deviation))
    }

    /// Mean and standard deviation (n - 1) of the values.
    ///
    /// # Formula
    /// `mean = sum of x / n`, `s = sqrt(sum of (x - mean)^2 / (n - 1))`, in the unit of the results. See [`ORDER_STATISTICS`].
    pub fn moments(&self) -> Option<(f64, f64)> {
        let values: Vec<f64> = self.values().collect();
        moments(&values).map(|(_, mean, deviation)| (mean, deviation))
    }
}

/// Imputes the non-detects; `None` with fewer than two different detected values, a value not above zero, a result
/// above a limit only, or a range that does not start at zero.
///
/// # Formula
/// `ln x = intercept + slope z(plotting position)` over the detected values, values in their unit, positions shares. Helsel and
/// Cohn, Water Resources Research 24 (1988) 1997-2004 (from memory); US EPA 530/R-09-007, March 2009, Example 15-2.
///
/// ```
/// use doseward::hygiene::order_statistics::impute;
/// use doseward::model::measured::Measured;
/// // 4, 2, < 1: positions 0.7778, 0.5556 and 0.1667 (z 0.765, 0.140, -0.967): ln of the non-detect is -0.535.
/// let found = impute(&[Measured::Value(4.0), Measured::Value(2.0), Measured::Below(1.0)]).unwrap();
/// assert!((found.imputed[0].ln() + 0.535).abs() < 1e-3);
/// ```
pub fn impute(results: &[Measured]) -> Option<Imputed> {
    let mut detected = Vec::new();
    let mut limits = Vec::new();
    for &result in results {
        match result {
            Measured::Value(value) if value > 0.0 => detected.push(value),
            bound if is_non_detect(bound) => limits.push(bound.upper()?),
            _ => return None,
        }
    }
    (distinct_detected(results) > 1).then_some(())?;
    let mut ascending = detected.clone();
    ascending.sort_by(f64::total_cmp);
    let positions = Positions::of(&ascending, &limits);
    let scores: Vec<f64> = positions.detected.iter().map(|&p| normal_quantile(p)).collect();
    let logs: Vec<f64> = ascending.iter().map(|value| value.ln()).collect();
    let (intercept, slope) = line(&scores, &logs)?;
    let mut imputed: Vec<f64> =
        positions.limits.iter().map(|&p| (intercept + slope * normal_quantile(p)).exp()).collect();
    imputed.sort_by(f64::total_cmp);
    imputed.iter().all(|value| value.is_finite()).then_some(Imputed { detected, imputed })
}

/// Plotting positions of detected values (ascending) and of non-detects.
struct Positions {
    detected: Vec<f64>,
    limits: Vec<f64>,
}

impl Positions {
    /// Between two neighbouring limits the detected values spread evenly over the probability estimated there.
    fn of(ascending: &[f64], limits: &[f64]) -> Self {
        let count = |values: &[f64], within: &dyn Fn(f64) -> bool| {
            values.iter().filter(|value| within(**value)).fold(0.0, |count, _| count + 1.0)
        };
        let mut starts = limits.to_vec();
        starts.sort_by(f64::total_cmp);
        starts.dedup();
        // Detected values below every limit make a lowest group of their own.
        if starts.first().is_none_or(|lowest| ascending.first().is_some_and(|value| value < lowest)) {
            starts.insert(0, 0.0);
        }
        let (mut detected, mut censored) = (Vec::new(), Vec::new());
        let mut exceeding = 0.0;
        for (at, &start) in starts.iter().enumerate().rev() {
            let end = starts.get(at + 1).copied().unwrap_or(f64::INFINITY);
            let here = count(ascending, &|value| value >= start && value < end);
            let below = count(ascending, &|value| value < start) + count(limits, &|limit| limit <= start);
            let above = exceeding;
            if here > 0.0 {
                exceeding += here / (here + below) * (1.0 - exceeding);
            }
            let mut rank = here;
            while rank > 0.0 {
                detected.push((1.0 - exceeding) + (exceeding - above) * rank / (here + 1.0));
                rank -= 1.0;
            }
            let equal = count(limits, &|limit| limit.to_bits() == start.to_bits());
            let mut rank = 1.0;
            while rank <= equal {
                censored.push((1.0 - exceeding) * rank / (equal + 1.0));
                rank += 1.0;
            }
        }
        detected.reverse();
        Self { detected, limits: censored }
    }
}

/// Mean and standard deviation of the logarithms by the parametric regression for one limit.
///
/// `None` with fewer than two different detected values.
///
/// # Formula
/// Intercept and slope of `ln x` on `z((i - 0.375) / (n + 0.25))`, i the rank with the non-detects first, no units. US EPA
/// 530/R-09-007, March 2009, Example 15-3.
///
/// ```
/// use doseward::hygiene::order_statistics::single_limit_regression;
/// // Two values and no non-detect: the line goes through both, and its middle is their mean.
/// let (mean, _) = single_limit_regression(&[1.0, 4.0], 0).unwrap();
/// assert!((mean - 2f64.ln()).abs() < 1e-12);
/// ```
pub fn single_limit_regression(detected: &[f64], non_detects: usize) -> Option<(f64, f64)> {
    let mut logs: Vec<f64> = detected.iter().map(|value| value.ln()).collect();
    logs.sort_by(f64::total_cmp);
    let below = f64::from(u32::try_from(non_detects).ok()?);
    let n = below + f64::from(u32::try_from(detected.len()).ok()?);
    let mut rank = below;
    let scores: Vec<f64> = logs
        .iter()
        .map(|_| {
            rank += 1.0;
            normal_quantile((rank - 0.375) / (n + 0.25))
        })
        .collect();
    line(&scores, &logs)
}

/// The correlation of ordered logarithms with their normal scores at (i - 0.375) / (n + 0.25) (Blom's positions).
///
/// # Formula
/// The correlation of ordered `ln x` with `z((i - 0.375) / (n + 0.25))`, no unit. Common practice (probability plot).
///
/// ```
/// use doseward::hygiene::order_statistics::plot_correlation;
/// // Logarithms in even steps and even scores.
/// assert!((plot_correlation(&[1.0, 2.0, 4.0]).unwrap() - 1.0).abs() < 1e-9);
/// ```
pub fn plot_correlation(values: &[f64]) -> Option<f64> {
    let mut logs: Vec<f64> = values.iter().map(|value| value.ln()).collect();
    logs.sort_by(f64::total_cmp);
    let n = f64::from(u32::try_from(logs.len()).ok()?);
    let mut rank = 0.0;
    let scores: Vec<f64> = logs
        .iter()
        .map(|_| {
            rank += 1.0;
            normal_quantile((rank - 0.375) / (n + 0.25))
        })
        .collect();
    let (_, _, spread_of_scores) = moments(&scores)?;
    let (_, _, spread_of_logs) = moments(&logs)?;
    let (_, slope) = line(&scores, &logs)?;
    (spread_of_logs > 0.0).then(|| slope * spread_of_scores / spread_of_logs)
}

/// Intercept and slope of the least squares line; `None` where all x are equal or fewer than two.
fn line(x: &[f64], y: &[f64]) -> Option<(f64, f64)> {
    let (_, x_mean, x_deviation) = moments(x)?;
    let (_, y_mean, _) = moments(y)?;
    (x.len() > 1 && x_deviation > 0.0).then_some(())?;
    let products: f64 = x.iter().zip(y).map(|(x, y)| (x - x_mean) * (y - y_mean)).sum();
    let squares: f64 = x.iter().map(|x| (x - x_mean).powi(2)).sum();
    let slope = products / squares;
    Some((y_mean - slope * x_mean, slope))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn two_different_detected_values_are_needed() {
        assert_eq!(impute(&[Measured::Value(1.0), Measured::Below(1.0)]), None);
        assert_eq!(impute(&[Measured::Value(1.0), Measured::Value(2.0), Measured::Above(1.0)]), None);
        assert!(impute(&[Measured::Value(1.0), Measured::Value(2.0), Measured::Below(1.0)]).is_some());
    }

    proptest! {
        #[test]
        fn imputed_values_scale_with_the_unit(
            detected in prop::collection::vec(0.1..10.0f64, 3..12), limits in prop::collection::vec(0.1..10.0f64, 0..12),
            factor in 0.01..100.0f64,
        ) {
            let results: Vec<_> = detected.into_iter().map(Measured::Value)
                .chain(limits.into_iter().map(Measured::Below)).collect();
            let scaled: Vec<_> = results.iter().rev().map(|result| result.scaled(factor)).collect();
            if let (Some(one), Some(two)) = (impute(&results), impute(&scaled)) {
                for (one, two) in one.imputed.iter().zip(&two.imputed) {
                    prop_assert!((two - factor * one).abs() < 1e-9 * two);
                }
            }
        }
    }
}
