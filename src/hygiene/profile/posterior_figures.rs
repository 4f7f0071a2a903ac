//! What the posterior distribution says of a group.

use super::{GroupProfile, figure};
use crate::hygiene::censored::LogResult;
use crate::hygiene::posterior::{
    NO_POSTERIOR, OUTSIDE_PRIOR, Posterior, Prior, PriorBox, largest_known, pressed,
};
use crate::model::measured::Measured;
use crate::model::rounding::significant;

/// Figures of the posterior, rounded to 12 significant digits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PosteriorFigures {
    /// The prior it was made with, in the unit of the results.
    pub prior: PriorBox,
    /// The probabilities of the five rating bands; absent without a limit, or where the results press on the default
    /// prior.
    pub rating_probabilities: Option<[f64; 5]>,
    /// The median of the 95th percentile, in the unit of the results.
    pub percentile_95_median: f64,
    /// Its 95 % quantile.
    pub percentile_95_upper_95: f64,
    /// The mean share of days above the limit: the chance that a day is; absent without a limit.
    pub exceedance_mean: Option<f64>,
    /// The mean of the arithmetic mean; absent beyond a double.
    pub mean: Option<f64>,
    /// The 5 % quantile of the arithmetic mean.
    pub mean_lower_95: f64,
    /// Its 95 % quantile.
    pub mean_upper_95: f64,
}

/// Fills in the posterior of a profile.
pub(super) fn fill(
    profile: &mut GroupProfile,
    results: &[Measured],
    logs: &[LogResult],
    limit: Option<f64>,
    given: Option<PriorBox>,
) {
    let prior = given.or_else(|| PriorBox::by_default(limit, largest_known(results)));
    let found = prior.and_then(|prior| Some((prior, Posterior::of(logs, Prior::Box(prior))?)));
    let Some((prior, posterior)) = found else {
        profile.flag(NO_POSTERIOR);
        return;
    };
    let outside = pressed(&posterior, prior, profile.geometric_mean);
    if outside {
        profile.flag(OUTSIDE_PRIOR);
    }
    profile.posterior = Some(PosteriorFigures {
        prior: rounded(prior),
        rating_probabilities: limit
            .filter(|_| given.is_some() || !outside)
            .map(|limit| posterior.rating(limit).map(significant)),
        percentile_95_median: significant(posterior.ln_percentile_quantile(0.95, 0.5).exp()),
        percentile_95_upper_95: significant(posterior.ln_percentile_quantile(0.95, 0.95).exp()),
        exceedance_mean: limit.map(|limit| significant(posterior.exceedance(limit))),
        mean: figure(posterior.mean()),
        mean_lower_95: significant(posterior.ln_mean_quantile(0.05).exp()),
        mean_upper_95: significant(posterior.ln_mean_quantile(0.95).exp()),
    });
}

fn rounded(prior: PriorBox) -> PriorBox {
    PriorBox {
        gm_lower: significant(prior.gm_lower),
        gm_upper: significant(prior.gm_upper),
        gsd_lower: significant(prior.gsd_lower),
        gsd_upper: significant(prior.gsd_upper),
    }
}
