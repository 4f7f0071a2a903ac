//! The likelihood of log results along mu at a fixed sigma.

use crate::hygiene::censored::{LogResult, NARROW, interval};
use crate::hygiene::distributions::normal_ln_cdf;

/// Results that only bound the value, each sort once.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bound {
    lower: f64,
    upper: f64,
    count: f64,
}

/// Everything the likelihood needs of the results: detected values as sufficient statistics, bounds by sort.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Evidence {
    /// How many values were detected.
    pub(super) detected: f64,
    /// The mean of their logarithms.
    mean: f64,
    /// The sum of squares about it.
    squares: f64,
    bounds: Vec<Bound>,
    /// The least and the greatest finite end of the bounds.
    reach: Option<(f64, f64)>,
}

/// The log-likelihood at a point with its first and second derivative along mu.
#[derive(Debug, Clone, Copy)]
pub(super) struct Along {
    pub(super) value: f64,
    pub(super) slope: f64,
    pub(super) curvature: f64,
}

impl Evidence {
    /// From natural logarithms, in any order.
    pub(super) fn of(results: &[LogResult]) -> Self {
        let mut values = Vec::new();
        let mut ends = Vec::new();
        for result in results {
            match *result {
                LogResult::Exact(value) => values.push(value),
                LogResult::Within { lower, upper } => {
                    if lower.is_finite() || upper.is_finite() {
                        ends.push((lower, upper));
                    }
                }
            }
        }
        // Sorted, so that no sum depends on the order of the results.
        values.sort_by(f64::total_cmp);
        ends.sort_by(|one, two| one.0.total_cmp(&two.0).then(one.1.total_cmp(&two.1)));
        let detected = values.iter().fold(0.0, |count, _| count + 1.0);
        let mean = if detected > 0.0 { values.iter().sum::<f64>() / detected } else { 0.0 };
        let squares = values.iter().map(|value| (value - mean).powi(2)).sum();
        let same = |one: &(f64, f64), two: &(f64, f64)| {
            one.0.to_bits() == two.0.to_bits() && one.1.to_bits() == two.1.to_bits()
        };
        let bounds = ends
            .chunk_by(same)
            .map(|alike| Bound {
                lower: alike[0].0,
                upper: alike[0].1,
                count: alike.iter().fold(0.0, |count, _| count + 1.0),
            })
            .collect();
        let finite = || ends.iter().flat_map(|(lower, upper)| [*lower, *upper]).filter(|end| end.is_finite());
        let reach = finite().reduce(f64::min).zip(finite().reduce(f64::max));
        Self { detected, mean, squares, bounds, reach }
    }

    /// Whether there is nothing to learn from.
    pub(super) fn is_empty(&self) -> bool {
        self.detected == 0.0 && self.bounds.is_empty()
    }

    /// Whether some results are bounds only.
    pub(super) fn has_bounds(&self) -> bool {
        !self.bounds.is_empty()
    }

    /// The span of all that is known: detected values near their mean, and finite ends of bounds.
    pub(super) fn span(&self) -> (f64, f64) {
        let (low, high) = self.reach.unwrap_or((self.mean, self.mean));
        if self.detected > 0.0 { (low.min(self.mean), high.max(self.mean)) } else { (low, high) }
    }

    /// The finite ends of the bounds, widened by where a normal tail vanishes in a double.
    pub(super) fn reach(&self, sigma: f64) -> Option<(f64, f64)> {
        self.reach.map(|(low, high)| (low - 9.0 * sigma, high + 9.0 * sigma))
    }

    /// The standard deviation of the detected logarithms with n; zero for fewer than two, or where it is no more than
    /// rounding.
    pub(super) fn spread(&self) -> f64 {
        let spread = if self.detected > 1.0 { (self.squares / self.detected).sqrt() } else { 0.0 };
        if spread > 1e-12 * (1.0 + self.mean.abs()) { spread } else { 0.0 }
    }

    /// The log-likelihood.
    pub(super) fn value(&self, mu: f64, sigma: f64) -> f64 {
        let offset = self.mean - mu;
        let exact = -self.detected * sigma.ln()
            - 0.5 * (self.squares + self.detected * offset * offset) / (sigma * sigma);
        self.bounds.iter().fold(exact, |sum, bound| {
            let (lower, upper) = ((bound.lower - mu) / sigma, (bound.upper - mu) / sigma);
            let one = if lower == f64::NEG_INFINITY {
                normal_ln_cdf(upper)
            } else if upper == f64::INFINITY {
                normal_ln_cdf(-lower)
            } else {
                interval(lower, upper).0
            };
            sum + bound.count * one
        })
    }

    /// The log-likelihood with its derivatives along mu.
    pub(super) fn along(&self, mu: f64, sigma: f64) -> Along {
        let offset = self.mean - mu;
        let precision = 1.0 / (sigma * sigma);
        let mut sum = Along {
            value: -self.detected * sigma.ln()
                - 0.5 * (self.squares + self.detected * offset * offset) * precision,
            slope: self.detected * offset * precision,
            curvature: -self.detected * precision,
        };
        for bound in &self.bounds {
            let (l, u) = ((bound.lower - mu) / sigma, (bound.upper - mu) / sigma);
            let (value, at_lower, at_upper) = interval(l, u);
            if u - l < NARROW {
                // As good as detected; the differences below would have lost their digits.
                sum.value += bound.count * value;
                sum.slope += bound.count * f64::midpoint(l, u) / sigma;
                sum.curvature -= bound.count * precision;
                continue;
            }
            let finite = |end: f64| if end.is_finite() { end } else { 0.0 };
            sum.value += bound.count * value;
            sum.slope += bound.count * (at_lower - at_upper) / sigma;
            let difference = at_lower - at_upper;
            sum.curvature += bound.count
                * (finite(l) * at_lower - finite(u) * at_upper - difference * difference)
                * precision;
        }
        sum
    }
}
