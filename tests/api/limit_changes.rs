//! What another limit would change: every number by hand. All of it is invented; the action level of hexavalent chromium is
//! 2.5 ug/m3, its limit 5 (29 CFR 1910.1026(b), (c)).

use crate::harness::TestApp;
use crate::overview::{Shop, micrograms};
use serde_json::{Value, json};

fn breathing(worker: &str, group: &str) -> Value {
    json!({"position": "breathing_zone", "worker_id": worker, "group_id": group})
}

fn proposal(kind: &str, value: f64) -> Value {
    json!({"agent_code": "chromium_vi", "kind": kind, "value": micrograms(value)})
}

#[tokio::test]
async fn groups_that_cannot_tell_come_first_then_standings_and_workers() {
    let app = TestApp::spawn().await;
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    app.add_account_on("here", "coordinator", &[&here]).await;
    let mut shop = Shop { app: &app, here: here.clone(), there: there.clone(), events: 0 };
    let (weld, cast, idle) =
        (shop.group(&here, "WELD").await, shop.group(&here, "CAST").await, shop.group(&here, "IDLE").await);
    let melt = shop.group(&there, "MELT").await;
    let (one, two, three) = (shop.worker("1").await, shop.worker("2").await, shop.worker("3").await);
    // Five shifts a week from Monday 2 February; today is Monday 2 March.
    shop.assign(&one, &weld, "2026-02-02", 5.0).await;
    shop.assign(&two, &cast, "2026-02-02", 5.0).await;
    shop.assign(&three, &weld, "2026-02-02", 1.0).await;
    shop.assign(&three, &melt, "2026-02-02", 4.0).await;
    for (worker, group, day, value) in [
        (&one, &weld, "2026-02-03", micrograms(1.0)),
        (&two, &cast, "2026-02-04", json!({"comparator": "<", "value": 1.5, "unit": "ug/m3"})),
    ] {
        let sample = shop.measured(breathing(worker, group), day, value).await;
        shop.post(&format!("/samples/{sample}/acceptance"), json!({})).await;
    }

    let hygienist = app.as_role("hygienist");
    app.registry.settle().await.unwrap();
    let position = |answer: &Value| answer["position"].clone();
    let history = format!("/workers/{one}/history?agent_code=chromium_vi");
    let before = position(&hygienist.get(&history).await.json);
    let answer = hygienist.post("/limit-changes/preview", &proposal("action_level", 0.9)).await;
    assert_eq!(answer.status, 200, "{}", answer.text);
    app.registry.settle().await.unwrap();
    assert_eq!(position(&hygienist.get(&history).await.json), before, "nothing is stored");
    let found = &answer.json;
    assert!(found["words"].as_str().unwrap().contains("a licensed professional decide"), "{}", answer.text);

    // 1.5 ug/m3 in 480 min at 2 L/min is 1.44 ug; that is 0.9 ug/m3 in 1600 L: 800 min, and ten times that for a tenth.
    let coarse = found["cannot_tell"].as_array().unwrap();
    assert_eq!(coarse.len(), 1, "{}", answer.text);
    assert_eq!(coarse[0]["group_id"], cast);
    assert_eq!((&coarse[0]["cannot_tell"], &coarse[0]["of"]), (&json!(1), &json!(1)));
    let needed = &coarse[0]["sampling_needed"];
    assert_eq!(needed["reporting_limit_mass"], json!({"value": 1.44, "unit": "ug"}));
    assert_eq!((&needed["minutes"], &needed["minutes_for_a_tenth"]), (&json!(800.0), &json!(8000.0)));
    assert_eq!(needed["longer_than_the_shift"], true);

    let standings: Vec<_> = found["standings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            let groups: Vec<_> =
                row["groups"].as_array().unwrap().iter().map(|g| g["group_id"].clone()).collect();
            (row["now"].clone(), row["proposed"].clone(), row["count"].clone(), groups)
        })
        .collect();
    let mut without = vec![json!(idle), json!(melt)];
    without.sort_by_key(ToString::to_string);
    let mut seen = standings.clone();
    for row in &mut seen {
        row.3.sort_by_key(ToString::to_string);
    }
    assert_eq!(
        seen,
        [
            (json!("unknown"), json!("unknown"), json!(2), without),
            (json!("below_action_level"), json!("unknown"), json!(1), vec![json!(cast)]),
            (json!("below_action_level"), json!("at_or_above_action_level"), json!(1), vec![json!(weld)]),
        ]
    );

    // Twelve months of five shifts a week from 2 February are 52 weeks and a Monday: 261 days, one of them measured; 21 up
    // to today. One shift a week in the same group makes 53 of them.
    let newly = found["newly_triggered"].as_array().unwrap();
    let of = |worker: &str| {
        let rows: Vec<_> = newly.iter().filter(|row| row["worker_id"] == worker).collect();
        assert_eq!(rows.len(), 1, "{}", answer.text);
        rows[0]
    };
    let days =
        |row: &Value| ["measured_days", "represented_days", "planned_days"].map(|field| row[field].as_i64());
    assert_eq!(days(of(&one)), [Some(1), Some(20), Some(240)]);
    assert_eq!(of(&one)["trigger_id"], "ST001");
    assert!(of(&one)["words"].as_str().unwrap().contains("appears to trigger"));
    assert_eq!(days(of(&three)).map(Option::unwrap).iter().sum::<i64>(), 53);
    assert_eq!(newly.len(), 2, "the worker whose group cannot tell is not among them");

    // The coordinator sees his site alone; days of a worker who is elsewhere too keep their numbers back.
    let own = app.as_role("here").post("/limit-changes/preview", &proposal("action_level", 0.9)).await;
    assert_eq!(own.status, 200, "{}", own.text);
    assert!(!own.text.contains(&melt) && !own.text.contains(&there), "{}", own.text);
    let across: Vec<_> = own.json["newly_triggered"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|row| row["worker_id"] == three.as_str())
        .collect();
    assert_eq!(across[0]["flags"], json!(["days_across_sites"]));
    assert_eq!(days(across[0]), [None, None, None]);

    // At the level that holds already nothing changes.
    let same = hygienist.post("/limit-changes/preview", &proposal("action_level", 2.5)).await;
    assert_eq!(same.json["newly_triggered"], json!([]));
    assert_eq!(same.json["cannot_tell"], json!([]));
    assert!(same.json["standings"].as_array().unwrap().iter().all(|row| row["now"] == row["proposed"]));

    // A company's level stands beside the law's and triggers nobody.
    let mut company = proposal("action_level", 0.9);
    company["authority"] = json!("LYNHEAD");
    let company = hygienist.post("/limit-changes/preview", &company).await;
    assert_eq!(company.json["newly_triggered"], json!([]));
    assert_eq!(company.json["flags"], json!(["authority_makes_no_clause", "no_limit_now"]));
    let law = &company.json["standings"];
    assert!(law.to_string().contains("at_or_above_action_level"), "{law}");
}

#[tokio::test]
async fn a_proposal_that_cannot_be_read_against_the_agent_is_refused() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    for (change, pointer) in [
        (json!({"kind": "stel"}), "/kind"),
        (json!({"agent_code": "none_such"}), "/agent_code"),
        (json!({"agent_code": "noise", "value": {"value": 80, "unit": "dB[A]"}}), "/agent_code"),
        (json!({"value": {"value": 1, "unit": "min"}}), "/value/unit"),
        (json!({"value": {"comparator": "<", "value": 1, "unit": "ug/m3"}}), "/value"),
    ] {
        let mut body = proposal("action_level", 0.9);
        body.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
        let refused = hygienist.post("/limit-changes/preview", &body).await;
        assert_eq!(refused.status, 422, "{body}: {}", refused.text);
        assert!(refused.pointers().contains(&pointer), "{body}: {}", refused.text);
    }
}

#[tokio::test]
async fn a_control_that_is_enough_now_is_not_under_a_lower_level() {
    let app = TestApp::spawn().await;
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    let mut shop = Shop { app: &app, here: here.clone(), there, events: 0 };
    let plate = shop.group(&here, "PLATE").await;
    let lev = json!({"code": "LEV", "title": "Extraction", "kind": "engineering"});
    let lev = shop.post(&format!("/sites/{here}/controls"), lev).await.id();
    let task = json!({"code": "T", "title": "Plating", "group_id": plate});
    let task = shop.post(&format!("/sites/{here}/tasks"), task).await.id();
    shop.post(&format!("/tasks/{task}/control-periods"), json!({"control_id": lev, "from": "2026-01-01"}))
        .await;
    let worker = shop.worker("1").await;
    shop.assign(&worker, &plate, "2026-02-02", 5.0).await;
    // Eight shifts about 0.5 with the extraction: a fifth of the action level, more than half of 0.9.
    for (day, value) in (3..11).zip([0.5, 0.6, 0.4, 0.5, 0.7, 0.5, 0.4, 0.6]) {
        let mut sample = breathing(&worker, &plate);
        let of_task = json!({"task_id": task, "control_ids_running": [lev]});
        sample.as_object_mut().unwrap().extend(of_task.as_object().unwrap().clone());
        shop.measured(sample, &format!("2026-02-{day:02}"), micrograms(value)).await;
    }
    let hygienist = app.as_role("hygienist");
    let ask = async |value| {
        hygienist.post("/limit-changes/preview", &proposal("action_level", value)).await.json["controls"]
            .clone()
    };
    let found = ask(0.6).await;
    assert_eq!(found.as_array().unwrap().len(), 1, "{found}");
    assert_eq!((&found[0]["control_id"], &found[0]["now"]), (&json!(lev), &json!("below_action_level")));
    assert_ne!(found[0]["proposed"], "below_action_level");
    assert_eq!(ask(2.4).await, json!([]));
}
