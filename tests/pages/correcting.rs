//! Correcting facts on pages: with a reason, over nobody's head, and told beside the number with who, when and why.

use crate::browser::Browser;
use crate::harness::{Answer, TestApp};
use crate::person::{PASSWORD, Page, Person, set_password};
use crate::plant::{event, plant, report};
use crate::walk::{axe, look};
use serde_json::{Value, json};

/// The value of a field of a form.
fn field(html: &str, name: &str) -> String {
    let marked = format!("name=\"{name}\"");
    let at = html.find(&marked).unwrap_or_else(|| panic!("no field {name}: {html}"));
    let tag = &html[html[..at].rfind('<').unwrap()..];
    if tag.starts_with("<select") {
        let select = tag.split("</select>").next().unwrap();
        let chosen = select.split("<option ").find(|option| option.contains(" selected"));
        return chosen.map(|option| option.split('"').nth(1).unwrap().to_owned()).unwrap_or_default();
    }
    if tag.starts_with("<textarea") {
        let inside = tag.split('>').nth(1).unwrap().split("</textarea").next().unwrap();
        return unescaped(inside.trim_start_matches('\n').trim_end_matches("</textarea"));
    }
    let tag = tag.split('>').next().unwrap();
    unescaped(tag.split(" value=\"").nth(1).unwrap_or_default().split('"').next().unwrap())
}

fn unescaped(text: &str) -> String {
    text.replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&#34;", "\"")
        .replace("&#39;", "'")
        .replace("&#38;", "&")
}

/// Every field of the form of a page, as a browser would send it back.
fn fields(page: &Page) -> Vec<(String, String)> {
    let form = page.html.split("class=\"entry-form\"").nth(1).unwrap().split("</form>").next().unwrap();
    let names = form.split(" name=\"").skip(1).map(|rest| rest.split('"').next().unwrap());
    names.map(|name| (name.to_owned(), field(form, name))).collect()
}

/// Sends the form of a page with some fields typed otherwise.
async fn send(person: &Person, path: &str, page: &Page, typed: &[(&str, &str)]) -> Page {
    let mut all = fields(page);
    for (name, text) in typed {
        let field =
            all.iter_mut().find(|(field, _)| field == name).unwrap_or_else(|| panic!("no field {name}"));
        (*text).clone_into(&mut field.1);
    }
    let all: Vec<(&str, &str)> = all.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    person.post(path, &all).await
}

/// Corrects through the API.
async fn patch(app: &TestApp, path: &str, body: &Value) {
    let client = app.as_role("hygienist");
    let tag = client.get(path).await.header("etag").to_owned();
    let sent = client.request("PATCH", path).header("if-match", tag).json(body);
    let made = Answer::of(sent).await;
    assert_eq!(made.status, 200, "{}", made.text);
}

async fn a_sample(app: &TestApp) -> String {
    let plant = plant(app, 2).await;
    let id = event(app, &plant, "LYN-1", "118-01").await;
    report(app, &plant, "L-1", ("118-01", "2.40")).await;
    let event = app.as_role("hygienist").get(&format!("/sampling-events/{id}")).await.json;
    event["samples"][0]["id"].as_str().unwrap().to_owned()
}

#[tokio::test]
async fn a_sample_is_corrected_with_a_reason_and_only_in_what_was_typed_otherwise() {
    let app = TestApp::spawn().await;
    let sample = a_sample(&app).await;
    let (shown, form) = (format!("/samples/{sample}"), format!("/samples/{sample}/correction"));
    let hygienist = Person::signed_in(&app, "hygienist").await;
    assert!(hygienist.get(&shown).await.html.contains(&format!("href=\"{form}\"")));
    let page = hygienist.get(&form).await;
    for (name, told) in [
        ("number", "118-01"),
        ("position", "breathing_zone"),
        ("worker_id", "Q-1"),
        ("task_id", "WELD"),
        ("runs", "07:00–15:00"),
        ("flow_before", "2.00 L/min"),
        ("calibrated_on", "2026-01-10"),
    ] {
        assert_eq!(field(&page.html, name), told, "{name}");
    }
    let before = app.as_role("hygienist").get(&shown).await.json;
    // Without a reason, and without a change, nothing is stored and everything typed is there still.
    let bare = send(&hygienist, &form, &page, &[("flow_after", "1.90 L/min")]).await;
    assert_eq!(bare.status, 422);
    assert!(bare.html.contains("id=\"reason-why\""), "{}", bare.html);
    assert_eq!(field(&bare.html, "flow_after"), "1.90 L/min");
    assert!(bare.html.contains("Recorded now: 2.00 L/min"), "{}", bare.html);
    let same = send(&hygienist, &form, &page, &[("reason", "no reason")]).await;
    assert_eq!(same.status, 422);
    assert!(same.html.contains("changes nothing"), "{}", same.html);
    // What cannot be read, and what the use case refuses, stands beside its field.
    let wrong =
        send(&hygienist, &form, &page, &[("flow_after", "1.90"), ("task_id", "NONE"), ("reason", "x")]).await;
    assert_eq!(wrong.status, 422);
    for told in ["id=\"flow_after-why\"", "id=\"task_id-why\"", "href=\"#task_id\"", "has no unit"] {
        assert!(wrong.html.contains(told), "{told}: {}", wrong.html);
    }
    let refused = send(&hygienist, &form, &page, &[("calibrated_on", "soon"), ("reason", "x")]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.html.contains("id=\"calibrated_on-why\""), "{}", refused.html);
    assert_eq!(app.as_role("hygienist").get(&shown).await.json["revision"], before["revision"]);
    // The clock, the flow and the worker are corrected; everything else stays as it was to the letter.
    let typed = [
        ("runs", "07:00–11:00 12:00–15:00"),
        ("flow_after", "1.90 L/min"),
        ("worker_id", "Q-2"),
        ("reason", "misread <b>at the pump</b>"),
    ];
    let done = send(&hygienist, &form, &page, &typed).await;
    assert_eq!(done.leads_to(), format!("{shown}?said=corrected"), "{}", done.html);
    let after = app.as_role("hygienist").get(&shown).await.json;
    assert_eq!(after["runs"].as_array().unwrap().len(), 2);
    assert_eq!(after["runs"][1]["start"], "2026-02-24T19:00:00Z");
    assert_eq!(after["flow_after"], json!({"value": 1.9, "unit": "L/min", "reported": "1.90"}));
    assert_ne!(after["worker_id"], before["worker_id"]);
    for same in [
        "number",
        "shift_date",
        "task_id",
        "agent_codes",
        "flow_before",
        "calibrator",
        "calibrated_on",
        "position",
    ] {
        assert_eq!(after[same], before[same], "{same}");
    }
    let page = hygienist.get(&shown).await;
    for told in [
        "Corrected 2 Mar 2026",
        "by you",
        "Flow after: 1.90 L/min instead of 2.00 L/min",
        "Worker: this worker instead of another worker",
        "24 Feb 07:00–24 Feb 15:00",
        "misread &#60;b&#62;at the pump",
    ] {
        assert!(page.html.contains(told), "{told}: {}", page.html);
    }
    // 1.95 L/min x 420 min = 819 L; 2.40 ug / 819 L = 2.930… ug/m3.
    assert!(page.html.contains("2.93 µg/m³"), "{}", page.html);
}

#[tokio::test]
async fn whoever_was_slower_is_told_what_is_recorded_now_and_keeps_what_he_typed() {
    let app = TestApp::spawn().await;
    let sample = a_sample(&app).await;
    let (shown, form) = (format!("/samples/{sample}"), format!("/samples/{sample}/correction"));
    let hygienist = Person::signed_in(&app, "hygienist").await;
    let page = hygienist.get(&form).await;
    let flow = |value: &str| json!({"value": value, "unit": "L/min"});
    patch(&app, &shown, &json!({"flow_after": flow("1.80"), "pump": "P-9", "reason": "quicker"})).await;
    let slow = send(
        &hygienist,
        &form,
        &page,
        &[("flow_after", "1.90 L/min"), ("note", "seen twice"), ("reason", "slower")],
    )
    .await;
    assert_eq!(slow.status, 409);
    assert!(slow.html.contains("Somebody else corrected this"), "{}", slow.html);
    assert!(slow.html.contains("Recorded now: 1.80 L/min"), "{}", slow.html);
    assert!(slow.html.contains("quicker"), "why it was corrected is told: {}", slow.html);
    let kept = |name: &str| field(&slow.html, name);
    assert_eq!([kept("flow_after"), kept("note"), kept("reason")], ["1.90 L/min", "seen twice", "slower"]);
    // What he did not touch is what is recorded now: sent again, it is not taken back.
    assert_eq!(kept("pump"), "P-9");
    assert_eq!(app.as_role("hygienist").get(&shown).await.json["flow_after"]["reported"], "1.80");
    let again = send(&hygienist, &form, &slow, &[]).await;
    assert_eq!(again.leads_to(), format!("{shown}?said=corrected"), "{}", again.html);
    let after = app.as_role("hygienist").get(&shown).await.json;
    assert_eq!(
        (&after["flow_after"]["reported"], &after["pump"], &after["note"]),
        (&json!("1.90"), &json!("P-9"), &json!("seen twice"))
    );
}

#[tokio::test]
async fn every_kind_with_a_form_is_corrected_and_tells_it_on_its_page() {
    let app = TestApp::spawn().await;
    let sample = a_sample(&app).await;
    let api = app.as_role("hygienist");
    let of_sample = api.get(&format!("/samples/{sample}")).await.json;
    let id = |value: &Value| value.as_str().unwrap().to_owned();
    let site = id(&api.get("/sites").await.json["items"][0]["id"]);
    let first = async |path: String| id(&api.get(&path).await.json["items"][0]["id"]);
    let worker = id(&of_sample["worker_id"]);
    let (task, group) = (id(&of_sample["task_id"]), first(format!("/sites/{site}/groups")).await);
    let control = first(format!("/sites/{site}/controls")).await;
    let report = first(format!("/sites/{site}/lab-reports")).await;
    let event = first(format!("/sites/{site}/sampling-events")).await;
    let assignment = first(format!("/workers/{worker}/assignments")).await;
    let result = id(&of_sample["results"][0]["id"]);
    let hygienist = Person::signed_in(&app, "hygienist").await;
    // The address of the fact, what is typed, where one is led to, and what is told there.
    for (path, typed, leads_to, told) in [
        (
            format!("/results/{result}"),
            ("mass", "< 2.60 ug"),
            format!("/samples/{sample}"),
            "Mass: &#60; 2.60 µg instead of 2.40 µg",
        ),
        (
            format!("/sampling-events/{event}"),
            ("purpose", "baseline"),
            format!("/sampling-events/{event}"),
            "Purpose: to know where one starts from instead of routine monitoring",
        ),
        (
            format!("/lab-reports/{report}"),
            ("laboratory", "Mill Lane Laboratory"),
            format!("/lab-reports/{report}"),
            "Laboratory: Mill Lane Laboratory instead of Hollow Lane Laboratory",
        ),
        (
            format!("/assignments/{assignment}"),
            ("to", "2026-02-28"),
            format!("/workers/{worker}"),
            "Last day: 28 Feb 2026 instead of nothing",
        ),
        (
            format!("/workers/{worker}"),
            ("family_name", "Vennings"),
            format!("/workers/{worker}"),
            "Family name: Vennings instead of Venning1",
        ),
        (
            format!("/tasks/{task}"),
            ("usual_minutes_per_shift", "7 h"),
            format!("/tasks/{task}"),
            "Minutes of a usual shift: 420 min instead of nothing",
        ),
        (
            format!("/groups/{group}"),
            ("description", "Two\nlines"),
            format!("/groups/{group}"),
            "What its members do: Two",
        ),
        (format!("/controls/{control}"), ("title", "Long arm"), format!("/sites/{site}"), ""),
    ] {
        let form = format!("{path}/correction");
        let page = hygienist.get(&form).await;
        assert_eq!(page.status, 200, "{form}: {}", page.html);
        let done = send(&hygienist, &form, &page, &[typed, ("reason", "a slip of the pen")]).await;
        assert_eq!(done.leads_to(), format!("{leads_to}?said=corrected"), "{form}: {}", done.html);
        let page = hygienist.get(&leads_to).await;
        if !told.is_empty() {
            for told in [told, "a slip of the pen", "by you"] {
                assert!(page.html.contains(told), "{form}, {told}: {}", page.html);
            }
        }
        let again = hygienist.get(&form).await.html;
        assert!(again.contains("a slip of the pen"), "{form}: {again}");
    }
    let assigned = api.get(&format!("/assignments/{assignment}")).await.json;
    assert_eq!(assigned["to"], "2026-03-01", "the API says the first day no longer");
    let result = api.get(&format!("/results/{result}")).await.json;
    assert_eq!(result["mass"]["comparator"], "<");
    assert_eq!(api.get(&format!("/controls/{control}")).await.json["title"], "Long arm");
    // Who may not correct it has no form, and no link to one.
    let somebody = Person::signed_in(&app, "somebody").await;
    assert_eq!(somebody.get(&format!("/samples/{sample}/correction")).await.status, 403);
    assert!(!somebody.get(&format!("/samples/{sample}")).await.html.contains("/correction"));
    // A hygienist of another site finds nothing there.
    let other = app.site("OTH").await;
    app.add_account_on("stranger", "hygienist", &[&other]).await;
    let stranger = Person::signed_in(&app, "stranger").await;
    for path in
        [format!("/samples/{sample}"), format!("/groups/{group}"), format!("/assignments/{assignment}")]
    {
        assert_eq!(stranger.get(&format!("{path}/correction")).await.status, 404, "{path}");
    }
    // What is void is not corrected.
    let void = json!({"reason": "never was"});
    api.post(&format!("/samples/{sample}/voiding"), &void).await;
    assert_eq!(hygienist.get(&format!("/samples/{sample}/correction")).await.status, 404);
}

#[tokio::test]
async fn without_scripts_a_sample_is_corrected_in_a_browser_and_the_form_keeps_nobody_out() {
    let app = TestApp::spawn().await;
    let sample = a_sample(&app).await;
    set_password(&app, "hygienist").await;
    let browser = Browser::start().await;
    browser.scripts(false).await;
    browser.open(&format!("{}/sign-in", app.address)).await;
    browser.type_into("#email", "hygienist@example.org").await;
    browser.type_into("#password", PASSWORD).await;
    browser.click("main button.first").await;
    browser.find("form.out").await;
    browser.open(&format!("{}/samples/{sample}", app.address)).await;
    browser.click("a[href$='/correction'][href^='/samples/']").await;
    browser.find("#flow_after").await;
    browser.type_into("#flow_after", " and more").await;
    browser.type_into("#reason", "misread").await;
    browser.click("main button.first").await;
    browser.find("#flow_after-why").await;
    browser.scripts(true).await;
    let pictures = std::env::var_os("TEST_PAGES_PICTURES").map(std::path::PathBuf::from);
    let mut wrong = Vec::new();
    look(&browser, &axe(), pictures.as_ref(), "correction-with-faults", &mut wrong).await;
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    browser.run("document.querySelector('#flow_after').value = '1.90 L/min'", &[]).await;
    browser.scripts(false).await;
    browser.click("main button.first").await;
    browser.find(".said").await;
    let text = browser.text().await;
    assert!(text.contains("The correction is stored") && text.contains("misread"), "{text}");
}
