//! Records handed over in a signed bundle and taken over by a new registry. People and figures are invented.

use crate::harness::TestApp;
use crate::overview::{Shop, micrograms};
use chrono::{DateTime, Utc};
use doseward::model::identifiers::{SiteId, WorkerId};
use doseward::registry::anchor::key::{PrivateKey, PublicKey};
use doseward::registry::bundle::{Bundle, BundleOf, write::write};
use doseward::registry::enter_pack::console;
use doseward::registry::refusal::Refusal;
use doseward::registry::verify::verify;
use doseward::store::backend::Database;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use uuid::Uuid;

pub(crate) const FILE: &str =
    "sample_number,agent,value,unit,reporting_limit\nS-9,chromium_vi,2.40,ug,0.02\n";

/// Two sites; a worker of each, one of both, a physician's ground, an uploaded file at each site.
pub(crate) struct Plant {
    pub(crate) here: String,
    there: String,
    pub(crate) of_here: String,
    of_there: String,
    pub(crate) across: String,
    ground: String,
}

pub(crate) async fn plant(app: &TestApp) -> Plant {
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    let mut shop = Shop { app, here: here.clone(), there: there.clone(), events: 0 };
    let (hot, melt) = (shop.group(&here, "HOT").await, shop.group(&there, "MELTSHOP").await);
    let (of_here, across) = (shop.worker("W-1").await, shop.worker("W-3").await);
    let person = json!({"employee_number": "W-2", "given_name": "Odo", "family_name": "Elsewhere",
        "employer": "Own works", "hired_on": "2026-02-02"});
    let of_there = shop.post("/workers", person).await.id();
    for (worker, group, shifts) in
        [(&of_here, &hot, 5.0), (&of_there, &melt, 5.0), (&across, &hot, 3.0), (&across, &melt, 2.0)]
    {
        shop.assign(worker, group, "2026-02-02", shifts).await;
    }
    let earlier = json!({"employer": "Before works", "agent_code": "lead", "from": "2001-01-01", "to": "2002-01-01",
        "source": "His word"});
    shop.post(&format!("/workers/{across}/earlier-exposures"), earlier).await;
    let sample = |worker: &str, group: &str| json!({"position": "breathing_zone", "worker_id": worker, "group_id": group});
    shop.measured(sample(&of_here, &hot), "2026-02-24", micrograms(6.0)).await;
    shop.measured(sample(&across, &hot), "2026-02-25", micrograms(4.0)).await;
    let ground = json!({"kind": "recommendation", "on": "2026-02-02", "agent_code": "chromium_vi"});
    let path = format!("/workers/{of_here}/medical-grounds");
    let ground = app.as_role("physician").post(&path, &ground).await.id();
    let mut elsewhere = Shop { app, here: there.clone(), there: here.clone(), events: 40 };
    elsewhere.measured(sample(&of_there, &melt), "2026-02-24", micrograms(7.0)).await;
    for (site, file) in [(&here, FILE.to_owned()), (&there, FILE.replace("2.40", "7391.5"))] {
        let path = format!(
            "/sites/{site}/lab-reports?unmatched=hold&report_number=H-1&laboratory=Hollow%20Lane&received_on=2026-02-27"
        );
        let answer = app.as_role("hygienist").post_text(&path, "text/csv", file).await;
        assert_eq!(answer.status, 201, "{}", answer.text);
    }
    // Something of both sites follows the ground, so that leaving it out leaves a gap; and the holiday stands before one.
    app.registry.settle().await.unwrap();
    let holiday = json!({"date": "2026-07-03", "name": "Independence Day, observed"});
    shop.post(&format!("/sites/{here}/holidays"), holiday.clone()).await;
    shop.post(&format!("/sites/{there}/holidays"), holiday).await;
    shop.post(&format!("/sites/{here}/groups"), json!({"code": "LATER", "title": "Later"})).await;
    app.registry.settle().await.unwrap();
    Plant { here, there, of_here, of_there, across, ground }
}

pub(crate) fn id(text: &str) -> Uuid {
    text.parse().unwrap()
}

/// A bundle in a file, and its bytes.
pub(crate) async fn bundle(app: &TestApp, of: BundleOf, folder: &Path) -> (PathBuf, Vec<u8>) {
    bundle_as_known_on(app, of, None, folder).await
}

/// The same of what was known at an instant.
pub(crate) async fn bundle_as_known_on(
    app: &TestApp,
    of: BundleOf,
    then: Option<DateTime<Utc>>,
    folder: &Path,
) -> (PathBuf, Vec<u8>) {
    let (_, bytes) = write(&app.registry, &console("test"), of, then, Vec::new(), |_| {}).await.unwrap();
    let path = folder.join(format!("{}.tar", of.to_string().replace(' ', "-")));
    std::fs::write(&path, &bytes).unwrap();
    (path, bytes)
}

fn holds(bytes: &[u8], text: &str) -> bool {
    bytes.windows(text.len()).any(|part| part == text.as_bytes())
}

async fn csv(app: &TestApp, role: &str, dataset: &str, query: &str) -> Vec<String> {
    app.registry.settle().await.unwrap();
    let answer = app.as_role(role).get(&format!("/exports/{dataset}.csv{query}")).await;
    assert_eq!(answer.status, 200, "{dataset}: {}", answer.text);
    answer.text.lines().map(str::to_owned).collect()
}

#[tokio::test]
async fn the_bundle_of_all_taken_over_gives_the_same_exports_to_the_byte() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let folder = tempfile::tempdir().unwrap();
    let (path, bytes) = bundle(&app, BundleOf::All, folder.path()).await;
    assert!(!holds(&bytes, &plant.ground) && !holds(&bytes, "\"chain\":\"medical\""));
    assert!(holds(&bytes, FILE), "the file is in it as it came");
    let there = app.took_over(&path).await;
    there.add_account("successor", json!([{"role": "hygienist"}])).await;
    let early = "?as_known_on=2026-03-02T12:01:01Z";
    for dataset in ["samples", "histories", "duties"] {
        for query in ["", early] {
            let before = csv(&app, "hygienist", dataset, query).await;
            assert_eq!(csv(&there, "successor", dataset, query).await, before, "{dataset}{query}");
            assert!(query == early || before.len() > 1, "{dataset} has rows");
        }
    }
    let found = verify(&there.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
    assert_eq!(found.originals.files, 2);
    // What was taken over says so, in an entry of its own.
    let journal = there.as_role("successor").get("/journal?limit=500").await;
    assert!(journal.json["items"].as_array().unwrap().iter().all(|entry| entry["chain"] != "medical"));
    // Not into a registry that holds something.
    let again = Bundle::open(&path, None).unwrap().take_over(&there.registry, &console("test"), |_| {}).await;
    assert!(again.unwrap_err().to_string().contains("into an empty one"));
}

#[tokio::test]
async fn a_sites_bundle_holds_the_site_and_nothing_of_elsewhere_and_is_taken_over() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let folder = tempfile::tempdir().unwrap();
    let (path, bytes) = bundle(&app, BundleOf::Site(SiteId(id(&plant.here))), folder.path()).await;
    for own in [&plant.here, &plant.of_here, &plant.across, "S-1", "HOT", FILE] {
        assert!(holds(&bytes, own), "{own}");
    }
    let elsewhere = [
        &plant.there,
        &plant.of_there,
        &plant.ground,
        "Elsewhere",
        "MELTSHOP",
        "7391.5",
        "S-41",
        "Before works",
        "\"chain\":\"medical\"",
        "example.org",
    ];
    for text in elsewhere {
        assert!(!holds(&bytes, text), "{text} is in the bundle");
    }
    app.add_account_on("of_site", "hygienist", &[&plant.here]).await;
    let there = app.took_over(&path).await;
    there.add_account_on("of_site", "hygienist", &[&plant.here]).await;
    there.add_account("hygienist", json!([{"role": "hygienist"}])).await;
    for dataset in ["samples", "histories"] {
        let mut before = csv(&app, "of_site", dataset, "").await;
        assert!(before.len() > 1, "{dataset}");
        // That he met lead before stands under his earlier exposures, which are of elsewhere.
        before.retain(|row| !row.contains(",lead,"));
        assert_eq!(csv(&there, "of_site", dataset, "").await, before, "{dataset}");
    }
    // Of whoever was here alone the duties too, as they were written; the others are concluded anew from what is here.
    let duties = async |app: &TestApp| -> Vec<String> {
        let rows = csv(app, "of_site", "duties", "").await;
        rows.into_iter()
            .filter(|row| row.contains(&plant.of_here) && !row.contains("recommendation"))
            .collect()
    };
    let (before, after) = (duties(&app).await, duties(&there).await);
    for row in &after {
        assert!(before.contains(row), "{row}\n{before:#?}");
    }
    assert_eq!(there.as_role("hygienist").get("/sites").await.ids(), [plant.here.as_str()]);
    let found = verify(&there.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
    // The successor works on, and backs up what he took over.
    let sample = json!({"date": "2026-09-07", "name": "Labor Day"});
    let made = there.as_role("hygienist").post(&format!("/sites/{}/holidays", plant.here), &sample).await;
    assert_eq!(made.status, 201, "{}", made.text);
    let backup = folder.path().join("b.tar");
    let saved =
        doseward::registry::backup::save::save(&there.registry, &console("test"), &backup, false, |_| {})
            .await;
    saved.unwrap();
    let restored = there.restored(&backup, true).await;
    let found = verify(&restored.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
}

async fn by_the_back_door(app: &TestApp, sql: &str) {
    let sql = sqlx::AssertSqlSafe(sql.to_owned());
    match &app.registry.database {
        Database::Sqlite(pool) => drop(sqlx::raw_sql(sql).execute(pool).await.unwrap()),
        Database::Postgres(pool) => drop(sqlx::raw_sql(sql).execute(pool).await.unwrap()),
    }
}

#[tokio::test]
async fn what_is_taken_away_afterwards_is_not_hidden_by_the_gaps() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let folder = tempfile::tempdir().unwrap();
    let (path, _) = bundle(&app, BundleOf::Site(SiteId(id(&plant.here))), folder.path()).await;
    let there = app.took_over(&path).await;
    let fault = async || verify(&there.registry, |_| {}).await.unwrap().first_fault.map(|fault| fault.what);
    assert_eq!(fault().await, None);
    // A gap that was not handed over.
    by_the_back_door(&there, "INSERT INTO journal_gap VALUES (1, 7)").await;
    assert!(fault().await.unwrap().contains("leaves something out that was not left out"));
    by_the_back_door(&there, "DELETE FROM journal_gap WHERE position = 1 AND ordinal = 7").await;
    assert_eq!(fault().await, None);
    // The holiday stood before a gap: taken away with its version, the chain alone would not show it.
    by_the_back_door(&there, "DELETE FROM holiday").await;
    by_the_back_door(&there, "DELETE FROM journal_entry WHERE kind = 'holiday'").await;
    let fault = fault().await.unwrap();
    assert!(fault.contains("entries that were taken over"), "{fault}");
}

#[tokio::test]
async fn a_workers_bundle_holds_him_on_all_sites_and_nobody_else() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let folder = tempfile::tempdir().unwrap();
    let (path, bytes) = bundle(&app, BundleOf::Worker(WorkerId(id(&plant.across))), folder.path()).await;
    for own in [&plant.across, "S-2", "HOT", "MELTSHOP", "Before works"] {
        assert!(holds(&bytes, own), "{own}");
    }
    for other in [&plant.of_here, &plant.of_there, "Elsewhere", "S-41", "example.org", &plant.ground] {
        assert!(!holds(&bytes, other), "{other} is in the bundle");
    }
    let (empty, _database) = app.empty().await;
    let refused = Bundle::open(&path, None).unwrap().take_over(&empty, &console("test"), |_| {}).await;
    assert!(refused.unwrap_err().to_string().contains("is to be read"));
}

#[tokio::test]
async fn every_byte_is_signed_and_a_strangers_key_is_refused() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let folder = tempfile::tempdir().unwrap();
    let (path, bytes) = bundle(&app, BundleOf::Site(SiteId(id(&plant.here))), folder.path()).await;
    let key = PublicKey::from_pem(&app.registry.public_key().await.unwrap().public_key).unwrap();
    assert!(Bundle::open(&path, Some(key)).is_ok());
    let stranger = PrivateKey::from_bytes(&[7; 32]).public();
    let told = |result: Result<Bundle, Refusal>| result.map(|_| ()).unwrap_err().to_string();
    assert!(told(Bundle::open(&path, Some(stranger))).contains("was not signed with the key"));
    let other = folder.path().join("other.tar");
    // One byte in 1,009, over all of it.
    for at in (0..bytes.len()).step_by(1009).chain([bytes.len() - 1]) {
        let mut flipped = bytes.clone();
        flipped[at] ^= 1;
        std::fs::write(&other, flipped).unwrap();
        assert!(Bundle::open(&other, Some(key)).is_err(), "byte {at} of {}", bytes.len());
    }
    for length in [0, 511, bytes.len() / 2, bytes.len() - 512] {
        std::fs::write(&other, &bytes[..length]).unwrap();
        assert!(Bundle::open(&other, Some(key)).is_err(), "{length} bytes");
    }
}

#[tokio::test]
async fn a_site_that_was_handed_over_is_read_only_until_it_is_taken_back() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let hygienist = app.as_role("hygienist");
    let path = format!("/sites/{}/hand-overs", plant.here);
    let early = json!({"to": "Ironbridge Castings", "on": "2026-03-03", "reason": "Sale of the works."});
    assert_eq!(hygienist.post(&path, &early).await.pointers(), ["/on"]);
    let body = json!({"to": "Ironbridge Castings", "on": "2026-03-01", "reason": "Sale of the works."});
    let made = hygienist.post(&path, &body).await;
    assert_eq!(made.status, 201, "{}", made.text);
    assert_eq!(hygienist.post(&path, &body).await.status, 409);
    let holiday = json!({"date": "2026-09-07", "name": "Labor Day"});
    let group = hygienist.get(&format!("/sites/{}/groups", plant.here)).await.ids()[0].to_owned();
    let assignment =
        json!({"group_id": group, "from": "2026-02-02", "shifts_per_week": 1, "hours_per_shift": 8});
    let writes = [
        (format!("/sites/{}/holidays", plant.here), holiday.clone()),
        (format!("/sites/{}/groups", plant.here), json!({"code": "NEW", "title": "New"})),
        (format!("/workers/{}/assignments", plant.of_there), assignment),
        (format!("/groups/{group}/voiding"), json!({"reason": "A test."})),
        (format!("/sites/{}/voiding", plant.here), json!({"reason": "A test."})),
    ];
    for (path, body) in &writes {
        let refused = hygienist.post(path, body).await;
        assert_eq!(refused.status, 409, "{path}: {}", refused.text);
        assert!(
            refused.text.contains("was handed over to Ironbridge Castings on 2026-03-01"),
            "{}",
            refused.text
        );
    }
    let file = hygienist
        .post_text(
            &format!(
                "/sites/{}/lab-reports?unmatched=hold&report_number=H-2&laboratory=H&received_on=2026-02-27",
                plant.here
            ),
            "text/csv",
            FILE,
        )
        .await;
    assert_eq!(file.status, 409, "{}", file.text);
    // The other site goes on, and everything can be read.
    assert_eq!(hygienist.post(&format!("/sites/{}/holidays", plant.there), &holiday).await.status, 201);
    assert_eq!(hygienist.get(&format!("/sites/{}/sampling-events", plant.here)).await.status, 200);
    app.registry.settle().await.unwrap();
    let back = json!({"reason": "The sale fell through."});
    let withdrawal = format!("{path}/withdrawal");
    assert_eq!(app.as_role("corporate").post(&withdrawal, &back).await.status, 403);
    assert_eq!(hygienist.post(&withdrawal, &back).await.status, 201);
    assert_eq!(hygienist.post(&withdrawal, &back).await.status, 409);
    let (path, body) = &writes[0];
    assert_eq!(hygienist.post(path, body).await.status, 201);
    let list = hygienist.get(&format!("/sites/{}/hand-overs", plant.here)).await;
    assert_eq!(list.json["items"][0]["voided"]["reason"], "The sale fell through.");
}

#[tokio::test]
async fn a_bundle_is_handed_out_to_whoever_looks_after_all_sites() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    app.add_account_on("of_site", "hygienist", &[&plant.here]).await;
    for path in [format!("/sites/{}/bundle.tar", plant.here), format!("/workers/{}/bundle.tar", plant.across)]
    {
        let answer = app.as_role("corporate").get(&path).await;
        assert_eq!((answer.status, answer.header("content-type")), (200, "application/x-tar"));
        for (who, status) in [("hygienist", 200), ("coordinator", 403), ("physician", 403), ("of_site", 403)]
        {
            assert_eq!(app.as_role(who).get(&path).await.status, status, "{who} {path}");
        }
    }
    let nobody = Value::String("01900000-0000-7000-8000-0000000000aa".into());
    let path = format!("/workers/{}/bundle.tar", nobody.as_str().unwrap());
    assert_eq!(app.as_role("corporate").get(&path).await.status, 404);
}
