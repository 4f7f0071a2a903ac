//! Limits by the signed root of the likelihood ratio, to compare with.

use doseward::hygiene::censored::{Fitted, LogResult};
use doseward::hygiene::distributions::normal_ln_cdf;

/// Detected values as sufficient statistics, non-detects by limit.
struct Likelihood {
    count: f64,
    mean: f64,
    squares: f64,
    below: Vec<(f64, f64)>,
}

impl Likelihood {
    fn of(results: &[LogResult]) -> Self {
        let (mut values, mut below) = (Vec::new(), Vec::<(f64, f64)>::new());
        for result in results {
            match result {
                LogResult::Exact(value) => values.push(*value),
                LogResult::Within { upper, .. } => {
                    match below.iter_mut().find(|(end, _)| end.to_bits() == upper.to_bits()) {
                        Some((_, count)) => *count += 1.0,
                        None => below.push((*upper, 1.0)),
                    }
                }
            }
        }
        let count = values.iter().fold(0.0, |count, _| count + 1.0);
        let mean = values.iter().sum::<f64>() / count;
        let squares = values.iter().map(|value| (value - mean).powi(2)).sum();
        Self { count, mean, squares, below }
    }

    fn ln(&self, mu: f64, sigma: f64) -> f64 {
        let offset = self.mean - mu;
        let detected =
            -self.count * sigma.ln() - 0.5 * (self.squares + self.count * offset * offset) / (sigma * sigma);
        let bounds = self.below.iter().map(|(end, count)| count * normal_ln_cdf((end - mu) / sigma));
        detected + bounds.sum::<f64>()
    }

    /// The highest along a line mu(sigma), by golden sections of ln sigma.
    fn highest(&self, line: impl Fn(f64) -> f64) -> f64 {
        const GOLDEN: f64 = 0.618_033_988_749_894_9;
        let at = |v: f64| self.ln(line(v.exp()), v.exp());
        let (mut low, mut high) = (-6.0, 4.0);
        let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        let (mut at_left, mut at_right) = (at(left), at(right));
        while high - low > 1e-5 {
            if at_left < at_right {
                (low, left, at_left) = (left, right, at_right);
                right = low + GOLDEN * (high - low);
                at_right = at(right);
            } else {
                (high, right, at_right) = (right, left, at_left);
                left = high - GOLDEN * (high - low);
                at_left = at(left);
            }
        }
        at_left.max(at_right)
    }
}

/// The signed root at the truth, where the truth is that (mu, sigma) lies on `line`; positive where the estimate is above.
///
/// An upper limit at the confidence of the normal quantile z holds where it is at least -z, a lower one where at most z.
pub(crate) fn signed_root(results: &[LogResult], fitted: &Fitted, line: impl Fn(f64) -> f64) -> f64 {
    let likelihood = Likelihood::of(results);
    let lost = likelihood.ln(fitted.mu, fitted.sigma) - likelihood.highest(&line);
    let root = (2.0 * lost).max(0.0).sqrt();
    if fitted.mu > line(fitted.sigma) { root } else { -root }
}
