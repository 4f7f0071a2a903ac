//! Limits and clauses of authorities other than the law that comes with the program: entered as data, checked on entry, each
//! making its own duties beside the law's. The authorities and their numbers are invented; the action level of hexavalent
//! chromium is 2.5 ug/m3, its limit 5 (29 CFR 1910.1026(b), (c)).

use crate::harness::TestApp;
use crate::overview::{Shop, micrograms};
use serde_json::{Value, json};

pub(crate) struct Plant<'a> {
    pub(crate) shop: Shop<'a>,
    pub(crate) weld: String,
    pub(crate) melt: String,
    pub(crate) worker: String,
}

/// One worker in a group here and in one there, five shifts a week in all, from Monday 2 February; today is Monday 2 March.
pub(crate) async fn plant(app: &TestApp) -> Plant<'_> {
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    app.add_account_on("here", "coordinator", &[&here]).await;
    app.add_account_on("hygienist-here", "hygienist", &[&here]).await;
    let shop = Shop { app, here: here.clone(), there: there.clone(), events: 0 };
    let (weld, melt) = (shop.group(&here, "WELD").await, shop.group(&there, "MELT").await);
    let worker = shop.worker("1").await;
    shop.assign(&worker, &weld, "2026-02-02", 3.0).await;
    shop.assign(&worker, &melt, "2026-02-02", 2.0).await;
    Plant { shop, weld, melt, worker }
}

impl Plant<'_> {
    pub(crate) async fn measured(&mut self, group: &str, day: &str, value: f64) -> String {
        let body = json!({"position": "breathing_zone", "worker_id": self.worker, "group_id": group});
        if group != self.melt {
            return self.shop.measured(body, day, micrograms(value)).await;
        }
        let (here, there) = (self.shop.there.clone(), self.shop.here.clone());
        let mut far = Shop { app: self.shop.app, here, there, events: 100 };
        far.measured(body, day, micrograms(value)).await
    }

    pub(crate) async fn enter(&self, who: &str, path: &str, body: &Value) -> crate::harness::Answer {
        self.shop.app.as_role(who).post(path, body).await
    }

    pub(crate) async fn limit_here(&self, kind: &str, value: f64) -> String {
        let limit = json!({"agent_code": "chromium_vi", "authority": "Works", "kind": kind,
            "value": micrograms(value), "averaging_minutes": 480, "source": "Works standard 12, section 2"});
        let made = self.enter("hygienist-here", &format!("/sites/{}/limits", self.shop.here), &limit).await;
        assert_eq!(made.status, 201, "{}", made.text);
        made.id()
    }

    pub(crate) async fn clause_here(&self, code: &str, asked: &Value) -> String {
        let made = self
            .enter("hygienist-here", &format!("/sites/{}/clauses", self.shop.here), &clause(code, asked))
            .await;
        assert_eq!(made.status, 201, "{}", made.text);
        made.id()
    }

    /// The duties of a kind that are not withdrawn: authority, row, status.
    pub(crate) async fn duties(&self, who: &str, kind: &str) -> Vec<[String; 3]> {
        self.shop.app.registry.settle().await.unwrap();
        let answer = self.shop.app.as_role(who).get(&format!("/duties?kind={kind}")).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let items = answer.json["items"].as_array().unwrap().iter();
        let mut found: Vec<_> = items
            .map(|duty| [&duty["authority"], &duty["trigger_id"], &duty["status"]].map(text))
            .filter(|[_, _, status]| status != "withdrawn")
            .collect();
        found.sort();
        found
    }
}

pub(crate) fn clause(code: &str, asked: &Value) -> Value {
    let mut sent = json!({"code": code, "authority": "Works", "agent_code": "chromium_vi",
        "source": "Works standard 12, section 4", "verification": "verified"});
    for (name, value) in asked.as_object().unwrap() {
        sent[name] = value.clone();
    }
    sent
}

pub(crate) fn offered(days: i64) -> Value {
    json!({"worker": {"counts": "eight_hour_average", "level": "action_level", "days": days,
        "first_within": {"amount": 14, "unit": "days", "from": "days_reached"}}})
}

pub(crate) fn rows(rows: &[[&str; 3]]) -> Vec<[String; 3]> {
    rows.iter().map(|row| row.map(str::to_owned)).collect()
}

#[tokio::test]
async fn a_sites_own_level_makes_its_own_duties_and_leaves_the_laws_alone() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    plant.limit_here("action_level", 1.0).await;
    plant.limit_here("twa", 2.0).await;
    // Between the works' action level and the law's: 1.2 here, and the same there, where the works' level does not hold.
    for (group, day) in [(plant.weld.clone(), "2026-02-03"), (plant.melt.clone(), "2026-02-05")] {
        plant.measured(&group, day, 1.2).await;
    }
    assert_eq!(plant.duties("physician", "offer_examination").await, rows(&[]));
    let clause = plant.clause_here("W12-4", &offered(10)).await;

    // Monday to Wednesday here from 2 February: the tenth is Monday 23 February; 14 days after it is 9 March.
    assert_eq!(plant.duties("physician", "offer_examination").await, rows(&[["Works", "W12-4", "open"]]));
    let duties = app.as_role("physician").get("/duties?kind=offer_examination").await;
    let duty = &duties.json["items"][0];
    assert_eq!(duty["clause"], "Works standard 12, section 4");
    assert_eq!(duty["due_on"], "2026-03-09", "{duty}");
    assert_eq!((&duty["verification"], &duty["edition"]), (&json!("verified"), &Value::Null));
    assert!(duty["words"].as_str().unwrap().starts_with("appears to trigger surveillance; "), "{duty}");

    // Side by side, the law's first; it counts nothing, its clause is not met.
    let path = format!("/workers/{}/surveillance?agent_code=chromium_vi", plant.worker);
    let seen = app.as_role("physician").get(&path).await;
    let clauses: Vec<_> = seen.json["clauses"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|one| ["ST001", "W12-4"].contains(&one["trigger_id"].as_str().unwrap()))
        .map(|one| (one["authority"].clone(), one["trigger_id"].clone(), one["met"].clone()))
        .collect();
    assert_eq!(
        clauses,
        [(json!("OSHA"), json!("ST001"), json!(false)), (json!("Works"), json!("W12-4"), json!(true))]
    );
    // The group stands by each authority; there only by the law.
    let standing = async |group: &str| {
        let profile =
            app.as_role("physician").get(&format!("/groups/{group}/profiles?agent_code=chromium_vi")).await;
        let standing = profile.json["items"][0]["standing"].as_array().unwrap().clone();
        let of = standing.iter().filter(|one| one["averaging"].is_null() || one["averaging"] == "eight_hour");
        of.map(|one| (one["authority"].clone(), one["value"].clone())).collect::<Vec<_>>()
    };
    let by_law = (json!("OSHA"), json!("below_action_level"));
    let by_works = (json!("Works"), json!("at_or_above_action_level"));
    assert_eq!(standing(&plant.weld).await, [by_law.clone(), by_works]);
    assert_eq!(standing(&plant.melt).await, [by_law]);

    // The clause is taken back: so is its duty, and nothing of the law's is touched.
    let path = format!("/clauses/{clause}/voiding");
    let voided = plant.enter("hygienist-here", &path, &json!({"reason": "superseded"})).await;
    assert_eq!(voided.status, 201, "{}", voided.text);
    assert_eq!(plant.duties("physician", "offer_examination").await, rows(&[]));
    let all = app.as_role("physician").get("/duties?kind=offer_examination").await;
    assert_eq!(all.json["items"][0]["status"], "withdrawn");
}

#[tokio::test]
async fn a_clause_of_every_site_counts_days_over_all_of_them() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    for (group, day) in [(plant.weld.clone(), "2026-02-03"), (plant.melt.clone(), "2026-02-05")] {
        plant.measured(&group, day, 1.2).await;
    }
    let agents = app.as_role("hygienist").get("/agents?limit=500").await;
    let agent =
        agents.json["items"].as_array().unwrap().iter().find(|one| one["code"] == "chromium_vi").unwrap();
    let limit = json!({"authority": "Works", "kind": "action_level", "value": micrograms(1.0),
        "averaging_minutes": 480, "source": "Works standard 12, section 2"});
    let path = format!("/agents/{}/limits", agent["id"].as_str().unwrap());
    assert_eq!(plant.enter("hygienist", &path, &limit).await.status, 201);
    // Who has one site may neither set a rule for all of them nor take one back.
    assert_eq!(plant.enter("hygienist-here", &path, &limit).await.status, 403);
    assert_eq!(plant.enter("hygienist-here", "/clauses", &clause("W1", &offered(200))).await.status, 403);
    let made = plant.enter("hygienist", "/clauses", &clause("W1", &offered(200))).await;
    assert_eq!(made.status, 201, "{}", made.text);
    let path = format!("/clauses/{}/voiding", made.id());
    assert_eq!(plant.enter("hygienist-here", &path, &json!({"reason": "mine"})).await.status, 403);

    // 260 days a year in both groups together; three shifts a week are 156.
    assert_eq!(plant.duties("physician", "offer_examination").await, rows(&[["Works", "W1", "open"]]));
    let seen = app.as_role("here").get("/duties?kind=offer_examination").await;
    let duty = &seen.json["items"][0];
    assert_eq!((&duty["days_counted"], &duty["basis"]), (&Value::Null, &json!([])), "{duty}");
    assert!(duty["flags"].as_array().unwrap().contains(&json!("days_across_sites")), "{duty}");
    // Whose clause it is could be another site's own: that is kept back, in the duty and among the clauses.
    assert_eq!(
        (&duty["authority"], &duty["clause"], &duty["trigger_id"]),
        (&Value::Null, &Value::Null, &Value::Null)
    );
    let path = format!("/workers/{}/surveillance?agent_code=chromium_vi", plant.worker);
    assert!(!app.as_role("here").get(&path).await.text.contains("Works standard"));
    // The same clause at one site alone has too few days.
    let site = format!("/sites/{}/clauses", plant.shop.here);
    assert_eq!(plant.enter("hygienist-here", &site, &clause("W2", &offered(200))).await.status, 201);
    assert_eq!(plant.duties("physician", "offer_examination").await, rows(&[["Works", "W1", "open"]]));
}

#[tokio::test]
async fn monitoring_by_a_sites_own_clauses_stands_beside_the_laws() {
    let app = TestApp::spawn().await;
    let mut plant = plant(&app).await;
    plant.limit_here("action_level", 1.0).await;
    plant.limit_here("twa", 2.0).await;
    let group = |asked: Value| json!({"group": asked});
    let again = json!({"asks": "sample_again", "stands": "above_limit", "months": 1});
    plant.clause_here("W12-6", &group(again)).await;
    plant.clause_here("W12-7", &group(json!({"asks": "write_plan"}))).await;
    plant.clause_here("W12-8", &group(json!({"asks": "tell_results", "within_days": 3}))).await;
    let down = json!({"asks": "may_stop", "below": "action_level", "results": 2, "days_apart": 3});
    plant.clause_here("W12-9", &group(down)).await;
    let weld = plant.weld.clone();
    let first = plant.measured(&weld, "2026-02-03", 2.2).await;
    // Above the works' limit, and below the law's action level.
    // In both groups initial monitoring is still owed: nobody has accepted the result.
    assert_eq!(
        plant.duties("physician", "monitor_again").await,
        rows(&[["OSHA", "MT001", "open"], ["OSHA", "MT001", "open"], ["Works", "W12-6", "open"]])
    );
    assert_eq!(plant.duties("physician", "written_plan").await, rows(&[["Works", "W12-7", "open"]]));
    let told = plant.duties("physician", "notify_results").await;
    assert_eq!(told.iter().map(|row| row[0].as_str()).collect::<Vec<_>>(), ["OSHA", "Works"], "{told:?}");

    // Two accepted rounds below the works' action level, three days apart: its standing falls by its own clause.
    let mut samples = vec![first];
    for day in ["2026-02-10", "2026-02-14"] {
        samples.push(plant.measured(&weld, day, 0.4).await);
    }
    for sample in samples {
        plant.shop.post(&format!("/samples/{sample}/acceptance"), json!({})).await;
    }
    app.registry.settle().await.unwrap();
    let profile =
        app.as_role("physician").get(&format!("/groups/{weld}/profiles?agent_code=chromium_vi")).await;
    let standing = profile.json["items"][0]["standing"].as_array().unwrap().clone();
    let works = standing.iter().find(|one| one["authority"] == "Works").unwrap();
    assert_eq!(
        (&works["value"], &works["clause"]),
        (&json!("below_action_level"), &json!("Works standard 12, section 4"))
    );
    assert_eq!(plant.duties("physician", "written_plan").await, rows(&[]));
}

#[tokio::test]
async fn what_no_clause_can_say_is_refused_field_by_field() {
    let app = TestApp::spawn().await;
    let plant = plant(&app).await;
    let path = format!("/sites/{}/clauses", plant.shop.here);
    let faults = async |body: Value| {
        let answer = plant.enter("hygienist-here", &path, &body).await;
        assert_eq!(answer.status, 422, "{}", answer.text);
        let errors = answer.json["errors"].as_array().unwrap().clone();
        errors.iter().map(|one| one["pointer"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    // The works has no action level here yet.
    assert_eq!(faults(clause("W1", &offered(3))).await, ["/worker/level"]);
    let mut of_law = clause("ST001", &offered(3));
    of_law["authority"] = json!("OSHA");
    assert_eq!(faults(of_law).await, ["/authority", "/code"]);
    let mut unknown = clause("W1", &offered(3));
    unknown["agent_code"] = json!("unknown_dust");
    assert_eq!(faults(unknown).await, ["/agent_code"]);
    let parts = json!({"worker": {"counts": "eight_hour_average", "value": {"value": 2, "unit": "[ppm]"}}});
    assert_eq!(faults(clause("W1", &parts)).await, ["/worker/value/unit"]);
    let limit = json!({"agent_code": "chromium_vi", "authority": "OSHA", "kind": "twa", "value": micrograms(1.0),
        "source": "mine"});
    let answer = plant.enter("hygienist-here", &format!("/sites/{}/limits", plant.shop.here), &limit).await;
    assert_eq!(answer.json["errors"][0]["pointer"], "/authority", "{}", answer.text);
    plant.limit_here("action_level", 1.0).await;
    plant.clause_here("W1", &offered(3)).await;
    // A code is one in the registry.
    let second = plant
        .enter("hygienist", "/clauses", &clause("W1", &json!({"worker": {"counts": "any_exposure"}})))
        .await;
    assert_eq!(second.status, 409, "{}", second.text);
    // Another site's hygienist sees neither.
    app.add_account_on("hygienist-there", "hygienist", &[&plant.shop.there]).await;
    let seen = app.as_role("hygienist-there").get("/clauses").await;
    assert_eq!(seen.json["items"], json!([]));
    let limits = app.as_role("hygienist-there").get(&format!("/sites/{}/limits", plant.shop.here)).await;
    assert_eq!(limits.status, 404);
}
