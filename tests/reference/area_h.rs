//! Control efficiency, filters and air changes.

use crate::case::{Case, check_area, results};
use doseward::hygiene::air_clearing::{Reading, air_clearing, minutes_to_clear};
use doseward::hygiene::censored::LogResult;
use doseward::hygiene::control_effect::{
    ControlEffect, EffectMethod, Question, TargetAnswer, Verdict, control_effect, judge, reduction_percent,
};
use doseward::hygiene::distributions::{normal_quantile, t_quantile};
use doseward::hygiene::efficiency::{
    decontamination_factor, fold_to_percent, penetration, removal_efficiency,
};
use doseward::hygiene::likelihood_ratio::RatioLikelihood;
use doseward::hygiene::lognormal::moments;
use doseward::model::measured::Measured;

#[test]
fn worked_examples_of_controls() {
    check_area("H", check);
}

/// The examples' words for a verdict with its target.
fn words(effect: &ControlEffect) -> &'static str {
    match (effect.verdict.unwrap(), effect.target.unwrap()) {
        (Verdict::Lowered, TargetAnswer::Met) => "reduction shown and target met",
        (Verdict::Lowered, _) => "reduction shown",
        (Verdict::Raised, _) => "increase shown",
        (Verdict::NoDifferenceShown | Verdict::Undecided, _) => "no reduction shown",
    }
}

/// Limits from the curvature of the likelihood at its top, which the registry does not give: near the top the signed
/// root of the likelihood ratio is the distance in standard errors.
fn wald_limits(before: &[Measured], after: &[Measured]) -> [f64; 2] {
    let logs = |side: &[Measured]| side.iter().map(|one| LogResult::of(*one).unwrap()).collect();
    let likelihood = RatioLikelihood::unpaired(logs(before), logs(after)).unwrap();
    let (top, step) = (likelihood.estimate().unwrap(), 0.02);
    let root = |ln_ratio| normal_quantile(likelihood.probability_below(ln_ratio).unwrap());
    let standard_error = 2.0 * step / (root(top + step) - root(top - step));
    [0.025, 0.975].map(|share| (top + normal_quantile(share) * standard_error).exp())
}

/// Compares what the paired and the unpaired examples have in common.
fn compare(case: &mut Case, paired: bool) -> ControlEffect {
    let target = case.number("target_reduction");
    let effect =
        control_effect(&case.values("before"), &case.values("after"), &Question::new(paired, target));
    let (ratio, reduction) = (effect.ratio_of_geometric_means, effect.reduction_percent);
    let contrast = effect.contrast.unwrap();
    let one_sided =
        contrast.ln_ratio + t_quantile(0.95, contrast.degrees_of_freedom) * contrast.standard_error;
    case.is("ratio_after_to_before", ratio.estimate.unwrap());
    case.is("ratio_lower_95", ratio.lower_95.unwrap());
    case.is("ratio_upper_95", ratio.upper_95.unwrap());
    case.is("reduction", reduction.estimate.unwrap());
    case.is("reduction_lower_95", reduction.lower_95.unwrap());
    case.is("reduction_upper_95", reduction.upper_95.unwrap());
    case.is("p_two_sided", effect.p_value.unwrap());
    case.is("one_sided_95_lower_bound_of_reduction", reduction_percent(one_sided.exp()));
    case.says("verdict", words(&effect));
    effect
}

pub(crate) fn check(case: &mut Case) {
    match case.id {
        "H-01" => {
            let effect = compare(case, true);
            assert_eq!(effect.method, Some(EffectMethod::PairedOnLogs));
            let mean = |name| moments(&case.numbers(name)).unwrap().1;
            let reduction = reduction_percent(mean("after") / mean("before"));
            case.is("reduction_from_arithmetic_means", reduction);
        }
        "H-02" => {
            let effect = compare(case, false);
            assert_eq!(effect.method, Some(EffectMethod::WelchOnLogs));
            case.is("welch_df", effect.contrast.unwrap().degrees_of_freedom);
        }
        "H-03" => {
            let interval = case.numbers("ci_95");
            let (verdict, _) = judge(Some(interval[0]), Some(interval[1]), 0.5);
            case.is("reduction", reduction_percent(case.number("ratio")));
            case.are("reduction_ci_95", &[reduction_percent(interval[1]), reduction_percent(interval[0])]);
            let width = (interval[1] / interval[0]).ln();
            case.is("implied_sd_of_ln_ratio", width / (2.0 * normal_quantile(0.975)));
            case.holds("statistically_significant", verdict == Verdict::Lowered);
        }
        "H-04" => {
            let through = penetration(case.number("efficiency"));
            let factor = decontamination_factor(through).unwrap();
            case.is("penetration", 100.0 * through);
            case.is("decontamination_factor", factor);
            case.is("log10_reduction", factor.log10());
            case.is("outlet_for_inlet_50_ug_m3", 50.0 * through);
        }
        "H-05" => {
            let changes = case.numbers("air_changes_per_hour");
            let factor = case.number("mixing_factor");
            let minutes = |efficiency, factor| -> Vec<f64> {
                changes
                    .iter()
                    .map(|&changes| minutes_to_clear(efficiency, changes, factor).unwrap())
                    .collect()
            };
            case.are("minutes_99", &minutes(0.99, factor));
            case.are("minutes_99_9", &minutes(0.999, factor));
            case.are("minutes_99_with_mixing_factor_3", &minutes(0.99, 3.0));
        }
        "H-06" => {
            let readings: Vec<_> = case
                .numbers("time")
                .into_iter()
                .zip(case.numbers("count"))
                .map(|(minutes, value)| Reading { minutes, value })
                .collect();
            let (first, last) = (readings[0], readings[readings.len() - 1]);
            let background = case.number("background");
            let found = air_clearing(&readings, background);
            let two_point = air_clearing(&[first, last], background);
            let removed = removal_efficiency(&[Measured::Value(first.value)], &[Measured::Value(last.value)]);
            case.is("ach_two_point", two_point.air_changes_per_hour.unwrap());
            case.is("ach_regression", found.air_changes_per_hour.unwrap());
            case.is("half_life", found.half_life_minutes.unwrap());
            case.is("r_squared", found.r_squared.unwrap());
            case.is("percent_removed_in_25_min", removed.efficiency_percent.unwrap());
        }
        "H-07" => {
            let effect = compare(case, true);
            assert_eq!(
                (effect.verdict, effect.target),
                (Some(Verdict::Undecided), Some(TargetAnswer::Unsettled))
            );
        }
        "H-08" => {
            let reductions: Vec<_> = case
                .numbers("fold_reduction")
                .into_iter()
                .map(|fold| fold_to_percent(fold).unwrap())
                .collect();
            let through: Vec<_> =
                reductions.iter().map(|reduction| 100.0 * penetration(*reduction)).collect();
            case.are("reduction", &reductions);
            case.are("penetration", &through);
        }
        "H-09" => {
            let inputs = case.inputs();
            let (before, after) = (results(&inputs["before"]), results(&inputs["after"]));
            let effect = control_effect(&before, &after, &Question::new(false, 50.0));
            let ratio = effect.ratio_of_geometric_means;
            assert_eq!(effect.method, Some(EffectMethod::ProfileLikelihood));
            case.is("ln_ratio", ratio.estimate.unwrap().ln());
            case.is("ratio_after_to_before", ratio.estimate.unwrap());
            case.is("reduction", effect.reduction_percent.estimate.unwrap());
            case.is("common_sd_of_logs", effect.common_deviation.unwrap());
            case.are("wald_95_ratio", &wald_limits(&before, &after));
            case.are("profile_likelihood_95_ratio", &[ratio.lower_95.unwrap(), ratio.upper_95.unwrap()]);
        }
        _ => case.unknown(),
    }
}
