//! Non-detects replaced by a fraction of their limit: for comparison with older reports, never for a conclusion.

use super::censored::is_non_detect;
use super::lognormal::moments;
use crate::model::measured::Measured;
use crate::model::working::Formula;
use crate::words;

/// The substitution.
pub const SUBSTITUTION: Formula = Formula {
    formula: "each non-detect counts as its limit / 2 or / sqrt(2); arithmetic_mean is the plain mean",
    source: "Hornung and Reed, Applied Occupational and Environmental Hygiene 5 (1990) 46-51",
};

words! {
    /// What a non-detect's limit is divided by.
    pub enum Divisor {
        /// 2.
        Two = "2",
        /// The root of 2.
        RootTwo = "sqrt(2)",
    }
}

impl Divisor {
    /// As a number.
    pub const fn value(self) -> f64 {
        match self {
            Self::Two => 2.0,
            Self::RootTwo => std::f64::consts::SQRT_2,
        }
    }
}

/// The divisor recommended for data of this geometric standard deviation.
pub const RECOMMENDED: Formula = Formula {
    formula: "sqrt(2) when the geometric standard deviation is below 3, otherwise 2",
    source: "Hornung and Reed, Applied Occupational and Environmental Hygiene 5 (1990) 46-51, abstract",
};

/// The divisor recommended for data of this geometric standard deviation.
///
/// # Formula
/// The root of 2 below a geometric standard deviation (a bare ratio) of 3, else 2. Hornung and Reed, 1990, abstract.
///
/// ```
/// use doseward::hygiene::substitution::{Divisor, recommended};
/// assert_eq!(recommended(2.9), Divisor::RootTwo);
/// assert_eq!(recommended(3.0), Divisor::Two);
/// ```
pub fn recommended(geometric_standard_deviation: f64) -> Divisor {
    if geometric_standard_deviation < 3.0 { Divisor::RootTwo } else { Divisor::Two }
}

/// Statistics of the substituted values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Substituted {
    /// In the unit of the results.
    pub geometric_mean: f64,
    /// Absent for a single result.
    pub geometric_standard_deviation: Option<f64>,
    /// The plain mean, in the unit of the results.
    pub arithmetic_mean: f64,
}

/// Statistics after substitution; `None` without results, with a result above a limit only, a range that does not
/// start at zero, or a value not above zero.
///
/// # Formula
/// Each non-detect as its limit over the divisor, in the unit of the results. Hornung and Reed, Applied Occupational and
/// Environmental Hygiene 5 (1990) 46-51.
///
/// ```
/// use doseward::hygiene::substitution::{Divisor, substituted};
/// use doseward::model::measured::Measured;
/// // 4, 2 and half of 1: 6.5 / 3, and the cube root of 4.
/// let results = [Measured::Value(4.0), Measured::Value(2.0), Measured::Below(1.0)];
/// let found = substituted(&results, Divisor::Two).unwrap();
/// assert!((found.arithmetic_mean - 6.5 / 3.0).abs() < 1e-12 && (found.geometric_mean - 4f64.cbrt()).abs() < 1e-12);
/// ```
pub fn substituted(results: &[Measured], divisor: Divisor) -> Option<Substituted> {
    let values = results
        .iter()
        .map(|result| match *result {
            Measured::Value(value) => Some(value),
            bound if is_non_detect(bound) => bound.upper().map(|limit| limit / divisor.value()),
            _ => None,
        })
        .collect::<Option<Vec<f64>>>()?;
    let logs: Vec<f64> = values.iter().map(|value| value.ln()).collect();
    let (n, mean, deviation) = moments(&logs)?;
    Some(Substituted {
        geometric_mean: mean.exp(),
        geometric_standard_deviation: (n > 1.0).then(|| deviation.exp()),
        arithmetic_mean: values.iter().sum::<f64>() / n,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn overloaded_results_and_ranges_are_not_substituted() {
        assert_eq!(substituted(&[Measured::Above(1.0)], Divisor::Two), None);
        assert_eq!(substituted(&[Measured::Between { lower: 1.0, upper: 2.0 }], Divisor::Two), None);
        assert_eq!(substituted(&[], Divisor::Two), None);
        assert_eq!(substituted(&[Measured::Value(0.0)], Divisor::Two), None);
    }

    #[test]
    fn one_non_detect_has_a_mean_and_no_spread() {
        let one = substituted(&[Measured::Below(0.5)], Divisor::Two).unwrap();
        assert!((one.geometric_mean - 0.25).abs() < 1e-15);
        assert_eq!(one.geometric_standard_deviation, None);
    }
}
