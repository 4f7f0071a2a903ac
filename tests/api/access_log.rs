//! Who looked at whom: every answer that names a worker leaves one line, and no other does; and who may read the lines.

use crate::harness::{Answer, Client, ROLES, TestApp};
use crate::things::{Things, example_of, record_one_of_each};
use doseward::api::endpoint::{Access, endpoints};
use doseward::model::facts::original::OriginalKind;
use doseward::registry::enter_pack::console;
use doseward::registry::facts::sampling;
use doseward::registry::originals::keep::{File, Gave};
use doseward::registry::verify::verify;
use doseward::store::access_log::{Placed, placed};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The lines that were left after a place.
async fn lines(app: &TestApp, after: i64) -> Vec<Placed> {
    let mut tx = app.registry.database.read().await.unwrap();
    placed(&mut tx, after, 1000).await.unwrap()
}

async fn last_place(app: &TestApp) -> i64 {
    let mut tx = app.registry.database.read().await.unwrap();
    doseward::store::access_log::head(&mut tx).await.unwrap().0
}

/// Two workers with a sample each, and a letter to both, beside one of each thing.
async fn with_letters(app: &TestApp) -> (Things, Vec<String>) {
    let things = record_one_of_each(app, "LYN").await;
    let hygienist = app.as_role("hygienist");
    let (site, group) = (things.id("sites"), things.id("sites/groups"));
    let person = json!({"employee_number": "LYN-9", "given_name": "Bo", "family_name": "Vale", "employer": "Own works",
        "hired_on": "2026-01-05"});
    let other = hygienist.post("/workers", &person).await.id();
    let assignment =
        json!({"group_id": group, "from": "2026-01-05", "shifts_per_week": 5, "hours_per_shift": 8});
    hygienist.post(&format!("/workers/{other}/assignments"), &assignment).await.id();
    let first = things.id("workers").to_owned();
    let sample = |number: &str, worker: &str| {
        json!({"number": number, "position": "breathing_zone", "shift_date": "2026-02-25", "worker_id": worker,
            "group_id": group, "agent_codes": ["chromium_vi"],
            "runs": [{"start": "2026-02-25T07:00:00-07:00", "end": "2026-02-25T15:00:00-07:00"}],
            "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}})
    };
    let shift = |worker: &str| json!({"worker_id": worker, "shift_date": "2026-02-25", "shift_minutes": 480});
    let event = json!({"reference": "2026-77", "sampled_by": "A. Sampler", "shifts": [shift(&first), shift(&other)],
        "samples": [sample("77-1", &first), sample("77-2", &other)]});
    let event = hygienist.post(&format!("/sites/{site}/sampling-events"), &event).await.id();
    let result = |number: &str| {
        json!({"sample_number": number, "agent_code": "chromium_vi", "concentration": {"value": 6.1, "unit": "ug/m3"},
            "reporting_limit": {"value": 0.05, "unit": "ug/m3"}, "blank_corrected": "yes"})
    };
    let report = json!({"report_number": "L-77", "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-27",
        "results": [result("77-1"), result("77-2")]});
    hygienist.post(&format!("/sites/{site}/lab-reports"), &report).await.id();
    let ask = json!({"agent_code": "chromium_vi", "corrective_action": "An exhaust arm by 1 May.", "contact": "Extension 12"});
    let issued = hygienist.post(&format!("/sampling-events/{event}/letters"), &ask).await;
    assert_eq!(issued.status, 201, "{}", issued.text);
    let letter = issued.json["letters"][0]["id"].as_str().unwrap().to_owned();
    let mut release = example_of("/sites/{id}/releases");
    (release["group_ids"], release["worker_ids"]) = (json!([group]), json!([first, other]));
    let release = hygienist.post(&format!("/sites/{site}/releases"), &release).await.id();
    let mut readings = example_of("/sites/{id}/direct-readings");
    (readings["worker_id"], readings["shift_date"]) = (json!(other), json!("2026-02-25"));
    readings["position"] = json!("breathing_zone");
    readings.as_object_mut().unwrap().remove("location");
    let readings = hygienist.post(&format!("/sites/{site}/direct-readings"), &readings).await.id();
    app.registry.settle().await.unwrap();
    let original = original_of(app, site, &event, &first, &other).await;
    let things =
        things.with("releases", &release).with("direct-readings", &readings).with("originals", &original);
    let things = things.with("sampling-events", &event).with("letters", &letter).with("workers", &other);
    (things, vec![first, other])
}

/// An event of two workers that came as a file.
async fn original_of(app: &TestApp, site: &str, event: &str, first: &str, other: &str) -> String {
    let file =
        json!({"reference": "2026-77", "samples": [{"worker_id": first}, {"worker_id": other}]}).to_string();
    let file = File::json(OriginalKind::SamplingEvents, file.as_bytes());
    let gave = Gave { thing: event.parse().unwrap(), pointer: String::new(), rows: Vec::new() };
    let mut change = app.registry.begin_plain(&console("tester")).await.unwrap();
    let id = sampling::keep_file(&mut change, site.parse().unwrap(), &file, gave).await.unwrap();
    app.registry.commit(change, None).await.unwrap();
    id.to_string()
}

/// The workers whom an answer names, by identifier or by name. An envelope of the journal without its image tells of
/// nobody's exposure.
fn named(path: &str, answer: &Answer, workers: &[String]) -> BTreeSet<String> {
    let text = if path.ends_with("/journal") {
        let items = answer.json["items"].as_array().unwrap().iter();
        items.filter(|item| item.get("image").is_some()).map(Value::to_string).collect()
    } else {
        answer.text.clone()
    };
    let by_name = |id: &&String| {
        let name = if *id == &workers[1] { "Bo Vale" } else { "Given Family" };
        text.contains(name)
    };
    workers.iter().filter(|id| text.contains(id.as_str()) || by_name(id)).cloned().collect()
}

fn addresses(things: &Things, route: &str) -> Vec<String> {
    let mut addresses = things.addresses(route);
    if route == "/api/v1/journal" {
        // The first page holds the built-in rules alone.
        let of = ["workers", "workers/assignments", "sites/sampling-events"].map(|name| things.id(name));
        addresses.extend(of.iter().map(|id| format!("{route}?subject_id={id}")));
        addresses.push(format!("{route}?site_id={}", things.id("sites")));
    }
    let needs_agent = route.contains("/examiner-packet");
    addresses
        .into_iter()
        .map(|path| if needs_agent { format!("{path}?agent_code=chromium_vi") } else { path })
        .collect()
}

#[tokio::test]
async fn every_route_that_names_a_worker_leaves_one_line_and_no_other_does() {
    let app = TestApp::spawn().await;
    let (things, workers) = with_letters(&app).await;
    let (mut wrong, mut naming, mut asked) = (Vec::new(), BTreeSet::new(), BTreeSet::new());
    for endpoint in
        endpoints().iter().filter(|one| one.method.as_str() == "GET" && one.access != Access::Open)
    {
        for path in addresses(&things, &endpoint.path) {
            for role in ROLES {
                let before = last_place(&app).await;
                let answer = app.as_role(role).get(&path).await;
                let left = lines(&app, before).await;
                if answer.status != 200 {
                    if !left.is_empty() {
                        wrong.push(format!("{role} {path}: refused, and {} lines", left.len()));
                    }
                    continue;
                }
                asked.insert(endpoint.path.as_str());
                let told = named(&endpoint.path, &answer, &workers);
                let of_worker = endpoint.path.contains("/workers/{id}");
                let expected = usize::from(of_worker || !told.is_empty());
                if left.len() != expected {
                    wrong.push(format!("{role} {path} names {}: {} lines", told.len(), left.len()));
                }
                let Some(Placed { line, .. }) = left.first() else { continue };
                naming.insert(endpoint.path.as_str());
                let account = line.account.0;
                let worker = line.worker.map(|worker| worker.0.to_string());
                let right = match (&worker, told.len()) {
                    (Some(worker), _) if of_worker => path.contains(worker.as_str()) && line.workers == 1,
                    (Some(worker), 1) => told.contains(worker) && line.workers == 1,
                    (None, several) => {
                        line.scope.is_some()
                            && usize::try_from(line.workers).unwrap() == several
                            && several > 1
                    }
                    (Some(_), _) => false,
                };
                if !right || account.is_nil() || line.position == 0 {
                    wrong.push(format!("{role} {path} names {told:?}: {line:?}"));
                }
                let request = format!("GET {}", endpoint.path);
                let grounds = endpoint.path.contains("medical-grounds");
                if line.request != request && !grounds {
                    wrong.push(format!("{role} {path} is noted as {}", line.request));
                }
                if line.client.as_deref() != Some("127.0.0.1") || !endpoint.leaves_a_line() {
                    wrong.push(format!("{role} {path}: {:?} {}", line.client, endpoint.leaves_a_line()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    // The test has looked at all of them, and both kinds are there.
    let all = endpoints().iter().filter(|one| one.method.as_str() == "GET" && one.access != Access::Open);
    let unasked: Vec<&str> = all.map(|one| one.path.as_str()).filter(|path| !asked.contains(path)).collect();
    assert_eq!(
        unasked,
        [
            "/api/v1/aliases/{id}",
            "/api/v1/actions/{id}",
            "/api/v1/calendars/{token}/due-dates.ics",
            "/api/v1/legal-holds/{id}",
            "/api/v1/disposals/{id}",
            "/api/v1/accounts/{id}",
            "/api/v1/accounts/{id}/tokens",
            "/api/v1/tokens/{id}"
        ],
        "names nobody, or tells of no exposure"
    );
    for path in [
        "/api/v1/letters/{id}/paper.html",
        "/api/v1/exports/duties.csv",
        "/api/v1/sites/{id}/releases",
        "/api/v1/workers",
        "/api/v1/workers/{id}/history",
        "/api/v1/journal",
        "/api/v1/sites/{id}/sampling-events",
        "/api/v1/direct-readings/{id}",
        "/api/v1/originals/{id}/file",
    ] {
        assert!(naming.contains(path), "{path} named nobody: {naming:?}");
    }
    for path in ["/api/v1/sites", "/api/v1/overview", "/api/v1/anchor", "/api/v1/groups/{id}/agents"] {
        assert!(!naming.contains(path), "{path}");
    }
    let found = verify(&app.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
    assert!(found.access_log.lines > 200, "{:?}", found.access_log);
}

#[tokio::test]
async fn asking_with_a_body_leaves_a_line_too_and_a_second_page_counts_only_its_own() {
    let app = TestApp::spawn().await;
    let (_, workers) = with_letters(&app).await;
    let before = last_place(&app).await;
    let hygienist = app.as_role("hygienist");
    assert_eq!(
        hygienist.post("/workers/search", &json!({"text": "vale"})).await.ids(),
        [workers[1].as_str()]
    );
    assert_eq!(hygienist.post("/workers/search", &json!({"text": "nobody"})).await.ids().len(), 0);
    let page = hygienist.get("/workers?limit=1").await;
    assert_eq!((page.ids().len(), page.json["next"].is_null()), (1, false));
    let left = lines(&app, before).await;
    let told: Vec<_> = left
        .iter()
        .map(|one| {
            (
                one.line.scope.as_deref().unwrap(),
                one.line.worker.map(|worker| worker.0.to_string()),
                one.line.workers,
            )
        })
        .collect();
    let one = |n: usize| Some(workers[n].clone());
    assert_eq!(told, [("search", one(1), 1), ("workers", one(0), 1)]);
}

async fn with_purpose(client: &Client<'_>, path: &str, purpose: &str) -> Answer {
    Answer::of(client.request("GET", path).header("x-purpose", purpose)).await
}

#[tokio::test]
async fn a_purpose_is_kept_and_shown_to_the_physician_and_to_its_reader() {
    let app = TestApp::spawn().await;
    let (_, workers) = with_letters(&app).await;
    let history = format!("/workers/{}/history?agent_code=chromium_vi", workers[0]);
    let physician = app.as_role("physician");
    let reason = "reports a cough since January";
    assert_eq!(with_purpose(&physician, &history, reason).await.status, 200);
    assert_eq!(with_purpose(&app.as_role("corporate"), &history, "yearly audit").await.status, 200);
    let wrong = with_purpose(&physician, &history, &"x".repeat(201)).await;
    assert_eq!((wrong.status, wrong.kind()), (400, "unreadable"));
    let list = format!("/workers/{}/access-log", workers[0]);
    let of_physician = physician.get(&list).await;
    let purposes = |answer: &Answer| -> Vec<Value> {
        let items = answer.json["items"].as_array().unwrap().iter();
        items.filter(|item| item["purpose_stated"] == true).map(|item| item["purpose"].clone()).collect()
    };
    assert_eq!(purposes(&of_physician), [json!("yearly audit"), json!(reason)]);
    let paper = physician.get(&format!("{list}.html")).await;
    assert!(paper.text.contains(reason) && paper.text.contains("physician@example.org"), "{}", paper.text);
    assert_eq!(purposes(&app.as_role("corporate").get(&list).await), [json!("yearly audit"), Value::Null]);
    assert_eq!(purposes(&app.as_role("hygienist").get(&list).await), [Value::Null, Value::Null]);
    for (who, path) in [("hygienist", format!("{list}.html")), ("administrator", "/access-log".into())] {
        let answer = app.as_role(who).get(&path).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        assert!(!answer.text.contains("cough"), "{who}: {}", answer.text);
    }
}

#[tokio::test]
async fn the_list_of_a_worker_holds_what_named_him_and_what_spanned_him() {
    let app = TestApp::spawn().await;
    let (things, workers) = with_letters(&app).await;
    let elsewhere = app.site("BRK").await;
    let other_group = app.group(&elsewhere, "CAST").await;
    let person = json!({"employee_number": "BRK-1", "given_name": "Cy", "family_name": "Marl", "employer": "Own works",
        "hired_on": "2026-01-05"});
    let third = app.as_role("hygienist").post("/workers", &person).await.id();
    let assignment =
        json!({"group_id": other_group, "from": "2026-01-05", "shifts_per_week": 5, "hours_per_shift": 8});
    app.as_role("hygienist").post(&format!("/workers/{third}/assignments"), &assignment).await.id();
    let corporate = app.as_role("corporate");
    let group = things.id("sites/groups");
    corporate.get(&format!("/workers/{}/assignments", workers[0])).await;
    corporate.get(&format!("/shift-averages?group_id={group}")).await;
    corporate.get("/exports/samples.csv").await;
    let told = async |worker: &str| -> Vec<(String, String)> {
        let answer = app.as_role("physician").get(&format!("/workers/{worker}/access-log")).await;
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        let items = answer.json["items"].as_array().unwrap().iter();
        items.map(|item| (text(&item["request"]), text(&item["named"]))).collect()
    };
    let line = |request: &str, named: &str| (format!("GET /api/v1/{request}"), named.to_owned());
    let bulk = [line("exports/samples.csv", "in_bulk"), line("shift-averages", "in_bulk")];
    let first = told(&workers[0]).await;
    assert_eq!(first, [bulk.to_vec(), vec![line("workers/{id}/assignments", "by_name")]].concat());
    assert_eq!(told(&workers[1]).await, bulk);
    // Of another site's group nothing; a file for all sites may have named him.
    assert_eq!(told(&third).await, bulk[..1]);
}

#[tokio::test]
async fn what_the_physician_alone_reads_stands_in_no_list_of_others() {
    let app = TestApp::spawn().await;
    let (things, workers) = with_letters(&app).await;
    let physician = app.as_role("physician");
    physician.get(&format!("/workers/{}/medical-grounds", workers[0])).await;
    physician.get(&format!("/medical-grounds/{}", things.id("workers/medical-grounds"))).await;
    let list = format!("/workers/{}/access-log", workers[0]);
    let own = physician.get(&list).await;
    assert_eq!(own.text.matches("medical-grounds").count(), 2, "{}", own.text);
    assert!(!physician.get(&format!("{list}.html")).await.text.contains("alone may read"));
    for (who, path) in [
        ("hygienist", list.clone()),
        ("corporate", list.clone()),
        ("corporate", "/access-log".into()),
        ("administrator", "/access-log".into()),
    ] {
        let answer = app.as_role(who).get(&path).await;
        assert!(answer.status == 200 && !answer.text.contains("medical"), "{who} {path}: {}", answer.text);
    }
    let paper = app.as_role("hygienist").get(&format!("{list}.html")).await;
    assert!(paper.text.contains("alone may read") && !paper.text.contains("medical"), "{}", paper.text);
}

#[tokio::test]
async fn the_whole_log_names_nobody_is_paged_and_asked_by_worker_or_account() {
    let app = TestApp::spawn().await;
    let (_, workers) = with_letters(&app).await;
    for n in [0, 1, 0] {
        app.as_role("corporate").get(&format!("/workers/{}", workers[n])).await;
    }
    app.as_role("coordinator").get("/workers").await;
    let administrator = app.as_role("administrator");
    let (mut seen, mut next) = (Vec::new(), "/access-log?limit=1".to_owned());
    loop {
        let page = administrator.get(&next).await;
        assert_eq!(page.status, 200, "{}", page.text);
        assert!(!page.text.contains("Vale") && !page.text.contains("Family"), "{}", page.text);
        seen.extend(page.ids().iter().map(|id| Uuid::parse_str(id).unwrap()));
        let Some(cursor) = page.json["next"].as_str() else { break };
        next = format!("/access-log?limit=1&after={cursor}");
    }
    let distinct: BTreeSet<_> = seen.iter().collect();
    assert_eq!(distinct.len(), seen.len());
    // What reading the first page left is newer than it: nobody who goes on meets it.
    assert_eq!(seen.len(), 4);
    assert!(seen.is_sorted_by(|one, next| one > next));
    let of_worker = administrator.get(&format!("/access-log?worker_id={}&limit=500", workers[1])).await;
    let items = of_worker.json["items"].as_array().unwrap();
    assert!(
        !items.is_empty() && items.iter().all(|item| item["worker_id"] == json!(workers[1])),
        "{}",
        of_worker.text
    );
    let account = items.last().unwrap()["account_id"].as_str().unwrap();
    let of_account = administrator.get(&format!("/access-log?account_id={account}&limit=500")).await;
    assert_eq!(of_account.ids().len(), 3, "{}", of_account.text);
}
