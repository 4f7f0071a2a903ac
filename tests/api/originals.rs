//! Uploaded files: kept byte for byte, pointed to, read again, let go. People and figures are invented.

use crate::bundles::bundle;
use crate::harness::{Answer, TestApp};
use doseward::registry::backup::save::save;
use doseward::registry::bundle::BundleOf;
use doseward::registry::bundle::write::write;
use doseward::registry::enter_pack::console;
use doseward::registry::originals::reparse::reparse;
use doseward::registry::verify::verify;
use doseward::store::originals;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

/// With a byte order mark, a line end of its own and a blank in a cell: nothing of it may be tidied.
const FILE: &str = "\u{feff}sample_number,agent,comparator,value,unit,reporting_limit,analysed_on\r\n\
    S-1,chromium_vi,, 2.40,ug,0.020,1990-05-20\r\nS-2,18540-29-9,<,0.020,ug,0.020,\r\nS-9,chromium_vi,,1.0,ug,0.020,\r\n";

struct Plant {
    site: String,
    events: [String; 2],
    samples: [String; 2],
}

async fn post(app: &TestApp, path: &str, body: Value) -> Answer {
    let answer = app.as_role("hygienist").post(path, &body).await;
    assert_eq!(answer.status, 201, "{path}: {}", answer.text);
    answer
}

/// Two events of 1990, of one worker each: their years are over.
async fn plant(app: &TestApp) -> Plant {
    let site = app.site("LYN").await;
    let group = app.group(&site, "MELT").await;
    let mut made = Vec::new();
    for n in 1..=2 {
        let person = json!({"employee_number": n.to_string(), "given_name": "Odo", "family_name": format!("Marrow{n}"),
            "employer": "Own works", "hired_on": "1985-01-07", "left_on": "1995-06-30"});
        let worker = post(app, "/workers", person).await.id();
        let event = json!({"reference": format!("1990-{n}"), "sampled_by": "K. Marl", "samples": [{
            "number": format!("S-{n}"), "position": "breathing_zone", "worker_id": worker, "group_id": group,
            "shift_date": "1990-05-14", "agent_codes": ["chromium_vi"], "representative": false,
            "runs": [{"start": "1990-05-14T07:00:00-06:00", "end": "1990-05-14T15:00:00-06:00"}],
            "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}}]});
        let event = post(app, &format!("/sites/{site}/sampling-events"), event).await;
        made.push((event.id(), event.json["samples"][0]["id"].as_str().unwrap().to_owned()));
    }
    let [(first, sample), (second, other)] = <[_; 2]>::try_from(made).unwrap();
    Plant { site, events: [first, second], samples: [sample, other] }
}

async fn send(app: &TestApp, plant: &Plant, number: &str, query: &str, file: &str) -> Answer {
    send_as(app, "hygienist", plant, number, query, file).await
}

async fn send_as(app: &TestApp, who: &str, plant: &Plant, number: &str, query: &str, file: &str) -> Answer {
    let path = format!(
        "/sites/{}/lab-reports?report_number={number}&laboratory=Hollow%20Lane&received_on=1990-06-01{query}",
        plant.site
    );
    app.as_role(who).post_text(&path, "text/csv", file.to_owned()).await
}

/// The file, kept with a report of which one row waits.
async fn kept(app: &TestApp, plant: &Plant) -> Answer {
    let report = send(app, plant, "H-1", "&unmatched=hold", FILE).await;
    assert_eq!(report.status, 201, "{}", report.text);
    app.as_role("hygienist").get(&format!("/lab-reports/{}", report.id())).await
}

async fn files(app: &TestApp) -> i64 {
    let mut tx = app.registry.database.read().await.unwrap();
    originals::count(&mut tx).await.unwrap()
}

fn sha256(text: &str) -> String {
    Sha256::digest(text).iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"))
}

fn result_of<'a>(report: &'a Answer, sample: &str) -> &'a str {
    let samples = report.json["samples"].as_array().unwrap();
    let sample = samples.iter().find(|one| one["id"] == sample).unwrap();
    sample["results"][0]["id"].as_str().unwrap()
}

async fn dispose(app: &TestApp, event: &str) {
    let body = json!({"ground": "retention_over", "subjects": [{"kind": "sampling_event", "id": event}],
        "because": "Nobody needs them any more."});
    app.registry.settle().await.unwrap();
    let id = post(app, "/disposals", body).await.id();
    let path = format!("/disposals/{id}/carrying-out");
    let done = app.as_role("administrator").post(&path, &json!({"reason": "Looked through."})).await;
    assert_eq!(done.status, 201, "{}", done.text);
    app.registry.settle().await.unwrap();
}

#[tokio::test]
async fn a_file_is_kept_byte_for_byte_and_each_result_points_to_its_row_and_columns() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let report = kept(&app, &plant).await;
    let from = &report.json["from_file"];
    assert_eq!(from["sha256"], sha256(FILE));
    assert_eq!((from.get("row"), from["media_type"].as_str()), (None, Some("text/csv")));
    let hygienist = app.as_role("hygienist");
    let original = from["original_id"].as_str().unwrap();
    let file = hygienist.get(&format!("/originals/{original}/file")).await;
    assert_eq!((file.status, file.header("content-type")), (200, "text/csv"));
    assert!(file.header("content-disposition").starts_with("attachment; filename=\"original-"));
    assert_eq!(sha256(&file.text), sha256(FILE), "byte for byte");
    for (n, sample) in plant.samples.iter().enumerate() {
        let result = hygienist.get(&format!("/results/{}", result_of(&report, sample))).await;
        let from = &result.json["from_file"];
        assert_eq!((&from["row"], &from["original_id"]), (&json!(n), &json!(original)), "{}", result.text);
        let columns = from["columns"].as_array().unwrap();
        let of = |field: &str| columns.iter().find(|one| one["field"] == field).map(|one| &one["columns"]);
        assert_eq!(of("mass"), Some(&json!(["comparator", "value", "unit"])));
        assert_eq!(of("analysed_on"), (n == 0).then_some(&json!(["analysed_on"])));
        assert_eq!(of("detection_limit"), None);
    }
    let told = hygienist.get(&format!("/originals/{original}")).await;
    assert_eq!((&told.json["rows"], &told.json["thing_id"]), (&json!(3), &report.json["id"]));
    assert_eq!(told.json["gave"].as_array().unwrap().len(), 3);
    let list = hygienist.get(&format!("/sites/{}/originals", plant.site)).await;
    assert_eq!(list.ids(), [original]);
    assert_eq!(list.json["items"][0].get("gave"), None);
    // The digest stands in the journal, in the entry of the position that brought the results.
    let entry = hygienist.get(&format!("/journal?subject_id={original}")).await;
    let entry = &entry.json["items"][0];
    assert_eq!(entry["image"]["fact"]["sha256"], sha256(FILE), "{entry}");
    assert_eq!(entry["position"], report.json["position"]);
    // What came as JSON over the API is no file.
    assert_eq!(hygienist.get(&format!("/samples/{}", plant.samples[0])).await.json.get("from_file"), None);
}

#[tokio::test]
async fn a_row_that_waited_still_points_to_its_place_when_its_sample_is_found() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let report = kept(&app, &plant).await;
    let held = report.json["held"][0]["id"].as_str().unwrap();
    let sample = json!({"number": "S-9", "position": "area", "shift_date": "1990-05-14", "agent_codes": ["chromium_vi"],
        "location": "melt shop", "runs": [{"start": "1990-05-14T07:00:00-06:00", "end": "1990-05-14T15:00:00-06:00"}],
        "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}});
    post(&app, &format!("/sampling-events/{}/samples", plant.events[0]), sample).await;
    let matched = post(&app, &format!("/held-rows/{held}/match"), json!({"sample_number": "S-9"})).await;
    let result = matched.json["result_id"].as_str().unwrap();
    let result = app.as_role("hygienist").get(&format!("/results/{result}")).await;
    assert_eq!(result.json["from_file"]["row"], 2, "{}", result.text);
    let found = reparse(&app.registry, &console("tester"), |_| {}).await.unwrap();
    assert_eq!((found.read, found.differences), (1, Vec::new()));
}

#[tokio::test]
async fn the_same_bytes_are_kept_once_and_what_is_refused_or_tried_leaves_nothing() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let one = "sample_number,agent,value,unit,reporting_limit\nS-7,lead,1,ug,0.1\n";
    assert_eq!(send(&app, &plant, "H-1", "", one).await.status, 422);
    assert_eq!(send(&app, &plant, "H-1", "&unmatched=hold&dry_run=true", one).await.status, 200);
    assert_eq!(files(&app).await, 0);
    for number in ["H-1", "H-2"] {
        assert_eq!(send(&app, &plant, number, "&unmatched=hold", one).await.status, 201);
    }
    assert_eq!(send(&app, &plant, "H-2", "&unmatched=hold", one).await.status, 409);
    assert_eq!(files(&app).await, 1);
    let list = app.as_role("hygienist").get(&format!("/sites/{}/originals", plant.site)).await;
    assert_eq!(list.ids().len(), 2);
    let found = verify(&app.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
    assert_eq!(found.originals.files, 1);
}

#[tokio::test]
async fn whoever_may_not_see_the_site_or_samples_does_not_see_the_file() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let report = kept(&app, &plant).await;
    let path = format!("/originals/{}/file", report.json["from_file"]["original_id"].as_str().unwrap());
    let elsewhere = app.site("BRK").await;
    app.add_account_on("elsewhere", "coordinator", &[&elsewhere]).await;
    assert_eq!(app.as_role("elsewhere").get(&path).await.status, 404);
    assert_eq!(app.as_role("administrator").get(&path).await.status, 403);
    assert_eq!(app.as_role("physician").get(&path).await.status, 200);
}

#[tokio::test]
async fn the_proof_finds_a_file_that_was_changed_lost_or_slipped_in() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let report = kept(&app, &plant).await;
    let digest: [u8; 32] = Sha256::digest(FILE).into();
    let position = report.json["position"].as_i64().unwrap();
    let fault = async || verify(&app.registry, |_| {}).await.unwrap().first_fault;
    assert_eq!(fault().await, None);
    for (bytes, position, what) in [
        (Some(("2.40", "2.41")), position, "are not those that were uploaded"),
        (None, position, "is missing"),
    ] {
        let mut tx = app.registry.database.write().await.unwrap();
        originals::remove(&mut tx, &digest).await.unwrap();
        if let Some((was, is)) = bytes {
            originals::put(&mut tx, digest, FILE.replace(was, is).as_bytes()).await.unwrap();
        }
        tx.commit().await.unwrap();
        let fault = fault().await.unwrap();
        assert!(fault.position == position && fault.what.contains(what), "{fault:?}");
    }
    let mut tx = app.registry.database.write().await.unwrap();
    originals::put(&mut tx, digest, FILE.as_bytes()).await.unwrap();
    originals::put(&mut tx, Sha256::digest("slipped in").into(), b"slipped in").await.unwrap();
    tx.commit().await.unwrap();
    assert!(fault().await.unwrap().what.contains("no entry of the journal names"));
}

#[tokio::test]
async fn a_file_is_closed_when_part_of_it_is_disposed_of_and_goes_with_the_rest() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let file = FILE.lines().take(3).collect::<Vec<_>>().join("\r\n");
    let report = send(&app, &plant, "H-1", "", &file).await;
    let report = app.as_role("hygienist").get(&format!("/lab-reports/{}", report.id())).await;
    let path = format!("/originals/{}/file", report.json["from_file"]["original_id"].as_str().unwrap());
    dispose(&app, &plant.events[0]).await;
    let closed = app.as_role("hygienist").get(&path).await;
    assert!(closed.status == 409 && closed.text.contains("closed"), "{}", closed.text);
    assert_eq!(files(&app).await, 1, "the other row is to be kept");
    assert!(verify(&app.registry, |_| {}).await.unwrap().sound);
    let found = reparse(&app.registry, &console("tester"), |_| {}).await.unwrap();
    assert_eq!((found.read, found.closed), (0, 1));
    dispose(&app, &plant.events[1]).await;
    assert_eq!(files(&app).await, 0);
    let gone = app.as_role("hygienist").get(&path).await;
    assert!(gone.status == 409 && gone.text.contains("with it"), "{}", gone.text);
    let found = verify(&app.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
    if let Some(bytes) = app.bytes_on_disk().await {
        assert!(!bytes.windows(9).any(|part| part == b"S-2,18540"), "the row stands in the file");
    }
}

/// All that a bundle of everything holds, and a registry that took it over.
async fn handed_over(app: &TestApp) -> (String, TestApp) {
    app.registry.settle().await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    let (path, bytes) = bundle(app, BundleOf::All, folder.path()).await;
    (String::from_utf8_lossy(&bytes).into_owned(), app.took_over(&path).await)
}

#[tokio::test]
async fn a_file_that_is_closed_is_handed_over_to_nobody_and_its_absence_is_known() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let file = FILE.lines().take(3).collect::<Vec<_>>().join("\r\n");
    send(&app, &plant, "H-1", "", &file).await.id();
    assert!(
        handed_over(&app).await.0.contains("18540-29-9,<,0.020"),
        "as long as nothing of it was disposed of"
    );
    dispose(&app, &plant.events[0]).await;
    let (bundle, there) = handed_over(&app).await;
    assert!(!bundle.contains("18540-29-9,<,0.020"), "the file lies in the bundle");
    assert!(bundle.contains("files_left_out") && bundle.contains(&sha256(&file)));
    assert_eq!(files(&there).await, 0);
    let found = verify(&there.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
    // Whoever takes it over from there misses the same.
    let (_, third) = handed_over(&there).await;
    assert!(verify(&third.registry, |_| {}).await.unwrap().sound);
    // Another file that is lost is a fault there as anywhere, and is in no bundle in silence.
    there.add_account("successor", json!([{"role": "hygienist"}])).await;
    let later = "sample_number,agent,value,unit,reporting_limit\nS-9,lead,1,ug,0.1\n";
    send_as(&there, "successor", &plant, "H-3", "&unmatched=hold", later).await.id();
    let mut tx = there.registry.database.write().await.unwrap();
    originals::remove(&mut tx, &Sha256::digest(later)).await.unwrap();
    tx.commit().await.unwrap();
    assert!(verify(&there.registry, |_| {}).await.unwrap().first_fault.unwrap().what.contains("is missing"));
    let refused = write(&there.registry, &console("test"), BundleOf::All, None, Vec::new(), |_| {}).await;
    assert!(format!("{:?}", refused.map(drop).unwrap_err()).contains("is missing"));
}

#[tokio::test]
async fn a_row_that_waited_goes_with_the_result_that_it_became() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let file = "sample_number,agent,value,unit,reporting_limit\nS-9,chromium_vi,7391.5,ug,0.020\nS-8,lead,1,ug,0.1\n";
    let report = send(&app, &plant, "H-1", "&unmatched=hold", file).await;
    let sample = json!({"number": "S-9", "position": "area", "shift_date": "1990-05-14", "agent_codes": ["chromium_vi"],
        "location": "melt shop", "runs": [{"start": "1990-05-14T07:00:00-06:00", "end": "1990-05-14T15:00:00-06:00"}],
        "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}});
    post(&app, &format!("/sampling-events/{}/samples", plant.events[0]), sample).await;
    let held = report.json["held"].as_array().unwrap();
    let held: Vec<&str> = held.iter().map(|row| row["id"].as_str().unwrap()).collect();
    post(&app, &format!("/held-rows/{}/match", held[0]), json!({"sample_number": "S-9"})).await;
    dispose(&app, &plant.events[0]).await;
    let journal = app.as_role("hygienist").get(&format!("/journal?subject_id={}", held[0])).await;
    assert_eq!(journal.json["items"].as_array().unwrap().len(), 2, "held, and matched");
    assert!(!journal.text.contains("7391.5"), "{}", journal.text);
    let other = app.as_role("hygienist").get(&format!("/journal?subject_id={}", held[1])).await;
    assert!(other.text.contains("S-8"), "what waits still is no part of it: {}", other.text);
    let found = verify(&app.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
    assert!(!handed_over(&app).await.0.contains("7391.5"), "the file is closed too");
    if let Some(bytes) = app.bytes_on_disk().await {
        let file = b"S-9,chromium_vi,7391.5";
        let rest: Vec<u8> =
            bytes.windows(file.len()).filter(|part| part == file).flatten().copied().collect();
        assert_eq!(rest.len(), file.len(), "in the closed file alone, which is kept for its other row");
    }
}

#[tokio::test]
async fn a_restored_registry_hands_out_the_same_file() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let report = kept(&app, &plant).await;
    app.registry.settle().await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    let backup = folder.path().join("b.tar");
    save(&app.registry, &console("tester"), &backup, false, |_| {}).await.unwrap();
    let there = app.restored(&backup, true).await;
    let path = format!("/originals/{}/file", report.json["from_file"]["original_id"].as_str().unwrap());
    let file = there.as_role("hygienist").get(&path).await;
    assert_eq!(sha256(&file.text), sha256(FILE));
    let found = verify(&there.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
    assert_eq!(found.originals.files, 1);
}
