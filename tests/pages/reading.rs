//! The reading pages, in a real browser and without one: the ways people go, numbers equal to those of the API, who may see
//! what, and the line that each look leaves.

use crate::browser::Browser;
use crate::harness::TestApp;
use crate::person::{PASSWORD, Person, set_password};
use crate::works::{AGENT, FIRST_KNOWN, Works, works};
use doseward::registry::enter_pack::console;
use doseward::store::access_log::{Placed, head, placed};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The rows of a table behind something, each cell as it is read.
async fn rows(browser: &Browser, selector: &str) -> Vec<Vec<String>> {
    let script = "return [...document.querySelector(arguments[0]).querySelectorAll('tbody tr')] \
                  .map(tr => [...tr.children].map(cell => cell.textContent.trim()))";
    let found = browser.run(script, &[json!(selector)]).await;
    let texts = |row: &Value| -> Vec<String> {
        row.as_array().unwrap().iter().map(|cell| cell.as_str().unwrap().to_owned()).collect()
    };
    found.as_array().unwrap_or(&Vec::new()).iter().map(texts).collect()
}

/// The numbers of a text, in their order.
fn numbers(text: &str) -> Vec<f64> {
    let plain = text.replace('\u{202f}', "");
    plain
        .split(|sign: char| !sign.is_ascii_digit() && sign != '.')
        .filter_map(|part| part.trim_end_matches('.').parse().ok())
        .collect()
}

/// Two figures of a number are within half a unit of the second of them.
fn same(shown: f64, answered: f64) -> bool {
    (shown - answered).abs() <= 0.051 * answered.abs()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

fn told(day: &str) -> String {
    day.parse::<chrono::NaiveDate>().unwrap().format("%-d %b %Y").to_string()
}

/// Holds the table of a life line against the history that the API answers.
fn is_history(rows: &[Vec<String>], history: &Value) {
    let intervals = history["intervals"].as_array().unwrap();
    assert!(!intervals.is_empty());
    for interval in intervals {
        let from = told(interval["from"].as_str().unwrap());
        let row = rows.iter().find(|row| row[1].starts_with(&from));
        let row = row.unwrap_or_else(|| panic!("no row from {from}: {rows:?}"));
        match interval.get("mean") {
            None => assert!(row[3].contains("no data"), "{row:?}"),
            Some(mean) => {
                assert!(same(numbers(&row[3])[0], number(&mean["estimate"])), "{row:?} {mean}");
                let band = numbers(&row[4]);
                assert!(
                    same(band[0], number(&mean["lower"])) && same(band[1], number(&mean["upper"])),
                    "{row:?}"
                );
            }
        }
    }
    let gaps = history["gaps"].as_array().unwrap().len();
    assert_eq!(rows.len(), intervals.len() + gaps, "one row an interval and a gap");
}

/// Signs in with a password, and with a second factor where one is asked for.
pub(crate) async fn enter(browser: &Browser, app: &TestApp, name: &str) {
    set_password(app, name).await;
    browser.open(&format!("{}/sign-in", app.address)).await;
    browser.type_into("#email", &format!("{name}@example.org")).await;
    browser.type_into("#password", PASSWORD).await;
    browser.click("main button.first").await;
    if name == "physician" {
        browser.find(".secret").await;
        let secret = browser.run("return document.querySelector('.secret').textContent", &[]).await;
        let code = crate::person::code_for(app, secret.as_str().unwrap());
        browser.type_into("input[name=code]", &code).await;
        browser.click("main button.first").await;
    }
    browser.find("form.out").await;
}

#[tokio::test]
async fn a_physician_goes_from_signing_in_to_a_life_line_and_back_to_what_was_known() {
    let app = TestApp::spawn().await;
    let works = works(&app).await;
    let browser = Browser::start().await;
    browser.width(1_440).await;
    enter(&browser, &app, "physician").await;
    browser.type_into("#find", "Orla").await;
    browser.click("form[role=search] button").await;
    browser.click(&format!("a[href='/workers/{}']", works.workers[0])).await;
    browser.find("#life figure svg").await;
    let physician = app.as_role("physician");
    let path = format!("/workers/{}/history?agent_code={AGENT}", works.workers[0]);
    let now = physician.get(&path).await.json;
    is_history(&rows(&browser, "#life details table").await, &now);
    let text = browser.text().await;
    assert!(text.contains("Orla Venning") && text.contains("Q-1 at Lynhead"), "{text}");
    let dose = &now["cumulative"];
    let shown = browser.run("return document.querySelector('dl.facts dd.big').textContent", &[]).await;
    let shown = shown.as_str().unwrap().to_owned();
    let [value, lower, upper] = numbers(&shown)[..] else { panic!("{shown}") };
    assert_eq!(json!(shown.starts_with("at least")), dose["at_least"], "{shown}");
    assert!(same(value, number(&dose["value"])), "{shown} {dose}");
    assert!(same(lower, number(&dose["lower"])) && same(upper, number(&dose["upper"])), "{shown} {dose}");
    assert!(text.contains("a licensed professional and the law in force decide"), "{text}");
    // Both sites stand in one picture.
    let groups = rows(&browser, "#work table").await;
    assert!(groups.iter().any(|row| row[0].contains("Site OTH")), "{groups:?}");
    assert!(groups.iter().any(|row| row[0].contains("Site LYN")), "{groups:?}");
    // As it was known before the second report.
    browser.type_into("#day", FIRST_KNOWN).await;
    browser.click("main form[data-at-once] button").await;
    browser.find(".fix a[href*='/workers/']").await;
    let then = physician.get(&format!("{path}&as_known_on={FIRST_KNOWN}T23:59:59.999Z")).await.json;
    assert_ne!(then["intervals"], now["intervals"], "the second report changed something");
    is_history(&rows(&browser, "#life details table").await, &then);
    assert!(browser.text().await.contains("As known at the end of 5 Mar 2026"));
    browser.click(".fix a[href*='/workers/']").await;
    browser.find("#life figure svg").await;
    is_history(&rows(&browser, "#life details table").await, &now);
}

#[tokio::test]
async fn corporate_goes_from_all_sites_to_a_group_and_a_control_and_reads_the_numbers_of_the_api() {
    let app = TestApp::spawn().await;
    let works = works(&app).await;
    let browser = Browser::start().await;
    browser.width(1_440).await;
    enter(&browser, &app, "corporate").await;
    browser.click("nav a[href='/sites']").await;
    browser.click(&format!("main a[href='/sites/{}']", works.site)).await;
    browser.click(&format!("#groups a[href^='/groups/{}']", works.group)).await;
    browser.find("#results figure svg").await;
    let corporate = app.as_role("corporate");
    let profiles = corporate.get(&format!("/groups/{}/profiles?agent_code={AGENT}", works.group)).await.json
        ["items"]
        .clone();
    let profiles = profiles.as_array().unwrap();
    assert_eq!(profiles.len(), 2, "the control cuts an era");
    let table: BTreeMap<String, Vec<String>> = rows(&browser, "#results .spread table")
        .await
        .into_iter()
        .map(|row| (row[0].clone(), row[1..].to_vec()))
        .collect();
    for (at, era) in profiles.iter().enumerate() {
        let cell = |name: &str| numbers(&table[name][at]);
        assert!(same(cell("Results")[0], number(&era["n"])), "{table:?}");
        assert!(same(cell("Geometric mean")[0], number(&era["geometric_mean"]["value"])), "{table:?}");
        assert!(same(cell("Geometric standard deviation")[0], number(&era["geometric_standard_deviation"])));
        let mean = cell("Arithmetic mean (95\u{a0}% limits, one-sided)");
        assert!(same(mean[0], number(&era["arithmetic_mean"]["estimate"])), "{mean:?}");
        if let Some(upper) = era["percentile_95"]["upper_95"].as_f64() {
            assert!(same(cell("its upper limit, 95\u{a0}% confidence")[0], upper), "{table:?}");
        }
    }
    // Every result with its worker, the one below its limit as what it is.
    let shifts = corporate.get(&format!("/shift-averages?group_id={}&agent_code={AGENT}", works.group)).await;
    let shifts = shifts.json["items"].as_array().unwrap().clone();
    let shown = rows(&browser, "#time details table").await;
    assert_eq!(shown.len(), shifts.len());
    for shift in &shifts {
        let day = told(shift["shift_date"].as_str().unwrap());
        let row = shown.iter().find(|row| row[0] == day).unwrap_or_else(|| panic!("{day}: {shown:?}"));
        let twa = &shift["eight_hour_twa"];
        assert!(same(numbers(&row[3])[0], number(&twa["value"])), "{row:?} {twa}");
        assert_eq!(row[3].starts_with('<'), twa["comparator"] == json!("<"), "{row:?}");
    }
    let text = browser.text().await;
    assert!(
        text.contains("Written in") && text.contains("29 CFR 1910.1026"),
        "limits stand with their source: {text}"
    );
    // From the group to its task, and the verdict on its control.
    browser.click(&format!("#tasks a[href^='/tasks/{}']", works.task)).await;
    browser.find("p.verdict").await;
    let verdicts = corporate.get(&format!("/tasks/{}/control-verdicts?agent_code={AGENT}", works.task)).await;
    let verdict = &verdicts.json["items"][0];
    let sentence = browser.run("return document.querySelector('p.verdict').textContent", &[]).await;
    assert_eq!(sentence, verdict["sentence"]);
    assert!(browser.text().await.contains("With this control people breathe less"), "{verdict}");
    let all = rows(&browser, "#control-1 figure ~ details table").await;
    assert!(!all.is_empty());
    let ratio = browser
        .run(
            "return [...document.querySelectorAll('#control-1 details table')].map(t => t.textContent).join(' ')",
            &[],
        )
        .await;
    let shown = numbers(ratio.as_str().unwrap());
    for end in ["estimate", "lower_95", "upper_95"] {
        let answered = number(&verdict["ratio_of_geometric_means"][end]);
        assert!(shown.iter().any(|one| same(*one, answered)), "{end} {answered}: {ratio}");
    }
}

async fn lines_since(app: &TestApp, place: i64) -> Vec<Placed> {
    let mut tx = app.registry.database.read().await.unwrap();
    placed(&mut tx, place, 100).await.unwrap()
}

async fn last_line(app: &TestApp) -> i64 {
    let mut tx = app.registry.database.read().await.unwrap();
    head(&mut tx).await.unwrap().0
}

#[tokio::test]
async fn each_look_at_workers_leaves_one_line_and_a_purpose_stands_in_no_address() {
    let app = TestApp::spawn().await;
    let works = works(&app).await;
    let person = Person::signed_in_whole(&app, "physician").await;
    let (worker, group) = (&works.workers[0], &works.group);
    let of_worker = format!("/workers/{worker}");
    for (path, scope) in [
        (of_worker.clone(), None),
        (format!("{of_worker}/access-log"), None),
        (format!("/groups/{group}"), Some(format!("group {group}"))),
        (format!("/tasks/{}", works.task), Some(String::new())),
        (format!("/sites/{}", works.site), Some(format!("site {}", works.site))),
    ] {
        let before = last_line(&app).await;
        let page = person.get(&path).await;
        assert_eq!(page.status, 200, "{path}: {}", page.html);
        let left = lines_since(&app, before).await;
        let names = page.html.contains("Venning");
        assert_eq!(left.len(), usize::from(names), "{path} names somebody: {names}; {left:?}");
        if let Some(line) = left.first() {
            assert!(line.line.request.starts_with("page /"), "{line:?}");
            match scope {
                None => assert_eq!(line.line.worker.map(|one| one.to_string()).as_ref(), Some(worker)),
                Some(scope) => assert_eq!(line.line.scope.as_ref(), Some(&scope)),
            }
        }
    }
    // What he looks for is a form, and stands in the log.
    let before = last_line(&app).await;
    let stated = person.send_form(&of_worker, &of_worker, &[("stated_purpose", "yearly round")]).await;
    assert_eq!(stated.status, 200);
    let left = lines_since(&app, before).await;
    assert_eq!(left.last().unwrap().line.purpose.as_deref(), Some("yearly round"), "{left:?}");
    // The worker's list tells of every one of them: the group was looked at as a whole.
    let list = person.get(&format!("{of_worker}/access-log")).await;
    for told in ["page /groups/{id}", "page /workers/{id}", "yearly round", "may have been among them"] {
        assert!(list.html.contains(told), "{told}: {}", list.html);
    }
}

#[tokio::test]
async fn whoever_sees_one_site_sees_of_a_worker_what_happened_there_and_of_others_nothing() {
    let app = TestApp::spawn().await;
    let works = works(&app).await;
    app.add_account_on("here", "coordinator", &[&works.site]).await;
    let person = Person::signed_in(&app, "here").await;
    for path in [
        format!("/workers/{}", works.elsewhere),
        format!("/groups/{}", works.other_group),
        format!("/sites/{}", works.other_site),
        format!("/journal?site={}", works.other_site),
    ] {
        assert_eq!(person.get(&path).await.status, 404, "{path}");
    }
    assert_eq!(person.get(&format!("/workers/{}/access-log", works.workers[0])).await.status, 403);
    let page = person.get(&format!("/workers/{}", works.workers[0])).await;
    assert_eq!(page.status, 200);
    assert!(page.html.contains("Only what happened on your sites"), "{}", page.html);
    assert!(page.html.contains("Group WELD") && !page.html.contains("Group FIT"), "{}", page.html);
    assert!(!page.html.contains("Site OTH"), "{}", page.html);
    // A time that he may have spent elsewhere is no time without an assignment.
    assert!(page.html.contains("not in sight") && !page.html.contains("no assignment"), "{}", page.html);
    let physician = Person::signed_in_whole(&app, "physician").await;
    let page = physician.get(&format!("/workers/{}", works.workers[0])).await;
    assert!(page.html.contains("Group FIT") && page.html.contains("Site OTH"), "{}", page.html);
}

/// The entry of a fact that its page in the journal leads to, the newest first.
async fn entries_of(person: &Person, subject: &str) -> Vec<String> {
    let list = person.get(&format!("/journal?subject={subject}")).await;
    assert_eq!(list.status, 200, "{}", list.html);
    let links = list.html.split("href=\"/journal/").skip(1);
    links.map(|rest| format!("/journal/{}", rest.split('"').next().unwrap())).collect()
}

async fn corrected_assignment(app: &TestApp, works: &Works) -> String {
    let hygienist = app.as_role("hygienist");
    let list = hygienist.get(&format!("/workers/{}/assignments", works.workers[1])).await;
    let id = list.ids()[0].to_owned();
    let path = format!("/assignments/{id}");
    let tag = hygienist.get(&path).await.header("etag").to_owned();
    let body = json!({"shifts_per_week": 4, "reason": "He never worked <b>Fridays</b>."});
    let request = hygienist.request("PATCH", &path).header("if-match", tag).json(&body);
    let done = crate::harness::Answer::of(request).await;
    assert_eq!(done.status, 200, "{}", done.text);
    id
}

#[tokio::test]
async fn a_correction_stands_beside_the_number_and_the_earlier_value_stays_readable() {
    let app = TestApp::spawn().await;
    let works = works(&app).await;
    let assignment = corrected_assignment(&app, &works).await;
    let person = Person::signed_in(&app, "hygienist").await;
    let worker = person.get(&format!("/workers/{}", works.workers[1])).await;
    assert!(worker.html.contains("The assignment to Group WELD was corrected"), "{}", worker.html);
    assert!(worker.html.contains(&format!("/journal?subject={assignment}")), "{}", worker.html);
    let entries = entries_of(&person, &assignment).await;
    assert_eq!(entries.len(), 2);
    let newest = person.get(&entries[0]).await;
    assert!(newest.html.contains("<del>5</del>") && newest.html.contains("<ins>4</ins>"), "{}", newest.html);
    assert!(newest.html.contains("He never worked &#60;b&#62;Fridays"), "{}", newest.html);
    let first = person.get(&entries[1]).await;
    assert!(!first.html.contains("<del>") && first.html.contains("<span>5</span>"), "{}", first.html);
    // An administrator sees that it was recorded, and not what.
    let administrator = Person::signed_in_whole(&app, "administrator").await;
    let envelope = administrator.get(&entries[0]).await;
    assert_eq!(envelope.status, 200);
    assert!(
        !envelope.html.contains("<del>") && envelope.html.contains("may not read this fact"),
        "{}",
        envelope.html
    );
    assert_eq!(person.get("/journal/0.1").await.status, 404);
    assert_eq!(person.get("/journal/999999.1").await.status, 404);
}

#[tokio::test]
async fn an_administrator_takes_an_anchor_that_the_record_proves_against() {
    let app = TestApp::spawn().await;
    let person = Person::signed_in_whole(&app, "administrator").await;
    let shown = person.get("/anchors").await;
    assert!(shown.html.contains("doseward-anchor 1"), "{}", shown.html);
    let file = person.get("/anchors/newest").await;
    assert!(file.header("content-disposition").starts_with("attachment; filename=\"anchor-"));
    let proof =
        app.as_role("administrator").post("/journal/verification", &json!({"anchor": file.html})).await;
    assert_eq!((proof.status, &proof.json["sound"]), (200, &json!(true)), "{}", proof.text);
    let key = person.get("/anchors/signing-key").await;
    assert!(key.html.starts_with("-----BEGIN PUBLIC KEY-----"), "{}", key.html);
    // A key that was replaced is named, with what it said of the one that followed.
    let before = app.registry.public_key().await.unwrap().fingerprint;
    assert!(!shown.html.contains("announced the key that followed it"));
    app.registry.rotate_key(&console("test"), None).await.unwrap();
    let shown = person.get("/anchors").await.html;
    assert!(shown.contains(&before) && shown.contains("announced the key that followed it"), "{shown}");
    let said = person.get("/anchors/announcements").await;
    assert!(said.html.starts_with("doseward-key 1\n") && said.html.contains(&before), "{}", said.html);
    let backups = person.get("/backups").await;
    assert!(
        backups.html.contains("doseward backup") && backups.html.contains("doseward restore"),
        "{}",
        backups.html
    );
    let log = person.get("/access-log").await;
    assert_eq!(log.status, 200);
}
