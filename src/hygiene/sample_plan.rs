//! How long to sample, how much air to draw, and how many workers to sample.

use crate::model::rounding::significant;
use crate::model::working::Formula;

/// The least air.
pub const MINIMUM_VOLUME: Formula = Formula {
    formula: "minimum_volume = reporting_limit_mass / (fraction_of_limit x limit), minimum_minutes = minimum_volume / flow",
    source: "NIOSH Manual of Analytical Methods, 5th edition, chapter on general considerations for sampling (from memory)",
};

/// What one sample can reach.
pub const WORKING_RANGE: Formula = Formula {
    formula: "lowest concentration = lowest mass / volume, highest = highest mass / volume",
    source: "NIOSH Manual of Analytical Methods, working range on a method's front page",
};

/// What a concentration leaves on a filter.
pub const MASS_DRAWN: Formula = Formula {
    formula: "mass = concentration x volume",
    source: "NIOSH Manual of Analytical Methods, working range on a method's front page (concentration = mass / volume)",
};

/// When a filter is full.
pub const OVERLOAD: Formula = Formula {
    formula: "minutes = highest filter loading / (dust concentration x flow)",
    source: "common practice (arithmetic)",
};

/// The exact number of workers.
pub const WORKERS_TO_SAMPLE: Formula = Formula {
    formula: "smallest n with P(none of the top K among n of N) = C(N-K, n) / C(N, n) <= 1 - confidence, \
              K = ceil(top_fraction x N)",
    source: "hypergeometric distribution: Johnson, Kemp and Kotz, Univariate Discrete Distributions, 3rd edition 2005 \
             (from memory)",
};

/// The number that the handbook's approximation gives.
pub const HANDBOOK_WORKERS: Formula = Formula {
    formula: "n = (1 - (1 - confidence)^(1/N0)) (N - (N0 - 1)/2), N0 = top_fraction x N, to the nearest whole number",
    source: "Leidel, Busch and Lynch, NIOSH 77-173, 1977, technical appendix A (from memory)",
};

/// The handbook's approximation gives another number of workers.
pub const HANDBOOK_DIFFERS: &str = "handbook_differs";

/// Every flag of a sampling plan with its meaning.
pub const FLAGS: &[(&str, &str)] = &[(
    HANDBOOK_DIFFERS,
    "The handbook's approximation gives another number of workers, which stands beside the exact one.",
)];

/// The least volume in litres on which a mass of `reporting_limit` (µg) can be told at `fraction` of a limit in mg/m3;
/// `None` unless all are above zero.
///
/// # Formula
/// `reporting_limit / (fraction x limit)` L: ug over mg/m3 (ug/L). NIOSH Manual of Analytical Methods, 5th edition (from
/// memory).
///
/// ```
/// use doseward::hygiene::sample_plan::minimum_volume_litres;
/// // 0.05 ug over a tenth of 5 ug/m3: 0.05 / 0.5 = 0.1 m3 = 100 L.
/// assert_eq!(minimum_volume_litres(0.05, 0.005, 0.1), Some(100.0));
/// ```
pub fn minimum_volume_litres(reporting_limit: f64, limit: f64, fraction: f64) -> Option<f64> {
    // 1 mg/m3 is 1 ug/L.
    (reporting_limit > 0.0 && limit > 0.0 && fraction > 0.0)
        .then(|| significant(reporting_limit / (fraction * limit)))
}

/// The minutes that draw `volume` litres at `flow` L/min; `None` unless the flow is above zero.
///
/// # Formula
/// `volume / flow` min: L over L/min. Arithmetic.
///
/// ```
/// use doseward::hygiene::sample_plan::minutes_for;
/// assert_eq!(minutes_for(100.0, 2.0), Some(50.0));
/// ```
pub fn minutes_for(volume: f64, flow: f64) -> Option<f64> {
    (flow > 0.0).then(|| significant(volume / flow))
}

/// The concentration in mg/m3 of a mass in µg on a volume in litres; `None` unless the volume is above zero.
///
/// # Formula
/// `mass / volume` mg/m3: ug over L. NIOSH Manual of Analytical Methods, working range.
///
/// ```
/// use doseward::hygiene::sample_plan::lowest_concentration;
/// assert_eq!(lowest_concentration(0.05, 100.0), Some(0.0005));
/// ```
pub fn lowest_concentration(mass: f64, volume: f64) -> Option<f64> {
    (volume > 0.0).then(|| significant(mass / volume))
}

/// The mass in µg that air of a concentration in mg/m3 leaves on a filter from a volume in litres; `None` unless the
/// volume is above zero and the concentration not below it.
///
/// ```
/// use doseward::hygiene::sample_plan::{lowest_concentration, mass_drawn};
/// // 0.5 mg/m3 is 0.5 ug/L: 100 ug from 200 L, and back again.
/// assert_eq!(mass_drawn(0.5, 200.0), Some(100.0));
/// assert_eq!(lowest_concentration(100.0, 200.0), Some(0.5));
/// ```
pub fn mass_drawn(concentration: f64, volume: f64) -> Option<f64> {
    (volume > 0.0 && concentration >= 0.0).then(|| significant(concentration * volume))
}

/// The minutes after which a filter holds `most` (mg) in air with `dust` (mg/m3) at `flow` (L/min); `None` unless dust
/// and flow are above zero.
///
/// # Formula
/// `most / (dust x flow / 1000)` min: mg over mg/m3 times m3/min. Arithmetic.
///
/// ```
/// use doseward::hygiene::sample_plan::overload_minutes;
/// // 2 mg / (5 mg/m3 x 0.002 m3/min)
/// assert_eq!(overload_minutes(2.0, 5.0, 2.0), Some(200.0));
/// ```
pub fn overload_minutes(most: f64, dust: f64, flow: f64) -> Option<f64> {
    (dust > 0.0 && flow > 0.0).then(|| significant(most / (dust * flow / 1000.0)))
}

/// How many samples of at most `longest` minutes cover `minutes`; `None` unless both are above zero.
///
/// # Formula
/// `minutes / longest`, rounded up, both in min. Arithmetic.
///
/// ```
/// use doseward::hygiene::sample_plan::samples_to_cover;
/// assert_eq!(samples_to_cover(480.0, 200.0), Some(3.0));
/// ```
pub fn samples_to_cover(minutes: f64, longest: f64) -> Option<f64> {
    (minutes > 0.0 && longest > 0.0).then(|| significant(minutes / longest).ceil())
}

/// Workers to sample, exactly and by the handbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WorkersToSample {
    /// How many are among the top.
    pub top: u32,
    /// How many to sample.
    pub exact: u32,
    /// How many the handbook's approximation says.
    pub handbook: u32,
}

/// How many of `group_size` workers to sample so that with this confidence one of the top fraction is among them; `None`
/// unless the group has someone and both fractions lie between 0 and 1.
///
/// # Formula
/// The smallest n with `C(N - K, n) / C(N, n) <= 1 - confidence`, `K = ceil(top_fraction x N)`, all counts of workers.
/// Hypergeometric distribution: Johnson, Kemp and Kotz, 3rd edition 2005 (from memory).
///
/// ```
/// use doseward::hygiene::sample_plan::workers_to_sample;
/// // Of ten the top tenth is one: nine of ten hold him with 90 % confidence.
/// assert_eq!(workers_to_sample(10, 0.9, 0.1).unwrap().exact, 9);
/// ```
pub fn workers_to_sample(group_size: u32, confidence: f64, top_fraction: f64) -> Option<WorkersToSample> {
    let sound = |share: f64| share > 0.0 && share < 1.0;
    if group_size == 0 || !sound(confidence) || !(top_fraction > 0.0 && top_fraction <= 1.0) {
        return None;
    }
    let size = f64::from(group_size);
    // As decimals: a tenth of 30 is 3, not a little more.
    let top_exactly = significant(top_fraction * size);
    let top = top_exactly.ceil().max(1.0);
    let missed_most = significant(1.0 - confidence);
    // P(none among n + 1) = P(none among n) (N - K - n) / (N - n).
    let (mut missed, mut drawn) = (1.0, 0.0);
    let mut exact = 0;
    // One at least: a confidence next to nothing is more than none.
    while (exact == 0 || significant(missed) > missed_most) && drawn < size {
        missed *= (size - top - drawn).max(0.0) / (size - drawn);
        drawn += 1.0;
        exact += 1;
    }
    let handbook = (1.0 - missed_most.powf(1.0 / top_exactly)) * (size - 0.5 * (top_exactly - 1.0));
    Some(WorkersToSample { top: whole(top), exact, handbook: whole(handbook.round().clamp(1.0, size)) })
}

/// A count that was made in floating point.
fn whole(count: f64) -> u32 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 0 and a group's size"
    )]
    let whole = count as u32;
    whole
}

/// How many workers of a very large group.
pub const WORKERS_OF_MANY: Formula = Formula {
    formula: "n = ln(1 - confidence) / ln(1 - top_fraction), rounded up",
    source: "Leidel, Busch and Lynch, NIOSH 77-173, 1977, technical appendix A (from memory)",
};

/// The same for a group without end; `None` unless both fractions lie between 0 and 1.
///
/// # Formula
/// `ln(1 - confidence) / ln(1 - top_fraction)`, rounded up. NIOSH 77-173, 1977, technical appendix A (from memory).
///
/// ```
/// use doseward::hygiene::sample_plan::workers_of_many;
/// // 2.303 / 0.1054 = 21.9
/// assert_eq!(workers_of_many(0.9, 0.1), Some(22.0));
/// ```
pub fn workers_of_many(confidence: f64, top_fraction: f64) -> Option<f64> {
    let sound = |share: f64| share > 0.0 && share < 1.0;
    (sound(confidence) && sound(top_fraction))
        .then(|| significant((-confidence).ln_1p() / (-top_fraction).ln_1p()).ceil())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // By definition: with nobody sampled nobody of the top is among them, whatever little confidence is asked for.
    #[test]
    fn somebody_is_sampled_however_little_confidence_is_asked_for() {
        for confidence in [1e-9, 1e-20, 1e-100] {
            let found = workers_to_sample(20, confidence, 0.1).unwrap();
            assert_eq!((found.exact, found.handbook), (1, 1));
        }
    }

    // Leidel, Busch and Lynch, NIOSH 77-173, 1977, table 3.1 (top 10 % with 90 % confidence, from memory): 18-20: 13,
    // 30-37: 16, 50: 18; the exact number for 20 is 14.
    #[test]
    fn the_handbook_is_shown_where_it_differs() {
        let of = |size| workers_to_sample(size, 0.9, 0.1).unwrap();
        assert_eq!((of(20).handbook, of(20).exact), (13, 14));
        assert_eq!((of(30).handbook, of(50).handbook), (16, 18));
        assert_eq!(of(1), WorkersToSample { top: 1, exact: 1, handbook: 1 });
        assert_eq!(workers_to_sample(0, 0.9, 0.1), None);
        assert_eq!(workers_to_sample(10, 1.0, 0.1), None);
    }

    #[test]
    fn no_air_and_less_than_nothing_leave_no_mass() {
        assert_eq!(
            (mass_drawn(0.5, 0.0), mass_drawn(-0.1, 200.0), mass_drawn(f64::NAN, 200.0)),
            (None, None, None)
        );
        assert_eq!(mass_drawn(0.0, 200.0), Some(0.0));
    }

    proptest! {
        #[test]
        fn the_mass_of_the_lowest_concentration_is_the_lowest_mass(mass in 0.001..1e4f64, volume in 1.0..3000.0f64) {
            let back = mass_drawn(lowest_concentration(mass, volume).unwrap(), volume).unwrap();
            prop_assert!((back - mass).abs() <= 1e-11 * mass);
        }

        #[test]
        fn more_confidence_never_asks_for_fewer(size in 1u32..400, top in 0.02..0.9f64, confidence in 0.5..0.98f64) {
            let (one, two) =
                (workers_to_sample(size, confidence, top).unwrap(), workers_to_sample(size, confidence + 0.01, top).unwrap());
            prop_assert!(one.exact <= two.exact && two.exact <= size);
        }

        #[test]
        fn the_least_air_is_that_of_the_least_concentration(mass in 0.001..10.0f64, limit in 0.001..10.0f64, flow in 0.1..10.0f64) {
            let volume = minimum_volume_litres(mass, limit, 0.1).unwrap();
            prop_assert!((lowest_concentration(mass, volume).unwrap() - 0.1 * limit).abs() < 1e-10 * limit);
            let (one, two) = (minutes_for(volume, flow).unwrap(), minutes_for(volume, 2.0 * flow).unwrap());
            prop_assert!((one - 2.0 * two).abs() < 1e-10 * one);
        }

        #[test]
        fn a_group_without_end_asks_for_no_fewer(size in 1u32..300, top in 0.02..0.9f64, confidence in 0.5..0.98f64) {
            let exact = workers_to_sample(size, confidence, top).unwrap().exact;
            prop_assert!(f64::from(exact) <= workers_of_many(confidence, top).unwrap());
        }
    }
}
