//! A laboratory's file: its faults by row, names of agents said once, stored once, and rows that wait for their sample.

use crate::browser::Browser;
use crate::harness::TestApp;
use crate::person::Person;
use crate::plant::{SCRIPT, event, is_inert, plant, sign_in};
use crate::walk::{axe, look};
use serde_json::json;
use std::io::Write as _;

const COLUMNS: &str = "sample_number,agent,comparator,value,unit,reporting_limit,blank_corrected\n";

/// A file of this name and text.
fn file(folder: &tempfile::TempDir, name: &str, rows: &str) -> String {
    let path = folder.path().join(name);
    let mut file = std::fs::File::create(&path).unwrap();
    write!(file, "{COLUMNS}{rows}").unwrap();
    path.display().to_string()
}

async fn type_head(browser: &Browser) {
    browser.type_into("#report_number", "L-77").await;
    browser.type_into("#laboratory", "Hollow Lane Laboratory").await;
    browser.type_into("#received_on", "2026-02-27").await;
}

#[tokio::test]
async fn without_scripts_a_file_with_faults_is_mended_and_stored_once() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    event(&app, &plant, "LYN-1", "118-01").await;
    let folder = tempfile::tempdir().unwrap();
    let browser = Browser::start().await;
    browser.scripts(false).await;
    sign_in(&app, &browser).await;
    let address = format!("{}/sites/{}/lab-reports/new", app.address, plant.site);
    browser.open(&address).await;
    type_head(&browser).await;
    let faulty = file(
        &folder,
        "faulty.csv",
        "118-01,Hexachrom,,2.40,ug,0.05,yes\n118-02,chromium_vi,,1.10,ug,0.05,yes\n118-01,manganese,,many,ug,0.05,perhaps\n\
         118-01,lead,,1.00,barrel,0.05,yes\n",
    );
    browser.type_into("#file", &faulty).await;
    browser.click("main form button.first").await;
    browser.find("#rows tr.msg").await;
    let text = browser.text().await;
    for told in [
        "4 rows have faults, and nothing is stored",
        "Agent is no agent that is known by code, CAS RN or name: Hexachrom",
        "Sample number is no sample of the site: 118-02",
        "Value must be a number with a decimal point",
        "Blank corrected must be yes, no or unknown",
        "Unit must be one of the units of the API (UCUM)",
        "faulty.csv is kept as it was sent",
    ] {
        assert!(text.contains(told), "{told}: {text}");
    }
    assert!(!text.contains("Store the report"));
    // A fault follows its own row, though the row before could not be read.
    let row = text.split("118-02 chromium_vi").nth(1).unwrap().split("manganese").next().unwrap();
    assert!(row.contains("is no sample of the site: 118-02"), "{row}");
    browser.scripts(true).await;
    let mut wrong = Vec::new();
    let pictures = std::env::var_os("TEST_PAGES_PICTURES").map(std::path::PathBuf::from);
    look(&browser, &axe(), pictures.as_ref(), "laboratory-with-faults", &mut wrong).await;
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    browser.scripts(false).await;
    // The name is said once, and holds for the mended file, which is sent in place of the other.
    browser.type_into("#code-0", "Chromium(VI)").await;
    let mended = file(
        &folder,
        "mended.csv",
        "118-01,Hexachrom,,2.40,ug,0.05,yes\n118-01,manganese,<,0.30,ug,0.30,yes\n",
    );
    browser.type_into("#file", &mended).await;
    browser.click("main form button.first").await;
    browser.find("form[action$='/stored'] button").await;
    let text = browser.text().await;
    // 2.00 L/min x 480 min = 960 L; 2.40 ug / 960 L = 2.50 ug/m3.
    assert!(text.contains("2.50 µg/m³") && text.contains("It has no fault"), "{text}");
    let reports = app.as_role("somebody").get(&format!("/sites/{}/lab-reports", plant.site)).await;
    assert_eq!(reports.json["items"], json!([]), "looking stores nothing");
    browser.click("form[action$='/stored'] button").await;
    browser.find(".said").await;
    let text = browser.text().await;
    assert!(text.contains("The report is stored") && text.contains("2.50 µg/m³"), "{text}");
    let reports = app.as_role("somebody").get(&format!("/sites/{}/lab-reports", plant.site)).await;
    assert_eq!(reports.json["items"].as_array().unwrap().len(), 1);
    let id = reports.json["items"][0]["id"].as_str().unwrap();
    let report = app.as_role("somebody").get(&format!("/lab-reports/{id}")).await.json;
    let result = &report["samples"][0]["results"][0];
    assert_eq!(
        (&result["agent_code"], &result["concentration"]["value"]),
        (&json!("chromium_vi"), &json!(2.5))
    );
    assert_eq!(report["samples"][0]["results"][1]["concentration"]["comparator"], "<");
    // The file went with what it became.
    browser.open(&address).await;
    assert!(!browser.text().await.contains("mended.csv"));
}

/// A form with a file, as a browser sends it.
fn multipart(token: &str, fields: &[(&str, &str)], file: &str) -> String {
    let part = |name: &str, value: &str| {
        format!("--x\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n")
    };
    let fields: String = fields.iter().map(|(name, value)| part(name, value)).collect();
    format!(
        "{}{fields}--x\r\ncontent-disposition: form-data; name=\"file\"; filename=\"r.csv\"\r\ncontent-type: \
         text/csv\r\n\r\n{COLUMNS}{file}\r\n--x--\r\n",
        part("form_token", token)
    )
}

const HEAD: [(&str, &str); 3] =
    [("report_number", "L-78"), ("laboratory", "Hollow Lane Laboratory"), ("received_on", "2026-02-27")];

/// The value of a hidden field of a page.
fn hidden(html: &str, name: &str) -> String {
    let after = html.split(&format!("name=\"{name}\" value=\"")).nth(1).unwrap_or_default();
    after.split('"').next().unwrap_or_default().to_owned()
}

#[tokio::test]
async fn a_report_is_stored_once_however_often_it_is_sent_and_only_as_it_was_looked_at() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    event(&app, &plant, "LYN-1", "118-01").await;
    let person = Person::signed_in(&app, "somebody").await;
    let (new, stored) = (
        format!("/sites/{}/lab-reports/new", plant.site),
        format!("/sites/{}/lab-reports/stored", plant.site),
    );
    let token = person.get(&new).await.token();
    let send = async |fields: &[(&str, &str)], rows: &str| {
        let sent = person.post_multipart(&new, multipart(&token, fields, rows)).await;
        assert_eq!(sent.status, 303, "{}", sent.html);
        person.get(&new).await
    };
    // The head lacks a date: the rows are looked at all the same.
    let page =
        send(&HEAD[..2], "118-01,chromium_vi,,2.40,ug,0.05,yes\n118-09,chromium_vi,,2.40,ug,0.05,yes\n")
            .await;
    assert!(
        page.html.contains("id=\"received_on-why\"")
            && page.html.contains("is no sample of the site: 118-09"),
        "{}",
        page.html
    );
    let page = send(&HEAD, "118-01,chromium_vi,,2.40,ug,0.05,yes\n").await;
    let (key, digest) = (hidden(&page.html, "key"), hidden(&page.html, "digest"));
    // Something else was sent since it was looked at: it is not stored unseen.
    let other = send(&HEAD, "118-01,chromium_vi,,4.80,ug,0.05,yes\n").await;
    let unseen = person.post(&stored, &[("form_token", &token), ("key", &key), ("digest", &digest)]).await;
    assert!(unseen.leads_to().ends_with("said=file-changed"), "{}", unseen.html);
    let (key, digest) = (hidden(&other.html, "key"), hidden(&other.html, "digest"));
    let sent = [("form_token", token.as_str()), ("key", &key), ("digest", &digest)];
    let first = person.post(&stored, &sent).await;
    assert!(first.leads_to().starts_with("/lab-reports/"), "{}", first.html);
    let second = person.post(&stored, &sent).await;
    assert_eq!(second.leads_to(), first.leads_to());
    // The same report under a new key is told at its head.
    let again = send(&HEAD, "118-01,chromium_vi,,4.80,ug,0.05,yes\n").await;
    assert!(again.html.contains("a result stands already"), "{}", again.html);
    let gone = person.post(&stored, &[("form_token", &token), ("key", "other"), ("digest", "x")]).await;
    assert!(gone.leads_to().ends_with("said=file-changed"));
}

#[tokio::test]
async fn rows_without_a_sample_wait_and_are_matched_and_scripts_in_a_file_are_text() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    event(&app, &plant, "LYN-1", "118-01").await;
    let person = Person::signed_in(&app, "somebody").await;
    let new = format!("/sites/{}/lab-reports/new", plant.site);
    let token = person.get(&new).await.token();
    let quoted = SCRIPT.replace('"', "\"\"");
    let rows = format!(
        "\"{quoted}\",\"{quoted}\",\"{quoted}\",\"{quoted}\",\"{quoted}\",\"{quoted}\",\"{quoted}\"\n"
    );
    let fields = [
        ("report_number", SCRIPT),
        ("laboratory", SCRIPT),
        ("received_on", SCRIPT),
        ("part", SCRIPT),
        ("accreditation", SCRIPT),
    ];
    person.post_multipart(&new, multipart(&token, &fields, &rows)).await;
    let page = person.get(&new).await;
    assert!(is_inert(&page.html) && page.html.contains("&#60;script&#62;"), "{}", page.html);
    let mut fields = HEAD.to_vec();
    fields[1].1 = &SCRIPT[..70];
    fields.push(("hold", "yes"));
    person.post_multipart(&new, multipart(&token, &fields, "118-0I,chromium_vi,,2.40,ug,0.05,yes\n")).await;
    let page = person.get(&new).await;
    assert!(page.html.contains("waits for its sample"), "{}", page.html);
    let (key, digest) = (hidden(&page.html, "key"), hidden(&page.html, "digest"));
    let stored = format!("/sites/{}/lab-reports/stored", plant.site);
    let stored = person.post(&stored, &[("form_token", &token), ("key", &key), ("digest", &digest)]).await;
    let report = stored.leads_to().split('?').next().unwrap().to_owned();
    let page = person.get(&report).await;
    assert!(is_inert(&page.html) && page.html.contains("One row waits for its sample"), "{}", page.html);
    // What needs somebody leads here.
    assert!(Person::signed_in(&app, "hygienist").await.get("/").await.html.contains(&report));
    let row = page.html.split("/held-rows/").nth(1).unwrap().split('/').next().unwrap().to_owned();
    let none = person
        .post(&format!("/held-rows/{row}/match"), &[("form_token", &token), ("sample_number", "118-09")])
        .await;
    assert_eq!(none.status, 422);
    assert!(none.html.contains("value=\"118-09\""), "what was typed is kept: {}", none.html);
    let matched = person
        .post(&format!("/held-rows/{row}/match"), &[("form_token", &token), ("sample_number", "118-01")])
        .await;
    assert_eq!(matched.leads_to(), format!("{report}?said=row-matched"));
    let page = person.get(&report).await;
    assert!(page.html.contains("2.50 µg/m³") && page.html.contains("matched"), "{}", page.html);
}
