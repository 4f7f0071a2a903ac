//! The figures of a profile as people and programs see them, and the steps to them.

use crate::conclusions::figures::{
    PosteriorMeanView, PosteriorPercentileView, PosteriorShareView, PosteriorView, PriorView, WorkersView,
};
use crate::hygiene::en_689::{Outcome, Stage};
use crate::hygiene::profile::{GroupProfile, PosteriorFigures, ProfileMethod, WorkerFigures};
use crate::hygiene::substitution::Substituted;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::unit::Unit;
use crate::record;

record! {
    /// A mean with one-sided 95 % limits.
    pub struct MeanView {
        /// The estimate.
        estimate: f64,
        /// Its lower limit.
        lower_95: Option<f64>,
        /// Its upper limit.
        upper_95: Option<f64>,
        /// The unit of all three.
        unit: Unit,
    }
}

record! {
    /// A percentile with one-sided upper limits.
    pub struct PercentileView {
        /// The estimate.
        estimate: f64,
        /// Its upper limit at 70 % confidence.
        upper_70: Option<f64>,
        /// Its upper limit at 95 % confidence.
        upper_95: Option<f64>,
        /// The unit of all three.
        unit: Unit,
    }
}

record! {
    /// The share of days above the limit, with one-sided limits.
    pub struct ExceedanceView {
        /// The estimate, from 0 to 1.
        estimate: f64,
        /// Its lower limit at 95 % confidence.
        lower_95: Option<f64>,
        /// Its upper limit at 70 % confidence.
        upper_70: Option<f64>,
        /// Its upper limit at 95 % confidence.
        upper_95: Option<f64>,
    }
}

record! {
    /// Whether the logarithms look normal.
    pub struct LognormalFitView {
        /// Shapiro and Wilk's W.
        w: f64,
        /// Its probability.
        p_value: f64,
    }
}

record! {
    /// Whether levels look normal.
    pub struct NormalFitView {
        /// Shapiro and Wilk's W.
        w: f64,
        /// Its probability.
        p_value: f64,
    }
}

record! {
    /// The test of EN 689.
    pub struct En689View {
        /// By how many results it is made.
        stage: Stage,
        /// What it says.
        outcome: Outcome,
    }
}

record! {
    /// What follows when non-detects are replaced by a number.
    pub struct SubstitutedView {
        /// Geometric mean.
        geometric_mean: Quantity,
        /// Geometric standard deviation.
        geometric_standard_deviation: Option<f64>,
        /// Plain mean.
        arithmetic_mean: Quantity,
    }
}

record! {
    /// Both customary substitutions.
    pub struct SubstitutionView {
        /// Half the limit.
        half: SubstitutedView,
        /// The limit over the root of 2.
        root_two: SubstitutedView,
    }
}

record! {
    /// Estimates by robust regression on order statistics.
    pub struct OrderStatisticsView {
        /// Geometric mean.
        geometric_mean: Quantity,
        /// Geometric standard deviation.
        geometric_standard_deviation: f64,
    }
}

record! {
    /// The estimate of Kaplan and Meier.
    pub struct KaplanMeierView {
        /// The mean.
        mean: Quantity,
    }
}

record! {
    /// What the results of one group say.
    pub struct ProfileFigures {
        /// Results.
        n: i64,
        /// How many of them are below their limit.
        n_below: i64,
        /// The largest, with its comparator.
        largest_result: Option<Quantity>,
        /// How the distribution was estimated.
        method: ProfileMethod,
        /// Geometric mean.
        geometric_mean: Option<Quantity>,
        /// Geometric standard deviation.
        geometric_standard_deviation: Option<f64>,
        /// Arithmetic mean.
        arithmetic_mean: Option<MeanView>,
        /// 95th percentile.
        percentile_95: Option<PercentileView>,
        /// Share of days above the limit.
        exceedance_fraction: Option<ExceedanceView>,
        /// Whether the logarithms look normal.
        lognormal_fit: Option<LognormalFitView>,
        /// The test of EN 689.
        en_689: Option<En689View>,
        /// Non-detects replaced by a number, for comparison only.
        substitution: Option<SubstitutionView>,
        /// Robust regression on order statistics.
        order_statistics: Option<OrderStatisticsView>,
        /// Kaplan and Meier.
        kaplan_meier: Option<KaplanMeierView>,
        /// The posterior distribution.
        posterior: Option<PosteriorView>,
        /// Variances between and within workers, where workers are named.
        workers: Option<WorkersView>,
    }
}

impl ProfileFigures {
    /// The figures of a profile whose results are in `unit`.
    pub fn of(profile: &GroupProfile, unit: Unit) -> Self {
        let quantity = |value: f64| Quantity::computed(Measured::Value(value), unit);
        let substituted = |one: &Substituted| SubstitutedView {
            geometric_mean: quantity(one.geometric_mean),
            geometric_standard_deviation: one.geometric_standard_deviation,
            arithmetic_mean: quantity(one.arithmetic_mean),
        };
        Self {
            n: count(profile.n),
            n_below: count(profile.n_below),
            largest_result: profile.largest_result.map(|largest| Quantity::computed(largest, unit)),
            method: profile.method,
            geometric_mean: profile.geometric_mean.map(quantity),
            geometric_standard_deviation: profile.geometric_standard_deviation,
            arithmetic_mean: profile.arithmetic_mean.map(|mean| MeanView {
                estimate: mean.estimate,
                lower_95: mean.lower_95,
                upper_95: mean.upper_95,
                unit,
            }),
            percentile_95: profile.percentile_95.map(|percentile| PercentileView {
                estimate: percentile.estimate,
                upper_70: percentile.upper_70,
                upper_95: percentile.upper_95,
                unit,
            }),
            exceedance_fraction: profile.exceedance_fraction.map(|share| ExceedanceView {
                estimate: share.estimate,
                lower_95: share.lower_95,
                upper_70: share.upper_70,
                upper_95: share.upper_95,
            }),
            lognormal_fit: profile
                .lognormal_fit
                .map(|fit| LognormalFitView { w: fit.w, p_value: fit.p_value }),
            en_689: profile.en_689.map(|test| En689View { stage: test.stage, outcome: test.outcome }),
            substitution: profile.substitution.as_ref().map(|both| SubstitutionView {
                half: substituted(&both.half),
                root_two: substituted(&both.root_two),
            }),
            order_statistics: profile.order_statistics.map(|figures| OrderStatisticsView {
                geometric_mean: quantity(figures.geometric_mean),
                geometric_standard_deviation: figures.geometric_standard_deviation,
            }),
            kaplan_meier: profile.kaplan_meier.map(|mean| KaplanMeierView { mean: quantity(mean) }),
            posterior: profile.posterior.as_ref().map(|figures| posterior(figures, unit)),
            workers: profile.workers.map(workers),
        }
    }
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

fn posterior(figures: &PosteriorFigures, unit: Unit) -> PosteriorView {
    PosteriorView {
        prior: PriorView::of(figures.prior, unit),
        rating_probabilities: figures.rating_probabilities.map(Vec::from),
        percentile_95: PosteriorPercentileView {
            median: figures.percentile_95_median,
            upper_95: figures.percentile_95_upper_95,
            unit,
        },
        exceedance_fraction: figures.exceedance_mean.map(|mean| PosteriorShareView { mean }),
        arithmetic_mean: PosteriorMeanView {
            mean: figures.mean,
            lower_95: figures.mean_lower_95,
            upper_95: figures.mean_upper_95,
            unit,
        },
    }
}

fn workers(figures: WorkerFigures) -> WorkersView {
    WorkersView {
        within: figures.within,
        between: figures.between,
        between_untruncated: figures.between_untruncated,
        reml_within: figures.reml_within,
        reml_between: figures.reml_between,
        intraclass_correlation: figures.intraclass_correlation,
        fold_range: figures.fold_range,
        share_above_limit: figures.share_above_limit,
    }
}
