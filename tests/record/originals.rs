//! Uploaded files read again: what this release reads otherwise than it was recorded is listed, and nothing is applied.

use crate::fresh::{Fresh, by_the_back_door};
use crate::plant;
use doseward::access::scope::Scope;
use doseward::model::facts::account::Role;
use doseward::model::facts::agent::Agent;
use doseward::model::facts::laboratory::LabResult;
use doseward::model::facts::original::OriginalKind;
use doseward::model::identifiers::AccountId;
use doseward::registry::facts::{laboratory, laboratory_csv, sampling};
use doseward::registry::originals::FILE_MOST;
use doseward::registry::originals::keep::{File, Gave};
use doseward::registry::originals::reparse::{Reparsed, reparse};
use doseward::registry::writer::Registry;
use doseward::store::versions::{self, AsOf};
use serde_json::{Value, json};
use uuid::Uuid;

const REPORT: &str = "sample_number,agent,value,unit,reporting_limit\nE9-0,Test dust,0.40,mg,0.05\nE9-1,test_dust,0.20,mg,0.05\n";

/// A file with two events, and a report of the second as a file.
async fn uploaded(registry: &Registry) -> Uuid {
    let plant = plant::history(registry).await;
    let events = json!([plant::event_body("E8", 1), plant::event_body("E9", 2)]);
    let file = File::json(OriginalKind::SamplingEvents, events.to_string().as_bytes());
    for (n, event) in events.as_array().unwrap().iter().enumerate() {
        let mut change = registry.begin_plain(&plant::recorder()).await.unwrap();
        let (version, samples) = sampling::record_event(&mut change, plant.site, event).await.unwrap();
        let rows = samples.iter().map(|sample| sample.id).collect();
        let gave = Gave { thing: version.id, pointer: format!("/{n}"), rows };
        sampling::keep_file(&mut change, plant.site, &file, gave).await.unwrap();
        registry.commit(change, None).await.unwrap();
    }
    let mut change = registry.begin_plain(&plant::recorder()).await.unwrap();
    let (scope, as_of) = (change.everything(), change.as_of());
    let agents = versions::list::<Agent>(&mut change.tx, &scope, as_of, &[], None).await.unwrap();
    let agents: Vec<Agent> = agents.into_iter().map(|agent| agent.fact).collect();
    let head = [("report_number", "L-9"), ("laboratory", "Reed Laboratory"), ("received_on", "2026-02-20")];
    let head = head.map(|(name, value)| (name.to_owned(), value.to_owned()));
    let report = laboratory_csv::read(&head, REPORT.as_bytes(), &agents).unwrap();
    laboratory::record_report(&mut change, plant.site, report).await.unwrap();
    registry.commit(change, None).await.unwrap();
    plant.other_site
}

async fn again(registry: &Registry) -> Reparsed {
    reparse(registry, &plant::recorder(), |_| {}).await.unwrap()
}

/// The body of the first version of what a query finds, changed in one place.
async fn tamper(registry: &Registry, table: &str, was: &str, is: &str) {
    let sql = format!("UPDATE {table} SET body = replace(body, '{was}', '{is}')");
    by_the_back_door(&registry.database, sql).await;
}

#[tokio::test]
async fn files_read_as_they_were_recorded_and_what_reads_otherwise_is_listed() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let other_site = uploaded(&registry).await;
    let found = again(&registry).await;
    assert_eq!((found.read, found.closed), (3, 0));
    assert_eq!(found.differences, []);
    // Whoever sees another site alone reads none of them.
    let elsewhere = plant::caller(Role::Hygienist, Some(&[other_site]));
    assert_eq!(reparse(&registry, &elsewhere, |_| {}).await.unwrap().read, 0);

    // As if an earlier release had read otherwise: a number, the head of a report, an event, a sample.
    tamper(&registry, "lab_result", "\"0.40\"", "\"0.400\"").await;
    tamper(&registry, "lab_report", "\"received_on\":\"2026-02-20\"", "\"received_on\":\"2026-02-21\"").await;
    tamper(&registry, "sampling_event", "\"reference\":\"E8\"", "\"reference\":\"E7\"").await;
    tamper(&registry, "sample", "E9-1", "E9-7").await;
    let found = again(&registry).await;
    let told: Vec<(&str, Option<&str>, Option<&str>)> = found
        .differences
        .iter()
        .map(|one| (one.pointer.as_str(), one.recorded.as_deref(), one.now.as_deref()))
        .collect();
    let text = |text: &'static str| Some(text);
    assert!(told.contains(&("/0/reference", text("\"E7\""), text("\"E8\""))), "{told:?}");
    assert!(told.contains(&("/1/samples/1/number", text("\"E9-7\""), text("\"E9-1\""))), "{told:?}");
    assert!(told.contains(&("/received_on", text("\"2026-02-21\""), text("\"2026-02-20\""))), "{told:?}");
    assert!(told.contains(&("/results/1/sample_number", text("\"E9-7\""), text("\"E9-1\""))), "{told:?}");
    let mass = told.iter().find(|(pointer, ..)| *pointer == "/results/0/mass").unwrap();
    assert!(mass.1.unwrap().contains("\"0.400\"") && mass.2.unwrap().contains("\"0.40\""), "{mass:?}");
    assert_eq!(told.len(), 5, "{told:?}");
    // Nothing is applied.
    let mut tx = registry.database.read().await.unwrap();
    let as_of: AsOf = registry.now(&mut tx).await.unwrap();
    let everything = Scope::everything(AccountId(Uuid::nil()));
    let results = versions::list::<LabResult>(&mut tx, &everything, as_of, &[], None).await.unwrap();
    let masses: Vec<Value> = results
        .iter()
        .filter_map(|result| Some(result.fact.mass.as_ref()?.reported.clone()?.into()))
        .collect();
    assert!(masses.contains(&json!("0.400")) && !masses.contains(&json!("0.40")), "{masses:?}");
}

#[tokio::test]
async fn a_file_that_is_larger_than_may_be_kept_is_refused_and_leaves_nothing() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let plant = plant::history(&registry).await;
    for (length, kept) in [(FILE_MOST + 1, false), (FILE_MOST, true)] {
        let mut change = registry.begin_plain(&plant::recorder()).await.unwrap();
        let file = File::json(OriginalKind::SamplingEvents, &vec![b' '; length]);
        let gave = Gave { thing: plant.group, pointer: String::new(), rows: Vec::new() };
        let said = sampling::keep_file(&mut change, plant.site, &file, gave).await;
        assert_eq!(said.is_ok(), kept, "{length} bytes");
    }
}

#[tokio::test]
async fn a_file_whose_bytes_are_not_those_of_its_digest_is_not_read() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    uploaded(&registry).await;
    let other = crate::fresh::bytes(&registry.database, b"other");
    by_the_back_door(&registry.database, format!("UPDATE original_bytes SET bytes = {other}")).await;
    let found = again(&registry).await;
    assert_eq!(found.differences.len(), 3);
    assert!(found.differences.iter().all(|one| one.now.as_deref().unwrap().contains("its digest")));
}
