//! What a control did: the ratio of geometric means with and without it, and the verdict.

use super::censored::{LogResult, distinct_detected, is_non_detect};
use super::distributions::{t_cdf, t_quantile, t_upper_tail};
use super::likelihood_ratio::{RatioLikelihood, pair_ratio};
use super::lognormal::moments;
use super::profile::{AWAITS_POSTERIOR, NO_RESULTS, VALUE_NOT_POSITIVE};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;
use crate::words;

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

/// From a ratio to a reduction.
pub const REDUCTION: Formula = Formula {
    formula: "reduction_percent = 100 (1 - ratio), its limits those of the ratio swapped",
    source: "common practice (arithmetic)",
};

/// The reduction in per cent that a ratio of with to without is.
pub fn reduction_percent(ratio: f64) -> f64 {
    100.0 * (1.0 - ratio)
}

/// The verdict.
pub const VERDICT: Formula = Formula {
    formula: "lowered: interval of the ratio wholly below 1; raised: wholly above; no_difference_shown: holds 1 and \
              lies wholly above 1 - target; else undecided. target met: wholly below 1 - target; not_met: wholly above",
    source: "this registry's rule",
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

/// Every flag of a control effect with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (NO_RESULTS, "A side has no result."),
    (VALUE_NOT_POSITIVE, "A result is not above zero, which no log-normal distribution holds."),
    (AWAITS_POSTERIOR, "What needs the posterior distribution is absent."),
    (NO_SPREAD, "The values have no spread, so that there is no interval."),
    (PAIRING_NOT_USED, "The pairs alone cannot tell the spread; the sides were compared as independent."),
    (NOT_PAIRS, "The sides have different numbers of results, so they cannot be pairs."),
    (ALL_BELOW_WITH, "All results with the control are below their limits."),
    (ALL_BELOW_WITHOUT, "All results without the control are below their limits."),
    (INTERVAL_OPEN, "One end of the interval is open."),
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

words! {
    /// What the interval of the ratio says of the control.
    pub enum Verdict {
        /// Exposure was lower with the control.
        Lowered = "lowered",
        /// Exposure was higher with the control.
        Raised = "raised",
        /// The interval holds 1 and rules the target out.
        NoDifferenceShown = "no_difference_shown",
        /// The interval holds 1 and the target.
        Undecided = "undecided",
    }
}

words! {
    /// What the interval of the ratio says of the target reduction.
    pub enum TargetAnswer {
        /// The reduction is at least the target.
        Met = "met",
        /// It is less.
        NotMet = "not_met",
        /// The interval holds the target.
        Unsettled = "unsettled",
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
    /// The verdict; absent while it awaits the posterior.
    pub verdict: Option<Verdict>,
    /// The answer to the target; absent while it awaits the posterior.
    pub target: Option<TargetAnswer>,
    /// The contrast behind the t methods.
    pub contrast: Option<Contrast>,
    /// The common standard deviation of logarithms behind the profile likelihood.
    pub common_deviation: Option<f64>,
    /// Why something is absent, or needs care.
    pub flags: Vec<&'static str>,
}

/// Compares results without and with a control, in one unit; pairs by index.
///
/// `target_reduction_percent` is the reduction asked for, below 100.
pub fn control_effect(
    without: &[Measured],
    with: &[Measured],
    paired: bool,
    target_reduction_percent: f64,
) -> ControlEffect {
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
    let paired = if paired && without.len() != with.len() {
        effect.flags.push(NOT_PAIRS);
        false
    } else {
        paired
    };
    if effect.n_below_with == with.len() {
        effect.flags.push(ALL_BELOW_WITH);
    }
    if effect.n_below_without == without.len() {
        effect.flags.push(ALL_BELOW_WITHOUT);
    }
    let target = (1.0 - target_reduction_percent / 100.0).max(0.0);
    let too_little = without.len() < 2 || with.len() < 2 || distinct_detected(without.iter().chain(with)) < 2;
    let exact = without.iter().chain(with).all(|result| result.is_value());
    if too_little {
        effect.await_posterior();
    } else if exact {
        let (method, contrast) = if paired {
            (EffectMethod::PairedOnLogs, paired_contrast(without, with))
        } else {
            (EffectMethod::WelchOnLogs, welch_contrast(without, with))
        };
        effect.method = Some(method);
        effect.fill_contrast(contrast, target);
    } else {
        effect.fill_likelihood(&log_without, &log_with, paired, target);
    }
    effect
}

impl ControlEffect {
    fn await_posterior(&mut self) {
        self.method = Some(EffectMethod::Posterior);
        self.flags.push(AWAITS_POSTERIOR);
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

    fn fill_likelihood(&mut self, without: &[LogResult], with: &[LogResult], paired: bool, target: f64) {
        let pairs = paired
            .then(|| without.iter().zip(with).map(|(&one, &two)| pair_ratio(one, two)).collect())
            .and_then(RatioLikelihood::paired);
        if paired && pairs.is_none() {
            self.flags.push(PAIRING_NOT_USED);
        }
        let Some(ratio) = pairs.or_else(|| RatioLikelihood::unpaired(without.to_vec(), with.to_vec())) else {
            return self.await_posterior();
        };
        self.method = Some(EffectMethod::ProfileLikelihood);
        self.common_deviation = Some(significant(ratio.common_deviation()));
        self.p_value = ratio.p_value().map(significant);
        self.probability_lowered = ratio.probability_below(0.0).map(significant);
        self.probability_target_met = ratio.probability_below(target.ln()).map(significant);
        let (lower_95, upper_95) = ratio.limits_95();
        self.conclude(Effect { estimate: ratio.estimate(), lower_95, upper_95 }, target);
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

/// The words for a two-sided 95 % interval of with/without; `target` is the ratio that meets the target.
pub fn judge(lower_95: Option<f64>, upper_95: Option<f64>, target: f64) -> (Verdict, TargetAnswer) {
    let lower = significant(lower_95.unwrap_or(0.0));
    let upper = significant(upper_95.unwrap_or(f64::INFINITY));
    let target = significant(target);
    let answer = if upper < target {
        TargetAnswer::Met
    } else if lower > target {
        TargetAnswer::NotMet
    } else {
        TargetAnswer::Unsettled
    };
    let verdict = if upper < 1.0 {
        Verdict::Lowered
    } else if lower > 1.0 {
        Verdict::Raised
    } else if answer == TargetAnswer::NotMet {
        Verdict::NoDifferenceShown
    } else {
        Verdict::Undecided
    };
    (verdict, answer)
}

/// Mean and squared standard error of the logarithms of plain values; no spread where all are equal.
fn log_mean(values: &[f64]) -> (f64, f64, f64) {
    let logs: Vec<f64> = values.iter().map(|value| value.ln()).collect();
    let (n, mean, deviation) = moments(&logs).unwrap_or((1.0, 0.0, 0.0));
    let first = values.first().copied().map(significant);
    let equal = values.iter().all(|value| Some(significant(*value)) == first);
    (n, mean, if equal { 0.0 } else { deviation * deviation / n })
}

fn welch_contrast(without: &[Measured], with: &[Measured]) -> Contrast {
    let plain = |side: &[Measured]| log_mean(&side.iter().map(|result| result.lower()).collect::<Vec<_>>());
    let ((n_without, mean_without, variance_without), (n_with, mean_with, variance_with)) =
        (plain(without), plain(with));
    let variance = variance_without + variance_with;
    let lost = variance_without.powi(2) / (n_without - 1.0) + variance_with.powi(2) / (n_with - 1.0);
    Contrast {
        ln_ratio: mean_with - mean_without,
        standard_error: variance.sqrt(),
        degrees_of_freedom: if lost > 0.0 { variance * variance / lost } else { n_without + n_with - 2.0 },
    }
}

fn paired_contrast(without: &[Measured], with: &[Measured]) -> Contrast {
    let ratios: Vec<f64> =
        without.iter().zip(with).map(|(without, with)| with.lower() / without.lower()).collect();
    let (n, ln_ratio, variance) = log_mean(&ratios);
    Contrast { ln_ratio, standard_error: variance.sqrt(), degrees_of_freedom: n - 1.0 }
}

#[cfg(test)]
mod tests;
