//! What a control did.

use crate::calculations::given::{above_zero, all_measured, common_unit, number_between, sound};
use crate::calculations::group_profile::{PriorInput, RESULTS_MOST};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::conclusions::effect_working::effect_steps;
use crate::conclusions::figures::{AdjustedView, EffectView};
use crate::hygiene::control_effect::{EffectMethod, Question, TargetAnswer, Verdict, control_effect};
use crate::hygiene::log_linear::{LOG_LINEAR, Observation, adjusted_ratio};
use crate::hygiene::sufficiency::{Levels, Sufficiency};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::text::Line;
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

/// By how many per cent a control is meant to lower exposure where nothing is stated.
const USUAL_TARGET_PERCENT: f64 = 50.0;
/// The most results of both sides together.
const BOTH_MOST: usize = RESULTS_MOST;
/// More covariates than these leave nothing to compare.
const COVARIATES_MOST: usize = 10;

/// Covariates cannot be told apart, or a result is no plain value.
pub const NOT_ADJUSTED: &str = "not_adjusted";

/// Every flag of this calculation beside those of the effect, with its meaning.
pub const FLAGS: &[(&str, &str)] = &[(
    NOT_ADJUSTED,
    "The ratio is not adjusted: a result is no plain value, too few are left, or covariates cannot be told apart.",
)];

record! {
    /// A condition that may explain a difference, such as arc minutes an hour.
    pub struct CovariateInput {
        /// What it is.
        name: Line,
        /// Its values without the control, in the order of the results.
        without: Vec<f64>,
        /// Its values with the control, in the order of the results.
        with: Vec<f64>,
    }
}

record! {
    /// Results without and with a control.
    pub struct ControlEffectInput {
        /// Results without the control.
        without: Vec<Quantity>,
        /// Results with it.
        with: Vec<Quantity>,
        /// Whether they are pairs by their place in the lists.
        paired: bool,
        /// The reduction asked for in per cent; 50 if left out.
        target_reduction_percent: Option<f64>,
        /// The limit that what remains is put against.
        limit: Option<Quantity>,
        /// The action level that what remains is put against.
        action_level: Option<Quantity>,
        /// The prior of the posterior, in place of the default one.
        prior: Option<PriorInput>,
        /// Conditions at whose same value the sides are compared besides.
        covariates: Option<Vec<CovariateInput>>,
    }
}

record! {
    /// What the control did.
    pub struct ControlEffectAnswer {
        /// Results without the control.
        n_without: i64,
        /// Results with it.
        n_with: i64,
        /// Results without the control below their limit.
        n_below_without: i64,
        /// Results with it below their limit.
        n_below_with: i64,
        /// How the sides were compared.
        method: Option<EffectMethod>,
        /// With over without.
        ratio_of_geometric_means: Option<EffectView>,
        /// The reduction in per cent.
        reduction_percent: Option<EffectView>,
        /// Two-sided p value of no difference; absent for a posterior.
        p_value: Option<f64>,
        /// Probability that exposure is lower with the control.
        probability_lowered: Option<f64>,
        /// Probability that the reduction is at least the target.
        probability_target_met: Option<f64>,
        /// The verdict.
        verdict: Option<Verdict>,
        /// The answer to the target.
        target: Option<TargetAnswer>,
        /// Whether what remains is below the action level or the limit.
        sufficiency: Option<Sufficiency>,
        /// Further results on each side that would settle an undecided verdict.
        further_samples: Option<i64>,
        /// The comparison at the same conditions, where conditions are given.
        adjusted: Option<AdjustedView>,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// What a control did.
#[derive(Debug)]
pub struct ControlEffect;

impl Calculation for ControlEffect {
    const NAME: &'static str = "control-effect";
    const TITLE: &'static str = "ControlEffect";
    const SUMMARY: &'static str = "What a control did: ratio, reduction, verdict, target and sufficiency";
    const MORE: &'static str =
        "Give one value a worker, shift and state: filters of one shift are not independent.";
    type Input = ControlEffectInput;
    type Answer = ControlEffectAnswer;

    fn example() -> Value {
        json!({"without": [{"value": 4.2, "unit": "ug/m3"}, {"value": 6.8, "unit": "ug/m3"}, {"value": 5.1, "unit": "ug/m3"}],
            "with": [{"value": 1.1, "unit": "ug/m3"}, {"value": 2.0, "unit": "ug/m3"}, {"comparator": "<", "value": 0.9, "unit": "ug/m3"}],
            "paired": false, "limit": {"value": 5, "unit": "ug/m3"}})
    }

    fn answer(input: ControlEffectInput, working: &mut Working) -> Result<ControlEffectAnswer, Faults> {
        let mut faults = Faults::default();
        if input.without.len() + input.with.len() > BOTH_MOST {
            faults.note(
                "/without",
                format!("must hold at most {BOTH_MOST} results together with the other side"),
            );
            return Err(faults);
        }
        let firsts = input.without.iter().map(|one| (one, "/without/0".to_owned()));
        let firsts = firsts.chain(input.with.iter().map(|one| (one, "/with/0".to_owned())));
        let unit = common_unit(firsts, false, &mut faults).unwrap_or(Unit::MgPerM3);
        let without = all_measured(&input.without, unit, "/without", &mut faults);
        let with = all_measured(&input.with, unit, "/with", &mut faults);
        if input.paired && input.without.len() != input.with.len() {
            faults.note("/with", "must hold as many results as without, being pairs");
        }
        let target = input.target_reduction_percent.unwrap_or(USUAL_TARGET_PERCENT);
        number_between(target, (0.0, 100.0), "/target_reduction_percent", &mut faults);
        let mut level = |given: &Option<Quantity>, at: &str| {
            given.as_ref().and_then(|level| above_zero(level, unit, at, &mut faults))
        };
        let levels = Levels {
            limit: level(&input.limit, "/limit"),
            action_level: level(&input.action_level, "/action_level"),
        };
        let prior = input.prior.as_ref().and_then(|prior| prior.read(unit, &mut faults));
        check_covariates(&input, &mut faults);
        let question = Question {
            paired: input.paired,
            target_reduction_percent: target,
            levels,
            limit_of_prior: levels.limit,
            prior,
        };
        let answer = faults.is_empty().then(|| {
            let found = control_effect(&without, &with, &question);
            working.take(|| effect_steps(&found, (&without, &with), unit, &question));
            let mut flags: Vec<&str> = found.flags.clone();
            let covariates = input.covariates.as_deref().unwrap_or_default();
            let adjusted = adjusted(&without, &with, covariates, working);
            if adjusted.is_none() && !covariates.is_empty() {
                flags.push(NOT_ADJUSTED);
            }
            ControlEffectAnswer {
                n_without: count(found.n_without),
                n_with: count(found.n_with),
                n_below_without: count(found.n_below_without),
                n_below_with: count(found.n_below_with),
                method: found.method,
                ratio_of_geometric_means: EffectView::of(found.ratio_of_geometric_means),
                reduction_percent: EffectView::of(found.reduction_percent),
                p_value: found.p_value,
                probability_lowered: found.probability_lowered,
                probability_target_met: found.probability_target_met,
                verdict: found.verdict,
                target: found.target,
                sufficiency: found.sufficiency,
                further_samples: found.further_samples.map(i64::from),
                adjusted,
                flags: words(&flags),
                working: None,
            }
        });
        sound(answer, faults)
    }
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

fn check_covariates(input: &ControlEffectInput, faults: &mut Faults) {
    let given = input.covariates.as_deref().unwrap_or_default();
    if given.len() > COVARIATES_MOST {
        faults.note("/covariates", format!("must hold at most {COVARIATES_MOST} conditions"));
    }
    for (n, covariate) in given.iter().enumerate() {
        for (side, results, name) in
            [(&covariate.without, &input.without, "without"), (&covariate.with, &input.with, "with")]
        {
            if side.len() != results.len() {
                faults.note(format!("/covariates/{n}/{name}"), "must hold a value for each result");
            }
        }
    }
}

/// The ratio at the same conditions; `None` without conditions or where they leave no answer.
fn adjusted(
    without: &[Measured],
    with: &[Measured],
    covariates: &[CovariateInput],
    working: &mut Working,
) -> Option<AdjustedView> {
    if covariates.is_empty() || !without.iter().chain(with).all(|one| one.is_value() && one.lower() > 0.0) {
        return None;
    }
    let side = |results: &[Measured], runs: bool| -> Vec<Observation> {
        let of = |covariate: &CovariateInput, at: usize| {
            if runs { covariate.with[at] } else { covariate.without[at] }
        };
        results
            .iter()
            .enumerate()
            .map(|(at, result)| Observation {
                ln_result: result.lower().ln(),
                with: runs,
                covariates: covariates.iter().map(|covariate| of(covariate, at)).collect(),
            })
            .collect()
    };
    let mut observations = side(without, false);
    observations.extend(side(with, true));
    let found = adjusted_ratio(&observations)?;
    let names = covariates.iter().map(|covariate| covariate.name.as_str().to_owned());
    let view = AdjustedView::of(&found, names);
    working.step("ratio at the same conditions", LOG_LINEAR, || {
        let given: Vec<Value> = covariates.iter().map(Shape::to_json).collect();
        (
            json!({"covariates": given, "degrees_of_freedom": found.degrees_of_freedom}),
            view.ratio_of_geometric_means.to_json(),
        )
    });
    Some(view)
}
