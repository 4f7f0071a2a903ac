//! What a group's results say: the profile.

use super::censored::{self, Fitted, LogResult, distinct_detected, is_non_detect};
use super::en_689::{self, En689};
use super::kaplan_meier::kaplan_meier;
use super::limits_with_bounds::LimitsWithBounds;
use super::lognormal::LogSample;
use super::order_statistics;
use super::posterior::PriorBox;
use super::shapiro_wilk::{self, shapiro_wilk};
use super::substitution::{self, Divisor, Substituted};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::words;

mod flags;
mod posterior_figures;
mod worker_figures;

pub use flags::*;
pub use posterior_figures::PosteriorFigures;
pub use worker_figures::WorkerFigures;

words! {
    /// How the distribution was estimated.
    pub enum ProfileMethod {
        /// All values detected: closed forms and exact limits.
        Exact = "exact",
        /// Some results are bounds: maximum likelihood.
        MaximumLikelihood = "maximum_likelihood",
        /// Too little for either; only a posterior says something.
        PosteriorOnly = "posterior_only",
        /// Nothing to estimate from.
        None = "none",
    }
}

/// A mean with one-sided 95 % limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanFigure {
    /// The estimate, in the unit of the results.
    pub estimate: f64,
    /// Its lower limit.
    pub lower_95: Option<f64>,
    /// Its upper limit.
    pub upper_95: Option<f64>,
}

/// A percentile with one-sided upper limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PercentileFigure {
    /// The estimate, in the unit of the results.
    pub estimate: f64,
    /// Its upper limit at 70 % confidence.
    pub upper_70: Option<f64>,
    /// Its upper limit at 95 % confidence.
    pub upper_95: Option<f64>,
}

/// The share of days above the limit, with one-sided limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExceedanceFigure {
    /// The estimate, from 0 to 1.
    pub estimate: f64,
    /// Its lower limit at 95 % confidence.
    pub lower_95: Option<f64>,
    /// Its upper limit at 70 % confidence.
    pub upper_70: Option<f64>,
    /// Its upper limit at 95 % confidence.
    pub upper_95: Option<f64>,
}

/// Both customary substitutions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Substitutions {
    /// Half the limit.
    pub half: Substituted,
    /// The limit over the root of 2.
    pub root_two: Substituted,
}

/// A geometric mean and standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GeometricFigures {
    /// In the unit of the results.
    pub geometric_mean: f64,
    /// A bare ratio.
    pub geometric_standard_deviation: f64,
}

/// The profile of a group, every number rounded to 12 significant digits.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupProfile {
    /// How many results.
    pub n: usize,
    /// How many of them are below their limit.
    pub n_below: usize,
    /// The result that may be the largest, with what is known of it.
    pub largest_result: Option<Measured>,
    /// How the distribution was estimated.
    pub method: ProfileMethod,
    /// In the unit of the results.
    pub geometric_mean: Option<f64>,
    /// A bare ratio.
    pub geometric_standard_deviation: Option<f64>,
    /// The arithmetic mean.
    pub arithmetic_mean: Option<MeanFigure>,
    /// The 95th percentile.
    pub percentile_95: Option<PercentileFigure>,
    /// The share of days above the limit.
    pub exceedance_fraction: Option<ExceedanceFigure>,
    /// Shapiro and Wilk's test on the logarithms.
    pub lognormal_fit: Option<shapiro_wilk::Fit>,
    /// The test of EN 689.
    pub en_689: Option<En689>,
    /// The customary substitutions.
    pub substitution: Option<Substitutions>,
    /// Robust regression on order statistics.
    pub order_statistics: Option<GeometricFigures>,
    /// Kaplan-Meier's mean, in the unit of the results.
    pub kaplan_meier: Option<f64>,
    /// The posterior distribution.
    pub posterior: Option<PosteriorFigures>,
    /// Variances between and within workers, where workers are named.
    pub workers: Option<WorkerFigures>,
    /// Why something is absent, or needs care.
    pub flags: Vec<&'static str>,
}

impl GroupProfile {
    /// Before anything is computed of these results.
    pub fn empty(results: &[Measured]) -> Self {
        Self {
            n: results.len(),
            n_below: results.iter().filter(|result| is_non_detect(**result)).count(),
            largest_result: largest_result(results).map(Measured::rounded),
            method: ProfileMethod::None,
            geometric_mean: None,
            geometric_standard_deviation: None,
            arithmetic_mean: None,
            percentile_95: None,
            exceedance_fraction: None,
            lognormal_fit: None,
            en_689: None,
            substitution: None,
            order_statistics: None,
            kaplan_meier: None,
            posterior: None,
            workers: None,
            flags: Vec::new(),
        }
    }

    /// Says so where a mean, a percentile or one of their limits is too large for any number.
    fn flag_what_is_beyond_numbers(&mut self) {
        let mean =
            self.arithmetic_mean.is_some_and(|mean| mean.lower_95.is_some() && mean.upper_95.is_some());
        let percentile = self
            .percentile_95
            .is_some_and(|percentile| percentile.upper_70.is_some() && percentile.upper_95.is_some());
        if !(mean && percentile && self.geometric_standard_deviation.is_some()) {
            self.flag(BEYOND_NUMBERS);
        }
    }

    fn flag(&mut self, flag: &'static str) {
        if !self.flags.contains(&flag) {
            self.flags.push(flag);
        }
    }
}

/// The result that may be the largest: the one with the highest upper end, a detected value before a bound.
///
/// ```
/// use doseward::hygiene::profile::largest_result;
/// use doseward::model::measured::Measured;
/// let results = [Measured::Value(2.0), Measured::Below(3.0)];
/// assert_eq!(largest_result(&results), Some(Measured::Below(3.0)));
/// ```
pub fn largest_result(results: &[Measured]) -> Option<Measured> {
    let reach = |result: &Measured| (result.upper().unwrap_or(f64::INFINITY), result.lower());
    results.iter().copied().reduce(|one, two| if reach(&two) > reach(&one) { two } else { one })
}

/// What a profile is read against; everything may be left out.
#[derive(Debug, Clone, Copy, Default)]
pub struct Against<'a> {
    /// The limit, in the unit of the results.
    pub limit: Option<f64>,
    /// The prior of the posterior; left out: the default one.
    pub prior: Option<PriorBox>,
    /// Who each result is of, as any number that tells workers apart.
    pub workers: Option<&'a [usize]>,
}

impl Against<'_> {
    /// A limit alone.
    pub fn limit(limit: Option<f64>) -> Self {
        Self { limit, ..Self::default() }
    }
}

/// The estimated share of days at or above `level`, without anything else of a profile; `None` where no distribution
/// can be fitted.
///
/// # Formula
/// `1 - Phi((ln level - mu) / sigma)`, a share; level in the unit of the results. NIOSH 77-173, 1977, technical appendix (from
/// memory).
///
/// ```
/// use doseward::hygiene::profile::estimated_exceedance;
/// use doseward::model::measured::Measured;
/// // The geometric mean of 1 and 4 is 2: half of the days.
/// let share = estimated_exceedance(&[1.0, 4.0].map(Measured::Value), 2.0).unwrap();
/// assert!((share - 0.5).abs() < 1e-9);
/// ```
pub fn estimated_exceedance(results: &[Measured], level: f64) -> Option<f64> {
    let logs: Vec<LogResult> = results.iter().map(|result| LogResult::of(*result)).collect::<Option<_>>()?;
    let mut profile = GroupProfile::empty(results);
    fit(&mut profile, results, &logs, Some(level).filter(|level| *level > 0.0));
    profile.exceedance_fraction.map(|share| share.estimate)
}

/// The arithmetic mean with its limits, without anything else of a profile; `None` where no distribution can be fitted.
///
/// # Formula
/// `GM x psi(s^2 / 2)` with Land's limits, with bounds `exp(mu + sigma^2 / 2)`, in the unit of the results. Finney, 1941;
/// Helsel, 2nd edition 2012 (both from memory).
///
/// ```
/// use doseward::hygiene::profile::estimated_mean;
/// use doseward::model::measured::Measured;
/// // Finney's series for 1, 2, 4: 1 + 0.1602 + 0.0064 + 0.0001 = 1.1667, times 2.
/// let found = estimated_mean(&[1.0, 2.0, 4.0].map(Measured::Value)).unwrap();
/// assert!((found.estimate - 2.3334).abs() < 1e-4);
/// ```
pub fn estimated_mean(results: &[Measured]) -> Option<MeanFigure> {
    let logs: Vec<LogResult> = results.iter().map(|result| LogResult::of(*result)).collect::<Option<_>>()?;
    let mut profile = GroupProfile::empty(results);
    fit(&mut profile, results, &logs, None);
    profile.arithmetic_mean
}

/// The estimate of the geometric mean, without anything else of a profile; `None` where no distribution can be fitted.
///
/// # Formula
/// `exp(mean of ln x)`, with bounds `exp(mu)`, in the unit of the results. NIOSH 77-173, 1977 (from memory).
///
/// ```
/// use doseward::hygiene::{censored::LogResult, profile::estimated_geometric_mean};
/// use doseward::model::measured::Measured;
/// let results = [1.0, 4.0].map(Measured::Value);
/// let logs = results.map(|result| LogResult::of(result).unwrap());
/// assert!((estimated_geometric_mean(&results, &logs).unwrap() - 2.0).abs() < 1e-12);
/// ```
pub fn estimated_geometric_mean(results: &[Measured], logs: &[LogResult]) -> Option<f64> {
    if distinct_detected(results) < 2 {
        return None;
    }
    let plain = results.iter().all(|result| result.is_value());
    if plain {
        let exact: Vec<f64> = logs.iter().map(|log| log.ends().0).collect();
        return LogSample::of_logs(&exact).map(|sample| sample.geometric_mean());
    }
    censored::fit(logs).map(|fitted| fitted.geometric_mean())
}

/// Profiles the results of one group, all in one unit, against a limit in that unit.
///
/// # Formula
/// Each figure by the formula that stands beside the function it comes from; results, limit and figures in one unit.
///
/// ```
/// use doseward::hygiene::profile::{Against, ProfileMethod, group_profile};
/// use doseward::model::measured::Measured;
/// // ln 1, ln 2, ln 4: mean ln 2, standard deviation ln 2.
/// let found = group_profile(&[1.0, 2.0, 4.0].map(Measured::Value), &Against::limit(Some(2.0)));
/// assert_eq!((found.method, found.geometric_mean), (ProfileMethod::Exact, Some(2.0)));
/// assert_eq!(found.geometric_standard_deviation, Some(2.0));
/// assert_eq!(found.exceedance_fraction.unwrap().estimate, 0.5);
/// ```
pub fn group_profile(results: &[Measured], against: &Against<'_>) -> GroupProfile {
    let limit = against.limit.filter(|limit| *limit > 0.0);
    let mut profile = GroupProfile::empty(results);
    if results.is_empty() {
        profile.flag(NO_RESULTS);
        return profile;
    }
    let logs: Option<Vec<LogResult>> = results.iter().map(|result| LogResult::of(*result)).collect();
    if let Some(logs) = logs {
        fit(&mut profile, results, &logs, limit);
        rank(&mut profile, results);
        posterior_figures::fill(&mut profile, results, &logs, limit, against.prior);
    } else {
        profile.flag(VALUE_NOT_POSITIVE);
    }
    if let Some(workers) = against.workers {
        worker_figures::fill(&mut profile, results, workers, limit);
    }
    match limit {
        Some(limit) => test_en_689(&mut profile, results, limit),
        None => profile.flag(NO_LIMIT),
    }
    profile
}
/// Fits the distribution where the results allow one.
fn fit(profile: &mut GroupProfile, results: &[Measured], logs: &[LogResult], limit: Option<f64>) {
    let plain = results.iter().all(|result| result.is_value());
    let distinct = distinct_detected(results);
    if distinct >= 2 && plain {
        let exact: Vec<f64> = logs.iter().map(|log| log.ends().0).collect();
        if let Some(sample) = LogSample::of_logs(&exact) {
            return fill_exact(profile, &sample, shapiro_wilk(&exact), limit);
        }
    } else if distinct >= 2
        && let Some(fitted) = censored::fit(logs)
    {
        fill_likelihood(profile, &fitted, LimitsWithBounds::of(logs).as_ref(), limit);
        let bounds = results.iter().filter(|result| !result.is_value());
        let share =
            bounds.fold(0.0, |count, _| count + 1.0) / results.iter().fold(0.0, |count, _| count + 1.0);
        if share > MOST_BOUNDS_SIMULATED {
            profile.flag(MOSTLY_BOUNDS);
        }
        return;
    }
    profile.method = ProfileMethod::PosteriorOnly;
    profile.flag(match (results.len(), distinct) {
        (1, _) => SINGLE_RESULT,
        (_, 0) => NO_DETECTED_RESULTS,
        _ if plain => ALL_EQUAL,
        _ => FEWER_THAN_TWO_DISTINCT_DETECTED,
    });
}

/// A number for the answer: rounded, absent where no double holds it.
fn figure(value: f64) -> Option<f64> {
    value.is_finite().then(|| significant(value))
}

fn fill_exact(
    profile: &mut GroupProfile,
    sample: &LogSample,
    lognormal_fit: Option<shapiro_wilk::Fit>,
    limit: Option<f64>,
) {
    profile.method = ProfileMethod::Exact;
    profile.geometric_mean = figure(sample.geometric_mean());
    profile.geometric_standard_deviation = figure(sample.geometric_standard_deviation());
    profile.arithmetic_mean = figure(sample.arithmetic_mean()).map(|estimate| MeanFigure {
        estimate,
        lower_95: sample.mean_lower(0.95).and_then(figure),
        upper_95: sample.mean_upper(0.95).and_then(figure),
    });
    profile.percentile_95 = figure(sample.percentile(0.95)).map(|estimate| PercentileFigure {
        estimate,
        upper_70: sample.percentile_limit(0.95, 0.70).and_then(figure),
        upper_95: sample.percentile_limit(0.95, 0.95).and_then(figure),
    });
    if profile.arithmetic_mean.is_some_and(|mean| mean.lower_95.is_some_and(|lower| lower > mean.estimate)) {
        profile.flag(MEAN_BELOW_ITS_LIMIT);
    }
    profile.exceedance_fraction = limit.map(|limit| ExceedanceFigure {
        estimate: significant(sample.exceedance(limit)),
        lower_95: figure(sample.exceedance_limit(limit, 0.05)),
        upper_70: figure(sample.exceedance_limit(limit, 0.70)),
        upper_95: figure(sample.exceedance_limit(limit, 0.95)),
    });
    profile.lognormal_fit = lognormal_fit
        .map(|fit| shapiro_wilk::Fit { w: significant(fit.w), p_value: significant(fit.p_value) });
    if profile.lognormal_fit.is_none() {
        profile.flag(FIT_NOT_TESTED);
    }
    profile.flag_what_is_beyond_numbers();
}

fn fill_likelihood(
    profile: &mut GroupProfile,
    fitted: &Fitted,
    limits: Option<&LimitsWithBounds>,
    limit: Option<f64>,
) {
    profile.method = ProfileMethod::MaximumLikelihood;
    profile.geometric_mean = figure(fitted.geometric_mean());
    profile.geometric_standard_deviation = figure(fitted.geometric_standard_deviation());
    profile.arithmetic_mean = figure(fitted.arithmetic_mean()).map(|estimate| MeanFigure {
        estimate,
        lower_95: limits.and_then(|limits| limits.mean_lower_limit(0.95)).and_then(figure),
        upper_95: limits.and_then(|limits| limits.mean_upper_limit(0.95)).and_then(figure),
    });
    let percentile_limit =
        |confidence| limits.and_then(|limits| limits.percentile_limit(0.95, confidence)).and_then(figure);
    profile.percentile_95 = figure(fitted.percentile(0.95)).map(|estimate| PercentileFigure {
        estimate,
        upper_70: percentile_limit(0.70),
        upper_95: percentile_limit(0.95),
    });
    profile.exceedance_fraction = limit.map(|limit| {
        let share_limit =
            |probability| limits.and_then(|limits| figure(limits.exceedance_limit(limit, probability)));
        ExceedanceFigure {
            estimate: significant(fitted.exceedance(limit)),
            lower_95: share_limit(0.05),
            upper_70: share_limit(0.70),
            upper_95: share_limit(0.95),
        }
    });
    leave_out_limits_below_estimates(profile);
    profile.flag_what_is_beyond_numbers();
    profile.flag(FIT_NOT_TESTED);
}

/// With hardly any detected values the limits' prior pulls them below the estimates: such limits say nothing.
fn leave_out_limits_below_estimates(profile: &mut GroupProfile) {
    let mut contradicts = false;
    let mut keep = |limit: &mut Option<f64>, estimate: f64| {
        if limit.is_some_and(|limit| limit < estimate) {
            *limit = None;
            contradicts = true;
        }
    };
    if let Some(mean) = &mut profile.arithmetic_mean {
        keep(&mut mean.upper_95, mean.estimate);
    }
    if let Some(percentile) = &mut profile.percentile_95 {
        keep(&mut percentile.upper_70, percentile.estimate);
        keep(&mut percentile.upper_95, percentile.estimate);
    }
    if let Some(exceedance) = &mut profile.exceedance_fraction {
        keep(&mut exceedance.upper_70, exceedance.estimate);
        keep(&mut exceedance.upper_95, exceedance.estimate);
    }
    if contradicts {
        profile.flag(LIMIT_BELOW_ESTIMATE);
    }
}

/// The estimates by substitution and by ranks.
fn rank(profile: &mut GroupProfile, results: &[Measured]) {
    let rounded = |one: Substituted| Substituted {
        geometric_mean: significant(one.geometric_mean),
        geometric_standard_deviation: one.geometric_standard_deviation.map(significant),
        arithmetic_mean: significant(one.arithmetic_mean),
    };
    let half = substitution::substituted(results, Divisor::Two).map(rounded);
    let root_two = substitution::substituted(results, Divisor::RootTwo).map(rounded);
    profile.substitution = half.zip(root_two).map(|(half, root_two)| Substitutions { half, root_two });
    profile.order_statistics = order_statistics::impute(results)
        .and_then(|imputed| imputed.log_moments())
        .and_then(|(mean, deviation)| figure(mean.exp()).zip(figure(deviation.exp())))
        .map(|(geometric_mean, geometric_standard_deviation)| GeometricFigures {
            geometric_mean,
            geometric_standard_deviation,
        });
    profile.kaplan_meier = kaplan_meier(results).and_then(|estimate| figure(estimate.mean()));
    if results.iter().any(|result| !result.is_value() && !is_non_detect(*result)) {
        profile.flag(RANGES_NOT_RANKED);
    }
}

fn test_en_689(profile: &mut GroupProfile, results: &[Measured], limit: f64) {
    if results.iter().any(|result| {
        is_non_detect(*result) && result.upper().is_some_and(|upper| significant(upper) > significant(limit))
    }) {
        profile.flag(REPORTING_LIMIT_TOO_HIGH);
    }
    if results.len() < en_689::FEWEST_RESULTS {
        profile.flag(TOO_FEW_FOR_EN_689);
    } else if results.len() < en_689::FEWEST_STATISTICAL {
        profile.en_689 = en_689::preliminary(results, limit);
    } else {
        let upper_70 = profile.percentile_95.and_then(|percentile| percentile.upper_70);
        profile.en_689 = upper_70.map(|upper_70| en_689::statistical(upper_70, limit));
        if upper_70.is_none() {
            profile.flag(EN_689_NEEDS_A_FIT);
        }
    }
}

#[cfg(test)]
mod tests;
