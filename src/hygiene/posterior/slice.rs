//! What is known of mu at one sigma: its distribution within the prior, as panels between which nothing is lost.

use super::evidence::{Along, Evidence, Likelihood};
use crate::hygiene::quadrature::{NODES, RULE, up_to};

/// Below this many log units under its highest point the likelihood is left out (1e-11 of the whole).
pub(super) const LOWEST: f64 = 24.0;
/// The same of a slice where hardly anything is left: its top is kept in any case.
const LOWEST_LEAST: f64 = 2.0;
/// What the width of a slice may make up for in its height, in log units.
const BY_WIDTH: f64 = 6.0;

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

    /// Slices at these sigmas, each beginning where the one before had its top; `top` is about the sigma of the highest.
    ///
    /// Without one every slice is kept whole.
    pub(super) fn along(
        evidence: &Evidence,
        nodes: &[(f64, f64)],
        bounds: (f64, f64),
        top: Option<f64>,
    ) -> Vec<Self> {
        let mut start = evidence.middle();
        let highest = top.map_or(f64::NEG_INFINITY, |sigma| mode(&evidence.at(sigma), bounds, start).1.value);
        let slice = |(sigma, _): &(f64, f64)| {
            let slice = Self::of(evidence, *sigma, bounds, start, highest);
            start = slice.top;
            slice
        };
        nodes.iter().map(slice).collect()
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
        self.mean_of_pair(|mu| (of(mu), 0.0)).0
    }

    /// The means of two functions of mu.
    pub(super) fn mean_of_pair(&self, of: impl Fn(f64) -> (f64, f64)) -> (f64, f64) {
        let (mut one, mut two) = (0.0, 0.0);
        for panel in &self.panels {
            let half = 0.5 * panel.width;
            let centre = panel.left + half;
            for ((node, weight), value) in RULE.nodes.iter().zip(&RULE.weights).zip(&panel.values) {
                let at = of(centre + half * node);
                one += half * weight * value * at.0;
                two += half * weight * value * at.1;
            }
        }
        (one / self.mass, two / self.mass)
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

    /// Where the panel that begins at `x` ends: two widths of the bell that fits there.
    fn next(&self, x: f64, end: f64, right: bool) -> f64 {
        let towards = |width: f64| {
            let far = if right { x + width } else { x - width };
            if right { far.min(end) } else { far.max(end) }
        };
        let curvature = -self.likelihood.along(x).curvature;
        let mut width = if curvature > 0.0 { 2.0 / curvature.sqrt() } else { f64::INFINITY };
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
