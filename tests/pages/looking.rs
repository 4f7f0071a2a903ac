//! Looking without scripts, from a day before something was entered, at one kind of fact, and at the paper for an examination.

use crate::browser::Browser;
use crate::harness::TestApp;
use crate::person::Person;
use crate::reading::enter;
use crate::works::{AGENT, Shift, works};

#[tokio::test]
async fn without_scripts_a_physician_and_corporate_reach_what_they_came_for() {
    let app = TestApp::spawn().await;
    let works = works(&app).await;
    let browser = Browser::start().await;
    // The second factor is read from the page by a script of the test; from there on there is none.
    enter(&browser, &app, "physician").await;
    browser.scripts(false).await;
    browser.type_into("#find", "Orla").await;
    browser.click("form[role=search] button").await;
    browser.click(&format!("a[href='/workers/{}']", works.workers[0])).await;
    browser.find("#life figure svg").await;
    browser.type_into("#lag_years", "1").await;
    browser.click("main form[data-at-once] button").await;
    browser.find("#life figure svg").await;
    assert!(browser.address().await.contains("lag_years=01"), "{}", browser.address().await);
    browser.type_into("#purpose-text", "an examination").await;
    browser.click("#purpose button").await;
    browser.find("#purpose .said").await;
    let text = browser.text().await;
    assert!(text.contains("Orla Venning") && text.contains("at Lynhead"), "{text}");
    browser.click("nav a[href='/duties']").await;
    browser.find("main h1").await;
    browser.click("form.out button").await;
    browser.find(".said").await;
    browser.scripts(true).await;
    browser.forget().await;
    enter(&browser, &app, "corporate").await;
    browser.scripts(false).await;
    browser.click("nav a[href='/sites']").await;
    browser.click(&format!("main a[href='/sites/{}']", works.site)).await;
    browser.click(&format!("#groups a[href^='/groups/{}']", works.group)).await;
    browser.find("#results figure svg").await;
    browser.click(&format!("#tasks a[href^='/tasks/{}']", works.task)).await;
    browser.find("p.verdict").await;
    let text = browser.text().await;
    assert!(text.contains("With this control people breathe less"), "{text}");
}

#[tokio::test]
async fn from_a_day_before_something_was_entered_one_is_told_so_and_led_to_now() {
    let app = TestApp::spawn().await;
    let works = works(&app).await;
    let person = Person::signed_in_whole(&app, "physician").await;
    let path = format!("/workers/{}", works.workers[0]);
    let then = person.get(&format!("{path}?as_known_on=2026-03-01")).await;
    assert_eq!(then.status, 404);
    for told in ["Not known on that day", "It was entered later", &format!("href=\"{path}\"")] {
        assert!(then.html.contains(told), "{told}: {}", then.html);
    }
    assert_eq!(person.get(&path).await.status, 200);
    // What there never was is told as that.
    let never = person.get("/workers/01900000-0000-7000-8000-00000000ffff").await;
    assert!(never.html.contains("There is nothing here"), "{}", never.html);
}

#[tokio::test]
async fn the_journal_is_read_by_kind_of_fact_on_its_page_and_over_the_api() {
    let app = TestApp::spawn().await;
    works(&app).await;
    let person = Person::signed_in(&app, "hygienist").await;
    let api = app.as_role("hygienist");
    let answered = api.get("/journal?kind=control_period&limit=500").await.json;
    let kinds: Vec<&str> =
        answered["items"].as_array().unwrap().iter().filter_map(|entry| entry["kind"].as_str()).collect();
    assert_eq!(kinds, ["control_period"]);
    let page = person.get("/journal?kind=control_period").await;
    assert!(
        page.html.contains("<option value=\"control_period\" selected>Control in place"),
        "{}",
        page.html
    );
    let lines = page.html.matches("href=\"/journal/").count();
    assert_eq!(lines, 1, "{}", page.html);
    assert!(page.html.contains("Control in place: recorded"), "{}", page.html);
    // A kind that is none is a fault to a program; the page shows the whole.
    let wrong = api.get("/journal?kind=nonsense").await;
    assert_eq!((wrong.status, wrong.pointers()), (422, vec!["/kind"]));
    assert!(person.get("/journal?kind=nonsense").await.html.matches("href=\"/journal/").count() > 10);
    // Grounds are a kind of the physician alone.
    assert_eq!(api.get("/journal?kind=medical_ground").await.status, 422);
    assert!(!page.html.contains("medical_ground"));
    let physician = app.as_role("physician").get("/journal?kind=medical_ground").await;
    assert!([200, 403].contains(&physician.status), "{}", physician.text);
}

#[tokio::test]
async fn a_physician_is_led_to_the_paper_for_an_examination_and_others_are_not() {
    let app = TestApp::spawn().await;
    let works = works(&app).await;
    let worker = format!("/workers/{}", works.workers[0]);
    let paper = format!("{worker}/examiner-packet?agent_code={AGENT}");
    let physician = Person::signed_in_whole(&app, "physician").await;
    let page = physician.get(&worker).await;
    assert!(page.html.contains(&paper), "{}", page.html);
    let shown = physician.get(&paper).await;
    assert_eq!(shown.status, 200, "{}", shown.html);
    assert!(shown.html.contains("Orla Venning") && shown.html.contains("Group WELD"), "{}", shown.html);
    // The same paper as the API's, but for the entry of the journal at its foot.
    let api =
        app.as_role("physician").get(&format!("{worker}/examiner-packet.html?agent_code={AGENT}")).await;
    let body = |html: &str| html.split("<footer").next().unwrap().to_owned();
    assert_eq!(body(&shown.html), body(&api.text));
    let hygienist = Person::signed_in(&app, "hygienist").await;
    assert!(!hygienist.get(&worker).await.html.contains("/examiner-packet"));
    let browser = Browser::start().await;
    browser.open(&format!("{}/sign-in", app.address)).await;
    let session = physician.cookie(crate::signing_in::SESSION).unwrap();
    let cookie =
        serde_json::json!({"name": crate::signing_in::SESSION, "value": session, "url": app.address});
    browser.set_cookie(cookie).await;
    browser.open(&format!("{}{paper}", app.address)).await;
    let pictures = std::env::var_os("TEST_PAGES_PICTURES").map(std::path::PathBuf::from);
    let mut wrong = Vec::new();
    crate::walk::look(&browser, &crate::walk::axe(), pictures.as_ref(), "examiner-packet", &mut wrong).await;
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    // Without an agent there is no paper.
    assert_eq!(physician.get(&format!("{worker}/examiner-packet")).await.status, 422);
}

#[tokio::test]
async fn the_number_of_results_that_would_settle_it_is_the_same_on_the_page_and_over_the_api() {
    let app = TestApp::spawn().await;
    let works = works(&app).await;
    let group = app.group(&works.site, "SPREAD").await;
    let hygienist = app.as_role("hygienist");
    let worker = serde_json::json!({"employee_number": "Q-7", "given_name": "Una", "family_name": "Mere", "employer": "Lynhead",
        "hired_on": "2020-01-01"});
    let worker = hygienist.post("/workers", &worker).await.id();
    let assignment = serde_json::json!({"group_id": group, "from": "2024-07-01", "shifts_per_week": 5, "hours_per_shift": 8});
    hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    let days = ["09", "10", "11", "12", "13", "16"].map(|day| format!("2026-02-{day}"));
    let numbers = ["S1", "S2", "S3", "S4", "S5", "S6"];
    let masses = ["1.2", "2.1", "3.0", "1.7", "1.4", "2.5"];
    let shifts: Vec<Shift<'_>> = (0..6)
        .map(|n| Shift { number: numbers[n], date: &days[n], worker: &worker, mass: masses[n], ran: None })
        .collect();
    works.measure(&app, &works.site, "S", &shifts).await;
    app.registry.settle().await.unwrap();
    let path = format!("/groups/{group}/profiles?agent_code={AGENT}");
    let era = hygienist.get(&path).await.json["items"][0].clone();
    assert_eq!(era["en_689"]["outcome"], "compliance", "{era}");
    let further = era["further_results"]["upper_95"].as_i64().unwrap_or_else(|| panic!("{era}"));
    // By the definition, from the figures of the answer: K(n + m) at 95 % for 95 % is at most the distance, K(n + m - 1) is not.
    let of = |value: &serde_json::Value| value.as_f64().unwrap();
    let distance = (of(&era["limit"]["value"]).ln() - of(&era["geometric_mean"]["value"]).ln())
        / of(&era["geometric_standard_deviation"]).ln();
    let factor = |n: i64| {
        doseward::hygiene::lognormal::tolerance_factor(f64::from(u32::try_from(n).unwrap()), 0.95, 0.95)
    };
    assert!(further > 1 && factor(6 + further).unwrap() <= distance, "{era}");
    assert!(factor(6 + further - 1).unwrap() > distance, "{era}");
    assert_eq!(era["further_results"]["upper_70"], 0, "{era}");
    let page =
        Person::signed_in(&app, "hygienist").await.get(&format!("/groups/{group}?agent_code={AGENT}")).await;
    assert!(
        page.html.contains(&format!("About {further} more shifts would settle it")),
        "{further}: {}",
        page.html
    );
}
