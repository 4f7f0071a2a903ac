//! Moves of standing are facts: written when they happen, never changed, taken back by another.
//!
//! Which round moves a standing, since when and who may lower it are this registry's own rules (the practice of standing);
//! levels and steps down are the standards', named beside the values.

use crate::harness::TestApp;
use doseward::registry::enter_pack::REGISTRY;
use doseward::registry::rebuild::rebuild;
use doseward::store::backend::Database;
use doseward::store::{journal, marks};
use serde_json::{Value, json};

struct Shop<'a> {
    app: &'a TestApp,
    site: String,
    group: String,
    worker: String,
}

async fn shop(app: &TestApp) -> Shop<'_> {
    let hygienist = app.as_role("hygienist");
    let site = app.site("LYN").await;
    let group = app.group(&site, "WELD").await;
    let worker = json!({"employee_number": "1", "given_name": "Ada", "family_name": "Vale", "employer": "Own works",
        "hired_on": "2025-01-06"});
    let worker = hygienist.post("/workers", &worker).await.id();
    Shop { app, site, group, worker }
}

/// What was made of a round.
struct Round {
    event: String,
    sample: String,
    position: i64,
}

impl Shop<'_> {
    /// A round of one sample in ug/m3, over the whole shift, or short.
    async fn sampled(&self, group: &str, agent: &str, day: &str, value: f64, short: bool) -> Round {
        let hygienist = self.app.as_role("hygienist");
        let number = format!("{}-{agent}-{day}-{short}", &group[24..]);
        let end = if short { "07:15" } else { "15:00" };
        let mut sample = json!({"number": number, "position": "breathing_zone", "shift_date": day,
            "worker_id": self.worker, "group_id": group, "agent_codes": [agent],
            "runs": [{"start": format!("{day}T07:00:00-07:00"), "end": format!("{day}T{end}:00-07:00")}],
            "calibrated_on": "2026-01-19",
            "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}});
        if short {
            sample["covers"] = "short_term".into();
        }
        let event = json!({"reference": number, "sampled_by": "K. Marl", "samples": [sample]});
        let made = hygienist.post(&format!("/sites/{}/sampling-events", self.site), &event).await;
        let event = made.id();
        let result = json!({"sample_number": number, "agent_code": agent,
            "concentration": {"value": value, "unit": "ug/m3"}, "blank_corrected": "yes",
            "reporting_limit": {"value": 0.01, "unit": "ug/m3"}});
        let report = json!({"report_number": number, "laboratory": "Hollow Lane Laboratory",
            "received_on": "2026-02-26", "results": [result]});
        let reported = hygienist.post(&format!("/sites/{}/lab-reports", self.site), &report).await;
        assert_eq!(reported.status, 201, "{}", reported.text);
        let sample = made.json["samples"][0]["id"].as_str().unwrap().to_owned();
        Round { event, sample, position: reported.json["position"].as_i64().unwrap() }
    }

    /// A round of chromium(VI) over the whole shift.
    async fn round(&self, day: &str, value: f64) -> Round {
        self.sampled(&self.group, "chromium_vi", day, value, false).await
    }

    async fn accept(&self, round: &Round) {
        let path = format!("/samples/{}/acceptance", round.sample);
        let accepted = self.app.as_role("hygienist").post(&path, &json!({})).await;
        assert_eq!(accepted.status, 201, "{}", accepted.text);
    }

    async fn void(&self, round: &Round) -> i64 {
        let path = format!("/samples/{}/voiding", round.sample);
        let voided =
            self.app.as_role("hygienist").post(&path, &json!({"reason": "The wrong worker wore it."})).await;
        assert_eq!(voided.status, 201, "{}", voided.text);
        journal::head(&mut self.app.registry.database.read().await.unwrap()).await.unwrap().0
    }

    async fn moves_of(&self, group: &str, agent: &str) -> Vec<Value> {
        let path = format!("/groups/{group}/standing-moves?agent_code={agent}");
        let answer = self.app.as_role("corporate").get(&path).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        answer.json["items"].as_array().unwrap().clone()
    }

    async fn moves(&self) -> Vec<Value> {
        self.moves_of(&self.group, "chromium_vi").await
    }

    /// The standing of the newest era.
    async fn standing(&self, agent: &str) -> Value {
        let path = format!("/groups/{}/profiles?agent_code={agent}", self.group);
        self.app.as_role("hygienist").get(&path).await.json["items"][0]["standing"].clone()
    }
}

/// From, to, since and cause of each move.
fn shown(moves: &[Value]) -> Vec<[&str; 4]> {
    let text = |value: &'_ Value| -> &str { value.as_str().map_or("", |text| Box::leak(text.into())) };
    moves
        .iter()
        .map(|one| ["value_before", "value", "since", "cause"].map(|field| text(&one[field])))
        .collect()
}

const UNKNOWN: &str = "unknown";
const BELOW: &str = "below_action_level";
const AT: &str = "at_or_above_action_level";

#[tokio::test]
async fn up_is_written_at_the_first_round_and_down_only_after_the_standards_two() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    assert_eq!(shop.moves().await, Vec::<Value>::new());
    // 29 CFR 1910.1026(b): the action level is 2.5 ug/m3.
    let first = shop.round("2026-01-26", 1.0).await;
    shop.accept(&first).await;
    let high = shop.round("2026-02-03", 2.5).await;
    let up = [[UNKNOWN, BELOW, "", "round"], [BELOW, AT, "2026-01-27", "round"]];
    let written = shop.moves().await;
    assert_eq!(shown(&written), up);
    assert_eq!(written[1]["round"], json!({"event_id": high.event, "date": "2026-02-03"}));
    assert_eq!(written[1]["learned_on"], json!("2026-03-02"));
    assert_eq!((&written[1]["authority"], &written[1]["averaging"]), (&json!("OSHA"), &json!("eight_hour")));
    assert!(written[1]["basis"].as_array().unwrap().contains(&json!(high.position)), "{}", written[1]);
    assert!(written.iter().all(|one| one.get("clause").is_none() && one["takes_back"] == json!([])));

    // 1910.1026(d)(2)(v): two below, seven days apart; neither ends anything before it is accepted.
    let (second, third) = (shop.round("2026-02-10", 1.0).await, shop.round("2026-02-17", 1.0).await);
    assert_eq!(shop.moves().await, written);
    shop.accept(&second).await;
    assert_eq!(shop.moves().await, written);
    shop.accept(&third).await;
    let after = shop.moves().await;
    assert_eq!(after[..2], written);
    assert_eq!(shown(&after)[2..], [[AT, BELOW, "2026-02-17", "round"]]);
    assert_eq!(after[2]["clause"], "29 CFR 1910.1026(d)(2)(v)");
    assert_eq!(after[2]["round"]["event_id"], json!(third.event));

    // The profile and the last move tell the same; what the profile says of 8-hour averages has no field more.
    let standing = json!([{"authority": "OSHA", "value": BELOW, "since": "2026-02-17",
        "round": {"event_id": third.event, "date": "2026-02-17"}, "clause": "29 CFR 1910.1026(d)(2)(v)"}]);
    assert_eq!(shop.standing("chromium_vi").await, standing);

    // The registry itself wrote it, into the chain of the group's site.
    let id = after[2]["id"].as_str().unwrap();
    let entry = app.as_role("hygienist").get(&format!("/journal?subject_id={id}")).await;
    let entry = &entry.json["items"][0];
    assert_eq!((&entry["kind"], &entry["deed"]), (&json!("standing_move"), &json!("recorded")));
    assert_eq!(entry["account_id"], json!(REGISTRY.to_string()));
    assert_eq!(
        (&entry["chain"], &entry["site_id"]),
        (&json!(format!("site:{}", shop.site)), &json!(shop.site))
    );
    let verified = app.as_role("administrator").post("/journal/verification", &json!({})).await;
    assert_eq!(verified.json["sound"], json!(true), "{}", verified.text);
}

#[tokio::test]
async fn a_move_whose_round_is_void_is_taken_back_by_another_and_stays() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let first = shop.round("2026-01-26", 1.0).await;
    shop.accept(&first).await;
    let high = shop.round("2026-02-03", 6.0).await;
    let before = shop.moves().await;
    // 29 CFR 1910.1026(c): above 5 ug/m3.
    assert_eq!(shown(&before)[1..], [[BELOW, "above_limit", "2026-01-27", "round"]]);
    let known_on = before[1]["learned_on"].clone();
    let voided_at = shop.void(&high).await;
    let after = shop.moves().await;
    assert_eq!(shown(&after)[2..], [["above_limit", BELOW, "", "taken_back"]]);
    let (gone, back) = (&after[1], &after[2]);
    assert_eq!(back["takes_back"], json!([gone["id"]]));
    assert_eq!(back["round"]["event_id"], json!(first.event), "the round that stands again");
    assert!(back["basis"].as_array().unwrap().contains(&json!(voided_at)), "{back}");
    assert_eq!(back["learned_on"], known_on);
    // The one taken back stands as it was written, and names the one that did it.
    assert_eq!(gone["taken_back_by"], back["id"]);
    let mut as_written = gone.clone();
    as_written.as_object_mut().unwrap().remove("taken_back_by");
    assert_eq!(as_written, before[1]);
    assert_eq!(shop.standing("chromium_vi").await[0]["value"], json!(BELOW));

    // Worked out again, it is taken back once.
    worked_out_again(&app).await;
    assert_eq!(shop.moves().await, after);

    // Void too, the first leaves nothing; a round entered afterwards begins again.
    shop.void(&first).await;
    assert_eq!(shop.moves().await.len(), 4);
    let third = shop.round("2026-02-17", 3.0).await;
    let last = shop.moves().await;
    assert_eq!(shown(&last)[3..], [[BELOW, UNKNOWN, "", "taken_back"], [UNKNOWN, AT, "", "round"]]);
    assert!(last[3].get("round").is_none());
    assert_eq!(last[3]["takes_back"], json!([after[0]["id"]]));
    assert_eq!(last[4]["round"]["event_id"], json!(third.event));
}

#[tokio::test]
async fn a_round_entered_late_takes_back_what_comes_after_it_in_one_move() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.round("2026-02-17", 3.0).await;
    let before = shop.moves().await;
    assert_eq!(shown(&before), [[UNKNOWN, AT, "", "round"]]);
    // It happened earlier and was learned of later: it is the first round now, and the other one moves nothing.
    let earlier = shop.round("2026-02-03", 4.0).await;
    let after = shop.moves().await;
    assert_eq!(shown(&after)[1..], [[AT, AT, "", "round"]]);
    assert_eq!(after[1]["takes_back"], json!([before[0]["id"]]));
    assert_eq!(after[1]["round"]["event_id"], json!(earlier.event));
}

#[tokio::test]
async fn another_group_and_another_agent_are_not_touched() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let other = app.group(&shop.site, "CAST").await;
    // 29 CFR 1910.1025(b): the action level of lead is 30 ug/m3.
    shop.sampled(&shop.group, "lead", "2026-02-03", 40.0, false).await;
    shop.sampled(&other, "chromium_vi", "2026-02-04", 1.0, false).await;
    let (lead, cast) = (shop.moves_of(&shop.group, "lead").await, shop.moves_of(&other, "chromium_vi").await);
    assert_eq!(
        (shown(&lead), shown(&cast)),
        (vec![[UNKNOWN, AT, "", "round"]], vec![[UNKNOWN, BELOW, "", "round"]])
    );
    shop.round("2026-02-05", 6.0).await;
    assert_eq!(shown(&shop.moves().await), [[UNKNOWN, "above_limit", "", "round"]]);
    assert_eq!(shop.moves_of(&shop.group, "lead").await, lead);
    assert_eq!(shop.moves_of(&other, "chromium_vi").await, cast);
    // Without an agent all of the group's, in the order in which they were written.
    let all = app.as_role("corporate").get(&format!("/groups/{}/standing-moves", shop.group)).await;
    let agents: Vec<_> = all.json["items"].as_array().unwrap().iter().map(|one| &one["agent_code"]).collect();
    assert_eq!(agents, [&json!("lead"), &json!("chromium_vi")]);
    let path = format!("/groups/{}/standing-moves?agent_code=unobtainium", shop.group);
    assert_eq!(app.as_role("corporate").get(&path).await.status, 422);

    let there = app.site("BRK").await;
    app.add_account_on("there", "coordinator", &[&there]).await;
    let path = format!("/groups/{}/standing-moves", shop.group);
    assert_eq!(app.as_role("there").get(&path).await.status, 404);
}

#[tokio::test]
async fn a_short_term_round_above_the_limit_moves_the_short_term_standing_alone() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let moves = async || shop.moves_of(&shop.group, "beryllium").await;
    // 29 CFR 1910.1024(b), (c): action level 0.1 ug/m3, limit 0.2 over 8 hours, 2.0 over 15 minutes.
    shop.sampled(&shop.group, "beryllium", "2026-02-02", 0.05, false).await;
    let high = shop.sampled(&shop.group, "beryllium", "2026-02-03", 2.001, true).await;
    let written = moves().await;
    assert_eq!(shown(&written), [[UNKNOWN, BELOW, "", "round"], [UNKNOWN, "above_limit", "", "round"]]);
    let short = &written[1];
    assert_eq!((&short["averaging"], &short["averaging_minutes"]), (&json!("stel"), &json!(15)));
    assert_eq!(short["round"], json!({"event_id": high.event, "date": "2026-02-03"}));
    assert!(short["basis"].as_array().unwrap().contains(&json!(high.position)), "{short}");
    let standing = shop.standing("beryllium").await;
    assert_eq!((&standing[0]["value"], standing[0].get("averaging")), (&json!(BELOW), None));
    let limb = json!({"authority": "OSHA", "averaging": "stel", "averaging_minutes": 15, "value": "above_limit",
        "round": {"event_id": high.event, "date": "2026-02-03"}});
    assert_eq!(standing[1], limb);

    // 1910.1024(d)(3)(viii): two below, seven days apart, and the clause of that step down.
    for day in ["2026-02-10", "2026-02-17"] {
        let below = shop.sampled(&shop.group, "beryllium", day, 1.9, true).await;
        shop.accept(&below).await;
    }
    let after = moves().await;
    assert_eq!(after[..2], written);
    assert_eq!(shown(&after)[2..], [["above_limit", "at_or_below_limit", "2026-02-17", "round"]]);
    assert_eq!(after[2]["clause"], "29 CFR 1910.1024(d)(3)(viii)");
    // Chromium(VI) has no short-term limit in the standard: nothing is said of one.
    shop.round("2026-02-18", 1.0).await;
    assert_eq!(shop.standing("chromium_vi").await.as_array().unwrap().len(), 1);
}

/// Wants everything worked out again, and waits until it is.
async fn worked_out_again(app: &TestApp) {
    let mut tx = app.registry.database.write().await.unwrap();
    let (position, _) = journal::head(&mut tx).await.unwrap();
    marks::set_all(&mut tx, position).await.unwrap();
    tx.commit().await.unwrap();
    app.registry.settle().await.unwrap();
}

#[tokio::test]
async fn worked_out_again_nothing_is_written_twice_and_a_rebuild_tells_what_it_writes() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    shop.round("2026-01-26", 1.0).await;
    shop.round("2026-02-03", 3.0).await;
    let written = shop.moves().await;
    let head = async || journal::head(&mut app.registry.database.read().await.unwrap()).await.unwrap().0;
    let before = head().await;
    for _ in 0..2 {
        worked_out_again(&app).await;
    }
    let rebuilt = rebuild(&app.registry, |_| {}).await.unwrap();
    assert_eq!((rebuilt.rewritten, rebuilt.first_rewritten.len(), rebuilt.differing), (0, 0, 0));
    assert_eq!((shop.moves().await, head().await), (written, before));

    // A move that stands in the way of what the facts say, as another release may leave one behind.
    let sql = "UPDATE standing_move SET body = replace(body, '\"value\":\"at_or_above_action_level\"', '\"value\":\"above_limit\"')";
    match &app.registry.database {
        Database::Sqlite(pool) => assert!(sqlx::query(sql).execute(pool).await.is_ok()),
        Database::Postgres(pool) => assert!(sqlx::query(sql).execute(pool).await.is_ok()),
    }
    let rebuilt = rebuild(&app.registry, |_| {}).await.unwrap();
    let told: Vec<_> = rebuilt.first_rewritten.iter().map(|one| (&*one.kind, &*one.deed)).collect();
    assert_eq!((rebuilt.rewritten, told), (1, vec![("standing_move", "recorded")]));
    let after = shop.moves().await;
    assert_eq!(shown(&after)[2..], [["above_limit", AT, "", "round"]]);
    assert_eq!(after[2]["takes_back"], json!([after[1]["id"]]));
    assert_eq!(after[2]["id"], json!(rebuilt.first_rewritten[0].fact_id.to_string()));
}
