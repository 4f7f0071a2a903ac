//! A registry with a thing of every kind in it, backed up while others write, and restored elsewhere: every answer is the
//! same, to the byte.

use crate::corrections::patched;
use crate::harness::{Client, TestApp};
use crate::medical::{compared, read_everything, record_ground};
use crate::things::{Things, record_one_of_each};
use doseward::registry::backup::save::{Saved, save};
use doseward::registry::enter_pack::console;
use doseward::registry::verify::verify;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

const EXPORTS: [&str; 7] = [
    "/exports/samples.csv",
    "/exports/surveillance.csv",
    "/exports/duties.csv",
    "/exports/samples.json",
    "/exports/surveillance.json",
    "/exports/duties.json",
    "/exports/surveillance.fhir.json",
];

/// Corrects, voids, takes a voiding back, writes letters, and asks for an anchor, for which the signing key is made.
async fn live_on(app: &TestApp, things: &Things) {
    let hygienist = app.as_role("hygienist");
    for (kind, what, patch) in [
        ("sites/groups", "groups", json!({"title": "Renamed", "reason": "A slip of the pen."})),
        ("workers", "workers", json!({"given_name": "Ilka", "reason": "Spelt wrongly."})),
    ] {
        let path = format!("/{what}/{}", things.id(kind));
        let tag = hygienist.get(&path).await.header("etag").to_owned();
        let answer = patched(app, "hygienist", &path, Some(&tag), &patch).await;
        assert_eq!(answer.status, 200, "{path}: {}", answer.text);
    }
    let voiding = json!({"reason": "Entered by mistake."});
    for (kind, what) in [("workers/absences", "absences"), ("sites/holidays", "holidays")] {
        hygienist.post(&format!("/{what}/{}/voiding", things.id(kind)), &voiding).await.id();
    }
    let back = format!("/holidays/{}/voiding-withdrawal", things.id("sites/holidays"));
    hygienist.post(&back, &json!({"reason": "It was right."})).await.id();
    record_ground(app, things.id("workers")).await;
    let event = things.id("sites/sampling-events");
    let agent = hygienist.get(&format!("/sampling-events/{event}")).await.json["samples"][0]["results"][0]
        ["agent_code"]
        .clone();
    let letters =
        hygienist.post(&format!("/sampling-events/{event}/letters"), &json!({"agent_code": agent})).await;
    assert_eq!(letters.status, 201, "{}", letters.text);
    assert!(!letters.json["letters"].as_array().unwrap().is_empty(), "{}", letters.text);
    assert_eq!(hygienist.get("/anchor").await.status, 200);
}

/// A request under a key of its own.
async fn keyed(who: &Client<'_>, site: &str) -> String {
    let body = json!({"code": "KEYED", "title": "Under a key"});
    let answer = who.post_with_key(&format!("/sites/{site}/groups"), "once-and-for-all", &body).await;
    assert_eq!(answer.status, 201, "{}", answer.text);
    answer.text
}

async fn backed_up(app: &TestApp, path: &Path) -> Saved {
    save(&app.registry, &console("test"), path, false, |_| {}).await.unwrap()
}

/// Every answer to whoever sees the most, and what the journal's proof says.
async fn told(app: &TestApp, things: &Things) -> BTreeMap<String, String> {
    let mut told = BTreeMap::new();
    for who in ["hygienist", "physician"] {
        let client = app.as_role(who);
        for (path, text) in read_everything(&client, things).await {
            told.insert(format!("{who} {path}"), compared(&path, &text));
        }
        for path in EXPORTS {
            let answer = client.get(path).await;
            assert_eq!(answer.status, 200, "{who} {path}: {}", answer.text);
            told.insert(format!("{who} {path}"), answer.text);
        }
    }
    let proof = app.as_role("hygienist").post("/journal/verification", &json!({})).await;
    assert_eq!((proof.status, &proof.json["sound"]), (200, &json!(true)), "{}", proof.text);
    // The access log tells what this test has read meanwhile.
    let mut proof = proof.json;
    proof.as_object_mut().unwrap().remove("access_log");
    told.insert("proof".into(), proof.to_string());
    told
}

/// The files in a backup, unpacked by the tools that everybody has.
fn unpacked(backup: &Path) -> BTreeMap<String, Vec<u8>> {
    let folder = tempfile::tempdir().unwrap();
    let tar = Command::new("tar").arg("-xf").arg(backup).current_dir(folder.path()).status().unwrap();
    assert!(tar.success());
    let files = std::fs::read_dir(folder.path()).unwrap().map(|file| file.unwrap());
    files.map(|file| (file.file_name().into_string().unwrap(), std::fs::read(file.path()).unwrap())).collect()
}

/// The chunks alone: what a registry is, without when and where it was backed up.
fn chunks(backup: &Path) -> BTreeMap<String, Vec<u8>> {
    unpacked(backup).into_iter().filter(|(name, _)| name.contains(".jsonl")).collect()
}

/// The journal's entries up to a position, as the physician reads them.
async fn entries(app: &TestApp, last: i64) -> Vec<Value> {
    let physician = app.as_role("physician");
    let (mut all, mut path) = (Vec::new(), "/journal?limit=500".to_owned());
    loop {
        let page = physician.get(&path).await.json;
        let items = page["items"].as_array().unwrap();
        all.extend(items.iter().filter(|item| item["position"].as_i64().unwrap() <= last).cloned());
        let Some(next) = page["next"].as_str() else { return all };
        path = format!("/journal?limit=500&after={next}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn restored_elsewhere_a_registry_gives_every_answer_again_to_the_byte() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| -> PathBuf { folder.path().join(name) };
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    live_on(&app, &things).await;
    let first_answer = keyed(&app.as_role("hygienist"), things.id("sites")).await;
    app.registry.settle().await.unwrap();
    let saved = backed_up(&app, &file("first.tar")).await;
    assert!(saved.rows > 6, "secrets, first answers, access log: {}", saved.rows);
    let told_here = told(&app, &things).await;

    // First on SQLite, then on whichever engine the tests run on.
    let there = app.restored(&file("first.tar"), true).await;
    backed_up(&there, &file("second.tar")).await;
    let back = there.restored(&file("second.tar"), false).await;
    backed_up(&back, &file("third.tar")).await;
    let (first, second, third) =
        (chunks(&file("first.tar")), chunks(&file("second.tar")), chunks(&file("third.tar")));
    assert!(first.len() >= 4, "{:?}", first.keys());
    assert!(first == second && second == third, "what is backed up again is what was restored, to the byte");
    for restored in [&there, &back] {
        let told_there = told(restored, &things).await;
        assert_eq!(told_here.keys().collect::<Vec<_>>(), told_there.keys().collect::<Vec<_>>());
        for (asked, answer) in &told_here {
            assert_eq!(*answer, told_there[asked], "{asked}");
        }
        // Whoever did not hear the answer asks again under the same key.
        assert_eq!(keyed(&restored.as_role("hygienist"), things.id("sites")).await, first_answer);
        // And life goes on.
        restored.group(things.id("sites"), "LATER").await;
        assert!(verify(&restored.registry, |_| {}).await.unwrap().sound);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_backup_made_while_others_write_is_one_moment_of_the_registry() {
    let folder = tempfile::tempdir().unwrap();
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    let writer = app.as_role("hygienist");
    let path = format!("/sites/{site}/groups");
    let mut written = 0;
    let backup = folder.path().join("b.tar");
    let saving = backed_up(&app, &backup);
    let mut saving = std::pin::pin!(saving);
    let saved = loop {
        let body = json!({"code": format!("W{written}"), "title": "Written meanwhile"});
        let writing = async {
            writer.post(&path, &body).await.id();
        };
        // Both go on at once; the backup is never told to wait.
        tokio::select! {
            biased;
            saved = &mut saving => break saved,
            () = writing => written += 1,
        }
    };
    // The registry has moved on, and the backup is a moment of its past.
    app.group(&site, "AFTER").await;
    let there = app.restored(&backup, true).await;
    let (before, after) = (entries(&app, saved.position).await, entries(&there, i64::MAX).await);
    println!("{written} groups were written meanwhile, the backup ends at position {}", saved.position);
    assert!(written > 0);
    assert_eq!(before, after);
    assert!(verify(&there.registry, |_| {}).await.unwrap().sound);
}
