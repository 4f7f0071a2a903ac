//! Severity and limits with sampling and analytical error.

use super::{Answered, Calculations, are, quantities, quantity, segments};
use crate::case::Case;
use serde_json::{Value, json};

/// Segments against their limit.
async fn severity(of: &Calculations<'_>, segments: &[Value], limit: &Value, error: f64) -> Answered {
    let body = json!({"segments": segments, "limit": limit, "sampling_analytical_error": error});
    of.ask("severity", body).await
}

/// One sample over the whole shift.
async fn single(of: &Calculations<'_>, result: &Value, limit: &Value, error: f64) -> Answered {
    let segment = json!({"concentration": result, "minutes": 480});
    severity(of, &[segment], limit, error).await
}

/// Compares the classification, in the words of the sources.
fn compare_classification(case: &mut Case, found: &Answered) {
    let word = match found.word("/classification") {
        "above_limit" => "violation",
        "possibly_above_limit" => "possible overexposure",
        "not_above_limit" => "compliance",
        other => panic!("no classification is called {other}"),
    };
    case.says("classification", word);
}

pub(super) async fn ask(case: &mut Case<'_>, of: &Calculations<'_>) {
    let inputs = case.inputs();
    match case.id {
        "C-01" => {
            let (result, limit) = (quantity(&inputs["result"]), quantity(&inputs["limit"]));
            let found = single(of, &result, &limit, case.number("sae")).await;
            found.is(case, "severity", "/severity");
            found.is(case, "lcl", "/lower_95");
            found.is(case, "ucl", "/upper_95");
            compare_classification(case, &found);
        }
        "C-02" => {
            let (limit, error) = (quantity(&inputs["limit"]), case.number("sae"));
            let segments = segments(&quantities(&inputs["concentration"]), &case.numbers("duration"), 1.0);
            let shift = of.ask("shift-average", json!({"segments": segments})).await;
            let simple = single(of, shift.part("/sampled_average"), &limit, error).await;
            let found = severity(of, &segments, &limit, error).await;
            shift.is(case, "twa", "/sampled_average");
            found.is(case, "severity", "/severity");
            simple.is(case, "lcl_simple", "/lower_95");
            found.is(case, "lcl_exact", "/lower_95");
            compare_classification(case, &found);
        }
        "C-03" => {
            let (result, limit) = (quantity(&inputs["result"]), quantity(&inputs["limit"]));
            let found = single(of, &result, &limit, case.number("z") * case.number("cv_total")).await;
            found.is(case, "severity", "/severity");
            found.is(case, "ucl", "/upper_95");
            compare_classification(case, &found);
        }
        "C-04" => {
            let components: Vec<_> = quantities(&inputs["concentration"])
                .into_iter()
                .zip(quantities(&inputs["limit"]))
                .zip(case.numbers("sae"))
                .map(|((concentration, limit), error)| {
                    json!({"concentration": concentration, "limit": limit, "sampling_analytical_error": error})
                })
                .collect();
            let whole = of.ask("mixture", json!({"components": components})).await;
            let (exposure, control) = (whole.number("/equivalent_exposure"), whole.number("/control_limit"));
            let mut shares = Vec::new();
            for component in &components {
                let alone = of.ask("mixture", json!({"components": [component]})).await;
                shares.push(alone.number("/equivalent_exposure") / exposure);
            }
            whole.is(case, "equivalent_exposure", "/equivalent_exposure");
            case.are("component_share", &shares);
            whole.is(case, "mixture_sae", "/mixture_error");
            whole.is(case, "control_limit", "/control_limit");
            assert!(exposure > control);
            case.says("classification", "overexposure established at 95 %");
        }
        "C-06" => {
            let (confidence, top) = (case.number("confidence"), case.number("top_fraction"));
            let plan = async |size: &Value| {
                let body = json!({"group_size": size, "confidence": confidence, "top_fraction": top});
                of.ask("sample-plan", body).await
            };
            let mut exact = Vec::new();
            for size in inputs["group_size"]["value"].as_array().unwrap() {
                exact.push(plan(size).await);
            }
            are(case, "sample_size_exact", &exact, "/workers_to_sample");
            // As good as without end: the largest group that may be asked about.
            let endless = plan(&json!(1_000_000)).await;
            endless.is(case, "sample_size_infinite_group", "/workers_to_sample");
        }
        _ => case.unknown(),
    }
}
