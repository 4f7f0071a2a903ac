//! The posterior distribution of a log-normal group by quadrature: every kind of bound, down to one result.
//!
//! For each ln GSD the distribution of ln GM is held as panels of a polynomial, so that any probability of
//! `mu + offset(sigma)` is a plain sum and nothing is drawn at random.

mod choice;
mod evidence;
mod ln_phi;
mod prior;
mod sides;
mod slice;
mod stretch;
mod support;
mod thinned;

pub use choice::{
    FLAGS, NO_POSTERIOR, OUTSIDE_PRIOR, PRESSED, PRESSING_SHARE, PRIOR_WIDENED, Settled, largest_known,
    pressed, settled,
};
pub use prior::{GM_OF_LARGEST, GM_OF_LIMIT, GSD, PRIOR_BOX, Prior, PriorBox, WIDENED_GM_OF_LARGEST};
pub use sides::{PosteriorRatio, RATIO_POSTERIOR};

use self::evidence::Evidence;
use self::slice::Slice;
use self::stretch::{Field, Line, Stretch};
use super::censored::LogResult;
use super::distributions::{normal_density, normal_quantile, normal_upper_tail};
use super::roots;
use crate::model::working::Formula;

/// The posterior distribution.
pub const POSTERIOR: Formula = Formula {
    formula: "posterior of ln GM and ln GSD ~ prior x likelihood (density of detected values, probability of bounds and \
              ranges), by quadrature",
    source: "Gelman, Carlin, Stern and Rubin, Bayesian Data Analysis, 2nd edition 2004, chapter 3 (from memory)",
};

/// The bands.
pub const RATING: Formula = Formula {
    formula: "rating_probabilities = P(95th percentile below 1, 1 to 10, 10 to 50, 50 to 100, above 100 % of the limit), \
              95th percentile = GM x GSD^1.6449",
    source: "AIHA, A Strategy for Assessing and Managing Occupational Exposures, 3rd edition 2006 (categories, from memory)",
};

/// The chance of a day.
pub const PREDICTIVE: Formula = Formula {
    formula: "chance of a day at or above a level = posterior mean of 1 - Phi((ln level - ln GM) / ln GSD)",
    source: "Gelman, Carlin, Stern and Rubin, Bayesian Data Analysis, 2nd edition 2004, section 3.2 (posterior \
             predictive distribution, from memory)",
};

/// Edges of the rating bands, as shares of the limit.
pub const RATING_EDGES: [f64; 4] = [0.01, 0.1, 0.5, 1.0];

/// Mass within this share of the box's width from a face presses on it.
pub const FACE_SHARE: f64 = 0.02;

/// Beyond so many standard deviations a normal tail is zero in a double.
const FURTHEST_Z: f64 = 38.0;

/// Slices along sigma, each with its share of the whole, and from what more of them are made.
///
/// ```
/// use doseward::hygiene::{censored::LogResult, posterior::{Posterior, Prior, PriorBox}};
/// // A box that leaves no choice: GM 2, GSD 2.
/// let point = PriorBox { gm_lower: 1.9999, gm_upper: 2.0001, gsd_lower: 1.9999, gsd_upper: 2.0001 };
/// let found = Posterior::of(&[LogResult::Exact(0.0)], Prior::Box(point)).unwrap();
/// let near = |found: f64, by_hand: f64| (found - by_hand).abs() < 2e-3;
/// // The 95th percentile is 2 x 2^1.6449 = 6.254, the mean 2 exp(0.2402) = 2.543; half of the days are above 2.
/// assert!(near(found.ln_percentile_quantile(0.95, 0.5), 6.254f64.ln()) && near(found.percentile_below(0.95, 6.3), 1.0));
/// assert!(near(found.ln_geometric_mean_quantile(0.5), 2f64.ln()) && near(found.mean(), 2.543));
/// assert!(near(found.ln_mean_quantile(0.5), 2.543f64.ln()) && near(found.exceedance(2.0), 0.5));
/// assert!(near(found.exceedance_quantile(2.0, 0.5), 0.5));
/// // 6.254 lies between 50 and 100 % of a limit of 10.
/// assert!(near(found.rating(10.0)[3], 1.0));
/// assert!(found.at_upper_gm(point) < 0.05 && found.at_upper_gsd(point) < 0.05);
/// ```
#[derive(Debug, Clone)]
pub struct Posterior {
    field: Field,
    stretches: Vec<Stretch>,
}

impl Posterior {
    /// From natural logarithms; `None` where nothing is known, or for [`Prior::Flat`] where two different detected
    /// values are missing.
    pub fn of(results: &[LogResult], prior: Prior) -> Option<Self> {
        let evidence = Evidence::of(results);
        let panels = support::panels(&[&evidence], prior)?;
        let (field, stretches) = Field::of(evidence, &panels, support::mu_bounds(prior))?;
        Some(Self { field, stretches })
    }

    /// The same results under a prior with `power` more powers of sigma to it; `None` where nothing is left.
    pub(super) fn tilted(&self, power: f64) -> Option<Self> {
        let (field, stretches) = self.field.clone().tilted(self.stretches.clone(), power)?;
        Some(Self { field, stretches })
    }

    /// Each slice with its share of the whole.
    fn slices(&self) -> impl Iterator<Item = (f64, &Slice)> {
        self.stretches.iter().flat_map(Stretch::slices)
    }

    /// The probability that mu is at most the line, and how fast it grows with the line's t.
    fn below_line<F: Fn(f64) -> f64, R: Fn(f64) -> f64>(&self, line: &Line<F, R>) -> (f64, f64) {
        let sums = self.stretches.iter().map(|stretch| stretch.below(&self.field, line));
        sums.fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1))
    }

    /// The probability that mu is at most `line(sigma)`, which rises or falls all the way.
    fn below(&self, line: impl Fn(f64) -> f64) -> f64 {
        self.below_line(&Line { fixed: line, rate: |_| 1.0, t: 0.0 }).0.clamp(0.0, 1.0)
    }

    /// The t for which mu is at most `fixed(sigma) + t rate(sigma)` with this probability, between the ends.
    fn crossing(
        &self,
        probability: f64,
        fixed: impl Fn(f64) -> f64,
        rate: impl Fn(f64) -> f64,
        ends: (f64, f64),
    ) -> f64 {
        // Mean and variance of (mu - fixed) / rate, for a start as if that were normal.
        let (mut mean, mut square) = (0.0, 0.0);
        for (weight, slice) in self.slices() {
            let (centre, variance) = slice.moments();
            let rate = rate(slice.sigma);
            let place = (centre - fixed(slice.sigma)) / rate;
            mean += weight * place;
            square += weight * (place * place + variance / (rate * rate));
        }
        let start = mean + normal_quantile(probability) * (square - mean * mean).max(0.0).sqrt();
        let at = |t: f64| self.below_line(&Line { fixed: &fixed, rate: &rate, t });
        quantile(at, probability, start, ends)
    }

    /// The value that `mu + offset(sigma)` stays below with this probability.
    fn quantile(&self, probability: f64, offset: impl Fn(f64) -> f64) -> f64 {
        let ends = self.slices().map(|(_, slice)| {
            let ((low, high), moved) = (slice.ends(), offset(slice.sigma));
            (low + moved, high + moved)
        });
        let ends = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (one, two)| {
            (low.min(one), high.max(two))
        });
        self.crossing(probability, |sigma| -offset(sigma), |_| 1.0, ends)
    }

    /// The mean of a function of mu and sigma.
    fn mean_of(&self, of: impl Fn(f64, f64) -> f64) -> f64 {
        self.slices().map(|(weight, slice)| weight * slice.mean_of(|mu| of(mu, slice.sigma))).sum()
    }

    /// The probability that the value which the share `p` of days stays below is itself at most `level` (above zero,
    /// in the unit of the results).
    ///
    /// # Formula
    /// `P(mu + z_p sigma <= ln level)` under [`POSTERIOR`], a probability from 0 to 1.
    pub fn percentile_below(&self, p: f64, level: f64) -> f64 {
        let z = normal_quantile(p);
        let ln_level = level.ln();
        self.below(|sigma| ln_level - z * sigma)
    }

    /// The logarithm of the value that the percentile `p` stays below with this probability.
    ///
    /// # Formula
    /// The quantile of `mu + z_p sigma` under [`POSTERIOR`], natural logarithm of a value in the unit of the results.
    pub fn ln_percentile_quantile(&self, p: f64, probability: f64) -> f64 {
        let z = normal_quantile(p);
        self.quantile(probability, |sigma| z * sigma)
    }

    /// The logarithm of the value that the geometric mean stays below with this probability.
    ///
    /// # Formula
    /// The quantile of `mu` under [`POSTERIOR`], natural logarithm of a value in the unit of the results.
    pub fn ln_geometric_mean_quantile(&self, probability: f64) -> f64 {
        self.quantile(probability, |_| 0.0)
    }

    /// The logarithm of the value that the arithmetic mean stays below with this probability.
    ///
    /// # Formula
    /// The quantile of `mu + sigma^2 / 2` under [`POSTERIOR`], natural logarithm of a value in the unit of the results.
    pub fn ln_mean_quantile(&self, probability: f64) -> f64 {
        self.quantile(probability, |sigma| 0.5 * sigma * sigma)
    }

    /// The posterior mean of the arithmetic mean, in the unit of the results; infinite beyond a double.
    ///
    /// # Formula
    /// The mean of `exp(mu + sigma^2 / 2)` under [`POSTERIOR`].
    pub fn mean(&self) -> f64 {
        self.mean_of(|mu, sigma| (mu + 0.5 * sigma * sigma).exp())
    }

    /// The posterior mean of the share of days above `level`: the chance that a day is.
    ///
    /// # Formula
    /// The mean of `1 - Phi((ln level - mu) / sigma)`, a probability from 0 to 1. See [`PREDICTIVE`].
    pub fn exceedance(&self, level: f64) -> f64 {
        let ln_level = level.ln();
        let sum: f64 = self.slices().map(|(weight, slice)| weight * slice.value_above(ln_level)).sum();
        sum.clamp(0.0, 1.0)
    }

    /// The share of days above `level` that is not passed with this probability.
    ///
    /// # Formula
    /// The quantile of `1 - Phi((ln level - mu) / sigma)` under [`POSTERIOR`], a share from 0 to 1.
    pub fn exceedance_quantile(&self, level: f64, probability: f64) -> f64 {
        // e is at most x exactly when the percentile 1 - x is at most the level: mu + z sigma, at z = the quantile of 1 - x.
        let ln_level = level.ln();
        let z = -self.crossing(probability, |_| ln_level, |sigma| sigma, (-FURTHEST_Z, FURTHEST_Z));
        if z >= FURTHEST_Z {
            0.0
        } else if z <= -FURTHEST_Z {
            1.0
        } else {
            normal_upper_tail(z)
        }
    }

    /// The probabilities of the five rating bands of the 95th percentile against a limit.
    ///
    /// # Formula
    /// `P(share k of the limit < GM GSD^1.6449 <= share k + 1)`, probabilities that add up to 1. See [`RATING`].
    pub fn rating(&self, limit: f64) -> [f64; 5] {
        let below = RATING_EDGES.map(|share| self.percentile_below(0.95, share * limit));
        [below[0], below[1] - below[0], below[2] - below[1], below[3] - below[2], 1.0 - below[3]]
            .map(|share| share.max(0.0))
    }

    /// The probability that the geometric mean lies within a small share of the upper face of the box.
    pub fn at_upper_gm(&self, prior: PriorBox) -> f64 {
        let (low, high) = prior.mu();
        1.0 - self.below(|_| high - FACE_SHARE * (high - low))
    }

    /// The probability that the geometric standard deviation lies within a small share of the upper face of the box.
    pub fn at_upper_gsd(&self, prior: PriorBox) -> f64 {
        let face = support::upper_sigma_face(prior);
        self.slices().filter(|(_, slice)| slice.sigma > face).map(|(weight, _)| weight).sum()
    }
}

/// Where a distribution function, given with its density, reaches a probability.
fn quantile(at: impl Fn(f64) -> (f64, f64), probability: f64, start: f64, ends: (f64, f64)) -> f64 {
    let wanted = normal_quantile(probability);
    // In normal quantiles a distribution function is nearly a straight line, so that Newton's steps meet at once.
    let missed = |x: f64| {
        let (below, density) = at(x);
        let z = normal_quantile(below);
        (z - wanted, density / normal_density(z))
    };
    roots::newton(missed, start, ends).unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests;
