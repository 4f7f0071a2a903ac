//! An invented plant: two sites, four groups, six workers, tasks, controls and when these stood.

use crate::stage::Stage;
use serde_json::{Value, json};

/// A site with what stands on it.
pub(crate) struct Site {
    /// Its identifier.
    pub(crate) id: String,
    /// The hours by which its clocks are behind UTC in winter.
    pub(crate) behind: i64,
    /// Its groups.
    pub(crate) groups: Vec<String>,
    /// Its tasks, each with its group.
    pub(crate) tasks: Vec<(String, String)>,
    /// Its controls.
    pub(crate) controls: Vec<String>,
}

/// The plant.
pub(crate) struct Plant {
    /// Its sites.
    pub(crate) sites: Vec<Site>,
    /// Its workers.
    pub(crate) workers: Vec<String>,
    /// Facts that can be voided: the last name of their path and their identifier.
    pub(crate) facts: Vec<(&'static str, String)>,
}

/// The agents that are measured: two with clauses, and one with neither limit nor clause.
pub(crate) const AGENTS: [&str; 3] = ["chromium_vi", "lead", "reed_dust"];

async fn made(stage: &Stage, path: &str, body: &Value) -> String {
    let answer = stage.post("hygienist", path, body).await;
    answer.id().unwrap_or_else(|| panic!("{path}: {}", answer.text))
}

impl Plant {
    /// Enters it.
    pub(crate) async fn found(stage: &Stage) -> Self {
        let dust = json!({"code": "reed_dust", "name": "Reed dust", "state": "particulate"});
        made(stage, "/agents", &dust).await;
        let mut plant = Self { sites: Vec::new(), workers: Vec::new(), facts: Vec::new() };
        // Hours behind UTC in winter: IANA time zone data.
        for (code, zone, behind) in [("NRD", "America/Denver", 7), ("SED", "America/New_York", 5)] {
            let body = json!({"code": code, "name": format!("Works {code}"), "time_zone": zone,
                "rule_set": "us_general_industry"});
            let id = made(stage, "/sites", &body).await;
            let site = plant.site(stage, id, behind).await;
            plant.sites.push(site);
        }
        for n in 0..6 {
            let worker = plant.worker(stage, n).await;
            plant.workers.push(worker);
        }
        stage.settle().await;
        plant
    }

    async fn site(&mut self, stage: &Stage, id: String, behind: i64) -> Site {
        let (mut groups, mut tasks, mut controls) = (Vec::new(), Vec::new(), Vec::new());
        for n in 0..2 {
            let body = json!({"code": format!("G{n}"), "title": format!("Group {n}")});
            groups.push(made(stage, &format!("/sites/{id}/groups"), &body).await);
            let kind = if n == 0 { "engineering" } else { "respirator" };
            let mut body = json!({"code": format!("C{n}"), "title": format!("Control {n}"), "kind": kind});
            if n == 1 {
                body["assigned_protection_factor"] = json!(10);
            }
            controls.push(made(stage, &format!("/sites/{id}/controls"), &body).await);
        }
        for n in 0..3 {
            let group = groups[n % 2].clone();
            let body = json!({"code": format!("T{n}"), "title": format!("Task {n}"), "group_id": group,
                "usual_minutes_per_shift": 200});
            tasks.push((made(stage, &format!("/sites/{id}/tasks"), &body).await, group));
        }
        let body = json!({"control_id": controls[0], "from": "2025-09-01"});
        let period = made(stage, &format!("/tasks/{}/control-periods", tasks[0].0), &body).await;
        self.facts.push(("control-periods", period));
        self.facts.extend(controls.iter().map(|control| ("controls", control.clone())));
        self.facts.extend(tasks.iter().map(|(task, _)| ("tasks", task.clone())));
        Site { id, behind, groups, tasks, controls }
    }

    async fn worker(&mut self, stage: &Stage, n: usize) -> String {
        let body = json!({"employee_number": format!("W{n}"), "given_name": "Given",
            "family_name": format!("Family{n}"), "employer": "Reedmere", "hired_on": "2025-01-06"});
        let worker = made(stage, "/workers", &body).await;
        let site = &self.sites[n % 2];
        let group = &site.groups[(n / 2) % 2];
        let mut body =
            json!({"group_id": group, "from": "2025-01-06", "shifts_per_week": 5, "hours_per_shift": 8});
        if n == 5 {
            body["respirator_control_id"] = json!(site.controls[1]);
            body["respirator_worn_share"] = json!(0.5);
        }
        let assignment = made(stage, &format!("/workers/{worker}/assignments"), &body).await;
        self.facts.push(("assignments", assignment));
        worker
    }
}
