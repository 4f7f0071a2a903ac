//! Group profiles: log-normal statistics, non-detects, variance between workers, rating bands.

use super::{Answered, Calculations, quantities, quantity, results};
use crate::area_g::most_probable;
use crate::case::Case;
use serde_json::{Value, json};

const NO_RAW_FIT: &str = "group-profile tests the logarithms only";
const NO_SQUARES: &str = "group-profile gives variances, not the sums of squares behind them";

/// A profile, against the example's limit where it has one.
async fn profile(case: &Case<'_>, of: &Calculations<'_>, results: &[Value], further: Value) -> Answered {
    let mut body = further;
    body["results"] = results.into();
    if case.inputs()["limit"].is_object() {
        body["limit"] = quantity(&case.inputs()["limit"]);
    }
    of.ask("group-profile", body).await
}

/// Mean and standard deviation of the logarithms, of which the answer gives the exponentials.
fn logarithms(found: &Answered, of: &str) -> (f64, f64) {
    let figure = |name: &str| found.number(&format!("{of}/{name}")).ln();
    (figure("geometric_mean"), figure("geometric_standard_deviation"))
}

/// How many standard deviations of the logarithms a value lies above their mean.
fn distance(found: &Answered, value: f64) -> f64 {
    let (mean, deviation) = logarithms(found, "");
    (value.ln() - mean) / deviation
}

fn compare_geometric(case: &mut Case, found: &Answered) {
    found.is(case, "gm", "/geometric_mean");
    found.is(case, "gsd", "/geometric_standard_deviation");
}

pub(super) async fn ask(case: &mut Case<'_>, of: &Calculations<'_>) {
    match &case.id[..1] {
        "D" => log_normal(case, of).await,
        "E" => non_detects(case, of).await,
        "F" => workers(case, of).await,
        _ => rating(case, of).await,
    }
}

async fn log_normal(case: &mut Case<'_>, of: &Calculations<'_>) {
    let inputs = case.inputs();
    if case.id == "D-06" {
        return preliminary(case, of).await;
    }
    let found = profile(case, of, &quantities(&inputs["data"]), json!({})).await;
    assert_eq!(found.word("/method"), "exact");
    let (mean, deviation) = logarithms(&found, "");
    let upper = |name: &str| found.number(&format!("/percentile_95/{name}"));
    match case.id {
        "D-01" => {
            found.is(case, "n", "/n");
            case.is("mean_of_logs", mean);
            case.is("sd_of_logs", deviation);
            compare_geometric(case, &found);
            // Without non-detects nothing is replaced.
            found.is(case, "arithmetic_mean_simple", "/substitution/half/arithmetic_mean");
            found.is(case, "shapiro_wilk_W_logs", "/lognormal_fit/w");
            found.is(case, "shapiro_wilk_p_logs", "/lognormal_fit/p_value");
            case.leave("shapiro_wilk_W_raw", NO_RAW_FIT);
            case.is("K_95_95", distance(&found, upper("upper_95")));
            found.is(case, "utl_95_95", "/percentile_95/upper_95");
            found.is(case, "percentile_95_point", "/percentile_95/estimate");
        }
        "D-02" => {
            let limit = found.number("/arithmetic_mean/upper_95");
            // ln limit = mean + s^2 / 2 + s H / sqrt(n - 1).
            let factor = (limit.ln() - mean - 0.5 * deviation * deviation) / deviation
                * (found.number("/n") - 1.0).sqrt();
            found.is(case, "mean_mvue", "/arithmetic_mean/estimate");
            case.is("psi_factor", found.number("/arithmetic_mean/estimate") / mean.exp());
            case.leave(
                "mean_mle_exp_mu_plus_half_s2",
                "group-profile gives the unbiased mean where all are detected",
            );
            found.is(case, "land_ucl_95_one_sided", "/arithmetic_mean/upper_95");
            case.is("land_H_95", factor);
            found.is(case, "land_lcl_95_one_sided", "/arithmetic_mean/lower_95");
        }
        "D-07" => {
            compare_geometric(case, &found);
            case.is("U_R", distance(&found, case.number("limit")));
            case.is("U_T", distance(&found, upper("upper_70")));
            found.is(case, "utl_95_70", "/percentile_95/upper_70");
            assert_eq!(found.word("/en_689/stage"), "statistical");
            case.holds("compliance", found.word("/en_689/outcome") == "compliance");
            found.is(case, "utl_95_95", "/percentile_95/upper_95");
        }
        "D-08" => {
            compare_geometric(case, &found);
            found.is(case, "exceedance_point", "/exceedance_fraction/estimate");
            found.is(case, "exceedance_upper_95", "/exceedance_fraction/upper_95");
            found.is(case, "exceedance_lower_95", "/exceedance_fraction/lower_95");
            case.leave(
                "duality_utl_at_coverage_one_minus_upper",
                "group-profile gives limits of the 95th percentile only",
            );
        }
        "D-09" => {
            found.is(case, "W_logs", "/lognormal_fit/w");
            found.is(case, "p_logs", "/lognormal_fit/p_value");
            case.leave("W_raw", NO_RAW_FIT);
            case.leave("p_raw", NO_RAW_FIT);
            case.leave("plot_correlation_logs", "group-profile gives no correlation with normal scores");
            let kept = found.number("/lognormal_fit/p_value") >= 0.05;
            case.holds("lognormal_not_rejected_at_5pct", kept);
            case.leave("normal_rejected_at_5pct", NO_RAW_FIT);
        }
        _ => case.unknown(),
    }
}

async fn preliminary(case: &mut Case<'_>, of: &Calculations<'_>) {
    let mut words = Vec::new();
    for group in case.inputs()["cases"].as_array().unwrap() {
        let unit = &case.inputs()["limit"]["unit"];
        let results = quantities(&json!({"value": group["results"], "unit": unit}));
        let found = profile(case, of, &results, json!({})).await;
        assert_eq!(found.word("/en_689/stage"), "preliminary");
        words.push(match found.word("/en_689/outcome") {
            "compliance" => "compliance",
            "non_compliance" => "non-compliance",
            "no_decision" => "no decision",
            other => panic!("no outcome is called {other}"),
        });
    }
    case.leave(
        "threshold_fraction",
        "group-profile gives what the test says, not the share it compares with",
    );
    case.say("verdict", &words);
}

async fn non_detects(case: &mut Case<'_>, of: &Calculations<'_>) {
    let inputs = case.inputs();
    let given = if case.id == "E-04" {
        let mut given = quantities(&inputs["detected_values"]);
        let mut bound = quantity(&inputs["detection_limit"]);
        bound["comparator"] = "<".into();
        let count = usize::try_from(inputs["non_detect_count"]["value"].as_u64().unwrap()).unwrap();
        given.extend(vec![bound; count]);
        given
    } else {
        results(inputs)
    };
    let found = profile(case, of, &given, json!({})).await;
    assert_eq!(found.word("/method"), "maximum_likelihood");
    let (mean, deviation) = logarithms(&found, "");
    match case.id {
        "E-01" => {
            case.is("mean_of_logs", mean);
            case.is("sd_of_logs", deviation);
            compare_geometric(case, &found);
            found.is(case, "arithmetic_mean", "/arithmetic_mean/estimate");
            case.leave("percentile_90", "group-profile gives the 95th percentile");
            found.is(case, "percentile_95", "/percentile_95/estimate");
            case.leave("log_likelihood_of_logs", "group-profile gives no likelihood");
        }
        "E-02" => {
            found.is(case, "mean_raw", "/kaplan_meier/mean");
            for name in [
                "mean_of_logs",
                "sd_of_logs_population_weights",
                "sd_raw_population_weights",
                "probability_mass_left_below_smallest_detect",
                "lowest_mass_placed_at",
            ] {
                case.leave(name, "of Kaplan and Meier group-profile gives the mean");
            }
        }
        "E-03" => {
            let (mean, deviation) = logarithms(&found, "/order_statistics");
            case.is("mean_of_logs", mean);
            case.is("sd_of_logs", deviation);
            for name in ["arithmetic_mean", "arithmetic_sd", "largest_imputed_value"] {
                case.leave(name, "of order statistics group-profile gives the geometric figures");
            }
        }
        "E-04" => {
            case.is("mle_mean_of_logs", mean);
            case.is("mle_sd_of_logs", deviation);
            for name in ["regression_mean_of_logs", "regression_sd_of_logs"] {
                case.leave(name, "group-profile gives the robust form of order statistics");
            }
        }
        "E-05" => {
            for (divisor, by) in [("2", "half"), ("sqrt2", "root_two")] {
                let at = |name: &str| format!("/substitution/{by}/{name}");
                found.is(case, &format!("mean_LOD_over_{divisor}"), &at("arithmetic_mean"));
                found.is(case, &format!("gm_LOD_over_{divisor}"), &at("geometric_mean"));
                found.is(case, &format!("gsd_LOD_over_{divisor}"), &at("geometric_standard_deviation"));
            }
        }
        "E-07" => {
            found.is(case, "mle_gm", "/geometric_mean");
            found.is(case, "mle_gsd", "/geometric_standard_deviation");
            found.is(case, "mle_percentile_95", "/percentile_95/estimate");
            found.is(case, "mle_exceedance_of_limit", "/exceedance_fraction/estimate");
            found.is(case, "ros_gm", "/order_statistics/geometric_mean");
            found.is(case, "ros_gsd", "/order_statistics/geometric_standard_deviation");
        }
        _ => case.unknown(),
    }
}

async fn workers(case: &mut Case<'_>, of: &Calculations<'_>) {
    let inputs = case.inputs();
    let (mut given, mut labels) = (Vec::new(), Vec::new());
    for worker in inputs["workers"].as_array().unwrap() {
        let of_worker = quantities(&json!({"value": worker["values"], "unit": inputs["unit"]}));
        labels.extend(vec![worker["worker"].clone(); of_worker.len()]);
        given.extend(of_worker);
    }
    let found = profile(case, of, &given, json!({"workers": labels})).await;
    found.is(case, "observations", "/n");
    // The mean square within workers is the variance within them.
    found.is(case, "mean_square_within", "/workers/within");
    found.is(case, "variance_within", "/workers/within");
    found.is(case, "variance_between_untruncated", "/workers/between_untruncated");
    found.is(case, "variance_between", "/workers/between");
    found.is(case, "intraclass_correlation", "/workers/intraclass_correlation");
    for name in ["groups", "mean_square_between", "n0", "F", "p"] {
        case.leave(name, NO_SQUARES);
    }
    match case.id {
        "F-02" => {
            found.is(case, "reml_variance_between", "/workers/reml_between");
            found.is(case, "reml_variance_within", "/workers/reml_within");
            found.is(case, "between_worker_fold_range_95pct", "/workers/fold_range");
        }
        "F-03" => case.holds("truncated_to_zero", found.flagged("between_workers_below_zero")),
        _ => case.unknown(),
    }
}

async fn rating(case: &mut Case<'_>, of: &Calculations<'_>) {
    let end = |name: &str| &case.inputs()["prior"][name]["value"];
    let prior = json!({"gm_lower": end("gm_min"), "gm_upper": end("gm_max"),
        "gsd_lower": end("gsd_min"), "gsd_upper": end("gsd_max")});
    let found = profile(case, of, &results(case.inputs()), json!({"prior": prior})).await;
    let bands = found.part("/posterior/rating_probabilities").as_array().unwrap();
    let bands: Vec<f64> = bands.iter().map(|band| band.as_f64().unwrap()).collect();
    case.are("posterior_band_probability", &bands);
    case.says("most_probable_band", most_probable(case, &bands));
    found.is(case, "posterior_median_of_95th_percentile", "/posterior/percentile_95/median");
    found.is(case, "upper_95_credible_limit_of_95th_percentile", "/posterior/percentile_95/upper_95");
    found.is(case, "posterior_mean_exceedance_fraction", "/posterior/exceedance_fraction/mean");
    // More than 5 % of days lie above the limit exactly when the 95th percentile does.
    case.is("probability_exceedance_above_5pct", bands[4]);
}
