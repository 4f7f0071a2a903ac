//! Confirmed respirators: the dose beside the dose, and only under its conditions.

use crate::harness::TestApp;
use serde_json::{Value, json};

#[track_caller]
fn near(found: &Value, expected: f64) {
    let number = found.as_f64().unwrap_or_else(|| panic!("{found} is no number; {expected} was expected"));
    assert!((number / expected - 1.0).abs() < 1e-9, "{number} is not {expected}");
}

#[tokio::test]
async fn a_confirmed_respirator_makes_a_second_dose_and_changes_nothing_else() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let group = app.group(&site, "SMELT").await;
    let hood =
        json!({"code": "R-1", "title": "Hood", "kind": "respirator", "assigned_protection_factor": 50});
    let hood = hygienist.post(&format!("/sites/{site}/controls"), &hood).await.id();
    let person = json!({"employee_number": "1", "given_name": "Ada", "family_name": "Vale", "employer": "Own works",
        "hired_on": "2024-01-01", "left_on": "2025-12-31"});
    let worker = hygienist.post("/workers", &person).await.id();
    let assignment = json!({"group_id": group, "from": "2024-01-01", "to": "2026-01-01", "shifts_per_week": 5,
        "hours_per_shift": 8, "respirator_control_id": hood, "respirator_worn_share": 0.5});
    let assignment = hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    let ten = |end: f64| json!({"value": end, "unit": "ug/m3"});
    let judgement = json!({"group_id": group, "agent_code": "cadmium", "from": "2024-01-01", "kind": "historical",
        "rating": 4, "arithmetic_mean": {"lower": ten(8.0), "upper": ten(12.0)}, "rationale": "As in 2023."});
    hygienist.post(&format!("/sites/{site}/judgements"), &judgement).await.id();
    let path = format!("/workers/{worker}/history?agent_code=cadmium&to=2026-01-01&working=true");
    let before = hygienist.get(&path).await.json;
    assert_eq!(before.get("cumulative_with_respirator"), None, "nobody has confirmed it");

    let confirmations = format!("/assignments/{assignment}/respirator-confirmations");
    let confirmed = json!({"from": "2025-01-01", "fit": true, "programme": true});
    assert_eq!(app.as_role("coordinator").post(&confirmations, &confirmed).await.status, 403);
    let without_programme =
        json!({"from": "2024-01-01", "to": "2025-01-01", "fit": true, "programme": false});
    hygienist.post(&confirmations, &without_programme).await.id();
    assert_eq!(hygienist.get(&path).await.json.get("cumulative_with_respirator"), None);
    for (field, day, pointer) in
        [("from", "2023-12-31", "/from"), ("to", "2026-01-02", "/to"), ("to", "2025-01-01", "/to")]
    {
        let mut wrong = confirmed.clone();
        wrong[field] = json!(day);
        let answer = hygienist.post(&confirmations, &wrong).await;
        assert_eq!((answer.status, answer.pointers()), (422, vec![pointer]), "{wrong}");
    }
    let id = hygienist.post(&confirmations, &confirmed).await.id();
    let mut after = hygienist.get(&path).await.json;
    // Arithmetic: 10 ug/m3 are 0.01 mg/m3; 366 days at all of it, 365 at 0.5 + 0.5 / 50 = 0.51 of it.
    near(&after["cumulative"]["value"], 0.01 * 731.0 / 365.25);
    let assumed = after["cumulative_with_respirator"].clone();
    near(&assumed["value"], 0.01 * (366.0 + 0.51 * 365.0) / 365.25);
    near(&assumed["lower"], 0.008 * (366.0 + 0.51 * 365.0) / 365.25);
    near(&assumed["upper"], 0.012 * (366.0 + 0.51 * 365.0) / 365.25);
    near(&assumed["years_credited"], 365.0 / 365.25);
    assert_eq!(
        (&assumed["unit"], &assumed["assumption"]),
        (&json!("mg/m3.a"), &json!("assumed protection, not measured"))
    );
    let step =
        after["working"].as_array().unwrap().iter().find(|step| step["step"] == "cumulative with respirator");
    assert!(step.unwrap()["source"].as_str().unwrap().contains("1910.1025(c)(3)"));
    // Beside it all is as it was: intervals, dose, days.
    for changed in ["cumulative_with_respirator", "working", "position"] {
        after.as_object_mut().unwrap().remove(changed);
    }
    let mut unchanged = before.clone();
    for changed in ["working", "position"] {
        unchanged.as_object_mut().unwrap().remove(changed);
    }
    assert_eq!(after, unchanged);
    // By a lag that takes the confirmed year off, nothing is credited.
    let lagged = hygienist.get(&format!("{path}&lag_years=1")).await.json;
    assert_eq!(lagged.get("cumulative_with_respirator"), None);
    hygienist
        .post(&format!("/respirator-confirmations/{id}/voiding"), &json!({"reason": "Not tested."}))
        .await
        .id();
    assert_eq!(hygienist.get(&path).await.json.get("cumulative_with_respirator"), None);
}
