//! Rating bands from the posterior distribution.

use crate::case::{Case, check_area};
use doseward::hygiene::censored::LogResult;
use doseward::hygiene::posterior::{Posterior, Prior, PriorBox, RATING_EDGES};
use doseward::hygiene::profile::{Against, group_profile};

#[test]
fn worked_examples_of_rating_bands() {
    check_area("G", check);
}

/// The box that an example takes for possible.
pub(crate) fn prior(case: &Case) -> PriorBox {
    let end = |name: &str| case.inputs()["prior"][name]["value"].as_f64().unwrap();
    PriorBox {
        gm_lower: end("gm_min"),
        gm_upper: end("gm_max"),
        gsd_lower: end("gsd_min"),
        gsd_upper: end("gsd_max"),
    }
}

/// The name of the band with the largest probability.
pub(crate) fn most_probable<'d>(case: &Case<'d>, rating: &[f64]) -> &'d str {
    let best = (0..rating.len()).max_by(|&one, &two| rating[one].total_cmp(&rating[two])).unwrap();
    case.inputs()["bands"][best].as_str().unwrap()
}

pub(crate) fn check(case: &mut Case) {
    let (results, limit, prior) = (case.results(), case.number("limit"), prior(case));
    assert_eq!(case.numbers("band_edges"), RATING_EDGES);
    let against = Against { limit: Some(limit), prior: Some(prior), workers: None };
    let found = group_profile(&results, &against).posterior.unwrap();
    let rating = found.rating_probabilities.unwrap();
    let logs: Vec<_> = results.iter().map(|result| LogResult::of(*result).unwrap()).collect();
    let posterior = Posterior::of(&logs, Prior::Box(prior)).unwrap();
    case.are("posterior_band_probability", &rating);
    case.says("most_probable_band", most_probable(case, &rating));
    case.is("posterior_median_of_95th_percentile", found.percentile_95_median);
    case.is("upper_95_credible_limit_of_95th_percentile", found.percentile_95_upper_95);
    case.is("posterior_mean_exceedance_fraction", found.exceedance_mean.unwrap());
    // More than 5 % of days lie above the limit exactly when the 95th percentile does.
    let share = 1.0 - case.number("percentile");
    let above = 1.0 - posterior.percentile_below(1.0 - share, limit);
    case.is("probability_exceedance_above_5pct", above);
}
