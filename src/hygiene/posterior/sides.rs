//! The posterior distribution of the ratio of two geometric means with one common GSD.

use super::evidence::Evidence;
use super::prior::Prior;
use super::slice::Slice;
use super::{normalised, quantile, support};
use crate::hygiene::censored::LogResult;
use crate::hygiene::distributions::normal_quantile;
use crate::model::working::Formula;

/// The ratio.
pub const RATIO_POSTERIOR: Formula = Formula {
    formula: "posterior of ln ratio = ln GM with - ln GM without; both ln GM and one common ln GSD uniform on the prior \
              box; estimate = median, limits = 2.5 and 97.5 % quantiles",
    source: "Gelman, Carlin, Stern and Rubin, Bayesian Data Analysis, 2nd edition 2004, chapter 3 (from memory); \
             the prior: this registry's rule",
};

/// The two sides at one common sigma.
#[derive(Debug, Clone)]
struct Sides {
    without: Slice,
    with: Slice,
}

/// The distribution of ln(with/without).
///
/// ```
/// use doseward::hygiene::{censored::LogResult, posterior::{PosteriorRatio, Prior, PriorBox}};
/// // The same result on both sides: no difference is as likely as not, whatever the common spread.
/// let (side, prior) = ([LogResult::Exact(0.0)], Prior::Box(PriorBox::of_limit(1.0)));
/// let ratio = PosteriorRatio::of(&side, &side, prior).unwrap();
/// assert!((ratio.below(0.0) - 0.5).abs() < 1e-6 && ratio.quantile(0.5).abs() < 1e-6);
/// assert!(ratio.median_sigma() > 1.05f64.ln() && ratio.median_sigma() < 4f64.ln());
/// ```
#[derive(Debug, Clone)]
pub struct PosteriorRatio {
    slices: Vec<(f64, Sides)>,
}

impl PosteriorRatio {
    /// From natural logarithms of both sides; `None` where a side is empty.
    pub fn of(without: &[LogResult], with: &[LogResult], prior: Prior) -> Option<Self> {
        let (without, with) = (Evidence::of(without), Evidence::of(with));
        let nodes = support::nodes(&[&without, &with], prior)?.nodes;
        let mu = support::mu_bounds(prior);
        // What counts beside the highest is decided by both sides together.
        let of_side = |side| Slice::along(side, &nodes, mu, None);
        let (without, with) = (of_side(&without), of_side(&with));
        let sides = without.into_iter().zip(with).map(|(without, with)| Sides { without, with });
        let slices = nodes.iter().map(|(_, weight)| *weight).zip(sides).collect();
        let ln_mass = |sides: &Sides| sides.without.ln_mass + sides.with.ln_mass;
        Some(Self { slices: normalised(slices, ln_mass)? })
    }

    /// The probability that ln(with/without) is at most `x`.
    pub fn below(&self, x: f64) -> f64 {
        self.at(x).0.clamp(0.0, 1.0)
    }

    /// The same with its density.
    fn at(&self, x: f64) -> (f64, f64) {
        let (mut below, mut density) = (0.0, 0.0);
        for (weight, sides) in &self.slices {
            let one = sides.without.mean_of_pair(|mu| sides.with.below(mu + x));
            below += weight * one.0;
            density += weight * one.1;
        }
        (below, density)
    }

    /// The ln(with/without) that is not passed with this probability.
    pub fn quantile(&self, probability: f64) -> f64 {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        let (mut mean, mut square) = (0.0, 0.0);
        for (weight, sides) in &self.slices {
            let (without, with) = (sides.without.ends(), sides.with.ends());
            low = low.min(with.0 - without.1);
            high = high.max(with.1 - without.0);
            let (without, with) = (sides.without.moments(), sides.with.moments());
            let centre = with.0 - without.0;
            mean += weight * centre;
            square += weight * (centre * centre + with.1 + without.1);
        }
        let start = mean + normal_quantile(probability) * (square - mean * mean).max(0.0).sqrt();
        quantile(|x| self.at(x), probability, start, (low, high))
    }

    /// The posterior median of the common standard deviation of the logarithms.
    pub fn median_sigma(&self) -> f64 {
        let mut sum = 0.0;
        for (weight, sides) in &self.slices {
            sum += weight;
            if sum >= 0.5 {
                return sides.without.sigma;
            }
        }
        f64::NAN
    }
}
