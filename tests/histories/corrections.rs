//! What a script corrects: any recorded fact, and sites, workers, groups and agents too.

use crate::plant::AGENTS;
use crate::script::Script;
use chrono::Duration;
use serde_json::{Value, json};

impl Script<'_> {
    /// Corrects something by `PATCH` against the revision that is read first; now and then against none.
    pub(crate) async fn correct(&mut self) {
        let (last, id) = self.any_fact().await;
        let patch = self.patch_of(last);
        let Some(mut patch) = patch else { return };
        if !self.draws.one_in(12) {
            patch["reason"] = json!("Looked at again.");
        }
        let path = format!("/{last}/{id}");
        let (_, tag) = self.stage.tagged("hygienist", &path).await;
        let tag = (!self.draws.one_in(12)).then_some(tag);
        let answer = self.stage.patch("hygienist", &path, tag.as_deref(), &patch).await;
        self.note(format!("hygienist PATCH {path} {patch}"), &answer);
    }

    /// A sample that was taken, whatever has become of it.
    pub(crate) fn any_sample_id(&mut self) -> Option<String> {
        let all: Vec<String> = self.samples.iter().map(|sample| sample.id.clone()).collect();
        (!all.is_empty()).then(|| self.draws.one_of(&all).clone())
    }

    /// A result that came, whatever has become of it.
    pub(crate) fn any_result_id(&mut self) -> Option<String> {
        let results = self.samples.iter().flat_map(|sample| &sample.results);
        let all: Vec<String> = results.map(|(id, _)| id.clone()).collect();
        (!all.is_empty()).then(|| self.draws.one_of(&all).clone())
    }

    /// Something that can be corrected: its last name and its identifier.
    async fn any_fact(&mut self) -> (&'static str, String) {
        match self.draws.below(12) {
            0 | 1 => {
                if let Some(sample) = self.any_sample_id() {
                    return ("samples", sample);
                }
            }
            2 | 3 => {
                if let Some(result) = self.any_result_id() {
                    return ("results", result);
                }
            }
            4 => return ("workers", self.any_worker()),
            5 => return ("groups", self.any_group().1),
            6 => return ("sites", self.draws.one_of(&self.plant.sites).id.clone()),
            7 => {
                let agents = self.stage.get("hygienist", "/agents?limit=500").await.json();
                let agents = agents["items"].as_array().unwrap();
                let own = agents.iter().find(|agent| agent["code"] == AGENTS[2]);
                return ("agents", own.unwrap()["id"].as_str().unwrap().to_owned());
            }
            _ => {}
        }
        let all = self.plant.facts.len();
        let (last, id) = &self.plant.facts[self.draws.below(all)];
        (last, id.clone())
    }

    /// What is said otherwise of a kind of fact; not always possible.
    fn patch_of(&mut self, last: &str) -> Option<Value> {
        let day = self.day();
        let later = (day + Duration::days(40)).to_string();
        let day = day.to_string();
        let number = 1 + self.draws.below(5);
        Some(match last {
            "samples" => match self.draws.below(4) {
                0 => json!({"flow_after": {"value": format!("1.9{number}"), "unit": "L/min"}}),
                1 => json!({"worker_id": self.any_worker()}),
                2 => json!({"group_id": self.any_group().1}),
                _ => json!({"covers": self.draws.one_of(&["task", "short_term", "shift"])}),
            },
            "results" => {
                json!({"mass": {"value": format!("{number}.{:03}", self.draws.below(1000)), "unit": "ug"}})
            }
            "workers" => json!({"family_name": format!("Name{number}")}),
            "groups" | "tasks" => json!({"title": format!("Title {number}")}),
            "sites" => json!({"name": format!("Works {number}")}),
            "agents" => json!({"name": format!("Reed dust {number}")}),
            "controls" => {
                json!({"title": format!("Control {number}"), "target_reduction_percent": 10 * number})
            }
            "control-periods" | "absences" => json!({"from": day, "to": later}),
            "assignments" if self.draws.one_in(2) => json!({"from": day, "to": later}),
            "assignments" => json!({"shifts_per_week": number, "group_id": self.any_group().1}),
            "worked-days" => json!({"hours": 3 + number}),
            "earlier-exposures" => json!({"days_per_year": 40 * number}),
            "changes" => json!({"from": day, "may_raise": self.draws.one_in(2)}),
            "joined-eras" => json!({"at": day}),
            "conditions" => json!({"from": day, "days_per_week": number}),
            "rule-sets" | "monitoring-options" => json!({"from": day}),
            "judgements" => json!({"rating": number}),
            "holidays" => json!({"date": day}),
            "limits" => json!({"value": {"value": number.to_string(), "unit": "ug/m3"}}),
            "sampling-events" => json!({"shift_minutes": 400 + 20 * number}),
            "lab-reports" => json!({"received_on": format!("2026-03-0{number}")}),
            _ => return None,
        })
    }
}
