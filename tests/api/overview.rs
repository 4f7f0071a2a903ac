//! Sites and agents at a glance: every number by hand. All of it is invented; the action level of hexavalent chromium is
//! 2.5 ug/m3 (29 CFR 1910.1026(b)).

use crate::harness::{Answer, TestApp};
use chrono::NaiveDate;
use doseward::registry::duties::{Family, OF_A_SUMMARY, Ought, Whose};
use doseward::surveillance::duties::{About, DutyGrounds, DutyKey, DutyKind, OughtDuty};
use serde_json::{Value, json};
use uuid::Uuid;

pub(crate) struct Shop<'a> {
    pub(crate) app: &'a TestApp,
    pub(crate) here: String,
    pub(crate) there: String,
    pub(crate) events: usize,
}

impl Shop<'_> {
    pub(crate) async fn post(&self, path: &str, body: Value) -> Answer {
        let answer = self.app.as_role("hygienist").post(path, &body).await;
        assert_eq!(answer.status, 201, "{path}: {}", answer.text);
        answer
    }

    /// A group in which hexavalent chromium is expected.
    pub(crate) async fn group(&self, site: &str, code: &str) -> String {
        let group = self.app.group(site, code).await;
        let expected = json!({"agent_code": "chromium_vi", "from": "2026-01-01", "source": "Data sheet"});
        self.post(&format!("/groups/{group}/agents"), expected).await;
        group
    }

    pub(crate) async fn worker(&self, number: &str) -> String {
        let person = json!({"employee_number": number, "given_name": "Ada", "family_name": "Vale",
            "employer": "Own works", "hired_on": "2026-02-02"});
        self.post("/workers", person).await.id()
    }

    pub(crate) async fn assign(&self, worker: &str, group: &str, from: &str, shifts: f64) {
        let assignment =
            json!({"group_id": group, "from": from, "shifts_per_week": shifts, "hours_per_shift": 8});
        self.post(&format!("/workers/{worker}/assignments"), assignment).await;
    }

    /// One sample with its result, in an event and a report of its own; gives the sample.
    pub(crate) async fn measured(&mut self, mut sample: Value, day: &str, value: Value) -> String {
        self.events += 1;
        let number = format!("S-{}", self.events);
        let whole = json!({"number": number, "shift_date": day, "agent_codes": ["chromium_vi"],
            "runs": [{"start": format!("{day}T07:00:00-07:00"), "end": format!("{day}T15:00:00-07:00")}],
            "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"},
            "calibrator": "C-1", "calibrated_on": day});
        sample.as_object_mut().unwrap().extend(whole.as_object().unwrap().clone());
        let event = json!({"reference": number, "sampled_by": "K. Marl", "samples": [sample]});
        let event = self.post(&format!("/sites/{}/sampling-events", self.here), event).await;
        let limit = if value.get("comparator").is_some() { value["value"].clone() } else { json!(0.05) };
        let report = json!({"report_number": number, "laboratory": "Hollow Lane Laboratory",
            "received_on": "2026-02-27", "results": [{"sample_number": number, "agent_code": "chromium_vi",
            "concentration": value, "blank_corrected": "yes",
            "reporting_limit": {"value": limit, "unit": "ug/m3"}}]});
        self.post(&format!("/sites/{}/lab-reports", self.here), report).await;
        event.json["samples"][0]["id"].as_str().unwrap().to_owned()
    }
}

pub(crate) fn micrograms(value: f64) -> Value {
    json!({"value": value, "unit": "ug/m3"})
}

/// A duty that was due on 20 February.
async fn overdue(app: &TestApp, worker: &str, medical: bool) {
    let about = About::Worker(Uuid::parse_str(worker).unwrap().into());
    let day = |text: &str| text.parse::<NaiveDate>().unwrap();
    let duty = OughtDuty {
        key: DutyKey {
            kind: DutyKind::OfferExamination,
            about,
            agent_code: "cadmium".into(),
            trigger_id: "ST010".into(),
            occasion: "first".into(),
        },
        grounds: DutyGrounds {
            authority: None,
            met_on: None,
            clause: "29 CFR 1910.1027(l)(1)(i)".into(),
            due_on: day("2026-02-20"),
            due_from_learning: false,
            days_counted: None,
            window: None,
            basis: [].into(),
            sites: [].into(),
            employer: None,
            flags: Vec::new(),
            medical,
        },
    };
    let family = Family {
        about,
        also: Vec::new(),
        agent_code: "cadmium".into(),
        kinds: OF_A_SUMMARY,
        whose: Whose::TheLaw,
        medical: false,
    };
    app.registry
        .write_duties(&Ought { family, duties: vec![duty], learned_on: day("2026-02-10") })
        .await
        .unwrap();
}

/// The cell of a site and an agent.
fn cell<'v>(answer: &'v Answer, site: &str, agent: Option<&str>) -> Option<&'v Value> {
    let items = answer.json["items"].as_array().unwrap_or_else(|| panic!("{}", answer.text));
    items
        .iter()
        .find(|item| item["site_id"] == site && item.get("agent_code").and_then(Value::as_str) == agent)
}

#[tokio::test]
async fn four_parts_of_every_cell_what_fails_and_what_is_overdue() {
    let app = TestApp::spawn().await;
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    app.add_account_on("here", "coordinator", &[&here]).await;
    let mut shop = Shop { app: &app, here: here.clone(), there: there.clone(), events: 0 };
    let (weld, cast, plate) =
        (shop.group(&here, "WELD").await, shop.group(&here, "CAST").await, shop.group(&here, "PLATE").await);
    let melt = shop.group(&shop.there, "MELT").await;

    // A control that makes it worse: 1.0 to 1.2 without, 5.0 to 6.0 with it, at one place on six dates of January.
    let lev = json!({"code": "LEV", "title": "Extraction", "kind": "engineering"});
    let lev = shop.post(&format!("/sites/{here}/controls"), lev).await.id();
    let task = json!({"code": "T", "title": "Root pass", "group_id": weld});
    let task = shop.post(&format!("/sites/{here}/tasks"), task).await.id();
    shop.post(&format!("/tasks/{task}/control-periods"), json!({"control_id": lev, "from": "2026-01-01"}))
        .await;
    for (day, value, running) in [
        ("2026-01-05", 1.0, json!([])),
        ("2026-01-06", 5.0, json!([lev])),
        ("2026-01-07", 1.1, json!([])),
        ("2026-01-08", 5.5, json!([lev])),
        ("2026-01-12", 1.2, json!([])),
        ("2026-01-13", 6.0, json!([lev])),
    ] {
        let area = json!({"position": "area", "location": "post 1", "task_id": task, "group_id": weld,
            "control_ids_running": running});
        shop.measured(area, day, micrograms(value)).await;
    }

    // Two welders from Monday 2 February, five shifts a week: 20 days of February and 2 March, 21 each.
    let (one, two) = (shop.worker("1").await, shop.worker("2").await);
    for worker in [&one, &two] {
        shop.assign(worker, &weld, "2026-02-02", 5.0).await;
    }
    let breathing = |worker: &str, group: &str| json!({"position": "breathing_zone", "worker_id": worker, "group_id": group});
    let low = shop.measured(breathing(&one, &weld), "2026-02-03", micrograms(1.0)).await;
    shop.post(&format!("/samples/{low}/acceptance"), json!({})).await;
    shop.measured(breathing(&two, &weld), "2026-02-10", micrograms(6.0)).await;
    // In the foundry nobody has measured: 16 to 20 and 23 to 27 February and 2 March, 11 days of one; Mondays from 23
    // February, 2 days of another, who works all 6 days at the other site too.
    let (three, lent) = (shop.worker("3").await, shop.worker("5").await);
    shop.assign(&three, &cast, "2026-02-16", 5.0).await;
    shop.assign(&lent, &cast, "2026-02-23", 1.0).await;
    shop.assign(&lent, &melt, "2026-02-23", 5.0).await;
    // The platers' one result is coarser than the action level: 23 to 27 February and 2 March, 6 days.
    let four = shop.worker("4").await;
    shop.assign(&four, &plate, "2026-02-23", 5.0).await;
    let coarse = json!({"comparator": "<", "value": 3.1, "unit": "ug/m3"});
    shop.measured(breathing(&four, &plate), "2026-02-24", coarse).await;
    let asked = json!({"received_on": "2026-02-02", "from": "worker", "what": "My results."});
    shop.post(&format!("/workers/{one}/record-requests"), asked).await;
    app.registry.settle().await.unwrap();
    overdue(&app, &two, false).await;
    overdue(&app, &three, true).await;

    let seen = app.as_role("here").get("/overview").await;
    let chromium = cell(&seen, &here, Some("chromium_vi")).unwrap();
    // Welders: the accepted round of 3 February was below, that of the 10th above the limit and so from the 4th on: 2 days
    // of each below, 19 of each at or above.
    let days = json!({"total": 61, "settled_below": 4, "settled_at_or_above": 38, "cannot_tell": 6, "not_assessed": 13});
    assert_eq!(chromium["worker_days"], days);
    assert_eq!(chromium["newest_result_on"], "2026-02-24");
    let failing = chromium["failing_controls"].as_array().unwrap();
    assert_eq!(failing.len(), 1, "{chromium}");
    assert_eq!(
        (&failing[0]["control_id"], &failing[0]["task_id"], &failing[0]["verdict"], &failing[0]["position"]),
        (&json!(lev), &json!(task), &json!("raised"), &json!("area"))
    );
    // The record request was due on 24 February; the duty on a ground names no agent to the coordinator.
    let overdue = |answer: &Answer, agent: Option<&str>| {
        cell(answer, &here, agent).map_or(0, |cell| cell["overdue_duties"].as_i64().unwrap())
    };
    assert_eq!((overdue(&seen, Some("cadmium")), overdue(&seen, None)), (1, 2));
    assert_eq!(overdue(&seen, Some("chromium_vi")), 0, "an offer is due on 6 March");
    assert!(cell(&seen, &there, Some("chromium_vi")).is_none(), "another site is out of sight");
    let physician = app.as_role("physician").get("/overview").await;
    assert_eq!((overdue(&physician, Some("cadmium")), overdue(&physician, None)), (2, 1));

    let corporate = app.as_role("corporate").get("/overview").await;
    let other = json!({"total": 6, "settled_below": 0, "settled_at_or_above": 0, "cannot_tell": 0, "not_assessed": 6});
    assert_eq!(cell(&corporate, &there, Some("chromium_vi")).unwrap()["worker_days"], other);
    assert_eq!(cell(&corporate, &here, Some("chromium_vi")), Some(chromium));
    assert_eq!(app.as_role("administrator").get("/overview").await.status, 403);

    // From the facts alone it is the same, and a day before anything was known there is nothing.
    let again = app.as_role("corporate").get("/overview?as_known_on=2026-03-02T13:00:00Z").await;
    assert_eq!(again.json["items"], corporate.json["items"]);
    let before = app.as_role("corporate").get("/overview?as_known_on=2026-03-01T12:00:00Z").await;
    assert_eq!(before.json["items"], json!([]));
    let first = app.as_role("corporate").get("/overview?limit=1").await;
    assert_eq!(first.json["items"].as_array().map(Vec::len), Some(1));
    assert_eq!(first.json["next"], "1");
}
