//! Clauses on read and early warnings: every count by hand. All of it is invented; thirty days a year at or above 2.5 ug/m3 of
//! hexavalent chromium: 29 CFR 1910.1026(b), (k)(1)(i)(A).

use crate::harness::TestApp;
use crate::overview::{Shop, micrograms};
use doseward::conclusions::day_chance::day_shares;
use doseward::model::measured::Measured;
use doseward::surveillance::chance::{PlannedDays, chance_of_passing};
use serde_json::{Value, json};

#[tokio::test]
async fn clauses_with_their_counts_and_those_who_may_pass_them() {
    let app = TestApp::spawn().await;
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    for (name, site) in [("here", &here), ("elsewhere", &there)] {
        app.add_account_on(name, "coordinator", &[site]).await;
    }
    let mut shop = Shop { app: &app, here: here.clone(), there: there.clone(), events: 0 };
    let (hot, near, quiet) =
        (shop.group(&here, "HOT").await, shop.group(&here, "NEAR").await, shop.group(&here, "QUIET").await);
    let melt = shop.group(&there, "MELT").await;
    let close = [2.0, 2.2, 2.4, 2.3];
    let mut workers = Vec::new();
    for (number, group, values) in [
        ("1", &hot, &[6.0][..]),
        ("2", &near, &close[..]),
        ("3", &quiet, &[0.2, 0.25, 0.15, 0.2, 0.22, 0.18][..]),
    ] {
        let worker = shop.worker(number).await;
        // Five shifts a week from Monday 2 February; today is Monday 2 March.
        shop.assign(&worker, group, "2026-02-02", 5.0).await;
        for (day, value) in (3..).zip(values) {
            let sample = json!({"position": "breathing_zone", "worker_id": worker, "group_id": group});
            let sample = shop.measured(sample, &format!("2026-02-{day:02}"), micrograms(*value)).await;
            shop.post(&format!("/samples/{sample}/acceptance"), json!({})).await;
        }
        workers.push(worker);
    }
    let across = shop.worker("4").await;
    shop.assign(&across, &near, "2026-02-02", 4.0).await;
    shop.assign(&across, &melt, "2026-02-02", 1.0).await;
    shop.here.clone_from(&there);
    let sample = json!({"position": "breathing_zone", "worker_id": across, "group_id": melt});
    let sample = shop.measured(sample, "2026-02-06", micrograms(2.0)).await;
    shop.post(&format!("/samples/{sample}/acceptance"), json!({})).await;

    let hygienist = app.as_role("hygienist");
    let first = async |name: &str, worker: &str| -> Value {
        let path = format!("/workers/{worker}/surveillance?agent_code=chromium_vi");
        let answer = app.as_role(name).get(&path).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        let clauses = answer.json["clauses"].as_array().unwrap();
        clauses.iter().find(|clause| clause["trigger_id"] == "ST001").unwrap().clone()
    };
    // Twelve months from 2 February are 52 weeks and a Monday: 261 days, one measured; 21 of them up to today. The
    // thirtieth is Friday of the sixth week.
    let met = first("hygienist", &workers[0]).await;
    assert_eq!((&met["met"], &met["first_met_on"]), (&json!(true), &json!("2026-03-13")), "{met}");
    for (field, days) in [
        ("days_counted", 261),
        ("days_needed", 30),
        ("measured_days", 1),
        ("represented_days", 20),
        ("planned_days", 240),
    ] {
        assert_eq!(met[field], days, "{field}: {met}");
    }
    assert_eq!(met["limbs"], json!([{"limb": "8-hour average", "days": 261}]));
    // 2 February to 31 December are 47 weeks and four days, 1 January to 1 March 2027 eight weeks, a Friday and a Monday.
    assert_eq!(met["calendar_years"], json!([{"year": 2026, "days": 239}, {"year": 2027, "days": 42}]));
    let edition = "29 CFR after the rule of 14 May 2019 (84 FR 21416), exact day unknown";
    assert_eq!((&met["edition"], &met["verification"]), (&json!(edition), &json!("verified")));
    assert!(met["clause"].as_str().unwrap().contains("1910.1026"), "{met}");
    assert!(met["words"].as_str().unwrap().starts_with("appears to trigger"), "{met}");
    assert!(met.get("chance").is_none(), "{met}");

    // Twelve months from today are 261 planned days; nothing counts yet.
    let results: Vec<_> = close.iter().copied().map(Measured::Value).collect();
    let shares = day_shares(&results, Some(5.0), 2.5).unwrap();
    let chance = chance_of_passing(0, 30, &[PlannedDays { days: 261, shares: &shares }]);
    let open = first("hygienist", &workers[1]).await;
    assert_eq!((&open["met"], &open["days_counted"]), (&json!(false), &json!(0)), "{open}");
    assert!((open["chance"].as_f64().unwrap() - chance).abs() < 1e-9, "{open} {chance}");
    assert!(chance > 0.2 && first("hygienist", &workers[2]).await["chance"].as_f64().unwrap() < 0.01);

    let warned = async |name: &str, query: &str| -> Vec<String> {
        let answer = app.as_role(name).get(&format!("/early-warnings{query}")).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        let rows = answer.json["items"].as_array().unwrap().iter();
        rows.map(|row| row["worker_id"].as_str().unwrap().to_owned()).collect()
    };
    let both = ["?limit=50", "?agent_code=chromium_vi"];
    for query in both {
        assert!(warned("hygienist", query).await.contains(&workers[1]), "{query}");
        assert!(
            !warned("hygienist", query).await.contains(&workers[0]),
            "who is triggered is warned of no more"
        );
        assert!(!warned("hygienist", query).await.contains(&workers[2]));
    }
    assert_eq!(warned("hygienist", "?agent_code=lead").await, Vec::<String>::new());
    assert!(warned("hygienist", "?above=0").await.contains(&workers[2]));
    assert_eq!(warned("hygienist", "?above=1").await, Vec::<String>::new());
    assert_eq!(hygienist.get("/early-warnings?above=1.5").await.status, 422);

    // A coordinator: his workers alone, and no number that days elsewhere have a part in.
    assert_eq!(warned("here", "").await, [workers[1].as_str()]);
    assert_eq!(warned("elsewhere", "").await, Vec::<String>::new());
    assert_eq!(app.as_role("elsewhere").get(&format!("/early-warnings?site_id={here}")).await.status, 404);
    let path = format!("/workers/{}/surveillance?agent_code=chromium_vi", workers[1]);
    assert_eq!(app.as_role("elsewhere").get(&path).await.status, 404);
    let kept = first("here", &across).await;
    assert_eq!(kept["flags"], json!(["days_across_sites"]));
    for field in ["days_counted", "window", "limbs", "measured_days", "calendar_years", "chance", "note"] {
        assert!(kept.get(field).is_none(), "{field}: {kept}");
    }
    let whole = first("hygienist", &across).await;
    assert_eq!(whole["days_counted"], 0);
    assert!(whole["chance"].as_f64().unwrap() > 0.2, "{whole}");
    assert!(warned("hygienist", "").await.contains(&across), "who sees all sites is warned");
}

#[tokio::test]
async fn whoever_was_measured_in_a_group_is_bound_by_its_clauses_without_an_assignment_there() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let body = json!({"code": "BRG", "name": "Bridge", "time_zone": "America/Denver", "rule_set": "us_construction"});
    let site = hygienist.post("/sites", &body).await.id();
    let group = app.group(&site, "BURN").await;
    let worker = json!({"employee_number": "1", "given_name": "Ada", "family_name": "Vale", "employer": "Own works",
        "hired_on": "2025-01-06"});
    let worker = hygienist.post("/workers", &worker).await.id();
    let sample = json!({"number": "1", "position": "breathing_zone", "shift_date": "2026-02-03", "worker_id": worker,
        "group_id": group, "agent_codes": ["lead"], "sampler_kind": "passive",
        "runs": [{"start": "2026-02-03T07:00:00-07:00", "end": "2026-02-03T15:00:00-07:00"}]});
    let event = json!({"reference": "1", "sampled_by": "K. Marl", "samples": [sample]});
    hygienist.post(&format!("/sites/{site}/sampling-events"), &event).await.id();
    let result = json!({"sample_number": "1", "agent_code": "lead", "blank_corrected": "yes",
        "concentration": {"value": 30, "unit": "ug/m3"}, "reporting_limit": {"value": 1, "unit": "ug/m3"}});
    let report = json!({"report_number": "1", "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-20",
        "results": [result]});
    hygienist.post(&format!("/sites/{site}/lab-reports"), &report).await.id();
    let owed = async || -> Vec<(Value, Value)> {
        app.registry.settle().await.unwrap();
        let answer = app.as_role("physician").get(&format!("/duties?worker_id={worker}")).await;
        let items = answer.json["items"].as_array().unwrap().iter();
        let examinations = items.filter(|duty| duty["kind"] == "offer_examination");
        examinations.map(|duty| (duty["trigger_id"].clone(), duty["status"].clone())).collect()
    };
    // 29 CFR 1926.62(j)(1)(i): on any day at or above 30 ug/m3.
    assert_eq!(owed().await, [(json!("ST014"), json!("overdue"))]);
    let history = app.as_role("physician").get(&format!("/workers/{worker}/history?agent_code=lead")).await;
    assert_eq!(history.json["days_at_or_above_action_level"]["measured"], 1, "{}", history.text);
    // 29 CFR 1910.1025(j)(1)(i), which holds in the group from now on, asks for more than 30 days.
    let change =
        json!({"rule_set": "us_general_industry", "from": "2026-01-01", "reason": "Work in a plant."});
    let changed = hygienist.post(&format!("/groups/{group}/rule-sets"), &change).await;
    assert_eq!(changed.status, 201, "{}", changed.text);
    assert_eq!(owed().await, [(json!("ST014"), json!("withdrawn"))]);
}

#[tokio::test]
async fn a_colleagues_new_result_shows_at_once_also_before_the_stored_rows_follow() {
    let app = TestApp::spawn().await;
    let here = app.site("LYN").await;
    let mut shop = Shop { app: &app, here: here.clone(), there: here.clone(), events: 0 };
    let hot = shop.group(&here, "HOT").await;
    let (measured, colleague) = (shop.worker("1").await, shop.worker("2").await);
    for worker in [&measured, &colleague] {
        shop.assign(worker, &hot, "2026-02-02", 5.0).await;
    }
    let worn = json!({"position": "breathing_zone", "worker_id": measured, "group_id": hot});
    shop.measured(worn.clone(), "2026-02-03", micrograms(0.2)).await;
    app.registry.settle().await.unwrap();
    let told = async || {
        let path = format!("/workers/{colleague}/surveillance?agent_code=chromium_vi");
        app.as_role("hygienist").get(&path).await.json["clauses"].clone()
    };
    assert!(told().await.as_array().unwrap().iter().all(|clause| clause["met"] == false));
    shop.measured(worn, "2026-02-04", micrograms(6.0)).await;
    let at_once = told().await;
    assert!(at_once.as_array().unwrap().iter().any(|clause| clause["met"] == true), "{at_once}");
    app.registry.settle().await.unwrap();
    assert_eq!(told().await, at_once);
}
