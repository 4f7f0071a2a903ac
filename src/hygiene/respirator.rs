//! What a respirator worn part of the time leaves of an exposure, taking its assigned protection factor at its word.

use crate::model::working::Formula;

/// What is left.
pub const RESPIRATOR: Formula = Formula {
    formula: "exposure with respirator = C x ((1 - w) + w / APF), w being the share of exposed time it is worn",
    source: "time-weighting as in 29 CFR 1910.1025(c)(3) (there for the limit of lead alone), with the assigned \
             protection factors of 29 CFR 1910.134 Table 1; for a dose: this registry's rule",
};

/// The share of an exposure that is left where a respirator is worn the share `worn` (0 to 1) of the exposed time and its
/// assigned protection factor is `factor` (1 or more): assumed, not measured.
///
/// # Formula
/// `(1 - w) + w / APF`, without unit. 29 CFR 1910.1025(c)(3), edition A of the pack; for a dose: this registry's rule.
///
/// ```
/// use doseward::hygiene::respirator::remaining_share;
/// // Half of the time behind a factor of 50: 0.5 + 0.5 / 50 = 0.51.
/// assert_eq!(remaining_share(0.5, 50.0), 0.51);
/// // Never worn: nothing is taken off.
/// assert_eq!(remaining_share(0.0, 50.0), 1.0);
/// ```
pub fn remaining_share(worn: f64, factor: f64) -> f64 {
    (1.0 - worn) + worn / factor
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn more_wear_or_a_better_respirator_never_leaves_more(
            worn in 0.0..1.0f64, more in 0.0..1.0f64, factor in 1.0..10_000.0f64, better in 1.0..10.0f64,
        ) {
            let least = worn.min(more);
            prop_assert!(remaining_share(worn.max(more), factor) <= remaining_share(least, factor) + 1e-12);
            prop_assert!(remaining_share(worn, factor * better) <= remaining_share(worn, factor) + 1e-12);
            prop_assert!(remaining_share(worn, factor) <= 1.0 + 1e-12);
            prop_assert!(remaining_share(worn, factor) >= 1.0 / factor - 1e-12);
        }
    }
}
