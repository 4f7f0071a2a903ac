//! The same facts give the same bytes: whatever the number of threads, after everything stored was worked out anew, in
//! whatever order the facts came, and in whatever language and time zone the program runs.

use crate::acknowledged::List;
use crate::client::Client;
use crate::draws::Draws;
use crate::fresh::{self, Fresh};
use crate::length;
use crate::questions::{EXPORTS, conclusions};
use crate::running::{Running, doseward, ended};
use crate::script::Script;
use crate::stage::Stage;
use crate::works::Plant;
use chrono::NaiveDate;
use doseward::registry::rebuild::rebuild;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// How many steps the script has.
const STEPS: usize = 24;

fn hex(text: &str) -> String {
    Sha256::digest(text).iter().fold(String::new(), |mut hex, byte| {
        write!(hex, "{byte:02x}").unwrap();
        hex
    })
}

/// The exports and, of what else can be asked, one in so many.
const OF_CONCLUSIONS: usize = 5;

/// What can be asked, one after the other.
async fn everything(stage: &Stage, script: &Script<'_>) -> String {
    let mut all = String::new();
    let asked = conclusions(&script.plant).into_iter().step_by(length::of(OF_CONCLUSIONS, 1));
    for address in EXPORTS.into_iter().map(str::to_owned).chain(asked) {
        all += &stage.read("physician", &address).await;
    }
    all
}

/// Plays the script on so many threads and asks everything, several times after everything was worked out anew; gives the
/// digests.
fn digests(threads: usize, rebuilds: usize) -> BTreeSet<String> {
    let mut builder = tokio::runtime::Builder::new_multi_thread();
    builder.worker_threads(threads).enable_all().build().unwrap().block_on(async {
        let stage = Stage::set().await;
        let mut script = Script::begin(&stage, 77).await;
        for _ in 0..STEPS {
            script.step().await;
        }
        stage.settle().await;
        let mut digests = BTreeSet::from([hex(&everything(&stage, &script).await)]);
        for _ in 0..rebuilds {
            rebuild(&stage.registry, |_| {}).await.unwrap();
            digests.insert(hex(&everything(&stage, &script).await));
        }
        digests
    })
}

#[test]
fn on_one_two_and_eight_threads_and_worked_out_anew_it_is_one_digest() {
    let rebuilds = length::of(1, 33);
    let all: BTreeSet<String> =
        [1, 2, 8].into_iter().flat_map(|threads| digests(threads, rebuilds)).collect();
    println!("{all:?}");
    assert_eq!(all.len(), 1, "{all:?}");
}

#[tokio::test]
async fn in_every_language_and_time_zone_the_program_writes_the_same_file() {
    let fresh = Fresh::on_sqlite();
    filled(&fresh.url).await;
    let folder = tempfile::tempdir().unwrap();
    let mut files = BTreeSet::new();
    let zones = [
        ("C", "UTC"),
        ("de_DE.UTF-8", "Pacific/Kiritimati"),
        ("tr_TR.UTF-8", "America/St_Johns"),
        ("ar", "Asia/Kathmandu"),
    ];
    for (language, zone) in zones {
        for dataset in ["samples", "surveillance"] {
            let file = folder.path().join("taken.csv");
            let mut command = doseward(&fresh.url);
            command.env("LANG", language).env("LC_ALL", language).env("TZ", zone);
            command.args(["export", dataset]).arg(&file).args(["--as-known-on", "2030-01-01T00:00:00Z"]);
            assert!(ended(command).await.0.success());
            files.insert((dataset, std::fs::read_to_string(&file).unwrap()));
        }
    }
    assert_eq!(files.len(), 2, "one file of each: {files:?}");
    assert!(files.iter().any(|(_, text)| text.lines().count() > 3), "{files:?}");
}

/// Some shifts with their results.
async fn filled(url: &str) {
    let client = Client::of_role(&fresh::registry(url).await, "hygienist").await;
    let running = Running::start(url).await;
    let plant = Plant::found(&client, &running.address, 2).await;
    let folder = tempfile::tempdir().unwrap();
    let list = List::begin(folder.path());
    for n in 0..4 {
        let day = NaiveDate::from_ymd_opt(2026, 1, 5 + n).unwrap();
        let reference = format!("Z{n}");
        for asked in
            [plant.shift(&reference, usize::try_from(n % 2).unwrap(), day), plant.report(&reference, 2)]
        {
            client.post_listed(&list, &running.address, &asked).await.unwrap().id();
        }
    }
}

/// A group's samples on as many days, entered in an order drawn at random; gives the figures of the group and its workers,
/// without identifiers and positions.
async fn in_some_order(draws: &mut Draws) -> String {
    let stage = Stage::set().await;
    let made = async |path: &str, body: Value| {
        let answer = stage.post("hygienist", path, &body).await;
        answer.id().unwrap_or_else(|| panic!("{path}: {}", answer.text))
    };
    let site = json!({"code": "NRD", "name": "Works NRD", "time_zone": "America/Denver",
        "rule_set": "us_general_industry"});
    let site = made("/sites", site).await;
    let group = made(&format!("/sites/{site}/groups"), json!({"code": "G", "title": "Group"})).await;
    let mut workers = Vec::new();
    for n in 0..3 {
        let body = json!({"employee_number": format!("W{n}"), "given_name": "Given",
            "family_name": format!("Family{n}"), "employer": "Reedmere", "hired_on": "2025-01-06"});
        let worker = made("/workers", body).await;
        let body =
            json!({"group_id": group, "from": "2025-01-06", "shifts_per_week": 5, "hours_per_shift": 8});
        made(&format!("/workers/{worker}/assignments"), body).await;
        workers.push(worker);
    }
    let mut days: Vec<usize> = (0..14).collect();
    for n in (1..days.len()).rev() {
        days.swap(n, draws.below(n + 1));
    }
    for n in days {
        let day =
            NaiveDate::from_ymd_opt(2026, 1, 5).unwrap() + chrono::Duration::days(i64::try_from(n).unwrap());
        let sample = |part: usize, hour: u32| {
            json!({"number": format!("S{n:02}-{part}"), "position": "breathing_zone", "shift_date": day.to_string(),
                "worker_id": workers[n % 3], "agent_codes": ["lead"],
                "runs": [{"start": format!("{day}T{hour:02}:00:00-07:00"), "end": format!("{day}T{:02}:00:00-07:00", hour + 4)}],
                "flow_before": {"value": "2.03", "unit": "L/min"}, "flow_after": {"value": format!("1.9{}", n % 10), "unit": "L/min"}})
        };
        let event = json!({"reference": format!("E{n:02}"), "sampled_by": "A. Sampler",
            "samples": [sample(0, 8), sample(1, 12)]});
        made(&format!("/sites/{site}/sampling-events"), event).await;
        let row = |part: usize| {
            json!({"sample_number": format!("S{n:02}-{part}"), "agent_code": "lead",
                "mass": {"value": format!("{}.{:03}", 3 + (n * 7 + part) % 11, 137 * (n + 1 + part) % 1000), "unit": "ug"},
                "reporting_limit": {"value": "0.02", "unit": "ug"}})
        };
        let report = json!({"report_number": format!("L{n:02}"), "laboratory": "Reed Laboratory",
            "received_on": "2026-02-20", "results": [row(0), row(1)]});
        made(&format!("/sites/{site}/lab-reports"), report).await;
        stage.pass(1);
    }
    stage.settle().await;
    let mut said = String::new();
    let mut addresses = vec![format!("/groups/{group}/profiles?agent_code=lead")];
    for worker in &workers {
        addresses.push(format!("/workers/{worker}/history?agent_code=lead"));
        addresses.push(format!("/shift-averages?worker_id={worker}&agent_code=lead"));
    }
    for address in addresses {
        let mut value: Value = serde_json::from_str(&stage.read("physician", &address).await).unwrap();
        forget(&mut value);
        writeln!(said, "{value}").unwrap();
    }
    said
}

/// Takes identifiers and positions out: they tell in which order things came.
fn forget(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            fields.retain(|name, _| {
                !["position", "basis", "id"].contains(&name.as_str()) && !name.ends_with("_id")
            });
            fields.values_mut().for_each(forget);
        }
        Value::Array(values) => {
            values.iter_mut().for_each(forget);
            values.retain(|value| {
                value.as_str().is_none_or(|text| text.len() != 36 || text.matches('-').count() != 4)
            });
        }
        _ => {}
    }
}

#[tokio::test]
async fn in_whatever_order_the_facts_came_the_figures_are_the_same_text() {
    let mut draws = Draws::from(length::seed("shuffled", 20_260_317));
    let first = in_some_order(&mut draws).await;
    assert!(first.contains("geometric_mean") && first.contains("cumulative"), "{first}");
    for _ in 0..length::of(4, 40) {
        let other = in_some_order(&mut draws).await;
        for (one, other) in first.lines().zip(other.lines()) {
            assert_eq!(one, other);
        }
    }
}
