//! Control efficiency and air changes.

use super::{Answered, Calculations, quantities, results};
use crate::case::Case;
use serde_json::{Value, json};

/// Results without and with the control.
async fn effect(of: &Calculations<'_>, sides: [Vec<Value>; 2], paired: bool, target: f64) -> Answered {
    let [without, with] = sides;
    let body =
        json!({"without": without, "with": with, "paired": paired, "target_reduction_percent": target});
    of.ask("control-effect", body).await
}

/// Compares what the paired and the unpaired examples have in common.
async fn compare(case: &mut Case<'_>, of: &Calculations<'_>, paired: bool) -> Answered {
    let sides = ["before", "after"].map(|side| quantities(&case.inputs()[side]));
    let found = effect(of, sides, paired, case.number("target_reduction")).await;
    found.is(case, "ratio_after_to_before", "/ratio_of_geometric_means/estimate");
    found.is(case, "ratio_lower_95", "/ratio_of_geometric_means/lower_95");
    found.is(case, "ratio_upper_95", "/ratio_of_geometric_means/upper_95");
    found.is(case, "reduction", "/reduction_percent/estimate");
    found.is(case, "reduction_lower_95", "/reduction_percent/lower_95");
    found.is(case, "reduction_upper_95", "/reduction_percent/upper_95");
    found.is(case, "p_two_sided", "/p_value");
    case.leave("one_sided_95_lower_bound_of_reduction", "control-effect gives two-sided limits");
    let word = match (found.word("/verdict"), found.word("/target")) {
        ("lowered", "met") => "reduction shown and target met",
        ("lowered", _) => "reduction shown",
        ("raised", _) => "increase shown",
        ("no_difference_shown" | "undecided", _) => "no reduction shown",
        other => panic!("no verdict is called {other:?}"),
    };
    case.says("verdict", word);
    found
}

pub(super) async fn ask(case: &mut Case<'_>, of: &Calculations<'_>) {
    let inputs = case.inputs();
    match case.id {
        "H-01" => {
            let found = compare(case, of, true).await;
            assert_eq!(found.word("/method"), "paired_on_logs");
            case.leave("reduction_from_arithmetic_means", "control-effect compares geometric means");
        }
        "H-02" => {
            let found = compare(case, of, false).await;
            assert_eq!(found.word("/method"), "welch_on_logs");
            case.leave("welch_df", "control-effect gives no degrees of freedom");
        }
        "H-06" => {
            let counts = quantities(&inputs["count"]);
            let readings: Vec<_> = case
                .numbers("time")
                .into_iter()
                .zip(&counts)
                .map(|(minutes, count)| json!({"minutes": minutes, "value": count["value"]}))
                .collect();
            let (first, last) = (0, readings.len() - 1);
            let clearing = async |readings: Value| {
                let body = json!({"readings": readings, "background": inputs["background"]["value"]});
                of.ask("air-clearing", body).await
            };
            let two_point = clearing(json!([readings[first], readings[last]])).await;
            let found = clearing(json!(readings)).await;
            let ends = json!({"inlet": [counts[first]], "outlet": [counts[last]]});
            let removed = of.ask("removal-efficiency", ends).await;
            two_point.is(case, "ach_two_point", "/air_changes_per_hour");
            found.is(case, "ach_regression", "/air_changes_per_hour");
            found.is(case, "half_life", "/half_life_minutes");
            found.is(case, "r_squared", "/r_squared");
            removed.is(case, "percent_removed_in_25_min", "/efficiency_percent/estimate");
        }
        "H-07" => {
            let found = compare(case, of, true).await;
            assert_eq!((found.word("/verdict"), found.word("/target")), ("undecided", "unsettled"));
        }
        "H-09" => {
            let sides = ["before", "after"].map(|side| results(&inputs[side]));
            let found = effect(of, sides, false, 50.0).await;
            assert_eq!(found.word("/method"), "profile_likelihood");
            let limit = |name: &str| found.number(&format!("/ratio_of_geometric_means/{name}"));
            case.is("ln_ratio", limit("estimate").ln());
            case.is("ratio_after_to_before", limit("estimate"));
            found.is(case, "reduction", "/reduction_percent/estimate");
            case.leave("common_sd_of_logs", "control-effect gives no standard deviation");
            case.leave("wald_95_ratio", "control-effect gives the limits of the profile likelihood");
            case.are("profile_likelihood_95_ratio", &[limit("lower_95"), limit("upper_95")]);
        }
        _ => case.unknown(),
    }
}
