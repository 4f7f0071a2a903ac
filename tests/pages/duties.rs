//! Duties on pages: seen by whom they concern, answered one by one and many at once, all of it or nothing.

use crate::harness::TestApp;
use crate::person::Person;
use serde_json::{Value, json};

/// Two workers at a site whose records were asked for: two duties.
async fn two_requests(app: &TestApp) -> (String, Vec<String>) {
    let site = app.site("LYN").await;
    let group = app.group(&site, "G").await;
    let hygienist = app.as_role("hygienist");
    for (n, name) in ["Orla", "Joss"].iter().enumerate() {
        let worker = json!({
            "employee_number": format!("Q-{n}"), "given_name": name, "family_name": "Venning",
            "employer": "Lynhead", "hired_on": "2020-01-01",
        });
        let worker = hygienist.post("/workers", &worker).await.id();
        let assignment =
            json!({"group_id": group, "from": "2020-01-01", "shifts_per_week": 5, "hours_per_shift": 8});
        hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
        let request =
            json!({"received_on": "2026-02-20", "from": "worker", "what": "<script>alert(1)</script>"});
        hygienist.post(&format!("/workers/{worker}/record-requests"), &request).await.id();
    }
    app.registry.settle().await.unwrap();
    let found = hygienist.get("/duties").await;
    let ids = found.ids().into_iter().map(str::to_owned).collect();
    (site, ids)
}

async fn statuses(app: &TestApp) -> Vec<Value> {
    let found = app.as_role("hygienist").get("/duties").await;
    found.json["items"].as_array().unwrap().iter().map(|duty| duty["status"].clone()).collect()
}

#[tokio::test]
async fn a_duty_is_listed_and_answered_with_what_was_done() {
    let app = TestApp::spawn().await;
    let (_, duties) = two_requests(&app).await;
    assert_eq!(duties.len(), 2);
    let person = Person::signed_in(&app, "coordinator").await;
    let first = person.get("/").await;
    assert!(first.html.contains("Answer the record request"), "{}", first.html);
    let list = person.get("/duties").await;
    assert!(
        list.html.contains("Orla Venning, Q-0") && list.html.contains("Joss Venning, Q-1"),
        "{}",
        list.html
    );
    let address = format!("/duties/{}", duties[0]);
    let fields = |on| [("action", "completed"), ("on", on), ("note", "Sent by post. <b>whole</b>")];
    let wrong = person.send_form(&address, &address, &fields("2026-13-02")).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.html.contains("Sent by post."), "what was typed is there still");
    assert_eq!(statuses(&app).await, ["open", "open"]);
    let done = person.send_form(&address, &address, &fields("2026-03-02")).await;
    assert_eq!(done.leads_to(), format!("{address}?said=duty-recorded"));
    let after = person.get(done.leads_to()).await;
    assert!(
        after.html.contains("It is recorded.") && after.html.contains("&#60;b&#62;whole"),
        "{}",
        after.html
    );
    assert_eq!(statuses(&app).await, ["met", "open"]);
}

#[tokio::test]
async fn many_are_answered_together_all_of_them_or_none_and_the_choice_stays_in_the_address() {
    let app = TestApp::spawn().await;
    let (site, duties) = two_requests(&app).await;
    let person = Person::signed_in(&app, "hygienist").await;
    let asked = format!("site={site}&kind=answer_record_request");
    let page = format!("/duties?{asked}");
    let nobody = "01900000-0000-7000-8000-00000000ffff";
    let act = async |ids: &[&str], action: &str| {
        let mut fields = vec![("asked", asked.as_str()), ("action", action), ("on", "2026-03-02")];
        fields.extend(ids.iter().map(|id| ("duty", *id)));
        person.send_form(&page, "/duties/actions", &fields).await
    };
    assert_eq!(act(&[], "completed").await.status, 422);
    // One of them is no duty: the other is not recorded either.
    assert_eq!(act(&[&duties[0], nobody], "completed").await.status, 404);
    assert_eq!(act(&[&duties[0], &duties[1]], "notified").await.status, 422);
    assert_eq!(statuses(&app).await, ["open", "open"]);
    let done = act(&[&duties[0], &duties[1]], "completed").await;
    assert_eq!(done.leads_to(), format!("/duties?{asked}&said=duties-recorded"));
    assert_eq!(statuses(&app).await, ["met", "met"]);
    let elsewhere = person.get(&format!("/duties?site={nobody}&status=every")).await;
    assert!(!elsewhere.html.contains("Orla"), "{}", elsewhere.html);
}

#[tokio::test]
async fn a_coordinator_of_another_site_sees_nothing_of_it() {
    let app = TestApp::spawn().await;
    let (site, duties) = two_requests(&app).await;
    let other = app.site("OTH").await;
    app.add_account_on("elsewhere", "coordinator", &[&other]).await;
    let person = Person::signed_in(&app, "elsewhere").await;
    let list = person.get("/duties").await;
    assert!(!list.html.contains("Venning"), "{}", list.html);
    assert_eq!(person.get(&format!("/duties/{}", duties[0])).await.status, 404);
    assert_eq!(person.get(&format!("/sites/{site}")).await.status, 404);
    let found = person.send_form("/duties", "/find", &[("text", "Venning")]).await;
    assert!(found.html.contains("Nothing was found"), "{}", found.html);
    let fields = [("action", "completed"), ("on", "2026-03-02")];
    assert_eq!(person.send_form("/duties", &format!("/duties/{}", duties[0]), &fields).await.status, 404);
    assert_eq!(statuses(&app).await, ["open", "open"]);
}

#[tokio::test]
async fn a_calendar_of_ones_own_shows_due_dates_and_no_names() {
    let app = TestApp::spawn().await;
    two_requests(&app).await;
    let person = Person::signed_in(&app, "coordinator").await;
    let made = person.send_form("/duties", "/duties/calendar", &[]).await;
    let after = made.html.split("/api/v1/calendars/").nth(1).unwrap();
    let token = after.split('/').next().unwrap();
    let calendar = app.as_nobody().get(&format!("/calendars/{token}/due-dates.ics")).await;
    assert_eq!(calendar.status, 200);
    assert!(
        calendar.text.contains("BEGIN:VEVENT") && !calendar.text.contains("Venning"),
        "{}",
        calendar.text
    );
    assert_eq!(app.with_token(token).get("/duties").await.status, 401, "it opens the calendar alone");
}

#[tokio::test]
async fn a_search_names_its_finds_and_leaves_a_line_and_no_name_in_an_address() {
    let app = TestApp::spawn().await;
    two_requests(&app).await;
    let person = Person::signed_in_whole(&app, "physician").await;
    let found = person.send_form("/duties", "/find", &[("text", "orla")]).await;
    assert_eq!(found.status, 200);
    assert!(found.html.contains("Orla Venning") && !found.html.contains("Joss"), "{}", found.html);
    assert_eq!(person.get("/find?text=orla").await.status, 405);
}
