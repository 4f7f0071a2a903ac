//! The steps from results on both sides to what a control did.

use crate::conclusions::figures::EffectView;
use crate::hygiene::control_effect::{
    CONTRAST_PROBABILITY, ControlEffect, EffectMethod, PAIRED_ON_LOGS, Question, REDUCTION, VERDICT,
    WELCH_ON_LOGS,
};
use crate::hygiene::further_samples::FURTHER_SAMPLES;
use crate::hygiene::likelihood_ratio::PROFILE_LIKELIHOOD;
use crate::hygiene::posterior::RATIO_POSTERIOR;
use crate::hygiene::sufficiency::SUFFICIENCY;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::working::{Formula, Step};
use serde_json::{Value, json};

/// The formula of a method.
pub fn method_formula(method: EffectMethod) -> Formula {
    match method {
        EffectMethod::WelchOnLogs => WELCH_ON_LOGS,
        EffectMethod::PairedOnLogs => PAIRED_ON_LOGS,
        EffectMethod::ProfileLikelihood => PROFILE_LIKELIHOOD,
        EffectMethod::Posterior => RATIO_POSTERIOR,
    }
}

/// The steps of a control effect; `sides` are the results without and with the control.
pub fn effect_steps(
    effect: &ControlEffect,
    sides: (&[Measured], &[Measured]),
    unit: Unit,
    question: &Question,
) -> Vec<Step> {
    let list = |side: &[Measured]| {
        side.iter().map(|one| Quantity::computed(*one, unit).to_json()).collect::<Vec<Value>>()
    };
    let inputs = json!({"without": list(sides.0), "with": list(sides.1)});
    let ratio = EffectView::of(effect.ratio_of_geometric_means).map_or(Value::Null, |view| view.to_json());
    let target = json!(question.target_reduction_percent);
    let mut steps = Vec::new();
    let Some(method) = effect.method else { return steps };
    steps.push(Step::new("ratio of geometric means", method_formula(method), inputs.clone(), ratio.clone()));
    if let Some(contrast) = effect.contrast {
        let inputs = json!({"ln_ratio": significant(contrast.ln_ratio),
            "standard_error": significant(contrast.standard_error),
            "degrees_of_freedom": significant(contrast.degrees_of_freedom), "target_reduction_percent": target});
        let result = json!({"probability_lowered": effect.probability_lowered,
            "probability_target_met": effect.probability_target_met, "p_value": effect.p_value});
        steps.push(Step::new("probabilities", CONTRAST_PROBABILITY, inputs, result));
    }
    if let Some(reduction) = EffectView::of(effect.reduction_percent) {
        steps.push(Step::new("reduction in per cent", REDUCTION, ratio.clone(), reduction.to_json()));
    }
    if let (Some(verdict), Some(answer)) = (effect.verdict, effect.target) {
        let inputs = json!({"ratio_of_geometric_means": ratio, "target_reduction_percent": target});
        let result = json!({"verdict": verdict.as_str(), "target": answer.as_str()});
        steps.push(Step::new("verdict", VERDICT, inputs, result));
    }
    if let Some(further) = effect.further_samples {
        let inputs = json!({"ratio_of_geometric_means": ratio, "n_without": effect.n_without, "n_with": effect.n_with,
            "target_reduction_percent": target});
        steps.push(Step::new("further samples", FURTHER_SAMPLES, inputs, json!(further)));
    }
    if let Some(sufficiency) = effect.sufficiency {
        let level = |level: Option<f64>| {
            level.map(|level| Quantity::computed(Measured::Value(level), unit).to_json())
        };
        let inputs = json!({"with": inputs["with"], "limit": level(question.levels.limit),
            "action_level": level(question.levels.action_level)});
        steps.push(Step::new("sufficiency", SUFFICIENCY, inputs, json!(sufficiency.as_str())));
    }
    steps
}
