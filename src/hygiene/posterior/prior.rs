//! What is taken for possible before any result is known.

use crate::model::working::Formula;

/// The default box.
pub const PRIOR_BOX: Formula = Formula {
    formula: "uniform in ln GM and ln GSD on GM 0.0005 to 5 times the limit (without a limit 0.0001 to 10000 times the \
              largest value) and GSD 1.05 to 4",
    source: "Hewett, Logan, Mulhausen, Ramachandran and Banerjee, Journal of Occupational and Environmental Hygiene 3 \
             (2006) 568-581 (bounds from memory); without a limit: this registry's rule",
};

/// The least and the greatest geometric mean of the default box, as multiples of the limit.
pub const GM_OF_LIMIT: (f64, f64) = (0.0005, 5.0);
/// The same without a limit, as multiples of the largest value.
pub const GM_OF_LARGEST: (f64, f64) = (1e-4, 1e4);
/// The least and the greatest geometric standard deviation of the default box.
pub const GSD: (f64, f64) = (1.05, 4.0);
/// A prior that the results press on is widened to this many times the largest result.
pub const WIDENED_GM_OF_LARGEST: f64 = 100.0;

/// A box, uniform in ln GM and ln GSD.
///
/// ```
/// use doseward::hygiene::posterior::PriorBox;
/// // 0.0005 to 5 times a limit of 2; 0.0001 to 10000 times a largest value of 2; up to 100 times a largest result of 50.
/// let of_limit = PriorBox::of_limit(2.0);
/// assert_eq!((of_limit.gm_lower, of_limit.gm_upper), (0.001, 10.0));
/// assert_eq!(PriorBox::of_largest(2.0).gm_upper, 20_000.0);
/// assert_eq!(of_limit.widened(50.0).gm_upper, 5000.0);
/// assert!(of_limit.is_sound());
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriorBox {
    /// The least geometric mean, in the unit of the results.
    pub gm_lower: f64,
    /// The greatest.
    pub gm_upper: f64,
    /// The least geometric standard deviation.
    pub gsd_lower: f64,
    /// The greatest.
    pub gsd_upper: f64,
}

impl PriorBox {
    /// The default box against a limit in the unit of the results.
    pub fn of_limit(limit: f64) -> Self {
        Self::between(limit, GM_OF_LIMIT)
    }

    /// The default box without a limit.
    pub fn of_largest(largest: f64) -> Self {
        Self::between(largest, GM_OF_LARGEST)
    }

    fn between(scale: f64, (lower, upper): (f64, f64)) -> Self {
        Self { gm_lower: lower * scale, gm_upper: upper * scale, gsd_lower: GSD.0, gsd_upper: GSD.1 }
    }

    /// The same, reaching up to 100 times the largest result where it did not.
    #[must_use]
    pub fn widened(self, largest: f64) -> Self {
        Self { gm_upper: self.gm_upper.max(WIDENED_GM_OF_LARGEST * largest), ..self }
    }

    /// Whether it is a box: above zero, GSD above 1, ends in order.
    pub fn is_sound(self) -> bool {
        let Self { gm_lower, gm_upper, gsd_lower, gsd_upper } = self;
        gm_lower > 0.0
            && gm_lower < gm_upper
            && gm_upper.is_finite()
            && gsd_lower > 1.0
            && gsd_lower < gsd_upper
            && gsd_upper.is_finite()
    }

    /// Its ends in ln GM.
    pub(super) fn mu(self) -> (f64, f64) {
        (self.gm_lower.ln(), self.gm_upper.ln())
    }

    /// Its ends in ln GSD.
    pub(super) fn sigma(self) -> (f64, f64) {
        (self.gsd_lower.ln(), self.gsd_upper.ln())
    }
}

/// A prior distribution of mu and sigma.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Prior {
    /// Uniform on a box.
    Box(PriorBox),
    /// Uniform in mu and ln sigma, without bounds; needs two different detected values.
    Flat,
}
