//! Recording, listing, reading and voiding facts.

use crate::harness::{Answer, TestApp};
use crate::things;
use serde_json::json;

#[tokio::test]
async fn a_fact_is_recorded_read_and_listed_the_same() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let body = json!({"code": "WELD", "title": "Welders", "work_area": "Bay 1"});
    let made = hygienist.post(&format!("/sites/{site}/groups"), &body).await;
    let id = made.id();
    assert_eq!(made.header("location"), format!("/api/v1/groups/{id}"));
    assert_eq!((&made.json["site_id"], &made.json["revision"]), (&json!(site), &json!(1)));
    let read = hygienist.get(&format!("/groups/{id}")).await;
    assert_eq!((read.status, &read.json), (200, &made.json));
    let listed = hygienist.get(&format!("/sites/{site}/groups")).await;
    assert_eq!(listed.json, json!({"items": [made.json], "next": null}));
}

#[tokio::test]
async fn every_simple_kind_takes_the_example_of_the_api_document_and_shows_it_again() {
    let app = TestApp::spawn().await;
    for thing in things::record_one_of_each(&app, "LYN").await.all() {
        let within = ["samples", "results"];
        for (field, value) in thing.sent.as_object().unwrap() {
            if within.contains(&field.as_str()) {
                // Facts of their own, shown with what they say.
                continue;
            }
            // 2 comes back as 2.0, and a quantity with its digits as reported.
            let shown = &thing.shown[field];
            let same_number = value.is_number() && value.as_f64() == shown.as_f64();
            assert!(
                shown == value || same_number || shown["reported"] == value["value"],
                "{} {field}",
                thing.path
            );
        }
        let reader = app.as_role(things::recorder(thing.last));
        let read = reader.get(&format!("/{}/{}", thing.last, thing.id)).await;
        if !["workers", "sampling-events"].contains(&thing.last) {
            // A second employment was added to the worker, and results to the event.
            assert_eq!(read.json, thing.shown, "{}", thing.path);
        }
        assert_eq!((read.status, &read.json["id"]), (200, &thing.shown["id"]), "{}", thing.path);
        let listed = reader.get(&format!("{}?limit=500", thing.path)).await;
        assert!(listed.ids().contains(&thing.id.as_str()), "{}", thing.path);
    }
}

#[tokio::test]
async fn an_unchanged_thing_is_not_sent_again() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    let hygienist = app.as_role("hygienist");
    let first = hygienist.get(&format!("/sites/{site}")).await;
    let tag = first.header("etag").to_owned();
    assert!(tag.starts_with("\"1-"), "{tag}");
    let ask = |tag: &str| {
        let request = hygienist.request("GET", &format!("/sites/{site}")).header("if-none-match", tag);
        Answer::of(request)
    };
    let again = ask(&tag).await;
    assert_eq!((again.status, again.text.as_str(), again.header("etag")), (304, "", tag.as_str()));
    assert_eq!(ask("\"1-0000\"").await.status, 200);
    hygienist.post(&format!("/sites/{site}/voiding"), &json!({"reason": "a test"})).await;
    let after = ask(&tag).await;
    assert_eq!(after.status, 200);
    assert!(after.header("etag").starts_with("\"2-"));
}

#[tokio::test]
async fn a_voided_fact_stays_readable_and_can_stand_again() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let group = app.group(&site, "WELD").await;
    let path = format!("/groups/{group}");
    let voided = hygienist.post(&format!("{path}/voiding"), &json!({"reason": "twice"})).await;
    assert_eq!((voided.status, &voided.json["voided"]), (201, &json!({"reason": "twice"})));
    assert_eq!(voided.json["revision"], json!(2));
    let again = hygienist.post(&format!("{path}/voiding"), &json!({"reason": "twice"})).await;
    assert_eq!((again.status, again.kind()), (409, "conflict"));
    assert_eq!(hygienist.get(&path).await.json["voided"], json!({"reason": "twice"}));
    let back =
        hygienist.post(&format!("{path}/voiding-withdrawal"), &json!({"reason": "it was right"})).await;
    assert_eq!((back.status, back.json.get("voided"), &back.json["revision"]), (201, None, &json!(3)));
    let without = hygienist.post(&format!("{path}/voiding"), &json!({})).await;
    assert_eq!((without.status, without.pointers()), (422, vec!["/reason"]));
}

#[tokio::test]
async fn agents_and_expected_agents_share_an_address() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let group = app.group(&site, "WELD").await;
    let agents = hygienist.get("/agents?limit=1").await;
    let agent = agents.ids()[0].to_owned();
    let body = json!({"agent_code": "lead", "from": "2026-01-01", "source": "data sheet"});
    let expected = hygienist.post(&format!("/groups/{group}/agents"), &body).await.id();
    assert!(hygienist.get(&format!("/agents/{agent}")).await.json.get("state").is_some());
    assert_eq!(hygienist.get(&format!("/agents/{expected}")).await.json["agent_code"], json!("lead"));
    let void = hygienist.post(&format!("/agents/{expected}/voiding"), &json!({"reason": "a test"})).await;
    assert_eq!(void.status, 201);
    // Whoever may not see groups learns no more than that there is no such agent.
    assert_eq!(app.as_role("administrator").get(&format!("/agents/{expected}")).await.status, 404);
    // A hygienist of one site voids its expected agents and no agent of the registry.
    app.add_account_on("hygienist_here", "hygienist", &[&site]).await;
    let here = app.as_role("hygienist_here");
    let back =
        here.post(&format!("/agents/{expected}/voiding-withdrawal"), &json!({"reason": "a test"})).await;
    assert_eq!(back.status, 201, "{}", back.text);
    let agent = here.post(&format!("/agents/{agent}/voiding"), &json!({"reason": "a test"})).await;
    assert_eq!(agent.status, 403);
}

#[tokio::test]
async fn a_natural_key_is_taken_once_also_under_a_new_idempotency_key() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site =
        json!({"code": "LYN", "name": "Lyn", "time_zone": "America/Denver", "rule_set": "us_construction"});
    hygienist.post("/sites", &site).await.id();
    let again = hygienist.post_with_key("/sites", "k-1", &site).await;
    assert_eq!((again.status, again.kind()), (409, "conflict"));
    // A refusal keeps nothing: the corrected body may use the key.
    let mut other = site.clone();
    other["code"] = json!("BRK");
    assert_eq!(hygienist.post_with_key("/sites", "k-1", &other).await.status, 201);
}

#[tokio::test]
async fn the_same_key_and_body_get_the_first_answer_again() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let body =
        json!({"code": "LYN", "name": "Lyn", "time_zone": "America/Denver", "rule_set": "us_construction"});
    let first = hygienist.post_with_key("/sites", "\"k-1\"", &body).await;
    let second = hygienist.post_with_key("/sites", "k-1", &body).await;
    assert_eq!((first.status, &first.text), (201, &second.text));
    assert_eq!((second.status, second.header("location")), (201, first.header("location")));
    assert_eq!(hygienist.get("/sites").await.ids().len(), 1);
    let mut other = body.clone();
    other["name"] = json!("Another");
    let reused = hygienist.post_with_key("/sites", "k-1", &other).await;
    assert_eq!((reused.status, reused.kind()), (422, "key_reused"));
    // Keys are the account's own.
    let administrator = app.as_role("administrator").post_with_key("/sites", "k-1", &body).await;
    assert_eq!(administrator.kind(), "conflict");
    app.clock.advance(chrono::Duration::days(31));
    assert_eq!(hygienist.post_with_key("/sites", "k-1", &other).await.kind(), "conflict");
}

#[tokio::test]
async fn eight_at_once_with_one_key_make_one_thing() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let body =
        json!({"code": "LYN", "name": "Lyn", "time_zone": "America/Denver", "rule_set": "us_construction"});
    let asking = (0..8).map(|_| hygienist.post_with_key("/sites", "k-1", &body));
    let answers = futures_util::future::join_all(asking).await;
    assert!(answers.iter().all(|answer| answer.status == 201 && answer.text == answers[0].text));
    assert_eq!(hygienist.get("/sites").await.ids().len(), 1);
}

#[tokio::test]
async fn pages_join_to_the_whole_list_without_gap_or_repetition() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let mut made = Vec::new();
    for n in 0..7 {
        made.push(app.group(&site, &format!("G{n}")).await);
    }
    let path = format!("/sites/{site}/groups");
    let mut seen: Vec<String> = Vec::new();
    let mut next = format!("{path}?limit=3");
    loop {
        let page = hygienist.get(&next).await;
        seen.extend(page.ids().into_iter().map(str::to_owned));
        let Some(cursor) = page.json["next"].as_str() else {
            assert_eq!(page.header("link"), "");
            break;
        };
        let link = page.header("link").to_owned();
        next = format!("/api/v1{path}?limit=3&after={cursor}");
        assert_eq!(link, format!("<{next}>; rel=\"next\""));
    }
    assert_eq!(seen, made);
    for wrong in ["limit=0", "limit=501", "limit=x", "limit=", "after=x", "limit=1&limit=2", "colour=red"] {
        let answer = hygienist.get(&format!("{path}?{wrong}")).await;
        let pointer = format!("/{}", wrong.split('=').next().unwrap());
        assert_eq!((answer.status, answer.pointers()), (422, vec![pointer.as_str()]), "{wrong}");
    }
}

#[tokio::test]
async fn nothing_more_is_recorded_under_something_void() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let group = app.group(&site, "WELD").await;
    let voided =
        hygienist.post(&format!("/groups/{group}/voiding"), &json!({"reason": "Entered twice."})).await;
    assert_eq!(voided.status, 201);
    let path = format!("/groups/{group}/changes");
    let body =
        json!({"from": "2026-03-02", "kind": "process", "description": "New wire.", "may_raise": true});
    assert_eq!(hygienist.post(&path, &body).await.status, 409);
    // What was recorded before can still be listed.
    assert_eq!(hygienist.get(&path).await.status, 200);
}

#[tokio::test]
async fn duties_of_a_site_out_of_sight_are_unknown_like_the_site() {
    let app = TestApp::spawn().await;
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    app.add_account_on("here", "hygienist", &[&here]).await;
    let reader = app.as_role("here");
    assert_eq!(reader.get(&format!("/duties?site_id={here}")).await.status, 200);
    for site in [there.as_str(), "01900000-0000-7000-8000-0000000000aa"] {
        let answer = reader.get(&format!("/duties?site_id={site}")).await;
        assert_eq!((answer.status, answer.kind()), (404, "unknown"), "{site}");
    }
    // Without a site the list holds what is in sight.
    assert_eq!(reader.get("/duties").await.status, 200);
}

#[tokio::test]
async fn shift_averages_need_days_in_their_order() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    let group = app.group(&site, "WELD").await;
    let path = format!("/shift-averages?group_id={group}");
    let hygienist = app.as_role("hygienist");
    for days in ["from=2026-03-02&to=2026-03-02", "from=2026-03-02&to=2026-03-01"] {
        let answer = hygienist.get(&format!("{path}&{days}")).await;
        assert_eq!((answer.status, answer.pointers()), (422, vec!["/to"]), "{days}");
    }
    assert_eq!(hygienist.get(&format!("{path}&from=2026-03-02&to=2026-03-03")).await.status, 200);
}
