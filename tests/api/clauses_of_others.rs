//! What other authorities' clauses count and ask for, each met and just not met. The authorities and their numbers are
//! invented; how each is read is this registry's own rule. Today is Monday 2 March 2026.

use crate::harness::TestApp;
use crate::other_authorities::{Plant, clause, offered, plant, rows};
use crate::overview::micrograms;
use serde_json::{Value, json};

impl Plant<'_> {
    /// One sample of an agent in a group of a site, with its result.
    pub(crate) async fn sampled(&mut self, worker: &str, group: &str, agent: &str, day: &str, value: Value) {
        self.sampled_for(worker, group, agent, (day, 480), value).await;
    }

    async fn sampled_for(
        &mut self,
        worker: &str,
        group: &str,
        agent: &str,
        (day, minutes): (&str, u32),
        value: Value,
    ) {
        self.shop.events += 1;
        let number = format!("A-{}", self.shop.events);
        let site = if group == self.melt { &self.shop.there } else { &self.shop.here };
        let covers = if minutes == 480 { "shift" } else { "short_term" };
        let (hour, minute) = (7 + minutes / 60, minutes % 60);
        let sample = json!({"number": number, "position": "breathing_zone", "worker_id": worker, "group_id": group,
            "shift_date": day, "covers": covers, "agent_codes": [agent],
            "runs": [{"start": format!("{day}T07:00:00-07:00"), "end": format!("{day}T{hour:02}:{minute:02}:00-07:00")}],
            "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"},
            "calibrator": "C-1", "calibrated_on": day});
        let event = json!({"reference": number, "sampled_by": "K. Marl", "samples": [sample]});
        self.shop.post(&format!("/sites/{site}/sampling-events"), event).await;
        let limit = json!({"value": 0.01, "unit": value["unit"]});
        let result = json!({"sample_number": number, "agent_code": agent, "concentration": value,
            "blank_corrected": "yes", "reporting_limit": limit});
        let report = json!({"report_number": number, "laboratory": "Hollow Lane Laboratory",
            "received_on": "2026-02-27", "results": [result]});
        self.shop.post(&format!("/sites/{site}/lab-reports"), report).await;
    }

    pub(crate) async fn agent_id(&self, code: &str) -> String {
        let agents = self.shop.app.as_role("hygienist").get("/agents?limit=500").await;
        let all = agents.json["items"].as_array().unwrap();
        all.iter().find(|one| one["code"] == code).unwrap()["id"].as_str().unwrap().to_owned()
    }

    /// A clause as a worker's surveillance shows it.
    pub(crate) async fn shown(&self, worker: &str, agent: &str, code: &str) -> Value {
        self.shop.app.registry.settle().await.unwrap();
        let path = format!("/workers/{worker}/surveillance?agent_code={agent}");
        let seen = self.shop.app.as_role("physician").get(&path).await;
        assert_eq!(seen.status, 200, "{}", seen.text);
        let clauses = seen.json["clauses"].as_array().unwrap();
        let found: Vec<_> = clauses.iter().filter(|one| one["trigger_id"] == code).collect();
        assert_eq!(found.len(), 1, "{}", seen.text);
        found[0].clone()
    }

    pub(crate) async fn under(&self, group: &str, rule_set: &str) {
        let own = json!({"rule_set": rule_set, "from": "2026-01-01", "reason": "Work on the building."});
        self.shop.post(&format!("/groups/{group}/rule-sets"), own).await;
    }
}

fn level_under(rule_set: &str, value: f64) -> Value {
    json!({"authority": "Works", "kind": "action_level", "value": micrograms(value), "averaging_minutes": 480,
        "rule_sets": [rule_set], "source": "Works standard 12, section 2"})
}

/// A worker who works in the first group and was measured once in the second, at 1.2 ug/m3, without an assignment there.
async fn measured_beside(plant: &mut Plant<'_>, assigned: &str, measured: &str, number: &str) -> String {
    let worker = plant.shop.worker(number).await;
    plant.shop.assign(&worker, assigned, "2026-02-02", 3.0).await;
    plant.sampled(&worker, measured, "chromium_vi", "2026-02-05", micrograms(1.2)).await;
    worker
}

#[tokio::test]
async fn a_clause_under_two_rule_sets_is_met_where_it_is_met_under_one() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    let (weld, melt) = (plant.weld.clone(), plant.melt.clone());
    plant.under(&melt, "us_construction").await;
    let path = format!("/agents/{}/limits", plant.agent_id("chromium_vi").await);
    for (rule_set, value) in [("us_general_industry", 2.0), ("us_construction", 1.0)] {
        let made = plant.enter("hygienist", &path, &level_under(rule_set, value)).await;
        assert_eq!(made.status, 201, "{}", made.text);
    }
    let worker = measured_beside(&mut plant, &weld, &melt, "2").await;
    for (code, days) in [("W1", 1), ("W2", 2)] {
        let made = plant.enter("hygienist", "/clauses", &clause(code, &offered(days))).await;
        assert_eq!(made.status, 201, "{}", made.text);
    }
    let met = plant.shown(&worker, "chromium_vi", "W1").await;
    assert_eq!((&met["met"], &met["rule_set"]), (&json!(true), &json!("us_construction")), "{met}");
    assert!(met["note"].as_str().unwrap().contains("not so under us_general_industry"), "{met}");
    let not = plant.shown(&worker, "chromium_vi", "W2").await;
    assert_eq!((&not["met"], &not["days_counted"]), (&json!(false), &json!(1)), "{not}");
    app.registry.settle().await.unwrap();
    let path = format!("/duties?kind=offer_examination&worker_id={worker}");
    let duties = app.as_role("physician").get(&path).await;
    assert_eq!(duties.json["items"].as_array().unwrap().len(), 1, "{}", duties.text);
    assert_eq!(duties.json["items"][0]["trigger_id"], "W1");
}

#[tokio::test]
async fn a_sites_own_clause_is_read_by_the_rule_set_of_the_group() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    let (weld, melt) = (plant.weld.clone(), plant.melt.clone());
    plant.under(&weld, "us_construction").await;
    let path = format!("/sites/{}/limits", plant.shop.here);
    for (rule_set, value) in [("us_general_industry", 2.0), ("us_construction", 1.0)] {
        let mut limit = level_under(rule_set, value);
        limit["agent_code"] = json!("chromium_vi");
        let made = plant.enter("hygienist-here", &path, &limit).await;
        assert_eq!(made.status, 201, "{}", made.text);
    }
    let worker = measured_beside(&mut plant, &melt, &weld, "2").await;
    plant.clause_here("W1", &offered(1)).await;
    let met = plant.shown(&worker, "chromium_vi", "W1").await;
    assert_eq!((&met["met"], &met["rule_set"]), (&json!(true), &json!("us_construction")), "{met}");
    // A group of the site's own rule set is read by the other level: 1.2 lies below 2.
    let shear = plant.shop.group(&plant.shop.here.clone(), "SHEAR").await;
    let other = measured_beside(&mut plant, &melt, &shear, "3").await;
    assert_eq!(plant.shown(&other, "chromium_vi", "W1").await["met"], false);
}

#[tokio::test]
async fn any_exposure_counts_where_the_agent_is_expected_or_was_found() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    // Nobody has measured anything: the agent is expected in the welders' group on three days a week.
    plant.clause_here("W1", &json!({"worker": {"counts": "any_exposure", "days": 10}})).await;
    let expected = plant.shown(&plant.worker.clone(), "chromium_vi", "W1").await;
    assert_eq!(expected["met"], true, "{expected}");
    assert_eq!(plant.duties("physician", "offer_examination").await, rows(&[["Works", "W1", "open"]]));
    // Where it is neither expected nor found nobody can tell; once it is found there the days count.
    let yard = app.group(&plant.shop.here, "YARD").await;
    let (here, away) = (plant.shop.worker("2").await, plant.shop.worker("3").await);
    for worker in [&here, &away] {
        plant.shop.assign(worker, &yard, "2026-02-02", 3.0).await;
    }
    let untold = plant.shown(&here, "chromium_vi", "W1").await;
    assert_eq!((&untold["met"], &untold["days_counted"]), (&json!(false), &json!(0)), "{untold}");
    assert!(untold["note"].as_str().unwrap().contains("cannot be told"), "{untold}");
    plant.sampled(&away, &yard, "chromium_vi", "2026-02-03", micrograms(0.2)).await;
    assert_eq!(plant.shown(&here, "chromium_vi", "W1").await["met"], true);
}

#[tokio::test]
async fn an_agent_without_any_limit_has_the_clauses_that_take_none() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let dust = json!({"code": "works_dust", "name": "Works dust", "state": "particulate"});
    plant.shop.post("/agents", dust).await;
    let expected = json!({"agent_code": "works_dust", "from": "2026-01-01", "source": "Data sheet"});
    plant.shop.post(&format!("/groups/{}/agents", plant.weld), expected).await;
    let of_dust = async |code: &str, asked: Value| {
        let mut sent = clause(code, &asked);
        sent["agent_code"] = json!("works_dust");
        let path = format!("/sites/{}/clauses", plant.shop.here);
        let made = plant.enter("hygienist-here", &path, &sent).await;
        assert_eq!(made.status, 201, "{}", made.text);
    };
    of_dust("D1", json!({"worker": {"counts": "any_exposure", "days": 10}})).await;
    of_dust("D2", json!({"worker": {"counts": "listed_task"}})).await;
    of_dust("D3", json!({"group": {"asks": "sample_first", "within_days": 30}})).await;
    assert_eq!(plant.duties("physician", "offer_examination").await, rows(&[["Works", "D1", "open"]]));
    let monitoring = plant.duties("physician", "monitor_again").await;
    assert!(monitoring.contains(&rows(&[["Works", "D3", "overdue"]])[0]), "{monitoring:?}");
    let task = json!({"agent_code": "works_dust", "kind": "listed_task", "from": "2026-02-02", "source": "Task sheet"});
    plant.shop.post(&format!("/groups/{}/conditions", plant.weld), task).await;
    assert_eq!(
        plant.duties("physician", "offer_examination").await,
        rows(&[["Works", "D1", "open"], ["Works", "D2", "open"]])
    );
}

#[tokio::test]
async fn exactly_at_the_limit_reaches_a_clause_that_says_at_it_and_not_one_that_says_above() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    plant.limit_here("action_level", 1.0).await;
    plant.limit_here("twa", 2.0).await;
    let (weld, mate) = (plant.weld.clone(), plant.shop.worker("2").await);
    plant.shop.assign(&mate, &weld, "2026-02-02", 3.0).await;
    let at = json!({"worker": {"counts": "eight_hour_average", "level": "limit", "days": 10}});
    let above =
        json!({"worker": {"counts": "eight_hour_average", "level": "limit", "above": true, "days": 10}});
    plant.clause_here("W1", &at).await;
    plant.clause_here("W2", &above).await;
    let met = async |plant: &Plant<'_>| {
        let mut found = Vec::new();
        for code in ["W1", "W2"] {
            found.push(plant.shown(&mate, "chromium_vi", code).await["met"].as_bool().unwrap());
        }
        found
    };
    // The mate is represented by the one who was measured.
    plant.measured(&weld, "2026-02-03", 1.99).await;
    assert_eq!(met(&plant).await, [false, false]);
    plant.measured(&weld, "2026-02-10", 2.0).await;
    assert_eq!(met(&plant).await, [true, false]);
    plant.measured(&weld, "2026-02-17", 2.01).await;
    assert_eq!(met(&plant).await, [true, true]);
}

#[tokio::test]
async fn short_term_averages_are_held_against_the_level_of_the_clause() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    let worker = plant.worker.clone();
    let weld = plant.weld.clone();
    for (code, value) in [("W1", 8.0), ("W2", 8.1)] {
        let asked = json!({"worker": {"counts": "short_term_average", "value": micrograms(value)}});
        plant.clause_here(code, &asked).await;
    }
    plant.sampled_for(&worker, &weld, "chromium_vi", ("2026-02-03", 15), micrograms(8.0)).await;
    assert_eq!(plant.shown(&worker, "chromium_vi", "W1").await["met"], true);
    assert_eq!(plant.shown(&worker, "chromium_vi", "W2").await["met"], false);
}

#[tokio::test]
async fn conditions_of_a_group_are_counted_day_by_day() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    // Three shifts a week, Monday to Wednesday: of each kind another number of weeks.
    let kinds = [
        ("respirator_required", "2026-02-09", 3),
        ("regulated_area", "2026-02-16", 6),
        ("skin_contact", "2026-02-23", 9),
        ("listed_task", "2026-03-02", 12),
    ];
    for (kind, to, days) in kinds {
        let condition = json!({"agent_code": "chromium_vi", "kind": kind, "from": "2026-02-02", "to": to,
            "source": "Works plan"});
        plant.shop.post(&format!("/groups/{}/conditions", plant.weld), condition).await;
        for (code, days) in [(format!("{kind}-met"), days), (format!("{kind}-not"), days + 1)] {
            plant.clause_here(&code, &json!({"worker": {"counts": kind, "days": days}})).await;
        }
    }
    for (kind, _, days) in kinds {
        let reached = plant.shown(&plant.worker, "chromium_vi", &format!("{kind}-met")).await;
        assert_eq!((&reached["met"], &reached["days_counted"]), (&json!(true), &json!(days)), "{reached}");
        let not = plant.shown(&plant.worker, "chromium_vi", &format!("{kind}-not")).await;
        assert_eq!(not["met"], false, "{not}");
    }
}

#[tokio::test]
async fn a_release_asks_for_an_examination_of_those_present_and_sampling_after_a_change_for_the_group() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    let weld = plant.weld.clone();
    let release = json!({"worker": {"counts": "release", "first_within": {"amount": 2, "unit": "days"}}});
    plant.clause_here("W1", &release).await;
    plant.clause_here("W2", &json!({"group": {"asks": "sample_after_change"}})).await;
    // The works has no level at all: that there was a round is enough.
    let sample = plant.measured(&weld, "2026-02-03", 0.2).await;
    plant.shop.post(&format!("/samples/{sample}/acceptance"), json!({})).await;
    let after_change = async |plant: &Plant<'_>| {
        let owed = plant.duties("physician", "monitor_again").await;
        owed.iter().filter(|row| row[1] == "W2").count()
    };
    assert_eq!(after_change(&plant).await, 0);
    // A change that should lower exposure asks for nothing by this clause.
    let change = |may_raise: bool, from: &str| json!({"from": from, "kind": "material", "description": "Other filler wire.", "may_raise": may_raise});
    let path = format!("/groups/{weld}/changes");
    plant.shop.post(&path, change(false, "2026-02-10")).await;
    assert_eq!(after_change(&plant).await, 0);
    plant.shop.post(&path, change(true, "2026-02-17")).await;
    assert_eq!(after_change(&plant).await, 1);

    assert_eq!(plant.duties("physician", "offer_examination").await, rows(&[]));
    let away = plant.shop.worker("2").await;
    let yard = app.group(&plant.shop.here, "YARD").await;
    plant.shop.assign(&away, &yard, "2026-02-02", 3.0).await;
    let spilt = json!({"at": "2026-02-24T10:00:00-07:00", "agent_codes": ["chromium_vi"], "group_ids": [weld],
        "worker_ids": [], "description": "A drum was knocked over."});
    plant.shop.post(&format!("/sites/{}/releases", plant.shop.here), spilt).await;
    app.registry.settle().await.unwrap();
    let all = app.as_role("physician").get("/duties?kind=offer_examination").await;
    let of_works: Vec<_> =
        all.json["items"].as_array().unwrap().iter().filter(|duty| duty["authority"] == "Works").collect();
    assert_eq!(of_works.len(), 1, "{}", all.text);
    assert_eq!((&of_works[0]["due_on"], &of_works[0]["status"]), (&json!("2026-02-26"), &json!("overdue")));
    assert_eq!(of_works[0]["subject"]["worker_id"], plant.worker);
}

#[tokio::test]
async fn sampling_for_the_first_time_is_owed_until_a_round_has_told() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    let weld = plant.weld.clone();
    plant.limit_here("action_level", 1.0).await;
    let owed = async |plant: &Plant<'_>| {
        let mut found = plant.duties("physician", "monitor_again").await;
        found.retain(|row| row[0] == "Works" && row[2] != "met");
        found
    };
    // Expected from 1 January: 60 days later is today. Of two clauses the shorter time binds.
    let first = |days: i64| json!({"group": {"asks": "sample_first", "within_days": days}});
    plant.clause_here("W1", &first(60)).await;
    assert_eq!(owed(&plant).await, rows(&[["Works", "W1", "open"]]));
    plant.clause_here("W2", &first(59)).await;
    assert_eq!(owed(&plant).await, rows(&[["Works", "W2", "overdue"]]));
    let sample = plant.measured(&weld, "2026-02-03", 0.2).await;
    plant.shop.post(&format!("/samples/{sample}/acceptance"), json!({})).await;
    assert_eq!(owed(&plant).await, rows(&[]));
}

#[tokio::test]
async fn a_move_up_names_the_source_of_the_authoritys_level() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    plant.limit_here("action_level", 1.0).await;
    let weld = plant.weld.clone();
    for (day, value) in [("2026-02-03", 0.4), ("2026-02-10", 1.2)] {
        plant.measured(&weld, day, value).await;
    }
    app.registry.settle().await.unwrap();
    let path = format!("/groups/{weld}/standing-moves?agent_code=chromium_vi");
    let moves = app.as_role("corporate").get(&path).await;
    let of = |authority: &str| -> Vec<(Value, Value)> {
        let items = moves.json["items"].as_array().unwrap().iter();
        let of_it = items.filter(|one| one["authority"] == authority);
        of_it.map(|one| (one["value"].clone(), one["clause"].clone())).collect()
    };
    let source = json!("Works standard 12, section 2");
    assert_eq!(
        of("Works"),
        [(json!("below_action_level"), Value::Null), (json!("at_or_above_action_level"), source)]
    );
    assert_eq!(of("OSHA"), [(json!("below_action_level"), Value::Null)]);
}

#[tokio::test]
async fn a_preview_of_an_authoritys_level_counts_its_own_way_down() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    plant.limit_here("action_level", 1.0).await;
    let weld = plant.weld.clone();
    let down = json!({"asks": "may_stop", "below": "action_level", "results": 2, "days_apart": 3});
    let mut samples = Vec::new();
    for (day, value) in [("2026-02-03", 1.2), ("2026-02-10", 0.4), ("2026-02-17", 0.4)] {
        samples.push(plant.measured(&weld, day, value).await);
    }
    for sample in samples {
        plant.shop.post(&format!("/samples/{sample}/acceptance"), json!({})).await;
    }
    let stands = async |value: f64| {
        let proposal = json!({"agent_code": "chromium_vi", "authority": "Works", "kind": "action_level",
            "value": micrograms(value)});
        let found = app.as_role("hygienist").post("/limit-changes/preview", &proposal).await;
        assert_eq!(found.status, 200, "{}", found.text);
        let rows = found.json["standings"].as_array().unwrap().clone();
        let of_weld =
            |row: &&Value| row["groups"].as_array().unwrap().iter().any(|one| one["group_id"] == weld);
        let row = rows.iter().find(of_weld).unwrap();
        (row["now"].clone(), row["proposed"].clone())
    };
    let (at, below) = (json!("at_or_above_action_level"), json!("below_action_level"));
    // Without a way down of its own nothing falls; with one, two results below the proposed level lower it too.
    assert_eq!(stands(0.5).await, (at.clone(), at.clone()));
    plant.clause_here("W1", &json!({"group": down})).await;
    assert_eq!(stands(0.5).await, (below.clone(), below.clone()));
    assert_eq!(stands(0.4).await, (below, at));
}
