//! What a filter or collector takes out of the air that enters it.

use super::distributions::t_quantile;
use super::lognormal::moments;
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;

/// Efficiency from simultaneous pairs.
pub const REMOVAL_EFFICIENCY: Formula = Formula {
    formula: "penetration = exp(mean of ln(outlet/inlet)); efficiency_percent = 100 (1 - penetration); limits by \
              t(0.975, n-1) on the logarithms",
    source: "Hinds, Aerosol Technology, 2nd edition 1999 (penetration); \
             Student, Biometrika 6 (1908) 1-25 (limits), both from memory",
};

/// Filters one behind the other.
pub const SERIES: Formula = Formula {
    formula: "penetration of filters in series = product of their penetrations",
    source: "Hinds, Aerosol Technology, 2nd edition 1999 (from memory)",
};

/// The decontamination factor.
pub const DECONTAMINATION_FACTOR: Formula =
    Formula { formula: "decontamination_factor = 1 / penetration", source: "common practice (definition)" };

/// An outlet is below its limit (or an inlet above its measurable range): the efficiency is at least this.
pub const AT_LEAST: &str = "outlet_below_limit";
/// A pair whose inlet has no lower end above zero, or whose outlet is zero, was left out.
pub const PAIR_LEFT_OUT: &str = "pair_left_out";
/// An outlet has no upper end, so that nothing but a greatest efficiency is known: none is given.
pub const OUTLET_OVERLOADED: &str = "outlet_overloaded";
/// No pair can be used.
pub const NO_PAIRS: &str = "no_pairs";
/// Limits need two or more pairs of plain values with spread.
pub const NO_LIMITS: &str = "no_limits";

/// Every flag of a removal efficiency with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (
        AT_LEAST,
        "An outlet is below its limit, or an inlet above what could be measured: the efficiency is at least the one given.",
    ),
    (PAIR_LEFT_OUT, "A pair whose inlet may be zero, or whose outlet is zero, was left out."),
    (
        OUTLET_OVERLOADED,
        "An outlet is above what could be measured: the pairs that are left would flatter the filter, so no efficiency is given.",
    ),
    (NO_PAIRS, "No pair can be used."),
    (NO_LIMITS, "Limits need two or more pairs of plain values that are not all the same."),
];

/// The efficiency of what enters a filter, in per cent, rounded to 12 significant digits.
#[derive(Debug, Clone, PartialEq)]
pub struct RemovalEfficiency {
    /// The efficiency; absent without a usable pair.
    pub efficiency_percent: Option<f64>,
    /// Its lower two-sided 95 % limit.
    pub lower_95: Option<f64>,
    /// Its upper two-sided 95 % limit.
    pub upper_95: Option<f64>,
    /// What gets through.
    pub penetration_percent: Option<f64>,
    /// Whether the efficiency is only known to be at least this (`>=`).
    pub at_least: bool,
    /// Why something is absent, or needs care.
    pub flags: Vec<&'static str>,
}

/// The removal efficiency from simultaneous inlet and outlet results in one unit, paired by index.
///
/// # Formula
/// `penetration = exp(mean of ln(outlet / inlet))`, `efficiency = 100 (1 - penetration)` per cent, two-sided limits by
/// `t(0.975, n - 1)` on the logarithms. Hinds, Aerosol Technology, 2nd edition 1999 (from memory).
///
/// ```
/// use doseward::hygiene::efficiency::removal_efficiency;
/// use doseward::model::measured::Measured;
/// // 0.04 and 0.01 get through: the root of their product is 0.02.
/// let found = removal_efficiency(&[100.0, 100.0].map(Measured::Value), &[4.0, 1.0].map(Measured::Value));
/// assert_eq!(found.efficiency_percent, Some(98.0));
/// ```
pub fn removal_efficiency(inlet: &[Measured], outlet: &[Measured]) -> RemovalEfficiency {
    let mut answer = RemovalEfficiency {
        efficiency_percent: None,
        lower_95: None,
        upper_95: None,
        penetration_percent: None,
        at_least: false,
        flags: Vec::new(),
    };
    let mut logs = Vec::new();
    // What speaks against the filter is never dropped in silence.
    if inlet.iter().zip(outlet).any(|(_, outlet)| outlet.upper().is_none()) {
        answer.flags.push(OUTLET_OVERLOADED);
        return answer;
    }
    for (inlet, outlet) in inlet.iter().zip(outlet) {
        match outlet.upper() {
            Some(most) if inlet.lower() > 0.0 && most > 0.0 => {
                answer.at_least |= !(inlet.is_value() && outlet.is_value());
                logs.push((most / inlet.lower()).ln());
            }
            _ if !answer.flags.contains(&PAIR_LEFT_OUT) => answer.flags.push(PAIR_LEFT_OUT),
            _ => {}
        }
    }
    if inlet.len() != outlet.len() && !answer.flags.contains(&PAIR_LEFT_OUT) {
        answer.flags.push(PAIR_LEFT_OUT);
    }
    let Some((n, mean, deviation)) = moments(&logs) else {
        answer.flags.push(NO_PAIRS);
        return answer;
    };
    let efficiency = |ln_penetration: f64| Some(significant(100.0 * (1.0 - ln_penetration.exp())));
    answer.efficiency_percent = efficiency(mean);
    answer.penetration_percent = Some(significant(100.0 * mean.exp()));
    if answer.at_least {
        answer.flags.push(AT_LEAST);
    } else if n > 1.0 && deviation > 1e-12 {
        let half = t_quantile(0.975, n - 1.0) * deviation / n.sqrt();
        answer.lower_95 = efficiency(mean + half).filter(|limit| limit.is_finite());
        answer.upper_95 = efficiency(mean - half);
    } else {
        answer.flags.push(NO_LIMITS);
    }
    answer
}

/// The share that gets through at this efficiency in per cent.
///
/// # Formula
/// `1 - efficiency_percent / 100`, a share. Definition.
///
/// ```
/// use doseward::hygiene::efficiency::penetration;
/// assert_eq!(penetration(75.0), 0.25);
/// ```
pub fn penetration(efficiency_percent: f64) -> f64 {
    1.0 - efficiency_percent / 100.0
}

/// How many times lower the outlet is; `None` where nothing gets through.
///
/// # Formula
/// `1 / penetration`, without unit. Definition.
///
/// ```
/// use doseward::hygiene::efficiency::decontamination_factor;
/// assert_eq!(decontamination_factor(0.002), Some(500.0));
/// ```
pub fn decontamination_factor(penetration: f64) -> Option<f64> {
    (penetration > 0.0).then(|| 1.0 / penetration)
}

/// The penetration of filters one behind the other, from each one's, in order.
///
/// # Formula
/// The product of the shares. Hinds, Aerosol Technology, 2nd edition 1999 (from memory).
///
/// ```
/// use doseward::hygiene::efficiency::penetration_in_series;
/// assert_eq!(penetration_in_series(&[0.5, 0.25]), 0.125);
/// ```
pub fn penetration_in_series(penetrations: &[f64]) -> f64 {
    penetrations.iter().product()
}

/// The reduction in per cent of a concentration lowered `fold` times; `None` unless `fold` is above zero.
///
/// # Formula
/// `100 (1 - 1 / fold)` per cent. Arithmetic.
///
/// ```
/// use doseward::hygiene::efficiency::fold_to_percent;
/// // A fifth is left.
/// assert_eq!(fold_to_percent(5.0), Some(80.0));
/// ```
pub fn fold_to_percent(fold: f64) -> Option<f64> {
    (fold > 0.0).then(|| 100.0 * (1.0 - 1.0 / fold))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // Arithmetic: the mean logarithm of 0.1 and 0.001 is that of 0.01.
    #[test]
    fn penetrations_are_averaged_as_logarithms() {
        let hundred = Measured::Value(100.0);
        let answer = removal_efficiency(&[hundred, hundred], &[Measured::Value(10.0), Measured::Value(0.1)]);
        assert_eq!((answer.efficiency_percent, answer.penetration_percent), (Some(99.0), Some(1.0)));
        assert!(answer.lower_95 < Some(99.0) && answer.upper_95 > Some(99.0));
    }

    #[test]
    fn an_outlet_below_its_limit_makes_it_at_least() {
        let answer = removal_efficiency(&[Measured::Value(100.0)], &[Measured::Below(1.0)]);
        assert_eq!((answer.efficiency_percent, answer.at_least), (Some(99.0), true));
        assert_eq!(answer.flags, [AT_LEAST]);
    }

    // This registry's rule: one outlet above 500 behind an inlet of 100 speaks against the filter, however good the others.
    #[test]
    fn an_overloaded_outlet_leaves_no_efficiency() {
        let inlet = [100.0, 90.0].map(Measured::Value);
        let answer = removal_efficiency(&inlet, &[Measured::Value(0.1), Measured::Above(500.0)]);
        assert_eq!((answer.efficiency_percent, answer.flags), (None, vec![OUTLET_OVERLOADED]));
    }

    #[test]
    fn pairs_that_say_nothing_are_left_out() {
        let answer = removal_efficiency(&[Measured::Below(1.0)], &[Measured::Value(1.0)]);
        assert_eq!(answer.flags, [PAIR_LEFT_OUT, NO_PAIRS]);
        assert_eq!(answer.efficiency_percent, None);
    }

    proptest! {
        #[test]
        fn a_second_filter_never_lets_more_through(first in 0.0..1.0f64, second in 0.0..1.0f64) {
            prop_assert!(penetration_in_series(&[first, second]) <= first.min(second));
        }

        #[test]
        fn neither_unit_nor_order_of_the_pairs_matters_and_nothing_passes_100(
            pairs in prop::collection::vec((1.0..1000.0f64, 0.01..100.0f64), 2..8), factor in 0.001..1000.0f64,
        ) {
            let of = |pairs: &[(f64, f64)], factor: f64| {
                let side = |of: fn(&(f64, f64)) -> f64| pairs.iter().map(|pair| Measured::Value(factor * of(pair))).collect::<Vec<_>>();
                removal_efficiency(&side(|pair| pair.0), &side(|pair| pair.1))
            };
            let turned: Vec<_> = pairs.iter().rev().copied().collect();
            let (one, two) = (of(&pairs, 1.0), of(&turned, factor));
            let (through, again) = (one.penetration_percent.unwrap(), two.penetration_percent.unwrap());
            prop_assert!((through - again).abs() < 1e-9 * through);
            prop_assert!((one.efficiency_percent.unwrap() + through - 100.0).abs() < 1e-9 * (100.0 + through));
            prop_assert!(one.lower_95 <= one.efficiency_percent && one.efficiency_percent <= one.upper_95);
            prop_assert!(one.upper_95.unwrap() <= 100.0);
        }

        #[test]
        fn the_factor_turns_back_into_its_share(share in 1e-6..1.0f64) {
            let fold = decontamination_factor(share).unwrap();
            prop_assert!((penetration(fold_to_percent(fold).unwrap()) - share).abs() < 1e-12);
        }
    }
}
