//! Accuracy of a sampling method from its bias and precision, to check a printed figure against its parts.
//!
//! What a method prints is what the registry shows; this never replaces it.

use super::distributions::normal_cdf;
use super::roots;
use crate::model::working::Formula;

/// The accuracy.
pub const METHOD_ACCURACY: Formula = Formula {
    formula: "A with P(|X - 1| < A) = 0.95, X normal with mean 1 + bias and standard deviation (1 + bias) precision",
    source: "NIOSH 95-117, Guidelines for Air Sampling and Analytical Method Development and Evaluation, 1995 \
             (from memory); agrees with the figure printed on method 7600, Issue 2, 1994",
};

/// The half-width that holds 95 % of results around the true value, as a fraction; `bias` above -1 and `precision`
/// (the relative standard deviation) above zero, both as fractions.
///
/// # Formula
/// `A` with `P(|X - 1| < A) = 0.95`, X normal with mean `1 + bias` and standard deviation `(1 + bias) precision`, all
/// fractions. NIOSH 95-117, 1995 (from memory).
///
/// ```
/// use doseward::hygiene::method_accuracy::method_accuracy;
/// // Without bias 1.96 times the precision.
/// assert!((method_accuracy(0.0, 0.05).unwrap() - 0.098).abs() < 1e-5);
/// ```
pub fn method_accuracy(bias: f64, precision: f64) -> Option<f64> {
    let (mean, deviation) = (1.0 + bias, (1.0 + bias) * precision);
    (deviation > 0.0).then_some(())?;
    let excess = |half: f64| {
        normal_cdf((1.0 + half - mean) / deviation) - normal_cdf((1.0 - half - mean) / deviation) - 0.95
    };
    roots::outward(excess, 0.0, deviation, 1e6)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Arithmetic: without bias 95 % lie within 1.959964 standard deviations.
    #[test]
    fn without_bias_it_is_twice_the_precision_or_nearly() {
        assert!((method_accuracy(0.0, 0.1).unwrap() - 0.195_996_398).abs() < 1e-9);
        assert_eq!(method_accuracy(0.0, 0.0), None);
    }
}
