//! Figures with their limits, as several conclusions and calculations show them.

use crate::hygiene::control_effect::{Effect, reduction_percent};
use crate::hygiene::log_linear::AdjustedRatio;
use crate::hygiene::posterior::PriorBox;
use crate::model::rounding::significant;
use crate::model::unit::Unit;
use crate::record;

record! {
    /// A figure with two-sided 95 % limits.
    pub struct EffectView {
        /// The estimate.
        estimate: Option<f64>,
        /// The 2.5 % limit.
        lower_95: Option<f64>,
        /// The 97.5 % limit.
        upper_95: Option<f64>,
    }
}

impl EffectView {
    /// The figure; absent where nothing of it can be given.
    pub fn of(effect: Effect) -> Option<Self> {
        let Effect { estimate, lower_95, upper_95 } = effect;
        (estimate.is_some() || lower_95.is_some() || upper_95.is_some()).then_some(Self {
            estimate,
            lower_95,
            upper_95,
        })
    }
}

record! {
    /// The box that a posterior takes for possible.
    pub struct PriorView {
        /// The least geometric mean.
        gm_lower: f64,
        /// The greatest.
        gm_upper: f64,
        /// The least geometric standard deviation.
        gsd_lower: f64,
        /// The greatest.
        gsd_upper: f64,
        /// The unit of the geometric means.
        unit: Unit,
    }
}

impl PriorView {
    /// A box in a unit.
    pub fn of(prior: PriorBox, unit: Unit) -> Self {
        Self {
            gm_lower: significant(prior.gm_lower),
            gm_upper: significant(prior.gm_upper),
            gsd_lower: prior.gsd_lower,
            gsd_upper: prior.gsd_upper,
            unit,
        }
    }
}

record! {
    /// A posterior percentile.
    pub struct PosteriorPercentileView {
        /// Its median.
        median: f64,
        /// Its 95 % quantile.
        upper_95: f64,
        /// The unit of both.
        unit: Unit,
    }
}

record! {
    /// A posterior mean of a share.
    pub struct PosteriorShareView {
        /// The mean, from 0 to 1.
        mean: f64,
    }
}

record! {
    /// A posterior arithmetic mean.
    pub struct PosteriorMeanView {
        /// Its mean; absent where no number is large enough.
        mean: Option<f64>,
        /// Its 5 % quantile.
        lower_95: f64,
        /// Its 95 % quantile.
        upper_95: f64,
        /// The unit of all three.
        unit: Unit,
    }
}

record! {
    /// What the posterior distribution says of a group.
    pub struct PosteriorView {
        /// What was taken for possible before any result.
        prior: PriorView,
        /// Probabilities that the 95th percentile lies below 1, in 1 to 10, 10 to 50, 50 to 100 and above 100 % of the limit.
        rating_probabilities: Option<Vec<f64>>,
        /// The 95th percentile.
        percentile_95: PosteriorPercentileView,
        /// The share of days above the limit.
        exceedance_fraction: Option<PosteriorShareView>,
        /// The arithmetic mean.
        arithmetic_mean: PosteriorMeanView,
    }
}

record! {
    /// Variances of natural logarithms between and within workers.
    pub struct WorkersView {
        /// Within workers, by sums of squares.
        within: f64,
        /// Between workers, by sums of squares, at least zero.
        between: f64,
        /// Between workers before it is cut at zero.
        between_untruncated: f64,
        /// Within workers, by restricted maximum likelihood.
        reml_within: Option<f64>,
        /// Between workers, by restricted maximum likelihood.
        reml_between: Option<f64>,
        /// The share of the variance that lies between workers.
        intraclass_correlation: Option<f64>,
        /// How many times the 97.5th percentile of workers' geometric means is the 2.5th.
        fold_range: Option<f64>,
        /// The share of workers whose own mean is above the limit.
        share_above_limit: Option<f64>,
    }
}

record! {
    /// How much the logarithm of a result changes per unit of a condition.
    pub struct SlopeView {
        /// The condition.
        name: String,
        /// The change.
        slope: f64,
    }
}

record! {
    /// The comparison at the same conditions.
    pub struct AdjustedView {
        /// With over without.
        ratio_of_geometric_means: EffectView,
        /// The reduction in per cent.
        reduction_percent: EffectView,
        /// Two-sided p value of no difference.
        p_value: f64,
        /// What each condition does.
        covariates: Vec<SlopeView>,
    }
}

impl AdjustedView {
    /// A ratio with the names of its conditions, in their order.
    pub fn of(found: &AdjustedRatio, names: impl Iterator<Item = String>) -> Self {
        let percent = |ratio: f64| Some(significant(reduction_percent(ratio)));
        let AdjustedRatio { ratio, lower_95, upper_95, .. } = *found;
        Self {
            ratio_of_geometric_means: EffectView {
                estimate: Some(ratio),
                lower_95: Some(lower_95),
                upper_95: Some(upper_95),
            },
            reduction_percent: EffectView {
                estimate: percent(ratio),
                lower_95: percent(upper_95),
                upper_95: percent(lower_95),
            },
            p_value: found.p_value,
            covariates: names
                .zip(&found.slopes)
                .map(|(name, slope)| SlopeView { name, slope: *slope })
                .collect(),
        }
    }
}
