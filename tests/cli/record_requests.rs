//! A request for a worker's records, answered by one command. People and figures are invented.

use crate::limits::Entering;
use crate::place::Place;
use serde_json::{Value, json};

#[test]
fn one_command_writes_the_whole_package_once_and_leaves_its_line() {
    let place = Place::with_registry("package");
    assert_eq!(place.run(&["account", "add", "ada@example.org", "--role", "hygienist"]).code, 0);
    let token = place.run(&["token", "add", "ada@example.org", "--label", "test"]).out;
    let token = token.trim();
    let entering = Entering::at(&place, token);
    let worker = json!({"employee_number": "1", "given_name": "Ottilie", "family_name": "Marl", "employer": "Lynhead",
        "hired_on": "2026-01-05"});
    let worker = entering.made("/workers", &worker);
    let request = json!({"received_on": "2026-02-20", "from": "worker", "what": "Every exposure record."});
    let request = entering.made(&format!("/workers/{worker}/record-requests"), &request);
    drop(entering);
    let written = place.run_with_token(token, &["answer-record-request", &request, "package"]);
    assert_eq!(written.code, 0, "{}", written.err);
    let paper = std::fs::read_to_string(place.path("package/package.html")).unwrap();
    assert!(paper.contains("Ottilie Marl") && paper.contains("Record at position"), "{paper}");
    let data = std::fs::read_to_string(place.path("package/package.json")).unwrap();
    let data: Value = serde_json::from_str(&data).unwrap();
    assert_eq!(
        (&data["worker_id"], &data["what"]),
        (&json!(worker), &json!("Every exposure record.")),
        "{data}"
    );
    let lines = "SELECT count(*) FROM access_line WHERE request = 'doseward answer-record-request' AND worker_id IS NOT NULL";
    assert_eq!(place.count(lines), 1);
    // What was handed out is not written over, and nobody is told of a request that there is not.
    assert_eq!(place.run_with_token(token, &["answer-record-request", &request, "package"]).code, 1);
    let nothing = place.run_with_token(token, &["answer-record-request", &worker, "other"]);
    assert!(nothing.code == 1 && !place.path("other").exists(), "{}", nothing.err);
}
