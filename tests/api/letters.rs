//! Letters to workers about their results. Everything is invented; who is told what is the registry's own rule (common
//! practice, no source), the clauses are named beside.

use crate::harness::{Answer, TestApp};
use doseward::store::backend::Database;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

/// Ada wore a sampler on 3 February, Bo on 4 February; Cy, of the same group, wore none. Today is 2 March 2026.
struct Shop<'a> {
    app: &'a TestApp,
    site: String,
    event: String,
    workers: [String; 3],
    cys_assignment: String,
}

const NAMES: [&str; 3] = ["Ada Vale", "Bo Quill", "Cy Thorn"];

async fn shop(app: &TestApp) -> Shop<'_> {
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    app.add_account_on("here", "coordinator", &[&site]).await;
    let group = app.group(&site, "WELD").await;
    let mut workers = Vec::new();
    let mut assigned = String::new();
    for (number, name) in NAMES.iter().enumerate() {
        let (given, family) = name.split_once(' ').unwrap();
        let worker = json!({"employee_number": number.to_string(), "given_name": given, "family_name": family,
            "employer": "Own works", "hired_on": "2025-01-06"});
        let worker = hygienist.post("/workers", &worker).await.id();
        let assignment = json!({"group_id": group, "from": "2025-01-06", "shifts_per_week": 5, "hours_per_shift": 8,
            "job_title": format!("Welder {number}")});
        assigned = hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
        workers.push(worker);
    }
    let sample = |number: &str, day: &str, worker: &str| {
        json!({"number": number, "position": "breathing_zone", "shift_date": day, "worker_id": worker, "group_id": group,
            "agent_codes": ["chromium_vi"],
            "runs": [{"start": format!("{day}T07:00:00-07:00"), "end": format!("{day}T15:00:00-07:00")}],
            "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}})
    };
    let samples = [sample("N-1", "2026-02-03", &workers[0]), sample("N-2", "2026-02-04", &workers[1])];
    let event = json!({"reference": "2026-01", "sampled_by": "K. Marl", "samples": samples});
    let event = hygienist.post(&format!("/sites/{site}/sampling-events"), &event).await.id();
    Shop { app, site, event, workers: workers.try_into().unwrap(), cys_assignment: assigned }
}

impl Shop<'_> {
    /// The laboratory's report: Ada's filter in ug/m3, Bo's below 0.05. Gives the identifier of hers.
    async fn reported(&self, ada: f64) -> String {
        let result = |number: &str, concentration: Value| {
            json!({"sample_number": number, "agent_code": "chromium_vi", "concentration": concentration,
                "blank_corrected": "yes", "reporting_limit": {"value": 0.05, "unit": "ug/m3"}})
        };
        let results = [
            result("N-1", json!({"value": ada, "unit": "ug/m3"})),
            result("N-2", json!({"comparator": "<", "value": "0.05", "unit": "ug/m3"})),
        ];
        let report = json!({"report_number": "L-1", "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-20",
            "results": results});
        let answer = self.report(report).await;
        let samples = answer["samples"].as_array().unwrap();
        let adas = samples.iter().find(|sample| sample["number"] == "N-1").unwrap();
        adas["results"][0]["id"].as_str().unwrap().to_owned()
    }

    async fn report(&self, report: Value) -> Value {
        let path = format!("/sites/{}/lab-reports", self.site);
        let reported = self.app.as_role("hygienist").post(&path, &report).await;
        assert_eq!(reported.status, 201, "{}", reported.text);
        reported.json
    }

    async fn issue(&self, body: Value) -> Answer {
        self.app.as_role("here").post(&format!("/sampling-events/{}/letters", self.event), &body).await
    }

    async fn issued(&self, body: Value) -> Vec<Value> {
        let answer = self.issue(body).await;
        assert_eq!(answer.status, 201, "{}", answer.text);
        answer.json["letters"].as_array().unwrap().clone()
    }

    /// The letter to a worker among those answered, with its text.
    async fn letter_to(&self, letters: &[Value], worker: usize) -> Value {
        let of_worker = |letter: &&Value| letter["worker_id"] == json!(self.workers[worker]);
        let found: Vec<&Value> = letters.iter().filter(of_worker).collect();
        assert_eq!(found.len(), 1, "{letters:#?}");
        self.read(found[0]["id"].as_str().unwrap()).await
    }

    async fn read(&self, id: &str) -> Value {
        let read = self.app.as_role("here").get(&format!("/letters/{id}")).await;
        assert_eq!(read.status, 200, "{}", read.text);
        read.json
    }

    async fn paper(&self, letter: &Value) -> String {
        let path = format!("/letters/{}/paper.html", letter["id"].as_str().unwrap());
        let read = self.app.as_role("here").get(&path).await;
        assert_eq!(read.status, 200, "{}", read.text);
        read.text
    }
}

fn said(letter: &Value) -> &str {
    letter["body"].as_str().unwrap()
}

fn sha256(text: &str) -> String {
    Sha256::digest(text).iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"))
}

fn ask() -> Value {
    json!({"agent_code": "chromium_vi", "corrective_action": "We hang a hood over table 4 by 1 May.",
        "contact": "Safety office, extension 12"})
}

#[tokio::test]
async fn everybody_measured_or_represented_gets_a_letter_that_names_nobody_else() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.reported(6.0).await;
    let letters = shop.issued(ask()).await;
    assert_eq!(letters.len(), 3);
    for (worker, reader) in NAMES.iter().enumerate() {
        let letter = shop.letter_to(&letters, worker).await;
        for (other, name) in NAMES.iter().enumerate() {
            for part in name.split(' ') {
                assert_eq!(said(&letter).contains(part), other == worker, "{part} to {reader}");
            }
            assert_eq!(said(&letter).contains(&format!("Welder {other}")), other == worker);
        }
        for id in &shop.workers {
            assert!(!said(&letter).contains(id.as_str()));
        }
    }
    let ada = shop.letter_to(&letters, 0).await;
    // 29 CFR 1910.1026(c): 5 ug/m3 as an 8-hour average; (d)(4)(i) and (ii): notice, and the corrective action above it.
    for part in [
        "You wore a sampler. Results marked “you” were measured on you.",
        "6.0 µg/m³",
        "8 hours",
        "is above it",
        "OSHA",
        "29 CFR 1910.1026",
        "We hang a hood over table 4 by 1 May.",
        "Safety office, extension 12",
        "asks us to tell you these results",
    ] {
        assert!(said(&ada).contains(part), "{part}: {}", said(&ada));
    }
    // The colleague's filter of another day represents her; her own day is told by her own.
    assert_eq!(ada["says"]["results"].as_array().unwrap().len(), 2);
    let cy = shop.letter_to(&letters, 2).await;
    assert!(said(&cy).contains("You did not wear a sampler"), "{}", said(&cy));
    assert!(said(&cy).contains("it was measured on the co-worker and not on you"));
    assert!(!said(&cy).contains("You wore a sampler"), "{}", said(&cy));
}

#[tokio::test]
async fn a_non_detect_reads_as_less_than_its_limit() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.reported(6.0).await;
    let letters = shop.issued(ask()).await;
    let bo = shop.letter_to(&letters, 1).await;
    assert_eq!(bo["says"]["results"][0]["value"], json!({"comparator": "<", "value": 0.05, "unit": "ug/m3"}));
    // What a browser shows as a less-than sign.
    let shown = said(&bo).replace("&#60;", "<").replace("&lt;", "<");
    assert!(shown.contains("< 0.050 µg/m³"), "{shown}");
    assert!(shown.contains("It does not mean that there was none"));
}

#[tokio::test]
async fn the_check_value_is_that_of_the_frozen_text_and_the_page_holds_it_unchanged() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.reported(6.0).await;
    let letters = shop.issued(ask()).await;
    let ada = shop.letter_to(&letters, 0).await;
    assert_eq!(ada["sha256"], json!(sha256(said(&ada))));
    let paper = shop.paper(&ada).await;
    assert!(paper.contains(said(&ada)));
    assert!(paper.contains(&sha256(said(&ada))));
    assert!(paper.contains("<tfoot>"));
    assert!(!paper.contains("Amended"));
}

#[tokio::test]
async fn asked_again_with_the_same_facts_the_same_letters_are_answered() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.reported(6.0).await;
    let first = shop.issued(ask()).await;
    app.clock.advance(chrono::Duration::days(3));
    let again = shop.issue(ask()).await;
    assert_eq!(again.status, 200, "{}", again.text);
    assert_eq!(again.json["letters"], json!(first));
    assert_eq!(again.json["outdated"], json!([]));
    // What the writer added holds until he says otherwise.
    let again = shop.issue(json!({"agent_code": "chromium_vi"})).await;
    assert_eq!((again.status, &again.json["letters"]), (200, &json!(first)));
    let path = format!("/sampling-events/{}/letters", shop.event);
    assert_eq!(app.as_role("physician").get(&path).await.ids().len(), 3);
}

#[tokio::test]
async fn a_corrected_report_amends_the_letters_and_says_who_received_the_old() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let replaced = shop.reported(6.0).await;
    let first = shop.issued(ask()).await;
    let old = shop.letter_to(&first, 0).await;
    let bos = shop.letter_to(&first, 1).await;
    let corrected = json!({"sample_number": "N-1", "agent_code": "chromium_vi", "blank_corrected": "yes",
        "concentration": {"value": 2.4, "unit": "ug/m3"}, "reporting_limit": {"value": 0.05, "unit": "ug/m3"},
        "replaces": {"result_id": replaced, "as": "revised"}});
    shop.report(json!({"report_number": "L-1", "revision": 1, "laboratory": "Hollow Lane Laboratory",
        "received_on": "2026-02-27", "results": [corrected]}))
        .await;
    // Before anybody has asked for new ones, the old say that they are overtaken.
    let overtaken = shop.read(old["id"].as_str().unwrap()).await;
    assert_eq!((&overtaken["status"], &overtaken["body"]), (&json!("overtaken"), &old["body"]));
    assert!(shop.paper(&old).await.contains("Corrected since."));
    let answer = shop.issue(json!({"agent_code": "chromium_vi"})).await;
    assert_eq!(answer.status, 201, "{}", answer.text);
    let new = shop.letter_to(answer.json["letters"].as_array().unwrap(), 0).await;
    assert_ne!(new["id"], old["id"]);
    assert_eq!(new["amends"], json!({"letter_id": old["id"], "issued_on": "2026-03-02"}));
    for part in ["takes the place of the one we wrote to you on 2026-03-02", "6.0 µg/m³", "2.4 µg/m³"] {
        assert!(said(&new).contains(part), "{part}: {}", said(&new));
    }
    // The old text stands as it was, and the page around it says what became of it.
    let after = shop.read(old["id"].as_str().unwrap()).await;
    assert_eq!(
        (&after["status"], &after["body"], &after["sha256"]),
        (&json!("amended"), &old["body"], &old["sha256"])
    );
    assert_eq!(after["amended_by"]["letter_id"], new["id"]);
    let paper = shop.paper(&old).await;
    assert!(paper.contains("This letter no longer holds. Ada Vale received it"), "{paper}");
    let outdated = answer.json["outdated"].as_array().unwrap();
    let told: Vec<&str> = outdated.iter().map(|one| one["name"].as_str().unwrap()).collect();
    // Ada's filter of 3 February represents the others too.
    assert_eq!(told, NAMES);
    assert_ne!(shop.letter_to(answer.json["letters"].as_array().unwrap(), 1).await["id"], bos["id"]);
    let path = format!("/sampling-events/{}/letters", shop.event);
    assert_eq!(app.as_role("here").get(&path).await.ids().len(), 6);
}

#[tokio::test]
async fn whoever_is_no_longer_represented_is_told_so() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.reported(6.0).await;
    shop.issued(ask()).await;
    let path = format!("/assignments/{}/voiding", shop.cys_assignment);
    let voided = app.as_role("hygienist").post(&path, &json!({"reason": "he worked elsewhere"})).await;
    assert!(voided.status < 300, "{}", voided.text);
    let answer = shop.issue(ask()).await;
    assert_eq!(answer.status, 201, "{}", answer.text);
    assert_eq!(answer.json["outdated"].as_array().unwrap().len(), 1);
    let id = answer.json["outdated"][0]["amended_by"].as_str().unwrap();
    // Cy is of no site any more; the letters of this one are still its own.
    let told = shop.read(id).await;
    assert!(said(&told).contains("nothing is known of you"), "{}", said(&told));
    assert_eq!(shop.issue(ask()).await.status, 200);
}

#[tokio::test]
async fn above_the_limit_a_letter_must_say_what_is_done() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let plain = json!({"agent_code": "chromium_vi"});
    let early = shop.issue(plain.clone()).await;
    assert_eq!(
        (early.status, &early.json["errors"][0]["pointer"]),
        (422, &json!("/agent_code")),
        "{}",
        early.text
    );
    shop.reported(6.0).await;
    // 29 CFR 1910.1026(d)(4)(ii): above the limit the notice describes the corrective action.
    let refused = shop.issue(plain).await;
    assert_eq!(refused.status, 422, "{}", refused.text);
    assert_eq!(refused.json["errors"][0]["pointer"], json!("/corrective_action"), "{}", refused.text);
    let naming =
        json!({"agent_code": "chromium_vi", "corrective_action": "We moved bo quill to another table."});
    let refused = shop.issue(naming).await;
    assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (422, &json!("/corrective_action")));
}

#[tokio::test]
async fn exactly_at_the_limit_nothing_more_is_asked() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.reported(5.0).await;
    let letters = shop.issued(json!({"agent_code": "chromium_vi"})).await;
    let ada = shop.letter_to(&letters, 0).await;
    assert!(said(&ada).contains("is exactly at it"), "{}", said(&ada));
    assert_eq!(ada["says"].get("must_state"), None);
}

/// The lines that were left by those who read letters: the request, and how many workers were named.
async fn lines(app: &TestApp) -> Vec<(String, i64)> {
    let sql = "SELECT request, workers FROM access_line WHERE request LIKE '%letters%' ORDER BY at, id";
    match &app.registry.database {
        Database::Sqlite(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
        Database::Postgres(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
    }
}

#[tokio::test]
async fn whoever_reads_a_letter_leaves_a_line() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.reported(6.0).await;
    let letters = shop.issued(ask()).await;
    let ada = shop.letter_to(&letters, 0).await;
    shop.paper(&ada).await;
    let path = format!("/sampling-events/{}/letters", shop.event);
    assert_eq!(app.as_role("corporate").get(&path).await.status, 200);
    let line = |request: &str, workers| (request.to_owned(), workers);
    assert_eq!(
        lines(&app).await,
        [
            line("GET /api/v1/letters/{id}", 1),
            line("GET /api/v1/letters/{id}/paper.html", 1),
            line("GET /api/v1/sampling-events/{id}/letters", 3)
        ]
    );
}

#[tokio::test]
async fn issuing_meets_no_duty_and_stays_at_its_site() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.reported(6.0).await;
    let letters = shop.issued(ask()).await;
    app.registry.settle().await.unwrap();
    let duties = app.as_role("here").get("/duties?kind=notify_results").await;
    let owed = &duties.json["items"][0];
    assert!(["open", "overdue"].contains(&owed["status"].as_str().unwrap()), "{}", duties.text);
    // Another site's coordinator learns nothing of it, though he may see the worker.
    let elsewhere = app.site("BRK").await;
    let group = app.group(&elsewhere, "PACK").await;
    app.add_account_on("elsewhere", "coordinator", &[&elsewhere]).await;
    let assignment =
        json!({"group_id": group, "from": "2026-02-10", "shifts_per_week": 1, "hours_per_shift": 8});
    let path = format!("/workers/{}/assignments", shop.workers[0]);
    app.as_role("hygienist").post(&path, &assignment).await.id();
    let ada = shop.letter_to(&letters, 0).await;
    let client = app.as_role("elsewhere");
    assert_eq!(client.get(&format!("/letters/{}", ada["id"].as_str().unwrap())).await.status, 404);
    assert_eq!(client.get(&format!("/sampling-events/{}/letters", shop.event)).await.status, 404);
    // Corporate reads and issues nothing.
    let path = format!("/sampling-events/{}/letters", shop.event);
    assert_eq!(app.as_role("corporate").get(&path).await.status, 200);
    assert_eq!(app.as_role("corporate").post(&path, &ask()).await.status, 403);
    assert_eq!(app.as_role("physician").post(&path, &ask()).await.status, 403);
}
