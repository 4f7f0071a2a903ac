//! Gauss-Legendre quadrature, and integrals of the polynomial through its nodes up to any point between.

use std::sync::LazyLock;

/// Nodes in a panel: a bell over two of its widths is then integrated to eight digits up to any point.
pub(super) const NODES: usize = 12;

/// Nodes and weights on (-1, 1), and the weights of Legendre's polynomials at them.
pub(super) struct Rule {
    /// The nodes, in order.
    pub(super) nodes: [f64; NODES],
    /// Their weights, which add up to 2.
    pub(super) weights: [f64; NODES],
    /// Entry (k, j) times the value at node j, summed over j, is the coefficient of P_k in the polynomial.
    coefficients: [[f64; NODES]; NODES],
}

/// The one rule.
pub(super) static RULE: LazyLock<Rule> = LazyLock::new(Rule::new);

/// Legendre's polynomials P_0 ... P_NODES at `x`.
pub(super) fn legendre(x: f64) -> [f64; NODES + 1] {
    let mut values = [1.0; NODES + 1];
    values[1] = x;
    let mut k = 1.0;
    for index in 2..=NODES {
        values[index] = ((2.0 * k + 1.0) * x * values[index - 1] - k * values[index - 2]) / (k + 1.0);
        k += 1.0;
    }
    values
}

impl Rule {
    fn new() -> Self {
        let (mut nodes, mut weights) = ([0.0; NODES], [0.0; NODES]);
        #[expect(clippy::cast_precision_loss, reason = "a dozen nodes")]
        let count = NODES as f64;
        let mut place = 0.75;
        for (node, weight) in nodes.iter_mut().rev().zip(weights.iter_mut().rev()) {
            // Tricomi's starting value, then Newton's steps on P_n.
            let mut x = (std::f64::consts::PI * place / (count + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..20 {
                let values = legendre(x);
                slope = count * (x * values[NODES] - values[NODES - 1]) / (x * x - 1.0);
                x -= values[NODES] / slope;
            }
            (*node, *weight) = (x, 2.0 / ((1.0 - x * x) * slope * slope));
            place += 1.0;
        }
        let mut coefficients = [[0.0; NODES]; NODES];
        for (j, (node, weight)) in nodes.iter().zip(&weights).enumerate() {
            let values = legendre(*node);
            let mut half_odd = 0.5;
            for (row, value) in coefficients.iter_mut().zip(values) {
                row[j] = half_odd * weight * value;
                half_odd += 1.0;
            }
        }
        Self { nodes, weights, coefficients }
    }

    /// The integral from -1 to 1 of the polynomial with these values at the nodes.
    pub(super) fn whole(&self, values: &[f64; NODES]) -> f64 {
        self.weights.iter().zip(values).map(|(weight, value)| weight * value).sum()
    }

    /// The coefficients of the polynomial with these values at the nodes, in Legendre's polynomials.
    pub(super) fn series(&self, values: &[f64; NODES]) -> [f64; NODES] {
        let mut series = [0.0; NODES];
        for (coefficient, row) in series.iter_mut().zip(&self.coefficients) {
            *coefficient = row.iter().zip(values).map(|(weight, value)| weight * value).sum();
        }
        series
    }

    /// The series of the function whose integral from -1 to 1 has these parts, one for each node.
    pub(super) fn series_of_parts(&self, parts: &[f64; NODES]) -> [f64; NODES] {
        self.series(&std::array::from_fn(|at| parts[at] / self.weights[at]))
    }

    /// How much of that series stands in its last two terms: little where a dozen nodes are enough.
    pub(super) fn last_terms(&self, parts: &[f64; NODES]) -> f64 {
        let term = |row: &[f64; NODES]| {
            let parts = parts.iter().zip(&self.weights).map(|(part, weight)| part / weight);
            row.iter().zip(parts).map(|(coefficient, value)| coefficient * value).sum::<f64>().abs()
        };
        term(&self.coefficients[NODES - 2]) + term(&self.coefficients[NODES - 1])
    }

    /// Weights at the nodes over which every polynomial has the sum that these sums of Legendre's polynomials tell.
    pub(super) fn spread(&self, sums: &[f64; NODES]) -> [f64; NODES] {
        let mut spread = [0.0; NODES];
        for (row, sum) in self.coefficients.iter().zip(sums) {
            for (weight, coefficient) in spread.iter_mut().zip(row) {
                *weight += sum * coefficient;
            }
        }
        spread
    }
}

/// The integral from -1 to `x` (within -1 to 1) of a series in Legendre's polynomials, and its value there.
pub(super) fn up_to(x: f64, series: &[f64; NODES]) -> (f64, f64) {
    // The integral of P_k is (P_(k+1) - P_(k-1)) / (2k + 1), that of P_0 is x + 1.
    let (mut before, mut here) = (1.0, x);
    let (mut integral, mut value) = (series[0] * (x + 1.0), series[0]);
    for (coefficient, [ahead, behind, part]) in series[1..].iter().zip(&STEPS) {
        let next = ahead * x * here - behind * before;
        value += coefficient * here;
        integral += coefficient * part * (next - before);
        (before, here) = (here, next);
    }
    (integral, value)
}

/// For k from 1: (2k + 1)/(k + 1) and k/(k + 1) of the recurrence of P_(k+1), and 1/(2k + 1).
const STEPS: [[f64; 3]; NODES - 1] = {
    let mut steps = [[0.0; 3]; NODES - 1];
    let (mut index, mut k) = (0, 1.0);
    while index < steps.len() {
        steps[index] = [(2.0 * k + 1.0) / (k + 1.0), k / (k + 1.0), 1.0 / (2.0 * k + 1.0)];
        index += 1;
        k += 1.0;
    }
    steps
};

#[cfg(test)]
mod tests {
    use super::*;

    // Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, table 25.4, n = 12.
    #[test]
    fn nodes_and_weights_are_those_of_the_handbook() {
        assert!((RULE.nodes[11] - 0.981_560_634_246_719).abs() < 1e-14);
        assert!((RULE.weights[11] - 0.047_175_336_386_512).abs() < 1e-14);
        assert!((RULE.nodes[6] - 0.125_233_408_511_469).abs() < 1e-14);
        assert!((RULE.weights[6] - 0.249_147_045_813_403).abs() < 1e-14);
    }

    // Arithmetic: the integral of x^5 from -1 to x is (x^6 - 1) / 6.
    #[test]
    fn a_polynomial_is_integrated_exactly_up_to_any_point() {
        let values = RULE.nodes.map(|x| x.powi(5));
        for x in [-1.0, -0.3, 0.0, 0.77, 1.0f64] {
            let (integral, value) = up_to(x, &RULE.series(&values));
            assert!((integral - (x.powi(6) - 1.0) / 6.0).abs() < 1e-15);
            assert!((value - x.powi(5)).abs() < 1e-14);
        }
        assert!((RULE.whole(&RULE.nodes.map(f64::exp)) - (1f64.exp() - (-1f64).exp())).abs() < 1e-14);
    }

    // Arithmetic: ten points with their weight on the nodes keep the sum of any power below the twelfth.
    #[test]
    fn weight_spread_on_the_nodes_keeps_the_sums_of_powers() {
        let points: Vec<f64> = (0..10).map(|k| f64::from(k) / 5.0 - 0.95).collect();
        let mut sums = [0.0; NODES];
        for point in &points {
            for (sum, value) in sums.iter_mut().zip(legendre(*point)) {
                *sum += value;
            }
        }
        let spread = RULE.spread(&sums);
        for power in 0..12 {
            let wanted: f64 = points.iter().map(|x| x.powi(power)).sum();
            let found: f64 = RULE.nodes.iter().zip(spread).map(|(x, weight)| weight * x.powi(power)).sum();
            assert!((found - wanted).abs() < 1e-13, "{power}: {found} is not {wanted}");
        }
    }
}
