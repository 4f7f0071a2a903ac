//! Where along sigma there is anything to integrate, and the panels for it.

use super::FACE_SHARE;
use super::evidence::Evidence;
use super::prior::{Prior, PriorBox};
use super::slice::{LOWEST, mode};

/// Panels along ln sigma are about this many standard deviations wide.
const PANEL_DEVIATIONS: f64 = 2.5;
/// How much wider than the panel before it each panel outward may be.
const PANEL_GROWTH: f64 = 1.3;
/// Panels along ln sigma within a box are never wider than this.
const PANEL_WIDEST: f64 = 0.6;
/// The same without a box.
const PANEL_WIDEST_FLAT: f64 = 4.0;

/// The ends of mu under a prior.
pub(super) fn mu_bounds(prior: Prior) -> (f64, f64) {
    match prior {
        Prior::Box(prior) => prior.mu(),
        Prior::Flat => (f64::NEG_INFINITY, f64::INFINITY),
    }
}

/// The ln GSD above which the upper face of the box is near.
pub(super) fn upper_sigma_face(prior: PriorBox) -> f64 {
    let (low, high) = prior.sigma();
    high - FACE_SHARE * (high - low)
}

/// About the logarithm of the likelihood (of all sides, each with its own mu) along v = ln sigma, with the prior's
/// weight: the highest along mu with the width of the bell there.
struct Ridge<'e> {
    sides: &'e [&'e Evidence],
    mu: (f64, f64),
    /// The power of sigma that turns the prior into one along v.
    power: f64,
}

impl Ridge<'_> {
    fn at(&self, v: f64) -> f64 {
        let sigma = v.exp();
        let of_side = |side: &&Evidence| {
            let (_, at) = mode(&side.at(sigma), self.mu, side.middle());
            // Never wider than the prior's box.
            let width = if at.curvature < 0.0 { (-at.curvature).sqrt().recip() } else { f64::INFINITY };
            at.value + width.min(self.mu.1 - self.mu.0).ln()
        };
        self.sides.iter().map(of_side).sum::<f64>() + self.power * v
    }
}

/// Panels along v = ln sigma.
pub(super) struct Panels {
    /// Where each begins and ends, in order.
    pub(super) ends: Vec<(f64, f64)>,
    /// The power of sigma that turns the prior into one along v.
    pub(super) power: f64,
    /// About the sigma at which most is found.
    pub(super) top: f64,
}

/// Where along sigma to integrate; `None` where nothing is known.
pub(super) fn panels(sides: &[&Evidence], prior: Prior) -> Option<Panels> {
    if sides.iter().any(|side| side.is_empty()) {
        return None;
    }
    // A density of 1 in sigma is one of sigma in v; a density of 1/sigma is one of 1.
    let (ends, power, faces) = match prior {
        Prior::Box(prior) => {
            let (low, high) = prior.sigma();
            ((low.ln(), high.ln()), 1.0, vec![upper_sigma_face(prior).ln()])
        }
        Prior::Flat => {
            let spread = sides.iter().map(|side| side.spread()).fold(0.0, f64::max);
            if spread.is_nan() || spread <= 0.0 {
                return None;
            }
            ((spread.ln() - 60.0, spread.ln() + 60.0), 0.0, Vec::new())
        }
    };
    let ridge = Ridge { sides, mu: mu_bounds(prior), power };
    let support = Support::of(|v| ridge.at(v), ends);
    let widest = match prior {
        Prior::Flat => PANEL_WIDEST_FLAT,
        Prior::Box(_) => PANEL_WIDEST,
    };
    Some(Panels { ends: support.panels(&faces, widest), power, top: support.top.exp() })
}

/// Where along v the ridge is not negligible.
struct Support {
    low: f64,
    top: f64,
    high: f64,
    deviation: f64,
}

impl Support {
    /// Around the one top of a ridge between its ends.
    fn of(ridge: impl Fn(f64) -> f64, (low, high): (f64, f64)) -> Self {
        let (top, highest) = top(&ridge, low, high);
        let drop = LOWEST + 2.0;
        let edge = |end: f64| {
            if highest - ridge(end) <= drop {
                return end;
            }
            let (mut inside, mut outside) = (top, end);
            for _ in 0..40 {
                if (outside - inside).abs() < 0.02 * (outside - top).abs() {
                    break;
                }
                let middle = f64::midpoint(inside, outside);
                if highest - ridge(middle) <= drop { inside = middle } else { outside = middle }
            }
            outside
        };
        let (low, high) = (edge(low), edge(high));
        let step = 1e-2 * (high - low).min(10.0);
        let sides: Vec<f64> =
            [(top - step).max(low), (top + step).min(high)].into_iter().map(|v| highest - ridge(v)).collect();
        let curvature = (sides[0] + sides[1]) / (step * step);
        let deviation = if curvature > 0.0 { curvature.sqrt().recip() } else { f64::INFINITY };
        Self { low, top, high, deviation }
    }

    /// Panels of at most `widest`, broken at the faces of the prior.
    fn panels(&self, faces: &[f64], widest: f64) -> Vec<(f64, f64)> {
        let mut edges = self.edges(widest);
        edges.extend(faces.iter().copied().filter(|face| *face > self.low && *face < self.high));
        edges.sort_by(f64::total_cmp);
        edges.windows(2).filter(|pair| pair[1] > pair[0]).map(|pair| (pair[0], pair[1])).collect()
    }

    /// Ends of panels, from the top outward; in the tails, which fall off ever more evenly, they grow.
    fn edges(&self, widest: f64) -> Vec<f64> {
        // A hundredth of the stretch at least: a deviation of nothing would never reach the ends.
        let first = (PANEL_DEVIATIONS * self.deviation).max(0.01 * (self.high - self.low)).min(widest);
        let mut edges = vec![self.top];
        for (end, sign) in [(self.low, -1.0), (self.high, 1.0)] {
            let (mut edge, mut width) = (self.top, first);
            while (end - edge) * sign > 0.0 {
                // The last panel takes over a remainder that is not worth one of its own.
                let last = (end - edge) * sign < 1.4 * width;
                edge = if last { end } else { edge + sign * width };
                edges.push(edge);
                width = (PANEL_GROWTH * width).min(widest);
            }
        }
        edges
    }
}

/// The top of a function with one top, and its height there, by golden sections.
fn top(ridge: impl Fn(f64) -> f64, low: f64, high: f64) -> (f64, f64) {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let (mut low, mut high) = (low, high);
    let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut at_left, mut at_right) = (ridge(left), ridge(right));
    let tolerance = 1e-2 * (high - low).min(1.0);
    while high - low > tolerance {
        if at_left < at_right {
            (low, left, at_left) = (left, right, at_right);
            right = low + GOLDEN * (high - low);
            at_right = ridge(right);
        } else {
            (high, right, at_right) = (right, left, at_left);
            left = high - GOLDEN * (high - low);
            at_left = ridge(left);
        }
    }
    if at_left > at_right { (left, at_left) } else { (right, at_right) }
}
