//! The likelihood of log results along mu at a fixed sigma.

use super::ln_phi::LnPhi;
use super::thinned::{Thinned, Weighted};
use crate::hygiene::censored::{LogResult, NARROW, interval};
use crate::hygiene::distributions::{LN_SQRT_TWO_PI, normal_hazard_below};

/// Results between two ends, each sort once.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Range {
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
    /// Upper bounds.
    below: Thinned,
    /// Lower bounds.
    above: Thinned,
    ranges: Vec<Range>,
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
        let alike: Vec<Range> = ends
            .chunk_by(same)
            .map(|alike| Range {
                lower: alike[0].0,
                upper: alike[0].1,
                count: alike.iter().fold(0.0, |count, _| count + 1.0),
            })
            .collect();
        let one_sided = |open: fn(&Range) -> bool, end: fn(&Range) -> f64| {
            let ends = alike.iter().filter(|range| open(range));
            Thinned::of(ends.map(|range| Weighted { end: end(range), count: range.count }).collect())
        };
        let below = one_sided(|range| range.lower.is_infinite(), |range| range.upper);
        let above = one_sided(|range| range.upper.is_infinite(), |range| range.lower);
        let finite = || ends.iter().flat_map(|(lower, upper)| [*lower, *upper]).filter(|end| end.is_finite());
        let reach = finite().reduce(f64::min).zip(finite().reduce(f64::max));
        let ranges = alike.iter().filter(|range| range.lower.is_finite() && range.upper.is_finite());
        Self { detected, mean, squares, below, above, ranges: ranges.copied().collect(), reach }
    }

    /// Whether there is nothing to learn from.
    pub(super) fn is_empty(&self) -> bool {
        self.detected == 0.0 && !self.has_bounds()
    }

    /// Whether some results are bounds only.
    pub(super) fn has_bounds(&self) -> bool {
        !(self.below.is_empty() && self.above.is_empty() && self.ranges.is_empty())
    }

    /// The span of all that is known: detected values near their mean, and finite ends of bounds.
    fn span(&self) -> (f64, f64) {
        let (low, high) = self.reach.unwrap_or((self.mean, self.mean));
        if self.detected > 0.0 { (low.min(self.mean), high.max(self.mean)) } else { (low, high) }
    }

    /// The middle of all that is known.
    pub(super) fn middle(&self) -> f64 {
        let (low, high) = self.span();
        f64::midpoint(low, high)
    }

    /// The standard deviation of the detected logarithms with n; zero for fewer than two, or where it is no more than
    /// rounding.
    pub(super) fn spread(&self) -> f64 {
        let spread = if self.detected > 1.0 { (self.squares / self.detected).sqrt() } else { 0.0 };
        if spread > 1e-12 * (1.0 + self.mean.abs()) { spread } else { 0.0 }
    }

    /// The likelihood at this sigma.
    pub(super) fn at(&self, sigma: f64) -> Likelihood<'_> {
        let precision = 1.0 / (sigma * sigma);
        Likelihood {
            evidence: self,
            sigma,
            scale: 1.0 / sigma,
            precision,
            constant: -self.detected * sigma.ln() - 0.5 * self.squares * precision,
            below: self.below.for_sigma(sigma),
            above: self.above.for_sigma(sigma),
            ln_phi: LnPhi::table(),
        }
    }
}

/// The likelihood of mu at one sigma.
#[derive(Debug, Clone, Copy)]
pub(super) struct Likelihood<'e> {
    pub(super) evidence: &'e Evidence,
    pub(super) sigma: f64,
    scale: f64,
    precision: f64,
    /// What does not depend on mu.
    constant: f64,
    below: &'e [Weighted],
    above: &'e [Weighted],
    ln_phi: LnPhi,
}

impl Likelihood<'_> {
    /// The finite ends of the bounds, widened by where a normal tail vanishes in a double.
    pub(super) fn reach(&self) -> Option<(f64, f64)> {
        self.evidence.reach.map(|(low, high)| (low - 9.0 * self.sigma, high + 9.0 * self.sigma))
    }

    /// The log-likelihood.
    pub(super) fn value(&self, mu: f64) -> f64 {
        let offset = self.evidence.mean - mu;
        let mut sum = self.constant - 0.5 * self.evidence.detected * (offset * offset) * self.precision;
        for bound in self.below {
            sum += bound.count * self.ln_phi.at((bound.end - mu) * self.scale);
        }
        for bound in self.above {
            sum += bound.count * self.ln_phi.at((mu - bound.end) * self.scale);
        }
        for range in &self.evidence.ranges {
            sum += range.count * interval((range.lower - mu) * self.scale, (range.upper - mu) * self.scale).0;
        }
        sum
    }

    /// The log-likelihood with its derivatives along mu.
    pub(super) fn along(&self, mu: f64) -> Along {
        let (detected, offset) = (self.evidence.detected, self.evidence.mean - mu);
        let mut sum = Along {
            value: self.constant - 0.5 * detected * (offset * offset) * self.precision,
            slope: detected * offset * self.precision,
            curvature: -detected * self.precision,
        };
        for bound in self.below {
            let (value, hazard, bend) = self.tail((bound.end - mu) * self.scale);
            sum.value += bound.count * value;
            sum.slope -= bound.count * hazard * self.scale;
            sum.curvature -= bound.count * bend * self.precision;
        }
        for bound in self.above {
            let (value, hazard, bend) = self.tail((mu - bound.end) * self.scale);
            sum.value += bound.count * value;
            sum.slope += bound.count * hazard * self.scale;
            sum.curvature -= bound.count * bend * self.precision;
        }
        for range in &self.evidence.ranges {
            let (l, u) = ((range.lower - mu) * self.scale, (range.upper - mu) * self.scale);
            let (value, at_lower, at_upper) = interval(l, u);
            sum.value += range.count * value;
            if u - l < NARROW {
                // As good as detected; the differences below would have lost their digits.
                sum.slope += range.count * f64::midpoint(l, u) * self.scale;
                sum.curvature -= range.count * self.precision;
                continue;
            }
            let difference = at_lower - at_upper;
            sum.slope += range.count * difference * self.scale;
            sum.curvature +=
                range.count * (l * at_lower - u * at_upper - difference * difference) * self.precision;
        }
        sum
    }

    /// ln Phi(z) with its slope h, and h (z + h), by which the slope falls.
    fn tail(&self, z: f64) -> (f64, f64, f64) {
        let value = self.ln_phi.at(z);
        if z > -12.0 {
            let hazard = (-0.5 * z * z - LN_SQRT_TWO_PI - value).exp();
            return (value, hazard, hazard * (z + hazard));
        }
        let hazard = normal_hazard_below(z);
        // Far out z + h has lost its digits; the bend is nearly 1 there.
        let bend = if z > -100.0 { hazard * (z + hazard) } else { 1.0 - 1.0 / (z * z) };
        (value, hazard, bend)
    }
}
