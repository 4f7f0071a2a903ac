//! Log-normal statistics, tolerance factors and EN 689.

use crate::case::{Case, check_area};
use doseward::hygiene::censored::Fitted;
use doseward::hygiene::en_689::{Outcome, Stage, preliminary, preliminary_share};
use doseward::hygiene::land::h_factor;
use doseward::hygiene::lognormal::{LogSample, approximate_tolerance_factor, moments, tolerance_factor};
use doseward::hygiene::order_statistics::plot_correlation;
use doseward::hygiene::profile::{Against, group_profile};
use doseward::hygiene::shapiro_wilk::shapiro_wilk;
use doseward::model::measured::Measured;

#[test]
fn worked_examples_of_log_normal_statistics() {
    check_area("D", check);
}

fn logs(values: &[f64]) -> Vec<f64> {
    values.iter().map(|value| value.ln()).collect()
}

fn factors(case: &Case) -> Vec<f64> {
    let (coverage, confidence) = (case.number("coverage"), case.number("confidence"));
    case.numbers("n").into_iter().map(|n| tolerance_factor(n, coverage, confidence).unwrap()).collect()
}

#[expect(clippy::too_many_lines, reason = "one arm for each example")]
pub(crate) fn check(case: &mut Case) {
    match case.id {
        "D-01" => {
            let data = case.numbers("data");
            let sample = LogSample::of(&data).unwrap();
            let profile = group_profile(&case.values("data"), &Against::limit(None));
            let fit = profile.lognormal_fit.unwrap();
            case.is("n", sample.n);
            case.is("mean_of_logs", sample.mean);
            case.is("sd_of_logs", sample.deviation);
            case.is("gm", profile.geometric_mean.unwrap());
            case.is("gsd", profile.geometric_standard_deviation.unwrap());
            case.is("arithmetic_mean_simple", moments(&data).unwrap().1);
            case.is("shapiro_wilk_W_logs", fit.w);
            case.is("shapiro_wilk_p_logs", fit.p_value);
            case.is("shapiro_wilk_W_raw", shapiro_wilk(&data).unwrap().w);
            case.is("K_95_95", tolerance_factor(sample.n, 0.95, 0.95).unwrap());
            case.is("utl_95_95", profile.percentile_95.unwrap().upper_95.unwrap());
            case.is("percentile_95_point", profile.percentile_95.unwrap().estimate);
        }
        "D-02" => {
            let sample = LogSample::of(&case.numbers("data")).unwrap();
            let mean = group_profile(&case.values("data"), &Against::limit(None)).arithmetic_mean.unwrap();
            case.is("mean_mvue", mean.estimate);
            case.is("psi_factor", sample.mean_factor());
            // As for results with non-detects, but with n - 1.
            let plugged = Fitted { mu: sample.mean, sigma: sample.deviation, log_likelihood: f64::NAN };
            case.is("mean_mle_exp_mu_plus_half_s2", plugged.arithmetic_mean());
            case.is("land_ucl_95_one_sided", mean.upper_95.unwrap());
            case.is("land_H_95", h_factor(&sample, 0.05).unwrap());
            case.is("land_lcl_95_one_sided", mean.lower_95.unwrap());
        }
        "D-03" => {
            let factor = factors(case)[0];
            case.is("K_exact", factor);
            let (coverage, confidence) = (case.number("coverage"), case.number("confidence"));
            let approximate = approximate_tolerance_factor(case.number("n"), coverage, confidence);
            case.is("K_approximate", approximate.unwrap());
            case.is("upper_limit_exact", case.number("mean") + factor * case.number("sd"));
        }
        "D-04" | "D-05" => case.are("K", &factors(case)),
        "D-06" => {
            let limit = case.number("limit");
            let (mut shares, mut words) = (Vec::new(), Vec::new());
            for group in case.inputs()["cases"].as_array().unwrap() {
                let results: Vec<_> = group["results"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .map(|value| Measured::Value(value.as_f64().unwrap()))
                    .collect();
                let answer = preliminary(&results, limit).unwrap();
                assert_eq!(answer.stage, Stage::Preliminary);
                shares.push(preliminary_share(results.len()).unwrap());
                words.push(match answer.outcome {
                    Outcome::Compliance => "compliance",
                    Outcome::NonCompliance => "non-compliance",
                    Outcome::NoDecision => "no decision",
                });
            }
            case.are("threshold_fraction", &shares);
            case.say("verdict", &words);
        }
        "D-07" => {
            let limit = case.number("limit");
            let sample = LogSample::of(&case.numbers("data")).unwrap();
            let profile = group_profile(&case.values("data"), &Against::limit(Some(limit)));
            let percentile = profile.percentile_95.unwrap();
            case.is("gm", profile.geometric_mean.unwrap());
            case.is("gsd", profile.geometric_standard_deviation.unwrap());
            case.is("U_R", sample.distance(limit));
            case.is("U_T", tolerance_factor(sample.n, 0.95, 0.70).unwrap());
            case.is("utl_95_70", percentile.upper_70.unwrap());
            case.holds("compliance", profile.en_689.unwrap().outcome == Outcome::Compliance);
            case.is("utl_95_95", percentile.upper_95.unwrap());
        }
        "D-08" => {
            let limit = case.number("limit");
            let sample = LogSample::of(&case.numbers("data")).unwrap();
            let profile = group_profile(&case.values("data"), &Against::limit(Some(limit)));
            let exceedance = profile.exceedance_fraction.unwrap();
            let upper = exceedance.upper_95.unwrap();
            case.is("gm", profile.geometric_mean.unwrap());
            case.is("gsd", profile.geometric_standard_deviation.unwrap());
            case.is("exceedance_point", exceedance.estimate);
            case.is("exceedance_upper_95", upper);
            case.is("exceedance_lower_95", exceedance.lower_95.unwrap());
            case.is(
                "duality_utl_at_coverage_one_minus_upper",
                sample.percentile_limit(1.0 - upper, 0.95).unwrap(),
            );
        }
        "D-09" => {
            let data = case.numbers("data");
            let (of_logs, of_values) = (shapiro_wilk(&logs(&data)).unwrap(), shapiro_wilk(&data).unwrap());
            case.is("W_logs", of_logs.w);
            case.is("p_logs", of_logs.p_value);
            case.is("W_raw", of_values.w);
            case.is("p_raw", of_values.p_value);
            case.is("plot_correlation_logs", plot_correlation(&data).unwrap());
            case.holds("lognormal_not_rejected_at_5pct", of_logs.p_value >= 0.05);
            case.holds("normal_rejected_at_5pct", of_values.p_value < 0.05);
        }
        "D-10" => {
            let (mean, deviation) = (case.number("gm").ln(), case.number("gsd").ln());
            let sample = LogSample { n: case.number("n"), mean, deviation };
            case.is("percentile_95_point", sample.percentile(0.95));
            case.is("percentile_95_lower_5pct", sample.percentile_limit(0.95, 0.05).unwrap());
            case.is("percentile_95_upper_95pct", sample.percentile_limit(0.95, 0.95).unwrap());
            case.is("gm_lower_95_two_sided", sample.geometric_mean_limit(0.025));
            case.is("gm_upper_95_two_sided", sample.geometric_mean_limit(0.975));
            case.is("exceedance_point", sample.exceedance(case.number("limit")));
        }
        "D-11" => {
            let found: Vec<_> = case
                .numbers("n")
                .into_iter()
                .zip(case.numbers("sd_of_logs"))
                .map(|(n, deviation)| h_factor(&LogSample { n, mean: 0.0, deviation }, 0.05).unwrap())
                .collect();
            case.are("H_95_upper", &found);
        }
        _ => case.unknown(),
    }
}
