//! Is it one group? A worker whose own mean is not the group's is named to those who see the worker, and only counted for
//! others; a reader who was told a name leaves a line.

use crate::harness::TestApp;
use chrono::SecondsFormat;
use doseward::store::backend::Database;
use serde_json::{Value, json};

/// Chromium(VI) in ug/m3 of three workers on two days each: all of it invented.
const FOUND: [(&str, [f64; 2]); 3] = [("Ada", [0.1, 0.4]), ("Bo", [0.1, 0.4]), ("Cy", [6.4, 25.6])];

struct Shop {
    group: String,
    workers: Vec<String>,
}

/// Ada and Bo belong to the group; Cy belongs to another site and was lent for two days, so that the coordinator of this one
/// does not see him.
async fn sampled(app: &TestApp) -> Shop {
    let hygienist = app.as_role("hygienist");
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    app.add_account_on("here", "coordinator", &[&here]).await;
    let (group, other) = (app.group(&here, "WELD").await, app.group(&there, "CAST").await);
    let mut workers = Vec::new();
    for (number, (name, _)) in FOUND.iter().enumerate() {
        let worker = json!({"employee_number": number.to_string(), "given_name": name, "family_name": "Vale",
            "employer": "Own works", "hired_on": "2025-01-06"});
        let worker = hygienist.post("/workers", &worker).await.id();
        let group = if *name == "Cy" { &other } else { &group };
        let assignment = json!({"group_id": group, "from": "2025-01-06", "shifts_per_week": 5,
            "hours_per_shift": 8});
        hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
        workers.push(worker);
    }
    let (mut samples, mut results) = (Vec::new(), Vec::new());
    for (worker, (name, values)) in workers.iter().zip(FOUND) {
        for (day, value) in ["2026-02-03", "2026-02-10"].into_iter().zip(values) {
            let number = format!("{name}-{day}");
            samples.push(json!({"number": number, "position": "breathing_zone", "shift_date": day,
                "worker_id": worker, "group_id": group, "agent_codes": ["chromium_vi"],
                "runs": [{"start": format!("{day}T07:00:00-07:00"), "end": format!("{day}T15:00:00-07:00")}],
                "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}}));
            results.push(json!({"sample_number": number, "agent_code": "chromium_vi",
                "concentration": {"value": value, "unit": "ug/m3"}, "blank_corrected": "yes",
                "reporting_limit": {"value": 0.05, "unit": "ug/m3"}}));
        }
    }
    let event = json!({"reference": "2026-01", "sampled_by": "K. Marl", "samples": samples});
    let made = hygienist.post(&format!("/sites/{here}/sampling-events"), &event).await;
    assert_eq!(made.status, 201, "{}", made.text);
    let report = json!({"report_number": "L1", "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-20",
        "results": results});
    let made = hygienist.post(&format!("/sites/{here}/lab-reports"), &report).await;
    assert_eq!(made.status, 201, "{}", made.text);
    Shop { group, workers }
}

/// The lines that were left by those who read profiles: what was spanned, and how many workers were named.
async fn lines(app: &TestApp) -> Vec<(String, i64)> {
    let sql = "SELECT scope, workers FROM access_line WHERE request = 'GET /api/v1/groups/{id}/profiles' ORDER BY at, id";
    match &app.registry.database {
        Database::Sqlite(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
        Database::Postgres(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
    }
}

#[track_caller]
fn near(found: &Value, expected: f64) {
    let number = found.as_f64().unwrap_or_else(|| panic!("{found} is no number"));
    assert!((number / expected - 1.0).abs() < 1e-4, "{number} is not {expected}");
}

#[tokio::test]
async fn a_worker_apart_from_the_group_is_named_to_those_who_see_him() {
    let app = TestApp::spawn().await;
    let shop = sampled(&app).await;
    let path = format!("/groups/{}/profiles?agent_code=chromium_vi", shop.group);
    let read = async |who: &str, path: &str| {
        let answer = app.as_role(who).get(path).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        answer.json["items"][0].clone()
    };
    app.registry.settle().await.unwrap();
    // In steps of ln 2 from 0.1: 0, 2 and 0, 2 and 6, 8; their mean 3, so that the group's is 0.8.
    let profile = read("hygienist", &path).await;
    near(&profile["geometric_mean"]["value"], 0.8);
    let told = &profile["workers_apart"];
    assert_eq!((&told["compared"], &told["count"]), (&json!(3), &json!(1)));
    let apart = &told["items"][0];
    assert_eq!((&apart["name"], &apart["worker_id"]), (&json!("Cy Vale"), &json!(shop.workers[2])));
    assert_eq!(apart["shifts"], json!(2));
    near(&apart["geometric_mean"]["value"], 12.8);
    // MSW = (2 + 2 + 2) / 3 = 2; t(0.975, 3) = 3.182446 (any table of Student's t); 12.8 times 2^-3.182446 and 2^3.182446.
    near(&apart["interval_95"]["lower"], 12.8 / 9.078_4);
    near(&apart["interval_95"]["upper"], 12.8 * 9.078_4);
    assert_eq!(apart["interval_95"]["unit"], json!("ug/m3"));
    assert!(profile["flags"].as_array().unwrap().contains(&json!("workers_apart")));
    assert_eq!(lines(&app).await, [(format!("group {}", shop.group), 1)]);

    // Who does not see him learns that there is one, and neither who nor what he was exposed to; nobody was named.
    let counted = read("here", &path).await;
    assert_eq!(counted["workers_apart"], json!({"compared": 3, "count": 1, "items": []}));
    assert!(!counted.to_string().contains(&shop.workers[2]) && !counted.to_string().contains("Cy"));
    assert_eq!(lines(&app).await.len(), 1);
    // The working is the same for all and names nobody.
    let worked = read("here", &format!("{path}&working=true")).await;
    let step = worked["working"].as_array().unwrap().iter().find(|step| step["step"] == "workers' own means");
    assert_eq!(step.unwrap()["result"][2]["apart"], json!(true));
    assert!(!worked.to_string().contains(&shop.workers[2]));

    // The administrator sees no exposure of a named worker; nobody else sees one of another site.
    assert_eq!(app.as_role("administrator").get(&path).await.status, 403);
    for who in ["corporate", "physician", "coordinator"] {
        assert_eq!(read(who, &path).await["workers_apart"]["items"][0]["name"], json!("Cy Vale"), "{who}");
    }
    assert_eq!(lines(&app).await.len(), 4);
}

#[tokio::test]
async fn a_name_stands_in_no_stored_row_and_is_the_same_when_computed_afresh() {
    let app = TestApp::spawn().await;
    let shop = sampled(&app).await;
    app.registry.settle().await.unwrap();
    let sql = "SELECT body FROM group_profile WHERE agent_code = 'chromium_vi'";
    let rows: Vec<(String,)> = match &app.registry.database {
        Database::Sqlite(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
        Database::Postgres(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
    };
    assert_eq!(rows.len(), 1);
    assert!(rows[0].0.contains(&shop.workers[2]) && !rows[0].0.contains("Vale"), "{}", rows[0].0);
    let hygienist = app.as_role("hygienist");
    let path = format!("/groups/{}/profiles?agent_code=chromium_vi", shop.group);
    let kept = hygienist.get(&path).await.json;
    let then = app.registry.clock.now().to_rfc3339_opts(SecondsFormat::Millis, true);
    assert_eq!(hygienist.get(&format!("{path}&as_known_on={then}")).await.json, kept);
    assert_eq!(kept["items"][0]["workers_apart"]["items"][0]["name"], json!("Cy Vale"));
}
