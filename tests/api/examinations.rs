//! Examinations that follow from facts other than a count of measured days: the next one after an offer, a release, a
//! listed task.

use crate::harness::TestApp;
use doseward::registry::rebuild::rebuild;
use doseward::surveillance::pack::Pack;
use serde_json::{Value, json};

/// Today is 2 March 2026. Everything here is invented.
async fn worker(app: &TestApp, number: &str, group: Option<&str>) -> String {
    let hygienist = app.as_role("hygienist");
    let body = json!({"employee_number": number, "given_name": "Wren", "family_name": number,
        "employer": "Own works", "hired_on": "2025-01-06"});
    let worker = hygienist.post("/workers", &body).await.id();
    if let Some(group) = group {
        let assignment =
            json!({"group_id": group, "from": "2026-01-05", "shifts_per_week": 5, "hours_per_shift": 8});
        hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    }
    worker
}

/// One filter of 6 ug/m3 of chromium(VI), above the limit.
async fn sampled(app: &TestApp, site: &str, group: &str, worker: &str) {
    let hygienist = app.as_role("hygienist");
    let sample = json!({"number": "S-1", "position": "breathing_zone", "shift_date": "2026-02-03",
        "worker_id": worker, "group_id": group, "agent_codes": ["chromium_vi"],
        "runs": [{"start": "2026-02-03T07:00:00-07:00", "end": "2026-02-03T15:00:00-07:00"}],
        "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}});
    let event = json!({"reference": "2026-01", "sampled_by": "K. Marl", "samples": [sample]});
    hygienist.post(&format!("/sites/{site}/sampling-events"), &event).await.id();
    let report = json!({"report_number": "L1", "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-20",
        "results": [{"sample_number": "S-1", "agent_code": "chromium_vi", "blank_corrected": "yes",
            "concentration": {"value": 6, "unit": "ug/m3"}, "reporting_limit": {"value": 0.05, "unit": "ug/m3"}}]});
    hygienist.post(&format!("/sites/{site}/lab-reports"), &report).await.id();
}

async fn duties(app: &TestApp, worker: &str) -> Vec<Value> {
    app.registry.settle().await.unwrap();
    let found = app.as_role("physician").get(&format!("/duties?worker_id={worker}")).await;
    assert_eq!(found.status, 200, "{}", found.text);
    found.json["items"].as_array().unwrap().clone()
}

/// Kind, clause, due date, status and flags that matter here.
fn told(duties: &[Value]) -> Vec<(&str, &str, &str, &str)> {
    duties
        .iter()
        .map(|duty| {
            (text(duty, "kind"), text(duty, "trigger_id"), text(duty, "due_on"), text(duty, "status"))
        })
        .collect()
}

fn text<'d>(duty: &'d Value, name: &str) -> &'d str {
    duty[name].as_str().unwrap_or_default()
}

#[tokio::test]
async fn the_next_examination_follows_an_offer_and_a_rebuild_moves_nothing() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    let group = app.group(&site, "WELD").await;
    let wren = worker(&app, "1", Some(&group)).await;
    sampled(&app, &site, &group, &wren).await;
    let owed = duties(&app, &wren).await;
    // 29 CFR 1910.1026(k)(2)(i): 30 days after the initial assignment of 5 January 2026.
    assert_eq!(told(&owed), [("offer_examination", "ST001", "2026-02-04", "overdue")]);

    let act = |id: &Value, action: &'static str, on: &'static str| {
        (format!("/duties/{}/actions", id.as_str().unwrap()), json!({"action": action, "on": on}))
    };
    let (path, offered) = act(&owed[0]["id"], "offered", "2026-02-27");
    assert_eq!(app.as_role("physician").post(&path, &offered).await.status, 201);
    // 29 CFR 1910.1026(k)(2)(ii): annually; counted from the offer.
    let after = duties(&app, &wren).await;
    assert_eq!(
        told(&after),
        [
            ("offer_examination", "ST001", "2026-02-04", "met"),
            ("periodic_examination", "ST001", "2027-02-27", "open")
        ]
    );
    // It was done three days later: the same duty, counted from that day.
    let (path, completed) = act(&owed[0]["id"], "completed", "2026-03-02");
    assert_eq!(app.as_role("physician").post(&path, &completed).await.status, 201);
    let done = duties(&app, &wren).await;
    assert_eq!(told(&done)[1], ("periodic_examination", "ST001", "2027-03-02", "open"));
    assert_eq!(done[1]["id"], after[1]["id"]);

    let rebuilt = rebuild(&app.registry, |_| ()).await.unwrap();
    assert_eq!(rebuilt.differing, 0, "{rebuilt:?}");
    assert_eq!(duties(&app, &wren).await, done);
}

#[tokio::test]
async fn a_release_is_owed_an_examination_by_whoever_was_present() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    let (group, other) = (app.group(&site, "WELD").await, app.group(&site, "PACK").await);
    let present = worker(&app, "1", Some(&group)).await;
    let elsewhere = worker(&app, "2", Some(&other)).await;
    let named = worker(&app, "3", None).await;
    let away = worker(&app, "4", Some(&group)).await;
    let hygienist = app.as_role("hygienist");
    let absence = json!({"from": "2026-02-28", "to": "2026-03-02"});
    hygienist.post(&format!("/workers/{away}/absences"), &absence).await.id();
    // One hour past midnight in Greenwich is still 28 February in Denver.
    let release = json!({"at": "2026-03-01T01:00:00Z", "agent_codes": ["chromium_vi"], "group_ids": [group],
        "worker_ids": [named], "description": "A duct tore open"});
    let path = format!("/sites/{site}/releases");
    let release = hygienist.post(&path, &release).await;
    assert_eq!(release.status, 201, "{}", release.text);
    for who in [&present, &named] {
        let owed = duties(&app, who).await;
        // 29 CFR 1910.1026(k)(1)(i)(C), (k)(2)(v): within 30 days of the emergency.
        assert_eq!(told(&owed), [("offer_examination", "ST003", "2026-03-30", "open")], "{who}");
        assert_eq!(owed[0]["flags"], json!(["after_release"]));
        assert_eq!(owed[0]["basis"], json!([release.json["position"]]));
    }
    for who in [&elsewhere, &away] {
        assert_eq!(duties(&app, who).await, Vec::<Value>::new());
    }
    // Struck out as a false alarm, it asks for nothing.
    let path = format!("/releases/{}/voiding", release.json["id"].as_str().unwrap());
    let voided = hygienist.post(&path, &json!({"reason": "a drill"})).await;
    assert!(voided.status < 300, "{}", voided.text);
    let withdrawn = duties(&app, &present).await;
    assert_eq!(told(&withdrawn), [("offer_examination", "ST003", "2026-03-30", "withdrawn")]);
}

#[tokio::test]
async fn a_listed_task_asks_for_tests_without_any_sample() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site = json!({"code": "BRG", "name": "Bridge", "time_zone": "America/Denver", "rule_set": "us_construction"});
    let site = hygienist.post("/sites", &site).await.id();
    let group = app.group(&site, "BURN").await;
    let wren = worker(&app, "1", Some(&group)).await;
    let condition = json!({"agent_code": "lead", "kind": "listed_task", "from": "2026-02-10",
        "source": "torch burning on a painted span"});
    let condition = hygienist.post(&format!("/groups/{group}/conditions"), &condition).await;
    assert_eq!(condition.status, 201, "{}", condition.text);
    let owed = duties(&app, &wren).await;
    // 29 CFR 1926.62(d)(2)(v)(E): blood tests from the first such day, until exposure is assessed.
    assert_eq!(told(&owed), [("offer_examination", "ST018", "2026-02-10", "overdue")]);
    // One of the basis is the condition.
    assert!(owed[0]["basis"].as_array().unwrap().contains(&condition.json["position"]), "{}", owed[0]);
}

#[tokio::test]
async fn the_first_examination_for_cotton_dust_waits_for_no_sample_where_the_dust_is_expected() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    let (spin, office) = (app.group(&site, "SPIN").await, app.group(&site, "OFFICE").await);
    let (spinner, clerk) = (worker(&app, "1", Some(&spin)).await, worker(&app, "2", Some(&office)).await);
    let expected = json!({"agent_code": "cotton_yarn", "from": "2026-01-05", "source": "what is spun there"});
    let expected = app.as_role("hygienist").post(&format!("/groups/{spin}/agents"), &expected).await;
    assert_eq!(expected.status, 201, "{}", expected.text);
    // 29 CFR 1910.1043(h)(2)(i): whoever is or may be exposed, before the first assignment.
    let owed = duties(&app, &spinner).await;
    assert_eq!(told(&owed), [("offer_examination", "ST072", "2026-01-05", "overdue")]);
    assert_eq!(duties(&app, &clerk).await, Vec::<Value>::new());
}

#[tokio::test]
async fn a_duty_keeps_the_edition_that_it_was_written_by_when_a_release_brings_another() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    let group = app.group(&site, "WELD").await;
    let (first, second) = (worker(&app, "1", None).await, worker(&app, "2", None).await);
    let leaked = async |worker: &str, at: &str| {
        let release = json!({"at": at, "agent_codes": ["chromium_vi"], "group_ids": [group],
            "worker_ids": [worker], "description": "A duct tore open"});
        app.as_role("hygienist").post(&format!("/sites/{site}/releases"), &release).await.id();
        duties(&app, worker).await
    };
    let before = leaked(&first, "2026-02-20T12:00:00Z").await;
    let mut pack = Pack::built_in().clone();
    for row in pack.surveillance.iter_mut().filter(|row| row.trigger_id == "ST003") {
        row.edition = Some("Edition of the next release".into());
    }
    assert_eq!(app.registry.enter_pack(&pack).await.unwrap(), 1);
    let after = leaked(&second, "2026-02-23T12:00:00Z").await;
    assert_eq!(
        (&after[0]["trigger_id"], &after[0]["edition"]),
        (&json!("ST003"), &json!("Edition of the next release"))
    );
    assert_eq!(duties(&app, &first).await, before);
    assert_ne!(before[0]["edition"], after[0]["edition"]);
}

#[tokio::test]
async fn whoever_is_known_from_no_group_is_owed_what_a_ground_asks_under_every_law() {
    let app = TestApp::spawn().await;
    let wren = worker(&app, "1", None).await;
    let ground = json!({"kind": "signs_or_symptoms", "on": "2026-02-20", "agent_code": "chromium_vi"});
    app.as_role("physician").post(&format!("/workers/{wren}/medical-grounds"), &ground).await.id();
    let owed = duties(&app, &wren).await;
    let mut rows: Vec<&str> = owed.iter().map(|duty| text(duty, "trigger_id")).collect();
    rows.sort_unstable();
    // 29 CFR 1910.1026(k)(1)(i)(B), 1926.1126(i)(1)(i)(B), 1915.1026(i)(1)(i)(B): signs or symptoms.
    assert_eq!(rows, ["ST002", "ST005", "ST008"]);
    // Nobody is told "no" where that would rest on what a physician entered.
    let path = format!("/workers/{wren}/surveillance?agent_code=chromium_vi");
    let clauses = app.as_role("hygienist").get(&path).await;
    let of_grounds: Vec<&Value> = clauses.json["clauses"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|clause| rows.contains(&text(clause, "trigger_id")))
        .collect();
    assert_eq!(of_grounds.len(), 3, "{}", clauses.text);
    for clause in of_grounds {
        assert!(text(clause, "words").starts_with("rests on what a physician entered"), "{clause}");
    }
}

#[tokio::test]
async fn the_employer_that_is_left_owes_the_examination_on_leaving_and_not_the_next_one() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let body = json!({"employee_number": "A-1", "given_name": "Wren", "family_name": "Hale", "employer": "Hire works",
        "relation": "agency", "hired_on": "2025-01-06", "left_on": "2026-02-27"});
    let wren = hygienist.post("/workers", &body).await.id();
    let next =
        json!({"employer": "Own works", "employee_number": "1", "relation": "own", "from": "2026-02-28"});
    hygienist.post(&format!("/workers/{wren}/employments"), &next).await.id();
    let ground = json!({"kind": "signs_or_symptoms", "on": "2026-02-20", "agent_code": "chromium_vi"});
    app.as_role("physician").post(&format!("/workers/{wren}/medical-grounds"), &ground).await.id();
    let owed = duties(&app, &wren).await;
    let leaving: Vec<_> = owed
        .iter()
        .filter(|duty| duty["flags"].as_array().is_some_and(|flags| flags.contains(&json!("at_termination"))))
        .map(|duty| (text(duty, "employer"), text(duty, "due_on")))
        .collect();
    // This registry's rule; 29 CFR 1910.1026(k)(2)(vi): at termination of employment.
    assert!(!leaving.is_empty(), "{owed:?}");
    assert!(leaving.iter().all(|one| *one == ("Hire works", "2026-02-27")), "{leaving:?}");
}
