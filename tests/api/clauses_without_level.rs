//! Clauses whose level is not there: refused on entry where it never is, kept from being taken away, and named wherever it is
//! missing. The authorities and their numbers are invented. Today is Monday 2 March 2026.

use crate::harness::{Answer, TestApp};
use crate::other_authorities::{Plant, clause, offered, plant, rows};
use crate::overview::micrograms;
use chrono::Duration;
use serde_json::{Value, json};

impl Plant<'_> {
    /// Enters a limit of the works here with further fields.
    async fn level(&self, value: f64, more: &Value) -> Answer {
        let mut limit = json!({"agent_code": "chromium_vi", "authority": "Works", "kind": "action_level",
            "value": micrograms(value), "averaging_minutes": 480, "source": "Works standard 12, section 2"});
        limit.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        let made = self.enter("hygienist-here", &format!("/sites/{}/limits", self.shop.here), &limit).await;
        assert_eq!(made.status, 201, "{}", made.text);
        made
    }

    async fn try_clause(&self, code: &str, asked: &Value) -> Answer {
        let path = format!("/sites/{}/clauses", self.shop.here);
        self.enter("hygienist-here", &path, &clause(code, asked)).await
    }

    async fn correct_limit(&self, id: &str, mut fields: Value) -> Answer {
        fields["reason"] = json!("Typed wrongly.");
        let app = self.shop.app;
        let path = format!("/limits/{id}");
        let read = app.as_role("hygienist-here").get(&path).await;
        let request = app.as_role("hygienist-here").request("PATCH", &path);
        Answer::of(request.header("if-match", read.header("etag")).json(&fields)).await
    }

    async fn listed_flags(&self, clause: &str) -> Value {
        let path = format!("/sites/{}/clauses", self.shop.here);
        let list = self.shop.app.as_role("hygienist-here").get(&path).await;
        let one = self.shop.app.as_role("hygienist-here").get(&format!("/clauses/{clause}")).await;
        let listed = list.json["items"].as_array().unwrap().iter().find(|one| one["id"] == clause).unwrap();
        assert_eq!(listed["flags"], one.json["flags"]);
        listed["flags"].clone()
    }
}

#[tokio::test]
async fn a_level_that_is_never_there_while_the_clause_holds_is_refused() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let below = json!({"group": {"asks": "sample_again", "stands": "below", "months": 6}});
    let refused = async |code: &str, asked: &Value, pointer: &str, says: &str| {
        let answer = plant.try_clause(code, asked).await;
        assert_eq!(answer.status, 422, "{}", answer.text);
        assert_eq!(answer.json["errors"][0]["pointer"], pointer, "{}", answer.text);
        let detail = answer.json["errors"][0]["detail"].as_str().unwrap();
        assert!(detail.contains(says), "{detail}");
    };
    refused("W1", &below, "/group/stands", "names the action_level or limit of Works, which has none").await;
    // Under another rule set only: the site is one of general industry.
    plant.level(1.0, &json!({"rule_sets": ["us_construction"]})).await;
    refused("W1", &offered(3), "/worker/level", "which has none for this agent at this site").await;
    // Ended before the clause begins.
    plant.level(1.0, &json!({"to": "2026-01-01"})).await;
    let mut late = offered(3);
    late["from"] = json!("2026-01-01");
    refused("W1", &late, "/worker/level", "while it holds").await;
    late["from"] = json!("2025-12-31");
    let made = plant.try_clause("W1", &late).await;
    assert_eq!((made.status, &made.json["flags"]), (201, &json!(["level_not_in_force"])), "{}", made.text);
    // A group of the site that works under the other rule set has the level.
    let own = json!({"rule_set": "us_construction", "from": "2026-01-01", "reason": "Work on the building."});
    plant.shop.post(&format!("/groups/{}/rule-sets", plant.weld), own).await;
    let made = plant.try_clause("W2", &below).await;
    assert_eq!(made.status, 201, "{}", made.text);
    assert_eq!(made.json["flags"], json!(["level_not_under_every_rule_set"]));
}

#[tokio::test]
async fn a_level_that_a_clause_names_cannot_be_taken_away() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let limit = plant.level(1.0, &json!({})).await.id();
    let clause = plant.clause_here("W1", &offered(3)).await;
    let names_it = |answer: &Answer| {
        assert_eq!(answer.status, 422, "{}", answer.text);
        let said = answer.json["errors"][0]["detail"].as_str().unwrap().to_owned();
        assert!(said.contains(&format!("would leave clause {clause} impossible")), "{said}");
    };
    let void = format!("/limits/{limit}/voiding");
    names_it(&plant.enter("hygienist-here", &void, &json!({"reason": "Superseded."})).await);
    for fields in [
        json!({"kind": "twa"}),
        json!({"authority": "Yard"}),
        json!({"to": "2026-03-01"}),
        json!({"from": "2026-03-03"}),
        json!({"rule_sets": ["us_construction"]}),
    ] {
        names_it(&plant.correct_limit(&limit, fields).await);
    }
    // That it ends one day is no mistake: the clause says so.
    assert_eq!(plant.listed_flags(&clause).await, Value::Null);
    let ends = plant.correct_limit(&limit, json!({"to": "2026-03-10"})).await;
    assert_eq!(ends.status, 200, "{}", ends.text);
    assert_eq!(plant.listed_flags(&clause).await, json!(["level_ends_before_clause"]));
    // With another in its place it may go; without the clause too.
    let second = plant.level(1.5, &json!({})).await.id();
    assert_eq!(plant.listed_flags(&clause).await, Value::Null);
    let voided = plant.enter("hygienist-here", &void, &json!({"reason": "Superseded."})).await;
    assert_eq!(voided.status, 201, "{}", voided.text);
    let void_second = format!("/limits/{second}/voiding");
    names_it(&plant.enter("hygienist-here", &void_second, &json!({"reason": "Superseded."})).await);
    let path = format!("/clauses/{clause}/voiding");
    assert_eq!(plant.enter("hygienist-here", &path, &json!({"reason": "Over."})).await.status, 201);
    let voided = plant.enter("hygienist-here", &void_second, &json!({"reason": "Superseded."})).await;
    assert_eq!(voided.status, 201, "{}", voided.text);
}

#[tokio::test]
async fn a_clause_whose_limit_has_ended_says_so_and_asks_for_nothing() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    plant.level(1.0, &json!({"to": "2026-03-04"})).await;
    let id = plant.clause_here("W1", &offered(10)).await;
    let weld = plant.weld.clone();
    plant.measured(&weld, "2026-02-03", 1.2).await;
    let worker = plant.worker.clone();
    assert_eq!(plant.duties("physician", "offer_examination").await, rows(&[["Works", "W1", "open"]]));
    assert_eq!(plant.shown(&worker, "chromium_vi", "W1").await["met"], true);

    app.clock.advance(Duration::days(2));
    let ended = plant.shown(&worker, "chromium_vi", "W1").await;
    assert_eq!((&ended["met"], &ended["authority"]), (&json!(false), &json!("Works")), "{ended}");
    assert_eq!(ended["flags"], json!(["level_not_in_force"]), "{ended}");
    assert_eq!((&ended["days_counted"], &ended["note"]), (&Value::Null, &json!("its limit is not in force")));
    assert!(ended["words"].as_str().unwrap().starts_with("cannot be told; "), "{ended}");
    assert_eq!(plant.listed_flags(&id).await, json!(["level_not_in_force"]));
}

#[tokio::test]
async fn a_level_in_parts_by_volume_is_held_against_results_by_mass() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    // 48.9 g/mol and 24.45 L/mol at 25 C and 760 mmHg (29 CFR 1910.1000 Table Z-1, footnotes, from memory): 2 ppm are 4 mg/m3.
    let gas = json!({"code": "works_gas", "name": "Works gas", "state": "gas_vapour",
        "molar_mass": {"value": 48.9, "unit": "g/mol"}});
    plant.shop.post("/agents", gas).await;
    let heavy = json!({"code": "works_fume", "name": "Works fume", "state": "gas_vapour"});
    plant.shop.post("/agents", heavy).await;
    for agent in ["works_gas", "works_fume"] {
        let limit = json!({"authority": "Works", "kind": "twa", "value": {"value": 9, "unit": "mg/m3"},
            "averaging_minutes": 480, "source": "Works standard 13"});
        let path = format!("/agents/{}/limits", plant.agent_id(agent).await);
        assert_eq!(plant.enter("hygienist", &path, &limit).await.status, 201);
        let mut sent = clause(
            &format!("{agent}-1"),
            &json!({"worker": {"counts": "eight_hour_average", "value": {"value": 2, "unit": "[ppm]"}}}),
        );
        sent["agent_code"] = json!(agent);
        let path = format!("/sites/{}/clauses", plant.shop.here);
        let made = plant.enter("hygienist-here", &path, &sent).await;
        assert_eq!(made.status, 201, "{}", made.text);
        let told = if agent == "works_gas" { Value::Null } else { json!(["level_not_convertible"]) };
        assert_eq!(made.json["flags"], told);
    }
    let weld = plant.weld.clone();
    let (low, high) = (plant.shop.worker("2").await, plant.worker.clone());
    for (worker, value) in [(&low, 3.99), (&high, 4.0)] {
        for agent in ["works_gas", "works_fume"] {
            let found = json!({"value": value, "unit": "mg/m3"});
            plant.sampled(worker, &weld, agent, "2026-02-03", found).await;
        }
    }
    assert_eq!(plant.shown(&low, "works_gas", "works_gas-1").await["met"], false);
    assert_eq!(plant.shown(&high, "works_gas", "works_gas-1").await["met"], true);
    let untold = plant.shown(&high, "works_fume", "works_fume-1").await;
    assert_eq!((&untold["met"], &untold["flags"]), (&json!(false), &json!(["level_not_convertible"])));
    assert!(untold["note"].as_str().unwrap().contains("no molar mass"), "{untold}");
}
