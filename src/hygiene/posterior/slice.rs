//! What is known of mu at one sigma: its distribution within the prior, as panels between which nothing is lost.

use super::evidence::{Along, Evidence, Likelihood};
use crate::hygiene::distributions::normal_upper_tail;
use crate::hygiene::quadrature::{NODES, RULE, up_to};

/// Below this many log units under its highest point the likelihood is left out (1e-11 of the whole).
pub(super) const LOWEST: f64 = 24.0;
/// The same of a slice where hardly anything is left: its top is kept in any case.
const LOWEST_LEAST: f64 = 2.0;
/// What the width of a slice may make up for in its height, in log units.
const BY_WIDTH: f64 = 6.0;

/// A normal tail is a polynomial over pieces of so many sigmas.
const BELL_PIECE: f64 = 2.0;
/// The ends of these pieces, in sigmas from its middle: further out it is nothing or one.
const BELL_EDGES: [f64; 9] = [-8.0, -6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0, 8.0];
/// A likelihood of more than this share of the highest at a face of the prior is cut off there.
const AT_A_FACE: f64 = 1e-9;

/// A stretch of mu with the likelihood at its nodes, relative to the highest of the slice.
#[derive(Debug, Clone)]
struct Panel {
    left: f64,
    width: f64,
    values: [f64; NODES],
    /// The same as a series in Legendre's polynomials.
    series: [f64; NODES],
    mass: f64,
    /// The mass of the panels before it.
    before: f64,
}

/// Log units that the likelihood may fall within a panel at its top, as its slope there tells: a dozen nodes hold that to
/// eight digits.
const STEEPEST: f64 = 6.0;
/// How many more for each log unit below the top, where digits no longer count.
const STEEPER: f64 = 0.7;

/// The distribution of mu at one sigma.
#[derive(Debug, Clone)]
pub(super) struct Slice {
    /// The standard deviation of the logarithms.
    pub(super) sigma: f64,
    /// Where it is highest.
    top: f64,
    panels: Vec<Panel>,
    mass: f64,
    /// The logarithm of the likelihood integrated over mu.
    pub(super) ln_mass: f64,
}

/// The highest point of the likelihood along mu within `low` to `high`, to a small part of its width, with value and
/// curvature there; looked for from `start`.
pub(super) fn mode(likelihood: &Likelihood, (low, high): (f64, f64), start: f64) -> (f64, Along) {
    let sigma = likelihood.sigma;
    let mut x = start.clamp(low, high);
    let (mut left, mut right) = (low, high);
    for _ in 0..200 {
        let at = likelihood.along(x);
        if at.slope > 0.0 {
            left = x;
        } else {
            right = x;
        }
        if (at.slope > 0.0 && x >= high) || (at.slope <= 0.0 && x <= low) {
            return (x, at);
        }
        let newton =
            if at.curvature < 0.0 { -at.slope / at.curvature } else { at.slope.signum() * 9.0 * sigma };
        let near_enough = newton * newton * -at.curvature < 1e-4 && newton.abs() < 0.1 * sigma;
        let step = newton.clamp(-9.0 * sigma, 9.0 * sigma);
        let next = (x + step).clamp(low, high);
        let next = if next > left && next < right || next <= low || next >= high {
            next
        } else {
            f64::midpoint(left.max(x - 99.0 * sigma), right.min(x + 99.0 * sigma))
        };
        if near_enough || next.to_bits() == x.to_bits() {
            return (x, at);
        }
        x = next;
    }
    (x, likelihood.along(x))
}

impl Slice {
    /// The slice at `sigma` of a likelihood within `bounds`, which may be infinite; its top is looked for from `start`.
    ///
    /// What is negligible beside `highest`, the highest likelihood of all slices, is left out.
    fn of(evidence: &Evidence, sigma: f64, bounds: (f64, f64), start: f64, highest: f64) -> Self {
        let likelihood = evidence.at(sigma);
        let (top, at) = mode(&likelihood, bounds, start);
        let lowest = (LOWEST - (highest - at.value - BY_WIDTH).max(0.0)).max(LOWEST_LEAST);
        let walk = Walk { likelihood, highest: at.value, least: (-lowest).exp() };
        let mut panels = walk.out(top, bounds.0);
        panels.reverse();
        panels.extend(walk.out(top, bounds.1));
        let mut before = 0.0;
        for panel in &mut panels {
            panel.before = before;
            before += panel.mass;
        }
        Self { sigma, top, panels, mass: before, ln_mass: at.value + before.ln() }
    }

    /// Slices at these sigmas, each beginning where the one before had its top; what is negligible beside `highest`, the
    /// logarithm of the highest likelihood of all, is left out.
    pub(super) fn along<const N: usize>(
        evidence: &Evidence,
        sigmas: [f64; N],
        bounds: (f64, f64),
        highest: f64,
    ) -> [Self; N] {
        let mut start = evidence.middle();
        sigmas.map(|sigma| {
            let slice = Self::of(evidence, sigma, bounds, start, highest);
            start = slice.top;
            slice
        })
    }

    /// Whether the likelihood ends at a face of the prior where it is not negligible.
    pub(super) fn is_cut(&self, bounds: (f64, f64)) -> bool {
        let (low, high) = self.ends();
        let outermost =
            |panel: Option<&Panel>, node: usize| panel.is_some_and(|panel| panel.values[node] > AT_A_FACE);
        (low <= bounds.0 && outermost(self.panels.first(), 0))
            || (high >= bounds.1 && outermost(self.panels.last(), NODES - 1))
    }

    /// The probability that mu is at most `x`, and its density there.
    pub(super) fn below(&self, x: f64) -> (f64, f64) {
        let after = self.panels.partition_point(|panel| panel.left <= x);
        let Some(panel) = after.checked_sub(1).and_then(|at| self.panels.get(at)) else { return (0.0, 0.0) };
        let place = 2.0 * (x - panel.left) / panel.width - 1.0;
        if place >= 1.0 {
            return ((panel.before + panel.mass) / self.mass, 0.0);
        }
        let (integral, value) = up_to(place, &panel.series);
        let part = (0.5 * panel.width * integral).clamp(0.0, panel.mass);
        ((panel.before + part) / self.mass, value.max(0.0) / self.mass)
    }

    /// About the mean and the variance of mu.
    pub(super) fn moments(&self) -> (f64, f64) {
        let centre = |panel: &Panel| panel.left + 0.5 * panel.width;
        let mean = self.panels.iter().map(|panel| panel.mass * centre(panel)).sum::<f64>() / self.mass;
        let square =
            |panel: &Panel| panel.mass * ((centre(panel) - mean).powi(2) + panel.width * panel.width / 12.0);
        (mean, self.panels.iter().map(square).sum::<f64>() / self.mass)
    }

    /// The ends of what is not left out.
    pub(super) fn ends(&self) -> (f64, f64) {
        let low = self.panels.first().map_or(f64::NAN, |panel| panel.left);
        let high = self.panels.last().map_or(f64::NAN, |panel| panel.left + panel.width);
        (low, high)
    }

    /// The mean of a function of mu.
    pub(super) fn mean_of(&self, of: impl Fn(f64) -> f64) -> f64 {
        self.panels.iter().map(|panel| panel.integral_of(&of)).sum::<f64>() / self.mass
    }

    /// The chance that a normal value about mu with this sigma is above `x`.
    pub(super) fn value_above(&self, x: f64) -> f64 {
        let above = |mu: f64| normal_upper_tail((x - mu) / self.sigma);
        let step = BELL_PIECE * self.sigma;
        let sum: f64 = self
            .panels
            .iter()
            .map(|panel| {
                if panel.width <= step {
                    return panel.integral_of(above);
                }
                // The chance rises from nothing to one within a few sigmas of `x`, and a panel may be far wider.
                let right = panel.left + panel.width;
                let inside = |edge: &f64| *edge > panel.left && *edge < right;
                let edges = BELL_EDGES.map(|edge| x + edge * self.sigma).into_iter().filter(inside);
                let edges: Vec<f64> = [panel.left].into_iter().chain(edges).chain([right]).collect();
                edges.windows(2).map(|piece| panel.between(piece[0], piece[1], |mu| (above(mu), 0.0)).0).sum()
            })
            .sum();
        sum / self.mass
    }

    /// The probability that another mu of distribution `other` is at most this mu + `x`, and the density of the
    /// difference there.
    ///
    /// Between the edges of the panels of both, both are polynomials, and their product is integrated exactly.
    pub(super) fn other_below(&self, other: &Self, x: f64) -> (f64, f64) {
        let mut sum = (0.0, 0.0);
        let mut edges =
            other.panels.iter().map(|panel| panel.left - x).chain([other.ends().1 - x]).peekable();
        for panel in &self.panels {
            let right = panel.left + panel.width;
            let mut from = panel.left;
            while edges.next_if(|edge| *edge <= from).is_some() {}
            loop {
                let to = edges.next_if(|edge| *edge < right);
                let part = panel.between(from, to.unwrap_or(right), |mu| other.below(mu + x));
                sum = (sum.0 + part.0, sum.1 + part.1);
                match to {
                    Some(to) => from = to,
                    None => break,
                }
            }
        }
        (sum.0 / self.mass, sum.1 / self.mass)
    }
}

impl Panel {
    /// The integral of the likelihood times a function of mu that is smooth over the whole panel.
    fn integral_of(&self, of: impl Fn(f64) -> f64) -> f64 {
        let half = 0.5 * self.width;
        let centre = self.left + half;
        let parts = RULE.nodes.iter().zip(&RULE.weights).zip(&self.values);
        parts.map(|((node, weight), value)| half * weight * value * of(centre + half * node)).sum()
    }

    /// The same of two functions, smooth from `from` to `to`, over that part of the panel.
    fn between(&self, from: f64, to: f64, of: impl Fn(f64) -> (f64, f64)) -> (f64, f64) {
        let (half, centre) = (0.5 * (to - from), f64::midpoint(from, to));
        let mut sum = (0.0, 0.0);
        for (node, weight) in RULE.nodes.iter().zip(&RULE.weights) {
            let mu = centre + half * node;
            let place = (2.0 * (mu - self.left) / self.width - 1.0).clamp(-1.0, 1.0);
            let value = half * weight * up_to(place, &self.series).1;
            let at = of(mu);
            sum = (sum.0 + value * at.0, sum.1 + value * at.1);
        }
        sum
    }
}

/// Panels from the highest point outward.
struct Walk<'e> {
    likelihood: Likelihood<'e>,
    highest: f64,
    /// Where the likelihood is less than this share of the highest the walk ends.
    least: f64,
}

impl Walk<'_> {
    /// Panels from `start` towards `end`, nearest first, to where nothing is left.
    fn out(&self, start: f64, end: f64) -> Vec<Panel> {
        let mut panels = Vec::new();
        let mut x = start;
        let right = end > start;
        while (end - x).abs() > 0.0 && (x < end) == right {
            let next = self.next(x, end, right);
            let (left, width) = if right { (x, next - x) } else { (next, x - next) };
            if width.is_nan() || width <= 0.0 {
                break;
            }
            let (half, centre) = (0.5 * width, left + 0.5 * width);
            let values =
                RULE.nodes.map(|node| (self.likelihood.value(centre + half * node) - self.highest).exp());
            let mass = half * RULE.whole(&values);
            panels.push(Panel { left, width, values, series: RULE.series(&values), mass, before: 0.0 });
            let outermost = if right { values[NODES - 1] } else { values[0] };
            // What is no number ends the walk too.
            if outermost.is_nan() || outermost < self.least {
                break;
            }
            x = next;
        }
        panels
    }

    /// Where the panel that begins at `x` ends: two widths of the bell that fits there, less where the likelihood falls
    /// steeply while it is still high, as it does from a face of the prior.
    fn next(&self, x: f64, end: f64, right: bool) -> f64 {
        let towards = |width: f64| {
            let far = if right { x + width } else { x - width };
            if right { far.min(end) } else { far.max(end) }
        };
        let at = self.likelihood.along(x);
        let mut width = if at.curvature < 0.0 { 2.0 / (-at.curvature).sqrt() } else { f64::INFINITY };
        let fall = STEEPEST + STEEPER * (self.highest - at.value);
        width = width.min(fall / at.slope.abs());
        if let Some((low, high)) = self.likelihood.reach() {
            // Beyond the reach of every bound the likelihood of the bounds no longer changes.
            let beyond = if right { x >= high } else { x <= low };
            if right && x < low {
                width = width.min(low - x);
            } else if !right && x > high {
                width = width.min(x - high);
            } else if !beyond {
                width = width.min(self.likelihood.sigma);
            }
        }
        towards(width)
    }
}
