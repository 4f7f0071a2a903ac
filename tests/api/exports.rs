//! Histories and the journal as files: written a part at a time, and to each reader what the single routes show him.

use crate::harness::{Answer, TestApp};
use crate::overview::{Shop, micrograms};
use doseward::store::backend::Database;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Two sites with a group each, and more workers than fit into one part of a file.
struct Plant<'a> {
    app: &'a TestApp,
    workers: Vec<String>,
    across: String,
    hot: String,
}

/// How many workers are at the first site alone.
const WORKERS: usize = 23;

async fn plant(app: &TestApp) -> Plant<'_> {
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    app.add_account_on("here", "coordinator", &[&here]).await;
    let mut shop = Shop { app, here: here.clone(), there: there.clone(), events: 0 };
    let (hot, melt) = (shop.group(&here, "HOT").await, shop.group(&there, "MELT").await);
    let mut workers = Vec::new();
    for number in 0..WORKERS {
        let worker = shop.worker(&format!("W-{number}")).await;
        shop.assign(&worker, &hot, "2026-02-02", 5.0).await;
        workers.push(worker);
    }
    let person = json!({"employee_number": "F-1", "given_name": "=1+1", "family_name": "Vale",
        "employer": "Own works", "hired_on": "2026-02-02"});
    let across = shop.post("/workers", person).await.id();
    shop.assign(&across, &hot, "2026-02-02", 3.0).await;
    shop.assign(&across, &melt, "2026-02-02", 2.0).await;
    let sample = json!({"position": "breathing_zone", "worker_id": workers[0], "group_id": hot});
    shop.measured(sample, "2026-02-24", micrograms(6.0)).await;
    Plant { app, workers, across, hot }
}

impl Plant<'_> {
    async fn get(&self, role: &str, path: &str) -> Answer {
        self.app.registry.settle().await.unwrap();
        let answer = self.app.as_role(role).get(path).await;
        assert_eq!(answer.status, 200, "{role} {path}: {}", answer.text);
        answer
    }

    async fn rows(&self, role: &str, path: &str) -> Vec<BTreeMap<String, String>> {
        let answer = self.get(role, path).await;
        assert_eq!(answer.header("content-type"), "text/csv; header=present; charset=utf-8");
        let mut file = csv::Reader::from_reader(answer.text.as_bytes());
        file.deserialize().collect::<Result<_, _>>().unwrap()
    }
}

#[tokio::test]
async fn every_history_in_sight_is_in_the_file_as_it_is_handed_out_alone() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    for (role, intervals_across) in [("physician", 2), ("here", 1)] {
        let file = plant.get(role, "/exports/histories.json").await;
        let histories = file.json.as_array().unwrap().clone();
        assert_eq!(histories.len(), WORKERS + 1, "{role}");
        let rows = plant.rows(role, "/exports/histories.csv").await;
        assert_eq!(rows.len(), WORKERS + intervals_across, "{role}");
        let mut intervals = rows.iter();
        for mut history in histories {
            let worker = history["worker_id"].as_str().unwrap().to_owned();
            let mut alone =
                plant.get(role, &format!("/workers/{worker}/history?agent_code=chromium_vi")).await.json;
            alone.as_object_mut().unwrap().remove("position");
            let name = history.as_object_mut().unwrap().remove("worker_name").unwrap();
            assert_eq!(history, alone, "{role}");
            assert!(history["cumulative"]["years_missing"].is_number() && history["gaps"].is_array());
            for interval in history["intervals"].as_array().unwrap() {
                let row = intervals.next().unwrap();
                let text = |value: &Value| value.as_str().map_or(value.to_string(), str::to_owned);
                assert_eq!(
                    (row["worker_id"].as_str(), row["worker_name"].as_str()),
                    (worker.as_str(), name.as_str().unwrap())
                );
                for field in ["from", "to", "site_id", "group_id", "basis", "weight"] {
                    assert_eq!(row[field], text(&interval[field]), "{field}");
                }
                for (column, field) in
                    [("mean", "estimate"), ("mean_lower", "lower"), ("mean_upper", "upper"), ("unit", "unit")]
                {
                    let value = &interval["mean"][field];
                    let expected = if value.is_null() { String::new() } else { text(value) };
                    assert_eq!(row[column], expected, "{column}");
                }
                let flags: Vec<_> = interval["flags"].as_array().unwrap().iter().map(text).collect();
                assert_eq!(row["flags"], flags.join(" "));
            }
        }
        assert!(intervals.next().is_none());
    }
    // Of the worker at both sites the coordinator of one has the part there, and is told that it is one.
    let part = plant.get("here", "/exports/histories.json").await;
    let across =
        part.json.as_array().unwrap().iter().find(|one| one["worker_id"] == json!(plant.across)).unwrap();
    assert!(across["flags"].as_array().unwrap().contains(&json!("only_sites_in_sight")), "{across}");
    assert!(!part.text.contains("no_assignment"));
    assert_eq!(app.as_role("administrator").get("/exports/histories.csv").await.status, 403);
}

#[tokio::test]
async fn files_for_a_spreadsheet_are_guarded_and_a_wrong_question_is_a_fault() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let name = async |path: &str| {
        let rows = plant.rows("physician", path).await;
        rows.into_iter().find(|row| row["worker_id"] == plant.across).unwrap()["worker_name"].clone()
    };
    assert_eq!(name("/exports/histories.csv").await, "=1+1 Vale");
    assert_eq!(name("/exports/histories.csv?for=spreadsheet").await, "'=1+1 Vale");
    for dataset in ["histories", "journal"] {
        for (query, pointer) in [("for=me", "/for"), ("as_known_on=then", "/as_known_on")] {
            let refused = app.as_role("physician").get(&format!("/exports/{dataset}.csv?{query}")).await;
            assert_eq!((refused.status, refused.pointers()), (422, vec![pointer]), "{dataset} {query}");
        }
    }
}

#[tokio::test]
async fn as_known_on_gives_the_bytes_of_then() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    app.registry.settle().await.unwrap();
    let at = app.registry.clock.now().format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string();
    let mut then = Vec::new();
    for role in ["physician", "here"] {
        for file in ["histories.csv", "histories.json", "journal.csv", "journal.json"] {
            then.push((role, file, plant.get(role, &format!("/exports/{file}")).await.text));
        }
    }
    app.clock.advance(chrono::Duration::days(2));
    let day = json!({"date": "2026-02-09", "group_id": plant.hot, "hours": 8});
    let days = format!("/workers/{}/worked-days", plant.workers[0]);
    assert_eq!(app.as_role("hygienist").post(&days, &day).await.status, 201);
    for (role, file, then) in then {
        assert_ne!(plant.get(role, &format!("/exports/{file}")).await.text, then, "{role} {file}");
        let known = plant.get(role, &format!("/exports/{file}?as_known_on={at}")).await;
        assert!(known.text == then, "{role} {file}:\n{}\n{then}", known.text);
    }
}

#[tokio::test]
async fn the_journals_file_chains_and_shows_each_reader_what_he_may_read() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let ground = json!({"kind": "signs_or_symptoms", "on": "2026-02-20", "agent_code": "chromium_vi"});
    let path = format!("/workers/{}/medical-grounds", plant.workers[0]);
    assert_eq!(app.as_role("physician").post(&path, &ground).await.status, 201);
    let whole = plant.get("physician", "/exports/journal.json").await;
    let entries = whole.json.as_array().unwrap().clone();
    assert!(entries.len() > 500, "more than one part: {}", entries.len());
    // Every chain whole, from its first entry to its last: each names the hash of the one before.
    let mut heads: BTreeMap<String, (i64, String)> = BTreeMap::new();
    for entry in &entries {
        let field = |name: &str| entry[name].as_str().unwrap().to_owned();
        let place = entry["place"].as_i64().unwrap();
        if let Some((before, hash)) = heads.get(&field("chain")) {
            assert_eq!((place, field("previous_hash")), (before + 1, hash.clone()), "{entry}");
        } else {
            assert_eq!(place, 1, "{entry}");
        }
        heads.insert(field("chain"), (place, field("entry_hash")));
    }
    assert!(heads.contains_key("medical") && heads.contains_key("corporation"), "{heads:?}");
    // The same as page by page.
    let mut pages = Vec::new();
    let mut after = String::new();
    loop {
        let page = plant.get("physician", &format!("/journal?limit=500{after}")).await;
        pages.extend(page.json["items"].as_array().unwrap().clone());
        let Some(next) = page.json["next"].as_str() else { break };
        after = format!("&after={next}");
    }
    assert_eq!(pages, entries);
    let rows = plant.rows("physician", "/exports/journal.csv").await;
    assert_eq!(rows.len(), entries.len());
    for (row, entry) in rows.iter().zip(&entries) {
        assert_eq!(row["entry_hash"], entry["entry_hash"].as_str().unwrap());
        let image: Value = serde_json::from_str(&row["image"]).unwrap_or(Value::Null);
        assert_eq!(image, entry["image"]);
    }

    for role in ["hygienist", "corporate"] {
        let rows = plant.rows(role, "/exports/journal.csv").await;
        assert!(
            rows.iter().all(|row| row["chain"] != "medical" && row["kind"] != "medical_ground"),
            "{role}"
        );
        assert_eq!(rows.len(), entries.len() - usize::try_from(heads["medical"].0).unwrap(), "{role}");
    }
    // A coordinator of one site: its envelopes, and nothing of the other's groups or of the corporation's workers.
    let part = plant.rows("here", "/exports/journal.csv").await;
    assert!(part.iter().any(|row| row["kind"] == "assignment" && row["image"].contains("shifts_per_week")));
    assert!(part.iter().all(|row| !["worker", "duty", "account"].contains(&row["kind"].as_str())));
    assert_eq!(part.iter().filter(|row| row["kind"] == "group").count(), 1);
}

#[tokio::test]
async fn a_file_that_is_taken_out_leaves_one_line() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    plant.get("here", "/exports/histories.csv").await;
    plant.get("physician", "/exports/journal.json").await;
    let sql =
        "SELECT request, scope, workers FROM access_line WHERE request LIKE '%exports%' ORDER BY at, id";
    let lines: Vec<(String, Option<String>, i64)> = match &app.registry.database {
        Database::Sqlite(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
        Database::Postgres(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
    };
    let count = i64::try_from(WORKERS + 1).unwrap();
    let line = |request: &str| (format!("GET /api/v1/exports/{request}"), Some("export".to_owned()), count);
    assert_eq!(lines, [line("histories.csv"), line("journal.json")]);
}
