//! The steps from results to the figures of a profile.

use crate::hygiene::censored::{CENSORED_ESTIMATES, CENSORED_LIKELIHOOD};
use crate::hygiene::en_689::{PRELIMINARY, STATISTICAL, Stage};
use crate::hygiene::kaplan_meier::KAPLAN_MEIER;
use crate::hygiene::land::LAND_LIMIT;
use crate::hygiene::limits_with_bounds::LIMITS_WITH_BOUNDS;
use crate::hygiene::lognormal::{
    ARITHMETIC_MEAN, EXCEEDANCE, EXCEEDANCE_LIMIT, GEOMETRIC_MEAN, GEOMETRIC_STANDARD_DEVIATION,
    PERCENTILE_95, PERCENTILE_LIMIT,
};
use crate::hygiene::order_statistics::ORDER_STATISTICS;
use crate::hygiene::posterior::{POSTERIOR, PREDICTIVE, PRIOR_BOX, RATING};
use crate::hygiene::profile::{GroupProfile, ProfileMethod};
use crate::hygiene::shapiro_wilk::SHAPIRO_WILK;
use crate::hygiene::substitution::SUBSTITUTION;
use crate::hygiene::variance::{ANOVA, REML, SPREAD_OF_WORKERS};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::working::{Formula, Step};
use serde_json::{Value, json};

/// The steps of a profile.
pub fn profile_steps(
    profile: &GroupProfile,
    results: &[Measured],
    unit: Unit,
    limit: Option<f64>,
) -> Vec<Step> {
    let mut steps = Steps { unit, steps: Vec::new() };
    let listed: Vec<Value> =
        results.iter().map(|result| Quantity::computed(*result, unit).to_json()).collect();
    let inputs = json!({"results": listed});
    if let (Some(mean), Some(deviation)) = (profile.geometric_mean, profile.geometric_standard_deviation) {
        steps.of_distribution(profile, (mean, deviation), &inputs, limit);
    }
    steps.of_ranks(profile, &inputs);
    steps.of_posterior(profile, &inputs, limit);
    if let Some(workers) = profile.workers {
        let anova = json!({"within": workers.within, "between": workers.between,
            "between_untruncated": workers.between_untruncated});
        steps.push("variances by sums of squares", ANOVA, inputs.clone(), anova.clone());
        let reml = json!({"within": workers.reml_within, "between": workers.reml_between});
        steps.push("variances by restricted maximum likelihood", REML, inputs, reml);
        let spread = json!({"intraclass_correlation": workers.intraclass_correlation, "fold_range": workers.fold_range,
            "share_above_limit": workers.share_above_limit});
        steps.push("spread between workers", SPREAD_OF_WORKERS, anova, spread);
    }
    steps.steps
}

struct Steps {
    unit: Unit,
    steps: Vec<Step>,
}

impl Steps {
    fn push(&mut self, step: &str, formula: Formula, inputs: Value, result: Value) {
        self.steps.push(Step::new(step, formula, inputs, result));
    }

    fn quantity(&self, value: f64) -> Value {
        Quantity::computed(Measured::Value(value), self.unit).to_json()
    }

    /// Estimates and limits of the fitted distribution.
    fn of_distribution(
        &mut self,
        profile: &GroupProfile,
        (mean, deviation): (f64, f64),
        inputs: &Value,
        limit: Option<f64>,
    ) {
        let exact = profile.method == ProfileMethod::Exact;
        let figures = json!({"n": profile.n, "geometric_mean": self.quantity(mean),
            "geometric_standard_deviation": deviation});
        // With bounds the limits come from the results themselves.
        let behind_limits = if exact { figures.clone() } else { inputs.clone() };
        if exact {
            self.push("geometric mean", GEOMETRIC_MEAN, inputs.clone(), self.quantity(mean));
            self.push(
                "geometric standard deviation",
                GEOMETRIC_STANDARD_DEVIATION,
                inputs.clone(),
                json!(deviation),
            );
        } else {
            self.push("maximum likelihood", CENSORED_LIKELIHOOD, inputs.clone(), figures.clone());
        }
        let limits_by = |formula: Formula| if exact { formula } else { LIMITS_WITH_BOUNDS };
        if let Some(found) = profile.arithmetic_mean {
            let formula = if exact { ARITHMETIC_MEAN } else { CENSORED_ESTIMATES };
            self.push("arithmetic mean", formula, figures.clone(), self.quantity(found.estimate));
            let result = json!({"lower_95": found.lower_95.map(|one| self.quantity(one)),
                "upper_95": found.upper_95.map(|one| self.quantity(one))});
            self.push("limits of the arithmetic mean", limits_by(LAND_LIMIT), behind_limits.clone(), result);
        }
        if let Some(found) = profile.percentile_95 {
            let formula = if exact { PERCENTILE_95 } else { CENSORED_ESTIMATES };
            self.push("95th percentile", formula, figures.clone(), self.quantity(found.estimate));
            let result = json!({"upper_70": found.upper_70.map(|one| self.quantity(one)),
                "upper_95": found.upper_95.map(|one| self.quantity(one))});
            self.push(
                "limits of the 95th percentile",
                limits_by(PERCENTILE_LIMIT),
                behind_limits.clone(),
                result,
            );
        }
        if let (Some(share), Some(limit)) = (profile.exceedance_fraction, limit) {
            let with_limit = |mut inputs: Value| {
                inputs["limit"] = self.quantity(limit);
                inputs
            };
            let (estimate, limits) = (with_limit(figures), with_limit(behind_limits));
            self.push("exceedance fraction", EXCEEDANCE, estimate, json!(share.estimate));
            let result =
                json!({"lower_95": share.lower_95, "upper_70": share.upper_70, "upper_95": share.upper_95});
            self.push("limits of the exceedance fraction", limits_by(EXCEEDANCE_LIMIT), limits, result);
        }
        if let Some(fit) = profile.lognormal_fit {
            let result = json!({"w": fit.w, "p_value": fit.p_value});
            self.push("fit of the log-normal distribution", SHAPIRO_WILK, inputs.clone(), result);
        }
        if let (Some(test), Some(limit)) = (profile.en_689, limit) {
            let formula = if test.stage == Stage::Preliminary { PRELIMINARY } else { STATISTICAL };
            let upper_70 = profile.percentile_95.and_then(|percentile| percentile.upper_70);
            let inputs = json!({"n": profile.n, "limit": self.quantity(limit),
                "upper_70": upper_70.map(|one| self.quantity(one))});
            self.push("EN 689", formula, inputs, json!(test.outcome.as_str()));
        }
    }

    /// Estimates without a distribution, where there are non-detects.
    fn of_ranks(&mut self, profile: &GroupProfile, inputs: &Value) {
        if profile.n_below == 0 {
            return;
        }
        if let Some(both) = profile.substitution {
            let result = json!({"half": self.quantity(both.half.arithmetic_mean),
                "root_two": self.quantity(both.root_two.arithmetic_mean)});
            self.push("means by substitution, for comparison only", SUBSTITUTION, inputs.clone(), result);
        }
        if let Some(ranked) = profile.order_statistics {
            let result = json!({"geometric_mean": self.quantity(ranked.geometric_mean),
                "geometric_standard_deviation": ranked.geometric_standard_deviation});
            self.push("regression on order statistics", ORDER_STATISTICS, inputs.clone(), result);
        }
        if let Some(mean) = profile.kaplan_meier {
            self.push("mean by Kaplan and Meier", KAPLAN_MEIER, inputs.clone(), self.quantity(mean));
        }
    }

    fn of_posterior(&mut self, profile: &GroupProfile, inputs: &Value, limit: Option<f64>) {
        let Some(found) = profile.posterior else { return };
        let prior = json!({"gm_lower": self.quantity(found.prior.gm_lower), "gm_upper": self.quantity(found.prior.gm_upper),
            "gsd_lower": found.prior.gsd_lower, "gsd_upper": found.prior.gsd_upper});
        self.push(
            "prior",
            PRIOR_BOX,
            json!({"limit": limit.map(|limit| self.quantity(limit))}),
            prior.clone(),
        );
        let mut inputs = inputs.clone();
        inputs["prior"] = prior;
        let result = json!({
            "percentile_95": {"median": self.quantity(found.percentile_95_median),
                "upper_95": self.quantity(found.percentile_95_upper_95)},
            "arithmetic_mean": {"mean": found.mean.map(|mean| self.quantity(mean)),
                "lower_95": self.quantity(found.mean_lower_95), "upper_95": self.quantity(found.mean_upper_95)}});
        self.push("posterior", POSTERIOR, inputs.clone(), result);
        if let Some(limit) = limit {
            inputs["limit"] = self.quantity(limit);
            self.push("rating", RATING, inputs.clone(), json!(found.rating_probabilities));
            self.push("chance of a day above the limit", PREDICTIVE, inputs, json!(found.exceedance_mean));
        }
    }
}
