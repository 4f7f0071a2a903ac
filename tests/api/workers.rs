//! Workers: who sees whom, and finding one.

use crate::harness::TestApp;
use serde_json::json;

#[tokio::test]
async fn a_worker_is_entered_with_the_first_employment() {
    let app = TestApp::spawn().await;
    let coordinator = app.as_role("coordinator");
    let body = json!({
        "employee_number": "7", "given_name": "Ana", "family_name": "Muñoz", "employer": "Lynhead Works",
        "relation": "agency", "hired_on": "2026-01-05", "left_on": "2026-02-27"
    });
    let made = coordinator.post("/workers", &body).await;
    let id = made.id();
    for (field, value) in body.as_object().unwrap() {
        assert_eq!(&made.json[field], value, "{field}");
    }
    // left_on is the last day; `to` is the first day no longer.
    assert_eq!(made.json["employments"][0]["to"], json!("2026-02-28"));
    let read = coordinator.get(&format!("/workers/{id}")).await;
    assert_eq!((read.status, &read.json), (200, &made.json));
    assert_eq!(coordinator.get("/workers").await.json["items"], json!([made.json]));
    let again = coordinator.post("/workers", &body).await;
    assert_eq!((again.status, again.kind()), (409, "conflict"));
    assert_eq!(coordinator.get("/workers").await.ids().len(), 1, "the second person is not stored either");
}

#[tokio::test]
async fn a_worker_is_seen_by_who_entered_him_until_he_is_assigned() {
    let app = TestApp::spawn().await;
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    app.add_account_on("here", "coordinator", &[&here]).await;
    app.add_account_on("there", "coordinator", &[&there]).await;
    let body = json!({
        "employee_number": "7", "given_name": "A", "family_name": "B", "employer": "Lynhead Works",
        "hired_on": "2026-01-05"
    });
    let worker = app.as_role("here").post("/workers", &body).await.id();
    let path = format!("/workers/{worker}");
    assert_eq!(app.as_role("here").get(&path).await.status, 200);
    assert_eq!(app.as_role("there").get(&path).await.status, 404);
    // Sent to the other site: found there by employer and number, and assigned.
    let group = app.group(&there, "WELD").await;
    let search = json!({"employer": "Lynhead Works", "employee_number": "7"});
    let found = app.as_role("there").post("/workers/search", &search).await;
    let seen = json!({"id": worker, "given_name": "A", "family_name": "B", "employee_number": "7"});
    assert_eq!(found.json["items"], json!([seen]));
    let assignment =
        json!({"group_id": group, "from": "2026-02-02", "shifts_per_week": 5, "hours_per_shift": 8});
    app.as_role("there").post(&format!("{path}/assignments"), &assignment).await.id();
    assert_eq!(app.as_role("there").get(&path).await.status, 200);
    assert_eq!(app.as_role("here").get(&path).await.status, 404);
    assert_eq!(app.as_role("here").get(&format!("{path}/assignments")).await.status, 404);
}

#[tokio::test]
async fn a_search_by_text_folds_case_and_accents_and_stays_in_sight() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    for (number, family) in [("7", "Muñoz"), ("8", "Munro"), ("9", "Groß")] {
        let body = json!({
            "employee_number": number, "given_name": "Ana", "family_name": family, "employer": "Lynhead Works",
            "hired_on": "2026-01-05"
        });
        hygienist.post("/workers", &body).await.id();
    }
    let count =
        async |text: &str| hygienist.post("/workers/search", &json!({"text": text})).await.ids().len();
    assert_eq!(count("MUNO").await, 1);
    assert_eq!(count("ana mun").await, 2);
    assert_eq!(count("gross").await, 1);
    assert_eq!(count("8 lynhead").await, 1);
    assert_eq!(count("nobody").await, 0);
    let first = hygienist.post("/workers/search?limit=2", &json!({"text": "ana"})).await;
    let after = first.json["next"].as_str().unwrap().to_owned();
    let rest =
        hygienist.post(&format!("/workers/search?limit=2&after={after}"), &json!({"text": "ana"})).await;
    assert_eq!((first.ids().len(), rest.ids().len(), &rest.json["next"]), (2, 1, &json!(null)));
    let site = app.site("LYN").await;
    app.add_account_on("here", "coordinator", &[&site]).await;
    let unseen = app.as_role("here").post("/workers/search", &json!({"text": "ana"})).await;
    assert_eq!(unseen.ids().len(), 0);
}

#[tokio::test]
async fn a_search_is_by_text_or_by_employer_and_number() {
    let app = TestApp::spawn().await;
    for (body, pointer) in [
        (json!({}), "/text"),
        (json!({"employer": "x"}), "/employee_number"),
        (json!({"employee_number": "7"}), "/employer"),
        (json!({"text": "x", "employer": "x", "employee_number": "7"}), "/text"),
        (json!({"name": "x"}), "/name"),
    ] {
        let answer = app.as_role("coordinator").post("/workers/search", &body).await;
        assert_eq!((answer.status, answer.pointers()), (422, vec![pointer]), "{body}");
    }
}
