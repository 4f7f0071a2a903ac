//! What a bundle promises, each promise with a test that fails where nobody keeps it. People and figures are invented.

use crate::bundles::{FILE, Plant, bundle, bundle_as_known_on, id, plant};
use crate::harness::TestApp;
use doseward::model::identifiers::{SiteId, WorkerId};
use doseward::registry::anchor::key::PrivateKey;
use doseward::registry::bundle::{Bundle, BundleOf};
use doseward::registry::enter_pack::console;
use doseward::registry::verify::verify;
use doseward::store::access_log::{head, placed};
use doseward::store::journal;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use std::collections::BTreeSet;
use std::ops::Range;

/// Where the content of a member lies in a tar archive (POSIX 1003.1, ustar: name at 0, size in octal at 124, blocks of 512).
fn member(bytes: &[u8], name: &str) -> Range<usize> {
    let mut at = 0;
    loop {
        let text = |range: Range<usize>| -> &str {
            let field = &bytes[at + range.start..at + range.end];
            std::str::from_utf8(field).unwrap().trim_end_matches(['\0', ' '])
        };
        let size = usize::from_str_radix(text(124..136), 8).unwrap();
        let content = at + 512..at + 512 + size;
        if text(0..100) == name {
            return content;
        }
        at = content.end.next_multiple_of(512);
    }
}

fn text<'b>(bytes: &'b [u8], name: &str) -> &'b str {
    std::str::from_utf8(&bytes[member(bytes, name)]).unwrap()
}

fn manifest(bytes: &[u8]) -> Value {
    serde_json::from_str(text(bytes, "manifest.json")).unwrap()
}

fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"))
}

/// The same bundle, its manifest altered and everything signed anew by a stranger: every checksum fits.
fn forged(bytes: &[u8], from: &str, to: &str) -> Vec<u8> {
    assert_eq!(from.len(), to.len());
    let stranger = PrivateKey::from_bytes(&[7; 32]);
    let mut forged = bytes.to_vec();
    let mut put = |name: &str, content: &[u8]| {
        let range = member(bytes, name);
        assert_eq!(range.len(), content.len(), "{name}");
        forged[range].copy_from_slice(content);
    };
    let manifest = text(bytes, "manifest.json").replacen(from, to, 1);
    assert_ne!(manifest, text(bytes, "manifest.json"), "{from}");
    let key = stranger.public().to_pem();
    // The key stands in the manifest too.
    let own = text(bytes, "public-key.pem");
    let manifest = manifest.replace(&sha256(own.as_bytes()), &sha256(key.as_bytes()));
    let sums = text(bytes, "SHA256SUMS")
        .replace(&sha256(own.as_bytes()), &sha256(key.as_bytes()))
        .replace(&sha256(text(bytes, "manifest.json").as_bytes()), &sha256(manifest.as_bytes()));
    put("manifest.json", manifest.as_bytes());
    put("public-key.pem", key.as_bytes());
    put("SHA256SUMS", sums.as_bytes());
    put("SHA256SUMS.sig", &stranger.sign(sums.as_bytes()));
    forged
}

/// Another number of as many digits.
fn other(number: i64) -> String {
    let text = number.to_string();
    let (rest, last) = text.split_at(text.len() - 1);
    format!("{rest}{}", if last == "5" { "6" } else { "5" })
}

fn of_site(plant: &Plant) -> BundleOf {
    BundleOf::Site(SiteId(id(&plant.here)))
}

#[tokio::test]
async fn a_journal_that_does_not_end_as_the_manifest_says_leaves_the_registry_empty() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let folder = tempfile::tempdir().unwrap();
    let (path, bytes) = bundle(&app, of_site(&plant), folder.path()).await;
    for field in ["entries", "last_position"] {
        let number = manifest(&bytes)[field].as_i64().unwrap();
        let (from, to) = (format!("\"{field}\": {number},"), format!("\"{field}\": {},", other(number)));
        std::fs::write(&path, forged(&bytes, &from, &to)).unwrap();
        let (empty, _database) = app.empty().await;
        let refused = Bundle::open(&path, None).unwrap().take_over(&empty, &console("test"), |_| {}).await;
        let told = refused.unwrap_err().to_string();
        assert!(told.contains("the journal in the bundle ends at position"), "{field}: {told}");
        let mut tx = empty.database.read().await.unwrap();
        assert_eq!(journal::count(&mut tx).await.unwrap(), 0);
    }
}

#[tokio::test]
async fn a_download_leaves_its_line_and_nothing_on_the_disk_and_is_the_bundle() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let folder = tempfile::tempdir().unwrap();
    for (path, worker, scope, workers) in [
        (format!("/sites/{}/bundle.tar", plant.here), None, Some(format!("site {}", plant.here)), 2),
        (format!("/workers/{}/bundle.tar", plant.across), Some(WorkerId(id(&plant.across))), None, 1),
    ] {
        let mut tx = app.registry.database.read().await.unwrap();
        let (before, _) = head(&mut tx).await.unwrap();
        drop(tx);
        let answer = app.as_role("corporate").request("GET", &path).send().await.unwrap();
        assert_eq!(answer.status(), 200);
        let bytes = answer.bytes().await.unwrap();
        let file = folder.path().join("downloaded.tar");
        std::fs::write(&file, &bytes).unwrap();
        assert!(Bundle::open(&file, None).is_ok(), "{path}");
        let mut tx = app.registry.database.read().await.unwrap();
        let lines = placed(&mut tx, before, 100).await.unwrap();
        let [line] = &lines[..] else { panic!("{path} left {} lines", lines.len()) };
        assert!(line.line.request.ends_with("/bundle.tar"), "{}", line.line.request);
        let told = (line.line.worker, line.line.scope.as_ref(), line.line.workers);
        assert_eq!(told, (worker, scope.as_ref(), workers), "{path}");
    }
    let own = format!("doseward-bundle-{}-", std::process::id());
    let left = std::fs::read_dir(std::env::temp_dir()).unwrap().filter_map(Result::ok);
    assert_eq!(left.filter(|one| one.file_name().to_string_lossy().starts_with(&own)).count(), 0);
}

#[tokio::test]
async fn a_file_that_was_sent_twice_lies_in_a_bundle_once() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let path = format!(
        "/sites/{}/lab-reports?unmatched=hold&report_number=H-2&laboratory=Hollow%20Lane&received_on=2026-02-27",
        plant.here
    );
    let again = app.as_role("hygienist").post_text(&path, "text/csv", FILE).await;
    assert_eq!(again.status, 201, "{}", again.text);
    let folder = tempfile::tempdir().unwrap();
    let (_, bytes) = bundle(&app, of_site(&plant), folder.path()).await;
    let files = manifest(&bytes)["files"].as_array().unwrap().clone();
    let originals: Vec<&str> =
        files.iter().filter_map(|file| file["name"].as_str()?.strip_prefix("originals/")).collect();
    assert_eq!(originals, [format!("{}.csv", sha256(FILE.as_bytes()))]);
    assert_eq!(text(&bytes, "data/original.csv").lines().count(), 3, "the heading and two facts");
}

#[tokio::test]
async fn a_bundle_as_known_on_a_day_holds_what_was_known_then() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let then = app.registry.clock.now();
    let hygienist = app.as_role("hygienist");
    let group = json!({"code": "YOUNGER", "title": "Later than the bundle"});
    hygienist.post(&format!("/sites/{}/groups", plant.here), &group).await.id();
    let read = hygienist.get(&format!("/workers/{}", plant.of_here)).await;
    let rename = json!({"family_name": "Younger", "reason": "Misspelt."});
    let patch = hygienist.request("PATCH", &format!("/workers/{}", plant.of_here));
    let renamed = patch.header("if-match", read.header("etag")).json(&rename).send().await.unwrap();
    assert_eq!(renamed.status(), 200);
    let folder = tempfile::tempdir().unwrap();
    let (path, bytes) = bundle_as_known_on(&app, BundleOf::All, Some(then), folder.path()).await;
    let told = manifest(&bytes);
    let instant = told["as_known_on"].as_str().unwrap().parse::<chrono::DateTime<chrono::Utc>>().unwrap();
    assert_eq!(instant, then);
    assert!(told["last_position"].as_i64() <= told["position"].as_i64());
    let everything = String::from_utf8_lossy(&bytes);
    assert!(
        everything.contains("LATER") && !everything.contains("YOUNGER") && !everything.contains("Younger")
    );
    // Over HTTP the same, but for when it was written.
    let query = format!("?as_known_on={}", then.to_rfc3339().replace('+', "%2B"));
    let asked = format!("/sites/{}/bundle.tar{query}", plant.here);
    let sent = app.as_role("corporate").request("GET", &asked).send().await.unwrap().bytes().await.unwrap();
    assert_eq!(manifest(&sent)["as_known_on"], told["as_known_on"]);
    assert!(!String::from_utf8_lossy(&sent).contains("Younger"));
    assert_eq!(app.as_role("corporate").get(&asked.replace(&query, "?as_known_on=then")).await.status, 422);
    // Taken over, it answers as the registry does that is asked what it knew then.
    let there = app.took_over(&path).await;
    there.add_account("successor", json!([{"role": "hygienist"}])).await;
    for dataset in ["samples", "histories", "duties"] {
        let asked = format!("/exports/{dataset}.csv{query}");
        let (before, after) = (hygienist.get(&asked).await, there.as_role("successor").get(&asked).await);
        assert_eq!((before.status, &before.text), (200, &after.text), "{dataset}");
        assert!(before.text.lines().count() > 1, "{dataset}");
    }
    assert!(verify(&there.registry, |_| {}).await.unwrap().sound);
}

/// The columns that the manifest names: a duty that may rest on more than was handed over is raised anew.
const RAISED_ANEW: [&str; 9] =
    ["duty_id", "learned_on", "due_on", "status", "days_late", "clause", "withdrawn", "flags", "words"];

#[tokio::test]
async fn the_duties_of_a_site_differ_at_the_successor_only_where_the_manifest_says() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let folder = tempfile::tempdir().unwrap();
    let (path, bytes) = bundle(&app, of_site(&plant), folder.path()).await;
    let there = app.took_over(&path).await;
    for app in [&app, &there] {
        app.add_account_on("of_site", "hygienist", &[&plant.here]).await;
        app.registry.settle().await.unwrap();
    }
    let said = manifest(&bytes)["not_carried"].to_string();
    for column in RAISED_ANEW.iter().chain(&["last_action"]) {
        assert!(said.contains(column), "{column}: {said}");
    }
    let rows = async |app: &TestApp| -> Vec<Value> {
        let answer = app.as_role("of_site").get("/exports/duties.json").await;
        answer.json.as_array().unwrap().clone()
    };
    let (before, after) = (rows(&app).await, rows(&there).await);
    let about = |row: &Value, worker: &str| row["worker_id"] == worker;
    // Of whoever was here alone, and of groups and the site, every column; but for what rests on a ground.
    let carried = |rows: &[Value]| -> BTreeSet<String> {
        let own = rows.iter().filter(|row| !about(row, &plant.across));
        own.filter(|row| row["trigger_id"] != Value::Null).map(ToString::to_string).collect()
    };
    assert!(!carried(&before).is_empty());
    assert_eq!(carried(&before), carried(&after));
    let key = |row: &Value| ["kind", "agent_code", "authority", "trigger_id"].map(|name| row[name].clone());
    let mut matched = 0;
    for row in after.iter().filter(|row| about(row, &plant.across)) {
        let same = before.iter().find(|one| about(one, &plant.across) && key(one) == key(row));
        let Some(same) = same else { continue };
        matched += 1;
        for (column, value) in row.as_object().unwrap() {
            assert!(
                same[column] == *value || RAISED_ANEW.contains(&column.as_str()),
                "{column}: {row} {same}"
            );
        }
    }
    assert!(matched > 0, "{after:#?}");
    let of_worker = bundle(&app, BundleOf::Worker(WorkerId(id(&plant.across))), folder.path()).await.1;
    assert!(manifest(&of_worker)["not_carried"].to_string().contains("not to be taken over"));
}
