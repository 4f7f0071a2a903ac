//! A stretch of sigma with the slices at its nodes, cut finer where a question does not fit them.

use super::evidence::Evidence;
use super::slice::{Slice, mode};
use super::support::Panels;
use crate::hygiene::quadrature::{NODES, RULE, up_to};
use crate::hygiene::roots;
use std::sync::OnceLock;

/// A stretch is halved where more than this share of the whole stands in the last terms of its series: what the nodes then
/// miss is hundreds of times less.
const ROUGH: f64 = 1e-5;
/// Halved no more often than this.
const HALVINGS: u8 = 12;

/// What all stretches of one posterior share: from what slices are made, at any sigma.
#[derive(Debug, Clone)]
pub(super) struct Field {
    evidence: Evidence,
    /// The ends of mu.
    bounds: (f64, f64),
    /// The power of sigma that turns the prior into one along v = ln sigma.
    power: f64,
    /// The logarithm of the highest likelihood.
    highest: f64,
    /// The logarithm of the whole, which makes masses shares.
    ln_whole: f64,
}

impl Field {
    /// With the stretches that together are the whole; `None` where nothing is left of it.
    pub(super) fn of(
        evidence: Evidence,
        panels: &Panels,
        bounds: (f64, f64),
    ) -> Option<(Self, Vec<Stretch>)> {
        let highest = mode(&evidence.at(panels.top), bounds, evidence.middle()).1.value;
        let mut field = Self { evidence, bounds, power: panels.power, highest, ln_whole: highest };
        let mut stretches: Vec<_> =
            panels.ends.iter().map(|(low, high)| field.stretch(*low, *high)).collect();
        field.weigh(&mut stretches).then_some((field, stretches))
    }

    /// The same with a prior that has one more power of sigma to it.
    pub(super) fn tilted(mut self, mut stretches: Vec<Stretch>, power: f64) -> Option<(Self, Vec<Stretch>)> {
        self.power += power;
        for stretch in &mut stretches {
            stretch.halves = OnceLock::new();
        }
        self.weigh(&mut stretches).then_some((self, stretches))
    }

    /// Turns what the slices stand for into shares of the whole; whether there is anything.
    fn weigh(&mut self, stretches: &mut [Stretch]) -> bool {
        // First beside the greatest mass, so that nothing overflows, then beside the whole.
        let masses = stretches.iter().flat_map(|stretch| &stretch.slices).map(|slice| slice.ln_mass);
        self.ln_whole = masses.fold(f64::NEG_INFINITY, f64::max);
        let whole: f64 = stretches.iter().flat_map(|stretch| stretch.weighed(self)).sum();
        self.ln_whole += whole.ln();
        for stretch in stretches {
            stretch.shares = stretch.weighed(self);
        }
        self.ln_whole.is_finite()
    }

    /// The stretch of v from `low` to `high`.
    fn stretch(&self, low: f64, high: f64) -> Stretch {
        let (half, centre) = (0.5 * (high - low), f64::midpoint(low, high));
        let sigmas = RULE.nodes.map(|node| (centre + half * node).exp());
        let slices = Slice::along(&self.evidence, sigmas, self.bounds, self.highest);
        let cut = slices.iter().any(|slice| slice.is_cut(self.bounds));
        let mut stretch = Stretch { low, high, shares: [0.0; NODES], slices, cut, halves: OnceLock::new() };
        stretch.shares = stretch.weighed(self);
        stretch
    }
}

/// The slices at the nodes of a stretch of v = ln sigma.
#[derive(Debug, Clone)]
pub(super) struct Stretch {
    low: f64,
    high: f64,
    /// What each slice stands for, as a share of the whole.
    shares: [f64; NODES],
    slices: [Slice; NODES],
    /// Whether a face of the prior cuts off one of them.
    cut: bool,
    /// The two halves, once they were needed.
    halves: OnceLock<Box<[Stretch; 2]>>,
}

/// A line of mu along sigma: `fixed(sigma) + t rate(sigma)`, rising or falling all the way.
pub(super) struct Line<F, R> {
    pub(super) fixed: F,
    pub(super) rate: R,
    pub(super) t: f64,
}

impl<F: Fn(f64) -> f64, R: Fn(f64) -> f64> Line<F, R> {
    fn at(&self, sigma: f64) -> f64 {
        (self.fixed)(sigma) + self.t * (self.rate)(sigma)
    }
}

impl Stretch {
    /// Each slice with its share of the whole.
    pub(super) fn slices(&self) -> impl Iterator<Item = (f64, &Slice)> {
        self.shares.iter().copied().zip(&self.slices)
    }

    /// What each slice stands for.
    fn weighed(&self, field: &Field) -> [f64; NODES] {
        let half = 0.5 * (self.high - self.low);
        std::array::from_fn(|at| {
            let slice = &self.slices[at];
            half * RULE.weights[at] * (slice.ln_mass - field.ln_whole).exp() * slice.sigma.powf(field.power)
        })
    }

    /// The share of the whole in which mu is at most the line, and how fast it grows with `t`.
    pub(super) fn below<F, R>(&self, field: &Field, line: &Line<F, R>) -> (f64, f64)
    where
        F: Fn(f64) -> f64,
        R: Fn(f64) -> f64,
    {
        let crossings = if self.cut { self.crossings(field, line) } else { Vec::new() };
        if crossings.is_empty() {
            return self.between_faces(field, line, HALVINGS);
        }
        // Where the line enters or leaves the prior's box there is a kink: the pieces between are smooth.
        let edges: Vec<f64> = [self.low].into_iter().chain(crossings).chain([self.high]).collect();
        let mut sum = (0.0, 0.0);
        for piece in edges.windows(2).filter(|piece| piece[1] > piece[0]) {
            let middle = line.at(f64::midpoint(piece[0], piece[1]).exp());
            if middle >= field.bounds.1 {
                sum.0 += self.share_between(piece[0], piece[1]);
            } else if middle > field.bounds.0 {
                let part = field.stretch(piece[0], piece[1]).between_faces(field, line, HALVINGS);
                sum = (sum.0 + part.0, sum.1 + part.1);
            }
        }
        sum
    }

    /// The same where the line crosses no face within the stretch.
    fn between_faces<F, R>(&self, field: &Field, line: &Line<F, R>, halvings: u8) -> (f64, f64)
    where
        F: Fn(f64) -> f64,
        R: Fn(f64) -> f64,
    {
        let (mut belows, mut density) = ([0.0; NODES], 0.0);
        for (below, (share, slice)) in belows.iter_mut().zip(self.slices()) {
            let one = slice.below(line.at(slice.sigma));
            *below = share * one.0;
            density += share * one.1 * (line.rate)(slice.sigma);
        }
        if halvings > 0 && RULE.last_terms(&belows) > ROUGH {
            let halves = self.halves.get_or_init(|| {
                let middle = f64::midpoint(self.low, self.high);
                Box::new([field.stretch(self.low, middle), field.stretch(middle, self.high)])
            });
            let [one, two] = halves.each_ref().map(|half| half.between_faces(field, line, halvings - 1));
            return (one.0 + two.0, one.1 + two.1);
        }
        (belows.iter().sum(), density)
    }

    /// Where the line crosses a face of the prior within the stretch, in order.
    fn crossings<F, R>(&self, field: &Field, line: &Line<F, R>) -> Vec<f64>
    where
        F: Fn(f64) -> f64,
        R: Fn(f64) -> f64,
    {
        let (first, last) = (line.at(self.low.exp()), line.at(self.high.exp()));
        let within = |face: &f64| (first < *face) != (last < *face);
        let faces = [field.bounds.0, field.bounds.1].into_iter().filter(within);
        let mut crossings: Vec<f64> =
            faces.map(|face| roots::solve(|v| line.at(v.exp()) - face, self.low, self.high)).collect();
        crossings.sort_by(f64::total_cmp);
        crossings
    }

    /// The share of the whole between two points of the stretch.
    fn share_between(&self, from: f64, to: f64) -> f64 {
        let series = RULE.series_of_parts(&self.shares);
        let place = |v: f64| (2.0 * (v - self.low) / (self.high - self.low) - 1.0).clamp(-1.0, 1.0);
        up_to(place(to), &series).0 - up_to(place(from), &series).0
    }
}
