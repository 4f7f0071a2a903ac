//! What a control did to noise: the difference of mean levels with and without it, and the verdict.

use super::censored::{LogResult, distinct_detected, is_non_detect};
use super::control_effect::{
    ALL_BELOW_WITH, ALL_BELOW_WITHOUT, Effect, EffectMethod, INTERVAL_OPEN, NO_SPREAD, NOT_PAIRS,
    PAIRING_NOT_USED, Verdict,
};
use super::distributions::{t_cdf, t_quantile, t_upper_tail};
use super::level_profile::level_result;
use super::likelihood_ratio::{RatioLikelihood, pair_ratio};
use super::lognormal::moments;
use super::profile::NO_RESULTS;
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;

/// Two independent sides.
pub const WELCH_ON_LEVELS: Formula = Formula {
    formula: "difference = mean level with - mean level without; limits difference -/+ t(0.975, df) se, \
              se^2 = s1^2/n1 + s2^2/n2, df = se^4 / ((s1^2/n1)^2/(n1-1) + (s2^2/n2)^2/(n2-1))",
    source: "Welch, Biometrika 34 (1947) 28-35; Satterthwaite, Biometrics Bulletin 2 (1946) 110-114 \
             (both from memory)",
};

/// Pairs.
pub const PAIRED_ON_LEVELS: Formula = Formula {
    formula: "difference = mean of (level with - level without); limits difference -/+ t(0.975, n-1) s / sqrt(n)",
    source: "Student, Biometrika 6 (1908) 1-25 (paired t; from memory)",
};

/// The probability of the t methods.
pub const LOWERED_PROBABILITY: Formula = Formula {
    formula: "P(difference < 0) = T(-difference / se, df)",
    source: "Box and Tiao, Bayesian Inference in Statistical Analysis, 1973 (flat prior; from memory)",
};

/// The verdict.
pub const LEVEL_VERDICT: Formula = Formula {
    formula: "lowered: interval of the difference wholly below 0 dB; raised: wholly above; no_difference_shown: holds 0 \
              and lies wholly above -3 dB; else undecided",
    source: "this registry's rule",
};

/// The lowering that is looked for, in dB: 3 dB is half the sound energy (our own choice).
pub const LOWERING_LOOKED_FOR: f64 = 3.0;

/// The levels are too few, or too few of them read, for a difference.
pub const TOO_FEW_LEVELS: &str = "too_few_levels";

/// The flags of a level difference beside those of the control effect, with their meaning.
pub const FLAGS: &[(&str, &str)] =
    &[(TOO_FEW_LEVELS, "The levels are too few, or too few of them read, for a difference.")];

/// The difference behind the t methods, for the working.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelContrast {
    /// The mean level with less the one without, dB.
    pub difference: f64,
    /// Its standard error, dB; zero without spread.
    pub standard_error: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
}

/// What a control did to the level, every number rounded to 12 significant digits.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelDifference {
    /// Levels without the control.
    pub n_without: usize,
    /// Levels with it.
    pub n_with: usize,
    /// Levels without the control that are only known to be below something.
    pub n_below_without: usize,
    /// Levels with it that are only known to be below something.
    pub n_below_with: usize,
    /// How they were compared (decibels are logarithms); absent where nothing can be.
    pub method: Option<EffectMethod>,
    /// With less without, dB.
    pub difference: Effect,
    /// The two-sided p value of no difference.
    pub p_value: Option<f64>,
    /// The probability that the level is lower with the control.
    pub probability_lowered: Option<f64>,
    /// The verdict; absent where nothing can be compared.
    pub verdict: Option<Verdict>,
    /// The contrast behind the t methods.
    pub contrast: Option<LevelContrast>,
    /// The common standard deviation in dB behind the profile likelihood.
    pub common_deviation: Option<f64>,
    /// Why something is absent, or needs care.
    pub flags: Vec<&'static str>,
}

/// Compares levels (dBA) without and with a control; pairs by index.
///
/// # Formula
/// Independent: `d = mean(L with) - mean(L without)` dB, limits `d -/+ t(0.975, df) se` (Welch). Pairs: `d` the mean of the
/// differences, limits `d -/+ t(0.975, n - 1) s / sqrt(n)`. With bounds among the levels the profile likelihood with one
/// common standard deviation. Welch, Biometrika 34 (1947) 28-35 (from memory).
///
/// ```
/// use doseward::hygiene::level_difference::level_difference;
/// use doseward::model::measured::Measured;
/// // Pairs 90-85, 92-86, 91-87: -5, -6, -4; mean -5.
/// let (without, with) = ([90.0, 92.0, 91.0].map(Measured::Value), [85.0, 86.0, 87.0].map(Measured::Value));
/// assert_eq!(level_difference(&without, &with, true).difference.estimate, Some(-5.0));
/// ```
pub fn level_difference(without: &[Measured], with: &[Measured], paired: bool) -> LevelDifference {
    let below = |side: &[Measured]| side.iter().filter(|level| is_non_detect(**level)).count();
    let mut found = LevelDifference {
        n_without: without.len(),
        n_with: with.len(),
        n_below_without: below(without),
        n_below_with: below(with),
        method: None,
        difference: Effect::default(),
        p_value: None,
        probability_lowered: None,
        verdict: None,
        contrast: None,
        common_deviation: None,
        flags: Vec::new(),
    };
    if without.is_empty() || with.is_empty() {
        found.flags.push(NO_RESULTS);
        return found;
    }
    let results =
        |side: &[Measured]| side.iter().map(|level| level_result(*level)).collect::<Option<Vec<_>>>();
    let too_little = without.len() < 2 || with.len() < 2 || distinct_detected(without.iter().chain(with)) < 2;
    let (Some(results_without), Some(results_with), false) = (results(without), results(with), too_little)
    else {
        found.flags.push(TOO_FEW_LEVELS);
        return found;
    };
    let pairs = paired && without.len() == with.len();
    if paired && !pairs {
        found.flags.push(NOT_PAIRS);
    }
    if found.n_below_with == with.len() {
        found.flags.push(ALL_BELOW_WITH);
    }
    if found.n_below_without == without.len() {
        found.flags.push(ALL_BELOW_WITHOUT);
    }
    if without.iter().chain(with).all(|level| level.is_value()) {
        let plain = |side: &[Measured]| side.iter().map(|level| level.lower()).collect::<Vec<_>>();
        let (without, with) = (plain(without), plain(with));
        found.method = Some(if pairs { EffectMethod::PairedOnLogs } else { EffectMethod::WelchOnLogs });
        found.fill_contrast(if pairs { paired_contrast(&without, &with) } else { welch(&without, &with) });
    } else {
        found.fill_likelihood(&results_without, &results_with, pairs);
    }
    found
}

impl LevelDifference {
    fn fill_contrast(&mut self, contrast: LevelContrast) {
        let LevelContrast { difference, standard_error, degrees_of_freedom } = contrast;
        self.contrast = Some(contrast);
        let mut interval = Effect { estimate: Some(difference), lower_95: None, upper_95: None };
        if standard_error > 0.0 {
            let half = t_quantile(0.975, degrees_of_freedom) * standard_error;
            interval.lower_95 = Some(difference - half);
            interval.upper_95 = Some(difference + half);
            let t = difference / standard_error;
            self.probability_lowered = Some(significant(t_cdf(-t, degrees_of_freedom)));
            self.p_value = Some(significant(2.0 * t_upper_tail(t.abs(), degrees_of_freedom)));
        } else {
            self.flags.push(NO_SPREAD);
        }
        self.conclude(interval);
    }

    fn fill_likelihood(&mut self, without: &[LogResult], with: &[LogResult], paired: bool) {
        let pairs = paired
            .then(|| without.iter().zip(with).map(|(&one, &two)| pair_ratio(one, two)).collect())
            .and_then(RatioLikelihood::paired);
        if paired && pairs.is_none() {
            self.flags.push(PAIRING_NOT_USED);
        }
        let Some(likelihood) = pairs.or_else(|| RatioLikelihood::unpaired(without.to_vec(), with.to_vec()))
        else {
            return self.flags.push(TOO_FEW_LEVELS);
        };
        self.method = Some(EffectMethod::ProfileLikelihood);
        self.common_deviation = Some(significant(likelihood.common_deviation()));
        self.p_value = likelihood.p_value().map(significant);
        self.probability_lowered = likelihood.probability_below(0.0).map(significant);
        let (lower_95, upper_95) = likelihood.limits_95();
        self.conclude(Effect { estimate: likelihood.estimate(), lower_95, upper_95 });
    }

    /// Turns the interval into figures and a word; an absent end is open.
    fn conclude(&mut self, interval: Effect) {
        let Effect { estimate, lower_95, upper_95 } = interval;
        if lower_95.is_none() || upper_95.is_none() {
            self.flags.push(INTERVAL_OPEN);
        }
        let [estimate, lower_95, upper_95] =
            [estimate, lower_95, upper_95].map(|end| end.filter(|end| end.is_finite()).map(significant));
        self.difference = Effect { estimate, lower_95, upper_95 };
        self.verdict = Some(judge_difference(lower_95, upper_95));
    }
}

/// The word for a two-sided 95 % interval of a difference in dB; an absent end is open.
///
/// # Formula
/// By where the interval (dB) lies to 0 and to -3 dB. This registry's rule.
///
/// ```
/// use doseward::hygiene::control_effect::Verdict;
/// use doseward::hygiene::level_difference::judge_difference;
/// assert_eq!(judge_difference(Some(-6.0), Some(-1.0)), Verdict::Lowered);
/// assert_eq!(judge_difference(Some(-2.0), Some(1.0)), Verdict::NoDifferenceShown);
/// assert_eq!(judge_difference(Some(-4.0), Some(1.0)), Verdict::Undecided);
/// ```
pub fn judge_difference(lower_95: Option<f64>, upper_95: Option<f64>) -> Verdict {
    let lower = significant(lower_95.unwrap_or(f64::NEG_INFINITY));
    let upper = significant(upper_95.unwrap_or(f64::INFINITY));
    if upper < 0.0 {
        Verdict::Lowered
    } else if lower > 0.0 {
        Verdict::Raised
    } else if lower > -LOWERING_LOOKED_FOR {
        Verdict::NoDifferenceShown
    } else {
        Verdict::Undecided
    }
}

/// Count, mean and squared standard error; no spread where all are equal.
fn side(levels: &[f64]) -> (f64, f64, f64) {
    let (n, mean, deviation) = moments(levels).unwrap_or((1.0, 0.0, 0.0));
    let first = levels.first().copied().map(significant);
    let equal = levels.iter().all(|level| Some(significant(*level)) == first);
    (n, mean, if equal { 0.0 } else { deviation * deviation / n })
}

fn welch(without: &[f64], with: &[f64]) -> LevelContrast {
    let ((n_without, mean_without, variance_without), (n_with, mean_with, variance_with)) =
        (side(without), side(with));
    let variance = variance_without + variance_with;
    let lost = variance_without.powi(2) / (n_without - 1.0) + variance_with.powi(2) / (n_with - 1.0);
    LevelContrast {
        difference: mean_with - mean_without,
        standard_error: variance.sqrt(),
        degrees_of_freedom: if lost > 0.0 { variance * variance / lost } else { n_without + n_with - 2.0 },
    }
}

fn paired_contrast(without: &[f64], with: &[f64]) -> LevelContrast {
    let differences: Vec<f64> = without.iter().zip(with).map(|(without, with)| with - without).collect();
    let (n, difference, variance) = side(&differences);
    LevelContrast { difference, standard_error: variance.sqrt(), degrees_of_freedom: n - 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn values(levels: &[f64]) -> Vec<Measured> {
        levels.iter().copied().map(Measured::Value).collect()
    }

    #[track_caller]
    fn near(found: Option<f64>, expected: f64) {
        let found = found.unwrap();
        assert!((found - expected).abs() < 1e-6, "{found} is not {expected}");
    }

    const WITHOUT: [f64; 5] = [91.2, 93.0, 90.1, 92.4, 91.8];
    const WITH: [f64; 5] = [86.0, 88.2, 87.5, 85.9, 88.0];

    // Computed with SciPy 1.17.1: ttest_ind(equal_var=False) with its confidence interval, and t.cdf.
    #[test]
    fn independent_levels_are_compared_by_welch() {
        let found = level_difference(&values(&WITHOUT), &values(&WITH), false);
        near(found.difference.estimate, -4.579_999_999_999);
        near(found.difference.lower_95, -6.196_593_439_083);
        near(found.difference.upper_95, -2.963_406_560_916);
        near(found.p_value, 0.000_181_830_217);
        near(found.probability_lowered, 1.0 - 0.000_181_830_217 / 2.0);
        assert_eq!((found.method, found.verdict), (Some(EffectMethod::WelchOnLogs), Some(Verdict::Lowered)));
        assert_eq!(found.flags.len(), 0);
    }

    // Computed with SciPy 1.17.1: ttest_rel with its confidence interval.
    #[test]
    fn pairs_are_compared_by_their_differences() {
        let found = level_difference(&values(&WITHOUT), &values(&WITH), true);
        near(found.difference.estimate, -4.579_999_999_999);
        near(found.difference.lower_95, -6.405_710_586_415);
        near(found.difference.upper_95, -2.754_289_413_584);
        near(found.p_value, 0.002_233_655_834);
        assert_eq!(found.method, Some(EffectMethod::PairedOnLogs));
    }

    // Computed with SciPy 1.17.1: the likelihood by norm.logpdf and norm.logcdf, minimize and brentq.
    #[test]
    fn a_level_below_80_goes_through_the_likelihood() {
        let mut with = values(&[81.0, 83.2, 82.5]);
        with.push(Measured::Below(80.0));
        let found = level_difference(&values(&[84.0, 86.1, 85.2, 83.3]), &with, false);
        near(found.difference.estimate, -3.137_255_481_953);
        near(found.difference.lower_95, -5.380_554_203_654);
        near(found.difference.upper_95, -1.073_674_674_642);
        near(found.common_deviation, 1.309_558_905_758);
        assert_eq!((found.n_below_with, found.method), (1, Some(EffectMethod::ProfileLikelihood)));
    }

    #[test]
    fn too_little_gives_no_verdict_and_says_why() {
        let flags = |without: &[f64], with: &[f64], paired| {
            let found = level_difference(&values(without), &values(with), paired);
            (found.verdict, found.flags)
        };
        assert_eq!(flags(&[], &[85.0], false), (None, vec![NO_RESULTS]));
        assert_eq!(flags(&[90.0], &[85.0, 86.0], false), (None, vec![TOO_FEW_LEVELS]));
        let open = flags(&[90.0, 90.0], &[85.0, 85.0], false);
        assert_eq!(open, (Some(Verdict::Undecided), vec![NO_SPREAD, INTERVAL_OPEN]));
        assert_eq!(flags(&[90.0, 92.0, 91.0], &[85.0, 86.0], true).1, [NOT_PAIRS]);
        let below = [Measured::Below(80.0), Measured::Below(80.0)];
        let found = level_difference(&values(&[90.0, 92.0, 91.0]), &below, false);
        assert_eq!((found.difference.estimate, found.flags), (None, vec![ALL_BELOW_WITH, INTERVAL_OPEN]));
        assert_eq!(found.verdict, Some(Verdict::Lowered));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn swapping_the_sides_turns_the_sign(
            without in prop::collection::vec(80.0..95.0f64, 3..7), with in prop::collection::vec(75.0..95.0f64, 3..7),
        ) {
            let one = level_difference(&values(&without), &values(&with), false);
            let two = level_difference(&values(&with), &values(&without), false);
            let sum = |one: Option<f64>, two: Option<f64>| (one.unwrap() + two.unwrap()).abs();
            prop_assert!(sum(one.difference.estimate, two.difference.estimate) < 1e-9);
            prop_assert!(sum(one.difference.lower_95, two.difference.upper_95) < 1e-8);
            prop_assert!((one.probability_lowered.unwrap() + two.probability_lowered.unwrap() - 1.0).abs() < 1e-9);
        }
    }
}
