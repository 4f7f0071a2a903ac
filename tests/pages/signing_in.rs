//! Signing in: who gets in, who waits, what ends a session, and what a form from elsewhere gets.

use crate::harness::TestApp;
use crate::person::{PASSWORD, Page, Person, WITHOUT_FACTOR, account, code_of, one_time_code, set_password};
use chrono::Duration;
use serde_json::json;

pub(crate) const SESSION: &str = "doseward-session";

#[tokio::test]
async fn who_is_not_signed_in_is_sent_to_sign_in_and_back_to_where_he_wanted() {
    let app = TestApp::spawn().await;
    let person = Person::at(&app.address);
    assert_eq!(person.get("/").await.leads_to(), "/sign-in");
    let wanted = person.get("/account?x=1").await;
    assert_eq!((wanted.status, wanted.leads_to()), (303, "/sign-in?to=%2Faccount%3Fx%3D1"));
    set_password(&app, "hygienist").await;
    let fields = [("email", "hygienist@example.org"), ("password", PASSWORD), ("to", "/account?x=1")];
    assert_eq!(person.post("/sign-in", &fields).await.leads_to(), "/account?x=1");
    let there = person.get("/account").await;
    assert_eq!(there.status, 200);
    assert!(there.html.contains("hygienist@example.org"), "{}", there.html);
}

#[tokio::test]
async fn an_unknown_address_and_a_wrong_password_get_the_same_answer() {
    let app = TestApp::spawn().await;
    set_password(&app, "hygienist").await;
    let person = Person::at(&app.address);
    let wrong = person.sign_in("hygienist@example.org", "not the password").await;
    let unknown = person.sign_in("nobody@example.org", "not the password").await;
    // An account that has no password at all is told no other thing.
    let without = person.sign_in("coordinator@example.org", "not the password").await;
    let bare = |page: &Page, email: &str| (page.status, page.html.replace(email, "x"));
    assert_eq!(wrong.status, 422);
    assert_eq!(bare(&wrong, "hygienist@example.org"), bare(&unknown, "nobody@example.org"));
    assert_eq!(bare(&wrong, "hygienist@example.org"), bare(&without, "coordinator@example.org"));
    assert_eq!(person.cookie(SESSION), None);
}

#[tokio::test]
async fn the_cookie_is_no_scripts_business_and_every_answer_says_what_a_browser_may_do() {
    let app = TestApp::spawn().await;
    let person = Person::at(&app.address);
    set_password(&app, "hygienist").await;
    let entered = person.sign_in("hygienist@example.org", PASSWORD).await;
    for cookie in entered.headers.get_all("set-cookie") {
        let cookie = cookie.to_str().unwrap();
        assert!(cookie.contains("; Path=/; HttpOnly; SameSite="), "{cookie}");
        // Plain loopback: no prefix, which browsers take with Secure alone.
        assert!(!cookie.contains("Secure") && !cookie.starts_with("__Host-"), "{cookie}");
    }
    for path in ["/", "/sign-in", "/account", "/nowhere", "/enter/x"] {
        let page = person.get(path).await;
        let policy = page.header("content-security-policy");
        assert!(
            policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"),
            "{path}: {policy}"
        );
        assert!(!policy.contains("unsafe"), "{path}: {policy}");
        assert_eq!(page.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(page.header("cache-control"), "no-store", "{path}");
        assert!(!page.header("referrer-policy").is_empty(), "{path}");
        for inline in ["<style", " style=", "onclick=", "onsubmit=", "javascript:", "<script>"] {
            assert!(!page.html.contains(inline), "{path} holds {inline}");
        }
    }
}

#[tokio::test]
async fn a_session_is_a_new_one_at_every_sign_in_and_one_that_was_put_there_opens_nothing() {
    let app = TestApp::spawn().await;
    set_password(&app, "hygienist").await;
    let person = Person::at(&app.address);
    person.set_cookie(SESSION, "chosen-by-somebody-else");
    person.sign_in("hygienist@example.org", PASSWORD).await;
    let first = person.cookie(SESSION).unwrap();
    assert_ne!(first, "chosen-by-somebody-else");
    assert!(first.len() >= 43, "256 bits");
    let other = Person::at(&app.address);
    other.sign_in("hygienist@example.org", PASSWORD).await;
    assert_ne!(other.cookie(SESSION).unwrap(), first);
    let stranger = Person::at(&app.address);
    stranger.set_cookie(SESSION, "chosen-by-somebody-else");
    assert_eq!(stranger.get("/account").await.status, 303);
}

// NIST SP 800-63B-4 draft, AAL2, as trust.md has it: 30 minutes without use, 12 hours in all.
#[tokio::test]
async fn a_session_ends_by_disuse_and_by_age() {
    let app = TestApp::spawn().await;
    let person = Person::signed_in(&app, "hygienist").await;
    app.clock.advance(Duration::minutes(29));
    assert_eq!(person.get("/account").await.status, 200);
    app.clock.advance(Duration::minutes(31));
    assert_eq!(person.get("/account").await.status, 303);
    let person = Person::signed_in(&app, "hygienist").await;
    for _ in 0..35 {
        app.clock.advance(Duration::minutes(20));
        assert_eq!(person.get("/account").await.status, 200);
    }
    app.clock.advance(Duration::minutes(21));
    assert_eq!(person.get("/account").await.status, 303, "it is older than twelve hours");
}

#[tokio::test]
async fn a_session_ends_when_the_account_is_disabled_or_its_roles_change() {
    let app = TestApp::spawn().await;
    app.add_account("leaver", json!([{"role": "corporate"}])).await;
    app.add_account("mover", json!([{"role": "corporate"}])).await;
    let leaver = Person::signed_in(&app, "leaver").await;
    let mover = Person::signed_in(&app, "mover").await;
    let administrator = app.as_role("administrator");
    let id = account(&app, "leaver").await;
    let voided = administrator.post(&format!("/accounts/{id}/voiding"), &json!({"reason": "left"})).await;
    assert!(voided.status < 300, "{}", voided.text);
    assert_eq!(leaver.get("/account").await.status, 303);
    assert_eq!(leaver.sign_in("leaver@example.org", PASSWORD).await.status, 422);
    let id = account(&app, "mover").await;
    let read = administrator.get(&format!("/accounts/{id}")).await;
    let change = json!({"roles": [{"role": "hygienist"}], "reason": "another job"});
    let patched = administrator.request("PATCH", &format!("/accounts/{id}")).json(&change);
    let patched = crate::harness::Answer::of(patched.header("if-match", read.header("etag"))).await;
    assert_eq!(patched.status, 200, "{}", patched.text);
    assert_eq!(mover.get("/account").await.status, 303);
}

#[tokio::test]
async fn signing_out_ends_the_session_at_the_registry_and_not_only_in_the_browser() {
    let app = TestApp::spawn().await;
    let person = Person::signed_in(&app, "hygienist").await;
    let kept = person.cookie(SESSION).unwrap();
    let out = person.send_form("/account", "/sign-out", &[]).await;
    assert_eq!((out.status, person.cookie(SESSION)), (303, None));
    person.set_cookie(SESSION, &kept);
    assert_eq!(person.get("/account").await.status, 303);
}

#[tokio::test]
async fn a_password_is_changed_with_the_old_one_and_every_other_session_ends() {
    let app = TestApp::spawn().await;
    let (here, there) =
        (Person::signed_in(&app, "hygienist").await, Person::signed_in(&app, "hygienist").await);
    let new = "seven copper kettles";
    let change = async |old: &str, new: &str, again: &str| {
        let fields = [("old_password", old), ("new_password", new), ("again", again)];
        here.send_form("/account", "/account/password", &fields).await
    };
    assert_eq!(change("wrong", new, new).await.status, 422);
    assert_eq!(change(PASSWORD, new, "other").await.status, 422);
    let short = change(PASSWORD, "short", "short").await;
    assert!(short.status == 422 && short.html.contains("at least 12 characters"), "{}", short.html);
    assert_eq!(there.get("/account").await.status, 200, "nothing has changed so far");
    assert_eq!(change(PASSWORD, new, new).await.leads_to(), "/account?said=password-changed");
    assert_eq!((here.get("/account").await.status, there.get("/account").await.status), (200, 303));
    assert_eq!(there.sign_in("hygienist@example.org", PASSWORD).await.status, 422);
    assert_eq!(there.sign_in("hygienist@example.org", new).await.status, 303);
}

#[tokio::test]
async fn a_person_sees_his_own_sessions_and_ends_them_and_nobody_elses() {
    let app = TestApp::spawn().await;
    let (here, there) =
        (Person::signed_in(&app, "hygienist").await, Person::signed_in(&app, "hygienist").await);
    let other = Person::signed_in(&app, "corporate").await;
    let own = |html: &str| -> Vec<String> {
        let after = html.split("action=\"/account/sessions/").skip(1);
        let ids = after.map(|rest| rest.split("/end\"").next().unwrap().to_owned());
        ids.filter(|id| id.len() == 36).collect()
    };
    let page = here.get("/account").await;
    let [id] = &own(&page.html)[..] else { panic!("one other session: {}", page.html) };
    assert_eq!(other.send_form("/account", &format!("/account/sessions/{id}/end"), &[]).await.status, 404);
    assert_eq!(there.get("/account").await.status, 200);
    assert_eq!(here.send_form("/account", &format!("/account/sessions/{id}/end"), &[]).await.status, 303);
    assert_eq!(there.get("/account").await.status, 303);
}

#[tokio::test]
async fn a_form_from_elsewhere_or_without_its_token_changes_nothing() {
    let app = TestApp::spawn().await;
    let person = Person::signed_in(&app, "hygienist").await;
    let token = person.get("/account").await.token();
    let with = [("form_token", token.as_str())];
    for origin in [Some("https://elsewhere.example"), Some("null"), None] {
        assert_eq!(person.post_from("/sign-out", &with, origin).await.status, 403, "{origin:?}");
    }
    assert_eq!(person.post("/sign-out", &[]).await.status, 403);
    let other = Person::signed_in(&app, "corporate").await.get("/account").await.token();
    assert_eq!(person.post("/sign-out", &[("form_token", &other)]).await.status, 403);
    assert_eq!(person.get("/sign-out").await.status, 405, "looking changes nothing");
    assert_eq!(person.get("/account").await.status, 200, "still signed in");
    // Somebody who is not signed in yet is not signed in by another's form either.
    let stranger = Person::at(&app.address);
    let fields = [("email", "hygienist@example.org"), ("password", PASSWORD)];
    let forged = stranger.post_from("/sign-in", &fields, Some("https://elsewhere.example")).await;
    assert_eq!((forged.status, stranger.cookie(SESSION)), (403, None));
}

#[tokio::test]
async fn guesses_wait_and_a_device_that_was_used_before_does_not() {
    let app = TestApp::spawn().await;
    let known = Person::signed_in(&app, "hygienist").await;
    let guesser = Person::at(&app.address);
    let mut looked_at = 0;
    for n in 0..1_000 {
        let page = guesser.sign_in("hygienist@example.org", &format!("guess number {n}")).await;
        match page.status {
            422 => looked_at += 1,
            429 => assert!(!page.header("retry-after").is_empty()),
            other => panic!("{other}"),
        }
        if n > 20 && looked_at == 5 {
            break;
        }
    }
    assert_eq!(looked_at, 5, "five are free");
    // The right password does not get in from there either, so that guessing tells nothing.
    assert_eq!(guesser.sign_in("hygienist@example.org", PASSWORD).await.status, 429);
    let again = known.sign_in("hygienist@example.org", PASSWORD).await;
    assert_eq!(again.status, 303, "the device is known");
    app.clock.advance(Duration::seconds(31));
    assert_eq!(guesser.sign_in("hygienist@example.org", "one more").await.status, 422);
    assert_eq!(guesser.sign_in("hygienist@example.org", "one more").await.status, 429);
    // An address of nobody waits in the same way.
    for _ in 0..5 {
        guesser.sign_in("nobody@example.org", "guess").await;
    }
    assert_eq!(guesser.sign_in("nobody@example.org", "guess").await.status, 429);
}

#[tokio::test]
async fn a_one_time_code_lets_a_password_be_chosen_once_and_for_an_hour() {
    let app = TestApp::spawn().await;
    let code = one_time_code(&app, "corporate").await;
    let address = format!("/enter/{code}");
    let person = Person::at(&app.address);
    assert_eq!(person.get(&address).await.status, 200);
    assert_eq!(person.get(&address).await.status, 200, "looking uses nothing up");
    let weak =
        person.post(&address, &[("password", "corporate 1234567"), ("again", "corporate 1234567")]).await;
    assert_eq!(weak.status, 422, "it holds the name of the address");
    let chosen = [("password", PASSWORD), ("again", PASSWORD)];
    assert_eq!(person.post(&address, &chosen).await.leads_to(), "/");
    assert_eq!(person.get("/account").await.status, 200);
    assert_eq!(person.get(&address).await.status, 404);
    assert_eq!(Person::at(&app.address).post(&address, &chosen).await.status, 404);
    let late = one_time_code(&app, "coordinator").await;
    app.clock.advance(Duration::minutes(61));
    assert_eq!(person.get(&format!("/enter/{late}")).await.status, 404);
}

#[tokio::test]
async fn a_physician_and_an_administrator_give_a_second_factor_and_a_code_once() {
    let app = TestApp::spawn().await;
    for role in WITHOUT_FACTOR {
        Person::signed_in(&app, role.as_str()).await;
    }
    for role in ["physician", "administrator"] {
        set_password(&app, role).await;
        let person = Person::at(&app.address);
        let email = format!("{role}@example.org");
        let entered = person.sign_in(&email, PASSWORD).await;
        assert_eq!(entered.leads_to(), "/sign-in/second-factor?to=%2F");
        assert_eq!(person.get("/").await.leads_to(), "/sign-in", "half is not in");
        let half = person.cookie(SESSION).unwrap();
        let enrol = person.get("/sign-in/second-factor").await;
        assert!(enrol.html.contains("<svg class=\"qr\""), "{}", enrol.html);
        let code = code_of(&app, &enrol);
        let give = async |who: &Person, code: &str| {
            who.send_form("/sign-in/second-factor", "/sign-in/second-factor", &[("code", code)]).await
        };
        assert_eq!(give(&person, "000000").await.status, 422);
        assert_eq!(give(&person, &code).await.leads_to(), "/");
        assert_eq!(person.get("/account").await.status, 200);
        assert_ne!(person.cookie(SESSION).unwrap(), half, "a new session after the code");
        let again = Person::at(&app.address);
        again.sign_in(&email, PASSWORD).await;
        let asked = again.get("/sign-in/second-factor").await;
        assert!(!asked.html.contains("class=\"secret\""), "what is set up is not shown again");
        assert_eq!(give(&again, &code).await.status, 422, "the code was used");
        app.clock.advance(Duration::seconds(31));
        let next = code_of(&app, &enrol);
        assert_eq!(give(&again, &next).await.leads_to(), "/");
    }
}
