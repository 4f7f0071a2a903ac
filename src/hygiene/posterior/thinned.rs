//! Many one-sided bounds as few, for likelihoods that cannot tell the difference.
//!
//! ln Phi((bound - mu)/sigma) hardly bends over a stretch of bounds that is short beside sigma: there it is the polynomial
//! through a dozen nodes, and each bound passes its weight on to the nodes.

use crate::hygiene::quadrature::{NODES, RULE, legendre};

/// A one-sided bound with the number of results that it stands for, which need not be whole and can be negative.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Weighted {
    pub(super) end: f64,
    pub(super) count: f64,
}

/// Fewer bounds than this are left as they are.
const MANY: usize = 48;
/// A stretch is this many times the least sigma: the polynomial is then good to 1e-11 for each bound.
const STRETCH: f64 = 1.5;

/// Bounds in order, and replacements that hold from a sigma upward.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Thinned {
    all: Vec<Weighted>,
    /// From the least sigma to the greatest, each half the next.
    levels: Vec<(f64, Vec<Weighted>)>,
}

impl Thinned {
    /// Of bounds in rising order.
    pub(super) fn of(all: Vec<Weighted>) -> Self {
        let mut levels = Vec::new();
        if let ([first, .., last], true) = (all.as_slice(), all.len() > MANY) {
            let mut sigma = (last.end - first.end) / STRETCH;
            while sigma > 0.0 && sigma.is_finite() {
                let fewer = thin(&all, STRETCH * sigma);
                if fewer.len() * 4 > all.len() * 3 {
                    break;
                }
                levels.push((sigma, fewer));
                sigma *= 0.5;
            }
            levels.reverse();
        }
        Self { all, levels }
    }

    /// Those that do for this sigma.
    pub(super) fn for_sigma(&self, sigma: f64) -> &[Weighted] {
        let below = self.levels.partition_point(|(least, _)| *least <= sigma);
        below.checked_sub(1).map_or(&self.all, |at| &self.levels[at].1)
    }

    /// Whether there are none.
    pub(super) fn is_empty(&self) -> bool {
        self.all.is_empty()
    }
}

fn thin(all: &[Weighted], stretch: f64) -> Vec<Weighted> {
    let mut fewer = Vec::new();
    let mut rest = all;
    while let Some(first) = rest.first() {
        let count = rest.partition_point(|bound| bound.end <= first.end + stretch);
        let (near, further) = rest.split_at(count.max(1));
        if near.len() > NODES {
            fewer.extend(on_nodes(near));
        } else {
            fewer.extend(near);
        }
        rest = further;
    }
    fewer
}

/// The same weight on a dozen nodes: any polynomial of lower degree has the same sum over them.
fn on_nodes(near: &[Weighted]) -> [Weighted; NODES] {
    let (low, high) = (near[0].end, near[near.len() - 1].end);
    let (centre, half) = (f64::midpoint(low, high), 0.5 * (high - low));
    let mut moments = [0.0; NODES];
    for bound in near {
        for (moment, value) in moments.iter_mut().zip(legendre((bound.end - centre) / half)) {
            *moment += bound.count * value;
        }
    }
    let counts = RULE.spread(&moments);
    let mut nodes = [Weighted { end: 0.0, count: 0.0 }; NODES];
    for ((bound, node), count) in nodes.iter_mut().zip(RULE.nodes).zip(counts) {
        *bound = Weighted { end: centre + half * node, count };
    }
    nodes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hygiene::distributions::normal_ln_cdf;

    #[test]
    fn sums_over_few_bounds_are_those_over_many() {
        let all: Vec<_> =
            (1..=3000).map(|k| Weighted { end: f64::from(k).ln(), count: f64::from(k % 3 + 1) }).collect();
        let thinned = Thinned::of(all.clone());
        for sigma in [0.02, 0.05, 0.3, 1.0, 5.0] {
            let few = thinned.for_sigma(sigma);
            assert!(few.len() < 2000 && (sigma < 0.1 || few.len() < 500), "{sigma}: {}", few.len());
            for mu in [-3.0, 2.0, 7.0, 9.0] {
                let sum = |bounds: &[Weighted]| -> f64 {
                    bounds.iter().map(|bound| bound.count * normal_ln_cdf((bound.end - mu) / sigma)).sum()
                };
                let (one, two) = (sum(few), sum(&all));
                assert!((one - two).abs() < 1e-8 + 1e-13 * two.abs(), "{sigma} {mu}: {one} is not {two}");
            }
        }
        assert_eq!(thinned.for_sigma(1e-9), all);
    }
}
