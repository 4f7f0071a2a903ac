//! How the results of a group vary between its workers and within one.

use super::GroupProfile;
use crate::hygiene::variance::{
    BETWEEN_BELOW_ZERO, Components, NO_REPEATS, NO_SPREAD_WITHIN, NOT_ALL_DETECTED, components,
};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use std::collections::BTreeMap;

/// Variances of natural logarithms, rounded to 12 significant digits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorkerFigures {
    /// Within workers.
    pub within: f64,
    /// Between workers, at least zero.
    pub between: f64,
    /// Between workers before it is cut at zero.
    pub between_untruncated: f64,
    /// Within workers by restricted maximum likelihood.
    pub reml_within: Option<f64>,
    /// Between workers by restricted maximum likelihood.
    pub reml_between: Option<f64>,
    /// The share of the variance between workers.
    pub intraclass_correlation: Option<f64>,
    /// How many times the 97.5th percentile of workers' geometric means is the 2.5th.
    pub fold_range: Option<f64>,
    /// The share of workers whose own mean is above the limit, by restricted maximum likelihood.
    pub share_above_limit: Option<f64>,
}

/// Fills in the variances; `workers` tells who each result is of.
pub(super) fn fill(profile: &mut GroupProfile, results: &[Measured], workers: &[usize], limit: Option<f64>) {
    let detected: Option<Vec<f64>> = results
        .iter()
        .map(|result| match *result {
            Measured::Value(value) if value > 0.0 && value.is_finite() => Some(value.ln()),
            _ => None,
        })
        .collect();
    let Some(logs) = detected else { return profile.flag(NOT_ALL_DETECTED) };
    let mut by_worker: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
    for (worker, log) in workers.iter().zip(logs) {
        by_worker.entry(*worker).or_default().push(log);
    }
    let Some(found) = components(&by_worker.into_values().collect::<Vec<_>>()) else {
        return profile.flag(NO_REPEATS);
    };
    if found.between_untruncated < 0.0 {
        profile.flag(BETWEEN_BELOW_ZERO);
    }
    if found.reml.is_none() {
        profile.flag(NO_SPREAD_WITHIN);
    }
    profile.workers = Some(figures(&found, limit));
}

fn figures(found: &Components, limit: Option<f64>) -> WorkerFigures {
    WorkerFigures {
        within: significant(found.within),
        between: significant(found.between),
        between_untruncated: significant(found.between_untruncated),
        reml_within: found.reml.map(|reml| significant(reml.within)),
        reml_between: found.reml.map(|reml| significant(reml.between)),
        intraclass_correlation: found.intraclass_correlation.map(significant),
        fold_range: Some(found.fold_range()).filter(|range| range.is_finite()).map(significant),
        share_above_limit: found.reml.and_then(|reml| reml.share_above(limit?)).map(significant),
    }
}
