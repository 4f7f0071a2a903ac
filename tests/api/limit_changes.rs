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
        (json!({"kind": "peak"}), "/kind"),
        (json!({"agent_code": "none_such"}), "/agent_code"),
        (json!({"agent_code": "noise", "value": {"value": 80, "unit": "dB"}}), "/value/unit"),
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

/// A place with several groups, each of one worker with one sample on 3 February.
struct Place<'a> {
    app: &'a TestApp,
    site: String,
    count: usize,
}

impl Place<'_> {
    /// A group whose worker wore this sample; gives group and worker.
    async fn group(&mut self, code: &str, mut sample: Value, report: Option<Value>) -> (String, String) {
        self.count += 1;
        let (number, hygienist) = (self.count.to_string(), self.app.as_role("hygienist"));
        let group = self.app.group(&self.site, code).await;
        let worker = json!({"employee_number": number, "given_name": "Oda", "family_name": "Vale",
            "employer": "Own works", "hired_on": "2026-02-02"});
        let worker = hygienist.post("/workers", &worker).await.id();
        let assignment = json!({"group_id": group, "from": "2026-02-02", "shifts_per_week": 5,
            "hours_per_shift": 8});
        hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
        let whole = json!({"number": number, "position": "breathing_zone", "worker_id": worker, "group_id": group,
            "shift_date": "2026-02-03"});
        sample.as_object_mut().unwrap().extend(whole.as_object().unwrap().clone());
        let event = json!({"reference": number, "sampled_by": "K. Marl", "samples": [sample]});
        let event = hygienist.post(&format!("/sites/{}/sampling-events", self.site), &event).await;
        assert_eq!(event.status, 201, "{}", event.text);
        if let Some(mut result) = report {
            result["sample_number"] = json!(number);
            let report = json!({"report_number": number, "laboratory": "Hollow Lane Laboratory",
                "received_on": "2026-02-20", "results": [result]});
            let report = hygienist.post(&format!("/sites/{}/lab-reports", self.site), &report).await;
            assert_eq!(report.status, 201, "{}", report.text);
        }
        (group, worker)
    }

    async fn ask(&self, proposal: Value) -> Value {
        let answer = self.app.as_role("hygienist").post("/limit-changes/preview", &proposal).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        answer.json
    }
}

/// Now and with the proposal.
fn stands<'v>(found: &'v Value, group: &str) -> (&'v str, &'v str) {
    let rows = found["standings"].as_array().unwrap();
    let of = |row: &&Value| row["groups"].as_array().unwrap().iter().any(|place| place["group_id"] == group);
    let row = rows.iter().find(of).unwrap_or_else(|| panic!("{group} not in {found}"));
    (row["now"].as_str().unwrap(), row["proposed"].as_str().unwrap())
}

fn coarse<'v>(found: &'v Value, group: &str) -> Option<&'v Value> {
    found["cannot_tell"].as_array().unwrap().iter().find(|row| row["group_id"] == group)
}

/// Who is newly triggered, by which row of the pack and on how many measured days.
fn newly(found: &Value) -> Vec<(String, String, i64)> {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let rows = found["newly_triggered"].as_array().unwrap().iter();
    let mut rows: Vec<_> = rows
        .map(|row| {
            let days = row["measured_days"].as_i64().unwrap();
            (text(&row["worker_id"]), text(&row["trigger_id"]), days)
        })
        .collect();
    rows.sort();
    rows
}

/// A sample of formaldehyde from seven o'clock on, at 0.2 L/min.
fn air(minutes: u32, covers: &str) -> Value {
    let end = format!("2026-02-03T{:02}:{:02}:00-07:00", 7 + minutes / 60, minutes % 60);
    let flow = json!({"value": 0.2, "unit": "L/min"});
    json!({"agent_codes": ["formaldehyde"], "covers": covers, "calibrator": "C-1", "calibrated_on": "2026-02-03",
        "flow_before": flow, "flow_after": flow, "runs": [{"start": "2026-02-03T07:00:00-07:00", "end": end}]})
}

fn in_air(value: &Value, limit: f64) -> Value {
    json!({"agent_code": "formaldehyde", "concentration": value, "blank_corrected": "yes",
        "reporting_limit": {"value": limit, "unit": "[ppm]"}})
}

// 29 CFR 1910.1048(c)(2): 2 ppm over 15 minutes; (d)(3)(iii): monitored again at or above it; (l)(1)(i): examined above it.
// The samples are invented.
#[tokio::test]
async fn a_short_term_limit_is_read_against_short_samples_and_names_those_too_long() {
    let app = TestApp::spawn().await;
    let mut place = Place { app: &app, site: app.site("LYN").await, count: 0 };
    let ppm = |value: f64| json!({"value": value, "unit": "[ppm]"});
    let (peak, one) = place.group("PEAK", air(15, "short_term"), Some(in_air(&ppm(1.5), 0.1))).await;
    let (long, _) = place.group("LONG", air(480, "shift"), Some(in_air(&ppm(0.3), 0.1))).await;
    let below = json!({"comparator": "<", "value": 1.4, "unit": "[ppm]"});
    let (vague, _) = place.group("VAGUE", air(15, "short_term"), Some(in_air(&below, 1.4))).await;
    let (half, four) = place.group("HALF", air(30, "short_term"), Some(in_air(&ppm(1.2), 0.1))).await;

    let stel = json!({"agent_code": "formaldehyde", "kind": "stel", "value": ppm(1.0)});
    let found = place.ask(stel.clone()).await;
    assert_eq!(found["averaging_minutes"], 15);
    assert_eq!(stands(&found, &peak), ("below_limit", "at_or_above_limit"));
    assert_eq!(stands(&found, &long), ("unknown", "unknown"));
    assert_eq!(stands(&found, &vague), ("below_limit", "unknown"));
    // Half an hour above 1 ppm holds a quarter of an hour above it; one below 2 ppm shows nothing of 2 ppm.
    assert_eq!(stands(&found, &half), ("unknown", "at_or_above_limit"));

    assert_eq!(found["cannot_tell"].as_array().unwrap().len(), 2, "{found}");
    assert_eq!(coarse(&found, &long).unwrap()["flags"], json!(["sample_longer_than_window"]));
    let row = coarse(&found, &vague).unwrap();
    assert_eq!(row["flags"], json!(["reporting_limit_too_high"]));
    // 1.4 ppm in 15 min at 0.2 L/min are 3 L; as much formaldehyde is 1 ppm of 4.2 L, which take 21 min.
    let needed = &row["sampling_needed"];
    assert!((needed["minutes"].as_f64().unwrap() - 21.0).abs() < 1e-6, "{needed}");
    assert_eq!((&needed["window_minutes"], &needed["longer_than_the_window"]), (&json!(15.0), &json!(true)));
    assert_eq!(needed["longer_than_the_shift"], false);

    let mut expected = vec![(one, "ST044".to_owned(), 1), (four, "ST044".to_owned(), 1)];
    expected.sort();
    assert_eq!(newly(&found), expected);
    assert_eq!((&found["controls"], &found["flags"]), (&json!([]), &json!(["controls_not_read"])));

    // Over an hour the half hour is no longer than the limit, and tells.
    let mut hour = stel.clone();
    hour["averaging_minutes"] = json!(60);
    hour["value"] = ppm(1.3);
    let found = place.ask(hour).await;
    assert_eq!(stands(&found, &half).1, "below_limit");
    assert_eq!(coarse(&found, &half), None);

    // At the limit of today only what could not tell before cannot tell.
    let mut same = stel.clone();
    same["value"] = ppm(2.0);
    let found = place.ask(same).await;
    assert!(
        found["standings"].as_array().unwrap().iter().all(|row| row["now"] == row["proposed"]),
        "{found}"
    );
    assert_eq!(newly(&found), []);
    let unclear: Vec<_> = [&peak, &long, &vague, &half].map(|group| coarse(&found, group).is_some()).into();
    assert_eq!(unclear, [false, true, false, true]);

    // A company's short-term limit stands beside the law's, is exceeded only above it, and triggers nobody.
    let mut company = stel;
    company["authority"] = json!("LYNHEAD");
    company["value"] = ppm(1.5);
    let found = place.ask(company).await;
    assert_eq!(stands(&found, &peak), ("unknown", "at_or_below_limit"));
    assert_eq!(newly(&found), []);
}

#[tokio::test]
async fn a_short_term_limit_is_averaged_over_the_minutes_of_the_present_one() {
    let app = TestApp::spawn().await;
    let place = Place { app: &app, site: app.site("LYN").await, count: 0 };
    // 29 CFR 1910.1001(c)(2): 30 minutes. Table Z-1, manganese: a ceiling, which this registry reads over 15 minutes.
    for (agent, kind, value, unit, minutes) in [
        ("asbestos", "excursion", 0.5, "{fibers}/mL", 30),
        ("manganese", "ceiling", 1.0, "mg/m3", 15),
        ("lead", "excursion", 100.0, "ug/m3", 30),
    ] {
        let proposal = json!({"agent_code": agent, "kind": kind, "value": {"value": value, "unit": unit}});
        assert_eq!(place.ask(proposal).await["averaging_minutes"], minutes, "{agent}");
    }
}

/// A dosimeter worn all shift, with its levels by criterion.
fn dosimeter(levels: &[(&str, f64)]) -> Value {
    let read: Vec<_> = levels
        .iter()
        .map(|(criterion, level)| {
            json!({"agent_code": "noise", "value": {"value": level, "unit": "dB[A]"}, "criterion": criterion})
        })
        .collect();
    json!({"sampler_kind": "dosimeter", "agent_codes": ["noise"], "on_site_results": read,
        "runs": [{"start": "2026-02-03T07:00:00-07:00", "end": "2026-02-03T15:00:00-07:00"}]})
}

// 29 CFR 1910.95(c)(1), (g)(1): 85 dBA with levels from 80 dBA on, an audiogram from then on; Table G-16: 90 dBA. The levels
// are invented.
#[tokio::test]
async fn noise_is_read_by_the_criterion_that_the_level_is_met_by() {
    let app = TestApp::spawn().await;
    let mut place = Place { app: &app, site: app.site("LYN").await, count: 0 };
    let (low, high) = ("osha_action_level", "osha_limit");
    let (press, one) = place.group("PRESS", dosimeter(&[(low, 83.0), (high, 80.0)]), None).await;
    let (saw, _) = place.group("SAW", dosimeter(&[(high, 81.0)]), None).await;
    let (quiet, _) = place.group("QUIET", dosimeter(&[(low, 78.0)]), None).await;
    let (loud, _) = place.group("LOUD", dosimeter(&[(low, 88.0), (high, 87.0)]), None).await;
    let (odd, _) = place.group("ODD", dosimeter(&[(low, 86.0), (high, 84.0)]), None).await;
    let noise = |kind: &str, value: f64| json!({"agent_code": "noise", "kind": kind, "value": {"value": value, "unit": "dB[A]"}});

    let found = place.ask(noise("action_level", 82.0)).await;
    assert_eq!(stands(&found, &press), ("below_action_level", "at_or_above_action_level"));
    assert_eq!(stands(&found, &quiet), ("below_action_level", "below_action_level"));
    assert_eq!(stands(&found, &loud), ("at_or_above_action_level", "at_or_above_action_level"));
    // With the threshold of 90 dBA no more counts than with that of 80: at least 81 says nothing of 82.
    assert_eq!(stands(&found, &saw), ("unknown", "unknown"));
    let row = coarse(&found, &saw).unwrap();
    assert_eq!((&row["cannot_tell"], &row["of"]), (&json!(1), &json!(1)));
    assert_eq!(row["flags"], json!(["noise_by_other_criterion"]));
    assert_eq!(row.get("sampling_needed"), None);
    assert_eq!(found["cannot_tell"].as_array().unwrap().len(), 1, "{found}");
    assert_eq!(newly(&found), [(one, "ST075".to_owned(), 1)]);

    // The limit is met by the threshold of 90 dBA: 87 is above 85, and 84 is not, whatever the other threshold says.
    let found = place.ask(noise("twa", 85.0)).await;
    assert_eq!(stands(&found, &loud), ("at_or_above_action_level", "above_limit"));
    assert_eq!(stands(&found, &odd), ("at_or_above_action_level", "at_or_above_action_level"));
    assert_eq!(coarse(&found, &odd), None);
    // 78 with the threshold of 80 bounds the other from above; nothing under this body of law names the limit.
    assert_eq!(coarse(&found, &quiet), None);
    assert_eq!(newly(&found), []);
}

#[tokio::test]
async fn what_no_result_can_be_read_against_is_refused_with_why() {
    let app = TestApp::spawn().await;
    let hygienist = app.as_role("hygienist");
    for (agent, kind, unit, pointer, why) in [
        ("benzene_exempt_operations", "peak", "[ppm]", "/kind", "no result says how long"),
        ("noise", "ceiling", "dB[A]", "/kind", "dose or level of its whole run"),
        ("noise_impulse", "twa", "dB", "/agent_code", "no dose or level of a shift"),
    ] {
        let body = json!({"agent_code": agent, "kind": kind, "value": {"value": 80, "unit": unit}});
        let refused = hygienist.post("/limit-changes/preview", &body).await;
        assert_eq!(refused.status, 422, "{body}: {}", refused.text);
        assert!(refused.pointers().contains(&pointer), "{body}: {}", refused.text);
        assert!(refused.text.contains(why), "{body}: {}", refused.text);
    }
    for minutes in [0, 480] {
        let body = json!({"agent_code": "formaldehyde", "kind": "stel", "averaging_minutes": minutes,
            "value": {"value": 1, "unit": "[ppm]"}});
        let refused = hygienist.post("/limit-changes/preview", &body).await;
        assert_eq!(refused.pointers(), ["/averaging_minutes"], "{}", refused.text);
    }
    let mut shift = proposal("twa", 1.0);
    shift["averaging_minutes"] = json!(15);
    assert_eq!(hygienist.post("/limit-changes/preview", &shift).await.pointers(), ["/averaging_minutes"]);
}
