//! What entry refuses, and what voiding takes with it.

use crate::harness::{Answer, TestApp};
use serde_json::{Value, json};

/// A site with a group and a worker in it.
struct Plant {
    site: String,
    group: String,
    worker: String,
}

async fn plant(app: &TestApp) -> Plant {
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let group = app.group(&site, "WELD").await;
    let worker = hygienist
        .post(
            "/workers",
            &json!({"employee_number": "7", "given_name": "Given", "family_name": "Family",
                "employer": "Lynhead Works", "hired_on": "2020-01-06"}),
        )
        .await
        .id();
    let assignment =
        json!({"group_id": group, "from": "2020-01-06", "shifts_per_week": 5, "hours_per_shift": 8});
    assert_eq!(hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.status, 201);
    Plant { site, group, worker }
}

fn sample(plant: &Plant, number: &str) -> Value {
    json!({
        "number": number, "position": "breathing_zone", "shift_date": "2026-02-10", "worker_id": plant.worker,
        "runs": [{"start": "2026-02-10T07:00:00-07:00", "end": "2026-02-10T15:00:00-07:00"}],
        "flow_before": {"value": 2.0, "unit": "L/min"}, "flow_after": {"value": 2.0, "unit": "L/min"},
        "calibrated_on": "2026-01-05"
    })
}

async fn event(app: &TestApp, plant: &Plant, samples: Value) -> Answer {
    let body = json!({"reference": "E-1", "sampled_by": "A. Sampler", "samples": samples});
    app.as_role("coordinator").post(&format!("/sites/{}/sampling-events", plant.site), &body).await
}

fn row(number: &str, mass: f64) -> Value {
    json!({"sample_number": number, "agent_code": "chromium_vi", "mass": {"value": mass, "unit": "ug"},
        "reporting_limit": {"value": 0.02, "unit": "ug"}, "blank_corrected": "yes"})
}

async fn report(app: &TestApp, plant: &Plant, number: &str, rows: Value) -> Answer {
    let body = json!({"report_number": number, "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-20",
        "results": rows});
    app.as_role("coordinator").post(&format!("/sites/{}/lab-reports", plant.site), &body).await
}

#[tokio::test]
async fn two_samples_that_ran_at_once_cannot_both_have_a_result_in_one_report() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let made = event(&app, &plant, json!([sample(&plant, "1"), sample(&plant, "2")])).await;
    assert_eq!(made.status, 201, "{}", made.json);
    let refused = report(&app, &plant, "R-1", json!([row("1", 1.0), row("2", 1.0)])).await;
    assert_eq!(refused.status, 422);
    assert_eq!(refused.pointers(), ["/results/0/sample_number", "/results/1/sample_number"]);
    assert_eq!(report(&app, &plant, "R-1", json!([row("1", 1.0)])).await.status, 201);
}

#[tokio::test]
async fn shape_and_rule_faults_of_an_event_are_named_at_once() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let mut flow = sample(&plant, "2");
    flow["flow_after"] = json!({"value": 0, "unit": "L/min"});
    let mut run = sample(&plant, "3");
    run["shift_date"] = json!("2026-02-12");
    let refused = event(&app, &plant, json!([{"number": "1", "position": "nowhere"}, flow, run])).await;
    assert_eq!(refused.status, 422);
    assert_eq!(
        refused.pointers(),
        ["/samples/0/position", "/samples/0/shift_date", "/samples/1/flow_after", "/samples/2/runs/0"]
    );
}

#[tokio::test]
async fn dates_of_events_and_reports_stand_in_order() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let mut ahead = sample(&plant, "1");
    // The clock of these tests stands at 2 March 2026.
    ahead["shift_date"] = json!("2026-03-10");
    ahead["runs"] = json!([{"start": "2026-03-10T07:00:00-07:00", "end": "2026-03-10T15:00:00-07:00"}]);
    assert_eq!(event(&app, &plant, json!([ahead])).await.pointers(), ["/samples/0/shift_date"]);
    assert_eq!(event(&app, &plant, json!([sample(&plant, "1")])).await.status, 201);
    let mut analysed = row("1", 1.0);
    analysed["analysed_on"] = json!("2026-02-25");
    let refused = report(&app, &plant, "R-1", json!([analysed])).await;
    assert_eq!(refused.pointers(), ["/results/0/analysed_on"]);
}

#[tokio::test]
async fn a_void_events_samples_stay_readable_and_leave_every_conclusion() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let made = event(&app, &plant, json!([sample(&plant, "1")])).await;
    assert_eq!(report(&app, &plant, "R-1", json!([row("1", 1.0)])).await.status, 201);
    let hygienist = app.as_role("hygienist");
    let averages = format!("/shift-averages?group_id={}&agent_code=chromium_vi", plant.group);
    assert_eq!(hygienist.get(&averages).await.json["items"].as_array().map(Vec::len), Some(1));
    let voiding = format!("/sampling-events/{}/voiding", made.id());
    assert_eq!(hygienist.post(&voiding, &json!({"reason": "The wrong hall."})).await.status, 201);
    let sample = made.json["samples"][0]["id"].as_str().unwrap().to_owned();
    let read = hygienist.get(&format!("/samples/{sample}")).await;
    assert_eq!((read.status, &read.json["voided"]["reason"]), (200, &json!("The wrong hall.")));
    assert_eq!(hygienist.get(&averages).await.json["items"], json!([]));
    // And no further result is taken for it.
    let mut lead = row("1", 1.0);
    lead["agent_code"] = json!("lead");
    let refused = report(&app, &plant, "R-2", json!([lead])).await;
    assert_eq!((refused.status, refused.pointers()), (422, vec!["/results/0/sample_number"]));
}

#[tokio::test]
async fn voiding_a_revised_report_lets_the_earlier_result_stand_again() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let made = event(&app, &plant, json!([sample(&plant, "1")])).await;
    let sample = made.json["samples"][0]["id"].as_str().unwrap().to_owned();
    let first = report(&app, &plant, "R-1", json!([row("1", 1.0)])).await;
    let earlier = first.json["samples"][0]["results"][0]["id"].clone();
    let mut revised = row("1", 3.0);
    revised["replaces"] = json!({"result_id": earlier, "as": "revised"});
    let second = report(&app, &plant, "R-2", json!([revised])).await;
    assert_eq!(second.status, 201, "{}", second.json);
    let standing = |answer: &Answer| -> Vec<Value> {
        let results = answer.json["results"].as_array().unwrap();
        results
            .iter()
            .filter(|one| one["stands"] == true && one["status"] != "voided")
            .map(|one| one["mass"]["value"].clone())
            .collect()
    };
    let hygienist = app.as_role("hygienist");
    assert_eq!(standing(&hygienist.get(&format!("/samples/{sample}")).await), [json!(3.0)]);
    let path = format!("/lab-reports/{}", second.id());
    assert_eq!(
        hygienist.post(&format!("{path}/voiding"), &json!({"reason": "Another client's."})).await.status,
        201
    );
    assert_eq!(standing(&hygienist.get(&format!("/samples/{sample}")).await), [json!(1.0)]);
    let back =
        hygienist.post(&format!("{path}/voiding-withdrawal"), &json!({"reason": "Ours after all."})).await;
    assert_eq!(back.status, 201);
    // Brought back beside a result that stands, it waits to be chosen.
    assert_eq!(standing(&hygienist.get(&format!("/samples/{sample}")).await), [json!(1.0)]);
}

#[tokio::test]
async fn a_limit_has_a_unit_that_its_agent_can_have() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let agents = hygienist.get("/agents?limit=500").await.json;
    let agent =
        agents["items"].as_array().unwrap().iter().find(|agent| agent["code"] == "chromium_vi").unwrap();
    let path = format!("/agents/{}/limits", agent["id"].as_str().unwrap());
    let limit = |unit: &str| json!({"authority": "Works", "kind": "twa", "value": {"value": 1, "unit": unit}, "source": "own"});
    assert_eq!(hygienist.post(&path, &limit("[ppm]")).await.pointers(), ["/value/unit"]);
    assert_eq!(hygienist.post(&path, &limit("ug/m3")).await.status, 201);
}

#[tokio::test]
async fn more_than_seven_shifts_a_week_are_remarked_upon() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let other = app.group(&plant.site, "FIT").await;
    let body = json!({"group_id": other, "from": "2026-01-05", "shifts_per_week": 4, "hours_per_shift": 8});
    let made =
        app.as_role("coordinator").post(&format!("/workers/{}/assignments", plant.worker), &body).await;
    assert_eq!((made.status, &made.json["flags"]), (201, &json!(["more_than_seven_shifts_a_week"])));
}

#[tokio::test]
async fn another_sites_identifier_in_a_body_is_the_same_fault_as_an_unknown_one() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let other = app.site("FAR").await;
    app.add_account_on("far", "coordinator", &[&other]).await;
    let path = format!("/sites/{other}/sampling-events");
    let unknown = "01900000-0000-7000-8000-00000000ffff";
    let mut answers = Vec::new();
    for (worker, group) in [(plant.worker.as_str(), plant.group.as_str()), (unknown, unknown)] {
        let mut sample = sample(&plant, "1");
        sample["worker_id"] = json!(worker);
        sample["group_id"] = json!(group);
        let body = json!({"reference": "E-1", "sampled_by": "A. Sampler", "samples": [sample]});
        answers.push(app.as_role("far").post(&path, &body).await);
    }
    assert_eq!(answers[0].pointers(), ["/samples/0/worker_id", "/samples/0/group_id"]);
    assert_eq!((answers[0].status, &answers[0].json["errors"]), (422, &answers[1].json["errors"]));
    // Nothing was stored: the reference is free.
    assert_eq!(app.as_role("far").get(&path).await.json["items"], json!([]));
}
