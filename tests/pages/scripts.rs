//! A text that would run as a script, in every text field that there is: it is shown as text wherever it appears.

use crate::browser::Browser;
use crate::harness::TestApp;
use crate::person::{Page, Person};
use crate::plant::is_inert;
use doseward::pages::table::{Who, pages};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// A text that runs if a page takes it for more than text, in an element or in an attribute; each field has one of its own.
fn trap(field: &str) -> String {
    format!("{field}\"'><script>document.title='run'</script><img src=x onerror=\"document.title='run'\">")
}

/// Everything that is recorded, with a trap in every text of it: the names of the fields, and pages to which no
/// link of those that are walked leads.
#[expect(clippy::too_many_lines, reason = "one list of everything that has a text")]
async fn everything(app: &TestApp) -> (Vec<String>, Vec<String>) {
    let mut fields = Vec::new();
    let mut seeds = Vec::new();
    let mut t = |field: &str| {
        fields.push(field.to_owned());
        json!(trap(field))
    };
    let api = app.as_role("hygienist");
    let site = json!({"code": "TRP", "name": t("site-name"), "time_zone": "America/Denver", "rule_set": "us_general_industry"});
    let site = api.post("/sites", &site).await.id();
    let group = json!({"code": "G", "title": t("group-title"), "description": t("group-description"),
        "job_classification": t("group-job"), "work_area": t("group-area"), "shift_pattern": t("group-pattern")});
    let group = api.post(&format!("/sites/{site}/groups"), &group).await.id();
    let worker = json!({"employee_number": "Q-1", "given_name": t("given-name"), "family_name": t("family-name"),
        "employer": t("employer"), "job_title": t("worker-job"), "hired_on": "2015-01-01"});
    let worker = api.post("/workers", &worker).await.id();
    let respirator = json!({"code": "RES", "title": t("respirator-title"), "kind": "respirator", "assigned_protection_factor": 10});
    let respirator = api.post(&format!("/sites/{site}/controls"), &respirator).await.id();
    let assignment = json!({"group_id": group, "from": "2015-01-01", "shifts_per_week": 5, "hours_per_shift": 8,
        "job_title": t("assignment-job"), "respirator_control_id": respirator, "respirator_worn_share": 0.5});
    let assignment = api.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    let earlier = json!({"employer": t("earlier-employer"), "agent_code": "chromium_vi", "from": "2010-01-01",
        "to": "2011-01-01", "source": t("earlier-source")});
    api.post(&format!("/workers/{worker}/earlier-exposures"), &earlier).await.id();
    let task = json!({"code": "T", "title": t("task-title"), "group_id": group});
    let task = api.post(&format!("/sites/{site}/tasks"), &task).await.id();
    let control =
        json!({"code": "C", "title": t("control-title"), "kind": "engineering", "form": t("control-form")});
    let control = api.post(&format!("/sites/{site}/controls"), &control).await.id();
    api.post(
        &format!("/tasks/{task}/control-periods"),
        &json!({"control_id": control, "from": "2026-02-01"}),
    )
    .await
    .id();
    let expected = json!({"agent_code": "chromium_vi", "from": "2015-01-01", "source": t("expected-source")});
    let expected = api.post(&format!("/groups/{group}/agents"), &expected).await.id();
    seeds.push(format!("/journal?subject={expected}"));
    let change = json!({"from": "2025-06-01", "kind": "process", "description": t("change-description"), "may_raise": false});
    let change = api.post(&format!("/groups/{group}/changes"), &change).await.id();
    seeds.push(format!("/journal?subject={change}"));
    let judgement = json!({"group_id": group, "agent_code": "lead", "from": "2020-01-01", "kind": "professional", "rating": 2,
        "rationale": t("judgement-rationale"), "sources": t("judgement-sources")});
    let judgement = api.post(&format!("/sites/{site}/judgements"), &judgement).await.id();
    seeds.push(format!("/journal?subject={judgement}"));
    let flow = json!({"value": "2.00", "unit": "L/min"});
    let mut samples = Vec::new();
    for day in ["09", "10", "11", "12"] {
        let ran = day > "10";
        samples.push(json!({
            "number": format!("1-{day}"), "position": "breathing_zone", "shift_date": format!("2026-02-{day}"),
            "worker_id": worker, "task_id": task, "agent_codes": ["chromium_vi"], "flow_before": flow, "flow_after": flow,
            "control_ids_running": if ran { json!([control]) } else { json!([]) },
            "runs": [{"start": format!("2026-02-{day}T07:00:00-07:00"), "end": format!("2026-02-{day}T15:00:00-07:00")}],
        }));
    }
    for (field, name) in [
        ("medium", "sample-medium"),
        ("medium_lot", "sample-lot"),
        ("method", "sample-method"),
        ("method_edition", "sample-edition"),
        ("fraction", "sample-fraction"),
        ("pump", "sample-pump"),
        ("calibrator", "sample-calibrator"),
        ("location", "sample-location"),
        ("materials", "sample-materials"),
        ("job_title", "sample-job"),
        ("ppe_worn", "sample-ppe"),
        ("note", "sample-note"),
    ] {
        for sample in &mut samples {
            sample[field] = json!(trap(name));
        }
        t(name);
    }
    let event = json!({"reference": "TRAP-1", "sampled_by": t("sampled-by"), "conditions": t("conditions"), "samples": samples});
    let event = api.post(&format!("/sites/{site}/sampling-events"), &event).await;
    let sample =
        event.json["samples"][0]["id"].as_str().unwrap_or_else(|| panic!("{}", event.text)).to_owned();
    let event = event.id();
    let results: Vec<Value> = ["09", "10", "11", "12"]
        .iter()
        .map(|day| {
            json!({"sample_number": format!("1-{day}"),
        "agent_code": "chromium_vi", "mass": {"value": "8.0", "unit": "ug"}, "blank_corrected": "yes",
        "reporting_limit": {"value": "0.05", "unit": "ug"}})
        })
        .collect();
    let report = json!({"report_number": "TRAP-L", "laboratory": t("laboratory"), "accreditation": t("accreditation"),
        "received_on": "2026-02-20", "results": results});
    let report = api.post(&format!("/sites/{site}/lab-reports"), &report).await.id();
    seeds.push(format!("/lab-reports/{report}"));
    api.post(&format!("/samples/{sample}/acceptance"), &json!({"reason": t("acceptance-reason")})).await;
    let limit = json!({"authority": "company", "kind": "twa", "agent_code": "chromium_vi",
        "value": {"value": 2.0, "unit": "ug/m3"}, "averaging_minutes": 480, "source": t("limit-source")});
    let made = api.post(&format!("/sites/{site}/limits"), &limit).await;
    assert_eq!(made.status, 201, "{}", made.text);
    // Everything that can be corrected is, with a reason; one thing is voided.
    for (path, body, field) in [
        (
            format!("/samples/{sample}"),
            json!({"flow_after": {"value": "1.95", "unit": "L/min"}}),
            "sample-correction",
        ),
        (format!("/sampling-events/{event}"), json!({"shift_minutes": 470}), "event-correction"),
        (format!("/groups/{group}"), json!({"code": "GG"}), "group-correction"),
        (format!("/tasks/{task}"), json!({"code": "TT"}), "task-correction"),
        (format!("/controls/{control}"), json!({"code": "CC"}), "control-correction"),
        (format!("/assignments/{assignment}"), json!({"hours_per_shift": 8.5}), "assignment-correction"),
        (format!("/workers/{worker}"), json!({"family_name": trap("family-name-2")}), "worker-correction"),
    ] {
        let tag = api.get(&path).await.header("etag").to_owned();
        let mut body = body;
        body["reason"] = t(field);
        let sent = api.request("PATCH", &path).header("if-match", tag).json(&body);
        let made = crate::harness::Answer::of(sent).await;
        assert_eq!(made.status, 200, "{}", made.text);
    }
    let second = json!({"reference": "TRAP-2", "sampled_by": "K. Marl", "samples": [{"number": "2-1", "position": "area", "location": "hall", "shift_date": "2026-02-16",
        "agent_codes": ["chromium_vi"], "flow_before": flow, "flow_after": flow,
        "runs": [{"start": "2026-02-16T07:00:00-07:00", "end": "2026-02-16T15:00:00-07:00"}]}]});
    let second = api.post(&format!("/sites/{site}/sampling-events"), &second).await.id();
    api.post(&format!("/sampling-events/{second}/voiding"), &json!({"reason": t("voiding-reason")})).await;
    let request = json!({"received_on": "2026-02-20", "from": "worker", "what": t("request-what")});
    let request = api.post(&format!("/workers/{worker}/record-requests"), &request).await.id();
    seeds.push(format!("/journal?subject={request}"));
    seeds.push(format!("/sampling-events/{second}"));
    app.registry.settle().await.unwrap();
    (fields, seeds)
}

/// The paths that links of a page lead to.
fn leads(html: &str) -> Vec<String> {
    let links = html.split(" href=\"/").skip(1).map(|rest| format!("/{}", rest.split('"').next().unwrap()));
    links.map(|link| link.replace("&#38;", "&").replace("&amp;", "&")).collect()
}

/// The template of the table that a path is of.
fn template(path: &str, method: &str) -> Option<&'static str> {
    let bare = path.split(['?', '#']).next().unwrap_or_default();
    let fits = |template: &str| {
        let (one, other): (Vec<&str>, Vec<&str>) = (template.split('/').collect(), bare.split('/').collect());
        one.len() == other.len()
            && one.iter().zip(&other).all(|(part, given)| part.starts_with('{') || part == given)
    };
    pages().iter().filter(|page| page.method == method).map(|page| page.path).find(|one| fits(one))
}

/// Every page that somebody reaches by links, at most some of each kind.
async fn reached(person: &Person, seeds: &[String]) -> Vec<(String, Page)> {
    let (mut seen, mut of_kind): (BTreeSet<String>, BTreeMap<&str, usize>) =
        (BTreeSet::new(), BTreeMap::new());
    let (mut next, mut found) = (vec!["/".to_owned(), "/sites".to_owned()], Vec::new());
    next.extend(seeds.iter().cloned());
    while let Some(path) = next.pop() {
        let path = path.split('#').next().unwrap().to_owned();
        let Some(template) = template(&path, "GET").filter(|one| !one.starts_with("/assets")) else {
            continue;
        };
        let many = of_kind.entry(template).or_default();
        let most = if template.starts_with("/journal") { 120 } else { 8 };
        if *many >= most || !seen.insert(path.clone()) {
            continue;
        }
        *many += 1;
        let page = person.get(&path).await;
        next.extend(leads(&page.html));
        found.push((path, page));
    }
    found
}

/// The forms of a page that send something: where to, and what a browser would send with this text in every field for texts.
fn forms(html: &str, text: &str) -> Vec<(String, Vec<(String, String)>)> {
    let mut found = Vec::new();
    for form in html.split("<form").skip(1) {
        let form = form.split("</form>").next().unwrap();
        let head = form.split('>').next().unwrap();
        if !head.contains("method=\"post\"") || head.contains("multipart") {
            continue;
        }
        let attribute = |tag: &str, name: &str| -> Option<String> {
            let rest = tag.split(&format!(" {name}=\"")).nth(1)?;
            Some(rest.split('"').next().unwrap().replace("&#38;", "&"))
        };
        let Some(action) = attribute(head, "action") else { continue };
        let mut fields = Vec::new();
        for tag in form.split('<').filter(|tag| {
            tag.starts_with("input") || tag.starts_with("textarea") || tag.starts_with("select")
        }) {
            let head = tag.split('>').next().unwrap();
            let Some(name) = attribute(head, "name") else { continue };
            let kind = attribute(head, "type").unwrap_or_default();
            let value = match kind.as_str() {
                "hidden" => attribute(head, "value").unwrap_or_default(),
                "checkbox" | "radio" | "file" => continue,
                _ if tag.starts_with("select") => String::new(),
                _ => text.to_owned(),
            };
            fields.push((name, value));
        }
        found.push((action, fields));
    }
    found
}

#[tokio::test]
async fn a_script_in_any_field_is_text_on_every_page_that_shows_it() {
    let app = TestApp::spawn().await;
    let (fields, seeds) = everything(&app).await;
    let browser = Browser::start().await;
    let mut shown: BTreeSet<String> = BTreeSet::new();
    let mut wrong = Vec::new();
    for role in ["hygienist", "physician", "corporate", "coordinator", "administrator"] {
        let person = Person::signed_in_whole(&app, role).await;
        let pages = reached(&person, &seeds).await;
        assert!(pages.len() > 6, "{role} reaches {} pages", pages.len());
        browser.forget().await;
        browser.open(&format!("{}/sign-in", app.address)).await;
        let session = person.cookie(crate::signing_in::SESSION).unwrap();
        let cookie = json!({"name": crate::signing_in::SESSION, "value": session, "url": app.address});
        browser.set_cookie(cookie).await;
        for (path, page) in pages {
            if page.status != 200 {
                continue;
            }
            if !is_inert(&page.html) {
                wrong.push(format!("{role} at {path} is given it raw"));
            }
            if !page.html.contains("document.title=") {
                continue;
            }
            // What it holds is looked at as the browser has it: texts, and the values of fields.
            browser.open(&format!("{}{path}", app.address)).await;
            let script = "const all = [document.body.textContent, ...[...document.querySelectorAll('input, textarea, option')].map(e => e.value)]; \
                return [document.title === 'run', document.querySelectorAll('img').length, \
                [...document.scripts].filter(s => !s.src).length, document.querySelectorAll('[onerror]').length, \
                arguments[0].filter(one => all.some(text => text.includes(one[1]))).map(one => one[0])]";
            let traps: Vec<Value> = fields.iter().map(|field| json!([field, trap(field)])).collect();
            let found = browser.run(script, &[json!(traps)]).await;
            if found[0] == true || found[1] != 0 || found[2] != 0 || found[3] != 0 {
                wrong.push(format!("{role} at {path}: {found}"));
            }
            shown.extend(found[4].as_array().unwrap().iter().map(|one| one.as_str().unwrap().to_owned()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let unseen: Vec<&String> = fields.iter().filter(|field| !shown.contains(*field)).collect();
    assert!(unseen.is_empty(), "on no page that was walked: {unseen:?}");
    assert!(fields.len() > 40, "{} fields", fields.len());
}

#[tokio::test]
async fn a_script_in_any_field_of_any_form_comes_back_as_text() {
    let app = TestApp::spawn().await;
    let (_, seeds) = everything(&app).await;
    let text = trap("typed");
    let mut sent: BTreeSet<&str> = BTreeSet::new();
    let mut wrong = Vec::new();
    for role in ["hygienist", "coordinator", "physician", "administrator"] {
        let person = Person::signed_in_whole(&app, role).await;
        for (path, page) in reached(&person, &seeds).await {
            for (action, fields) in forms(&page.html, &text) {
                let action = if action.starts_with('?') { format!("{path}{action}") } else { action };
                let Some(template) = template(&action, "POST") else { continue };
                // What would end the session, or take the account away, is sent by another test.
                if ["/sign-out", "/account/password", "/account/sessions/{id}/ending"].contains(&template)
                    || template.contains("second-factor")
                    || template.ends_with("disabling")
                    || !sent.insert(template)
                {
                    continue;
                }
                let fields: Vec<(&str, &str)> =
                    fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
                let answer = person.post(&action, &fields).await;
                if answer.status >= 500 || answer.status == 403 || !is_inert(&answer.html) {
                    wrong.push(format!("{role} sends {template}: {} {}", answer.status, answer.html));
                }
                if answer.status == 303 {
                    let then = person.get(answer.leads_to()).await;
                    if !is_inert(&then.html) {
                        wrong.push(format!("{role} after {template}"));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(sent.len() > 12, "{sent:?}");
    eprintln!("sent: {sent:?}");
}

#[tokio::test]
async fn no_form_of_any_page_is_taken_from_elsewhere_or_without_its_token() {
    let app = TestApp::spawn().await;
    let nobody = "01900000-0000-7000-8000-00000000ffff";
    let before =
        app.as_role("hygienist").get("/journal?limit=500").await.json["items"].as_array().unwrap().len();
    let mut wrong = Vec::new();
    for role in ["hygienist", "coordinator", "physician", "administrator"] {
        let person = Person::signed_in_whole(&app, role).await;
        let token = person.get("/account").await.token();
        for page in pages().iter().filter(|page| page.method == "POST") {
            let parts = page.path.split('/').map(|part| if part.starts_with('{') { nobody } else { part });
            let path = parts.collect::<Vec<_>>().join("/");
            for origin in
                [Some("http://elsewhere.example"), Some("https://elsewhere.example"), Some("null"), None]
            {
                let answer =
                    person.post_from(&path, &[("form_token", &token), ("reason", "x")], origin).await;
                if answer.status != 403 {
                    wrong.push(format!("{role} from {origin:?} at {page:?}: {}", answer.status));
                }
            }
            if page.who != Who::Anybody {
                let answer = person.post(&path, &[("reason", "x"), ("form_token", "guessed")]).await;
                if answer.status != 403 {
                    wrong.push(format!("{role} without a token at {page:?}: {}", answer.status));
                }
            }
        }
        assert_eq!(person.get("/account").await.status, 200, "{role} is signed in still");
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let after =
        app.as_role("hygienist").get("/journal?limit=500").await.json["items"].as_array().unwrap().len();
    assert_eq!(before, after, "nothing was recorded");
}
