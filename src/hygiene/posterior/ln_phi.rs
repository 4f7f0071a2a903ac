//! The logarithm of the normal distribution function, by Taylor polynomials about points a quarter apart.
//!
//! A posterior asks for it some ten thousand times; a dozen multiplications are enough, and 14 digits are kept.

use crate::hygiene::distributions::{normal_hazard_below, normal_ln_cdf};
use std::sync::LazyLock;

/// The coefficients of a polynomial.
const TERMS: usize = 10;
/// Cells in a unit.
const CELLS: f64 = 4.0;
/// Below this the general function answers.
const LOW: f64 = -12.0;
/// The end of the table.
const HIGH: f64 = 9.0;

static TABLE: LazyLock<Vec<[f64; TERMS]>> = LazyLock::new(|| {
    let mut centre = LOW + 0.5 / CELLS;
    let mut table = Vec::new();
    while centre < HIGH {
        table.push(polynomial(centre));
        centre += 1.0 / CELLS;
    }
    table
});

/// The first terms of the series about a point: the slope of ln Phi is h = phi/Phi, and h' = -h (z + h).
fn polynomial(centre: f64) -> [f64; TERMS] {
    let mut h = [0.0; TERMS - 1];
    h[0] = normal_hazard_below(centre);
    let mut count = 1.0;
    for k in 1..h.len() {
        let square: f64 = (0..k).map(|i| h[i] * h[k - 1 - i]).sum();
        let shifted = if k > 1 { h[k - 2] } else { 0.0 };
        h[k] = -(centre * h[k - 1] + shifted + square) / count;
        count += 1.0;
    }
    let mut terms = [normal_ln_cdf(centre); TERMS];
    let mut count = 1.0;
    for (term, slope) in terms[1..].iter_mut().zip(h) {
        *term = slope / count;
        count += 1.0;
    }
    terms
}

/// The table at hand, so that a loop need not ask for it again.
#[derive(Debug, Clone, Copy)]
pub(super) struct LnPhi(&'static [[f64; TERMS]]);

impl LnPhi {
    /// The one table.
    pub(super) fn table() -> Self {
        Self(&TABLE)
    }

    /// ln Phi(z), to about 1e-14 of 1 or of itself.
    #[inline]
    pub(super) fn at(self, z: f64) -> f64 {
        if z < LOW || z.is_nan() {
            return normal_ln_cdf(z);
        }
        let place = (z - LOW) * CELLS;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "0 or more, and an infinite one is out of the table"
        )]
        let cell = place as usize;
        // From here on the logarithm is nothing beside 1.
        let Some([a, b, c, d, e, f, g, h, i, j]) = self.0.get(cell) else { return 0.0 };
        #[expect(clippy::cast_precision_loss, reason = "a small number")]
        let off = (place - cell as f64 - 0.5) / CELLS;
        // Estrin's order: half the terms need not wait for the other half.
        let (two, four) = (off * off, off * off * (off * off));
        ((a + b * off) + (c + d * off) * two)
            + ((e + f * off) + (g + h * off) * two) * four
            + (i + j * off) * (four * four)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[expect(clippy::float_cmp, reason = "figures that come out exactly")]
    fn it_is_the_general_function_to_fourteen_digits() {
        let table = LnPhi::table();
        for step in -1500..1200 {
            let z = f64::from(step) * 0.01 + 0.003;
            let (found, wanted) = (table.at(z), normal_ln_cdf(z));
            assert!((found - wanted).abs() < 2e-14 * wanted.abs().max(1.0), "{z}: {found} is not {wanted}");
        }
        assert_eq!(table.at(f64::INFINITY), 0.0);
        assert_eq!(table.at(f64::NEG_INFINITY), f64::NEG_INFINITY);
        assert!(table.at(f64::NAN).is_nan());
    }
}
