//! A site with people, a task and a control, at which somebody enters samples.

use crate::harness::TestApp;
use crate::person::{PASSWORD, set_password};
use serde_json::{Value, json};

/// The site.
pub(crate) struct Plant {
    pub(crate) site: String,
    pub(crate) task: String,
}

/// A site with so many welders, `Q-1` and on, a task `WELD` and a control `ARM`; `somebody` is its coordinator.
pub(crate) async fn plant(app: &TestApp, welders: usize) -> Plant {
    let site = app.site("LYN").await;
    let group = app.group(&site, "G").await;
    let hygienist = app.as_role("hygienist");
    for n in 1..=welders {
        let worker = json!({
            "employee_number": format!("Q-{n}"), "given_name": "Orla", "family_name": format!("Venning{n}"),
            "employer": "Lynhead", "hired_on": "2020-01-01",
        });
        let worker = hygienist.post("/workers", &worker).await.id();
        let assignment =
            json!({"group_id": group, "from": "2020-01-01", "shifts_per_week": 5, "hours_per_shift": 8});
        hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    }
    let task = json!({"code": "WELD", "title": "Seam welding", "group_id": group});
    let task = hygienist.post(&format!("/sites/{site}/tasks"), &task).await.id();
    let control = json!({"code": "ARM", "title": "Extraction arm", "kind": "engineering"});
    hygienist.post(&format!("/sites/{site}/controls"), &control).await.id();
    let expected = json!({"agent_code": "chromium_vi", "from": "2020-01-01", "source": "the rods"});
    hygienist.post(&format!("/groups/{group}/agents"), &expected).await.id();
    app.add_account_on("somebody", "coordinator", &[&site]).await;
    set_password(app, "somebody").await;
    Plant { site, task }
}

/// Signs a browser in as the coordinator of the plant.
pub(crate) async fn sign_in(app: &TestApp, browser: &crate::browser::Browser) {
    browser.open(&format!("{}/sign-in", app.address)).await;
    browser.type_into("#email", "somebody@example.org").await;
    browser.type_into("#password", PASSWORD).await;
    browser.click("main button.first").await;
    browser.find("form.out").await;
}

/// What the API says of a sample, by its number.
pub(crate) fn by_number<'a>(event: &'a Value, number: &str) -> &'a Value {
    let samples = event["samples"].as_array().unwrap();
    samples
        .iter()
        .find(|sample| sample["number"] == number)
        .unwrap_or_else(|| panic!("no {number} in {event}"))
}

/// Records an event of one whole shift of the first welder through the API; its identifier.
pub(crate) async fn event(app: &TestApp, plant: &Plant, reference: &str, number: &str) -> String {
    let found = app.as_role("hygienist").get("/workers?limit=1").await;
    let worker = found.json["items"][0]["id"].as_str().unwrap().to_owned();
    let flow = json!({"value": "2.00", "unit": "L/min"});
    let event = json!({"reference": reference, "sampled_by": "K. Marl", "samples": [{
        "number": number, "position": "breathing_zone", "shift_date": "2026-02-24", "worker_id": worker,
        "task_id": plant.task, "agent_codes": ["chromium_vi"], "flow_before": flow, "flow_after": flow,
        "runs": [{"start": "2026-02-24T07:00:00-07:00", "end": "2026-02-24T15:00:00-07:00"}],
        "calibrator": "C-1", "calibrated_on": "2026-01-10",
    }]});
    app.as_role("hygienist").post(&format!("/sites/{}/sampling-events", plant.site), &event).await.id()
}

/// Records a report of one mass in micrograms through the API.
pub(crate) async fn report(app: &TestApp, plant: &Plant, report: &str, (number, mass): (&str, &str)) {
    let sent = json!({
        "report_number": report, "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-27", "results": [{
            "sample_number": number, "agent_code": "chromium_vi", "mass": {"value": mass, "unit": "ug"},
            "reporting_limit": {"value": "0.05", "unit": "ug"}, "blank_corrected": "yes",
        }],
    });
    let made = app.as_role("hygienist").post(&format!("/sites/{}/lab-reports", plant.site), &sent).await;
    assert_eq!(made.status, 201, "{}", made.text);
}

/// A text that would run if a page took it for more than text.
pub(crate) const SCRIPT: &str =
    "\"'><script>document.title='run'</script><img src=x onerror=\"document.title='run'\">";

/// Whether a page shows such a text as the text that it is.
pub(crate) fn is_inert(html: &str) -> bool {
    !html.contains("<script>document") && !html.contains("<img src=x")
}
