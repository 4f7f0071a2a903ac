//! Requests drawn at random from a seed: the same seed asks the same of every registry.
//!
//! Most are sound; some are refused, because they are wrong in themselves or because of what came before.

use crate::draws::Draws;
use crate::plant::{AGENTS, Plant, Site};
use crate::stage::{Answer, Stage};
use chrono::{Duration, NaiveDate};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// One request as it was answered.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    /// Who asked what.
    pub(crate) asked: String,
    /// What came back.
    pub(crate) answer: Answer,
}

/// A sample that was taken.
pub(crate) struct Taken {
    site: usize,
    pub(crate) id: String,
    number: String,
    agents: Vec<&'static str>,
    /// Results with their agents, in the order in which they came.
    pub(crate) results: Vec<(String, &'static str)>,
}

/// A script that is being played.
pub(crate) struct Script<'s> {
    pub(crate) stage: &'s Stage,
    pub(crate) draws: Draws,
    /// What it is about.
    pub(crate) plant: Plant,
    pub(crate) samples: Vec<Taken>,
    /// Facts that were voided.
    void: BTreeSet<String>,
    steps: usize,
    /// Everything that was asked.
    pub(crate) lines: Vec<Line>,
}

impl<'s> Script<'s> {
    /// One of a seed, over a plant that was just founded.
    pub(crate) async fn begin(stage: &'s Stage, seed: u64) -> Self {
        let plant = Plant::found(stage).await;
        let draws = Draws::from(seed);
        Self { stage, draws, plant, samples: Vec::new(), void: BTreeSet::new(), steps: 0, lines: Vec::new() }
    }

    /// Plays one step: a request, or a few days that pass. Does not follow the marks it leaves.
    pub(crate) async fn step(&mut self) {
        self.steps += 1;
        self.stage.pass(1);
        match self.draws.below(48) {
            0..9 => self.event().await,
            9..16 => self.report().await,
            16..19 => self.replacing_report().await,
            19..22 => self.of_sample().await,
            22..26 => self.of_result().await,
            26..30 => self.of_worker().await,
            30..35 => self.of_group().await,
            35..41 => self.turn_fact().await,
            41..44 => self.correct().await,
            44 => self.of_site_or_agent().await,
            45..47 => self.duty().await,
            _ => self.stage.pass_days(1 + i64::from(self.draws.one_in(2))).await,
        }
    }

    async fn post(&mut self, who: &str, path: &str, body: &Value) -> Answer {
        let answer = self.stage.post(who, path, body).await;
        self.note(format!("{who} POST {path} {body}"), &answer);
        answer
    }

    pub(crate) fn note(&mut self, asked: String, answer: &Answer) {
        assert!(answer.status < 500, "{asked}: {}", answer.text);
        self.lines.push(Line { asked, answer: answer.clone() });
    }

    /// Records a fact that can be voided later.
    async fn fact(&mut self, path: &str, last: &'static str, body: &Value) {
        if let Some(id) = self.post("hygienist", path, body).await.id() {
            self.plant.facts.push((last, id));
        }
    }

    fn any_site(&mut self) -> usize {
        self.draws.below(self.plant.sites.len())
    }

    pub(crate) fn any_group(&mut self) -> (usize, String) {
        let site = self.any_site();
        (site, self.draws.one_of(&self.plant.sites[site].groups).clone())
    }

    pub(crate) fn any_worker(&mut self) -> String {
        self.draws.one_of(&self.plant.workers).clone()
    }

    fn agent(&mut self) -> &'static str {
        AGENTS[self.draws.below(AGENTS.len())]
    }

    /// A day of the last nine months, more often one of a few.
    pub(crate) fn day(&mut self) -> NaiveDate {
        let first = NaiveDate::from_ymd_opt(2025, 6, 2).unwrap();
        let within = if self.draws.one_in(2) { 270 } else { 12 };
        first + Duration::days(i64::try_from(self.draws.below(within)).unwrap())
    }

    fn reason(&mut self) -> Value {
        // Sometimes forgotten.
        if self.draws.one_in(12) { json!({}) } else { json!({"reason": "Looked at again."}) }
    }

    async fn event(&mut self) {
        let site = self.any_site();
        let day = self.day();
        let samples: Vec<Value> = (0..=self.draws.below(4)).map(|n| self.sample(site, day, n)).collect();
        let number = self.steps;
        let purpose = if self.draws.one_in(4) { "control_trial" } else { "routine" };
        let mut body = json!({"reference": format!("E{number}"), "sampled_by": "A. Sampler",
            "purpose": [purpose], "samples": samples});
        if self.draws.one_in(4) {
            body["shift_minutes"] = json!(self.draws.one_of(&[240, 480, 600]));
        }
        let id = self.plant.sites[site].id.clone();
        let answer = self.post("hygienist", &format!("/sites/{id}/sampling-events"), &body).await;
        let Some(event) = answer.id() else { return };
        self.plant.facts.push(("sampling-events", event));
        for sample in answer.json()["samples"].as_array().unwrap() {
            self.keep_sample(site, sample);
        }
    }

    fn keep_sample(&mut self, site: usize, sample: &Value) {
        let asked = sample["agent_codes"].as_array().cloned().unwrap_or_default();
        self.samples.push(Taken {
            site,
            id: sample["id"].as_str().unwrap().to_owned(),
            number: sample["number"].as_str().unwrap().to_owned(),
            agents: AGENTS.into_iter().filter(|agent| asked.contains(&json!(agent))).collect(),
            results: Vec::new(),
        });
    }

    fn sample(&mut self, site: usize, day: NaiveDate, n: usize) -> Value {
        let number = format!("S{}-{n}", self.steps);
        let agents: Vec<&str> = AGENTS.into_iter().filter(|_| self.draws.one_in(2)).collect();
        let mut sample = json!({"number": number, "position": "breathing_zone", "shift_date": day.to_string(),
            "agent_codes": if agents.is_empty() { vec![AGENTS[0]] } else { agents }});
        if self.draws.one_in(8) {
            sample["position"] = json!("field_blank");
            return sample;
        }
        // The last two workers are never sampled themselves: what is said of them rests on their groups.
        let worker = self.plant.workers[self.draws.below(self.plant.workers.len() - 2)].clone();
        let Site { behind, tasks, groups, controls, .. } = &self.plant.sites[site];
        match self.draws.below(8) {
            0 => sample["position"] = json!("area"),
            1 => sample["position"] = json!("background"),
            _ => sample["worker_id"] = json!(worker),
        }
        let (task, group) = self.draws.one_of(tasks);
        if self.draws.one_in(2) {
            sample["task_id"] = json!(task);
        }
        if !self.draws.one_in(4) {
            let group = if self.draws.one_in(4) { self.draws.one_of(groups) } else { group };
            sample["group_id"] = json!(group);
        }
        match self.draws.below(4) {
            0 => sample["control_ids_running"] = json!([]),
            1 => sample["control_ids_running"] = json!([controls[0]]),
            _ => {}
        }
        if self.draws.one_in(3) {
            sample["covers"] = json!(self.draws.one_of(&["task", "short_term", "shift"]));
        }
        if self.draws.one_in(12) {
            sample["outcome"] = json!(self.draws.one_of(&["pump_failed", "lost"]));
        }
        // Hours of local winter time; the year's other half is an hour off, and still in the shift.
        let start = day.and_hms_opt(7 + u32::try_from(self.draws.below(3)).unwrap() * 3, 0, 0).unwrap()
            + Duration::hours(*behind);
        let minutes = *self.draws.one_of(&[15, 170, 240, 470]);
        let end = start + Duration::minutes(minutes);
        sample["runs"] = json!([{"start": start.and_utc().to_rfc3339(), "end": end.and_utc().to_rfc3339()}]);
        // A flow of zero is refused.
        let after = *self.draws.one_of(&["2.00", "1.98", "1.90", "1.98", "2.01", "1.99", "1.70", "0"]);
        sample["flow_before"] = json!({"value": "2.00", "unit": "L/min"});
        sample["flow_after"] = json!({"value": after, "unit": "L/min"});
        sample
    }

    /// A mass in ug that puts 480 L about the levels of the agent; now and then below the reporting limit.
    fn mass(&mut self, agent: &str) -> (Option<&'static str>, String) {
        let most = match agent {
            "chromium_vi" => 4_000,
            "lead" => 40_000,
            _ => 90_000,
        };
        if self.draws.one_in(5) {
            return (Some("<"), "0.02".into());
        }
        let thousandths = 20 + self.draws.below(most);
        (None, format!("{}.{:03}", thousandths / 1000, thousandths % 1000))
    }

    /// Which sample gets a result: mostly the newest that has none.
    fn waiting(&mut self) -> Option<usize> {
        if self.samples.is_empty() {
            return None;
        }
        let newest = self.samples.iter().rposition(|sample| sample.results.is_empty());
        newest.filter(|_| !self.draws.one_in(6)).or_else(|| Some(self.draws.below(self.samples.len())))
    }

    async fn report(&mut self) {
        let Some(first) = self.waiting() else { return };
        let site = self.samples[first].site;
        // What else waits at the site comes with it.
        let rows: Vec<(usize, &'static str)> = self
            .samples
            .iter()
            .enumerate()
            .filter(|(n, sample)| *n == first || sample.site == site && sample.results.is_empty())
            .flat_map(|(n, sample)| sample.agents.iter().map(move |agent| (n, *agent)))
            .take(9)
            .collect();
        if self.draws.one_in(2) {
            let rows = rows.into_iter().map(|(n, agent)| (n, agent, None)).collect();
            self.csv_report(site, rows).await;
        } else {
            let rows = rows.into_iter().map(|(n, agent)| (n, agent, None)).collect();
            self.json_report(site, rows).await;
        }
    }

    /// A report that revises a result, or brings a re-analysis.
    async fn replacing_report(&mut self) {
        let with_results: Vec<usize> =
            (0..self.samples.len()).filter(|n| !self.samples[*n].results.is_empty()).collect();
        if with_results.is_empty() {
            return;
        }
        let n = *self.draws.one_of(&with_results);
        let (_, agent) = self.samples[n].results.last().unwrap().clone();
        let how = *self.draws.one_of(&["revised", "reanalysed"]);
        let rows = vec![(n, agent, Some(how))];
        if self.draws.one_in(2) {
            self.csv_report(self.samples[n].site, rows).await;
        } else {
            self.json_report(self.samples[n].site, rows).await;
        }
    }

    async fn json_report(&mut self, site: usize, rows: Vec<(usize, &'static str, Option<&str>)>) {
        let results: Vec<Value> = rows
            .iter()
            .map(|(n, agent, how)| {
                let (comparator, value) = self.mass(agent);
                let mut mass = json!({"value": value, "unit": "ug"});
                if let Some(comparator) = comparator {
                    mass["comparator"] = json!(comparator);
                }
                let mut row = json!({"sample_number": self.samples[*n].number, "agent_code": agent, "mass": mass,
                    "reporting_limit": {"value": "0.02", "unit": "ug"},
                    "blank_corrected": self.draws.one_of(&["yes", "no", "unknown"])});
                if let Some(how) = how {
                    let of_agent = self.samples[*n].results.iter().rfind(|(_, known)| known == agent);
                    row["replaces"] = json!({"result_id": of_agent.unwrap().0, "as": how});
                }
                row
            })
            .collect();
        let body = json!({"report_number": format!("L{}", self.steps), "laboratory": "Reed Laboratory",
            "received_on": "2026-03-02", "results": results});
        let id = self.plant.sites[site].id.clone();
        let answer = self.post("hygienist", &format!("/sites/{id}/lab-reports"), &body).await;
        self.keep_results(&answer, &rows);
    }

    async fn csv_report(&mut self, site: usize, rows: Vec<(usize, &'static str, Option<&str>)>) {
        let mut file = String::from("sample_number,agent,comparator,value,unit,reporting_limit,replaces\n");
        for (n, agent, how) in &rows {
            let (comparator, value) = self.mass(agent);
            let (number, comparator) = (&self.samples[*n].number, comparator.unwrap_or(""));
            let how = how.unwrap_or("");
            writeln!(file, "{number},{agent},{comparator},{value},ug,0.02,{how}").unwrap();
        }
        // A wrong date of receipt, sometimes.
        let day = if self.draws.one_in(12) { "2026-02-30" } else { "2026-03-02" };
        let path = format!(
            "/sites/{}/lab-reports?report_number=L{}&laboratory=Reed&received_on={day}",
            self.plant.sites[site].id, self.steps
        );
        let answer = self.stage.post_csv("hygienist", &path, file.clone()).await;
        self.note(format!("hygienist POST {path} {file}"), &answer);
        self.keep_results(&answer, &rows);
    }

    fn keep_results(&mut self, answer: &Answer, rows: &[(usize, &'static str, Option<&str>)]) {
        let Some(report) = answer.id() else { return };
        self.plant.facts.push(("lab-reports", report));
        let said = answer.json();
        for (n, agent, _) in rows {
            let sample = &mut self.samples[*n];
            let of_sample = said["samples"].as_array().unwrap().iter().find(|view| view["id"] == sample.id);
            // A sample of an event that is void says nothing any more.
            for result in of_sample.and_then(|view| view["results"].as_array()).into_iter().flatten() {
                let Some(id) = result["id"].as_str() else { continue };
                if result["agent_code"] == *agent && sample.results.iter().all(|(known, _)| known != id) {
                    sample.results.push((id.to_owned(), agent));
                }
            }
        }
    }

    async fn of_sample(&mut self) {
        if self.samples.is_empty() {
            return;
        }
        let n = self.draws.below(self.samples.len());
        let id = self.samples[n].id.clone();
        match self.draws.below(5) {
            0..3 => drop(self.post("hygienist", &format!("/samples/{id}/acceptance"), &json!({})).await),
            3 => {
                let mut body = self.reason();
                if self.draws.one_in(2) {
                    body["agent_code"] = json!(self.agent());
                } else {
                    self.plant.facts.push(("samples", id.clone()));
                }
                self.post("hygienist", &format!("/samples/{id}/voiding"), &body).await;
            }
            _ => {
                let body = self.reason();
                self.post("hygienist", &format!("/samples/{id}/voiding-withdrawal"), &body).await;
            }
        }
    }

    async fn of_result(&mut self) {
        let Some(id) = self.any_result_id() else { return };
        let deed =
            *self.draws.one_of(&["voiding", "voiding-withdrawal", "standing-choice", "standing-choice"]);
        let body = self.reason();
        self.post("hygienist", &format!("/results/{id}/{deed}"), &body).await;
    }

    async fn of_worker(&mut self) {
        let worker = self.any_worker();
        let day = self.day();
        let (_, group) = self.any_group();
        match self.draws.below(7) {
            0 | 1 => {
                let mut body = json!({"group_id": group, "from": day.to_string(),
                    "shifts_per_week": self.draws.one_of(&[1.0, 2.5, 5.0]), "hours_per_shift": 8});
                if !self.draws.one_in(3) {
                    // Now and then it ends before it begins.
                    let days = *self.draws.one_of(&[-3, 14, 60, 120]);
                    body["to"] = json!((day + Duration::days(days)).to_string());
                }
                self.fact(&format!("/workers/{worker}/assignments"), "assignments", &body).await;
            }
            2 | 3 => {
                let body = json!({"from": day.to_string(), "to": (day + Duration::days(5)).to_string()});
                self.fact(&format!("/workers/{worker}/absences"), "absences", &body).await;
            }
            4 => {
                let body = json!({"date": day.to_string(), "group_id": group, "hours": 6});
                self.fact(&format!("/workers/{worker}/worked-days"), "worked-days", &body).await;
            }
            5 => {
                let body = json!({"of_worker_id": self.any_worker(), "reason": "One person."});
                self.fact(&format!("/workers/{worker}/aliases"), "aliases", &body).await;
            }
            _ => {
                let body = json!({"employer": "Earlier Works", "agent_code": self.agent(),
                    "from": "2019-01-01", "to": "2020-01-01", "days_per_year": 200,
                    "mean": {"value": "3", "unit": "ug/m3"}, "source": "Told by the worker"});
                let path = format!("/workers/{worker}/earlier-exposures");
                self.fact(&path, "earlier-exposures", &body).await;
            }
        }
    }

    async fn of_group(&mut self) {
        let (site, group) = self.any_group();
        let day = self.day().to_string();
        let agent = self.agent();
        match self.draws.below(8) {
            0 => {
                let body = json!({"from": day, "kind": "process", "description": "New line.",
                    "may_raise": self.draws.one_in(2)});
                self.fact(&format!("/groups/{group}/changes"), "changes", &body).await;
            }
            1 => {
                let body = json!({"agent_code": agent, "from": day, "source": "Data sheet"});
                self.post("hygienist", &format!("/groups/{group}/agents"), &body).await;
            }
            2 => {
                let body = json!({"at": "2025-09-01", "reason": "The same work as before."});
                self.fact(&format!("/groups/{group}/joined-eras"), "joined-eras", &body).await;
            }
            3 => {
                let body = json!({"agent_code": agent, "kind": "respirator_required", "days_per_week": 2,
                    "from": day, "source": "Programme"});
                self.fact(&format!("/groups/{group}/conditions"), "conditions", &body).await;
            }
            4 => {
                let set = *self.draws.one_of(&["us_construction", "us_general_industry"]);
                let body = json!({"rule_set": set, "from": day, "reason": "Other work."});
                self.fact(&format!("/groups/{group}/rule-sets"), "rule-sets", &body).await;
            }
            5 => {
                // A rating of 6 is refused.
                let body = json!({"group_id": group, "agent_code": agent, "from": day,
                    "kind": "professional", "rating": 1 + self.draws.below(6), "rationale": "As next door.",
                    "arithmetic_mean": {"lower": {"value": "1", "unit": "ug/m3"},
                        "upper": {"value": "2", "unit": "ug/m3"}}});
                let path = format!("/sites/{}/judgements", self.plant.sites[site].id);
                self.fact(&path, "judgements", &body).await;
            }
            _ => {
                let (task, _) = self.draws.one_of(&self.plant.sites[site].tasks).clone();
                let control = self.draws.one_of(&self.plant.sites[site].controls).clone();
                let to = self.day().to_string();
                let body = json!({"control_id": control, "from": day, "to": to});
                self.fact(&format!("/tasks/{task}/control-periods"), "control-periods", &body).await;
            }
        }
    }

    /// Voids a fact, or takes the voiding back; one of the last ones more often.
    async fn turn_fact(&mut self) {
        let all = self.plant.facts.len();
        let n =
            if self.draws.one_in(2) { self.draws.below(all) } else { all - 1 - self.draws.below(all.min(6)) };
        let (last, id) = self.plant.facts[n].clone();
        let void = self.void.contains(&id) != self.draws.one_in(8);
        let deed = if void { "voiding-withdrawal" } else { "voiding" };
        let body = self.reason();
        if self.post("hygienist", &format!("/{last}/{id}/{deed}"), &body).await.status == 201 {
            if void {
                self.void.remove(&id)
            } else {
                self.void.insert(id)
            };
        }
    }

    async fn of_site_or_agent(&mut self) {
        let site = self.any_site();
        let id = self.plant.sites[site].id.clone();
        match self.draws.below(4) {
            0 => {
                let body = json!({"date": self.day().to_string(), "name": "Works holiday"});
                self.fact(&format!("/sites/{id}/holidays"), "holidays", &body).await;
            }
            1 => {
                let body = json!({"agent_code": self.agent(), "option": "scheduled", "from": "2025-07-01"});
                self.fact(&format!("/sites/{id}/monitoring-options"), "monitoring-options", &body).await;
            }
            2 => {
                let body = json!({"rule_set": "us_general_industry", "from": self.day().to_string(),
                    "reason": "Confirmed."});
                self.fact(&format!("/sites/{id}/rule-sets"), "rule-sets", &body).await;
            }
            _ => {
                let agents = self.stage.get("hygienist", "/agents?limit=500").await.json();
                let code = self.agent();
                let agent = agents["items"].as_array().unwrap().iter().find(|agent| agent["code"] == code);
                let path = format!("/agents/{}/limits", agent.unwrap()["id"].as_str().unwrap());
                let body = json!({"authority": "company", "kind": "twa", "value": {"value": "2", "unit": "ug/m3"},
                    "averaging_minutes": 480, "from": "2025-08-01", "source": "Works standard 12"});
                self.fact(&path, "limits", &body).await;
            }
        }
    }

    /// Somebody acts on a duty; not always one who may.
    async fn duty(&mut self) {
        let duties = self.stage.get("physician", "/duties?limit=500").await.json();
        let duties = duties["items"].as_array().unwrap();
        if duties.is_empty() {
            return;
        }
        let id = self.draws.one_of(duties)["id"].as_str().unwrap().to_owned();
        let who = if self.draws.one_in(4) { "hygienist" } else { "physician" };
        let action = *self.draws.one_of(&["offered", "declined", "waived", "completed"]);
        let mut body = json!({"action": action, "on": "2026-03-01"});
        if self.draws.one_in(2) {
            body["note"] = json!("Seen by the works physician.");
        }
        self.post(who, &format!("/duties/{id}/actions"), &body).await;
    }
}
