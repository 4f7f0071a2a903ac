//! Least air and least time.

use super::{Answered, Calculations, are, quantities, quantity};
use crate::case::Case;
use serde_json::{Value, json};

/// The least air that shows the stated share of a limit.
async fn plan(case: &Case<'_>, of: &Calculations<'_>, limit: &str, mass: &Value, flow: &Value) -> Answered {
    let body = json!({"limit": quantity(&case.inputs()[limit]), "reporting_limit_mass": mass, "flow": flow,
        "fraction_of_limit": case.number("fraction")});
    of.ask("sample-plan", body).await
}

pub(super) async fn ask(case: &mut Case<'_>, of: &Calculations<'_>) {
    let inputs = case.inputs();
    match case.id {
        "K-02" => {
            let mass = quantity(&inputs["lowest_quantified_mass"]);
            let mut plans = Vec::new();
            for flow in quantities(&inputs["flow"]) {
                plans.push(plan(case, of, "limit", &mass, &flow).await);
            }
            plans[0].is(case, "min_volume", "/minimum_volume");
            are(case, "min_time", &plans, "/minimum_minutes");
            case.leave("max_time_by_method_volume", "sample-plan takes no greatest volume of a method");
        }
        "K-04" => {
            let mass = json!({"value": case.number("lod") * case.number("loq_multiple"), "unit": "ug"});
            let (flow, limit) = (quantity(&inputs["flow"]), quantity(&inputs["recommended_limit"]));
            let body = json!({"flow_before": flow, "flow_after": flow, "minutes": case.number("time")});
            let air = of.ask("air-volume", body).await;
            let lowest = of.ask("concentration", json!({"mass": mass, "volume": air.part("/volume")})).await;
            let component = json!({"concentration": lowest.part("/concentration"), "limit": limit});
            let reached = of.ask("mixture", json!({"components": [component]})).await;
            let needed = plan(case, of, "recommended_limit", &mass, &flow).await;
            air.is(case, "volume", "/volume");
            lowest.is(case, "lowest_quantifiable_concentration", "/concentration");
            reached.is(case, "fraction_of_limit_reachable", "/equivalent_exposure");
            let enough = reached.number("/equivalent_exposure") <= case.number("fraction");
            case.holds("reaches_10_percent", enough);
            needed.is(case, "volume_needed", "/minimum_volume");
            needed.is(case, "time_needed", "/minimum_minutes");
        }
        _ => case.unknown(),
    }
}
