//! An invented plant of one site, and what is sent about it.

use crate::client::{Asked, Client};
use chrono::NaiveDate;
use doseward::access::scope::Scope;
use doseward::model::facts::laboratory::{LabReport, LabResult};
use doseward::model::facts::sampling::{Sample, SamplingEvent};
use doseward::model::identifiers::AccountId;
use doseward::registry::verify::verify;
use doseward::registry::writer::Registry;
use doseward::store::backend::Database;
use doseward::store::versions;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use uuid::Uuid;

/// The plant.
#[derive(Debug, Clone)]
pub(crate) struct Plant {
    /// Its site.
    pub(crate) site: String,
    /// A group of it.
    pub(crate) group: String,
    /// Who works in the group.
    pub(crate) workers: Vec<String>,
}

impl Plant {
    /// Enters it through the service.
    pub(crate) async fn found(client: &Client, address: &str, workers: usize) -> Self {
        let dust = json!({"code": "reed_dust", "name": "Reed dust", "state": "particulate"});
        client.post(address, "/agents", &dust).await.id();
        let site = json!({"code": "NRD", "name": "Works NRD", "time_zone": "America/Denver",
            "rule_set": "us_general_industry"});
        let site = client.post(address, "/sites", &site).await.id();
        let group = json!({"code": "G0", "title": "Group 0"});
        let group = client.post(address, &format!("/sites/{site}/groups"), &group).await.id();
        let mut plant = Self { site, group, workers: Vec::new() };
        for n in 0..workers {
            let body = json!({"employee_number": format!("W{n}"), "given_name": "Given",
                "family_name": format!("Family{n}"), "employer": "Reedmere", "hired_on": "2025-01-06"});
            let worker = client.post(address, "/workers", &body).await.id();
            let body = json!({"group_id": plant.group, "from": "2025-01-06", "shifts_per_week": 5,
                "hours_per_shift": 8});
            client.post(address, &format!("/workers/{worker}/assignments"), &body).await.id();
            plant.workers.push(worker);
        }
        plant
    }

    /// An event of so many samples; the reference tells how many, and names the samples.
    pub(crate) fn event(&self, reference: &str, samples: usize) -> Asked {
        let day = NaiveDate::from_ymd_opt(2026, 2, 3).unwrap();
        let all: Vec<Value> = (0..samples).map(|n| sample(&format!("{reference}-{n}"), day, 8)).collect();
        self.event_of(reference, samples, &all)
    }

    /// The two halves of a worker's shift; the reference names the samples.
    pub(crate) fn shift(&self, reference: &str, worker: usize, day: NaiveDate) -> Asked {
        let halves = [8, 12].iter().enumerate().map(|(n, hour)| {
            let mut half = sample(&format!("{reference}-{n}"), day, *hour);
            half["position"] = json!("breathing_zone");
            half["worker_id"] = json!(self.workers[worker]);
            half["group_id"] = json!(self.group);
            half
        });
        self.event_of(reference, 2, &halves.collect::<Vec<_>>())
    }

    fn event_of(&self, reference: &str, samples: usize, all: &[Value]) -> Asked {
        Asked {
            key: format!("event-{reference}"),
            path: format!("/sites/{}/sampling-events", self.site),
            body: json!({"reference": reference, "sampled_by": "A. Tester", "samples": all}),
            deed: "event".into(),
            about: json!({"reference": reference, "samples": samples}),
        }
    }

    /// A laboratory's file on all samples of an event.
    pub(crate) fn report(&self, reference: &str, samples: usize) -> Asked {
        let mut file = String::from("sample_number,agent,value,unit,reporting_limit\n");
        for n in 0..samples {
            writeln!(file, "{reference}-{n},reed_dust,0.{:03},mg,0.005", 100 + n).unwrap();
        }
        Asked {
            key: format!("report-{reference}"),
            path: format!(
                "/sites/{}/lab-reports?report_number=L-{reference}&laboratory=Reed&received_on=2026-02-20",
                self.site
            ),
            body: Value::String(file),
            deed: "report".into(),
            about: json!({"reference": reference, "samples": samples}),
        }
    }
}

/// Four hours of air from an hour on, at the site's winter time.
fn sample(number: &str, day: NaiveDate, hour: u32) -> Value {
    json!({"number": number, "position": "area", "shift_date": day.to_string(), "agent_codes": ["reed_dust"],
        "runs": [{"start": format!("{day}T{hour:02}:00:00-07:00"), "end": format!("{day}T{:02}:00:00-07:00", hour + 4)}],
        "flow_before": {"value": "2.00", "unit": "L/min"}, "flow_after": {"value": "1.98", "unit": "L/min"}})
}

/// What a registry holds, by natural key: how many samples each event has, and how many results each report.
#[derive(Debug, Default)]
pub(crate) struct Found {
    /// By reference.
    pub(crate) events: BTreeMap<String, usize>,
    /// By number.
    pub(crate) reports: BTreeMap<String, usize>,
}

/// Reads all events and reports past the service; ends the test where one stands twice.
pub(crate) async fn found(registry: &Registry) -> Found {
    let mut tx = registry.database.read().await.unwrap();
    let as_of = registry.now(&mut tx).await.unwrap();
    let all = Scope::everything(AccountId(Uuid::nil()));
    let events = versions::list::<SamplingEvent>(&mut tx, &all, as_of, &[], None).await.unwrap();
    let samples = versions::list::<Sample>(&mut tx, &all, as_of, &[], None).await.unwrap();
    let reports = versions::list::<LabReport>(&mut tx, &all, as_of, &[], None).await.unwrap();
    let results = versions::list::<LabResult>(&mut tx, &all, as_of, &[], None).await.unwrap();
    let mut found = Found::default();
    for event in events {
        let whole = samples.iter().filter(|sample| sample.parent == Some(event.id)).count();
        let twice = found.events.insert(event.fact.reference.to_string(), whole);
        assert_eq!(twice, None, "{} stands once", event.fact.reference);
    }
    for report in reports {
        let whole = results.iter().filter(|result| result.parent == Some(report.id)).count();
        let twice = found.reports.insert(report.fact.report_number.to_string(), whole);
        assert_eq!(twice, None, "{} stands once", report.fact.report_number);
    }
    found
}

/// Proves the record, and asks the engine for its own proof.
pub(crate) async fn is_sound(registry: &Registry) {
    let proof = verify(registry, |_| {}).await.unwrap();
    assert!(proof.sound, "{:?}", proof.first_fault);
    if let Database::Sqlite(pool) = &registry.database {
        let said: Vec<(String,)> = sqlx::query_as("PRAGMA integrity_check").fetch_all(pool).await.unwrap();
        assert_eq!(said, [("ok".to_owned(),)]);
        let orphans = sqlx::query("PRAGMA foreign_key_check").fetch_all(pool).await.unwrap();
        assert!(orphans.is_empty());
    }
}
