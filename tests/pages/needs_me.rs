//! What needs me: what waits for the laboratory, for acceptance and for a sample, and what has changed.

use crate::harness::TestApp;
use crate::person::Person;
use chrono::Duration;
use serde_json::{Value, json};

/// A site with a welder, a task and a control on it.
struct Plant {
    site: String,
    worker: String,
    task: String,
    control: String,
}

async fn plant(app: &TestApp) -> Plant {
    let site = app.site("LYN").await;
    let group = app.group(&site, "G").await;
    let hygienist = app.as_role("hygienist");
    let worker = json!({
        "employee_number": "Q-1", "given_name": "Orla", "family_name": "Venning", "employer": "Lynhead",
        "hired_on": "2020-01-01",
    });
    let worker = hygienist.post("/workers", &worker).await.id();
    let assignment =
        json!({"group_id": group, "from": "2020-01-01", "shifts_per_week": 5, "hours_per_shift": 8});
    hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    let task = json!({"code": "T", "title": "Seam welding", "group_id": group});
    let task = hygienist.post(&format!("/sites/{site}/tasks"), &task).await.id();
    let control = json!({"code": "C", "title": "Extraction arm", "kind": "engineering"});
    let control = hygienist.post(&format!("/sites/{site}/controls"), &control).await.id();
    let period = json!({"control_id": control, "from": "2026-01-01"});
    hygienist.post(&format!("/tasks/{task}/control-periods"), &period).await.id();
    Plant { site, worker, task, control }
}

/// Enters an event of whole shifts, without the control and with it.
async fn sample(app: &TestApp, plant: &Plant, reference: &str, shifts: &[(&str, &str, bool)]) {
    let flow = json!({"value": "2.00", "unit": "L/min"});
    let filters: Vec<Value> = shifts
        .iter()
        .map(|(number, date, with)| {
            json!({
                "number": number, "position": "breathing_zone", "shift_date": date, "worker_id": plant.worker,
                "task_id": plant.task, "agent_codes": ["chromium_vi"], "flow_before": flow, "flow_after": flow,
                "runs": [{"start": format!("{date}T07:00:00-07:00"), "end": format!("{date}T15:00:00-07:00")}],
                "control_ids_running": if *with { json!([plant.control]) } else { json!([]) },
            })
        })
        .collect();
    let event = json!({"reference": reference, "sampled_by": "K. Marl", "samples": filters});
    app.as_role("hygienist").post(&format!("/sites/{}/sampling-events", plant.site), &event).await.id();
}

/// Enters a laboratory report of masses in micrograms.
async fn report(app: &TestApp, plant: &Plant, number: &str, masses: &[(&str, &str)]) {
    let rows: Vec<Value> = masses
        .iter()
        .map(|(sample, mass)| {
            json!({
                "sample_number": sample, "agent_code": "chromium_vi", "mass": {"value": mass, "unit": "ug"},
                "reporting_limit": {"value": "0.05", "unit": "ug"}, "blank_corrected": "yes",
            })
        })
        .collect();
    let sent = json!({
        "report_number": number, "laboratory": "Hollow Lane Laboratory", "received_on": "2026-03-01", "results": rows,
    });
    let path = format!("/sites/{}/lab-reports?unmatched=hold", plant.site);
    let made = app.as_role("hygienist").post(&path, &sent).await;
    assert_eq!(made.status, 201, "{}", made.text);
}

#[tokio::test]
async fn what_waits_for_the_laboratory_for_acceptance_and_for_a_sample_is_told() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let person = Person::signed_in(&app, "hygienist").await;
    let empty = person.get("/").await;
    assert!(!empty.html.contains("LYN-1"), "{}", empty.html);
    sample(&app, &plant, "LYN-1", &[("S1", "2026-02-02", false), ("S2", "2026-02-03", false)]).await;
    let waiting = person.get("/").await;
    assert!(waiting.html.contains("2 samples without a result"), "{}", waiting.html);
    report(&app, &plant, "L-1", &[("S1", "1.95"), ("S9", "1.95")]).await;
    let partly = person.get("/").await;
    assert!(partly.html.contains("One sample without a result"), "{}", partly.html);
    assert!(partly.html.contains("One result that nobody has accepted yet"), "{}", partly.html);
    assert!(partly.html.contains("one row without a sample"), "{}", partly.html);
    // Acceptance is the hygienist's: a coordinator is not asked for it.
    let coordinator = Person::signed_in(&app, "coordinator").await.get("/").await;
    assert!(!coordinator.html.contains("nobody has accepted"), "{}", coordinator.html);
    assert!(coordinator.html.contains("one row without a sample"), "{}", coordinator.html);
}

#[tokio::test]
async fn a_verdict_that_results_changed_is_told_with_what_was_said_before() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    // Four shifts a side, close together: twice as much without the control as with it, in every order.
    let first = [("A1", "2026-02-02", false), ("A2", "2026-02-03", true)];
    sample(&app, &plant, "LYN-1", &first).await;
    report(&app, &plant, "L-1", &[("A1", "4.0"), ("A2", "0.9")]).await;
    app.registry.settle().await.unwrap();
    app.clock.advance(Duration::days(40));
    let person = Person::signed_in(&app, "hygienist").await;
    let before = person.get("/").await;
    assert!(!before.html.contains("Extraction arm"), "{}", before.html);
    let more = [
        ("B1", "2026-02-04", false),
        ("B2", "2026-02-05", true),
        ("B3", "2026-02-09", false),
        ("B4", "2026-02-10", true),
        ("B5", "2026-02-11", false),
        ("B6", "2026-02-12", true),
    ];
    sample(&app, &plant, "LYN-2", &more).await;
    let masses = [("B1", "4.2"), ("B2", "0.4"), ("B3", "3.8"), ("B4", "0.45"), ("B5", "4.1"), ("B6", "0.42")];
    report(&app, &plant, "L-2", &masses).await;
    let after = person.get("/").await;
    let told = "Extraction arm, Seam welding, Site LYN: Chromium(VI), all forms and compounds: from undecided to lowered";
    assert!(after.html.contains(told), "{}", after.html);
    // Another month later it is no news.
    app.clock.advance(Duration::days(40));
    let person = Person::signed_in(&app, "hygienist").await;
    assert!(!person.get("/").await.html.contains("Extraction arm"), "it is old");
}
