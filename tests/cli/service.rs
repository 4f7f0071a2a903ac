//! The service as a process: what it says, how it stops, and what stops its start.

use crate::place::Place;
use std::io::{BufRead as _, BufReader};
use std::process::Stdio;

#[test]
fn serve_says_where_it_listens_answers_and_stops_when_told() {
    let place = Place::new("serve");
    let mut command = place.command(&["serve"]);
    command.env("DOSEWARD_LISTEN", "127.0.0.1:0").stdout(Stdio::piped()).stderr(Stdio::null());
    let mut child = command.spawn().unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let address = line.trim().strip_prefix("listening on ").unwrap().to_owned();
    let ready = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(async { reqwest::get(format!("{address}/health/ready")).await.unwrap().status() });
    assert_eq!(ready, 200);
    let told = std::process::Command::new("kill").args(["-TERM", &child.id().to_string()]).status().unwrap();
    assert!(told.success());
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

#[test]
fn a_wrong_setting_stops_the_start_with_a_sentence_that_names_it() {
    let place = Place::new("settings");
    for (name, value) in [
        ("DOSEWARD_LISTEN", "8470"),
        ("DOSEWARD_DATABASE_URL", "mysql://host/registry"),
        ("DOSEWARD_LOG_FORMAT", "xml"),
        ("DOSEWARD_LISTNE", "127.0.0.1:0"),
    ] {
        let output = place.command(&["serve"]).env(name, value).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{name}");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(told.contains(name), "{told}");
    }
}

#[test]
fn a_database_that_cannot_be_opened_is_a_failure_and_no_misuse() {
    let place = Place::new("no_database");
    let output = place
        .command(&["serve"])
        .env("DOSEWARD_LISTEN", "127.0.0.1:0")
        .env("DOSEWARD_DATABASE_URL", "sqlite:/nowhere/registry.sqlite")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(told.contains("database cannot be opened"), "{told}");
}
