//! How results vary between workers of a group and within one worker, on logarithms.

use super::distributions::normal_cdf;
use super::lognormal::moments;
use super::roots;
use crate::model::working::Formula;

/// The estimates by sums of squares.
pub const ANOVA: Formula = Formula {
    formula: "within = MSW; between = (MSB - MSW) / n0, at least 0; n0 = (N - sum(n_i^2) / N) / (k - 1), on ln x",
    source: "Searle, Casella and McCulloch, Variance Components, 1992, section 3.6 (from memory)",
};

/// The estimates by restricted maximum likelihood.
pub const REML: Formula = Formula {
    formula: "maximum over within, between >= 0 of -[(N - k) ln within + sum ln(within + n_i between) + ln sum w_i + \
              (SSW / within + sum w_i (ybar_i - mu)^2)] / 2, w_i = n_i / (within + n_i between), mu = sum w_i ybar_i / sum w_i",
    source: "Patterson and Thompson, Biometrika 58 (1971) 545-554 (from memory)",
};

/// What follows from them.
pub const SPREAD_OF_WORKERS: Formula = Formula {
    formula: "intraclass_correlation = between / (between + within); fold_range = exp(3.92 sqrt(between)); share of \
              workers whose mean is above the limit = 1 - Phi((ln limit - mu - within / 2) / sqrt(between))",
    source: "Rappaport, Kromhout and Symanski, American Industrial Hygiene Association Journal 54 (1993) 654-662 \
             (from memory)",
};

/// Only one worker is named, or none was sampled twice.
pub const NO_REPEATS: &str = "workers_not_repeated";
/// The estimate between workers is below zero and counts as zero.
pub const BETWEEN_BELOW_ZERO: &str = "between_workers_below_zero";
/// A result that is no plain value leaves the variances without an answer.
pub const NOT_ALL_DETECTED: &str = "workers_need_detected_values";
/// Workers' own results do not vary.
pub const NO_SPREAD_WITHIN: &str = "no_spread_within_workers";

/// Every flag of the variances with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (NO_REPEATS, "Variances between and within workers need two workers, and one of them sampled twice."),
    (BETWEEN_BELOW_ZERO, "The variance between workers is estimated below zero and counts as zero."),
    (NOT_ALL_DETECTED, "Variances between and within workers are given for detected values only."),
    (NO_SPREAD_WITHIN, "Each worker's results are all the same, so that no likelihood can be made highest."),
];

/// Variances of natural logarithms and what they were made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// How many workers.
    pub groups: f64,
    /// How many results.
    pub observations: f64,
    /// The mean square between workers.
    pub mean_square_between: f64,
    /// The mean square within workers.
    pub mean_square_within: f64,
    /// The effective number of results a worker.
    pub n0: f64,
    /// The variance within workers.
    pub within: f64,
    /// The variance between workers, at least zero.
    pub between: f64,
    /// The same before it is cut at zero.
    pub between_untruncated: f64,
    /// MSB / MSW; absent without spread within workers.
    pub f_ratio: Option<f64>,
    /// The probability of so large a ratio without any difference between workers.
    pub p_value: Option<f64>,
    /// The share of the variance that lies between workers; absent without any variance.
    pub intraclass_correlation: Option<f64>,
    /// Restricted maximum likelihood; absent without spread within workers.
    pub reml: Option<Reml>,
}

/// The restricted maximum-likelihood estimates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reml {
    /// The variance within workers.
    pub within: f64,
    /// The variance between workers.
    pub between: f64,
    /// The mean of the logarithms, each worker weighted by what his results tell.
    pub mean: f64,
}

/// One worker's logarithms in brief.
struct Worker {
    n: f64,
    mean: f64,
    squares: f64,
}

/// The variances of values grouped by worker (on whatever scale they are given); `None` unless there are two workers
/// and one of them has two values.
///
/// # Formula
/// `within = MSW`, `between = (MSB - MSW) / n0`, `n0 = (N - sum(n_i^2) / N) / (k - 1)`, squares of the scale given; N values,
/// k workers, n_i values of one. Searle, Casella and McCulloch, Variance Components, 1992, section 3.6 (from memory).
///
/// ```
/// use doseward::hygiene::variance::components;
/// // Two workers with 1, 3 and 5, 7: MSW = 2, MSB = 16, n0 = 2, between = (16 - 2) / 2 = 7.
/// let found = components(&[vec![1.0, 3.0], vec![5.0, 7.0]]).unwrap();
/// assert!((found.within - 2.0).abs() < 1e-12 && (found.between - 7.0).abs() < 1e-12);
/// ```
pub fn components(workers: &[Vec<f64>]) -> Option<Components> {
    let workers: Vec<Worker> = workers
        .iter()
        .filter(|values| !values.is_empty())
        .map(|values| {
            let (n, mean, deviation) = moments(values)?;
            Some(Worker { n, mean, squares: deviation * deviation * (n - 1.0) })
        })
        .collect::<Option<_>>()?;
    let groups = workers.iter().fold(0.0, |count, _| count + 1.0);
    let observations: f64 = workers.iter().map(|worker| worker.n).sum();
    if groups < 2.0 || observations <= groups {
        return None;
    }
    let grand: f64 = workers.iter().map(|worker| worker.n * worker.mean).sum::<f64>() / observations;
    let between_squares: f64 = workers.iter().map(|worker| worker.n * (worker.mean - grand).powi(2)).sum();
    let within_squares: f64 = workers.iter().map(|worker| worker.squares).sum();
    let (mean_square_between, mean_square_within) =
        (between_squares / (groups - 1.0), within_squares / (observations - groups));
    let squared: f64 = workers.iter().map(|worker| worker.n * worker.n).sum();
    let n0 = (observations - squared / observations) / (groups - 1.0);
    let between_untruncated = (mean_square_between - mean_square_within) / n0;
    let between = between_untruncated.max(0.0);
    let total = between + mean_square_within;
    let f_ratio = (mean_square_within > 0.0).then(|| mean_square_between / mean_square_within);
    Some(Components {
        groups,
        observations,
        mean_square_between,
        mean_square_within,
        n0,
        within: mean_square_within,
        between,
        between_untruncated,
        f_ratio,
        p_value: f_ratio.and_then(|ratio| f_upper_tail(ratio, groups - 1.0, observations - groups)),
        intraclass_correlation: (total > 0.0).then(|| between / total),
        reml: reml(&workers, observations, within_squares),
    })
}

fn f_upper_tail(ratio: f64, numerator: f64, denominator: f64) -> Option<f64> {
    use statrs::distribution::{ContinuousCDF as _, FisherSnedecor};
    FisherSnedecor::new(numerator, denominator).ok().map(|f| f.sf(ratio))
}

/// The restricted likelihood along the ratio of the two variances, with the variance within profiled out.
struct Restricted<'w> {
    workers: &'w [Worker],
    observations: f64,
    within_squares: f64,
}

/// What the restricted likelihood is at one ratio between/within.
struct At {
    ln_likelihood: f64,
    slope: f64,
    mean: f64,
    within: f64,
}

impl Restricted<'_> {
    fn at(&self, ratio: f64) -> At {
        let weight = |worker: &Worker| worker.n / (1.0 + worker.n * ratio);
        let weights: f64 = self.workers.iter().map(weight).sum();
        let mean = self.workers.iter().map(|worker| weight(worker) * worker.mean).sum::<f64>() / weights;
        let (mut spread, mut steepness, mut squared, mut logs) = (0.0, 0.0, 0.0, 0.0);
        for worker in self.workers {
            let (weight, offset) = (weight(worker), (worker.mean - mean).powi(2));
            spread += weight * offset;
            steepness += weight * weight * offset;
            squared += weight * weight;
            logs += (worker.n * ratio).ln_1p();
        }
        let squares = self.within_squares + spread;
        let freedom = self.observations - 1.0;
        At {
            ln_likelihood: -0.5 * (freedom * squares.ln() + logs + weights.ln()),
            slope: 0.5 * (freedom * steepness / squares - weights + squared / weights),
            mean,
            within: squares / freedom,
        }
    }
}

fn reml(workers: &[Worker], observations: f64, within_squares: f64) -> Option<Reml> {
    (within_squares > 0.0).then_some(())?;
    let restricted = Restricted { workers, observations, within_squares };
    // The likelihood may have more than one top: a coarse look over all ratios first. Beyond 1e12 there is no spread
    // within workers that a double could tell.
    let mut ratios = vec![0.0];
    ratios.extend((-48..=48).map(|quarter| 10f64.powf(0.25 * f64::from(quarter))));
    let heights: Vec<f64> = ratios.iter().map(|ratio| restricted.at(*ratio).ln_likelihood).collect();
    let best = (0..ratios.len()).reduce(|one, two| if heights[two] > heights[one] { two } else { one })?;
    let (low, high) = (ratios[best.saturating_sub(1)], *ratios.get(best + 1)?);
    let ratio = if restricted.at(low).slope > 0.0 && restricted.at(high).slope < 0.0 {
        roots::solve(|ratio| restricted.at(ratio).slope, low, high)
    } else {
        // Only at zero can the top lie at an end.
        ratios[best]
    };
    let at = restricted.at(ratio);
    Some(Reml { within: at.within, between: ratio * at.within, mean: at.mean })
}

impl Components {
    /// How many times the 97.5th percentile of workers' geometric means is the 2.5th.
    ///
    /// # Formula
    /// `exp(3.92 sqrt(between))`, a bare ratio; between the variance of `ln x` between workers. Rappaport, Kromhout and Symanski,
    /// American Industrial Hygiene Association Journal 54 (1993) 654-662 (from memory).
    ///
    /// ```
    /// use doseward::hygiene::variance::components;
    /// // Workers with 0, 0 and 1, 2 (in ln): MSW = 0.25, MSB = 2.25, between 1: exp(3.92) = 50.4.
    /// let found = components(&[vec![0.0, 0.0], vec![1.0, 2.0]]).unwrap();
    /// assert!((found.fold_range() - 50.4).abs() < 0.01);
    /// ```
    pub fn fold_range(&self) -> f64 {
        (3.92 * self.between.sqrt()).exp()
    }
}

impl Reml {
    /// The share of workers whose own arithmetic mean is above `limit`; `None` without any variance between them.
    ///
    /// # Formula
    /// `1 - Phi((ln limit - mu - within / 2) / sqrt(between))`, a share; variances of `ln x`, limit in the unit of the results.
    /// Rappaport, Kromhout and Symanski, 1993 (from memory).
    ///
    /// ```
    /// use doseward::hygiene::variance::Reml;
    /// // The limit at exp(mu + within / 2): half of the workers.
    /// let found = Reml { within: 2.0, between: 1.0, mean: 0.0 };
    /// assert!((found.share_above(1f64.exp()).unwrap() - 0.5).abs() < 1e-12);
    /// ```
    pub fn share_above(&self, limit: f64) -> Option<f64> {
        (self.between > 0.0 && limit > 0.0)
            .then(|| normal_cdf(-(limit.ln() - self.mean - 0.5 * self.within) / self.between.sqrt()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn one_worker_or_no_repeat_tells_nothing() {
        assert_eq!(components(&[vec![1.0, 2.0]]), None);
        assert_eq!(components(&[vec![1.0], vec![2.0]]), None);
        let same = components(&[vec![1.0, 1.0], vec![2.0, 2.0]]).unwrap();
        assert_eq!((same.within, same.reml, same.f_ratio), (0.0, None, None));
    }

    // By its symmetry: with means 0 and 2 and plenty within, half of the workers lie above the middle.
    #[test]
    fn the_share_above_is_half_where_the_limit_is_the_mean_of_means() {
        let reml = Reml { within: 0.5, between: 1.0, mean: 0.0 };
        assert!((reml.share_above(0.25f64.exp()).unwrap() - 0.5).abs() < 1e-15);
        assert_eq!(Reml { between: 0.0, ..reml }.share_above(1.0), None);
    }

    proptest! {
        #[test]
        fn balanced_estimates_agree_and_no_unit_matters(
            values in prop::collection::vec(-3.0..3.0f64, 12), shift in -20.0..20.0f64,
        ) {
            let workers: Vec<Vec<f64>> = values.chunks(3).map(<[f64]>::to_vec).collect();
            let moved: Vec<Vec<f64>> = workers.iter().map(|one| one.iter().map(|y| y + shift).collect()).collect();
            let (one, two) = (components(&workers).unwrap(), components(&moved).unwrap());
            prop_assert!((one.between - two.between).abs() < 1e-9 && (one.within - two.within).abs() < 1e-9);
            let reml = one.reml.unwrap();
            if one.between_untruncated > 1e-6 {
                // Searle, Casella and McCulloch, 1992: restricted likelihood equals sums of squares in balanced data.
                prop_assert!((reml.between - one.between).abs() < 1e-7 && (reml.within - one.within).abs() < 1e-7);
            } else if one.between_untruncated < -1e-6 {
                prop_assert!(reml.between == 0.0);
            }
        }
    }
}
