//! Noise and cumulative exposure.

use super::{Answered, Calculations, are, quantities, quantity};
use crate::case::Case;
use serde_json::{Value, json};

/// The dose of levels, each over its hours.
async fn noise(of: &Calculations<'_>, levels: &[Value], hours: &[f64], criterion: &str) -> Answered {
    let segments: Vec<_> = levels
        .iter()
        .zip(hours)
        .map(|(level, hours)| json!({"level": level, "minutes": 60.0 * hours}))
        .collect();
    of.ask("noise-dose", json!({"segments": segments, "criterion": criterion})).await
}

/// The jobs of a history as intervals.
fn intervals(inputs: &Value) -> Vec<Value> {
    let of = |job: &Value| json!({"from": job["start"], "to": job["end_exclusive"], "mean": quantity(&job["mean_concentration"])});
    inputs["jobs"].as_array().unwrap().iter().map(of).collect()
}

/// The dose of intervals.
async fn cumulative(of: &Calculations<'_>, intervals: &[Value], further: Value) -> Answered {
    let mut body = further;
    body["intervals"] = intervals.into();
    of.ask("cumulative-exposure", body).await
}

pub(super) async fn ask(case: &mut Case<'_>, of: &Calculations<'_>) {
    let inputs = case.inputs();
    match case.id {
        "I-02" => {
            let (levels, hours) = (quantities(&inputs["level"]), case.numbers("duration"));
            let action = noise(of, &levels, &hours, "osha_action_level").await;
            let limit = noise(of, &levels, &hours, "osha_limit").await;
            action.is(case, "dose_threshold_80", "/dose_percent");
            action.is(case, "twa_threshold_80", "/eight_hour_twa");
            limit.is(case, "dose_threshold_90", "/dose_percent");
            limit.is(case, "twa_threshold_90", "/eight_hour_twa");
            case.holds("action_level_50_percent_reached", action.number("/dose_percent") >= 50.0);
            case.holds("limit_100_percent_exceeded", limit.number("/dose_percent") > 100.0);
        }
        "I-05" => {
            let (levels, hours) = (quantities(&inputs["level"]), case.numbers("duration"));
            let found = noise(of, &levels, &hours, "niosh").await;
            // The time that fills the dose of a level: eight hours over the share that they make of it.
            let mut allowed = Vec::new();
            for level in &levels {
                let alone = noise(of, std::slice::from_ref(level), &[8.0], "niosh").await;
                allowed.push(480.0 / (alone.number("/dose_percent") / 100.0));
            }
            case.are("allowed_minutes", &allowed);
            found.is(case, "dose", "/dose_percent");
            found.is(case, "twa", "/eight_hour_twa");
            case.holds("exceeds", found.number("/dose_percent") > 100.0);
        }
        "J-02" => {
            let jobs = intervals(inputs);
            let total = cumulative(of, &jobs, json!({})).await;
            let mut single = Vec::new();
            for job in &jobs {
                single.push(cumulative(of, std::slice::from_ref(job), json!({})).await);
            }
            let dose = |at: usize| single[at].number("/cumulative/value");
            let highest = (0..single.len()).max_by(|&one, &two| dose(one).total_cmp(&dose(two))).unwrap();
            are(case, "cumulative_by_job", &single, "/cumulative");
            total.is(case, "cumulative", "/cumulative");
            total.is(case, "duration", "/years_exposed");
            total.is(case, "average_intensity", "/average_intensity");
            case.says("highest_job", inputs["jobs"][highest]["job"].as_str().unwrap());
        }
        "J-03" => {
            let jobs = intervals(case.inputs_of(inputs["jobs_as_in"].as_str().unwrap()));
            let as_of = &inputs["reference_date"];
            let lagged = json!({"as_of": as_of, "lag_years": inputs["lag"]["value"]});
            let lagged = cumulative(of, &jobs, lagged).await;
            lagged.is(case, "lagged_cumulative", "/cumulative");
            let unlagged = cumulative(of, &jobs, json!({"as_of": as_of})).await;
            unlagged.is(case, "unlagged_cumulative", "/cumulative");
        }
        _ => case.unknown(),
    }
}
