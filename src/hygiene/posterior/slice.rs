//! What is known of mu at one sigma: its distribution within the prior, as panels between which nothing is lost.

use super::evidence::Evidence;
use crate::hygiene::quadrature::{NODES, RULE};

/// Below this many log units under its highest point the likelihood is left out (1e-11 of the whole).
pub(super) const LOWEST: f64 = 26.0;

/// A stretch of mu with the likelihood at its nodes, relative to the highest of the slice.
#[derive(Debug, Clone)]
struct Panel {
    left: f64,
    width: f64,
    values: [f64; NODES],
    mass: f64,
    /// The mass of the panels before it.
    before: f64,
}

/// The distribution of mu at one sigma.
#[derive(Debug, Clone)]
pub(super) struct Slice {
    /// The standard deviation of the logarithms.
    pub(super) sigma: f64,
    panels: Vec<Panel>,
    mass: f64,
    /// The logarithm of the likelihood integrated over mu.
    pub(super) ln_mass: f64,
}

/// The highest point of the likelihood along mu within `low` to `high`, to a small part of its width, and the
/// curvature there.
pub(super) fn mode(evidence: &Evidence, sigma: f64, (low, high): (f64, f64)) -> (f64, f64) {
    let (span_low, span_high) = evidence.span();
    let mut x = f64::midpoint(span_low, span_high).clamp(low, high);
    let (mut left, mut right) = (low, high);
    for _ in 0..200 {
        let at = evidence.along(x, sigma);
        if at.slope > 0.0 {
            left = x;
        } else {
            right = x;
        }
        if (at.slope > 0.0 && x >= high) || (at.slope <= 0.0 && x <= low) {
            return (x, at.curvature);
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
            return (x, at.curvature);
        }
        x = next;
    }
    (x, evidence.along(x, sigma).curvature)
}

impl Slice {
    /// The slice at `sigma` of a likelihood within `bounds`, which may be infinite.
    pub(super) fn of(evidence: &Evidence, sigma: f64, bounds: (f64, f64)) -> Self {
        let (top, _) = mode(evidence, sigma, bounds);
        let highest = evidence.value(top, sigma);
        let walk = Walk { evidence, sigma, highest };
        let mut panels = walk.out(top, bounds.0);
        panels.reverse();
        panels.extend(walk.out(top, bounds.1));
        let mut before = 0.0;
        for panel in &mut panels {
            panel.before = before;
            before += panel.mass;
        }
        Self { sigma, panels, mass: before, ln_mass: highest + before.ln() }
    }

    /// The probability that mu is at most `x`.
    pub(super) fn below(&self, x: f64) -> f64 {
        let after = self.panels.partition_point(|panel| panel.left <= x);
        let Some(panel) = after.checked_sub(1).and_then(|at| self.panels.get(at)) else { return 0.0 };
        let place = 2.0 * (x - panel.left) / panel.width - 1.0;
        if place >= 1.0 {
            return (panel.before + panel.mass) / self.mass;
        }
        let part = (0.5 * panel.width * RULE.up_to(place, &panel.values)).clamp(0.0, panel.mass);
        (panel.before + part) / self.mass
    }

    /// The ends of what is not left out.
    pub(super) fn ends(&self) -> (f64, f64) {
        let low = self.panels.first().map_or(f64::NAN, |panel| panel.left);
        let high = self.panels.last().map_or(f64::NAN, |panel| panel.left + panel.width);
        (low, high)
    }

    /// The mean of a function of mu.
    pub(super) fn mean_of(&self, of: impl Fn(f64) -> f64) -> f64 {
        let sum: f64 = self
            .panels
            .iter()
            .map(|panel| {
                let half = 0.5 * panel.width;
                let centre = panel.left + half;
                let part: f64 = RULE
                    .nodes
                    .iter()
                    .zip(&RULE.weights)
                    .zip(&panel.values)
                    .map(|((node, weight), value)| weight * value * of(centre + half * node))
                    .sum();
                half * part
            })
            .sum();
        sum / self.mass
    }
}

/// Panels from the highest point outward.
struct Walk<'e> {
    evidence: &'e Evidence,
    sigma: f64,
    highest: f64,
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
            let values = RULE
                .nodes
                .map(|node| (self.evidence.value(centre + half * node, self.sigma) - self.highest).exp());
            let mass = half * RULE.whole(&values);
            panels.push(Panel { left, width, values, mass, before: 0.0 });
            let outermost = if right { values[NODES - 1] } else { values[0] };
            // What is no number ends the walk too.
            if outermost.is_nan() || outermost < (-LOWEST).exp() {
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
        let curvature = -self.evidence.along(x, self.sigma).curvature;
        let mut width = if curvature > 0.0 { 2.0 / curvature.sqrt() } else { f64::INFINITY };
        if let Some((low, high)) = self.evidence.reach(self.sigma) {
            // Beyond the reach of every bound the likelihood of the bounds no longer changes.
            let beyond = if right { x >= high } else { x <= low };
            if right && x < low {
                width = width.min(low - x);
            } else if !right && x > high {
                width = width.min(x - high);
            } else if !beyond {
                width = width.min(self.sigma);
            }
        }
        towards(width)
    }
}
