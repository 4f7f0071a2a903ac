//! The posterior distribution of the ratio of two geometric means with one common GSD.

use super::evidence::Evidence;
use super::prior::Prior;
use super::slice::Slice;
use super::{quantile, support};
use crate::hygiene::censored::LogResult;
use crate::hygiene::distributions::normal_quantile;
use crate::hygiene::quadrature::{NODES, RULE, up_to};
use crate::hygiene::roots;
use crate::model::working::Formula;

/// The ratio.
pub const RATIO_POSTERIOR: Formula = Formula {
    formula: "posterior of ln ratio = ln GM with - ln GM without; both ln GM and one common ln GSD uniform on the prior \
              box; estimate = median, limits = 2.5 and 97.5 % quantiles",
    source: "Gelman, Carlin, Stern and Rubin, Bayesian Data Analysis, 2nd edition 2004, chapter 3 (from memory); \
             the prior: this registry's rule",
};

/// A stretch of v = ln sigma with both sides at its nodes.
#[derive(Debug, Clone)]
struct Stretch {
    low: f64,
    high: f64,
    /// What each node stands for, as a share of the whole.
    shares: [f64; NODES],
    without: [Slice; NODES],
    with: [Slice; NODES],
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
    stretches: Vec<Stretch>,
}

impl PosteriorRatio {
    /// From natural logarithms of both sides; `None` where a side is empty.
    pub fn of(without: &[LogResult], with: &[LogResult], prior: Prior) -> Option<Self> {
        let (without, with) = (Evidence::of(without), Evidence::of(with));
        let panels = support::panels(&[&without, &with], prior)?;
        let mu = support::mu_bounds(prior);
        let stretch = |(low, high): &(f64, f64)| {
            let (half, centre) = (0.5 * (high - low), f64::midpoint(*low, *high));
            let sigmas = RULE.nodes.map(|node| (centre + half * node).exp());
            // What counts beside the highest is decided by both sides together: every slice is kept whole.
            let slices = |side| Slice::along(side, sigmas, mu, f64::NEG_INFINITY);
            Stretch {
                low: *low,
                high: *high,
                shares: [0.0; NODES],
                without: slices(&without),
                with: slices(&with),
            }
        };
        let mut stretches: Vec<_> = panels.ends.iter().map(stretch).collect();
        let ln_mass = |stretch: &Stretch, at: usize| stretch.without[at].ln_mass + stretch.with[at].ln_mass;
        let masses = stretches.iter().flat_map(|stretch| (0..NODES).map(move |at| ln_mass(stretch, at)));
        let greatest = masses.fold(f64::NEG_INFINITY, f64::max);
        for stretch in &mut stretches {
            let half = 0.5 * (stretch.high - stretch.low);
            stretch.shares = std::array::from_fn(|at| {
                let mass = (ln_mass(stretch, at) - greatest).exp();
                half * RULE.weights[at] * mass * stretch.with[at].sigma.powf(panels.power)
            });
        }
        let whole: f64 = stretches.iter().flat_map(|stretch| stretch.shares).sum();
        for stretch in &mut stretches {
            stretch.shares = stretch.shares.map(|share| share / whole);
        }
        (whole > 0.0 && whole.is_finite()).then_some(Self { stretches })
    }

    /// The sides without and with at each sigma, with their share of the whole.
    fn sides(&self) -> impl Iterator<Item = (f64, &Slice, &Slice)> {
        self.stretches.iter().flat_map(|stretch| {
            let sides = stretch.without.iter().zip(&stretch.with);
            stretch.shares.iter().zip(sides).map(|(share, (without, with))| (*share, without, with))
        })
    }

    /// The probability that ln(with/without) is at most `x`.
    ///
    /// # Formula
    /// `P(ln GM with - ln GM without <= x)`, a probability from 0 to 1. See [`RATIO_POSTERIOR`].
    pub fn below(&self, x: f64) -> f64 {
        self.at(x).0.clamp(0.0, 1.0)
    }

    /// The same with its density.
    fn at(&self, x: f64) -> (f64, f64) {
        let (mut below, mut density) = (0.0, 0.0);
        for (weight, without, with) in self.sides() {
            let one = without.other_below(with, x);
            below += weight * one.0;
            density += weight * one.1;
        }
        (below, density)
    }

    /// The ln(with/without) that is not passed with this probability.
    ///
    /// # Formula
    /// The quantile of `ln GM with - ln GM without`, no unit. See [`RATIO_POSTERIOR`].
    pub fn quantile(&self, probability: f64) -> f64 {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        let (mut mean, mut square) = (0.0, 0.0);
        for (weight, without, with) in self.sides() {
            low = low.min(with.ends().0 - without.ends().1);
            high = high.max(with.ends().1 - without.ends().0);
            let (without, with) = (without.moments(), with.moments());
            let centre = with.0 - without.0;
            mean += weight * centre;
            square += weight * (centre * centre + with.1 + without.1);
        }
        let start = mean + normal_quantile(probability) * (square - mean * mean).max(0.0).sqrt();
        quantile(|x| self.at(x), probability, start, (low, high))
    }

    /// The posterior median of the common standard deviation of the logarithms.
    ///
    /// # Formula
    /// The median of `ln GSD` under the same posterior, no unit. See [`RATIO_POSTERIOR`].
    pub fn median_sigma(&self) -> f64 {
        let mut before = 0.0;
        for stretch in &self.stretches {
            let share: f64 = stretch.shares.iter().sum();
            if before + share >= 0.5 {
                let series = RULE.series_of_parts(&stretch.shares);
                let place = roots::solve(|place| before + up_to(place, &series).0 - 0.5, -1.0, 1.0);
                return (f64::midpoint(stretch.low, stretch.high)
                    + 0.5 * (stretch.high - stretch.low) * place)
                    .exp();
            }
            before += share;
        }
        f64::NAN
    }
}
