//! Non-detects.

use crate::case::{Case, check_area};
use doseward::hygiene::censored::{Fitted, LogResult, fit};
use doseward::hygiene::kaplan_meier::kaplan_meier;
use doseward::hygiene::order_statistics::{impute, single_limit_regression};
use doseward::hygiene::profile::{Against, group_profile};
use doseward::hygiene::substitution::recommended;
use doseward::model::measured::Measured;

#[test]
fn worked_examples_of_non_detects() {
    check_area("E", check);
}

fn fitted(results: &[Measured]) -> Fitted {
    let logs: Vec<_> = results.iter().map(|result| LogResult::of(*result).unwrap()).collect();
    fit(&logs).unwrap()
}

pub(crate) fn check(case: &mut Case) {
    match case.id {
        "E-01" => {
            let results = case.results();
            let (fitted, profile) = (fitted(&results), group_profile(&results, &Against::limit(None)));
            case.is("mean_of_logs", fitted.mu);
            case.is("sd_of_logs", fitted.sigma);
            case.is("gm", profile.geometric_mean.unwrap());
            case.is("gsd", profile.geometric_standard_deviation.unwrap());
            case.is("arithmetic_mean", profile.arithmetic_mean.unwrap().estimate);
            case.is("percentile_90", fitted.percentile(0.9));
            case.is("percentile_95", profile.percentile_95.unwrap().estimate);
            case.is("log_likelihood_of_logs", fitted.log_likelihood);
        }
        "E-02" => {
            let estimate = kaplan_meier(&case.results()).unwrap();
            case.is("mean_of_logs", estimate.mean_of(f64::ln));
            case.is("sd_of_logs_population_weights", estimate.deviation_of(f64::ln));
            case.is("mean_raw", estimate.mean());
            case.is("sd_raw_population_weights", estimate.deviation_of(|value| value));
            case.is("probability_mass_left_below_smallest_detect", estimate.left_below());
            case.is("lowest_mass_placed_at", estimate.lowest().unwrap());
        }
        "E-03" => {
            let imputed = impute(&case.results()).unwrap();
            let ((log_mean, log_deviation), (mean, deviation)) =
                (imputed.log_moments().unwrap(), imputed.moments().unwrap());
            case.is("mean_of_logs", log_mean);
            case.is("sd_of_logs", log_deviation);
            case.is("arithmetic_mean", mean);
            case.is("arithmetic_sd", deviation);
            case.is("largest_imputed_value", *imputed.imputed.last().unwrap());
        }
        "E-04" => {
            let detected = case.numbers("detected_values");
            let non_detects = case.inputs()["non_detect_count"]["value"].as_u64().unwrap();
            let non_detects = usize::try_from(non_detects).unwrap();
            let mut results = case.values("detected_values");
            results.extend(vec![Measured::Below(case.number("detection_limit")); non_detects]);
            let fitted = fitted(&results);
            let (mean, deviation) = single_limit_regression(&detected, non_detects).unwrap();
            case.is("mle_mean_of_logs", fitted.mu);
            case.is("mle_sd_of_logs", fitted.sigma);
            case.is("regression_mean_of_logs", mean);
            case.is("regression_sd_of_logs", deviation);
        }
        "E-05" => {
            let substituted = group_profile(&case.results(), &Against::limit(None)).substitution.unwrap();
            for (divisor, found) in [("2", substituted.half), ("sqrt2", substituted.root_two)] {
                case.is(&format!("mean_LOD_over_{divisor}"), found.arithmetic_mean);
                case.is(&format!("gm_LOD_over_{divisor}"), found.geometric_mean);
                case.is(&format!("gsd_LOD_over_{divisor}"), found.geometric_standard_deviation.unwrap());
            }
        }
        "E-06" => {
            let found: Vec<_> =
                case.numbers("gsd").into_iter().map(|gsd| recommended(gsd).as_str()).collect();
            case.say("recommended_divisor", &found);
        }
        "E-07" => {
            let profile = group_profile(&case.results(), &Against::limit(Some(case.number("limit"))));
            let ranked = profile.order_statistics.unwrap();
            case.is("mle_gm", profile.geometric_mean.unwrap());
            case.is("mle_gsd", profile.geometric_standard_deviation.unwrap());
            case.is("mle_percentile_95", profile.percentile_95.unwrap().estimate);
            case.is("mle_exceedance_of_limit", profile.exceedance_fraction.unwrap().estimate);
            case.is("ros_gm", ranked.geometric_mean);
            case.is("ros_gsd", ranked.geometric_standard_deviation);
        }
        _ => case.unknown(),
    }
}
