//! The posterior distribution of the ratio of two geometric means with one common GSD.

use super::evidence::Evidence;
use super::prior::Prior;
use super::slice::Slice;
use super::{normalised, support};
use crate::hygiene::censored::LogResult;
use crate::hygiene::roots;
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
        let nodes = support::nodes(&[&without, &with], prior)?;
        let mu = support::mu_bounds(prior);
        let slices = nodes
            .into_iter()
            .map(|(sigma, weight)| {
                let sides =
                    Sides { without: Slice::of(&without, sigma, mu), with: Slice::of(&with, sigma, mu) };
                (weight, sides)
            })
            .collect();
        let ln_mass = |sides: &Sides| sides.without.ln_mass + sides.with.ln_mass;
        Some(Self { slices: normalised(slices, ln_mass)? })
    }

    /// The probability that ln(with/without) is at most `x`.
    pub fn below(&self, x: f64) -> f64 {
        let sum: f64 = self
            .slices
            .iter()
            .map(|(weight, sides)| weight * sides.without.mean_of(|mu| sides.with.below(mu + x)))
            .sum();
        sum.clamp(0.0, 1.0)
    }

    /// The ln(with/without) that is not passed with this probability.
    pub fn quantile(&self, probability: f64) -> f64 {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for (_, sides) in &self.slices {
            let (without, with) = (sides.without.ends(), sides.with.ends());
            low = low.min(with.0 - without.1);
            high = high.max(with.1 - without.0);
        }
        roots::solve_within(|x| self.below(x) - probability, low, high, 1e-10)
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
