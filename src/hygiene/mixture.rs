//! Agents that act alike, added up as shares of their limits.

use crate::model::measured::{Answer, Measured};
use crate::model::working::Formula;

/// The equivalent exposure.
pub const EQUIVALENT_EXPOSURE: Formula = Formula {
    formula: "E = sum(concentration / limit), above the limit when E > 1",
    source: "29 CFR 1910.1000(d)(2)",
};

/// Its sampling and analytical error.
pub const MIXTURE_ERROR: Formula = Formula {
    formula: "mixture_error = sqrt(sum((R x sae)^2)), R = concentration / limit / E; control_limit = 1 + mixture_error",
    source: "OSHA Technical Manual, Section II Chapter 1, additive mixtures (from memory)",
};

/// One agent of a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Its concentration, in the unit of its limit.
    pub concentration: Measured,
    /// Its limit, above zero.
    pub limit: f64,
    /// The sampling and analytical error, as a fraction.
    pub sampling_analytical_error: Option<f64>,
}

/// A mixture against its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mixture {
    /// The sum of the shares, with what is known of it.
    pub equivalent_exposure: Measured,
    /// Whether it is above 1 (`AtOrAbove` reads "above").
    pub exceeds: Answer,
    /// The error of the sum; absent unless every component has one and a plain value.
    pub mixture_error: Option<f64>,
    /// 1 plus that error.
    pub control_limit: Option<f64>,
}

/// Adds up a mixture in the order given; `None` without components or with a limit not above zero.
///
/// # Formula
/// `E = sum(concentration / limit)`, `error = sqrt(sum((R sae)^2))`, `R = concentration / limit / E`, none with a unit.
/// 29 CFR 1910.1000(d)(2); OSHA Technical Manual, Section II Chapter 1 (from memory).
///
/// ```
/// use doseward::hygiene::mixture::{Component, mixture};
/// use doseward::model::measured::Measured;
/// // 25 of 100 and 15 of 30: 0.25 + 0.5.
/// let of = |value, limit| {
///     Component { concentration: Measured::Value(value), limit, sampling_analytical_error: None }
/// };
/// let found = mixture(&[of(25.0, 100.0), of(15.0, 30.0)]).unwrap();
/// assert_eq!(found.equivalent_exposure, Measured::Value(0.75));
/// ```
pub fn mixture(components: &[Component]) -> Option<Mixture> {
    if components.is_empty() || !components.iter().all(|component| component.limit > 0.0) {
        return None;
    }
    let lower = components.iter().map(|one| one.concentration.lower() / one.limit).sum();
    let upper =
        components.iter().try_fold(0.0, |sum, one| Some(sum + one.concentration.upper()? / one.limit));
    let equivalent_exposure = Measured::from_bounds(lower, upper);
    let plain = components.iter().all(|one| one.concentration.is_value());
    let error = components.iter().filter(|_| plain && lower > 0.0).try_fold(0.0, |sum, one| {
        let share = one.concentration.lower() / one.limit / lower;
        Some(sum + (share * one.sampling_analytical_error?).powi(2))
    });
    let mixture_error = error.filter(|_| plain && lower > 0.0).map(f64::sqrt);
    Some(Mixture {
        equivalent_exposure,
        exceeds: equivalent_exposure.exceeds(1.0),
        mixture_error,
        control_limit: mixture_error.map(|error| 1.0 + error),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn component(concentration: Measured, limit: f64) -> Component {
        Component { concentration, limit, sampling_analytical_error: Some(0.1) }
    }

    #[test]
    fn a_non_detect_leaves_the_sum_a_range() {
        let sum =
            mixture(&[component(Measured::Value(5.0), 10.0), component(Measured::Below(6.0), 10.0)]).unwrap();
        assert_eq!(sum.equivalent_exposure, Measured::Between { lower: 0.5, upper: 1.1 });
        assert_eq!((sum.exceeds, sum.mixture_error), (Answer::CannotTell, None));
        assert_eq!(mixture(&[]), None);
        assert_eq!(mixture(&[component(Measured::Value(5.0), 0.0)]), None);
    }

    #[test]
    fn a_sum_of_exactly_one_does_not_exceed() {
        let parts = [0.1, 0.2, 0.7].map(|value| component(Measured::Value(value), 1.0));
        assert_eq!(mixture(&parts).unwrap().exceeds, Answer::Below);
    }

    proptest! {
        #[test]
        fn one_component_has_its_own_error(value in 0.01..100.0f64, limit in 0.01..100.0f64) {
            let one = mixture(&[component(Measured::Value(value), limit)]).unwrap();
            prop_assert!((one.mixture_error.unwrap() - 0.1).abs() < 1e-12);
        }
    }
}
