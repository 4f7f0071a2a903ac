//! Two sites with results: a group of welders at one with a task and a control, a second place of work at the other.

use crate::harness::TestApp;
use chrono::Duration;
use serde_json::{Value, json};

/// What was entered.
pub(crate) struct Works {
    pub(crate) site: String,
    pub(crate) other_site: String,
    pub(crate) group: String,
    pub(crate) other_group: String,
    pub(crate) task: String,
    pub(crate) control: String,
    /// The first works at both sites, one after the other; the others at the first alone.
    pub(crate) workers: Vec<String>,
    /// Works at the other site alone.
    pub(crate) elsewhere: String,
}

/// The agent that is measured.
pub(crate) const AGENT: &str = "chromium_vi";
/// The last day of what was known first.
pub(crate) const FIRST_KNOWN: &str = "2026-03-05";

async fn worker(app: &TestApp, number: &str, given: &str) -> String {
    let body = json!({"employee_number": number, "given_name": given, "family_name": "Venning", "employer": "Lynhead",
        "hired_on": "2020-01-01"});
    app.as_role("hygienist").post("/workers", &body).await.id()
}

async fn assign(app: &TestApp, worker: &str, group: &str, from: &str, to: Option<&str>) -> String {
    let mut body = json!({"group_id": group, "from": from, "shifts_per_week": 5, "hours_per_shift": 8});
    if let Some(to) = to {
        body["to"] = json!(to);
    }
    app.as_role("hygienist").post(&format!("/workers/{worker}/assignments"), &body).await.id()
}

/// A whole shift in the breathing zone.
pub(crate) struct Shift<'s> {
    pub(crate) number: &'s str,
    pub(crate) date: &'s str,
    pub(crate) worker: &'s str,
    /// The mass in micrograms, `<` before what is below a reporting limit.
    pub(crate) mass: &'s str,
    /// The control, on a shift of the task on which it ran; the empty name where none did.
    pub(crate) ran: Option<&'s str>,
}

impl Works {
    /// Enters shifts of a site with a report about all of them.
    pub(crate) async fn measure(&self, app: &TestApp, site: &str, reference: &str, shifts: &[Shift<'_>]) {
        let flow = json!({"value": "2.00", "unit": "L/min"});
        let sample = |shift: &Shift<'_>| {
            let date = shift.date;
            let mut body = json!({
                "number": shift.number, "position": "breathing_zone", "shift_date": date, "worker_id": shift.worker,
                "agent_codes": [AGENT], "flow_before": flow, "flow_after": flow,
                "runs": [{"start": format!("{date}T07:00:00-07:00"), "end": format!("{date}T15:00:00-07:00")}],
            });
            if let Some(ran) = shift.ran {
                body["task_id"] = json!(self.task);
                body["control_ids_running"] = if ran.is_empty() { json!([]) } else { json!([ran]) };
            }
            body
        };
        let samples: Vec<Value> = shifts.iter().map(sample).collect();
        let event = json!({"reference": reference, "sampled_by": "K. Marl", "samples": samples});
        app.as_role("hygienist").post(&format!("/sites/{site}/sampling-events"), &event).await.id();
        let result = |shift: &Shift<'_>| {
            let (mass, below) = shift.mass.strip_prefix('<').map_or((shift.mass, false), |mass| (mass, true));
            let limit = if below { mass } else { "0.05" };
            let mut mass = json!({"value": mass, "unit": "ug"});
            if below {
                mass["comparator"] = json!("<");
            }
            json!({"sample_number": shift.number, "agent_code": AGENT, "mass": mass, "blank_corrected": "yes",
                "reporting_limit": {"value": limit, "unit": "ug"}})
        };
        let results: Vec<Value> = shifts.iter().map(result).collect();
        let report = json!({"report_number": format!("L-{reference}"), "laboratory": "Hollow Lane Laboratory",
            "received_on": "2026-03-01", "results": results});
        app.as_role("hygienist").post(&format!("/sites/{site}/lab-reports"), &report).await.id();
    }
}

/// Everything, entered in two parts: the first known by [`FIRST_KNOWN`], the second a week after it.
pub(crate) async fn works(app: &TestApp) -> Works {
    let (site, other_site) = (app.site("LYN").await, app.site("OTH").await);
    let (group, other_group) = (app.group(&site, "WELD").await, app.group(&other_site, "FIT").await);
    let hygienist = app.as_role("hygienist");
    let mut workers = Vec::new();
    for (number, given) in [("Q-1", "Orla"), ("Q-2", "Joss"), ("Q-3", "Ibb")] {
        workers.push(worker(app, number, given).await);
    }
    let elsewhere = worker(app, "Q-9", "Wend").await;
    assign(app, &workers[0], &other_group, "2020-01-01", Some("2024-01-01")).await;
    for worker in &workers {
        assign(app, worker, &group, "2024-07-01", None).await;
    }
    assign(app, &elsewhere, &other_group, "2020-01-01", None).await;
    let task = json!({"code": "T", "title": "Seam welding", "group_id": group});
    let task = hygienist.post(&format!("/sites/{site}/tasks"), &task).await.id();
    let control = json!({"code": "C", "title": "Extraction arm", "kind": "engineering"});
    let control = hygienist.post(&format!("/sites/{site}/controls"), &control).await.id();
    let works = Works { site, other_site, group, other_group, task, control, workers, elsewhere };
    let [orla, joss, ibb] = [0, 1, 2].map(|n| works.workers[n].as_str());
    let shift = |number, date, worker, mass, ran| Shift { number, date, worker, mass, ran };
    let here = [
        shift("A1", "2026-01-12", orla, "4.0", Some("")),
        shift("A2", "2026-01-13", joss, "4.4", Some("")),
        shift("A3", "2026-01-14", ibb, "3.6", Some("")),
        shift("A4", "2026-01-15", orla, "4.2", Some("")),
        shift("A5", "2026-01-19", joss, "3.9", Some("")),
        shift("A6", "2026-01-20", ibb, "<3.5", Some("")),
    ];
    works.measure(app, &works.site, "A", &here).await;
    let there = [
        shift("E1", "2023-05-09", orla, "1.2", None),
        shift("E2", "2023-05-10", orla, "0.8", None),
        shift("E3", "2023-05-11", orla, "1.0", None),
    ];
    works.measure(app, &works.other_site, "E", &there).await;
    app.registry.settle().await.unwrap();
    app.clock.advance(Duration::days(10));
    let period = json!({"control_id": works.control, "from": "2026-02-01"});
    hygienist.post(&format!("/tasks/{}/control-periods", works.task), &period).await.id();
    let ran = Some(works.control.as_str());
    let later = [
        shift("B1", "2026-02-09", orla, "0.9", ran),
        shift("B2", "2026-02-10", joss, "1.1", ran),
        shift("B3", "2026-02-11", ibb, "0.7", ran),
        shift("B4", "2026-02-12", orla, "0.8", ran),
        shift("B5", "2026-02-16", joss, "1.0", ran),
        shift("B6", "2026-02-17", ibb, "0.6", ran),
    ];
    works.measure(app, &works.site, "B", &later).await;
    app.registry.settle().await.unwrap();
    works
}
