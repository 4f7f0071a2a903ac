//! What another limit would change, as the command tells it. All of it is invented; the action level of hexavalent chromium
//! is 2.5 ug/m3 (29 CFR 1910.1026(b)).

use crate::place::Place;
use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader};
use std::process::{Child, Stdio};

/// The service while facts are entered; gone when dropped.
pub(crate) struct Entering {
    child: Child,
    address: String,
    token: String,
}

impl Entering {
    pub(crate) fn at(place: &Place, token: &str) -> Self {
        let mut command = place.command(&["serve"]);
        command.env("DOSEWARD_LISTEN", "127.0.0.1:0").stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("listening on ").unwrap().to_owned();
        Self { child, address, token: token.to_owned() }
    }

    /// Posts something; gives what was made.
    fn post(&self, path: &str, body: &Value) -> Value {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(async {
            let url = format!("{}/api/v1{path}", self.address);
            let request = reqwest::Client::new().post(url).bearer_auth(&self.token);
            let answer = request
                .header("content-type", "application/json")
                .body(body.to_string())
                .send()
                .await
                .unwrap();
            let status = answer.status();
            let text = answer.text().await.unwrap();
            assert!(status.is_success(), "{path}: {text}");
            serde_json::from_str(&text).unwrap()
        })
    }

    /// The same; gives its identifier.
    pub(crate) fn made(&self, path: &str, body: &Value) -> String {
        self.post(path, body)["id"].as_str().unwrap().to_owned()
    }
}

impl Drop for Entering {
    fn drop(&mut self) {
        // Ignored: it may have ended already, and then the test has said so.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Two groups of one worker each: welders at 1 ug/m3, and casters below 1.5.
fn enter(entering: &Entering) -> String {
    let site = json!({"code": "LYN", "name": "Lynhead Works", "time_zone": "America/Denver",
        "rule_set": "us_general_industry"});
    let site = entering.made("/sites", &site);
    let value = |value: f64| json!({"value": value, "unit": "ug/m3"});
    let below = json!({"comparator": "<", "value": 1.5, "unit": "ug/m3"});
    for (number, code, title, result) in
        [("1", "WELD", "Welders", value(1.0)), ("2", "CAST", "Casters", below)]
    {
        let group = json!({"code": code, "title": title});
        let group = entering.made(&format!("/sites/{site}/groups"), &group);
        let worker = json!({"employee_number": number, "given_name": "Ottilie", "family_name": format!("Marl {number}"),
            "employer": "Lynhead", "hired_on": "2026-01-05"});
        let worker = entering.made("/workers", &worker);
        let assignment =
            json!({"group_id": group, "from": "2026-02-02", "shifts_per_week": 5, "hours_per_shift": 8});
        entering.post(&format!("/workers/{worker}/assignments"), &assignment);
        let litres = json!({"value": 2, "unit": "L/min"});
        let event = json!({"reference": number, "sampled_by": "K. Marl", "samples": [{
            "number": number, "position": "breathing_zone", "worker_id": worker, "group_id": group,
            "shift_date": "2026-02-03", "agent_codes": ["chromium_vi"], "calibrator": "C-1",
            "calibrated_on": "2026-02-03", "flow_before": litres, "flow_after": litres,
            "runs": [{"start": "2026-02-03T07:00:00-07:00", "end": "2026-02-03T15:00:00-07:00"}]}]});
        entering.post(&format!("/sites/{site}/sampling-events"), &event);
        let limit = if number == "2" { value(1.5) } else { value(0.05) };
        let report = json!({"report_number": number, "laboratory": "Hollow Lane Laboratory",
            "received_on": "2026-02-20", "results": [{"sample_number": number, "agent_code": "chromium_vi",
            "concentration": result, "blank_corrected": "yes", "reporting_limit": limit}]});
        entering.post(&format!("/sites/{site}/lab-reports"), &report);
    }
    site
}

fn token(place: &Place, email: &str, role: &str) -> String {
    assert_eq!(place.run(&["account", "add", email, "--role", role]).code, 0);
    let token = place.run(&["token", "add", email, "--label", "test"]);
    assert_eq!(token.code, 0, "{}", token.err);
    token.out.trim().to_owned()
}

#[test]
fn a_person_reads_first_who_cannot_tell_then_groups_people_and_controls() {
    let place = Place::new("limits");
    let hygienist = token(&place, "ada@example.org", "hygienist");
    let entering = Entering::at(&place, &hygienist);
    enter(&entering);
    let ask = ["preview-limit", "chromium_vi", "action_level", "0.9", "ug/m3"];
    let told = place.run(&ask);
    assert_eq!(told.code, 0, "{}", told.err);
    let places: Vec<usize> = [
        "If the action level of OSHA for chromium_vi were 0.9 µg/m³",
        "Nothing is stored.",
        "Cannot tell: 1 group",
        "LYN (Lynhead Works), CAST (Casters)",
        // 1.5 ug/m3 in 480 min at 2 L/min is 1.44 ug; that is 0.9 ug/m3 in 1600 L: 800 min, ten times that for a tenth.
        "minutes needed: 800 (and 8000 to tell a tenth of it), at 2.00 L/min and a reporting limit of 1.44 µg",
        "How the groups stand: 2 groups",
        "1 group below action level now, at or above action level with the proposal",
        "LYN (Lynhead Works), WELD (Welders)",
        "Newly triggered: 1 person in sight",
        "appears to trigger surveillance; the law in force and a licensed professional decide",
        "Ottilie Marl 1",
        "days of the worst window: 1 measured",
        "Controls no longer sufficient: none",
    ]
    .iter()
    .map(|words| told.out.find(words).unwrap_or_else(|| panic!("no “{words}” in\n{}", told.out)))
    .collect();
    assert!(places.is_sorted(), "{places:?}\n{}", told.out);
    assert!(!told.out.contains("Marl 2"), "{}", told.out);

    // Reading whose exposure it is leaves a line; nothing else is written.
    let lines = |place: &Place| {
        place.count("SELECT count(*) FROM access_line WHERE request = 'doseward preview-limit'")
    };
    assert_eq!(lines(&place), 1);
    let json = place.run(&[&ask[..], &["--json"]].concat());
    let answer = entering.post(
        "/limit-changes/preview",
        &json!({"agent_code": "chromium_vi",
        "kind": "action_level", "value": {"value": 0.9, "unit": "ug/m3"}}),
    );
    let printed: Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(printed, answer);
    assert_eq!(lines(&place), 2);
}

#[test]
fn a_token_sees_its_sites_alone_and_what_cannot_be_read_is_named() {
    let place = Place::new("limits_scope");
    let hygienist = token(&place, "ada@example.org", "hygienist");
    let entering = Entering::at(&place, &hygienist);
    enter(&entering);
    let elsewhere = json!({"code": "BRK", "name": "Brackwater", "time_zone": "America/Denver",
        "rule_set": "us_general_industry"});
    entering.post("/sites", &elsewhere);
    let there = token(&place, "bo@example.org", "coordinator:BRK");
    let ask = |value| ["preview-limit", "chromium_vi", "action_level", value, "ug/m3"];
    let told = place.run_with_token(&there, &ask("0.9"));
    assert_eq!(told.code, 0, "{}", told.err);
    assert!(told.out.contains("Cannot tell: none") && !told.out.contains("LYN"), "{}", told.out);
    assert_eq!(place.count("SELECT count(*) FROM access_line"), 0);

    let administrator = token(&place, "cy@example.org", "administrator");
    assert_eq!(place.run_with_token(&administrator, &ask("0.9")).code, 1);
    let zero = place.run(&ask("0"));
    assert_eq!(zero.code, 1);
    assert!(zero.err.contains("/value must be a number above zero"), "{}", zero.err);
    let kind = place.run(&["preview-limit", "chromium_vi", "daily", "0.9", "ug/m3"]);
    assert_eq!(kind.code, 2);
    assert!(kind.err.contains("action_level"), "{}", kind.err);
}
