//! Requests for a worker's records: the duty to answer comes with each.

use crate::harness::{Answer, TestApp};
use serde_json::{Value, json};

async fn worker(app: &TestApp, number: &str, sites: &[&str]) -> String {
    let hygienist = app.as_role("hygienist");
    let person = json!({"employee_number": number, "given_name": "Ada", "family_name": "Vale",
        "employer": "Tern Contractors", "relation": "contractor", "hired_on": "2026-01-05"});
    let worker = hygienist.post("/workers", &person).await.id();
    for site in sites {
        let group = app.group(site, &format!("G{number}")).await;
        let assignment =
            json!({"group_id": group, "from": "2026-01-05", "shifts_per_week": 2, "hours_per_shift": 8});
        hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    }
    worker
}

fn request(received_on: &str) -> Value {
    json!({"received_on": received_on, "from": "representative", "what": "Results of welding fume since 2020."})
}

async fn only_duty(app: &TestApp, who: &str, worker: &str) -> Value {
    let found = app.as_role(who).get(&format!("/duties?worker_id={worker}")).await;
    let items = found.json["items"].as_array().unwrap();
    assert_eq!(items.len(), 1, "{}", found.text);
    items[0].clone()
}

#[tokio::test]
async fn a_request_is_to_be_answered_within_fifteen_working_days_of_the_site() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    app.add_account_on("here", "coordinator", &[&site]).await;
    let here = app.as_role("here");
    let asked = worker(&app, "1", &[&site]).await;
    let path = format!("/workers/{asked}/record-requests");
    let made = here.post(&path, &request("2026-02-02")).await;
    assert_eq!(made.status, 201, "{}", made.text);
    assert_eq!(here.get(&path).await.json["items"], json!([made.json]));
    let duty = only_duty(&app, "here", &asked).await;
    // 29 CFR 1910.1020(e)(1)(i), edition A of the pack: 15 working days. By hand: 3 to 6 February are four, 9 to 13 nine,
    // 17 to 20 thirteen (the 16th is Washington's Birthday), 23 and 24 fifteen.
    assert_eq!(
        (&duty["kind"], &duty["due_on"], &duty["trigger_id"], &duty["clause"], &duty["status"]),
        (
            &json!("answer_record_request"),
            &json!("2026-02-24"),
            &json!("RC008"),
            &json!("29 CFR 1910.1020(e)(1)(i)"),
            &json!("overdue")
        )
    );
    assert_eq!(
        (&duty["basis"], &duty["employer"]),
        (&json!([made.json["position"]]), &json!("Tern Contractors"))
    );
    let entry =
        app.as_role("hygienist").get(&format!("/journal?subject_id={}", duty["id"].as_str().unwrap())).await;
    // Written at once, and by the registry.
    let entry = &entry.json["items"][0];
    assert_eq!(entry["position"], made.json["position"]);
    assert_eq!(entry["account_id"], "01900000-0000-7000-8000-000000000001");

    let act = format!("/duties/{}/actions", duty["id"].as_str().unwrap());
    let completed = json!({"action": "completed", "on": "2026-02-20"});
    assert_eq!(app.as_role("physician").post(&act, &completed).await.status, 403);
    let done: Answer = here.post(&act, &completed).await;
    assert_eq!((done.status, &done.json["status"], done.json.get("days_late")), (201, &json!("met"), None));
    // What was answered stays answered.
    let void = format!("/record-requests/{}/voiding", made.id());
    app.as_role("hygienist").post(&void, &json!({"reason": "Sent twice."})).await.id();
    assert_eq!(only_duty(&app, "here", &asked).await["status"], "met");
}

#[tokio::test]
async fn a_holiday_of_the_site_moves_the_day_and_of_two_sites_the_earlier_counts() {
    let app = TestApp::spawn().await;
    let (closed, open) = (app.site("LYN").await, app.site("BRK").await);
    let hygienist = app.as_role("hygienist");
    let holiday = json!({"date": "2026-02-10", "name": "Works holiday"});
    hygienist.post(&format!("/sites/{closed}/holidays"), &holiday).await.id();
    for (number, sites, due_on) in [
        ("1", &[closed.as_str()][..], "2026-02-25"),
        ("2", &[closed.as_str(), open.as_str()][..], "2026-02-24"),
        ("3", &[][..], "2026-02-24"),
    ] {
        let asked = worker(&app, number, sites).await;
        hygienist.post(&format!("/workers/{asked}/record-requests"), &request("2026-02-02")).await.id();
        assert_eq!(only_duty(&app, "hygienist", &asked).await["due_on"], due_on, "{sites:?}");
    }
}

#[tokio::test]
async fn voiding_a_request_withdraws_its_duty_and_taking_that_back_raises_it_again() {
    let app = TestApp::spawn().await;
    let asked = worker(&app, "1", &[]).await;
    let hygienist = app.as_role("hygienist");
    let path = format!("/workers/{asked}/record-requests");
    let future = hygienist.post(&path, &request("2026-03-09")).await;
    assert_eq!((future.status, future.pointers()), (422, vec!["/received_on"]));
    let made = hygienist.post(&path, &request("2026-02-27")).await.id();
    assert_eq!(only_duty(&app, "hygienist", &asked).await["status"], "open");
    let because = json!({"reason": "Sent twice."});
    hygienist.post(&format!("/record-requests/{made}/voiding"), &because).await.id();
    let withdrawn = only_duty(&app, "hygienist", &asked).await;
    assert_eq!(
        (&withdrawn["status"], &withdrawn["withdrawn"]),
        (&json!("withdrawn"), &json!("the request was voided"))
    );
    hygienist.post(&format!("/record-requests/{made}/voiding-withdrawal"), &because).await.id();
    let again = only_duty(&app, "hygienist", &asked).await;
    assert_eq!((&again["status"], again.get("withdrawn")), (&json!("open"), None));
}
