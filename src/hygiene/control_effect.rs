//! What a control did: the ratio of geometric means with and without it, and the verdict.

use super::censored::{LogResult, distinct_detected, is_non_detect};
use super::distributions::{t_cdf, t_quantile, t_upper_tail};
use super::further_samples::{Spread, further_samples};
use super::likelihood_ratio::{RatioLikelihood, pair_ratio};
use super::lognormal::moments;
use super::posterior::{self, PosteriorRatio, Prior, PriorBox, largest_known, settled};
use super::profile::{NO_RESULTS, VALUE_NOT_POSITIVE};
use super::sufficiency::{Levels, Sufficiency, sufficiency};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;
use crate::words;

mod verdict;

pub use verdict::{REDUCTION, TargetAnswer, VERDICT, Verdict, judge, reduction_percent};

/// Two independent sides.
pub const WELCH_ON_LOGS: Formula = Formula {
    formula: "ln ratio = mean ln with - mean ln without; limits ln ratio -/+ t(0.975, df) se, \
              se^2 = s1^2/n1 + s2^2/n2, df = se^4 / ((s1^2/n1)^2/(n1-1) + (s2^2/n2)^2/(n2-1))",
    source: "Welch, Biometrika 34 (1947) 28-35; Satterthwaite, Biometrics Bulletin 2 (1946) 110-114 \
             (both from memory)",
};

/// Pairs.
pub const PAIRED_ON_LOGS: Formula = Formula {
    formula: "ln ratio = mean of ln(with/without); limits ln ratio -/+ t(0.975, n-1) s / sqrt(n)",
    source: "Student, Biometrika 6 (1908) 1-25 (paired t, here on logarithms; from memory)",
};

/// The probabilities of the t methods.
pub const CONTRAST_PROBABILITY: Formula = Formula {
    formula: "P(ln ratio < x) = T((x - ln ratio) / se, df), x = 0 for lowered, ln(1 - target) for the target met",
    source: "Box and Tiao, Bayesian Inference in Statistical Analysis, 1973 (flat prior; from memory)",
};

/// A side without spread leaves no interval.
pub const NO_SPREAD: &str = "no_spread";
/// The pairs alone cannot tell the spread, so the two sides were compared as independent.
pub const PAIRING_NOT_USED: &str = "pairing_not_used";
/// The sides have different numbers of results, so they cannot be pairs.
pub const NOT_PAIRS: &str = "not_pairs";
/// All results with the control are below their limits.
pub const ALL_BELOW_WITH: &str = "all_below_with";
/// All results without the control are below their limits.
pub const ALL_BELOW_WITHOUT: &str = "all_below_without";
/// One end of the interval is open.
pub const INTERVAL_OPEN: &str = "interval_open";
/// The interval by likelihood is too narrow for so few results.
pub const FEW_FOR_LIKELIHOOD: &str = "few_for_likelihood";
/// With fewer results on a side than this an interval by likelihood is flagged.
pub const LIKELIHOOD_ENOUGH: usize = 10;
/// More further samples than can be planned would be needed.
pub const TOO_MANY_FURTHER: &str = "too_many_further_samples";

/// Every flag of a control effect with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (NO_RESULTS, "A side has no result."),
    (VALUE_NOT_POSITIVE, "A result is not above zero, which no log-normal distribution holds."),
    (NO_SPREAD, "The values have no spread, so that there is no interval."),
    (PAIRING_NOT_USED, "The pairs alone cannot tell the spread; the sides were compared as independent."),
    (NOT_PAIRS, "The sides have different numbers of results, so they cannot be pairs."),
    (ALL_BELOW_WITH, "All results with the control are below their limits."),
    (ALL_BELOW_WITHOUT, "All results without the control are below their limits."),
    (INTERVAL_OPEN, "One end of the interval is open."),
    (
        FEW_FOR_LIKELIHOOD,
        "The interval by likelihood holds less often than 95 in 100 times with fewer than ten results on a side.",
    ),
    (
        TOO_MANY_FURTHER,
        "No number of further samples that could be planned would settle it at the present difference and spread, or there is no \
         spread to plan by.",
    ),
];

words! {
    /// How the two sides were compared.
    pub enum EffectMethod {
        /// Welch's t on logarithms.
        WelchOnLogs = "welch_on_logs",
        /// Paired t on logarithms.
        PairedOnLogs = "paired_on_logs",
        /// Profile likelihood, for non-detects.
        ProfileLikelihood = "profile_likelihood",
        /// A posterior distribution, for too few or too little detected values.
        Posterior = "posterior",
    }
}

/// A figure with two-sided 95 % limits, each absent where it cannot be given.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Effect {
    /// The estimate.
    pub estimate: Option<f64>,
    /// The 2.5 % limit.
    pub lower_95: Option<f64>,
    /// The 97.5 % limit.
    pub upper_95: Option<f64>,
}

impl Effect {
    fn map(self, f: impl Fn(f64) -> f64) -> Self {
        let one = |value: Option<f64>| value.map(&f).filter(|value| value.is_finite()).map(significant);
        Self { estimate: one(self.estimate), lower_95: one(self.lower_95), upper_95: one(self.upper_95) }
    }

    /// As a reduction in per cent.
    fn reduction(self) -> Self {
        let turned = Self { estimate: self.estimate, lower_95: self.upper_95, upper_95: self.lower_95 };
        turned.map(reduction_percent)
    }
}

/// The difference of mean logarithms behind the t methods, for the working.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contrast {
    /// The mean logarithm with less the one without.
    pub ln_ratio: f64,
    /// Its standard error; zero without spread.
    pub standard_error: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
}

/// What a control did, every number rounded to 12 significant digits.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlEffect {
    /// Results without the control.
    pub n_without: usize,
    /// Results with it.
    pub n_with: usize,
    /// Results without the control below their limit.
    pub n_below_without: usize,
    /// Results with it below their limit.
    pub n_below_with: usize,
    /// How they were compared; absent where nothing can be.
    pub method: Option<EffectMethod>,
    /// With over without.
    pub ratio_of_geometric_means: Effect,
    /// The reduction.
    pub reduction_percent: Effect,
    /// The two-sided p value of no difference.
    pub p_value: Option<f64>,
    /// The probability that exposure is lower with the control.
    pub probability_lowered: Option<f64>,
    /// The probability that the reduction is at least the target.
    pub probability_target_met: Option<f64>,
    /// The verdict; absent where nothing can be compared.
    pub verdict: Option<Verdict>,
    /// The answer to the target; absent where nothing can be compared.
    pub target: Option<TargetAnswer>,
    /// Whether what remains with the control is below the action level or the limit; absent without a limit.
    pub sufficiency: Option<Sufficiency>,
    /// Further values on each side (further pairs) that would settle an undecided verdict.
    pub further_samples: Option<u32>,
    /// The contrast behind the t methods.
    pub contrast: Option<Contrast>,
    /// The common standard deviation of logarithms behind the profile likelihood or the posterior.
    pub common_deviation: Option<f64>,
    /// Why something is absent, or needs care.
    pub flags: Vec<&'static str>,
}

/// How results are to be compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Question {
    /// Whether the results are pairs by index.
    pub paired: bool,
    /// The reduction asked for, in per cent, below 100.
    pub target_reduction_percent: f64,
    /// The limit and the action level that what remains is put against, in the unit of the results.
    pub levels: Levels,
    /// The limit that the default prior is made from, in the unit of the results.
    pub limit_of_prior: Option<f64>,
    /// The prior of the posterior; left out: the default one.
    pub prior: Option<PriorBox>,
}

impl Question {
    /// Independent sides or pairs and a target, nothing else.
    pub fn new(paired: bool, target_reduction_percent: f64) -> Self {
        Self {
            paired,
            target_reduction_percent,
            levels: Levels::default(),
            limit_of_prior: None,
            prior: None,
        }
    }
}

/// Compares results without and with a control, in one unit.
///
/// # Formula
/// `ln ratio = mean ln with - mean ln without`, limits `-/+ t(0.975, df) se` (Welch), pairs by the logarithms of their
/// ratios; with bounds the profile likelihood, with too little the posterior; ratios without unit. Welch, Biometrika 34
/// (1947) 28-35; Student, Biometrika 6 (1908) 1-25 (both from memory).
///
/// ```
/// use doseward::hygiene::control_effect::{Question, control_effect};
/// use doseward::model::measured::Measured;
/// // 4, 8, 16 and 1, 2, 4: a quarter; 0.25 exp(-/+ 2.776 x 0.566) = 0.052 to 1.203.
/// let (without, with) = ([4.0, 8.0, 16.0].map(Measured::Value), [1.0, 2.0, 4.0].map(Measured::Value));
/// let found = control_effect(&without, &with, &Question::new(false, 50.0)).ratio_of_geometric_means;
/// assert_eq!(found.estimate, Some(0.25));
/// assert!((found.lower_95.unwrap() - 0.052).abs() < 1e-3 && (found.upper_95.unwrap() - 1.203).abs() < 1e-3);
/// ```
pub fn control_effect(without: &[Measured], with: &[Measured], question: &Question) -> ControlEffect {
    let below = |side: &[Measured]| side.iter().filter(|result| is_non_detect(**result)).count();
    let mut effect = ControlEffect {
        n_without: without.len(),
        n_with: with.len(),
        n_below_without: below(without),
        n_below_with: below(with),
        method: None,
        ratio_of_geometric_means: Effect::default(),
        reduction_percent: Effect::default(),
        p_value: None,
        probability_lowered: None,
        probability_target_met: None,
        verdict: None,
        target: None,
        sufficiency: None,
        further_samples: None,
        contrast: None,
        common_deviation: None,
        flags: Vec::new(),
    };
    let logs =
        |side: &[Measured]| side.iter().map(|result| LogResult::of(*result)).collect::<Option<Vec<_>>>();
    if without.is_empty() || with.is_empty() {
        effect.flags.push(NO_RESULTS);
        return effect;
    }
    let (Some(log_without), Some(log_with)) = (logs(without), logs(with)) else {
        effect.flags.push(VALUE_NOT_POSITIVE);
        return effect;
    };
    let paired = if question.paired && without.len() != with.len() {
        effect.flags.push(NOT_PAIRS);
        false
    } else {
        question.paired
    };
    if effect.n_below_with == with.len() {
        effect.flags.push(ALL_BELOW_WITH);
    }
    if effect.n_below_without == without.len() {
        effect.flags.push(ALL_BELOW_WITHOUT);
    }
    let target = (1.0 - question.target_reduction_percent / 100.0).max(0.0);
    let too_little = without.len() < 2 || with.len() < 2 || distinct_detected(without.iter().chain(with)) < 2;
    let exact = without.iter().chain(with).all(|result| result.is_value());
    let logs = Logs { without: &log_without, with: &log_with };
    let mut spread = None;
    if !too_little && exact {
        let (method, (contrast, its_spread)) = if paired {
            (EffectMethod::PairedOnLogs, paired_contrast(without, with))
        } else {
            (EffectMethod::WelchOnLogs, welch_contrast(without, with))
        };
        effect.method = Some(method);
        effect.fill_contrast(contrast, target);
        spread = Some(its_spread);
    } else if !too_little {
        spread = effect.fill_likelihood(logs, paired, target);
    }
    if effect.method.is_none() {
        let largest = largest_known(without).into_iter().chain(largest_known(with)).fold(0.0, f64::max);
        spread = effect.fill_posterior(logs, question, largest, target);
    }
    effect.plan(spread, target);
    if let Some((found, flags)) = sufficiency(with, question.levels, question.prior) {
        effect.sufficiency = Some(found);
        for flag in flags {
            effect.flag(flag);
        }
    }
    effect
}

/// The logarithms of both sides.
#[derive(Clone, Copy)]
struct Logs<'l> {
    without: &'l [LogResult],
    with: &'l [LogResult],
}

impl ControlEffect {
    fn flag(&mut self, flag: &'static str) {
        if !self.flags.contains(&flag) {
            self.flags.push(flag);
        }
    }

    fn fill_contrast(&mut self, contrast: Contrast, target: f64) {
        let Contrast { ln_ratio, standard_error, degrees_of_freedom } = contrast;
        self.contrast = Some(contrast);
        let mut interval = Effect { estimate: Some(ln_ratio), lower_95: None, upper_95: None };
        if standard_error > 0.0 {
            let half = t_quantile(0.975, degrees_of_freedom) * standard_error;
            interval.lower_95 = Some(ln_ratio - half);
            interval.upper_95 = Some(ln_ratio + half);
            let below = |x: f64| significant(t_cdf((x - ln_ratio) / standard_error, degrees_of_freedom));
            self.probability_lowered = Some(below(0.0));
            self.probability_target_met = Some(below(target.ln()));
            let t = (ln_ratio / standard_error).abs();
            self.p_value = Some(significant(2.0 * t_upper_tail(t, degrees_of_freedom)));
        } else {
            self.flags.push(NO_SPREAD);
        }
        self.conclude(interval, target);
    }

    /// Compares by the profile likelihood; leaves everything as it is where the spread cannot be told.
    fn fill_likelihood(&mut self, logs: Logs<'_>, paired: bool, target: f64) -> Option<Spread> {
        let pairs = paired
            .then(|| logs.without.iter().zip(logs.with).map(|(&one, &two)| pair_ratio(one, two)).collect())
            .and_then(RatioLikelihood::paired);
        if paired && pairs.is_none() {
            self.flags.push(PAIRING_NOT_USED);
        }
        let as_pairs = pairs.is_some();
        let ratio = pairs.or_else(|| RatioLikelihood::unpaired(logs.without.to_vec(), logs.with.to_vec()))?;
        let deviation = ratio.common_deviation();
        self.method = Some(EffectMethod::ProfileLikelihood);
        if logs.without.len().min(logs.with.len()) < LIKELIHOOD_ENOUGH {
            self.flags.push(FEW_FOR_LIKELIHOOD);
        }
        self.common_deviation = Some(significant(deviation));
        self.p_value = ratio.p_value().map(significant);
        self.probability_lowered = ratio.probability_below(0.0).map(significant);
        self.probability_target_met = ratio.probability_below(target.ln()).map(significant);
        let (lower_95, upper_95) = ratio.limits_95();
        self.conclude(Effect { estimate: ratio.estimate(), lower_95, upper_95 }, target);
        Some(if as_pairs {
            Spread::Pairs { n: count(logs.with.len()), deviation }
        } else {
            alike(logs, deviation)
        })
    }

    /// Compares by the posterior, which one result on each side suffices for.
    fn fill_posterior(
        &mut self,
        logs: Logs<'_>,
        question: &Question,
        largest: f64,
        target: f64,
    ) -> Option<Spread> {
        let side = |side| settled(side, question.prior, question.limit_of_prior, largest, None);
        let (without, with) = (side(logs.without), side(logs.with));
        for flag in without.iter().chain(&with).flat_map(|one| &one.flags) {
            self.flag(flag);
        }
        // The wider of the two boxes serves both sides.
        let prior = [without?, with?]
            .map(|one| one.prior)
            .into_iter()
            .reduce(|one, two| if two.gm_upper > one.gm_upper { two } else { one })?;
        let Some(ratio) = PosteriorRatio::of(logs.without, logs.with, Prior::Box(prior)) else {
            self.flag(posterior::NO_POSTERIOR);
            return None;
        };
        self.method = Some(EffectMethod::Posterior);
        self.common_deviation = Some(significant(ratio.median_sigma()));
        self.probability_lowered = Some(significant(ratio.below(0.0)));
        self.probability_target_met =
            Some(if target > 0.0 { significant(ratio.below(target.ln())) } else { 0.0 });
        let quantile = |probability| Some(ratio.quantile(probability));
        let interval =
            Effect { estimate: quantile(0.5), lower_95: quantile(0.025), upper_95: quantile(0.975) };
        self.conclude(interval, target);
        Some(alike(logs, ratio.median_sigma()))
    }

    /// How many further values would settle an undecided verdict.
    fn plan(&mut self, spread: Option<Spread>, target: f64) {
        let undecided = self.verdict == Some(Verdict::Undecided);
        let (true, Some(spread), Some(estimate)) =
            (undecided, spread, self.ratio_of_geometric_means.estimate)
        else {
            return;
        };
        self.further_samples = further_samples(estimate.ln(), target.ln(), spread);
        if self.further_samples.is_none() {
            self.flag(TOO_MANY_FURTHER);
        }
    }

    /// Turns the interval of the log ratio into figures and words; an absent end is open.
    fn conclude(&mut self, interval: Effect, target: f64) {
        let ratio = interval.map(f64::exp);
        if ratio.lower_95.is_none() || ratio.upper_95.is_none() {
            self.flags.push(INTERVAL_OPEN);
        }
        let (verdict, answer) = judge(ratio.lower_95, ratio.upper_95, target);
        self.ratio_of_geometric_means = ratio;
        self.reduction_percent = ratio.reduction();
        self.verdict = Some(verdict);
        self.target = Some(answer);
    }
}

/// Mean and squared standard error of the logarithms of plain values; no spread where all are equal.
fn log_mean(values: &[f64]) -> (f64, f64, f64) {
    let logs: Vec<f64> = values.iter().map(|value| value.ln()).collect();
    let (n, mean, deviation) = moments(&logs).unwrap_or((1.0, 0.0, 0.0));
    let first = values.first().copied().map(significant);
    let equal = values.iter().all(|value| Some(significant(*value)) == first);
    (n, mean, if equal { 0.0 } else { deviation * deviation / n })
}

fn welch_contrast(without: &[Measured], with: &[Measured]) -> (Contrast, Spread) {
    let plain = |side: &[Measured]| log_mean(&side.iter().map(|result| result.lower()).collect::<Vec<_>>());
    let ((n_without, mean_without, variance_without), (n_with, mean_with, variance_with)) =
        (plain(without), plain(with));
    let variance = variance_without + variance_with;
    let lost = variance_without.powi(2) / (n_without - 1.0) + variance_with.powi(2) / (n_with - 1.0);
    let contrast = Contrast {
        ln_ratio: mean_with - mean_without,
        standard_error: variance.sqrt(),
        degrees_of_freedom: if lost > 0.0 { variance * variance / lost } else { n_without + n_with - 2.0 },
    };
    let spread = Spread::Sides {
        n_without,
        n_with,
        deviation_without: (variance_without * n_without).sqrt(),
        deviation_with: (variance_with * n_with).sqrt(),
    };
    (contrast, spread)
}

fn paired_contrast(without: &[Measured], with: &[Measured]) -> (Contrast, Spread) {
    let ratios: Vec<f64> =
        without.iter().zip(with).map(|(without, with)| with.lower() / without.lower()).collect();
    let (n, ln_ratio, variance) = log_mean(&ratios);
    let contrast = Contrast { ln_ratio, standard_error: variance.sqrt(), degrees_of_freedom: n - 1.0 };
    (contrast, Spread::Pairs { n, deviation: (variance * n).sqrt() })
}

/// Two sides with one standard deviation.
fn alike(logs: Logs<'_>, deviation: f64) -> Spread {
    Spread::Sides {
        n_without: count(logs.without.len()),
        n_with: count(logs.with.len()),
        deviation_without: deviation,
        deviation_with: deviation,
    }
}

fn count(number: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of results are far below 2^52")]
    let count = number as f64;
    count
}

#[cfg(test)]
mod tests;
