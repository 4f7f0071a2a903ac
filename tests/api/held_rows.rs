//! Laboratory rows whose sample is not known: held, matched, dismissed. The rules are the registry's own; all is invented.

use crate::harness::{Answer, TestApp};
use serde_json::{Value, json};

const SHIFT: &str = "2026-02-24";

fn sample(number: &str, worker: &str, group: &str) -> Value {
    let day = number.rsplit('-').next().unwrap();
    json!({"number": number, "position": "breathing_zone", "shift_date": format!("2026-02-{day}"),
        "worker_id": worker, "group_id": group, "agent_codes": ["cadmium"],
        "runs": [{"start": format!("2026-02-{day}T07:00:00-07:00"), "end": format!("2026-02-{day}T15:00:00-07:00")}],
        "flow_before": {"value": "2.0", "unit": "L/min"}, "flow_after": {"value": "2.0", "unit": "L/min"}})
}

fn row(number: &str) -> Value {
    json!({"sample_number": number, "agent_code": "cadmium", "mass": {"value": "2.40", "unit": "ug"},
        "reporting_limit": {"value": "0.02", "unit": "ug"}, "blank_corrected": "yes"})
}

/// A site with a sample of 24 February and one of the 25th to come.
struct Shop {
    site: String,
    event: String,
    worker: String,
    group: String,
}

async fn shop(app: &TestApp) -> Shop {
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let group = app.group(&site, "SMELT").await;
    let person = json!({"employee_number": "1", "given_name": "Ada", "family_name": "Vale", "employer": "Own works",
        "hired_on": "2026-01-05"});
    let worker = hygienist.post("/workers", &person).await.id();
    let assignment =
        json!({"group_id": group, "from": "2026-01-05", "shifts_per_week": 5, "hours_per_shift": 8});
    hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    let event =
        json!({"reference": "E-1", "sampled_by": "K. Marl", "samples": [sample("S-24", &worker, &group)]});
    let event = hygienist.post(&format!("/sites/{site}/sampling-events"), &event).await.id();
    app.add_account_on("here", "coordinator", &[&site]).await;
    Shop { site, event, worker, group }
}

async fn report(app: &TestApp, shop: &Shop, number: &str, query: &str, rows: Value) -> Answer {
    let body = json!({"report_number": number, "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-27",
        "results": rows});
    app.as_role("here").post(&format!("/sites/{}/lab-reports{query}", shop.site), &body).await
}

#[tokio::test]
async fn a_row_waits_in_sight_until_its_sample_comes() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let both = || json!([row("S-24"), row("S-25")]);
    let refused = report(&app, &shop, "L-1", "", both()).await;
    assert_eq!((refused.status, refused.pointers()), (422, vec!["/results/1/sample_number"]));
    let wrong = report(&app, &shop, "L-1", "?unmatched=keep", both()).await;
    assert_eq!((wrong.status, wrong.pointers()), (422, vec!["/unmatched"]));
    let dry = report(&app, &shop, "L-1", "?unmatched=hold&dry_run=true", both()).await;
    assert_eq!((dry.status, dry.json["held"].as_array().map(Vec::len)), (200, Some(1)));
    let list = format!("/sites/{}/held-rows", shop.site);
    let here = app.as_role("here");
    assert_eq!(here.get(&list).await.json["items"], json!([]));

    let made = report(&app, &shop, "L-1", "?unmatched=hold", both()).await;
    assert_eq!(made.status, 201, "{}", made.text);
    assert_eq!(made.json["samples"].as_array().map(Vec::len), Some(1));
    let waiting = here.get(&list).await;
    assert_eq!(waiting.json["items"], made.json["held"]);
    let held = waiting.ids()[0].to_owned();
    assert_eq!(waiting.json["items"][0]["row"]["sample_number"], "S-25");
    assert_eq!(waiting.json["items"][0]["status"], "waiting");
    let read = here.get(&format!("/lab-reports/{}", made.id())).await;
    assert_eq!(read.json["held"], made.json["held"]);

    let path = format!("/held-rows/{held}/match");
    for (body, status, pointer) in [
        (json!({}), 422, "/sample_number"),
        (json!({"sample_number": "S-25"}), 422, "/sample_number"),
        (json!({"sample_id": held}), 422, "/sample_id"),
        (json!({"sample_id": held, "sample_number": "S-24"}), 422, "/sample_number"),
        // The row of that sample came with the report.
        (json!({"sample_number": "S-24"}), 409, ""),
    ] {
        let answer = here.post(&path, &body).await;
        assert_eq!((answer.status, answer.pointers()), (status, vec![pointer]), "{body}: {}", answer.text);
    }
    let samples = format!("/sampling-events/{}/samples", shop.event);
    let taken = here.post(&samples, &sample("S-25", &shop.worker, &shop.group)).await.id();
    let matched = here.post(&path, &json!({"sample_number": "S-25"})).await;
    assert_eq!((matched.status, &matched.json["status"]), (201, &json!("matched")), "{}", matched.text);
    assert_eq!(matched.json["sample_id"], json!(taken));
    let found = here.get(&format!("/samples/{taken}")).await;
    let result = &found.json["results"][0];
    assert_eq!((&result["id"], &result["status"]), (&matched.json["result_id"], &json!("submitted")));
    // Arithmetic: 2.40 ug in 480 min at 2.0 L/min, 0.96 m3, are 2.5 ug/m3.
    let concentration = result["concentration"]["value"].as_f64().unwrap();
    assert!((concentration - 2.5).abs() < 1e-9, "{concentration}");
    assert_eq!(here.get(&list).await.json["items"], json!([]));
    assert_eq!(here.get(&format!("{list}?status=matched")).await.ids(), [held.as_str()]);
    assert_eq!(here.post(&path, &json!({"sample_number": "S-25"})).await.status, 409);
    let because = json!({"reason": "a test"});
    let late = app.as_role("hygienist").post(&format!("/held-rows/{held}/dismissal"), &because).await;
    assert_eq!(late.status, 409);
}

#[tokio::test]
async fn a_row_without_a_sample_is_dismissed_by_a_hygienist_with_a_reason() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let made = report(&app, &shop, "L-1", "?unmatched=hold", json!([row("S-99")])).await;
    assert_eq!(made.json["samples"], json!([]), "a report may hold waiting rows alone");
    let held = made.json["held"][0]["id"].as_str().unwrap().to_owned();
    let path = format!("/held-rows/{held}/dismissal");
    let because = json!({"reason": "A sample of another works."});
    assert_eq!(app.as_role("here").post(&path, &because).await.status, 403);
    let hygienist = app.as_role("hygienist");
    let without = hygienist.post(&path, &json!({})).await;
    assert_eq!((without.status, without.pointers()), (422, vec!["/reason"]));
    let done = hygienist.post(&path, &because).await;
    assert_eq!((done.status, &done.json["status"]), (201, &json!("dismissed")));
    let back = app
        .as_role("here")
        .post(&format!("/held-rows/{held}/match"), &json!({"sample_number": "S-24"}))
        .await;
    assert_eq!((back.status, back.kind()), (409, "conflict"));
    let list = format!("/sites/{}/held-rows?status=dismissed", shop.site);
    assert_eq!(hygienist.get(&list).await.json["items"][0]["reason"], "A sample of another works.");
    let story = hygienist.get(&format!("/journal?subject_id={held}")).await;
    let deeds: Vec<_> = story.json["items"].as_array().unwrap().iter().map(|item| &item["deed"]).collect();
    assert_eq!(deeds, ["recorded", "dismissed"]);
    // What is held at a site is nobody's business elsewhere.
    let elsewhere = app.site("BRK").await;
    app.add_account_on("elsewhere", "coordinator", &[&elsewhere]).await;
    let client = app.as_role("elsewhere");
    assert_eq!(client.get(&format!("/held-rows/{held}")).await.status, 404);
    assert_eq!(client.get(&list).await.status, 404);
}

#[tokio::test]
async fn rows_of_a_void_report_wait_for_nothing() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let made = report(&app, &shop, "L-1", "?unmatched=hold", json!([row("S-99")])).await;
    let (id, held) = (made.id(), made.json["held"][0]["id"].as_str().unwrap().to_owned());
    let hygienist = app.as_role("hygienist");
    hygienist
        .post(&format!("/lab-reports/{id}/voiding"), &json!({"reason": "Another customer's."}))
        .await
        .id();
    let list = format!("/sites/{}/held-rows", shop.site);
    assert_eq!(hygienist.get(&list).await.json["items"], json!([]));
    let matched =
        hygienist.post(&format!("/held-rows/{held}/match"), &json!({"sample_number": "S-24"})).await;
    assert_eq!(matched.status, 409);
}

#[tokio::test]
async fn a_held_row_of_a_file_replaces_whichever_result_stands_when_it_is_matched() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    report(&app, &shop, "L-1", "", json!([row("S-24")])).await.id();
    let file = "sample_number,agent,value,unit,reporting_limit,replaces\nS-2A,cadmium,4.80,ug,0.02,revised\n\
                S-2A,cadmium,4.80,ug,0.02,revised\n";
    let head =
        "report_number=L-2&laboratory=Hollow%20Lane%20Laboratory&received_on=2026-02-28&unmatched=hold";
    let path = format!("/sites/{}/lab-reports?{head}", shop.site);
    let here = app.as_role("here");
    let twice = here.post_text(&path, "text/csv", file).await;
    assert_eq!((twice.status, twice.pointers()), (422, vec!["/results/1"]), "{}", twice.text);
    let once: Vec<&str> = file.lines().take(2).collect();
    let made = here.post_text(&path, "text/csv", once.join("\n")).await;
    assert_eq!(made.status, 201, "{}", made.text);
    let held = made.json["held"][0]["id"].as_str().unwrap();
    let matched = here.post(&format!("/held-rows/{held}/match"), &json!({"sample_number": "S-24"})).await;
    assert_eq!(matched.status, 201, "{}", matched.text);
    let result = here.get(&format!("/results/{}", matched.json["result_id"].as_str().unwrap())).await;
    assert_eq!((&result.json["stands"], &result.json["replaces"]["as"]), (&json!(true), &json!("revised")));
    let before = result.json["replaces"]["result_id"].as_str().unwrap().to_owned();
    assert_eq!(here.get(&format!("/results/{before}")).await.json["stands"], json!(false));
    assert_eq!(SHIFT, result_shift(&app, &result).await);
}

async fn result_shift(app: &TestApp, result: &Answer) -> String {
    let sample = result.json["sample_id"].as_str().unwrap();
    let read = app.as_role("here").get(&format!("/samples/{sample}")).await;
    read.json["shift_date"].as_str().unwrap().to_owned()
}
