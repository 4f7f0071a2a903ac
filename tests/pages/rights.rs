//! Who may open what: every page of the table as every role, by the one policy.

use crate::harness::TestApp;
use crate::person::Person;
use doseward::access::policy::allows;
use doseward::model::facts::account::Role;
use doseward::pages::table::{Who, pages};

/// A path with something of nobody in place of its names.
fn path(template: &str) -> String {
    let nobody = "01900000-0000-7000-8000-00000000ffff";
    let parts = template.split('/').map(|part| if part.starts_with('{') { nobody } else { part });
    parts.collect::<Vec<_>>().join("/")
}

#[tokio::test]
async fn a_role_opens_the_pages_that_the_policy_lets_it_open_and_no_others() {
    let app = TestApp::spawn().await;
    let mut wrong = Vec::new();
    for role in Role::ALL.iter().copied() {
        let person = Person::signed_in_whole(&app, role.as_str()).await;
        let token = person.get("/account").await.token();
        for page in pages().iter().filter(|page| page.path != "/sign-out") {
            let may = match page.who {
                Who::Anybody | Who::SignedIn => true,
                Who::HalfSignedIn => false,
                Who::May(action) => allows(role, action),
            };
            let path = path(page.path);
            let status = if page.method == "GET" {
                person.get(&path).await.status
            } else {
                person.post(&path, &[("form_token", &token)]).await.status
            };
            if (status == 403) == may || status >= 500 {
                wrong.push(format!("{role} at {page:?}: {status}"));
            }
        }
        assert_eq!(person.get("/account").await.status, 200, "{role} is signed in still");
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test]
async fn without_a_session_every_page_but_the_way_in_asks_to_sign_in() {
    let app = TestApp::spawn().await;
    let person = Person::at(&app.address);
    for page in pages().iter().filter(|page| page.who != Who::Anybody) {
        let path = path(page.path);
        let answer =
            if page.method == "GET" { person.get(&path).await } else { person.post(&path, &[]).await };
        assert_eq!(answer.status, 303, "{page:?}");
        assert!(answer.leads_to().starts_with("/sign-in"), "{page:?}");
    }
}
