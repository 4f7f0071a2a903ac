//! Events and samples: results with their flags and working, accepted, voided, corrected.

use crate::harness::TestApp;
use crate::person::Person;
use crate::plant::{event, plant, report};
use serde_json::{Value, json};

#[tokio::test]
async fn a_result_is_shown_with_its_working_accepted_voided_and_taken_back() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    let id = event(&app, &plant, "LYN-1", "118-01").await;
    let somebody = Person::signed_in(&app, "somebody").await;
    let waits = somebody.get(&format!("/sampling-events/{id}")).await;
    assert!(waits.html.contains("One sample has no result yet"), "{}", waits.html);
    let found = somebody.send_form("/", "/find", &[("text", "LYN-1")]).await;
    assert!(found.html.contains(&format!("/sampling-events/{id}")), "{}", found.html);
    report(&app, &plant, "L-1", ("118-01", "2.40")).await;
    let sample = waits.html.split("href=\"/samples/").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let sample = format!("/samples/{sample}");
    let page = somebody.get(&sample).await;
    // 2.00 L/min x 480 min = 960 L; 2.40 ug / 960 L = 2.50 ug/m3.
    for told in [
        "2.50 µg/m³",
        "not accepted yet",
        "2.40 µg",
        "960 L",
        "mean_flow = (flow_before + flow_after) / 2",
        "07:00–15:00",
    ] {
        assert!(page.html.contains(told), "{told}: {}", page.html);
    }
    // A coordinator judges nothing, whatever he sends.
    assert!(!page.html.contains("action=\"/samples"), "{}", page.html);
    for deed in ["acceptance", "voiding", "voiding-withdrawal", "standing-choice"] {
        assert_eq!(
            somebody.send_form("/", &format!("{sample}/{deed}"), &[("reason", "x")]).await.status,
            403
        );
    }
    let hygienist = Person::signed_in(&app, "hygienist").await;
    let accepted = hygienist
        .send_form("/", &format!("{sample}/acceptance"), &[("reason", ""), ("agent_code", "")])
        .await;
    assert_eq!(accepted.leads_to(), format!("{sample}?said=results-accepted"));
    let page = hygienist.get(&sample).await;
    assert!(
        page.html.contains("The result is accepted") && !page.html.contains("Accept</button>"),
        "{}",
        page.html
    );
    // Voiding asks for the reason, and keeps what was chosen.
    let without = hygienist.send_form("/", &format!("{sample}/voiding"), &[("reason", " ")]).await;
    assert_eq!(without.status, 422);
    assert!(
        without.html.contains("Nothing was changed") && without.html.contains("id=\"void-reason-why\""),
        "{}",
        without.html
    );
    let voided = hygienist
        .send_form(
            "/",
            &format!("{sample}/voiding"),
            &[("reason", "touched <b>by hand</b>"), ("agent_code", "chromium_vi")],
        )
        .await;
    assert_eq!(voided.leads_to(), format!("{sample}?said=voided"), "{}", voided.html);
    let page = hygienist.get(&sample).await;
    assert!(page.html.contains("touched &#60;b&#62;by hand"), "{}", page.html);
    assert!(!page.html.contains("2.50 µg/m³"), "what is voided says nothing: {}", page.html);
    let api = app.as_role("hygienist").get(&sample).await.json;
    assert_eq!(api["results"][0]["status"], "voided");
    let result = api["results"][0]["id"].as_str().unwrap();
    let back = hygienist
        .send_form(
            "/",
            &format!("{sample}/voiding-withdrawal"),
            &[("reason", "it was another one"), ("result_id", result)],
        )
        .await;
    assert_eq!(back.leads_to(), format!("{sample}?said=voiding-withdrawn"), "{}", back.html);
    // All of an event at once.
    let all = hygienist.send_form("/", &format!("/sampling-events/{id}/acceptance"), &[("reason", "")]).await;
    assert_eq!(all.leads_to(), format!("/sampling-events/{id}?said=results-accepted"), "{}", all.html);
    let none =
        hygienist.send_form("/", &format!("/sampling-events/{id}/acceptance"), &[("reason", "")]).await;
    assert_eq!(none.status, 409);
    let event = hygienist.get(&format!("/sampling-events/{id}")).await;
    assert!(event.html.contains("<b>2.50 µg/m³</b>"), "{}", event.html);
}

#[tokio::test]
async fn a_correction_is_told_beside_the_number_with_who_when_and_why() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    let id = event(&app, &plant, "LYN-1", "118-01").await;
    report(&app, &plant, "L-1", ("118-01", "2.40")).await;
    let hygienist = app.as_role("hygienist");
    let event = hygienist.get(&format!("/sampling-events/{id}")).await.json;
    let sample = event["samples"][0]["id"].as_str().unwrap().to_owned();
    let correct = async |path: &str, body: &Value| {
        let tag = hygienist.get(path).await.header("etag").to_owned();
        let sent = hygienist.request("PATCH", path).header("if-match", tag).json(body);
        let made = crate::harness::Answer::of(sent).await;
        assert_eq!(made.status, 200, "{}", made.text);
    };
    let flow = json!({"value": "1.90", "unit": "L/min"});
    correct(&format!("/samples/{sample}"), &json!({"flow_after": flow, "reason": "misread at the pump"}))
        .await;
    let result = event["samples"][0]["results"][0]["id"].as_str().unwrap().to_owned();
    let mass = json!({"value": "2.60", "unit": "ug"});
    correct(&format!("/results/{result}"), &json!({"mass": mass, "reason": "the laboratory's slip"})).await;
    let page = Person::signed_in(&app, "somebody").await.get(&format!("/samples/{sample}")).await;
    for told in [
        "Corrected 2 Mar 2026",
        "by another account",
        "Flow after: 1.90 L/min instead of 2.00 L/min",
        "misread at the pump",
        "Mass: 2.60 µg instead of 2.40 µg",
        "the laboratory&#39;s slip",
    ] {
        assert!(page.html.contains(told), "{told}: {}", page.html);
    }
    // 1.95 L/min x 480 min = 936 L; 2.60 ug / 936 L = 2.777… ug/m3.
    assert!(page.html.contains("2.78 µg/m³"), "{}", page.html);
    // Whoever has no journal is told the number, and not who wrote what.
    let physician = Person::signed_in_whole(&app, "physician").await.get(&format!("/samples/{sample}")).await;
    assert!(physician.html.contains("2.78 µg/m³"));
    // As it was known before anything of it was.
    let corporate = Person::signed_in(&app, "corporate").await;
    assert_eq!(corporate.get(&format!("/samples/{sample}?as_known_on=2026-02-01")).await.status, 404);
}

#[tokio::test]
async fn a_site_out_of_sight_has_no_form_no_event_and_no_draft() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    let id = event(&app, &plant, "LYN-1", "118-01").await;
    let other = app.site("OTH").await;
    app.add_account_on("stranger", "coordinator", &[&other]).await;
    let stranger = Person::signed_in(&app, "stranger").await;
    for path in [
        format!("/sites/{}/sampling-events/new", plant.site),
        format!("/sites/{}/field-sheet", plant.site),
        format!("/sites/{}/lab-reports/new", plant.site),
        format!("/sampling-events/{id}"),
    ] {
        assert_eq!(stranger.get(&path).await.status, 404, "{path}");
    }
    for path in ["sampling-events/draft", "sampling-events/new", "lab-reports/new", "lab-reports/stored"] {
        let sent =
            stranger.send_form("/", &format!("/sites/{}/{path}", plant.site), &[("d-reference", "x")]).await;
        assert_eq!(sent.status, 404, "{path}");
    }
    let own = stranger.get("/sampling").await;
    assert!(own.html.contains("Site OTH") && !own.html.contains("LYN"), "{}", own.html);
}

#[tokio::test]
async fn a_dosimeter_read_by_several_criteria_is_entered_in_one_form() {
    let app = TestApp::spawn().await;
    let plant = plant(&app, 1).await;
    let somebody = Person::signed_in(&app, "somebody").await;
    let form = format!("/sites/{}/sampling-events/new", plant.site);
    let mut fields = vec![
        ("rows", "12"),
        ("do", "store"),
        ("d-reference", "N-1"),
        ("d-shift_date", "2026-02-24"),
        ("d-sampled_by", "K. Marl"),
        ("r0-number", "N-01"),
        ("r0-position", "breathing_zone"),
        ("r0-worker", "Q-1"),
        ("r0-runs", "07:00–15:00"),
        ("r0-sampler_kind", "dosimeter"),
        ("r0-read_value", "84.5 dBA"),
        ("r0-read_criterion", "osha_limit"),
        ("r0-read3_value", "86.1 dBA"),
        ("r0-read3_criterion", "niosh"),
    ];
    // The second one that was typed stands in the third place of the form: its fault stands there too.
    fields.push(("r0-read3_agent", "unheard-of"));
    let wrong = somebody.send_form(&form, &form, &fields).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.html.contains("id=\"r0-read3_agent-why\""), "{}", wrong.html);
    fields.pop();
    fields.push(("r0-read3_criterion", "of nobody"));
    fields.remove(fields.iter().position(|(_, value)| *value == "niosh").unwrap());
    let wrong = somebody.send_form(&form, &form, &fields).await;
    assert!(wrong.status == 422 && wrong.html.contains("id=\"r0-read3_value-why\""), "{}", wrong.html);
    fields.pop();
    fields.push(("r0-read3_criterion", "niosh"));
    let stored = somebody.send_form(&form, &form, &fields).await;
    assert_eq!(stored.status, 303, "{}", stored.html);
    let id = stored.leads_to().split('?').next().unwrap().to_owned();
    let event = app.as_role("hygienist").get(&id).await.json;
    let results = event["samples"][0]["results"].as_array().unwrap();
    let criteria: Vec<&str> = results.iter().filter_map(|result| result["criterion"].as_str()).collect();
    assert_eq!(criteria, ["osha_limit", "niosh"], "{event}");
}
