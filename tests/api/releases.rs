//! A release, from its record to what is owed: monitoring of the group, and examinations of those who were there.

use crate::harness::TestApp;
use serde_json::{Value, json};

#[tokio::test]
async fn a_release_makes_monitoring_owed_and_an_examination_of_everybody_present() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let (mix, store) = (app.group(&site, "MIX").await, app.group(&site, "STORE").await);
    let mut workers = Vec::new();
    // Assigned on that day; until the day before; elsewhere, but named; elsewhere; assigned until the day after; assigned and
    // absent. The seventh was sampled there on that day, and the eighth has a day on record, without being assigned.
    for (number, group, to) in [
        ("1", &mix, None),
        ("2", &mix, Some("2026-02-24")),
        ("3", &store, None),
        ("4", &store, None),
        ("5", &mix, Some("2026-02-25")),
        ("6", &mix, None),
        ("7", &mix, Some("nowhere")),
        ("8", &mix, Some("nowhere")),
    ] {
        let worker = json!({"employee_number": number, "given_name": "Ada", "family_name": "Vale",
            "employer": "Own works", "hired_on": "2025-01-06"});
        let worker = hygienist.post("/workers", &worker).await.id();
        let mut body =
            json!({"group_id": group, "from": "2025-01-06", "shifts_per_week": 5, "hours_per_shift": 8});
        if to == Some("nowhere") {
            workers.push(worker);
            continue;
        }
        if let Some(to) = to {
            body["to"] = json!(to);
        }
        hygienist.post(&format!("/workers/{worker}/assignments"), &body).await.id();
        workers.push(worker);
    }
    let away = json!({"from": "2026-02-23", "to": "2026-02-28"});
    hygienist.post(&format!("/workers/{}/absences", workers[5]), &away).await.id();
    let worked = json!({"date": "2026-02-24", "group_id": mix, "hours": 8});
    hygienist.post(&format!("/workers/{}/worked-days", workers[7]), &worked).await.id();
    // A first round far below the action level of 0.5 ppm (29 CFR 1910.1028(b)): nothing is owed any more.
    let sample = json!({"number": "B-1", "position": "breathing_zone", "shift_date": "2026-02-03",
        "worker_id": workers[0], "group_id": mix, "agent_codes": ["benzene"], "sampler_kind": "passive",
        "runs": [{"start": "2026-02-03T07:00:00-07:00", "end": "2026-02-03T15:00:00-07:00"}]});
    let on_that_day = json!({"number": "B-2", "position": "breathing_zone", "shift_date": "2026-02-24",
        "worker_id": workers[6], "group_id": mix, "agent_codes": ["benzene"], "sampler_kind": "passive",
        "runs": [{"start": "2026-02-24T15:00:00-07:00", "end": "2026-02-24T19:00:00-07:00"}]});
    let event = json!({"reference": "1", "sampled_by": "K. Marl", "samples": [sample, on_that_day]});
    let event = hygienist.post(&format!("/sites/{site}/sampling-events"), &event).await;
    let result = json!({"sample_number": "B-1", "agent_code": "benzene", "blank_corrected": "yes",
        "concentration": {"value": 0.1, "unit": "[ppm]"}, "reporting_limit": {"value": 0.01, "unit": "[ppm]"}});
    let report = json!({"report_number": "1", "laboratory": "Hollow Lane Laboratory",
        "received_on": "2026-02-20", "results": [result]});
    hygienist.post(&format!("/sites/{site}/lab-reports"), &report).await.id();
    let id = event.json["samples"][0]["id"].as_str().unwrap();
    let accepted = hygienist.post(&format!("/samples/{id}/acceptance"), &json!({})).await;
    assert_eq!(accepted.status, 201, "{}", accepted.text);

    let owed = async |query: &str| -> Vec<Value> {
        app.registry.settle().await.unwrap();
        let answer = app.as_role("physician").get(&format!("/duties?{query}")).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        let items = answer.json["items"].as_array().unwrap().iter();
        items.filter(|duty| duty["status"] != "withdrawn").cloned().collect()
    };
    assert_eq!(owed("kind=monitor_again&status=open").await, Vec::<Value>::new());
    assert_eq!(owed("kind=offer_examination").await, Vec::<Value>::new());

    // Half an hour before midnight on the 24th at the site: the 25th in universal time.
    let release = json!({"at": "2026-02-24T23:30:00-07:00", "agent_codes": ["benzene"], "group_ids": [mix],
        "worker_ids": [workers[2]], "description": "A flange leaked."});
    let recorded = app.as_role("coordinator").post(&format!("/sites/{site}/releases"), &release).await;
    assert_eq!(recorded.status, 201, "{}", recorded.text);
    // 29 CFR 1910.1028(e)(5): after the leak; no date in the paragraph, so the day on which the registry learned of it.
    let again = owed("kind=monitor_again&status=open").await;
    assert_eq!(again.len(), 1, "{again:?}");
    assert_eq!((&again[0]["trigger_id"], &again[0]["due_on"]), (&json!("MT117"), &json!("2026-03-02")));
    assert_eq!(again[0]["clause"], "29 CFR 1910.1028(e)(5)");
    assert_eq!(again[0]["subject"], json!({"group_id": mix}));
    assert_eq!(again[0]["basis"], json!([recorded.json["position"]]));

    // (i)(4): a urine test at the end of the shift, within 72 hours: by the site's date.
    let mut present = Vec::new();
    for duty in owed("kind=offer_examination").await {
        assert_eq!((&duty["trigger_id"], &duty["due_on"]), (&json!("ST041"), &json!("2026-02-27")), "{duty}");
        assert_eq!(
            (&duty["clause"], &duty["flags"][0]),
            (&json!("29 CFR 1910.1028(i)(4)"), &json!("after_release"))
        );
        assert_eq!(
            (&duty["status"], &duty["basis"]),
            (&json!("overdue"), &json!([recorded.json["position"]]))
        );
        present.push(duty["subject"]["worker_id"].as_str().unwrap().to_owned());
    }
    present.sort();
    let mut expected = [0, 2, 4, 6, 7].map(|n: usize| workers[n].clone()).to_vec();
    expected.sort();
    assert_eq!(present, expected);

    // A round after it meets the duty; voided, the release asks for nothing.
    let voiding = json!({"reason": "It was water."});
    let path = format!("/releases/{}/voiding", recorded.id());
    assert_eq!(hygienist.post(&path, &voiding).await.status, 201);
    assert_eq!(owed("kind=monitor_again&status=open").await, Vec::<Value>::new());
    assert_eq!(owed("kind=offer_examination").await, Vec::<Value>::new());
}
