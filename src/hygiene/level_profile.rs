//! What a group's 8-hour levels say: levels in dB are taken as normal, as the logarithms of concentrations are.
//!
//! A level is a logarithm already, so it stands in a [`LogSample`] and a [`LogResult`] as it is.

use super::censored::{self, LogResult, distinct_detected, is_non_detect};
use super::distributions::{normal_quantile, normal_upper_tail, t_quantile};
use super::lognormal::{LogSample, tolerance_factor};
use super::profile::{
    ALL_EQUAL, ExceedanceFigure, FEWER_THAN_TWO_DISTINCT_DETECTED, FIT_NOT_TESTED, MeanFigure,
    NO_DETECTED_RESULTS, NO_LIMIT, NO_RESULTS, PercentileFigure, ProfileMethod, REPORTING_LIMIT_TOO_HIGH,
    SINGLE_RESULT, largest_result,
};
use super::shapiro_wilk::{self, shapiro_wilk};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;

/// The mean level and the standard deviation.
pub const MEAN_LEVEL: Formula = Formula {
    formula: "mean_level = mean of the levels; standard_deviation_level = their standard deviation with n - 1; limits \
              of the mean -/+ t(0.95, n-1) s / sqrt(n)",
    source: "Student, Biometrika 6 (1908) 1-25 (from memory); levels taken as normal in dB: common practice, no source",
};

/// Both where some levels are bounds.
pub const CENSORED_LEVELS: Formula = Formula {
    formula: "maximum over mu, sigma of the product of phi((L - mu)/sigma)/sigma for levels read and \
              Phi((upper - mu)/sigma) - Phi((lower - mu)/sigma) for bounds and ranges; mean_level = mu, \
              standard_deviation_level = sigma, percentile_95 = mu + 1.6449 sigma",
    source: "Helsel, Statistics for Censored Environmental Data, 2nd edition 2012 (on logarithms; from memory)",
};

/// The 95th percentile of levels with its limits.
pub const LEVEL_PERCENTILE: Formula = Formula {
    formula: "percentile_95 = mean_level + 1.6449 s; upper limit = mean_level + K s, \
              K = t'(confidence; n-1, z sqrt(n)) / sqrt(n)",
    source: "Hahn and Meeker, Statistical Intervals, 1991 (from memory)",
};

/// The share of days above a level, with its limits.
pub const LEVEL_EXCEEDANCE: Formula = Formula {
    formula: "exceedance_fraction = 1 - Phi((limit - mean_level) / s); limits e with F(k sqrt(n); n-1, z(1-e) sqrt(n)) = \
              confidence (upper) or 1 - confidence (lower), k = (limit - mean_level) / s",
    source: "Hahn and Meeker, Statistical Intervals, 1991 (from memory)",
};

/// The profile of a group's levels, every number rounded to 12 significant digits.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelProfile {
    /// How many levels.
    pub n: usize,
    /// How many of them are only known to be below something.
    pub n_below: usize,
    /// The level that may be the highest, with what is known of it.
    pub largest: Option<Measured>,
    /// How the distribution was estimated; too little for it is `none`, since nothing else is estimated of levels.
    pub method: ProfileMethod,
    /// The mean level, dBA.
    pub mean_level: Option<MeanFigure>,
    /// The standard deviation, dB.
    pub standard_deviation: Option<f64>,
    /// The 95th percentile, dBA.
    pub percentile_95: Option<PercentileFigure>,
    /// The share of days above the limit.
    pub exceedance_fraction: Option<ExceedanceFigure>,
    /// Shapiro and Wilk's test on the levels.
    pub normal_fit: Option<shapiro_wilk::Fit>,
    /// Why something is absent, or needs care.
    pub flags: Vec<&'static str>,
}

/// A level as the normal distribution takes it; a range that begins at 0 dB or below has no lower end. `None` where it is
/// no number.
pub(super) fn level_result(level: Measured) -> Option<LogResult> {
    let upper = level.upper().unwrap_or(f64::INFINITY);
    let lower = match level {
        Measured::Value(level) => return level.is_finite().then_some(LogResult::Exact(level)),
        Measured::Below(_) => f64::NEG_INFINITY,
        Measured::Above(least) | Measured::Between { lower: least, .. } if least <= 0.0 => f64::NEG_INFINITY,
        Measured::Above(least) | Measured::Between { lower: least, .. } => least,
    };
    (!lower.is_nan() && !upper.is_nan()).then(|| LogResult::within(lower, upper))
}

/// Profiles 8-hour levels (dBA) of one criterion, against a limit in dBA.
///
/// # Formula
/// As for logarithms of concentrations: `mean_level = sum(L) / n`, `s^2 = sum((L - mean_level)^2) / (n - 1)` in dB,
/// `percentile_95 = mean_level + 1.6449 s`; with bounds among the levels maximum likelihood, without n - 1.
/// Hahn and Meeker, Statistical Intervals, 1991 (from memory); normal in dB: common practice, no source.
///
/// ```
/// use doseward::hygiene::level_profile::level_profile;
/// use doseward::model::measured::Measured;
/// // 84, 86 and 88: mean 86, squares 4 + 0 + 4 = 8, over 2 is 4, root 2.
/// let levels = [84.0, 86.0, 88.0].map(Measured::Value);
/// let found = level_profile(&levels, Some(86.0));
/// assert_eq!((found.mean_level.unwrap().estimate, found.standard_deviation), (86.0, Some(2.0)));
/// assert_eq!(found.exceedance_fraction.unwrap().estimate, 0.5);
/// ```
pub fn level_profile(levels: &[Measured], limit: Option<f64>) -> LevelProfile {
    let mut profile = LevelProfile {
        n: levels.len(),
        n_below: levels.iter().filter(|level| is_non_detect(**level)).count(),
        largest: largest_result(levels).map(Measured::rounded),
        method: ProfileMethod::None,
        mean_level: None,
        standard_deviation: None,
        percentile_95: None,
        exceedance_fraction: None,
        normal_fit: None,
        flags: Vec::new(),
    };
    if levels.is_empty() {
        profile.flags.push(NO_RESULTS);
        return profile;
    }
    profile.fit(levels, limit);
    match limit {
        None => profile.flags.push(NO_LIMIT),
        Some(limit) => {
            let too_high = |level: &Measured| {
                is_non_detect(*level)
                    && level.upper().is_none_or(|upper| significant(upper) > significant(limit))
            };
            if levels.iter().any(too_high) {
                profile.flags.push(REPORTING_LIMIT_TOO_HIGH);
            }
        }
    }
    profile
}

impl LevelProfile {
    /// Fits the normal distribution where the levels allow one.
    fn fit(&mut self, levels: &[Measured], limit: Option<f64>) {
        let plain = levels.iter().all(|level| level.is_value());
        let distinct = distinct_detected(levels);
        let results: Option<Vec<LogResult>> = levels.iter().map(|level| level_result(*level)).collect();
        let results = results.filter(|_| distinct >= 2).unwrap_or_default();
        if plain {
            let exact: Vec<f64> = results.iter().map(|result| result.ends().0).collect();
            if let Some(sample) = LogSample::of_logs(&exact) {
                return self.fill_exact(&sample, &exact, limit);
            }
        } else if let Some(fitted) = censored::fit(&results) {
            return self.fill_likelihood(&fitted, limit);
        }
        self.flags.push(match (levels.len(), distinct) {
            (1, _) => SINGLE_RESULT,
            (_, 0) => NO_DETECTED_RESULTS,
            _ if plain => ALL_EQUAL,
            _ => FEWER_THAN_TWO_DISTINCT_DETECTED,
        });
    }

    fn fill_exact(&mut self, sample: &LogSample, levels: &[f64], limit: Option<f64>) {
        let LogSample { n, mean, deviation } = *sample;
        let half = t_quantile(0.95, n - 1.0) * deviation / n.sqrt();
        let percentile = |factor: f64| significant(mean + factor * deviation);
        let upper = |confidence| tolerance_factor(n, 0.95, confidence).map(percentile);
        self.method = ProfileMethod::Exact;
        self.mean_level = Some(MeanFigure {
            estimate: significant(mean),
            lower_95: Some(significant(mean - half)),
            upper_95: Some(significant(mean + half)),
        });
        self.standard_deviation = Some(significant(deviation));
        self.percentile_95 = Some(PercentileFigure {
            estimate: percentile(normal_quantile(0.95)),
            upper_70: upper(0.70),
            upper_95: upper(0.95),
        });
        self.exceedance_fraction = limit.map(|limit| {
            let distance = (limit - mean) / deviation;
            let share = |probability| {
                Some(sample.share_beyond(distance, probability))
                    .filter(|share| share.is_finite())
                    .map(significant)
            };
            ExceedanceFigure {
                estimate: significant(normal_upper_tail(distance)),
                lower_95: share(0.05),
                upper_70: share(0.70),
                upper_95: share(0.95),
            }
        });
        self.normal_fit = shapiro_wilk(levels)
            .map(|fit| shapiro_wilk::Fit { w: significant(fit.w), p_value: significant(fit.p_value) });
        if self.normal_fit.is_none() {
            self.flags.push(FIT_NOT_TESTED);
        }
    }

    fn fill_likelihood(&mut self, fitted: &censored::Fitted, limit: Option<f64>) {
        let (mean, deviation) = (fitted.mu, fitted.sigma);
        self.method = ProfileMethod::MaximumLikelihood;
        self.mean_level = Some(MeanFigure { estimate: significant(mean), lower_95: None, upper_95: None });
        self.standard_deviation = Some(significant(deviation));
        self.percentile_95 = Some(PercentileFigure {
            estimate: significant(mean + normal_quantile(0.95) * deviation),
            upper_70: None,
            upper_95: None,
        });
        self.exceedance_fraction = limit.map(|limit| ExceedanceFigure {
            estimate: significant(normal_upper_tail((limit - mean) / deviation)),
            lower_95: None,
            upper_70: None,
            upper_95: None,
        });
        self.flags.push(FIT_NOT_TESTED);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LEVELS: [f64; 6] = [82.1, 85.4, 84.0, 88.3, 83.2, 86.7];

    fn values(levels: &[f64]) -> Vec<Measured> {
        levels.iter().copied().map(Measured::Value).collect()
    }

    #[track_caller]
    fn near(found: f64, expected: f64) {
        assert!((found - expected).abs() < 1e-6, "{found} is not {expected}");
    }

    // Computed with SciPy 1.17.1: norm, t, nct (brentq) and shapiro.
    #[test]
    fn levels_read_have_exact_limits() {
        let found = level_profile(&values(&LEVELS), Some(90.0));
        let mean = found.mean_level.unwrap();
        near(mean.estimate, 84.95);
        near(mean.lower_95.unwrap(), 83.053_462_276_602);
        near(mean.upper_95.unwrap(), 86.846_537_723_397);
        near(found.standard_deviation.unwrap(), 2.305_428_376_679);
        let percentile = found.percentile_95.unwrap();
        near(percentile.estimate, 88.742_092_227_058);
        near(percentile.upper_70.unwrap(), 89.991_383_886_308);
        near(percentile.upper_95.unwrap(), 93.497_799_169_211);
        let share = found.exceedance_fraction.unwrap();
        near(share.estimate, 0.014_244_639_378);
        near(share.lower_95.unwrap(), 0.000_301_994_524);
        near(share.upper_70.unwrap(), 0.049_693_884_208);
        near(share.upper_95.unwrap(), 0.200_041_062_473);
        let fit = found.normal_fit.unwrap();
        assert!(
            (fit.w - 0.975_850_922_172).abs() < 1e-5 && (fit.p_value - 0.929_173_652_554).abs() < 1e-4,
            "{fit:?}"
        );
        assert_eq!((found.n, found.n_below, found.method), (6, 0, ProfileMethod::Exact));
        assert_eq!((found.largest, found.flags.len()), (Some(Measured::Value(88.3)), 0));
    }

    // Computed with SciPy 1.17.1: CensoredData and norm.fit, polished by minimize (Nelder-Mead).
    #[test]
    fn below_80_is_a_bound_and_the_deviation_has_no_n_minus_1() {
        let mut levels = values(&[82.1, 85.4, 84.0, 88.3]);
        levels.extend([Measured::Below(80.0), Measured::Below(80.0)]);
        let found = level_profile(&levels, Some(85.0));
        near(found.mean_level.unwrap().estimate, 82.433_884_268_380);
        near(found.standard_deviation.unwrap(), 4.191_333_008_666);
        near(found.percentile_95.unwrap().estimate, 89.328_013_569_446);
        near(found.exceedance_fraction.unwrap().estimate, 0.270_188_384_531);
        assert_eq!((found.n_below, found.method), (2, ProfileMethod::MaximumLikelihood));
        assert_eq!(found.flags, [FIT_NOT_TESTED]);
        assert_eq!(level_profile(&levels, Some(79.0)).flags, [FIT_NOT_TESTED, REPORTING_LIMIT_TOO_HIGH]);
    }

    #[test]
    fn too_little_says_why() {
        let flags = |levels: &[Measured]| level_profile(levels, Some(90.0)).flags;
        assert_eq!(flags(&[]), [NO_RESULTS]);
        assert_eq!(flags(&values(&[85.0])), [SINGLE_RESULT]);
        assert_eq!(flags(&values(&[85.0, 85.0])), [ALL_EQUAL]);
        assert_eq!(flags(&[Measured::Below(80.0), Measured::Below(80.0)]), [NO_DETECTED_RESULTS]);
        assert_eq!(
            flags(&[Measured::Value(85.0), Measured::Below(80.0)]),
            [FEWER_THAN_TWO_DISTINCT_DETECTED]
        );
        assert_eq!(level_profile(&values(&[85.0, 86.0]), None).flags, [FIT_NOT_TESTED, NO_LIMIT]);
        assert_eq!(level_profile(&values(&[85.0, 85.0]), Some(90.0)).method, ProfileMethod::None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn everything_moves_with_the_levels_and_forgets_their_order(
            levels in prop::collection::vec(70.0..100.0f64, 3..10), shift in -20.0..20.0f64,
        ) {
            let spread = LogSample::of_logs(&levels).is_some_and(|sample| sample.deviation > 0.1);
            prop_assume!(spread && distinct_detected(&values(&levels)) > 1);
            let moved: Vec<f64> = levels.iter().rev().map(|level| level + shift).collect();
            let (one, two) = (
                level_profile(&values(&levels), Some(90.0)),
                level_profile(&values(&moved), Some(90.0 + shift)),
            );
            let near = |one: f64, two: f64| (one - two).abs() < 1e-7;
            let (mean, moved_mean) = (one.mean_level.unwrap(), two.mean_level.unwrap());
            prop_assert!(near(mean.estimate + shift, moved_mean.estimate));
            prop_assert!(mean.lower_95.unwrap() < mean.estimate && mean.estimate < mean.upper_95.unwrap());
            prop_assert!(near(one.standard_deviation.unwrap(), two.standard_deviation.unwrap()));
            let (share, moved_share) = (one.exceedance_fraction.unwrap(), two.exceedance_fraction.unwrap());
            prop_assert!(near(share.estimate, moved_share.estimate));
            prop_assert!(near(share.upper_95.unwrap(), moved_share.upper_95.unwrap()));
            prop_assert!(share.lower_95.unwrap() <= share.estimate && share.estimate <= share.upper_95.unwrap());
            let percentile = one.percentile_95.unwrap();
            prop_assert!(percentile.upper_70.unwrap() < percentile.upper_95.unwrap());
        }
    }
}
