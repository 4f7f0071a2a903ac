//! The mean behind a dose where too little was detected for an estimate: the posterior mean with its interval.

use crate::hygiene::censored::LogResult;
use crate::hygiene::cumulative::MeanWithLimits;
use crate::hygiene::posterior::{PRIOR_WIDENED, largest_known, settled};
use crate::hygiene::profile::estimated_geometric_mean;
use crate::model::measured::Measured;
use crate::model::rounding::significant;

/// A posterior mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PosteriorMean {
    /// The mean with its 5 and 95 % quantiles.
    pub mean: MeanWithLimits,
    /// Whether the prior was widened, since the results pressed on it.
    pub prior_widened: bool,
}

/// The posterior mean of these results under the default prior for `limit`, widened where they press on it; `None` where
/// they tell nothing, or no number is large enough.
pub fn posterior_mean(results: &[Measured], limit: Option<f64>) -> Option<PosteriorMean> {
    let logs: Vec<LogResult> = results.iter().map(|result| LogResult::of(*result)).collect::<Option<_>>()?;
    let estimate = estimated_geometric_mean(results, &logs);
    let found = settled(&logs, None, limit, largest_known(results)?, estimate)?;
    let quantile = |probability| Some(significant(found.posterior.ln_mean_quantile(probability).exp()));
    Some(PosteriorMean {
        mean: MeanWithLimits {
            estimate: Some(found.posterior.mean()).filter(|mean| mean.is_finite()).map(significant)?,
            lower: quantile(0.05),
            upper: quantile(0.95),
        },
        prior_widened: found.flags.contains(&PRIOR_WIDENED),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    // The rules are this registry's; the numbers are invented.
    #[test]
    fn non_detects_alone_have_a_mean_with_an_interval_and_high_ones_widen_the_prior() {
        let low = posterior_mean(&[Measured::Below(0.1); 4], Some(5.0)).unwrap();
        let MeanWithLimits { estimate, lower, upper } = low.mean;
        assert!(lower < Some(estimate) && Some(estimate) < upper && estimate > 0.0 && estimate < 0.1);
        assert!(!low.prior_widened);
        let high = posterior_mean(&[Measured::Value(80.0)], Some(5.0)).unwrap();
        assert!(high.prior_widened && high.mean.estimate > 25.0);
        assert_eq!(posterior_mean(&[], Some(5.0)), None);
    }
}
