//! Accounts and tokens.

use crate::harness::TestApp;
use serde_json::json;

#[tokio::test]
async fn a_token_works_until_it_is_revoked_or_expires() {
    let app = TestApp::spawn().await;
    let administrator = app.as_role("administrator");
    let body = json!({"email": "Import@Example.org", "roles": [{"role": "coordinator"}]});
    let account = administrator.post("/accounts", &body).await;
    assert_eq!(account.json["email"], json!("import@example.org"));
    let path = format!("/accounts/{}/tokens", account.id());
    let made = administrator.post(&path, &json!({"label": "nightly", "days": 10})).await;
    let (id, secret) = (made.id(), made.json["token"].as_str().unwrap().to_owned());
    assert_eq!(app.with_token(&secret).get("/sites").await.status, 200);
    let read = administrator.get(&format!("/tokens/{id}")).await;
    assert_eq!((read.json.get("token"), &read.json["expires_on"]), (None, &json!("2026-03-12")));
    assert!(!administrator.get(&path).await.text.contains(&secret));
    let revoked = administrator.post(&format!("/tokens/{id}/revocation"), &json!({"reason": "lost"})).await;
    assert_eq!(revoked.status, 201);
    assert_eq!(app.with_token(&secret).get("/sites").await.status, 401);
    let second = administrator.post(&path, &json!({"label": "nightly", "days": 10})).await;
    let secret = second.json["token"].as_str().unwrap().to_owned();
    app.clock.advance(chrono::Duration::days(10));
    assert_eq!(app.with_token(&secret).get("/sites").await.status, 401);
}

#[tokio::test]
async fn a_secret_is_not_kept_for_a_second_asking() {
    let app = TestApp::spawn().await;
    let administrator = app.as_role("administrator");
    let accounts = administrator.get("/accounts").await;
    let path = format!("/accounts/{}/tokens", accounts.ids()[0]);
    let body = json!({"label": "nightly"});
    let first = administrator.post_with_key(&path, "k-1", &body).await;
    let second = administrator.post_with_key(&path, "k-1", &body).await;
    assert!(first.json["token"].is_string());
    assert_eq!((second.status, second.id(), second.json.get("token")), (201, first.id(), None));
}

#[tokio::test]
async fn a_voided_account_is_locked_out_and_only_administrators_void_accounts() {
    let app = TestApp::spawn().await;
    app.add_account("leaver", json!([{"role": "corporate"}])).await;
    let administrator = app.as_role("administrator");
    let accounts = administrator.get("/accounts").await;
    let items = accounts.json["items"].as_array().unwrap();
    let leaver = items.iter().find(|item| item["email"] == "leaver@example.org").unwrap();
    let path = format!("/accounts/{}/voiding", leaver["id"].as_str().unwrap());
    let reason = json!({"reason": "has left"});
    assert_eq!(app.as_role("hygienist").post(&path, &reason).await.status, 403);
    assert_eq!(administrator.post(&path, &reason).await.status, 201);
    assert_eq!(app.as_role("leaver").get("/sites").await.status, 401);
}

#[tokio::test]
async fn physician_and_administrator_are_never_one_account() {
    let app = TestApp::spawn().await;
    let body = json!({"email": "a@b.org", "roles": [{"role": "physician"}, {"role": "administrator"}]});
    let answer = app.as_role("administrator").post("/accounts", &body).await;
    assert_eq!((answer.status, answer.pointers()), (422, vec!["/roles"]));
}
