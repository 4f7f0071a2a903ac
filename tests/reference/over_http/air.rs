//! Air volume, flow and concentration.

use super::{Answered, Calculations, are, quantities, quantity};
use crate::case::Case;
use serde_json::{Value, json};

/// The air between two flows.
async fn volume(of: &Calculations<'_>, before: &Value, after: &Value, minutes: f64) -> Answered {
    of.ask("air-volume", json!({"flow_before": before, "flow_after": after, "minutes": minutes})).await
}

/// A mass on the volume of an answer.
async fn on_air(of: &Calculations<'_>, mass: &Value, air: &Answered) -> Answered {
    of.ask("concentration", json!({"mass": mass, "volume": air.part("/volume")})).await
}

/// A quantity in another unit.
async fn convert(of: &Calculations<'_>, quantity: &Value, to: &str, further: Value) -> Answered {
    let mut body = further;
    body["quantity"] = quantity.clone();
    body["to"] = to.into();
    of.ask("unit-conversion", body).await
}

/// Compares whether the flow changed too much.
fn compare_flow_check(case: &mut Case, air: &Answered) {
    case.holds("flow_check_passed", !air.flagged("flow_changed"));
}

#[expect(clippy::too_many_lines, reason = "one arm for each example")]
pub(super) async fn ask(case: &mut Case<'_>, of: &Calculations<'_>) {
    let inputs = case.inputs();
    match case.id {
        "A-01" => {
            let flow = quantity(&inputs["flow_rate"]);
            let (mut drawn, mut found) = (Vec::new(), Vec::new());
            for (minutes, mass) in
                case.numbers("sampling_time").into_iter().zip(quantities(&inputs["mass_on_filter"]))
            {
                let air = volume(of, &flow, &flow, minutes).await;
                found.push(on_air(of, &mass, &air).await);
                drawn.push(air);
            }
            are(case, "air_volume", &drawn, "/volume");
            are(case, "concentration", &found, "/concentration");
        }
        "A-02" => {
            let (before, after) = (quantity(&inputs["flow_before"]), quantity(&inputs["flow_after"]));
            let air = volume(of, &before, &after, case.number("sampling_time")).await;
            let cubic = convert(of, air.part("/volume"), "m3", json!({})).await;
            air.is(case, "mean_flow", "/mean_flow");
            air.is(case, "flow_change", "/flow_change_percent");
            compare_flow_check(case, &air);
            air.is(case, "air_volume", "/volume");
            cubic.is(case, "air_volume_m3", "/quantity");
        }
        "A-03" => {
            let (before, after) = (quantity(&inputs["flow_before"]), quantity(&inputs["flow_after"]));
            let (minutes, mass) = (case.number("sampling_time"), quantity(&inputs["mass_on_filter"]));
            let air = volume(of, &before, &after, minutes).await;
            assert!(case.number("flow_after") < case.number("flow_before"));
            let least = volume(of, &after, &after, minutes).await;
            air.is(case, "flow_change", "/flow_change_percent");
            case.leave(
                "flow_change_relative_to_mean",
                "air-volume gives the change relative to the flow before",
            );
            compare_flow_check(case, &air);
            let found = on_air(of, &mass, &air).await;
            found.is(case, "concentration_using_mean_flow", "/concentration");
            let found = on_air(of, &mass, &least).await;
            found.is(case, "concentration_using_lower_flow", "/concentration");
        }
        "A-04" => {
            let flow = quantity(&inputs["mean_flow"]);
            let air = volume(of, &flow, &flow, case.number("sampling_time")).await;
            let body = json!({"mass": quantity(&inputs["mass_on_filter"]), "volume": air.part("/volume"),
                "field_blank_masses": quantities(&inputs["field_blank_masses"])});
            let found = of.ask("concentration", body).await;
            found.is(case, "mean_field_blank", "/mean_field_blank");
            found.is(case, "blank_corrected_mass", "/mass_corrected");
            found.is(case, "concentration", "/concentration");
        }
        "A-05" => {
            let reading = quantity(&inputs["rotameter_reading"]);
            let corrected = json!({"value": 294.29, "unit": "K"});
            for (name, kelvin) in [
                ("actual_flow", quantity(&inputs["calibration_temperature"])),
                ("actual_flow_with_corrected_calibration_temperature_294_29_K", corrected),
            ] {
                let calibrated =
                    json!({"temperature": kelvin, "pressure": quantity(&inputs["calibration_pressure"])});
                let used = json!({"temperature": quantity(&inputs["ambient_temperature"]),
                    "pressure": quantity(&inputs["ambient_pressure"])});
                let body = json!({"flow_before": reading, "flow_after": reading, "minutes": 60,
                    "rotameter": {"calibrated_at": calibrated, "used_at": used}});
                of.ask("air-volume", body).await.is(case, name, "/mean_flow");
            }
        }
        "A-06" => {
            let mut found = Vec::new();
            for (ppm, molar_mass) in
                quantities(&inputs["ppm"]).iter().zip(quantities(&inputs["molecular_weight"]))
            {
                found.push(convert(of, ppm, "mg/m3", json!({"molar_mass": molar_mass})).await);
            }
            are(case, "mg_per_m3", &found, "/quantity");
        }
        "A-07" => {
            let (mass, molar_mass) =
                (quantity(&inputs["concentration"]), quantity(&inputs["molecular_weight"]));
            let there = json!({"molar_mass": molar_mass, "temperature": quantity(&inputs["temperature"]),
                "pressure": quantity(&inputs["pressure"])});
            convert(of, &mass, "[ppm]", there).await.is(case, "ppm", "/quantity");
            let standard = convert(of, &mass, "[ppm]", json!({"molar_mass": molar_mass})).await;
            standard.is(case, "ppm_if_standard_conditions_assumed", "/quantity");
        }
        "A-10" => {
            for (name, from, to, molar_mass) in [
                ("formaldehyde_mg_m3", "formaldehyde_ppm", "mg/m3", "formaldehyde_molecular_weight"),
                ("carbon_monoxide_ppm", "carbon_monoxide_mg_m3", "[ppm]", "carbon_monoxide_molecular_weight"),
            ] {
                let further = json!({"molar_mass": quantity(&inputs[molar_mass])});
                convert(of, &quantity(&inputs[from]), to, further).await.is(case, name, "/quantity");
            }
        }
        "A-11" => {
            // The service takes what was weighed as a gain.
            let gain = |before: &str, after: &str| json!({"value": case.number(after) - case.number(before), "unit": "mg"});
            let body = json!({"mass": gain("filter_weight_before", "filter_weight_after"),
                "volume": quantity(&inputs["air_volume"]),
                "field_blank_masses": [gain("blank_weight_before", "blank_weight_after")]});
            let found = of.ask("concentration", body).await;
            found.is(case, "net_mass", "/mass_corrected");
            found.is(case, "concentration", "/concentration");
        }
        _ => case.unknown(),
    }
}
