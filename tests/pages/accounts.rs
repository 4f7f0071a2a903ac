//! Accounts kept on pages: made, let in, given other roles, switched off; tokens shown once.

use crate::harness::TestApp;
use crate::person::{PASSWORD, Person, account};

#[tokio::test]
async fn an_administrator_makes_an_account_and_its_owner_gets_in_with_a_code() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    let administrator = Person::signed_in_whole(&app, "administrator").await;
    let both = [("email", "new@example.org"), ("role-physician", "all"), ("role-administrator", "all")];
    let wrong = administrator.send_form("/accounts", "/accounts", &both).await;
    assert!(
        wrong.status == 422 && wrong.html.contains("must not hold physician and administrator together"),
        "{}",
        wrong.html
    );
    assert!(wrong.html.contains("value=\"new@example.org\""), "what was typed is there still");
    let fields = [("email", "new@example.org"), ("site-coordinator", site.as_str())];
    let made = administrator.send_form("/accounts", "/accounts", &fields).await;
    let id = account(&app, "new").await;
    assert_eq!(made.leads_to(), format!("/accounts/{id}?said=account-made"));
    let page = format!("/accounts/{id}");
    let shown = administrator.send_form(&page, &format!("{page}/code"), &[]).await;
    let code = shown.html.split("/enter/").nth(1).unwrap().split('<').next().unwrap();
    let owner = Person::at(&app.address);
    let chosen = [("password", PASSWORD), ("again", PASSWORD)];
    assert_eq!(owner.post(&format!("/enter/{code}"), &chosen).await.leads_to(), "/");
    let first = owner.get("/").await;
    assert!(first.html.contains("site coordinator, one site"), "{}", first.html);
    // Other roles end the session.
    let roles = [("role-corporate", "all"), ("reason", "another job")];
    let changed = administrator.send_form(&page, &format!("{page}/roles"), &roles).await;
    assert_eq!(changed.leads_to(), format!("{page}?said=roles-changed"));
    assert_eq!(owner.get("/account").await.status, 303);
    assert_eq!(owner.sign_in("new@example.org", PASSWORD).await.status, 303);
    let off = administrator.send_form(&page, &format!("{page}/disabling"), &[("reason", "left")]).await;
    assert_eq!(off.leads_to(), format!("{page}?said=account-disabled"));
    assert_eq!(owner.get("/account").await.status, 303);
    assert_eq!(owner.sign_in("new@example.org", PASSWORD).await.status, 422);
    administrator.send_form(&page, &format!("{page}/enabling"), &[("reason", "back")]).await;
    assert_eq!(owner.sign_in("new@example.org", PASSWORD).await.status, 303);
}

#[tokio::test]
async fn a_token_is_shown_once_and_ends_when_it_is_revoked() {
    let app = TestApp::spawn().await;
    let administrator = Person::signed_in_whole(&app, "administrator").await;
    let id = account(&app, "corporate").await;
    let page = format!("/accounts/{id}");
    let wrong = [("label", "night"), ("opens", "api"), ("days", "many")];
    assert_eq!(administrator.send_form(&page, &format!("{page}/tokens"), &wrong).await.status, 422);
    let fields = [("label", "night"), ("opens", "api"), ("days", "")];
    let made = administrator.send_form(&page, &format!("{page}/tokens"), &fields).await;
    let token = made.html.split("class=\"secret\">").nth(1).unwrap().split('<').next().unwrap().to_owned();
    assert_eq!(app.with_token(&token).get("/duties").await.status, 200);
    let again = administrator.get(&page).await;
    assert!(!again.html.contains(&token));
    let revocation = again.html.split("action=\"/tokens/").nth(1).unwrap().split('"').next().unwrap();
    administrator.send_form(&page, &format!("/tokens/{revocation}"), &[]).await;
    assert_eq!(app.with_token(&token).get("/duties").await.status, 401);
}

#[tokio::test]
async fn a_second_factor_that_was_lost_is_taken_away_and_set_up_anew() {
    let app = TestApp::spawn().await;
    let administrator = Person::signed_in_whole(&app, "administrator").await;
    let physician = Person::signed_in_whole(&app, "physician").await;
    let page = format!("/accounts/{}", account(&app, "physician").await);
    let away = administrator.send_form(&page, &format!("{page}/second-factor/removal"), &[]).await;
    assert_eq!(away.leads_to(), format!("{page}?said=factor-taken-away"));
    assert_eq!(physician.get("/account").await.status, 303);
    physician.sign_in("physician@example.org", PASSWORD).await;
    let enrol = physician.get("/sign-in/second-factor").await;
    assert!(enrol.html.contains("class=\"secret\""), "{}", enrol.html);
}

#[tokio::test]
async fn a_site_is_made_with_its_faults_beside_the_fields() {
    let app = TestApp::spawn().await;
    let administrator = Person::signed_in_whole(&app, "administrator").await;
    let make = async |zone: &str| {
        let fields = [
            ("code", "LYN"),
            ("name", "Lynhead works"),
            ("time_zone", zone),
            ("rule_set", "us_general_industry"),
        ];
        administrator.send_form("/registered-sites", "/registered-sites", &fields).await
    };
    let wrong = make("Lynhead").await;
    assert!(
        wrong.status == 422 && wrong.html.contains("zone-why") && wrong.html.contains("Lynhead works"),
        "{}",
        wrong.html
    );
    assert_eq!(make("America/Denver").await.leads_to(), "/registered-sites?said=site-made");
    let taken = make("America/Denver").await;
    assert!(taken.status == 422 && taken.html.contains("is taken by another site"), "{}", taken.html);
}
