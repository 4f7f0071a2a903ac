//! Land's exact confidence limits for the arithmetic mean of a log-normal distribution, computed without tables.

use super::lognormal::LogSample;
use super::roots;
use crate::model::working::Formula;
use std::f64::consts::FRAC_PI_2;

/// The equation of a limit.
pub const LAND_LIMIT: Formula = Formula {
    formula: "limit = exp(m) with P(U <= u) = 0.05 (upper) or 0.95 (lower): R^2 = (n-1) s^2 + n (ybar - m)^2, \
              u = sqrt(n) (ybar - m) / R, density of U ~ (1 - u^2)^((n-3)/2) exp(-sqrt(n) R u / 2)",
    source: "Land, Annals of Mathematical Statistics 42 (1971) 1187-1205 (from memory)",
};

/// The logarithm of the limit at which P(U <= u) is `probability`; `None` where no double holds the limit.
///
/// ```
/// use doseward::hygiene::{land::ln_limit, lognormal::LogSample};
/// // Scarcely any spread: that of a normal mean, t(0.95, 3) s / sqrt(n) = 2.353 x 1e-4 / 2.
/// let sample = LogSample { n: 4.0, mean: 0.0, deviation: 1e-4 };
/// assert!((ln_limit(&sample, 0.05).unwrap() - 1.177e-4).abs() < 1e-7);
/// ```
pub fn ln_limit(sample: &LogSample, probability: f64) -> Option<f64> {
    let centre = sample.mean + 0.5 * sample.deviation * sample.deviation;
    let excess = |m: f64| probability_below(sample, m) - probability;
    let direction = if excess(centre) > 0.0 { 1.0 } else { -1.0 };
    let step = direction * sample.deviation / sample.n.sqrt();
    // exp(710) is beyond a double.
    roots::outward(excess, centre, step, 2000.0 + centre.abs()).filter(|limit| *limit < 709.0)
}

/// Land's factor H of the upper limit, as tabled: ln UCL = ybar + s^2/2 + s H / sqrt(n - 1).
///
/// ```
/// use doseward::hygiene::{land::h_factor, lognormal::LogSample};
/// // Scarcely any spread: t(0.95, 3) sqrt(3 / 4) = 2.353 x 0.866.
/// let sample = LogSample { n: 4.0, mean: 0.0, deviation: 1e-4 };
/// assert!((h_factor(&sample, 0.05).unwrap() - 2.038).abs() < 1e-3);
/// ```
pub fn h_factor(sample: &LogSample, probability: f64) -> Option<f64> {
    let s = sample.deviation;
    Some((ln_limit(sample, probability)? - sample.mean - 0.5 * s * s) * (sample.n - 1.0).sqrt() / s)
}

/// P(U <= u) when the mean of the distribution is exp(m).
fn probability_below(sample: &LogSample, m: f64) -> f64 {
    let spread = (sample.n - 1.0) * sample.deviation * sample.deviation;
    let offset = sample.n.sqrt() * (sample.mean - m);
    let radius = (spread + offset * offset).sqrt();
    // With u = sin(angle) the density becomes smooth up to its ends, also for n = 2.
    let density = Density { power: sample.n - 2.0, slope: 0.5 * sample.n.sqrt() * radius };
    // The angle from its tangent keeps its digits where u is near an end.
    let angle = offset.atan2(spread.sqrt());
    let (below, above) = (density.integral(-FRAC_PI_2, angle), density.integral(angle, FRAC_PI_2));
    below / (below + above)
}

/// cos(angle)^power exp(-slope sin(angle)), relative to its highest value.
struct Density {
    power: f64,
    slope: f64,
}

impl Density {
    /// Where it is highest: power sin = -slope cos^2, a quadratic in sin(angle).
    fn peak(&self) -> f64 {
        if self.power == 0.0 {
            return -FRAC_PI_2;
        }
        // The root in [-1, 0], written without cancellation.
        let ratio = self.power / self.slope;
        (-2.0 / (ratio + (ratio * ratio + 4.0).sqrt())).max(-1.0).asin()
    }

    fn ln(&self, angle: f64) -> f64 {
        let cosine = if self.power == 0.0 { 0.0 } else { self.power * angle.cos().max(0.0).ln() };
        cosine - self.slope * angle.sin()
    }

    /// Gauss-Legendre panels about as wide as the peak, out to where nothing is left.
    fn integral(&self, from: f64, to: f64) -> f64 {
        let peak = self.peak();
        let curvature = if self.power == 0.0 {
            self.slope
        } else {
            self.power / peak.cos().powi(2).max(1e-300) - self.slope * peak.sin()
        };
        let width = (1.0 / curvature.sqrt()).min(0.25);
        let highest = self.ln(peak);
        let mut edges = vec![from, to];
        edges.extend(
            (-16..=16).map(|k| peak + f64::from(k) * width).filter(|edge| *edge > from && *edge < to),
        );
        edges.extend(
            (-4..=4).map(|k| peak + f64::from(k) * 40.0 * width).filter(|edge| *edge > from && *edge < to),
        );
        edges.sort_by(f64::total_cmp);
        edges.windows(2).map(|panel| self.panel(panel[0], panel[1], highest)).sum()
    }

    fn panel(&self, from: f64, to: f64, highest: f64) -> f64 {
        let (centre, half) = (f64::midpoint(from, to), 0.5 * (to - from));
        NODES
            .iter()
            .map(|(node, weight)| {
                let (left, right) = (self.ln(centre - half * node), self.ln(centre + half * node));
                weight * ((left - highest).exp() + (right - highest).exp())
            })
            .sum::<f64>()
            * half
    }
}

/// Positive nodes and weights of 16-point Gauss-Legendre quadrature.
/// Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, table 25.4 (checked with NumPy 2, leggauss(16)).
const NODES: [(f64, f64); 8] = [
    (0.095_012_509_837_637_44, 0.189_450_610_455_068_5),
    (0.281_603_550_779_258_9, 0.182_603_415_044_923_6),
    (0.458_016_777_657_227_4, 0.169_156_519_395_002_5),
    (0.617_876_244_402_643_7, 0.149_595_988_816_576_7),
    (0.755_404_408_355_003, 0.124_628_971_255_533_9),
    (0.865_631_202_387_831_7, 0.095_158_511_682_492_78),
    (0.944_575_023_073_232_6, 0.062_253_523_938_647_89),
    (0.989_400_934_991_649_9, 0.027_152_459_411_754_1),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nodes_integrate_a_constant() {
        assert!((NODES.iter().map(|(_, weight)| 2.0 * weight).sum::<f64>() - 2.0).abs() < 1e-14);
    }

    // By the symmetry of the t distribution: for a tiny spread the limit is that of a normal mean.
    #[test]
    fn a_narrow_sample_has_the_limit_of_a_normal_mean() {
        let sample = LogSample { n: 10.0, mean: 1.0, deviation: 1e-5 };
        let t = super::super::distributions::t_quantile(0.95, 9.0);
        let expected = 1.0 + t * 1e-5 / 10f64.sqrt();
        assert!((ln_limit(&sample, 0.05).unwrap() - expected).abs() < 1e-9);
    }

    #[test]
    fn two_values_have_limits_or_none_but_never_nonsense() {
        let narrow = LogSample { n: 2.0, mean: 0.0, deviation: 0.3 };
        assert!(ln_limit(&narrow, 0.05).unwrap() > ln_limit(&narrow, 0.95).unwrap());
        let wide = LogSample { n: 2.0, mean: 0.0, deviation: 5.0 };
        assert_eq!(ln_limit(&wide, 0.05), None);
    }
}
