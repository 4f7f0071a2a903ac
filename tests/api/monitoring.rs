//! What a standard asks of a group's monitoring, from the first expectation to the last round, over HTTP.

use crate::harness::TestApp;
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
    app.add_account_on("here", "coordinator", &[&site]).await;
    let group = app.group(&site, "WELD").await;
    let worker = json!({"employee_number": "1", "given_name": "Ada", "family_name": "Vale", "employer": "Own works",
        "hired_on": "2025-01-06"});
    let worker = hygienist.post("/workers", &worker).await.id();
    let assignment =
        json!({"group_id": group, "from": "2025-01-06", "shifts_per_week": 5, "hours_per_shift": 8});
    hygienist.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
    Shop { app, site, group, worker }
}

impl Shop<'_> {
    /// A round of chromium(VI) in ug/m3, entered by the site's coordinator; gives its sample.
    async fn round(&self, day: &str, value: f64, received_on: &str) -> String {
        let coordinator = self.app.as_role("here");
        let sample = json!({"number": format!("N-{day}"), "position": "breathing_zone", "shift_date": day,
            "worker_id": self.worker, "group_id": self.group, "agent_codes": ["chromium_vi"],
            "runs": [{"start": format!("{day}T07:00:00-07:00"), "end": format!("{day}T15:00:00-07:00")}],
            "calibrated_on": "2026-02-01",
            "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"}});
        let event = json!({"reference": day, "sampled_by": "K. Marl", "samples": [sample]});
        let made = coordinator.post(&format!("/sites/{}/sampling-events", self.site), &event).await;
        assert_eq!(made.status, 201, "{}", made.text);
        let result = json!({"sample_number": format!("N-{day}"), "agent_code": "chromium_vi",
            "concentration": {"value": value, "unit": "ug/m3"}, "blank_corrected": "yes",
            "reporting_limit": {"value": 0.05, "unit": "ug/m3"}});
        let report = json!({"report_number": format!("L-{day}"), "laboratory": "Hollow Lane Laboratory",
            "received_on": received_on, "results": [result]});
        let reported = coordinator.post(&format!("/sites/{}/lab-reports", self.site), &report).await;
        assert_eq!(reported.status, 201, "{}", reported.text);
        made.json["samples"][0]["id"].as_str().unwrap().to_owned()
    }

    async fn accept(&self, sample: &str) {
        let path = format!("/samples/{sample}/acceptance");
        let accepted = self.app.as_role("hygienist").post(&path, &json!({})).await;
        assert_eq!(accepted.status, 201, "{}", accepted.text);
    }

    /// The duties of a kind as the site's coordinator sees them: row, due date, status.
    async fn duties(&self, kind: &str) -> Vec<Value> {
        self.app.registry.settle().await.unwrap();
        let answer = self.app.as_role("here").get(&format!("/duties?kind={kind}")).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        answer.json["items"].as_array().unwrap().clone()
    }

    async fn shown(&self, kind: &str) -> Vec<[String; 3]> {
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let duties = self.duties(kind).await;
        let mut shown: Vec<_> = duties
            .iter()
            .map(|duty| [text(&duty["trigger_id"]), text(&duty["due_on"]), text(&duty["status"])])
            .collect();
        shown.sort();
        shown
    }
}

fn rows(rows: &[[&str; 3]]) -> Vec<[String; 3]> {
    rows.iter().map(|row| row.map(str::to_owned)).collect()
}

#[tokio::test]
async fn monitoring_is_owed_from_the_first_expectation_until_the_standard_lets_it_stop() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let hygienist = app.as_role("hygienist");
    let expected = json!({"agent_code": "chromium_vi", "from": "2026-01-05", "source": "process sheet 4"});
    hygienist.post(&format!("/groups/{}/agents", shop.group), &expected).await.id();
    // 29 CFR 1910.1026(d)(1)-(3): no date in the paragraph, so the day on which the registry learned of it.
    assert_eq!(shop.shown("monitor_again").await, rows(&[["MT001", "2026-03-02", "open"]]));

    // At the action level (1910.1026(b): 2.5 ug/m3): every six months ((d)(2)(iii)), from 3 February.
    let first = shop.round("2026-02-03", 2.5, "2026-02-20").await;
    let owed = rows(&[["MT001", "2026-03-02", "met"], ["MT003", "2026-08-03", "open"]]);
    assert_eq!(shop.shown("monitor_again").await, owed);
    let duties = shop.duties("monitor_again").await;
    let again = duties.iter().find(|duty| duty["trigger_id"] == "MT003").unwrap();
    assert_eq!(again["clause"], "29 CFR 1910.1026(d)(2)(iii)");
    // Wherever a trigger is shown: the edition that was read, and who decides.
    let edition = "29 CFR after the rule of 14 May 2019 (84 FR 21416), exact day unknown";
    assert_eq!((&again["edition"], &again["verification"]), (&json!(edition), &json!("verified")));
    let words = "appears to be triggered; the law in force and a licensed professional decide";
    assert_eq!(again["words"], words);
    assert_eq!(again["subject"], json!({"group_id": shop.group}));
    assert!(!again["basis"].as_array().unwrap().is_empty(), "{again}");
    // The site has not said which option it follows; its intervals bind until it does.
    assert_eq!(again["flags"], json!(["option_not_stated"]));
    // 1910.1026(d)(4)(i): 15 working days; 20 February 2026 is a Friday, so three weeks of five later.
    assert_eq!(shop.shown("notify_results").await, rows(&[["MT007", "2026-03-13", "open"]]));

    // Two below, seven days apart, and nobody has accepted them: nothing ends, and the duty says why.
    shop.accept(&first).await;
    let second = shop.round("2026-02-10", 1.0, "2026-02-24").await;
    let third = shop.round("2026-02-17", 1.0, "2026-02-25").await;
    assert_eq!(shop.shown("monitor_again").await, owed);
    let duties = shop.duties("monitor_again").await;
    let again = duties.iter().find(|duty| duty["trigger_id"] == "MT003").unwrap();
    assert_eq!(again["flags"], json!(["not_accepted_or_flagged", "option_not_stated"]));
    // Accepted, they confirm each other ((d)(2)(v)): sampling may stop, and the open duty was met by the first of them.
    shop.accept(&second).await;
    // While only the second is accepted, another sample is due six months after it; the third meets that one as well.
    app.registry.settle().await.unwrap();
    shop.accept(&third).await;
    let met = rows(&[
        ["MT001", "2026-03-02", "met"],
        ["MT003", "2026-08-03", "met"],
        ["MT003", "2026-08-10", "met"],
    ]);
    assert_eq!(shop.shown("monitor_again").await, met);

    // A change that may raise exposure asks for monitoring again ((d)(2)(vi)), whatever the standing.
    let change =
        json!({"from": "2026-02-26", "kind": "material", "description": "another wire", "may_raise": true});
    hygienist.post(&format!("/groups/{}/changes", shop.group), &change).await.id();
    let mut after = met.clone();
    after.push(["MT006".into(), "2026-03-02".into(), "open".into()]);
    after.sort();
    assert_eq!(shop.shown("monitor_again").await, after);
    let verified = app.as_role("administrator").post("/journal/verification", &json!({})).await;
    assert!(verified.text.contains("true") || verified.status == 200, "{}", verified.text);
}

#[tokio::test]
async fn another_sites_coordinator_sees_nothing_of_it_and_the_performance_option_has_no_intervals() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    let there = app.site("BRK").await;
    app.add_account_on("there", "coordinator", &[&there]).await;
    shop.round("2026-02-03", 6.0, "2026-02-20").await;
    assert_eq!(shop.shown("monitor_again").await, rows(&[["MT004", "2026-05-03", "open"]]));
    let notices = shop.duties("notify_results").await;
    // Above 5 ug/m3 the notice says what is done about it (1910.1026(d)(4)(ii)).
    assert_eq!(notices[0]["flags"], json!(["state_corrective_action"]));
    let seen = app.as_role("there").get("/duties").await;
    assert_eq!(seen.json["items"], json!([]), "{}", seen.text);
    let path = format!("/duties/{}/actions", notices[0]["id"].as_str().unwrap());
    let told = json!({"action": "notified", "on": "2026-03-02"});
    assert_eq!(app.as_role("there").post(&path, &told).await.status, 404);
    let acted = app.as_role("here").post(&path, &told).await;
    assert_eq!((acted.status, &acted.json["status"]), (201, &json!("met")), "{}", acted.text);

    let option = json!({"agent_code": "chromium_vi", "option": "performance", "from": "2026-01-01"});
    let path = format!("/sites/{}/monitoring-options", shop.site);
    let made = app.as_role("hygienist").post(&path, &option).await;
    assert_eq!(made.status, 201, "{}", made.text);
    assert_eq!(shop.shown("monitor_again").await, rows(&[["MT004", "2026-05-03", "withdrawn"]]));
}

#[tokio::test]
async fn late_duties_go_up_a_line_and_are_listed_by_urgency() {
    let app = TestApp::spawn().await;
    let shop = shop(&app).await;
    // 29 CFR 1910.1026(d)(4)(i): 15 working days after receipt; Presidents' Day (16 February) is none. From 6, 2 and 27
    // February 2026 these are 2 March, 24 February (6 days late) and 20 March. Who hears first is this registry's own rule.
    for (day, received_on) in
        [("2026-02-03", "2026-02-06"), ("2026-02-02", "2026-02-02"), ("2026-02-04", "2026-02-27")]
    {
        shop.round(day, 1.0, received_on).await;
    }
    shop.app.registry.settle().await.unwrap();
    let listed = async |query: &str| {
        let answer = shop.app.as_role("here").get(&format!("/duties?kind=notify_results{query}")).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
        let next = answer.json["next"].as_str().map(str::to_owned);
        let shown = answer.json["items"].as_array().unwrap().iter().map(|duty| {
            let to = &duty["escalation"]["to"];
            (duty["due_on"].as_str().unwrap().to_owned(), to.as_str().unwrap_or("nobody").to_owned())
        });
        (shown.collect::<Vec<_>>(), next)
    };
    let (raised, _) = listed("").await;
    let of = |rows: &[(&str, &str)]| {
        rows.iter().map(|(due, to)| ((*due).to_owned(), (*to).to_owned())).collect::<Vec<_>>()
    };
    assert_eq!(
        raised,
        of(&[("2026-03-02", "nobody"), ("2026-02-24", "coordinator"), ("2026-03-20", "nobody")])
    );
    let (urgent, next) = listed("&order=most_urgent&limit=2").await;
    assert_eq!(urgent, of(&[("2026-02-24", "coordinator"), ("2026-03-02", "nobody")]));
    let (rest, next) = listed(&format!("&order=most_urgent&limit=2&after={}", next.unwrap())).await;
    assert_eq!((rest, next), (of(&[("2026-03-20", "nobody")]), None));
}
