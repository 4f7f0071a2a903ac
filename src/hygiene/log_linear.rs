//! The ratio of geometric means with and without a control at the same covariates, by regression on logarithms.

use super::distributions::{t_quantile, t_upper_tail};
use crate::model::rounding::significant;
use crate::model::working::Formula;

/// The regression.
pub const LOG_LINEAR: Formula = Formula {
    formula: "ln x = a + b (1 with the control, 0 without) + sum c_j (covariate_j - its mean), least squares; ratio = exp(b), \
              limits exp(b -/+ t(0.975, n - p) se)",
    source: "Draper and Smith, Applied Regression Analysis, 3rd edition 1998, chapter 5 (from memory)",
};

/// One observation.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// The natural logarithm of the result.
    pub ln_result: f64,
    /// Whether the control ran.
    pub with: bool,
    /// The covariates, each in its own unit, in one order for all.
    pub covariates: Vec<f64>,
}

/// The ratio at the same covariates.
#[derive(Debug, Clone, PartialEq)]
pub struct AdjustedRatio {
    /// With over without.
    pub ratio: f64,
    /// The lower two-sided 95 % limit.
    pub lower_95: f64,
    /// The upper one.
    pub upper_95: f64,
    /// The two-sided p value of no difference.
    pub p_value: f64,
    /// By how much the logarithm of the result changes per unit of each covariate.
    pub slopes: Vec<f64>,
    /// Degrees of freedom that are left.
    pub degrees_of_freedom: f64,
}

/// Fits the regression; `None` with too few observations, covariates that are missing, not finite or that cannot be told
/// apart from each other or from the control, or without any spread about the fit.
///
/// # Formula
/// `ln x = a + b (1 with the control, 0 without) + sum c_j (covariate_j - its mean)`, least squares; `ratio = exp(b)` without
/// unit, c_j per unit of its covariate. Draper and Smith, Applied Regression Analysis, 3rd edition 1998 (from memory).
///
/// ```
/// use doseward::hygiene::log_linear::{Observation, adjusted_ratio};
/// // ln x = 1 per minute of arc time, and one half less with the control, with a little scatter of 0.1.
/// let rows = [(1.0, false, 0.1), (2.0, false, -0.1), (1.0, true, -0.1), (2.0, true, 0.1), (3.0, false, 0.0), (3.0, true, 0.0)];
/// let rows: Vec<_> = rows.iter().map(|&(arc, with, scatter)| Observation {
///     ln_result: arc - if with { 0.5 } else { 0.0 } + scatter, with, covariates: vec![arc],
/// }).collect();
/// let found = adjusted_ratio(&rows).unwrap();
/// assert!((found.ratio - (-0.5f64).exp()).abs() < 1e-9 && (found.slopes[0] - 1.0).abs() < 1e-9);
/// ```
pub fn adjusted_ratio(observations: &[Observation]) -> Option<AdjustedRatio> {
    let covariates = observations.first()?.covariates.len();
    let columns = covariates + 2;
    let count = observations.iter().fold(0.0, |count, _| count + 1.0);
    let freedom = count - observations.iter().take(columns).fold(0.0, |count, _| count + 1.0);
    let finite = |one: &Observation| {
        one.ln_result.is_finite()
            && one.covariates.len() == covariates
            && one.covariates.iter().all(|value| value.is_finite())
    };
    if observations.len() <= columns || !observations.iter().all(finite) {
        return None;
    }
    let mean_of = |at: usize| observations.iter().map(|one| one.covariates[at]).sum::<f64>() / count;
    let means: Vec<f64> = (0..covariates).map(mean_of).collect();
    // Each column in units of its own length, so that no unit of a covariate matters.
    let mut design: Vec<Vec<f64>> = vec![
        observations.iter().map(|_| 1.0).collect(),
        observations.iter().map(|one| if one.with { 1.0 } else { 0.0 }).collect(),
    ];
    for (at, mean) in means.iter().enumerate() {
        design.push(observations.iter().map(|one| one.covariates[at] - mean).collect());
    }
    let lengths: Vec<f64> = design.iter().map(|column| dot(column, column).sqrt()).collect();
    if !lengths.iter().all(|length| *length > 0.0) {
        return None;
    }
    for (column, length) in design.iter_mut().zip(&lengths) {
        for value in column.iter_mut() {
            *value /= length;
        }
    }
    let response: Vec<f64> = observations.iter().map(|one| one.ln_result).collect();
    let Orthogonal { triangle, residual, rotated } = orthogonal(design, response)?;
    let coefficients = back_substitution(&triangle, &rotated);
    let variance = dot(&residual, &residual) / freedom;
    // The variance of the second coefficient: the squared length of its row of the inverse triangle.
    let row = inverse_row(&triangle, 1);
    let error = (variance * dot(&row, &row)).sqrt() / lengths[1];
    let effect = coefficients[1] / lengths[1];
    if !(error > 1e-12 && effect.is_finite()) {
        return None;
    }
    let half = t_quantile(0.975, freedom) * error;
    Some(AdjustedRatio {
        ratio: significant(effect.exp()),
        lower_95: significant((effect - half).exp()),
        upper_95: significant((effect + half).exp()),
        p_value: significant(2.0 * t_upper_tail((effect / error).abs(), freedom)),
        slopes: coefficients
            .iter()
            .zip(&lengths)
            .skip(2)
            .map(|(one, length)| significant(one / length))
            .collect(),
        degrees_of_freedom: freedom,
    })
}

fn dot(one: &[f64], two: &[f64]) -> f64 {
    one.iter().zip(two).map(|(one, two)| one * two).sum()
}

/// Columns made orthogonal.
struct Orthogonal {
    /// What turns the new columns into the old ones.
    triangle: Vec<Vec<f64>>,
    /// What the columns leave of the response.
    residual: Vec<f64>,
    /// The response in the new columns.
    rotated: Vec<f64>,
}

/// The columns made orthogonal one after the other (modified Gram-Schmidt); `None` where a column is no longer than rounding beside those before it.
fn orthogonal(mut columns: Vec<Vec<f64>>, mut response: Vec<f64>) -> Option<Orthogonal> {
    let size = columns.len();
    let mut triangle = vec![vec![0.0; size]; size];
    let mut rotated = vec![0.0; size];
    for at in 0..size {
        let length = dot(&columns[at], &columns[at]).sqrt();
        if length < 1e-9 {
            return None;
        }
        triangle[at][at] = length;
        let unit: Vec<f64> = columns[at].iter().map(|value| value / length).collect();
        for later in at + 1..size {
            let share = dot(&unit, &columns[later]);
            triangle[at][later] = share;
            for (value, unit) in columns[later].iter_mut().zip(&unit) {
                *value -= share * unit;
            }
        }
        rotated[at] = dot(&unit, &response);
        for (value, unit) in response.iter_mut().zip(&unit) {
            *value -= rotated[at] * unit;
        }
    }
    Some(Orthogonal { triangle, residual: response, rotated })
}

fn back_substitution(triangle: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let mut solved = vec![0.0; right.len()];
    for at in (0..right.len()).rev() {
        let known: f64 = (at + 1..right.len()).map(|later| triangle[at][later] * solved[later]).sum();
        solved[at] = (right[at] - known) / triangle[at][at];
    }
    solved
}

/// One row of the inverse of an upper triangle.
fn inverse_row(triangle: &[Vec<f64>], row: usize) -> Vec<f64> {
    (0..triangle.len())
        .map(|column| {
            let unit: Vec<f64> = (0..triangle.len()).map(|at| if at == column { 1.0 } else { 0.0 }).collect();
            back_substitution(triangle, &unit)[row]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn row(ln_result: f64, with: bool, covariates: &[f64]) -> Observation {
        Observation { ln_result, with, covariates: covariates.to_vec() }
    }

    #[test]
    fn covariates_that_cannot_be_told_apart_have_no_answer() {
        let rows: Vec<_> = (0..6)
            .map(|at| {
                let with = at % 2 == 0;
                row(f64::from(at), with, &[if with { 7.0 } else { 3.0 }])
            })
            .collect();
        assert_eq!(adjusted_ratio(&rows), None);
        assert_eq!(adjusted_ratio(&rows[..2]), None);
        assert_eq!(adjusted_ratio(&[]), None);
    }

    // Computed with statsmodels 0.15.0: OLS(y, [1, with, arc - mean(arc)]).
    #[test]
    fn limits_agree_with_another_computation() {
        let rows: Vec<_> = [
            (0.30, false, 10.0),
            (0.95, false, 22.0),
            (0.61, false, 15.0),
            (1.20, false, 30.0),
            (-0.70, true, 12.0),
            (-0.20, true, 20.0),
            (0.15, true, 28.0),
            (-0.45, true, 18.0),
        ]
        .iter()
        .map(|&(y, with, arc)| row(y, with, &[arc]))
        .collect();
        let found = adjusted_ratio(&rows).unwrap();
        for (found, wanted) in [
            (found.ratio, EXPECTED[0]),
            (found.lower_95, EXPECTED[1]),
            (found.upper_95, EXPECTED[2]),
            (found.p_value, EXPECTED[3]),
            (found.slopes[0], EXPECTED[4]),
        ] {
            assert!((found - wanted).abs() < 1e-9 * wanted.abs(), "{found} is not {wanted}");
        }
    }
    const EXPECTED: [f64; 5] = [
        0.340_598_466_443_819_1,
        0.297_695_696_321_685_85,
        0.389_684_220_421_263_44,
        5.032_382_182_160_21e-6,
        0.048_204_053_109_713_49,
    ];

    proptest! {
        #[test]
        fn the_unit_of_a_covariate_does_not_matter(
            parts in prop::collection::vec((-2.0..2.0f64, any::<bool>(), 1.0..60.0f64), 6..20), unit in 1e-6..1e6f64,
        ) {
            let rows: Vec<_> = parts.iter().map(|&(y, with, arc)| row(y, with, &[arc])).collect();
            let other: Vec<_> = parts.iter().map(|&(y, with, arc)| row(y, with, &[arc * unit])).collect();
            if let (Some(one), Some(two)) = (adjusted_ratio(&rows), adjusted_ratio(&other)) {
                prop_assert!((one.ratio - two.ratio).abs() < 1e-8 * one.ratio);
                prop_assert!(one.lower_95 <= one.ratio && one.ratio <= one.upper_95);
            }
        }
    }
}
