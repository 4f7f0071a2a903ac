//! What was known then is what is answered when asked for then.

use crate::fresh::Fresh;
use crate::plant::{self, Draws, recorder};
use doseward::access::scope::Scope;
use doseward::model::facts::control::Task;
use doseward::model::facts::group::Group;
use doseward::model::facts::laboratory::{LabReportDraft, LabResult};
use doseward::model::facts::sampling::{Sample, SamplingEvent};
use doseward::model::facts::site::Site;
use doseward::model::identifiers::AccountId;
use doseward::model::shape::Shape as _;
use doseward::registry::facts::laboratory::{Report, record_report};
use doseward::registry::place::Under;
use doseward::registry::recording::{self, Recorded};
use doseward::registry::refusal::Refusal;
use doseward::registry::verify::verify;
use doseward::registry::writer::Registry;
use doseward::store::backend::Tx;
use doseward::store::journal;
use doseward::store::versions::{self, AsOf};
use serde_json::{Value, json};
use uuid::Uuid;

/// How many requests are made.
const REQUESTS: usize = 200;

async fn texts<F: Recorded>(tx: &mut Tx, as_of: AsOf, into: &mut Vec<String>) {
    let scope = Scope::everything(AccountId(Uuid::nil()));
    let facts = versions::list::<F>(tx, &scope, as_of, &[], None).await.unwrap();
    into.extend(facts.iter().map(|fact| recording::view(fact).to_string()));
}

/// All lists as they were known at a position.
async fn lists(registry: &Registry, position: Option<i64>) -> (i64, Vec<String>) {
    let mut tx = registry.database.read().await.unwrap();
    let (head, _) = journal::head(&mut tx).await.unwrap();
    let position = position.unwrap_or(head);
    let as_of = AsOf { position, date: "2026-03-02".parse().unwrap() };
    let mut all = Vec::new();
    texts::<Site>(&mut tx, as_of, &mut all).await;
    texts::<Group>(&mut tx, as_of, &mut all).await;
    texts::<Task>(&mut tx, as_of, &mut all).await;
    texts::<SamplingEvent>(&mut tx, as_of, &mut all).await;
    texts::<Sample>(&mut tx, as_of, &mut all).await;
    texts::<LabResult>(&mut tx, as_of, &mut all).await;
    (position, all)
}

/// A report on the first sample of a random event; a second one revises the first.
async fn report(
    registry: &Registry,
    site: Uuid,
    n: usize,
    sample: &str,
    standing: Option<Uuid>,
) -> Result<Uuid, Refusal> {
    let mut row = json!({"sample_number": sample, "agent_code": "test_dust",
        "mass": {"value": format!("0.{n:03}1"), "unit": "mg"}, "reporting_limit": {"value": "0.00005", "unit": "mg"}});
    if let Some(standing) = standing {
        row["replaces"] = json!({"result_id": standing.to_string(), "as": "revised"});
    }
    let body: Value = json!({"report_number": format!("R-{n}"), "laboratory": "Reed Laboratory",
        "received_on": "2026-02-20", "results": [row]});
    let mut change = registry.begin_plain(&recorder()).await?;
    let recorded = record_report(&mut change, site, Report::from(LabReportDraft::parse(&body)?)).await?;
    registry.commit(change, None).await?;
    Ok(recorded.results[0].id)
}

#[tokio::test]
async fn after_two_hundred_entries_voidings_and_revisions_every_earlier_list_is_as_it_was() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let plant = plant::history(&registry).await;
    let mut draws = Draws(20_260_302);
    let mut groups = vec![plant.group];
    let mut tasks = Vec::new();
    let mut events: Vec<(String, Option<Uuid>)> = Vec::new();
    let mut kept = Vec::new();
    for n in 0..REQUESTS {
        let site = plant.site;
        let any = draws.below(groups.len());
        match draws.below(8) {
            0 | 1 => groups.push(plant::group(&registry, site, &format!("R{n}")).await.unwrap()),
            2 => {
                let body =
                    json!({"code": format!("T{n}"), "title": "Task", "group_id": groups[any].to_string()});
                // Refused where the group is void.
                if let Ok(id) = plant::record::<Task>(&registry, Under::Site, Some(site), body).await {
                    tasks.push(id);
                }
            }
            3 => drop(plant::void::<Group>(&registry, groups[any], true).await),
            4 => drop(plant::void::<Group>(&registry, groups[any], false).await),
            5 if !tasks.is_empty() => {
                let task = tasks[draws.below(tasks.len())];
                drop(plant::void::<Task>(&registry, task, draws.below(3) > 0).await);
            }
            6 if !events.is_empty() => {
                let of = events.len();
                let (reference, standing) = &mut events[draws.below(of)];
                let id = report(&registry, site, n, &format!("{reference}-0"), *standing).await.unwrap();
                *standing = Some(id);
            }
            _ => {
                let reference = format!("V{n}");
                plant::event(&registry, site, &reference, 1 + n % 3).await.unwrap();
                events.push((reference, None));
            }
        }
        kept.push(lists(&registry, None).await);
    }
    for (position, then) in kept {
        let (_, now) = lists(&registry, Some(position)).await;
        assert!(now == then, "the lists as known at position {position} differ from those saved then");
    }
    let found = verify(&registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
}
