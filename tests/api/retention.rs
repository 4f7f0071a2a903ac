//! Until when records are kept, holds, and disposal by two people. People and figures are invented; today is 2 March 2026.

use crate::harness::{Answer, Client, TestApp};
use doseward::registry::backup::save::save;
use doseward::registry::enter_pack::console;
use doseward::registry::verify::verify;
use serde_json::{Value, json};

/// What was done long ago: an event of 1990 with one worker who left in 1995, sampled for two agents.
struct LongAgo {
    site: String,
    group: String,
    worker: String,
    event: String,
    sample: String,
}

async fn post(client: &Client<'_>, path: &str, body: Value) -> Answer {
    let answer = client.post(path, &body).await;
    assert_eq!(answer.status, 201, "{path}: {}", answer.text);
    answer
}

async fn long_ago(app: &TestApp, agent: &str) -> LongAgo {
    let site = app.site("LYN").await;
    let group = app.group(&site, "MELT").await;
    let hygienist = app.as_role("hygienist");
    let person = json!({"employee_number": "7", "given_name": "Odo", "family_name": "Marrow", "employer": "Own works",
        "hired_on": "1985-01-07", "left_on": "1995-06-30"});
    let worker = post(&hygienist, "/workers", person).await.id();
    let assigned = json!({"group_id": group, "from": "1985-01-07", "to": "1995-07-01", "shifts_per_week": 5,
        "hours_per_shift": 8});
    post(&hygienist, &format!("/workers/{worker}/assignments"), assigned).await;
    let event = json!({"reference": "1990-A", "sampled_by": "K. Marl", "samples": [{"number": "90-1",
        "position": "breathing_zone", "worker_id": worker, "group_id": group, "shift_date": "1990-05-14",
        "agent_codes": [agent], "control_ids_running": [],
        "runs": [{"start": "1990-05-14T07:00:00-06:00", "end": "1990-05-14T15:00:00-06:00"}],
        "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"},
        "calibrator": "C-1", "calibrated_on": "1990-05-14"}]});
    let event = post(&hygienist, &format!("/sites/{site}/sampling-events"), event).await;
    let sample = event.json["samples"][0]["id"].as_str().unwrap().to_owned();
    let report = json!({"report_number": "H90", "laboratory": "Hollow Lane Laboratory", "received_on": "1990-06-01",
        "results": [{"sample_number": "90-1", "agent_code": agent, "blank_corrected": "yes",
        "concentration": {"value": 1, "unit": "ug/m3"}, "reporting_limit": {"value": 0.1, "unit": "ug/m3"}}]});
    post(&hygienist, &format!("/sites/{site}/lab-reports"), report).await;
    LongAgo { site, group, worker, event: event.id(), sample }
}

fn of_event(id: &str) -> Value {
    json!({"ground": "retention_over", "subjects": [{"kind": "sampling_event", "id": id}],
        "because": "Nobody needs them any more."})
}

/// A later event of the same group, so that its standing does not rest on the old one.
async fn sampled_again(app: &TestApp, of: &LongAgo) {
    let person = json!({"employee_number": "8", "given_name": "Una", "family_name": "Trell", "employer": "Own works",
        "hired_on": "2020-01-06"});
    let worker = post(&app.as_role("hygienist"), "/workers", person).await.id();
    let event = json!({"reference": "2026-A", "sampled_by": "K. Marl", "samples": [{"number": "26-1",
        "position": "breathing_zone", "worker_id": worker, "group_id": of.group, "shift_date": "2026-02-09",
        "agent_codes": ["chromium_vi"], "control_ids_running": [],
        "runs": [{"start": "2026-02-09T07:00:00-07:00", "end": "2026-02-09T15:00:00-07:00"}],
        "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"},
        "calibrator": "C-1", "calibrated_on": "2026-02-09"}]});
    let hygienist = app.as_role("hygienist");
    post(&hygienist, &format!("/sites/{}/sampling-events", of.site), event).await;
    let report = json!({"report_number": "H26", "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-20",
        "results": [{"sample_number": "26-1", "agent_code": "chromium_vi", "blank_corrected": "yes",
        "concentration": {"value": 3, "unit": "ug/m3"}, "reporting_limit": {"value": 0.1, "unit": "ug/m3"}}]});
    post(&hygienist, &format!("/sites/{}/lab-reports", of.site), report).await;
    app.registry.settle().await.unwrap();
}

fn why(answer: &Answer) -> String {
    assert_eq!(answer.status, 422, "{}", answer.text);
    answer.json["errors"][0]["detail"].as_str().unwrap().to_owned()
}

// 29 CFR 1910.1026(m)(1)(iii) with 1910.1020(d)(1)(ii): thirty years, 14 May 2020; 1910.1025(n)(1)(iii): forty years, or
// employment and twenty: 14 May 2030.
#[tokio::test]
async fn what_is_to_be_kept_is_told_with_its_clause_and_not_let_go() {
    let app = TestApp::spawn().await;
    let old = long_ago(&app, "lead").await;
    let hygienist = app.as_role("hygienist");
    let kept = hygienist.get(&format!("/sampling-events/{}/retention", old.event)).await;
    let item = &kept.json["items"][0];
    assert_eq!(
        (&item["rule_id"], &item["clause"], &item["until"], &item["verification"], &item["sample_id"]),
        (
            &json!("RC023"),
            &json!("29 CFR 1910.1025(n)(1)"),
            &json!("2030-05-14"),
            &json!("verified"),
            &json!(old.sample)
        ),
        "{}",
        kept.text
    );
    assert_eq!((&kept.json["until"], &kept.json["held"]), (&json!("2030-05-14"), &json!(false)));
    assert!(item["words"].as_str().unwrap().contains("the law in force"), "{item}");
    let refused = why(&hygienist.post("/disposals", &of_event(&old.event)).await);
    assert!(refused.contains("2030-05-14") && refused.contains("29 CFR 1910.1025(n)(1)"), "{refused}");
    // The worker left in 1995: 29 CFR 1910.1020(d)(1)(i), employment and thirty years, 30 June 2025.
    let kept = hygienist.get(&format!("/workers/{}/retention", old.worker)).await;
    assert_eq!(
        (&kept.json["until"], &kept.json["items"][0]["rule_id"]),
        (&json!("2025-06-30"), &json!("RC001"))
    );
    let worker = json!({"ground": "retention_over", "subjects": [{"kind": "worker", "id": old.worker}],
        "because": "Gone for long."});
    let refused = why(&hygienist.post("/disposals", &worker).await);
    assert!(refused.contains("named by 1 samples"), "{refused}");
}

#[tokio::test]
async fn a_hold_keeps_whatever_its_age_until_it_is_lifted() {
    let app = TestApp::spawn().await;
    let old = long_ago(&app, "chromium_vi").await;
    sampled_again(&app, &old).await;
    let hygienist = app.as_role("hygienist");
    let hold = json!({"of_worker_id": old.worker, "ground": "A claim is pending."});
    let hold = post(&hygienist, "/legal-holds", hold).await.id();
    let elsewhere = json!({"agent_code": "lead", "ground": "Another claim."});
    post(&hygienist, "/legal-holds", elsewhere).await;
    let kept = hygienist.get(&format!("/sampling-events/{}/retention", old.event)).await;
    assert_eq!(
        (&kept.json["until"], &kept.json["held"]),
        (&json!("2020-05-14"), &json!(true)),
        "{}",
        kept.text
    );
    assert!(why(&hygienist.post("/disposals", &of_event(&old.event)).await).contains("is held"));
    let reason = json!({"reason": "The claim was settled."});
    post(&hygienist, &format!("/legal-holds/{hold}/lifting"), reason.clone()).await;
    assert_eq!(hygienist.post(&format!("/legal-holds/{hold}/lifting"), &reason).await.status, 409);
    let proposed = post(&hygienist, "/disposals", of_event(&old.event)).await.id();
    // A hold that comes between the two people counts.
    post(&hygienist, "/legal-holds", json!({"of_site_id": old.site, "ground": "An inspection."})).await;
    let path = format!("/disposals/{proposed}/carrying-out");
    assert!(why(&app.as_role("administrator").post(&path, &reason).await).contains("is held"));
    assert_eq!(hygienist.get(&format!("/sampling-events/{}", old.event)).await.status, 200);
}

#[tokio::test]
async fn two_people_dispose_and_the_chains_still_prove_what_stood_there() {
    let app = TestApp::spawn().await;
    let old = long_ago(&app, "chromium_vi").await;
    let hygienist = app.as_role("hygienist");
    // The group still stands where this event put it.
    app.registry.settle().await.unwrap();
    let refused = why(&hygienist.post("/disposals", &of_event(&old.event)).await);
    assert!(refused.contains("present standing"), "{refused}");
    sampled_again(&app, &old).await;
    let proposed = post(&hygienist, "/disposals", of_event(&old.event)).await;
    let (id, reason) = (proposed.id(), json!({"reason": "Looked through."}));
    assert_eq!((&proposed.json["status"], &proposed.json["gone"]), (&json!("proposed"), &json!([])));
    let path = format!("/disposals/{id}/carrying-out");
    let same = hygienist.post(&path, &reason).await;
    assert!(same.status == 409 && same.text.contains("another person"), "{}", same.text);
    let before = verify(&app.registry, |_| {}).await.unwrap();
    let done = post(&app.as_role("administrator"), &path, reason.clone()).await;
    assert_eq!(done.json["status"], "carried_out");
    let kinds: Vec<&str> =
        done.json["gone"].as_array().unwrap().iter().map(|gone| gone["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["sampling_event", "sample", "result"], "{}", done.text);
    assert_eq!(app.as_role("administrator").post(&path, &reason).await.status, 409);
    // Gone: now, and as it was known before.
    for thing in [format!("/sampling-events/{}", old.event), format!("/samples/{}", old.sample)] {
        assert_eq!(hygienist.get(&thing).await.status, 404, "{thing}");
    }
    app.registry.settle().await.unwrap();
    let averages = hygienist.get(&format!("/shift-averages?worker_id={}", old.worker)).await;
    assert_eq!(averages.json["items"], json!([]), "{}", averages.text);
    // The stub: envelope and digest without image; the chains prove.
    let stub = hygienist.get(&format!("/journal?subject_id={}", old.sample)).await;
    let entry = &stub.json["items"][0];
    assert_eq!(
        (entry.get("image"), entry["image_digest"].as_str().map(str::len)),
        (None, Some(64)),
        "{entry}"
    );
    let after = verify(&app.registry, |_| {}).await.unwrap();
    assert!(after.sound, "{:?}", after.first_fault);
    assert!(after.entries > before.entries);
}

#[tokio::test]
async fn a_worker_goes_whole_when_no_sample_names_him_and_nobody_learns_of_grounds() {
    let app = TestApp::spawn().await;
    let old = long_ago(&app, "chromium_vi").await;
    let (hygienist, administrator) = (app.as_role("hygienist"), app.as_role("administrator"));
    let ground = json!({"kind": "recommendation", "on": "1994-03-01", "agent_code": "chromium_vi"});
    let ground =
        post(&app.as_role("physician"), &format!("/workers/{}/medical-grounds", old.worker), ground).await;
    let reason = json!({"reason": "Looked through."});
    let voided = json!({"reason": "Another worker."});
    post(&hygienist, &format!("/samples/{}/voiding", old.sample), voided).await;
    app.registry.settle().await.unwrap();
    for body in [
        of_event(&old.event),
        json!({"ground": "retention_over", "subjects": [{"kind": "worker", "id": old.worker}], "because": "Gone."}),
    ] {
        let id = post(&hygienist, "/disposals", body).await.id();
        let done = post(&administrator, &format!("/disposals/{id}/carrying-out"), reason.clone()).await;
        assert!(!done.text.contains("medical") && !done.text.contains(&ground.id()), "{}", done.text);
        app.registry.settle().await.unwrap();
        assert!(verify(&app.registry, |_| {}).await.unwrap().sound);
    }
    for who in ["hygienist", "physician"] {
        assert_eq!(app.as_role(who).get(&format!("/workers/{}", old.worker)).await.status, 404);
        let found = app.as_role(who).post("/workers/search", &json!({"text": "Marrow"})).await;
        assert_eq!(found.json["items"], json!([]), "{}", found.text);
    }
    let duties = app.as_role("physician").get("/duties").await;
    assert!(!duties.text.contains(&old.worker), "{}", duties.text);
    // Nothing of the name is left in the file.
    if let Some(bytes) = app.bytes_on_disk().await {
        assert!(!bytes.windows(6).any(|part| part == b"Marrow"), "the name stands in the file still");
    }
}

#[tokio::test]
async fn of_a_corrected_fact_the_earlier_version_can_go_and_the_present_one_cannot() {
    let app = TestApp::spawn().await;
    let old = long_ago(&app, "chromium_vi").await;
    let hygienist = app.as_role("hygienist");
    let path = format!("/samples/{}", old.sample);
    let patch = json!({"note": "Said something about a person that is not kept here.", "reason": "A note."});
    let send = |body: Value| {
        let request = hygienist.request("PATCH", &path).header("if-match", "*").json(&body);
        Answer::of(request)
    };
    assert_eq!(send(patch).await.status, 200);
    let version = |revision: i64| {
        json!({"ground": "superseded_content", "because": "It said what is not kept here.",
            "subjects": [{"kind": "version", "id": old.sample, "revision": revision}]})
    };
    assert!(why(&hygienist.post("/disposals", &version(2)).await).contains("correct it first"));
    assert!(why(&hygienist.post("/disposals", &version(9)).await).contains("no earlier version"));
    assert_eq!(send(json!({"note": null, "reason": "Not kept here."})).await.status, 200);
    let id = post(&hygienist, "/disposals", version(2)).await.id();
    let reason = json!({"reason": "Looked through."});
    post(&app.as_role("administrator"), &format!("/disposals/{id}/carrying-out"), reason).await;
    assert_eq!(hygienist.get(&path).await.status, 200);
    let story = hygienist.get(&format!("/journal?subject_id={}", old.sample)).await;
    let images: Vec<bool> =
        story.json["items"].as_array().unwrap().iter().map(|entry| entry.get("image").is_some()).collect();
    assert_eq!(images, [true, false, true], "{}", story.text);
    assert!(!story.text.contains("Said something"), "{}", story.text);
    assert!(verify(&app.registry, |_| {}).await.unwrap().sound);
    // A medical entry is nothing that somebody else could propose.
    let ground = json!({"kind": "recommendation", "on": "1994-03-01", "agent_code": "chromium_vi"});
    let physician = app.as_role("physician");
    let ground = post(&physician, &format!("/workers/{}/medical-grounds", old.worker), ground).await.id();
    let body = json!({"ground": "superseded_content", "because": "A try.",
        "subjects": [{"kind": "version", "id": ground, "revision": 1}]});
    assert!(why(&hygienist.post("/disposals", &body).await).contains("no earlier version"));
}

#[tokio::test]
async fn a_backup_made_after_a_disposal_restores_to_the_same_exports() {
    let app = TestApp::spawn().await;
    let old = long_ago(&app, "chromium_vi").await;
    sampled_again(&app, &old).await;
    let hygienist = app.as_role("hygienist");
    let id = post(&hygienist, "/disposals", of_event(&old.event)).await.id();
    let reason = json!({"reason": "Looked through."});
    post(&app.as_role("administrator"), &format!("/disposals/{id}/carrying-out"), reason).await;
    app.registry.settle().await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    let backup = folder.path().join("b.tar");
    save(&app.registry, &console("test"), &backup, false, |_| {}).await.unwrap();
    for on_sqlite in [true, false] {
        let there = app.restored(&backup, on_sqlite).await;
        for dataset in ["samples", "histories", "duties", "surveillance", "journal"] {
            for format in ["csv", "json"] {
                let path = format!("/exports/{dataset}.{format}");
                let before = app.as_role("corporate").get(&path).await;
                let after = there.as_role("corporate").get(&path).await;
                assert_eq!(before.status, 200, "{path}");
                assert!(
                    !before.text.contains(&old.sample) || dataset == "journal",
                    "{path} tells of what went"
                );
                assert_eq!(before.text, after.text, "{path}");
            }
        }
        let found = verify(&there.registry, |_| {}).await.unwrap();
        assert!(found.sound, "{:?}", found.first_fault);
    }
}
