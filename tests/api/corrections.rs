//! Correcting what was recorded wrongly: by whom, against which revision, with what becomes of everything behind it. Numbers
//! are invented; the action level of hexavalent chromium is 2.5 ug/m3 (29 CFR 1910.1026(b)).

use crate::harness::{Answer, TestApp};
use crate::overview::{Shop, micrograms};
use serde_json::{Value, json};

/// Reads a thing and corrects it as it was read.
async fn correct(app: &TestApp, who: &str, path: &str, patch: &Value) -> Answer {
    let read = app.as_role(who).get(path).await;
    assert_eq!(read.status, 200, "{path}: {}", read.text);
    let tag = read.headers["etag"].to_str().unwrap().to_owned();
    patched(app, who, path, Some(&tag), patch).await
}

pub(crate) async fn patched(
    app: &TestApp,
    who: &str,
    path: &str,
    tag: Option<&str>,
    patch: &Value,
) -> Answer {
    let mut request = app.as_role(who).request("PATCH", path).json(patch);
    if let Some(tag) = tag {
        request = request.header("if-match", tag);
    }
    Answer::of(request).await
}

fn faults(answer: &Answer) -> Vec<(String, String)> {
    assert_eq!(answer.status, 422, "{}", answer.text);
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let errors = answer.json["errors"].as_array().unwrap().iter();
    errors.map(|error| (text(&error["pointer"]), text(&error["detail"]))).collect()
}

async fn shop(app: &TestApp) -> Shop<'_> {
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    app.add_account_on("hygienist-here", "hygienist", &[&here]).await;
    Shop { app, here, there, events: 0 }
}

#[tokio::test]
async fn a_correction_names_the_revision_that_was_read_and_its_reason_and_keeps_what_was_said_before() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let worker = shop.worker("1").await;
    let path = format!("/workers/{worker}");
    let right = json!({"family_name": "Vane", "reason": "Misspelt on entry."});

    assert_eq!(patched(&app, "hygienist", &path, None, &right).await.status, 428);
    assert_eq!(patched(&app, "hygienist", &path, Some("\"7-aa\""), &right).await.status, 412);
    let pointers = |answer: &Answer| faults(answer).into_iter().map(|(at, _)| at).collect::<Vec<_>>();
    let without = correct(&app, "hygienist", &path, &json!({"family_name": "Vane"})).await;
    assert_eq!(pointers(&without), ["/reason"]);
    let wrong = json!({"id": worker, "entered_by": worker, "reason": "-"});
    assert_eq!(pointers(&correct(&app, "hygienist", &path, &wrong).await), ["/id", "/entered_by"]);
    let unknown = json!({"colour": "red", "reason": "-"});
    assert_eq!(pointers(&correct(&app, "hygienist", &path, &unknown).await), ["/colour"]);
    let same = json!({"family_name": "Vale", "reason": "-"});
    assert_eq!(faults(&correct(&app, "hygienist", &path, &same).await)[0].1, "changes nothing");
    assert_eq!(app.as_role("hygienist").get(&path).await.json["revision"], 1, "nothing of it was stored");

    let corrected = correct(&app, "hygienist", &path, &right).await;
    assert_eq!(corrected.status, 200, "{}", corrected.text);
    assert_eq!((&corrected.json["family_name"], &corrected.json["revision"]), (&json!("Vane"), &json!(2)));
    // The earlier value is readable, with who, when and why.
    let journal = app.as_role("hygienist").get(&format!("/journal?subject_id={worker}")).await;
    let said: Vec<_> = journal.json["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|entry| {
            (
                entry["deed"].clone(),
                entry["image"]["fact"]["family_name"].clone(),
                entry["image"]["reason"].clone(),
            )
        })
        .collect();
    assert_eq!(
        said,
        [
            (json!("recorded"), json!("Vale"), Value::Null),
            (json!("corrected"), json!("Vane"), json!("Misspelt on entry."))
        ]
    );
    let sound = app.as_role("hygienist").post("/journal/verification", &json!({})).await;
    assert_eq!(sound.json["sound"], true, "{}", sound.text);
}

#[tokio::test]
async fn what_a_correction_would_leave_impossible_is_named_and_beyond_sight_only_counted() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let (weld, melt) = (shop.group(&shop.here, "WELD").await, shop.group(&shop.there, "MELT").await);
    let worker = shop.worker("1").await;
    shop.assign(&worker, &weld, "2026-02-02", 3.0).await;
    shop.assign(&worker, &melt, "2026-02-02", 2.0).await;
    let employment =
        app.as_role("hygienist").get(&format!("/workers/{worker}/employments")).await.ids()[0].to_owned();
    let path = format!("/employments/{employment}");
    let later = json!({"from": "2026-02-09", "reason": "Began a week later."});
    let named = faults(&correct(&app, "hygienist", &path, &later).await);
    assert_eq!(named.len(), 2, "{named:?}");
    assert!(named.iter().all(|(_, detail)| detail.starts_with("would leave assignment ")), "{named:?}");
    let counted = faults(&correct(&app, "hygienist-here", &path, &later).await);
    assert_eq!(counted.len(), 2, "{counted:?}");
    assert!(counted[0].1.starts_with("would leave assignment "), "{counted:?}");
    assert_eq!(counted[1].1, "would leave 1 further facts impossible that refer to it");
    let earlier = json!({"from": "2026-01-12", "reason": "Began three weeks earlier."});
    assert_eq!(correct(&app, "hygienist", &path, &earlier).await.status, 200);

    // A limit that a clause names cannot become another kind of limit.
    let limit = json!({"agent_code": "chromium_vi", "authority": "Works", "kind": "action_level",
        "value": micrograms(1.0), "source": "Works standard 12"});
    let limit = shop.post(&format!("/sites/{}/limits", shop.here), limit).await.id();
    let clause = json!({"code": "W1", "authority": "Works", "agent_code": "chromium_vi", "source": "Works standard 12",
        "worker": {"counts": "eight_hour_average", "level": "action_level"}});
    shop.post(&format!("/sites/{}/clauses", shop.here), clause).await;
    let path = format!("/limits/{limit}");
    let other = json!({"kind": "twa", "reason": "It is the limit."});
    let named = faults(&correct(&app, "hygienist", &path, &other).await);
    assert!(named[0].1.contains("would leave clause "), "{named:?}");
    let value = json!({"value": micrograms(0.8), "reason": "Misread."});
    assert_eq!(correct(&app, "hygienist", &path, &value).await.status, 200);
    assert_eq!(
        correct(&app, "hygienist", &path, &json!({"agent_code": "lead", "reason": "-"})).await.status,
        422
    );
}

#[tokio::test]
async fn an_assignment_on_the_wrong_worker_moves_with_what_it_owes() {
    let app = TestApp::spawn().await;
    let mut shop = shop(&app).await;
    let weld = shop.group(&shop.here, "WELD").await;
    let (wrong, right, third) = (shop.worker("1").await, shop.worker("2").await, shop.worker("3").await);
    shop.assign(&third, &weld, "2026-02-02", 5.0).await;
    let body = json!({"position": "breathing_zone", "worker_id": third, "group_id": weld});
    shop.measured(body, "2026-02-03", micrograms(9.0)).await;
    let assignment =
        json!({"group_id": weld, "from": "2026-02-02", "shifts_per_week": 5, "hours_per_shift": 8});
    let assignment = shop.post(&format!("/workers/{wrong}/assignments"), assignment).await.id();
    let owed = async |worker: &str| {
        app.registry.settle().await.unwrap();
        let path = format!("/duties?worker_id={worker}&kind=offer_examination");
        let duties = app.as_role("physician").get(&path).await;
        let items = duties.json["items"].as_array().unwrap().clone();
        items.iter().map(|duty| duty["status"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!((owed(&wrong).await.len(), owed(&right).await.len()), (1, 0));
    let path = format!("/assignments/{assignment}");
    let moved = json!({"worker_id": right, "reason": "Two welders of one name."});
    let answer = correct(&app, "hygienist", &path, &moved).await;
    assert_eq!((answer.status, &answer.json["worker_id"]), (200, &json!(right)), "{}", answer.text);
    assert_eq!(owed(&wrong).await, ["withdrawn"]);
    assert_eq!(owed(&right).await.len(), 1);
    // The group stays at its site: an assignment elsewhere is another one.
    let melt = shop.group(&shop.there, "MELT").await;
    let answer = correct(&app, "hygienist", &path, &json!({"group_id": melt, "reason": "-"})).await;
    assert!(faults(&answer)[0].1.contains("another site"), "{}", answer.text);
    let nobody = json!({"worker_id": "01900000-0000-7000-8000-0000000000aa", "reason": "-"});
    assert_eq!(faults(&correct(&app, "hygienist", &path, &nobody).await)[0].0, "/worker_id");
}

#[tokio::test]
async fn a_corrected_sample_and_result_are_concluded_anew_and_later_changes_of_use_are_told() {
    let app = TestApp::spawn().await;
    let mut shop = shop(&app).await;
    let weld = shop.group(&shop.here, "WELD").await;
    let worker = shop.worker("1").await;
    shop.assign(&worker, &weld, "2026-02-02", 5.0).await;
    let body = json!({"position": "breathing_zone", "worker_id": worker, "group_id": weld});
    let sample = shop.measured(body, "2026-02-03", micrograms(3.0)).await;
    let profile = async || {
        app.registry.settle().await.unwrap();
        let path = format!("/groups/{weld}/profiles?agent_code=chromium_vi");
        app.as_role("hygienist").get(&path).await.json["items"][0].clone()
    };
    let standing = |profile: &Value| profile["standing"][0]["value"].clone();
    assert_eq!(standing(&profile().await), "at_or_above_action_level");

    // The laboratory's value was typed wrongly: accepted before, it waits again.
    shop.post(&format!("/samples/{sample}/acceptance"), json!({})).await;
    let read = app.as_role("hygienist").get(&format!("/samples/{sample}")).await;
    let result = read.json["results"][0]["id"].as_str().unwrap().to_owned();
    let path = format!("/results/{result}");
    let value = json!({"concentration": {"value": 0.3}, "reason": "3.0 for 0.3."});
    let corrected = correct(&app, "hygienist", &path, &value).await;
    assert_eq!(
        (corrected.status, &corrected.json["status"]),
        (200, &json!("submitted")),
        "{}",
        corrected.text
    );
    assert_eq!(standing(&profile().await), "below_action_level");
    let below = json!({"concentration": {"value": 0.01}, "reason": "-"});
    assert_eq!(faults(&correct(&app, "hygienist", &path, &below).await)[0].0, "/concentration/value");
    let other = json!({"agent_code": "lead", "reason": "-"});
    assert_eq!(faults(&correct(&app, "hygienist", &path, &other).await)[0].0, "/agent_code");

    // After the result was known, that the day was unlike others is told as a change.
    let path = format!("/samples/{sample}");
    let unlike = json!({"representative": false, "reason": "The line stood still."});
    assert_eq!(correct(&app, "hygienist", &path, &unlike).await.status, 200);
    let told = profile().await;
    let beside = [&told["left_out"], &told["beside"]]
        .map(|list| list.as_array().cloned().unwrap_or_default())
        .concat();
    assert_eq!(beside, [json!({"sample_id": sample, "reason": "changed_after_result"})], "{told}");
    assert!(told["flags"].as_array().unwrap().contains(&json!("changed_after_result")) || !beside.is_empty());
    let read = app.as_role("hygienist").get(&path).await;
    assert!(read.json["flags"].as_array().unwrap().contains(&json!("changed_after_result")), "{}", read.text);

    // Before any result it is nobody's business.
    let early = json!({"number": "S-9", "position": "breathing_zone", "shift_date": "2026-02-04", "worker_id": worker,
        "group_id": weld, "agent_codes": ["chromium_vi"],
        "runs": [{"start": "2026-02-04T07:00:00-07:00", "end": "2026-02-04T15:00:00-07:00"}],
        "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}});
    let event = json!({"reference": "E-9", "sampled_by": "K. Marl", "samples": [early]});
    let event = shop.post(&format!("/sites/{}/sampling-events", shop.here), event).await;
    let early = event.json["samples"][0]["id"].as_str().unwrap().to_owned();
    let path = format!("/samples/{early}");
    let corrected = correct(&app, "hygienist", &path, &unlike).await;
    assert_eq!((corrected.status, &corrected.json["changed_after_result"]), (200, &Value::Null));
    // A flow is corrected, a run that never was is refused, a number that a duplicate names stays.
    let flow = json!({"flow_after": {"value": 1.9, "unit": "L/min"}, "reason": "Read from the other pump."});
    let corrected = correct(&app, "hygienist", &path, &flow).await;
    assert_eq!(corrected.json["flow_after"]["value"], 1.9, "{}", corrected.text);
    let run = json!({"shift_date": "2026-03-30", "reason": "-"});
    assert!(faults(&correct(&app, "hygienist", &path, &run).await).iter().any(|(at, _)| at == "/shift_date"));
    let twin = json!({"number": "S-10", "position": "breathing_zone", "shift_date": "2026-02-04", "worker_id": worker,
        "group_id": weld, "agent_codes": ["chromium_vi"], "covers": "duplicate", "duplicate_of": "S-9",
        "runs": [{"start": "2026-02-04T07:00:00-07:00", "end": "2026-02-04T15:00:00-07:00"}],
        "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}});
    shop.post(&format!("/sampling-events/{}/samples", event.id()), twin).await;
    let renamed = correct(&app, "hygienist", &path, &json!({"number": "S-11", "reason": "-"})).await;
    assert!(faults(&renamed)[0].1.contains("/duplicate_of S-9"), "{}", renamed.text);
}

#[tokio::test]
async fn what_was_done_about_a_duty_is_corrected_and_what_follows_from_it_moves() {
    let app = TestApp::spawn().await;
    let mut shop = shop(&app).await;
    let (group, worker) = (shop.group(&shop.here.clone(), "HOT").await, shop.worker("1").await);
    shop.assign(&worker, &group, "2026-02-02", 5.0).await;
    let sample = json!({"position": "breathing_zone", "worker_id": worker, "group_id": group});
    shop.measured(sample, "2026-02-24", micrograms(9.0)).await;
    app.registry.settle().await.unwrap();
    let list = format!("/duties?worker_id={worker}");
    let physician = app.as_role("physician");
    let of_kind = async |kind: &str| -> Value {
        app.registry.settle().await.unwrap();
        let found = physician.get(&format!("{list}&kind={kind}")).await;
        found.json["items"][0].clone()
    };
    let duty = of_kind("offer_examination").await;
    let path = format!("/duties/{}/actions", duty["id"].as_str().unwrap());
    let done =
        physician.post(&path, &json!({"action": "offered", "on": "2026-02-27", "note": "By word."})).await;
    let act = format!("/actions/{}", done.json["actions"][0]["id"].as_str().unwrap());
    let next = of_kind("periodic_examination").await["due_on"].clone();
    let right = json!({"on": "2026-02-26", "note": null, "reason": "Typed wrongly."});

    assert_eq!(patched(&app, "physician", &act, None, &right).await.status, 428);
    assert_eq!(patched(&app, "physician", &act, Some("\"7-aa\""), &right).await.status, 412);
    // An examination is the physician's to answer, and so to correct.
    for (who, status) in [("hygienist", 403), ("coordinator", 403), ("corporate", 403)] {
        assert_eq!(patched(&app, who, &act, Some("*"), &right).await.status, status, "{who}");
        assert_eq!(app.as_role(who).get(&act).await.status, status, "{who}");
    }
    for (wrong, pointer) in [
        (json!({"on": "2026-02-26"}), "/reason"),
        (json!({"on": "2026-03-03", "reason": "-"}), "/on"),
        (json!({"action": "notified", "reason": "-"}), "/action"),
        (json!({"action": "waived", "note": null, "reason": "-"}), "/note"),
        (json!({"colour": "red", "reason": "-"}), "/colour"),
        (json!({"on": "2026-02-27", "reason": "-"}), ""),
    ] {
        assert_eq!(faults(&correct(&app, "physician", &act, &wrong).await)[0].0, pointer, "{wrong}");
    }
    let corrected = correct(&app, "physician", &act, &right).await;
    assert_eq!(corrected.status, 200, "{}", corrected.text);
    assert_eq!((&corrected.json["on"], &corrected.json["revision"]), (&json!("2026-02-26"), &json!(2)));
    let now = of_kind("offer_examination").await;
    assert_eq!((&now["actions"][0]["on"], now["actions"][0].get("note")), (&json!("2026-02-26"), None));
    assert_ne!(of_kind("periodic_examination").await["due_on"], next, "the next one is counted from it");
    // The earlier value is readable, with the reason; to everybody but for the note.
    let id = act.rsplit('/').next().unwrap();
    let said = physician.get(&format!("/journal?subject_id={id}")).await;
    let items = said.json["items"].as_array().unwrap();
    assert_eq!(
        (&items[0]["image"]["fact"]["on"], &items[1]["deed"]),
        (&json!("2026-02-27"), &json!("corrected"))
    );
    assert_eq!(items[1]["image"]["reason"], "Typed wrongly.");
    let found = doseward::registry::verify::verify(&app.registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
}
