//! Time-weighted averages, mixtures and extended shifts.

use super::{Answered, Calculations, are, quantities, quantity, segments};
use crate::case::Case;
use serde_json::{Value, json};

/// The average of a shift.
async fn average(of: &Calculations<'_>, segments: &[Value]) -> Answered {
    of.ask("shift-average", json!({"segments": segments})).await
}

/// A concentration as a share of its limit.
async fn share(of: &Calculations<'_>, concentration: &Value, limit: &Value) -> Answered {
    of.ask("mixture", json!({"components": [{"concentration": concentration, "limit": limit}]})).await
}

/// A limit for longer hours.
async fn adjusted(of: &Calculations<'_>, model: &str, hours: f64, limit: &Value) -> Answered {
    let field = if model.ends_with("weekly") { "hours_per_week" } else { "hours_per_shift" };
    let mut body = json!({"model": model, "limit": limit});
    body[field] = hours.into();
    of.ask("extended-shift", body).await
}

/// The segments of an example.
fn given(case: &Case, minutes: f64) -> Vec<Value> {
    segments(&quantities(&case.inputs()["concentration"]), &case.numbers("duration"), minutes)
}

pub(super) async fn ask(case: &mut Case<'_>, of: &Calculations<'_>) {
    let inputs = case.inputs();
    match case.id {
        "B-01" => {
            let shift = average(of, &given(case, 60.0)).await;
            let ratio = share(of, shift.part("/eight_hour_twa"), &quantity(&inputs["limit"])).await;
            shift.is(case, "twa_8h", "/eight_hour_twa");
            ratio.is(case, "severity", "/equivalent_exposure");
            case.holds("exceeds_limit", ratio.holds("/exceeds"));
        }
        "B-02" => {
            let components: Vec<_> = quantities(&inputs["concentration"])
                .into_iter()
                .zip(quantities(&inputs["limit"]))
                .map(|(concentration, limit)| json!({"concentration": concentration, "limit": limit}))
                .collect();
            let found = of.ask("mixture", json!({"components": components})).await;
            found.is(case, "equivalent_exposure", "/equivalent_exposure");
            case.holds("exceeds_limit", found.holds("/exceeds"));
        }
        "B-03" => {
            // The lead limit of 50 ug/m3 is the constant over 8 hours.
            let limit = json!({"value": case.number("constant") / 8.0, "unit": "ug/m3"});
            let found = adjusted(of, "lead_daily", case.number("hours_worked"), &limit).await;
            found.is(case, "allowable_twa", "/adjusted_limit");
        }
        "B-04" => {
            let (hours, limit) = (case.number("hours_per_day"), quantity(&inputs["limit"]));
            let found = adjusted(of, "brief_scala_daily", hours, &limit).await;
            found.is(case, "reduction_factor", "/factor");
            found.is(case, "adjusted_limit", "/adjusted_limit");
        }
        "B-05" => {
            let minutes = case.number("sampled_time");
            let sampled =
                json!([{"concentration": quantity(&inputs["sampled_concentration"]), "minutes": minutes}]);
            let limit = json!({"value": 5, "unit": "ug/m3"});
            let background = json!({"concentration": quantity(&inputs["measured_background"])});
            for (unsampled, name, exceeds) in [
                (json!("zero"), "twa_unsampled_zero", Some("exceeds_5_if_zero")),
                (json!("as_sampled"), "twa_unsampled_same", Some("exceeds_5_if_same")),
                (background, "twa_unsampled_background", None),
            ] {
                let body = json!({"segments": sampled, "unsampled": unsampled,
                    "unsampled_minutes": case.number("shift") - minutes});
                let shift = of.ask("shift-average", body).await;
                shift.is(case, name, "/eight_hour_twa");
                if let Some(name) = exceeds {
                    let ratio = share(of, shift.part("/eight_hour_twa"), &limit).await;
                    case.holds(name, ratio.holds("/exceeds"));
                }
            }
        }
        "B-06" => {
            let limit = quantity(&inputs["limit"]);
            let daily = adjusted(of, "equal_dose_daily", case.number("hours_per_day"), &limit).await;
            let weekly = adjusted(of, "equal_dose_weekly", case.number("hours_per_week"), &limit).await;
            daily.is(case, "daily_factor", "/factor");
            weekly.is(case, "weekly_factor", "/factor");
            daily.is(case, "limit_daily_adjusted", "/adjusted_limit");
            weekly.is(case, "limit_weekly_adjusted", "/adjusted_limit");
        }
        "B-07" => {
            let tasks = given(case, 1.0);
            let shift = average(of, &tasks).await;
            let twa = shift.number("/eight_hour_twa");
            let mut largest = 0.0_f64;
            for task in &tasks {
                let alone = average(of, std::slice::from_ref(task)).await;
                largest = largest.max(alone.number("/eight_hour_twa"));
            }
            let ratio = share(of, shift.part("/eight_hour_twa"), &quantity(&inputs["limit"])).await;
            shift.is(case, "twa_8h", "/eight_hour_twa");
            case.holds("at_or_above_action_level", twa >= case.number("action_level"));
            case.holds("exceeds_limit", ratio.holds("/exceeds"));
            case.is("largest_task_share", 100.0 * largest / twa);
        }
        "B-08" => {
            let window = average(of, &given(case, 1.0)).await;
            let limit = quantity(&inputs["short_term_limit"]);
            let ratio = share(of, window.part("/sampled_average"), &limit).await;
            window.is(case, "stel_15min", "/sampled_average");
            case.holds("exceeds_limit", ratio.holds("/exceeds"));
        }
        "B-09" => {
            let limit = json!({"value": 1, "unit": "mg/m3"});
            let mut daily = Vec::new();
            for hours in case.numbers("hours_per_day") {
                daily.push(adjusted(of, "brief_scala_daily", hours, &limit).await);
            }
            let weekly = adjusted(of, "brief_scala_weekly", case.number("hours_per_week"), &limit).await;
            are(case, "daily_factor", &daily, "/factor");
            weekly.is(case, "weekly_factor", "/factor");
        }
        _ => case.unknown(),
    }
}
