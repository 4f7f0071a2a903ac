//! Medical grounds and the duties that rest on one: what each role learns from each channel (common practice, no source:
//! who is told what is the registry's own rule). Everything is invented.

use crate::harness::{Answer, Client, ROLES, TestApp};
use crate::things::{Things, record_one_of_each};
use chrono::NaiveDate;
use doseward::api::endpoint::{Access, endpoints};
use doseward::registry::duties::{Family, OF_A_SUMMARY, Ought, Whose};
use doseward::registry::verify::verify;
use doseward::store::backend::Database;
use doseward::surveillance::duties::{About, DutyGrounds, DutyKey, DutyKind, OughtDuty};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use uuid::Uuid;

/// An identifier of nothing.
const NOTHING: &str = "01900000-0000-7000-8000-0000000000ff";

/// Words of a ground and of a duty on it that stand nowhere else.
const TELLING: &[&str] =
    &["ZZ-TRIGGER", "zz-occasion", "a clause that tells", "zz_flag", "a note that tells", "medical_ground"];

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn others() -> impl Iterator<Item = &'static str> {
    ROLES.into_iter().filter(|role| *role != "physician")
}

fn duty(worker: &str, agent: &str, kind: DutyKind, medical: bool, due_on: &str) -> OughtDuty {
    let told = |telling: &str, plain: &str| if medical { telling.to_owned() } else { plain.to_owned() };
    OughtDuty {
        key: DutyKey {
            kind,
            about: About::Worker(Uuid::parse_str(worker).unwrap().into()),
            agent_code: agent.to_owned(),
            trigger_id: told("ZZ-TRIGGER", "ST010"),
            occasion: told("zz-occasion", "first"),
        },
        grounds: DutyGrounds {
            authority: None,
            met_on: None,
            clause: told("a clause that tells", "29 CFR 1910.1025(j)(1)(i)"),
            due_on: date(due_on),
            due_from_learning: false,
            days_counted: Some(77),
            window: None,
            basis: [3].into(),
            sites: [].into(),
            employer: None,
            flags: vec![told("zz_flag", "due_from_learning")],
            medical,
        },
    }
}

/// Writes the duties of a worker and an agent, as the registry does when the facts ask for them.
async fn raise(app: &TestApp, worker: &str, agent: &str, duties: Vec<OughtDuty>) {
    let about = About::Worker(Uuid::parse_str(worker).unwrap().into());
    let (on_grounds, others): (Vec<_>, Vec<_>) = duties.into_iter().partition(|duty| duty.grounds.medical);
    for (medical, duties) in [(true, on_grounds), (false, others)] {
        let family = Family {
            about,
            also: Vec::new(),
            agent_code: agent.to_owned(),
            kinds: OF_A_SUMMARY,
            whose: Whose::TheLaw,
            medical,
        };
        app.registry.write_duties(&Ought { family, duties, learned_on: date("2026-03-01") }).await.unwrap();
    }
}

/// A worker whom nothing was measured on, so that no duty of his own is raised.
async fn unmeasured(app: &TestApp, things: &Things) -> String {
    let hygienist = app.as_role("hygienist");
    let group = app.group(things.id("sites"), "OFFICE").await;
    let person = json!({"employee_number": "77", "given_name": "Bo", "family_name": "Vale", "employer": "Own works",
        "hired_on": "2026-01-05"});
    let worker = hygienist.post("/workers", &person).await.id();
    let assignment =
        json!({"group_id": group, "from": "2026-01-05", "shifts_per_week": 5, "hours_per_shift": 8});
    hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    worker
}

pub(crate) async fn record_ground(app: &TestApp, worker: &str) -> String {
    let body = json!({"kind": "blood_lead", "on": "2026-02-20", "agent_code": "cadmium"});
    app.as_role("physician").post(&format!("/workers/{worker}/medical-grounds"), &body).await.id()
}

async fn corrected(client: &Client<'_>, ground: &str, change: &Value) -> Answer {
    let path = format!("/medical-grounds/{ground}");
    Answer::of(client.request("PATCH", &path).header("if-match", "*").json(change)).await
}

/// Every address that can be read, with what it answers: the identifiers of things that exist filled in.
pub(crate) async fn read_everything(reader: &Client<'_>, things: &Things) -> BTreeMap<String, String> {
    let mut read = BTreeMap::new();
    for endpoint in
        endpoints().iter().filter(|one| one.method.as_str() == "GET" && one.access != Access::Open)
    {
        for path in things.addresses(&endpoint.path) {
            let mut next = path.clone();
            let mut text = String::new();
            // Lists are read to their end.
            loop {
                let answer = reader.get(&next).await;
                assert!(answer.status < 500, "{next}: {}", answer.text);
                text += &without_position(&answer);
                let cursor = answer.json["next"].as_str();
                let Some(cursor) = cursor else { break };
                next = format!("{path}{}after={cursor}", if path.contains('?') { "&" } else { "?" });
            }
            read.insert(path, text);
        }
    }
    read
}

/// What of an answer must be the same before and after. The access log tells what this test has read meanwhile; an anchor
/// stands at its own moment and position, with a number used once.
pub(crate) fn compared(path: &str, text: &str) -> String {
    if path.contains("/access-log") {
        return text.chars().take(3).collect();
    }
    if path.ends_with("/bundle.tar") {
        // Its rows and entries; manifest, anchor and signature are of their own moment.
        let row = |line: &&str| {
            // Neither the archive's own headers nor a signature, whose bytes may look like anything.
            !line.contains(|c: char| c.is_control() || c == char::REPLACEMENT_CHARACTER)
                && line.contains(',')
                && line.starts_with(|c: char| c == '{' || c.is_ascii_hexdigit())
        };
        return text.lines().filter(row).collect();
    }
    if path.ends_with("/package.html") {
        // Its foot says at which position it was printed.
        let (before, foot) = text.split_once("Record at position").unwrap_or((text, ""));
        return format!("{before}{}", foot.split_once(';').map_or("", |(_, rest)| rest));
    }
    let of_the_moment = ["at ", "position ", "blinded ", "access-log ", "signature "];
    let anchor = path.ends_with("/anchor");
    text.lines().filter(|line| !anchor || !of_the_moment.iter().any(|word| line.contains(word))).collect()
}

/// An answer without the registry's last position and the request's own identifier: that something was written
/// somewhere is seen by everybody.
fn without_position(answer: &Answer) -> String {
    let mut json = answer.json.clone();
    if let Some(fields) = json.as_object_mut() {
        if fields.contains_key("days_at_or_above_action_level") || fields.contains_key("years_exposed") {
            fields.remove("position");
        }
        fields.remove("request_id");
        fields.remove("instance");
    }
    let body = if json.is_null() { answer.text.clone() } else { json.to_string() };
    format!("{} {} {body}", answer.status, answer.header("etag"))
}

#[tokio::test]
async fn a_ground_changes_nothing_that_anybody_but_the_physician_can_read() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    app.add_account_on("on_site", "hygienist", &[things.id("sites")]).await;
    app.registry.settle().await.unwrap();
    let readers: Vec<&str> = others().chain(["on_site"]).collect();
    let mut before = BTreeMap::new();
    for who in &readers {
        before.insert(*who, read_everything(&app.as_role(who), &things).await);
    }
    let physician = app.as_role("physician");
    let ground = record_ground(&app, things.id("workers")).await;
    let voiding = json!({"reason": "On the wrong worker."});
    physician.post(&format!("/medical-grounds/{ground}/voiding"), &voiding).await.id();
    let back = json!({"reason": "It was the right one."});
    physician.post(&format!("/medical-grounds/{ground}/voiding-withdrawal"), &back).await.id();
    for who in &readers {
        let after = read_everything(&app.as_role(who), &things).await;
        assert_eq!(after.keys().collect::<Vec<_>>(), before[who].keys().collect::<Vec<_>>());
        for (path, text) in after {
            assert_eq!(compared(&path, &text), compared(&path, &before[who][&path]), "{who} {path}");
            assert!(TELLING.iter().all(|word| !text.contains(word)), "{who} {path}: {text}");
            assert!(!text.contains(&ground), "{who} {path}");
        }
    }
    // The physician reads all of it, in a chain of its own.
    let story = physician.get(&format!("/journal?subject_id={ground}")).await;
    let entries: Vec<_> = story.json["items"].as_array().unwrap().iter().map(|item| &item["deed"]).collect();
    assert_eq!(entries, ["recorded", "voided", "voiding withdrawn"]);
    assert!(story.json["items"].as_array().unwrap().iter().all(|item| item["chain"] == "medical"));
    assert_eq!(story.json["items"][0]["image"]["fact"]["kind"], "blood_lead");
}

#[tokio::test]
async fn whoever_may_not_read_grounds_gets_one_answer_whether_or_not_there_is_one() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let worker = things.id("workers");
    let ground = record_ground(&app, worker).await;
    let body = json!({"kind": "removal", "on": "2026-02-20", "agent_code": "lead"});
    for who in others() {
        let client = app.as_role(who);
        for (there, not_there) in [
            (format!("/medical-grounds/{ground}"), format!("/medical-grounds/{NOTHING}")),
            (format!("/workers/{worker}/medical-grounds"), format!("/workers/{NOTHING}/medical-grounds")),
        ] {
            let (one, other) = (client.get(&there).await, client.get(&not_there).await);
            assert_eq!(
                (one.status, without_position(&one)),
                (403, without_position(&other)),
                "{who} {there}"
            );
            let (one, other) = (client.post(&there, &body).await, client.post(&not_there, &body).await);
            assert_eq!(
                (one.status, one.header("allow")),
                (other.status, other.header("allow")),
                "{who} {there}"
            );
        }
        let change = json!({"on": "2026-02-21", "reason": "a test"});
        let one = corrected(&client, &ground, &change).await;
        let other = corrected(&client, NOTHING, &change).await;
        assert_eq!((one.status, without_position(&one)), (403, without_position(&other)), "{who} PATCH");
        for deed in ["voiding", "voiding-withdrawal"] {
            let because = json!({"reason": "a test"});
            let one = client.post(&format!("/medical-grounds/{ground}/{deed}"), &because).await;
            let other = client.post(&format!("/medical-grounds/{NOTHING}/{deed}"), &because).await;
            assert_eq!((one.status, without_position(&one)), (403, without_position(&other)), "{who} {deed}");
        }
        for subject in [ground.as_str(), NOTHING] {
            let entries = client.get(&format!("/journal?subject_id={subject}")).await;
            assert_eq!((entries.status, entries.json), (200, json!({"items": [], "next": null})), "{who}");
        }
    }
    // A physician of another site does not learn whether there is one either.
    let elsewhere = app.site("BRK").await;
    app.add_account_on("elsewhere", "physician", &[&elsewhere]).await;
    let client = app.as_role("elsewhere");
    for path in [format!("/medical-grounds/{ground}"), format!("/medical-grounds/{NOTHING}")] {
        assert_eq!(client.get(&path).await.status, 404, "{path}");
    }
    let entries = client.get(&format!("/journal?subject_id={ground}")).await;
    assert_eq!(entries.json["items"], json!([]));
}

#[tokio::test]
async fn a_ground_must_be_about_something_that_is_known() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let path = format!("/workers/{}/medical-grounds", things.id("workers"));
    let physician = app.as_role("physician");
    let sound = json!({"kind": "recommendation", "on": "2026-02-20", "agent_code": "chromium_vi", "trigger_id": "ST002"});
    assert_eq!(physician.post(&path, &sound).await.status, 201);
    for (field, value, pointer) in [
        ("kind", json!("a finding"), "/kind"),
        ("agent_code", json!("no_such_agent"), "/agent_code"),
        ("trigger_id", json!("ZZ999"), "/trigger_id"),
        // A clause about lead (29 CFR 1910.1025).
        ("trigger_id", json!("ST010"), "/trigger_id"),
        ("on", json!("2026-03-09"), "/on"),
        // Before the first employment.
        ("on", json!("2025-12-31"), "/on"),
        ("findings", json!("none is kept"), "/findings"),
    ] {
        let mut wrong = sound.clone();
        wrong[field] = value;
        let answer = physician.post(&path, &wrong).await;
        assert_eq!((answer.status, answer.pointers()), (422, vec![pointer]), "{wrong}");
    }
}

#[tokio::test]
async fn of_a_duty_on_a_ground_others_see_an_examination_to_offer_and_its_date() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let worker = &unmeasured(&app, &things).await;
    let things = things.with("workers", worker);
    app.registry.settle().await.unwrap();
    let on_ground = duty(worker, "cadmium", DutyKind::PeriodicExamination, true, "2026-03-20");
    raise(&app, worker, "cadmium", vec![on_ground]).await;
    let list = format!("/duties?worker_id={worker}");
    let of_physician = app.as_role("physician").get(&list).await;
    let examination = |answer: &Answer| -> Vec<Value> {
        let items = answer.json["items"].as_array().unwrap();
        items.iter().filter(|item| item["kind"] != "answer_record_request").cloned().collect()
    };
    let whole = examination(&of_physician);
    assert_eq!(whole.len(), 1, "{}", of_physician.text);
    let whole = &whole[0];
    assert_eq!(
        (&whole["kind"], &whole["agent_code"], &whole["rests_on_medical_ground"], &whole["clause"]),
        (&json!("periodic_examination"), &json!("cadmium"), &json!(true), &json!("a clause that tells"))
    );
    let id = whole["id"].as_str().unwrap().to_owned();
    // RFC 9562, section 5.7: the first 48 bits are milliseconds; they tell the date that is shown, not the day of writing.
    let made = Uuid::parse_str(&id).unwrap();
    let millis = i64::try_from(made.as_u128() >> 80).unwrap();
    let due = date("2026-03-20").and_hms_opt(0, 0, 0).unwrap().and_utc();
    assert_eq!((made.get_version_num(), millis), (7, due.timestamp_millis()));
    let alone = json!({"id": id, "kind": "offer_examination", "subject": {"worker_id": worker},
        "due_on": "2026-03-20", "status": "open", "actions": [], "flags": [],
        "words": "appears to trigger surveillance; the law in force and a licensed professional decide"});
    let act = format!("/duties/{id}/actions");
    let offered = json!({"action": "offered", "on": "2026-03-02", "note": "a note that tells"});
    for who in others().filter(|who| *who != "administrator") {
        let client = app.as_role(who);
        assert_eq!(examination(&client.get(&list).await), std::slice::from_ref(&alone), "{who}");
        // No filter tells what it is.
        let periodic = client.get(&format!("{list}&kind=periodic_examination")).await;
        assert_eq!(periodic.json["items"], json!([]), "{who}");
        let offers = client.get(&format!("{list}&kind=offer_examination")).await;
        assert_eq!(offers.json["items"], json!([alone]), "{who}");
        assert_eq!(client.post(&act, &offered).await.status, 403, "{who}");
    }
    // What the physician did is told by its word and date.
    let done = app.as_role("physician").post(&act, &offered).await;
    assert_eq!((done.status, &done.json["actions"][0]["note"]), (201, &json!("a note that tells")));
    let mut met = alone.clone();
    met["status"] = json!("met");
    met["actions"] = json!([{"action": "offered", "on": "2026-03-02"}]);
    for who in others() {
        let read = read_everything(&app.as_role(who), &things).await;
        for (path, text) in &read {
            assert!(TELLING.iter().all(|word| !text.contains(word)), "{who} {path}: {text}");
        }
        if who != "administrator" {
            assert_eq!(examination(&app.as_role(who).get(&list).await), std::slice::from_ref(&met), "{who}");
            let line =
                read["/api/v1/exports/surveillance.csv"].lines().find(|line| line.contains(&id)).unwrap();
            // duty, worker, name, employer, number, kind, then nothing but the date and how it stands.
            assert!(line.contains(",offer_examination,,,,,,,,,,2026-03-20,,met,,"), "{who}: {line}");
        }
        for subject in [id.as_str(), NOTHING] {
            let entries = app.as_role(who).get(&format!("/journal?subject_id={subject}")).await;
            assert_eq!(entries.json["items"], json!([]), "{who}");
        }
    }
    // The physician's own journal has the duty and the act on it, both in the chain of grounds.
    let physician = app.as_role("physician");
    let (mut kinds, mut next) = (Vec::new(), "/journal?limit=500".to_owned());
    loop {
        let page = physician.get(&next).await;
        let items = page.json["items"].as_array().unwrap().iter().filter(|item| item["chain"] == "medical");
        kinds.extend(items.map(|item| item["kind"].as_str().unwrap().to_owned()));
        let Some(cursor) = page.json["next"].as_str() else { break };
        next = format!("/journal?limit=500&after={cursor}");
    }
    assert_eq!(kinds, ["medical_ground", "duty", "duty_action"]);
}

#[tokio::test]
async fn while_an_airborne_examination_is_to_be_done_others_see_that_one_alone() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let worker = &unmeasured(&app, &things).await;
    app.registry.settle().await.unwrap();
    let both = vec![
        duty(worker, "cadmium", DutyKind::OfferExamination, true, "2026-03-20"),
        duty(worker, "cadmium", DutyKind::OfferExamination, false, "2026-04-10"),
    ];
    raise(&app, worker, "cadmium", both).await;
    let list = format!("/duties?worker_id={worker}&kind=offer_examination");
    let physician = app.as_role("physician");
    let seen = physician.get(&list).await;
    let of = |medical: bool| {
        let items = seen.json["items"].as_array().unwrap();
        let found = items.iter().find(|item| item.get("rests_on_medical_ground").is_some() == medical);
        found.unwrap()["id"].as_str().unwrap().to_owned()
    };
    let (on_ground, airborne) = (of(true), of(false));
    let offered = json!({"action": "offered", "on": "2026-03-02"});
    for who in ["hygienist", "coordinator", "corporate"] {
        let client = app.as_role(who);
        let found = client.get(&list).await;
        assert_eq!(found.ids(), [airborne.as_str()], "{who}");
        assert_eq!(found.json["items"][0]["clause"], "29 CFR 1910.1025(j)(1)(i)");
        if who != "corporate" {
            // The one that is not shown is not there.
            assert_eq!(client.post(&format!("/duties/{on_ground}/actions"), &offered).await.status, 404);
            assert_eq!(client.post(&format!("/duties/{NOTHING}/actions"), &offered).await.status, 404);
        }
    }
    physician.post(&format!("/duties/{airborne}/actions"), &offered).await.id();
    for who in ["hygienist", "coordinator", "corporate"] {
        let found = app.as_role(who).get(&list).await;
        assert_eq!(found.ids(), [airborne.as_str(), on_ground.as_str()], "{who}");
    }
}

// 29 CFR 1910.1026(k)(1)(i)(B): signs or symptoms, whatever the exposure; due from the day on which the registry learned.
#[tokio::test]
async fn a_ground_raises_its_examination_of_which_others_see_the_date_alone() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let worker = &unmeasured(&app, &things).await;
    let physician = app.as_role("physician");
    let body = json!({"kind": "signs_or_symptoms", "on": "2026-02-20", "agent_code": "chromium_vi"});
    let ground = physician.post(&format!("/workers/{worker}/medical-grounds"), &body).await.id();
    app.registry.settle().await.unwrap();
    let list = format!("/duties?worker_id={worker}");
    let seen = physician.get(&list).await;
    let duty = &seen.json["items"][0];
    assert_eq!((seen.ids().len(), &duty["rests_on_medical_ground"]), (1, &json!(true)), "{}", seen.text);
    assert!(duty["clause"].as_str().unwrap().contains("1910.1026(k)(1)(i)(B)"), "{duty}");
    assert_eq!((&duty["agent_code"], &duty["due_on"]), (&json!("chromium_vi"), &json!("2026-03-02")));
    for who in ["hygienist", "coordinator", "corporate"] {
        let found = app.as_role(who).get(&list).await;
        let shown = &found.json["items"][0];
        assert_eq!(shown["kind"], "offer_examination", "{who}: {}", found.text);
        assert_eq!(
            (shown.get("clause"), shown.get("agent_code"), shown.get("trigger_id")),
            (None, None, None)
        );
        assert!(!found.text.contains("medical"), "{who}: {}", found.text);
        for file in ["surveillance.csv", "duties.json", "surveillance.fhir.json"] {
            let text = app.as_role(who).get(&format!("/exports/{file}")).await.text;
            assert!(text.contains(duty["id"].as_str().unwrap()), "{who} {file}");
            assert!(
                !text.contains("(k)(1)(i)(B)") && !text.contains("medical_ground"),
                "{who} {file}: {text}"
            );
        }
    }
    // No row of conclusions tells of it.
    let overview = app.as_role("corporate").get("/overview").await;
    assert!(!overview.text.contains(worker.as_str()), "{}", overview.text);
    let because = json!({"reason": "It was another worker."});
    physician.post(&format!("/medical-grounds/{ground}/voiding"), &because).await.id();
    app.registry.settle().await.unwrap();
    let withdrawn = physician.get(&list).await;
    assert_eq!(withdrawn.json["items"][0]["status"], "withdrawn");
}

#[tokio::test]
async fn the_proof_of_the_journal_names_nothing_medical() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let ground = record_ground(&app, things.id("workers")).await;
    for who in ["administrator", "hygienist", "corporate"] {
        let sound = app.as_role(who).post("/journal/verification", &json!({})).await;
        assert_eq!(sound.json["sound"], json!(true), "{}", sound.text);
        assert!(!sound.text.contains("medical"), "{who}: {}", sound.text);
    }
    assert!(verify(&app.registry, |_| {}).await.unwrap().chains.iter().any(|chain| chain.chain == "medical"));
    let sql = "UPDATE medical_ground SET body = replace(body, 'blood_lead', 'removal')";
    match &app.registry.database {
        Database::Sqlite(pool) => assert!(sqlx::query(sql).execute(pool).await.is_ok()),
        Database::Postgres(pool) => assert!(sqlx::query(sql).execute(pool).await.is_ok()),
    }
    for who in ["administrator", "hygienist", "corporate"] {
        let found = app.as_role(who).post("/journal/verification", &json!({})).await;
        assert_eq!(found.json["sound"], json!(false));
        let fault = &found.json["first_fault"];
        assert_eq!(fault["what"], "an entry that is not shown is not as it was recorded");
        assert_eq!((fault.get("chain"), fault.get("ordinal")), (None, None));
        let tells = [ground.as_str(), "medical", "blood_lead", "removal"];
        assert!(tells.iter().all(|word| !found.text.contains(word)), "{who}: {}", found.text);
    }
}

#[tokio::test]
async fn measures_and_the_access_log_do_not_tell_what_was_recorded() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let worker = things.id("workers");
    let physician = app.as_role("physician");
    let ground = record_ground(&app, worker).await;
    physician.get(&format!("/workers/{worker}/medical-grounds")).await;
    physician.get(&format!("/medical-grounds/{ground}")).await;
    let measures = app.as_nobody().get("/metrics").await;
    assert!(!measures.text.contains("medical"), "{}", measures.text);
    let counted: Vec<&str> = measures
        .text
        .lines()
        .filter(|line| line.contains("confidential") && line.contains("total"))
        .collect();
    // The things of the harness hold one ground, and here came another; both were counted like the readings of them.
    assert_eq!(
        counted,
        [r#"doseward_requests_total{method="-",route="confidential",status="0"} 4"#],
        "one line for all of them"
    );
    // One worker, one request: the same line whether a ground or the list of them was read.
    let sql = "SELECT DISTINCT request FROM access_line WHERE request LIKE '%medical%'";
    let lines: Vec<(String,)> = match &app.registry.database {
        Database::Sqlite(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
        Database::Postgres(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
    };
    assert_eq!(lines, [("GET /api/v1/workers/{id}/medical-grounds".to_owned(),)]);
}

#[tokio::test]
async fn a_note_on_an_examination_is_the_physicians_and_one_on_sampling_is_everybodys() {
    let app = TestApp::spawn().await;
    let things = record_one_of_each(&app, "LYN").await;
    let worker = unmeasured(&app, &things).await;
    app.registry.settle().await.unwrap();
    raise(
        &app,
        &worker,
        "cadmium",
        vec![duty(&worker, "cadmium", DutyKind::OfferExamination, false, "2026-04-10")],
    )
    .await;
    let group = About::Group(Uuid::parse_str(things.id("sites/groups")).unwrap().into());
    let mut sampling = duty(&worker, "cadmium", DutyKind::MonitorAgain, false, "2026-04-10");
    sampling.key.about = group;
    let family = Family {
        about: group,
        also: Vec::new(),
        agent_code: "cadmium".into(),
        kinds: &[DutyKind::MonitorAgain],
        whose: Whose::TheLaw,
        medical: false,
    };
    let ought = Ought { family, duties: vec![sampling], learned_on: date("2026-03-01") };
    app.registry.write_duties(&ought).await.unwrap();
    for (kind, who, note, told) in [
        ("offer_examination", "physician", "a note of the physician", false),
        ("monitor_again", "hygienist", "a note of the hygienist", true),
    ] {
        let listed = app.as_role(who).get(&format!("/duties?kind={kind}")).await;
        let items = listed.json["items"].as_array().unwrap();
        let found = items.iter().find(|item| item["agent_code"] == "cadmium").unwrap();
        let path = format!("/duties/{}/actions", found["id"].as_str().unwrap());
        let waived = json!({"action": "waived", "on": "2026-03-02", "note": note});
        let done = app.as_role(who).post(&path, &waived).await;
        assert_eq!(done.status, 201, "{}", done.text);
        let last = app.registry.now(&mut app.registry.database.read().await.unwrap()).await.unwrap().position;
        for (reader, sees) in [("physician", true), ("hygienist", told), ("corporate", told)] {
            let client = app.as_role(reader);
            let entries = client.get(&format!("/journal?after={}.9&limit=10", last - 1)).await;
            assert_eq!(entries.json["items"][0]["kind"], "duty_action", "{}", entries.text);
            assert_eq!(entries.text.contains(note), sees, "{reader} {kind}: {}", entries.text);
            let duties = client.get(&format!("/duties?kind={kind}")).await;
            assert_eq!(duties.text.contains(note), sees, "{reader} {kind}: {}", duties.text);
        }
    }
}
