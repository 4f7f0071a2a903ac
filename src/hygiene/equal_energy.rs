//! Means of noise by equal energy: 10 dB more is ten times the energy.

use super::censored;
use super::cumulative::MeanWithLimits;
use super::level_profile::level_result;
use super::lognormal::LogSample;
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;
use std::f64::consts::LN_10;

/// The mean of several times.
pub const EQUAL_ENERGY_MEAN: Formula = Formula {
    formula: "equal_energy_mean = 10 log10(sum(years x 10^(level / 10)) / sum(years)), level the energy mean of the daily \
              levels by the 3 dB exchange rate",
    source: "common practice (energy average of levels); ISO 1999:2013 averages days so (from memory)",
};

/// One natural logarithm of energy in dB.
const DB_PER_LN: f64 = 10.0 / LN_10;

/// The energy mean (dBA) of daily levels (dBA) by the 3 dB exchange rate, with one-sided 95 % limits where all were read;
/// `None` where they do not tell one.
///
/// # Formula
/// Energies `10^(L / 10)`, L in dBA, are log-normal where levels are normal, so that their arithmetic mean is that of a log-normal
/// sample: Finney, Journal of the Royal Statistical Society Supplement 7 (1941) 155-161, with Land's limits (both from
/// memory); with bounds among the levels `mu + 0.1151 sigma^2` in dB.
///
/// ```
/// use doseward::hygiene::equal_energy::energy_mean;
/// use doseward::model::measured::Measured;
/// // Equal levels are their own mean; levels that differ have an energy mean above their plain mean.
/// assert_eq!(energy_mean(&[85.0, 85.0].map(Measured::Value)).unwrap().estimate, 85.0);
/// assert!(energy_mean(&[80.0, 90.0].map(Measured::Value)).unwrap().estimate > 85.0);
/// ```
pub fn energy_mean(levels: &[Measured]) -> Option<MeanWithLimits> {
    let level = |ln_energy: f64| Some(significant(DB_PER_LN * ln_energy)).filter(|level| level.is_finite());
    let results: Vec<_> = levels.iter().map(|level| level_result(*level)).collect::<Option<_>>()?;
    if !levels.iter().all(|level| level.is_value()) {
        let fitted = censored::fit(&results)?;
        let mean = fitted.mu + 0.5 * fitted.sigma * fitted.sigma / DB_PER_LN;
        return Some(MeanWithLimits { estimate: significant(mean), lower: None, upper: None });
    }
    let first = significant(levels.first()?.lower());
    if levels.iter().all(|level| significant(level.lower()).total_cmp(&first).is_eq()) {
        return Some(MeanWithLimits { estimate: first, lower: None, upper: None });
    }
    let logs: Vec<f64> = results.iter().map(|result| result.ends().0 / DB_PER_LN).collect();
    let sample = LogSample::of_logs(&logs)?;
    Some(MeanWithLimits {
        estimate: level(sample.mean + sample.mean_factor().ln())?,
        lower: sample.mean_lower(0.95).and_then(|energy| level(energy.ln())),
        upper: sample.mean_upper(0.95).and_then(|energy| level(energy.ln())),
    })
}

/// The mean level (dBA) of times with their energy means (dBA), each with its years; limits where every part has them.
///
/// # Formula
/// `10 log10(sum(years x 10^(L / 10)) / sum(years))` dBA, L the energy mean of a time in dBA, years those worked at it.
/// Common practice; ISO 1999:2013 averages days so (from memory).
///
/// ```
/// use doseward::hygiene::cumulative::MeanWithLimits;
/// use doseward::hygiene::equal_energy::equal_energy_mean;
/// let at = |estimate| MeanWithLimits { estimate, lower: None, upper: None };
/// // One year at 90 and nine at 80 dBA: (10^9 + 9 x 10^8) / 10 = 1.9 x 10^8; 10 log10 of it is 82.7875.
/// let mean = equal_energy_mean(&[(at(90.0), 1.0), (at(80.0), 9.0)]).unwrap();
/// assert!((mean.estimate - 82.7875).abs() < 1e-4);
/// ```
pub fn equal_energy_mean(parts: &[(MeanWithLimits, f64)]) -> Option<MeanWithLimits> {
    let years: f64 = parts.iter().map(|(_, years)| years).sum();
    let mean = |of: fn(&MeanWithLimits) -> Option<f64>| {
        let energies: Option<Vec<f64>> =
            parts.iter().map(|(part, years)| Some(years * 10f64.powf(of(part)? / 10.0))).collect();
        let mean = 10.0 * (energies?.iter().sum::<f64>() / years).log10();
        Some(mean).filter(|mean| mean.is_finite()).map(significant)
    };
    if years.is_nan() || years <= 0.0 {
        return None;
    }
    Some(MeanWithLimits {
        estimate: mean(|part| Some(part.estimate))?,
        lower: mean(|part| part.lower),
        upper: mean(|part| part.upper),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // Computed with SciPy 1.17.1: hyp0f1 for the estimate; censored: CensoredData with norm.fit, polished.
    #[test]
    fn the_energy_mean_is_that_of_log_normal_energies() {
        let levels = [82.1, 85.4, 84.0, 88.3, 83.2, 86.7].map(Measured::Value);
        let mean = energy_mean(&levels).unwrap();
        assert!((mean.estimate - 85.451_658_897).abs() < 1e-6, "{mean:?}");
        assert!(mean.lower.unwrap() < mean.estimate && mean.estimate < mean.upper.unwrap());
        let mut below = [82.1, 85.4, 84.0, 88.3].map(Measured::Value).to_vec();
        below.extend([Measured::Below(80.0), Measured::Below(80.0)]);
        let mean = energy_mean(&below).unwrap();
        assert!((mean.estimate - 84.456_391_245).abs() < 1e-6, "{mean:?}");
        assert_eq!(mean.lower, None);
        assert_eq!(energy_mean(&[Measured::Below(80.0)]), None);
        assert_eq!(energy_mean(&[]), None);
    }

    #[test]
    fn a_part_without_limits_leaves_the_mean_without_them() {
        let part = |lower| MeanWithLimits { estimate: 85.0, lower, upper: Some(87.0) };
        let mean = equal_energy_mean(&[(part(Some(84.0)), 1.0), (part(None), 1.0)]).unwrap();
        assert_eq!((mean.estimate, mean.lower, mean.upper), (85.0, None, Some(87.0)));
        assert_eq!(equal_energy_mean(&[]), None);
    }

    proptest! {
        #[test]
        fn the_mean_lies_between_the_parts_and_never_below_their_plain_mean(
            parts in prop::collection::vec((60.0..110.0f64, 0.1..20.0f64), 1..8),
        ) {
            let given: Vec<_> = parts
                .iter()
                .map(|(level, years)| (MeanWithLimits { estimate: *level, lower: None, upper: None }, *years))
                .collect();
            let mean = equal_energy_mean(&given).unwrap().estimate;
            let years: f64 = parts.iter().map(|part| part.1).sum();
            let plain = parts.iter().map(|part| part.0 * part.1).sum::<f64>() / years;
            let most = parts.iter().map(|part| part.0).fold(0.0, f64::max);
            prop_assert!(plain - 1e-9 <= mean && mean <= most + 1e-9);
        }
    }
}
