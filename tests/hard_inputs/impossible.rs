//! Numbers that are fine as numbers and impossible as what they stand for.

use crate::harness::TestApp;
use serde_json::{Value, json};

/// A calculation, a body, and the one place at which it is refused.
fn impossible() -> Vec<(&'static str, Value, &'static str)> {
    let ppm = |molar_mass: f64, temperature: f64, pressure: f64| {
        json!({"quantity": {"value": 1, "unit": "[ppm]"}, "to": "mg/m3", "molar_mass": {"value": molar_mass, "unit": "g/mol"},
            "temperature": {"value": temperature, "unit": "Cel"}, "pressure": {"value": pressure, "unit": "kPa"}})
    };
    let kelvin = |quantity: Value| json!({"quantity": quantity, "to": "K"});
    let segment = json!({"concentration": {"value": 1, "unit": "mg/m3"}, "minutes": 15});
    let short_term = |kind: &str, minutes: f64, value: f64| {
        json!({"segments": [segment], "short_term_limits": [
            {"kind": kind, "value": {"value": value, "unit": "mg/m3"}, "averaging_minutes": minutes}]})
    };
    vec![
        ("unit-conversion", ppm(0.03, 25.0, 101.0), "/molar_mass/value"),
        ("unit-conversion", ppm(3e7, 25.0, 101.0), "/molar_mass/value"),
        ("unit-conversion", ppm(30.0, -273.15, 101.0), "/temperature/value"),
        ("unit-conversion", ppm(30.0, 5000.0, 101.0), "/temperature/value"),
        ("unit-conversion", ppm(30.0, 25.0, 0.1), "/pressure/value"),
        ("unit-conversion", ppm(30.0, 25.0, 101_325.0), "/pressure/value"),
        ("unit-conversion", kelvin(json!({"value": -274, "unit": "Cel"})), "/quantity"),
        ("unit-conversion", kelvin(json!({"lower": -274, "upper": 20, "unit": "Cel"})), "/quantity"),
        ("shift-average", short_term("twa", 15.0, 5.0), "/short_term_limits/0/kind"),
        ("shift-average", short_term("stel", 0.0, 5.0), "/short_term_limits/0/averaging_minutes"),
        ("shift-average", short_term("stel", 1441.0, 5.0), "/short_term_limits/0/averaging_minutes"),
        ("shift-average", short_term("ceiling", 15.0, 0.0), "/short_term_limits/0/value/value"),
    ]
}

#[tokio::test]
async fn what_cannot_be_is_refused_at_its_place() {
    let app = TestApp::spawn().await;
    for (name, body, at) in impossible() {
        let answer = app.as_role("corporate").post(&format!("/calculations/{name}"), &body).await;
        assert_eq!((answer.status, answer.pointers()), (422, vec![at]), "{body}: {}", answer.text);
    }
}

#[tokio::test]
async fn what_is_answered_all_the_same_is_flagged() {
    let app = TestApp::spawn().await;
    let noise = json!({"segments": [{"level": {"value": 92, "unit": "dB[A]"}, "minutes": 1441}], "criterion": "niosh"});
    let of = |minutes: f64| {
        json!({"segments": [{"concentration": {"value": 6, "unit": "mg/m3"}, "minutes": minutes}],
            "short_term_limits": [{"kind": "stel", "value": {"value": 7, "unit": "mg/m3"}}]})
    };
    for (name, body, flag) in [
        ("noise-dose", noise, "longer_than_a_day"),
        ("shift-average", of(5.0), "shorter_than_window"),
        ("shift-average", of(20.0), "longer_than_window"),
    ] {
        let answer = app.as_role("corporate").post(&format!("/calculations/{name}"), &body).await;
        assert_eq!((answer.status, &answer.json["flags"]), (200, &json!([flag])), "{body}: {}", answer.text);
    }
}
