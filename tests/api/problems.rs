//! A hostile afternoon: whatever is sent, the answer is a clear problem document and nothing is stored.

use crate::harness::{Answer, TestApp};
use serde_json::json;

/// Every refusal is a whole problem document with the request's id.
fn is_problem(answer: &Answer, status: u16, kind: &str) {
    assert_eq!((answer.status, answer.kind()), (status, kind), "{}", answer.text);
    assert_eq!(answer.header("content-type"), "application/problem+json");
    assert_eq!(answer.json["status"], json!(status));
    for field in ["title", "detail", "instance"] {
        assert!(answer.json[field].as_str().is_some_and(|text| !text.is_empty()), "{field}: {}", answer.text);
    }
    assert_eq!(answer.json["instance"], json!(answer.header("x-request-id")));
    assert_eq!(answer.header("cache-control"), "no-store");
    assert_eq!(answer.header("x-content-type-options"), "nosniff");
}

#[tokio::test]
async fn what_is_not_json_is_unreadable() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let deep = "[".repeat(100_000);
    for body in
        ["", "{", "{\"code\": }", "nonsense", "{} {}", "\u{feff}{}", "{\"code\": 1e999}", deep.as_str()]
    {
        let answer = hygienist.post_text("/sites", "application/json", body.to_owned()).await;
        is_problem(&answer, 400, "unreadable");
    }
    let not_utf8 = hygienist.post_text("/sites", "application/json", vec![b'"', 0xff, b'"']).await;
    is_problem(&not_utf8, 400, "unreadable");
    for body in ["null", "[]", "1", "\"text\""] {
        let answer = hygienist.post_text("/sites", "application/json; charset=utf-8", body).await;
        is_problem(&answer, 422, "faults");
    }
    assert_eq!(hygienist.get("/sites").await.ids().len(), 0);
}

#[tokio::test]
async fn every_fault_is_named_with_its_pointer() {
    let app = TestApp::spawn().await;
    let sent =
        json!({"code": "", "name": 5, "time_zone": "Mars/Base", "ruleset": "us_construction", "site_id": 1});
    let answer = app.as_role("hygienist").post("/sites", &sent).await;
    is_problem(&answer, 422, "faults");
    let mut pointers = answer.pointers();
    pointers.sort_unstable();
    assert_eq!(pointers, ["/code", "/name", "/rule_set", "/ruleset", "/site_id", "/time_zone"]);
}

#[tokio::test]
async fn a_body_that_is_too_large_is_refused_and_not_stored() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let large = format!("{{\"code\": \"LYN\", \"name\": \"{}\"}}", "x".repeat(20 << 20));
    let answer = hygienist.post_text("/sites", "application/json", large).await;
    is_problem(&answer, 413, "too_large");
    assert_eq!(hygienist.get("/sites").await.ids().len(), 0);
}

#[tokio::test]
async fn another_media_type_is_refused() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    for media_type in ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"] {
        is_problem(&hygienist.post_text("/sites", media_type, "{}").await, 415, "media_type");
    }
    let untold = Answer::of(hygienist.request("POST", "/sites").body("{}")).await;
    is_problem(&untold, 415, "media_type");
}

#[tokio::test]
async fn addresses_methods_and_identifiers_that_are_none() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    for path in ["/nothing", "/api/v2/sites", "/sites/", "/sites//groups", "/groups/%ff", "/groups/%00"] {
        is_problem(&hygienist.get(path).await, 404, "unknown");
    }
    for id in ["1", "00000000-0000-7000-8000-000000000000", "' OR 1=1 --", "..%2f..%2fetc", "{id}"] {
        is_problem(&hygienist.get(&format!("/groups/{id}")).await, 404, "unknown");
    }
    for (method, path) in [("DELETE", "/sites"), ("PUT", "/sites"), ("PATCH", "/sites"), ("TRACE", "/sites")]
    {
        let answer = Answer::of(hygienist.request(method, path)).await;
        is_problem(&answer, 405, "method_not_allowed");
        assert!(answer.header("allow").contains("GET"), "{method} {path}");
    }
}

#[tokio::test]
async fn sql_and_markup_in_names_are_text_like_any_other() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let names = [
        "'; DROP TABLE site; --",
        "\" OR \"\"=\"",
        "<script>alert(1)</script>",
        "%_\\",
        "名前 \u{202e} 🧪",
        "=1+1|cmd",
    ];
    for (n, name) in names.iter().enumerate() {
        let body = json!({"code": format!("G{n}"), "title": name, "description": name});
        let made = hygienist.post(&format!("/sites/{site}/groups"), &body).await;
        let read = hygienist.get(&format!("/groups/{}", made.id())).await;
        assert_eq!((read.status, &read.json["title"]), (200, &json!(name)));
        let found = hygienist.post("/workers/search", &json!({"text": name})).await;
        assert_eq!((found.status, found.ids().len()), (200, 0));
    }
    let nul =
        hygienist.post(&format!("/sites/{site}/groups"), &json!({"code": "N", "title": "a\u{0}b"})).await;
    is_problem(&nul, 422, "faults");
    assert_eq!(hygienist.get(&format!("/sites/{site}/groups")).await.ids().len(), names.len());
}

#[tokio::test]
async fn keys_and_credentials_that_are_none() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    let body = json!({});
    for key in ["\"open", "é", &"x".repeat(256)] {
        is_problem(&hygienist.post_with_key("/sites", key, &body).await, 400, "unreadable");
    }
    let nobody = app.as_nobody().get("/sites").await;
    is_problem(&nobody, 401, "unauthorised");
    assert_eq!(nobody.header("www-authenticate"), "Bearer");
    for token in ["x", "dw1_0000000000000000_x", &"x".repeat(5000)] {
        let wrong = app.with_token(token).get("/sites").await;
        is_problem(&wrong, 401, "unauthorised");
        assert!(wrong.header("www-authenticate").starts_with("Bearer"));
    }
    let basic = Answer::of(app.as_nobody().request("GET", "/sites").basic_auth("user", Some("word"))).await;
    is_problem(&basic, 401, "unauthorised");
}

#[tokio::test]
async fn a_site_in_headers_query_or_body_changes_nothing() {
    let app = TestApp::spawn().await;
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    app.add_account_on("here", "hygienist", &[&here]).await;
    let client = app.as_role("here");
    let request = client.request("GET", &format!("/sites/{there}/groups")).header("x-site-id", &here);
    assert_eq!(Answer::of(request).await.status, 404);
    let body = json!({"code": "G", "title": "Group", "site_id": there});
    let answer = client.post(&format!("/sites/{here}/groups"), &body).await;
    assert_eq!((answer.status, answer.pointers()), (422, vec!["/site_id"]));
    assert_eq!(client.get(&format!("/sites/{here}/groups?site_id={there}")).await.status, 422);
    // Another site's thing in a body is the same fault as one that does not exist.
    let elsewhere = app.group(&there, "G").await;
    for group in [elsewhere.as_str(), "00000000-0000-7000-8000-000000000000"] {
        let body = json!({"code": "T", "title": "Task", "group_id": group});
        let answer = client.post(&format!("/sites/{here}/tasks"), &body).await;
        assert_eq!((answer.status, answer.pointers()), (422, vec!["/group_id"]));
    }
}

#[tokio::test]
async fn the_id_of_a_request_comes_back_unless_it_is_odd() {
    let app = TestApp::spawn().await;
    let ask = |id: &'static str| {
        Answer::of(app.as_nobody().request("GET", "/health/live").header("x-request-id", id))
    };
    assert_eq!(ask("upload-17").await.header("x-request-id"), "upload-17");
    assert_eq!(ask("a b<c>").await.header("x-request-id").len(), 36);
}
