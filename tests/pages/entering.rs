//! Entering a sampling event: by keyboard alone, without scripts, with faults, as a draft, from a spreadsheet.

use crate::browser::{Browser, CONTROL, ENTER, TAB};
use crate::harness::TestApp;
use crate::person::{PASSWORD, Person};
use crate::plant::{Plant, SCRIPT, by_number, is_inert, plant, report, sign_in};
use crate::walk::{axe, look};
use serde_json::{Value, json};

/// The address of the form.
fn form(plant: &Plant) -> String {
    format!("/sites/{}/sampling-events/new", plant.site)
}

/// Types into the fields of the day, from the reference on, with the tabulator between them.
async fn type_day(browser: &Browser, reference: &str) {
    browser.tab_to("#d-reference").await;
    for (n, text) in [
        reference,
        "2026-02-24",
        "K. Marl",
        "",
        "",
        "chromium_vi",
        "WELD",
        "",
        "PVC",
        "L-7",
        "C-1",
        "2026-01-10",
    ]
    .into_iter()
    .enumerate()
    {
        if n > 0 {
            browser.keys(TAB).await;
        }
        browser.keys(text).await;
    }
}

#[tokio::test]
async fn a_day_of_twelve_samples_is_entered_by_keyboard_alone() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 9).await;
    let browser = Browser::start().await;
    browser.width(1_440).await;
    browser.open(&format!("{}/sign-in", app.address)).await;
    browser.tab_to("#email").await;
    browser.keys(&format!("somebody@example.org{TAB}{PASSWORD}{ENTER}")).await;
    browser.find("form.out").await;
    browser.tab_to("nav a[href='/sampling']").await;
    browser.keys(ENTER).await;
    browser.find("main a[href$='sampling-events/new']").await;
    browser.tab_to("main a[href$='sampling-events/new']").await;
    browser.keys(ENTER).await;
    browser.find(".entry-form").await;
    type_day(&browser, "LYN-1").await;
    browser.tab_to("#r0-number").await;
    for n in 0..12 {
        // A number: the first is typed, the others count on from the row above.
        if n == 0 {
            browser.keys("118-01").await;
        } else {
            browser.chord(CONTROL, 'd').await;
        }
        browser.keys(TAB).await;
        match n {
            9 => browser.keys("a").await,
            10 => browser.chord(CONTROL, 'd').await,
            11 => browser.keys("f").await,
            _ => {}
        }
        browser.keys(TAB).await;
        if n < 9 {
            browser.keys(&format!("Q-{}", n + 1)).await;
        }
        browser.keys(&format!("{TAB}{TAB}")).await;
        if n == 0 {
            browser.keys("07:02-11:31 12:04-14:58").await;
        } else if n < 11 {
            browser.chord(CONTROL, 'd').await;
        }
        browser.keys(TAB).await;
        if n < 11 {
            browser.keys(if n % 2 == 0 { "2.05 L/min" } else { "2050 mL/min" }).await;
        }
        browser.keys(TAB).await;
        if n < 11 {
            browser.keys(if n == 4 { "1.80 L/min" } else { "2.01 L/min" }).await;
        }
        browser.keys(TAB).await;
        if n == 0 {
            browser.keys("ARM").await;
        } else if n < 11 {
            browser.chord(CONTROL, 'd').await;
        }
        browser.keys(TAB).await;
    }
    // What is worked out while one types is what the server works out.
    let outputs = "return [...document.querySelectorAll('.grid output')].map(one => one.textContent)";
    let typed = browser.run(outputs, &[]).await;
    assert_eq!(typed[0], "443");
    assert_eq!(typed[1], "−2.0 %");
    assert_eq!(typed[2], "899 L");
    browser.tab_to("button[value=work]").await;
    browser.keys(ENTER).await;
    browser.find("tr.msg.cau").await;
    assert_eq!(browser.run(outputs, &[]).await, typed);
    browser.tab_to("button[value=store]").await;
    browser.keys(ENTER).await;
    browser.find(".said").await;
    assert!(browser.text().await.contains("The event is stored"), "{}", browser.text().await);
    let address = browser.address().await;
    let id = address.split("/sampling-events/").nth(1).unwrap().split('?').next().unwrap().to_owned();
    let event = app.as_role("somebody").get(&format!("/sampling-events/{id}")).await.json;
    assert_eq!(event["samples"].as_array().unwrap().len(), 12);
    assert_eq!((&event["reference"], &event["purpose"]), (&json!("LYN-1"), &json!(["routine"])));
    let first = by_number(&event, "118-01");
    assert_eq!(first["flow_before"], json!({"value": 2.05, "unit": "L/min", "reported": "2.05"}));
    assert_eq!(by_number(&event, "118-02")["flow_before"]["unit"], "mL/min");
    // Denver lies seven hours behind in winter (IANA time zone data).
    assert_eq!(first["runs"][0]["start"], "2026-02-24T14:02:00Z");
    // Arithmetic: (2.05 + 2.01) / 2 = 2.03; 269 + 174 = 443 min; 2.03 x 443 = 899.29.
    assert_eq!(first["volume"], json!({"value": 899.29, "unit": "L"}));
    assert_eq!(first["control_ids_running"].as_array().unwrap().len(), 1);
    assert_eq!(by_number(&event, "118-05")["flags"][0], "flow_changed");
    assert_eq!(by_number(&event, "118-12")["position"], "field_blank");
    // The result, when it comes, reads on the page as the API says it: 2.40 ug / 899.29 L = 2.668… ug/m3.
    report(&app, &plant, "L-1", ("118-01", "2.40")).await;
    let said = app.as_role("somebody").get(&format!("/sampling-events/{id}")).await.json;
    let value = by_number(&said, "118-01")["results"][0]["concentration"]["value"].as_f64().unwrap();
    assert!((value - 2.40 / 0.89929).abs() < 1e-9, "{value}");
    browser.open(&format!("{}/sampling-events/{id}", app.address)).await;
    assert!(browser.text().await.contains("2.67 µg/m³"), "{}", browser.text().await);
}

/// The fields of a form as its page holds them, sent again with others over them.
fn fields<'f>(over: &'f [(&'f str, &'f str)]) -> Vec<(&'f str, &'f str)> {
    let mut all = vec![
        ("rows", "4"),
        ("d-reference", "LYN-2"),
        ("d-shift_date", "2026-02-24"),
        ("d-sampled_by", "K. Marl"),
        ("d-agents", "chromium_vi"),
        ("d-task", "WELD"),
        ("d-calibrator", "C-1"),
        ("d-calibrated_on", "2026-01-10"),
        ("r0-number", "7-01"),
        ("r0-position", "breathing_zone"),
        ("r0-worker", "Q-1"),
        ("r0-runs", "07:00–15:00"),
        ("r0-before", "2.00 L/min"),
        ("r0-after", "2.00 L/min"),
    ];
    all.retain(|(name, _)| over.iter().all(|(other, _)| other != name));
    all.extend(over);
    all
}

#[tokio::test]
async fn faults_stand_beside_their_fields_and_nothing_typed_is_lost() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 2).await;
    let person = Person::signed_in(&app, "somebody").await;
    let form = form(&plant);
    let over = [
        ("do", "store"),
        ("r0-after", "2"),
        ("r0-worker", "Q-99"),
        ("r1-number", "7-01"),
        ("r1-worker", "Q-2"),
        ("r1-runs", "12:40–12:04"),
        ("r1-before", "2.00 L/min"),
        ("r2-number", "7-03"),
        ("r2-position", "area"),
        ("r2-runs", "07:00–25:00"),
        ("r2-before", "2,05 L/min"),
        ("r2-controls", "FAN"),
        ("d-agents", "unheard-of"),
        ("r1-share", "lots"),
    ];
    let page = person.send_form(&form, &form, &fields(&over)).await;
    assert_eq!(page.status, 422, "{}", page.html);
    for (field, told) in [
        ("r0-after", "“2” has no unit. Write 2 L/min or 2 mL/min"),
        ("r0-worker", "“Q-99” is the number of nobody"),
        ("r1-number", "stands in this event already"),
        ("r1-runs", "must be after the start"),
        ("r1-after", "is required for a valid pumped sample"),
        ("r2-runs", "“25:00” is no time"),
        ("r2-before", "has a comma"),
        ("r2-controls", "none of the codes here: ARM"),
        ("d-agents", "“unheard-of” is no agent"),
        ("r1-share", "must be a share"),
    ] {
        let line = page.html.split("<li>").find(|line| line.starts_with(&format!("<a href=\"#{field}\"")));
        let line = line.unwrap_or_else(|| panic!("{field} is not among the faults: {}", page.html));
        assert!(line.contains(told), "{field}: {line}");
        assert!(page.html.contains(&format!("id=\"{field}-why\"")), "{field} is told beside its field");
        let typed = fields(&over).into_iter().find(|(name, _)| *name == field).map_or("", |(_, value)| value);
        assert!(
            page.html.contains(&format!("id=\"{field}\" name=\"{field}\" value=\"{typed}\"")),
            "{field} is kept"
        );
    }
    assert_eq!(
        page.html.matches("<li><a href=\"#d-agents\"").count(),
        1,
        "what holds for the day is told once"
    );
    // Nothing is stored, and the draft is there for another day.
    let events = app.as_role("somebody").get(&format!("/sites/{}/sampling-events", plant.site)).await;
    assert_eq!(events.json["items"], json!([]));
    assert!(person.get(&form).await.html.contains("value=\"Q-99\""));
    // Mended, it is stored once however often it is sent.
    let sound = fields(&[("do", "store"), ("key", "one-key")]);
    let stored = person.send_form(&form, &form, &sound).await;
    assert_eq!(stored.status, 303, "{}", stored.html);
    let again = person.send_form(&form, &form, &sound).await;
    assert_eq!(again.leads_to(), stored.leads_to());
    assert!(
        !person.get(&form).await.html.contains("name=\"r0-worker\" value=\"Q-1\""),
        "the draft went with what it became"
    );
    // The same reference again is another event's, and told beside its field.
    let taken = person
        .send_form(
            &form,
            &form,
            &fields(&[("do", "store"), ("r0-number", "7-09"), ("d-shift_date", "2026-02-25")]),
        )
        .await;
    assert_eq!(taken.status, 422);
    assert!(taken.html.contains("<li><a href=\"#d-reference\""), "{}", taken.html);
}

#[tokio::test]
async fn rows_are_added_copied_down_and_pasted_without_a_script() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 2).await;
    let person = Person::signed_in(&app, "somebody").await;
    let form = form(&plant);
    let first = person.get(&form).await;
    assert_eq!(first.html.matches("class=\"sample").count(), 12);
    let rows = person.send_form(&form, &form, &fields(&[("do", "rows")])).await;
    assert_eq!((rows.status, rows.html.matches("class=\"sample").count()), (200, 8));
    assert!(rows.html.contains("value=\"07:00–15:00\""));
    let down = person
        .send_form(&form, &form, &fields(&[("do", "down"), ("column", "runs"), ("r1-number", "7-02")]))
        .await;
    assert_eq!(down.html.matches("value=\"07:00–15:00\"").count(), 2);
    let pasted =
        "7-02\tbreathing zone\tQ-2\tWELD\t07:00–15:00\t2.00 L/min\t1.98 L/min\tnone\n7-03\tField blank";
    let paste = person.send_form(&form, &form, &fields(&[("do", "paste"), ("paste", pasted)])).await;
    assert!(paste.html.contains("name=\"r1-worker\" value=\"Q-2\""), "{}", paste.html);
    assert!(paste.html.contains("Orla Venning2"), "the name stands beside the number");
    assert!(paste.html.contains("955 L") && paste.html.contains("−1.0 %"), "worked out on the server");
    let stored = person
        .send_form(
            &form,
            &form,
            &fields(&[
                ("do", "store"),
                ("r1-number", "7-02"),
                ("r1-position", "breathing zone"),
                ("r1-worker", "q-2, lynhead"),
                ("r1-runs", "22:00–06:00"),
                ("r1-before", "2.00 L/min"),
                ("r1-after", "1.98 L/min"),
                ("r1-controls", "none"),
                ("r2-number", "7-03"),
                ("r2-position", "Field blank"),
            ]),
        )
        .await;
    // A number is read as it is written: q-2 is nobody.
    assert_eq!(stored.status, 422);
    assert!(stored.html.contains("“q-2, lynhead” is the number of nobody"), "{}", stored.html);
    let stored = person
        .send_form(
            &form,
            &form,
            &fields(&[
                ("do", "store"),
                ("r1-number", "7-02"),
                ("r1-position", "breathing zone"),
                ("r1-worker", "Q-2, lynhead"),
                ("r1-runs", "22:00–06:00"),
                ("r1-before", "2.00 L/min"),
                ("r1-after", "1.98 L/min"),
                ("r1-controls", "none"),
                ("r2-number", "7-03"),
                ("r2-position", "Field blank"),
            ]),
        )
        .await;
    assert_eq!(stored.status, 303, "{}", stored.html);
    let id = stored.leads_to().trim_start_matches("/sampling-events/").split('?').next().unwrap().to_owned();
    let event = app.as_role("somebody").get(&format!("/sampling-events/{id}")).await.json;
    // The night shift ends on the next day; Denver lies seven hours behind in winter.
    assert_eq!(by_number(&event, "7-02")["runs"][0]["end"], "2026-02-25T13:00:00Z");
    assert_eq!(by_number(&event, "7-02")["control_ids_running"], json!([]));
    assert_eq!(by_number(&event, "7-01").get("control_ids_running"), None, "not recorded is not none");
}

#[tokio::test]
async fn a_draft_survives_a_closed_browser_and_is_nobody_elses() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    let browser = Browser::start().await;
    sign_in(&app, &browser).await;
    let address = format!("{}{}", app.address, form(&plant));
    browser.open(&address).await;
    browser.type_into("#d-reference", "LYN-3").await;
    browser.type_into("#r0-worker", "Q-1").await;
    browser.find("#kept[data-state=kept]").await;
    assert_eq!(browser.run("return [localStorage.length, sessionStorage.length]", &[]).await, json!([0, 0]));
    drop(browser);
    let browser = Browser::start().await;
    sign_in(&app, &browser).await;
    browser.open(&address).await;
    let shown = browser.run("return document.querySelector('#r0-worker').value", &[]).await;
    assert_eq!(shown, "Q-1");
    let other = Person::signed_in(&app, "hygienist").await;
    assert!(!other.get(&form(&plant)).await.html.contains("LYN-3"));
    // Rows of a spreadsheet go into the cells from where they are pasted, with rows for all of them.
    let script = "const field = document.querySelector('#r10-number'); field.focus();
        const data = new DataTransfer(); data.setData('text/plain', arguments[0]);
        field.dispatchEvent(new ClipboardEvent('paste', {clipboardData: data, bubbles: true, cancelable: true}));
        return ['r10-number', 'r12-position', 'r12-worker'].map(name => document.getElementsByName(name)[0].value)
            .concat(document.querySelectorAll('tr.sample').length)";
    let rows = "9-1\tinlet\n9-2\tOutlet\n9-3\tfield blank\tQ-9";
    let pasted = browser.run(script, &[Value::from(rows)]).await;
    assert_eq!(pasted, json!(["9-1", "field_blank", "Q-9", 13]));
    // The button copies a column down over the rows in use.
    browser.run("document.querySelector('#r10-runs').value = '07:00–15:00'", &[]).await;
    browser.run("document.querySelector('#column').value = 'runs'", &[]).await;
    browser.click("button[value=down]").await;
    let down = browser
        .run(
            "return [...document.querySelectorAll('[name$=-runs]')].map(one => one.value).filter(Boolean)",
            &[],
        )
        .await;
    assert_eq!(down, json!(["07:00–15:00", "07:00–15:00", "07:00–15:00"]));
    browser.find("#kept[data-state=kept]").await;
    let kept = Person::signed_in(&app, "somebody").await.get(&form(&plant)).await;
    assert!(kept.html.contains("name=\"r12-worker\" value=\"Q-9\""), "{}", kept.html);
    // Thrown away, it is gone.
    browser.open(&address).await;
    browser.click("button[value=discard]").await;
    browser.find(".said").await;
    assert_eq!(browser.run("return document.querySelector('#r0-worker').value", &[]).await, "");
}

#[tokio::test]
async fn without_scripts_an_event_is_entered_with_faults_and_mended() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    let browser = Browser::start().await;
    browser.scripts(false).await;
    sign_in(&app, &browser).await;
    browser.open(&format!("{}{}", app.address, form(&plant))).await;
    for (field, text) in [
        ("#d-reference", "LYN-4"),
        ("#d-shift_date", "2026-02-24"),
        ("#d-sampled_by", "K. Marl"),
        ("#d-agents", "chromium_vi"),
        ("#r0-number", "4-01"),
        ("#r0-worker", "Q-1"),
        ("#r0-runs", "0700 1500"),
        ("#r0-before", "2.00 L/min"),
        ("#r0-after", "2"),
    ] {
        browser.type_into(field, text).await;
    }
    browser.click("button[value=store]").await;
    browser.find("#r0-after-why").await;
    assert!(browser.text().await.contains("“2” has no unit"), "{}", browser.text().await);
    let mut wrong = Vec::new();
    let pictures = std::env::var_os("TEST_PAGES_PICTURES").map(std::path::PathBuf::from);
    browser.scripts(true).await;
    look(&browser, &axe(), pictures.as_ref(), "entry-with-faults", &mut wrong).await;
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    browser.scripts(false).await;
    browser.type_into("#r0-after", ".00 L/min").await;
    browser.click("button[value=store]").await;
    browser.find(".said").await;
    assert!(browser.text().await.contains("The event is stored"), "{}", browser.text().await);
}

#[tokio::test]
async fn a_script_in_any_field_of_the_form_is_shown_as_text() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    let browser = Browser::start().await;
    sign_in(&app, &browser).await;
    let address = format!("{}{}", app.address, form(&plant));
    browser.open(&address).await;
    let fill = "const all = [...document.querySelectorAll('.entry-form input:not([type=hidden]), .entry-form textarea')];
        for (const one of all) { one.removeAttribute('maxlength'); one.value = arguments[0]; } return all.length";
    let filled = browser.run(fill, &[json!(SCRIPT)]).await.as_u64().unwrap();
    assert!(filled > 200, "{filled} fields");
    browser.click("button[value=store]").await;
    browser.find("#faults").await;
    let shown = "return [...document.querySelectorAll('.entry-form input:not([type=hidden])')].filter(one => one.value === arguments[0]).length";
    let kept = browser.run(shown, &[json!(SCRIPT)]).await.as_u64().unwrap();
    // The rows to paste are no field of an event, and are not kept.
    assert_eq!(kept, filled - 1);
    assert_ne!(browser.run("return document.title", &[]).await, "run");
    assert_eq!(
        browser.run("return [document.scripts.length, document.images.length]", &[]).await,
        json!([2, 0])
    );
    // Stored, it is text too.
    let person = Person::signed_in(&app, "somebody").await;
    let form = form(&plant);
    let over = [
        ("do", "store"),
        ("d-reference", SCRIPT),
        ("d-sampled_by", SCRIPT),
        ("d-conditions", SCRIPT),
        ("d-medium", SCRIPT),
        ("r0-note", SCRIPT),
        ("r0-location", SCRIPT),
        ("r0-pump", SCRIPT),
        ("r0-materials", SCRIPT),
        ("r0-ppe", SCRIPT),
    ];
    let over: Vec<(&str, &str)> =
        over.into_iter().map(|(name, text)| (name, &text[..text.len().min(79)])).collect();
    let stored = person.send_form(&form, &form, &fields(&over)).await;
    assert_eq!(stored.status, 303, "{}", stored.html);
    let event = person.get(stored.leads_to()).await;
    assert!(is_inert(&event.html) && event.html.contains("&#60;script&#62;"), "{}", event.html);
    let sample = event.html.split("href=\"/samples/").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let sample = person.get(&format!("/samples/{sample}")).await;
    assert!(is_inert(&sample.html) && sample.html.contains("&#60;script&#62;"), "{}", sample.html);
    assert!(is_inert(&person.get("/sampling").await.html));
}

#[tokio::test]
async fn the_field_sheet_has_the_columns_of_the_form_in_their_order() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    let person = Person::signed_in(&app, "somebody").await;
    let heads = |html: &str| -> Vec<String> {
        let head = html.split("<thead").nth(1).unwrap().split("</thead>").next().unwrap().to_owned();
        let cells = head
            .split("<th")
            .skip(2)
            .map(|cell| cell.split('>').nth(1).unwrap().split('<').next().unwrap().to_owned());
        cells.filter(|cell| !cell.is_empty()).collect()
    };
    let mut of_form = heads(&person.get(&form(&plant)).await.html);
    of_form.retain(|head| !["Minutes", "Change", "Volume"].contains(&head.as_str()));
    let sheet = person.get(&format!("/sites/{}/field-sheet", plant.site)).await;
    let mut of_sheet = heads(&sheet.html);
    assert_eq!(of_sheet.pop().as_deref(), Some("Note"));
    assert_eq!(of_sheet, of_form);
    assert!(sheet.html.contains("WELD Seam welding") && sheet.html.contains("ARM Extraction arm"));
    assert!(!sheet.html.contains("Venning"), "a sheet that lies about names nobody");
}
