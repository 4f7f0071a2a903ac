//! Enters drawn plants through the use cases: many in one request, for speed.

use crate::day_by_day::drawn::{Drawn, Event, Fate, Group, Person, Reported, SITES, START, Sample};
use crate::stage::Stage;
use chrono::{Duration, NaiveDateTime};
use doseward::model::facts::control::{Control, ControlPeriod, Task};
use doseward::model::facts::group::{ExpectedAgent, Group as GroupFact, GroupChange};
use doseward::model::facts::laboratory::LabReportDraft;
use doseward::model::facts::site::{Holiday, Site as SiteFact};
use doseward::model::facts::worker::{Absence, Assignment, WorkedDay};
use doseward::model::shape::Shape as _;
use doseward::model::text::{Code, Text};
use doseward::registry::enter_pack::console;
use doseward::registry::facts::{laboratory, results, sampling, worker};
use doseward::registry::place::Under;
use doseward::registry::recording::{Recorded, record};
use doseward::registry::writer::Change;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a plant became.
pub(crate) struct Entered {
    /// Its groups.
    pub(crate) groups: Vec<Uuid>,
    /// Its workers.
    pub(crate) people: Vec<Uuid>,
}

async fn fact<F: Recorded>(change: &mut Change, under: Under, parent: Option<Uuid>, body: &Value) -> Uuid {
    let recorded = record::<F>(change, under, parent, body).await;
    recorded.unwrap_or_else(|refusal| panic!("{body}: {refusal:?}")).id
}

/// Enters the sites with their holidays.
pub(crate) async fn sites(stage: &Stage) -> Vec<Uuid> {
    let mut change = stage.registry.begin_plain(&console("test")).await.unwrap();
    let mut ids = Vec::new();
    for site in &SITES {
        let rule_set = if site.construction { "us_construction" } else { "us_general_industry" };
        let body = json!({"code": site.code, "name": format!("Works {}", site.code), "time_zone": site.zone,
            "rule_set": rule_set});
        let id = fact::<SiteFact>(&mut change, Under::Nothing, None, &body).await;
        for holiday in site.holidays {
            let body = json!({"date": holiday, "name": "Works holiday"});
            fact::<Holiday>(&mut change, Under::Site, Some(id), &body).await;
        }
        ids.push(id);
    }
    stage.registry.commit(change, None).await.unwrap();
    ids
}

/// Enters several plants: first what was done and reported, then what became of the results.
pub(crate) async fn plants(stage: &Stage, sites: &[Uuid], drawn: &[Drawn]) -> Vec<Entered> {
    let mut entered = Vec::new();
    let mut taken: Vec<(Uuid, Fate, &'static str)> = Vec::new();
    let mut change = stage.registry.begin_plain(&console("test")).await.unwrap();
    for plant in drawn {
        entered.push(enter(&mut change, sites, plant, &mut taken).await);
    }
    stage.registry.commit(change, None).await.unwrap();
    stage.pass(1);
    let mut change = stage.registry.begin_plain(&console("test")).await.unwrap();
    for (sample, fate, agent) in taken {
        match fate {
            Fate::Accepted => results::accept(&mut change, sample, &json!({})).await.unwrap(),
            Fate::Voided => {
                let (agent, reason) =
                    (Code::new(agent).unwrap(), Text::new("The filter was touched.").unwrap());
                results::void_agent(&mut change, sample, &agent, &reason).await.unwrap();
            }
            Fate::Awaited | Fate::Submitted => {}
        }
    }
    stage.registry.commit(change, None).await.unwrap();
    stage.settle().await;
    entered
}

async fn enter(
    change: &mut Change,
    sites: &[Uuid],
    plant: &Drawn,
    taken: &mut Vec<(Uuid, Fate, &'static str)>,
) -> Entered {
    let (mut groups, mut people) = (Vec::new(), Vec::new());
    for (n, group) in plant.groups.iter().enumerate() {
        let code = format!("G{}-{n}", plant.seed);
        groups.push(enter_group(change, sites[group.site], &code, group, plant.substance.code).await);
    }
    for (n, person) in plant.people.iter().enumerate() {
        let number = format!("{}-{n}", plant.seed);
        people.push(enter_person(change, &number, person, &groups).await);
    }
    let mut rows: BTreeMap<usize, Vec<Value>> = BTreeMap::new();
    for (n, event) in plant.events.iter().enumerate() {
        let site = plant.groups[event.group].site;
        let name = format!("{}-{n}", plant.seed);
        let body = event_body(plant, event, &name, groups[event.group], &people);
        let (_, samples) = sampling::record_event(change, sites[site], &body)
            .await
            .unwrap_or_else(|refusal| panic!("{body}: {refusal:?}"));
        for (k, (sample, kept)) in event.samples.iter().zip(samples).enumerate() {
            if sample.fate != Fate::Awaited {
                rows.entry(site).or_default().push(row(plant, sample, &format!("S{name}-{k}")));
                taken.push((kept.id, sample.fate, plant.substance.code));
            }
        }
    }
    for (site, rows) in rows {
        let body = json!({"report_number": format!("L{}", plant.seed), "laboratory": "Reed Laboratory",
            "received_on": "2026-03-01", "results": rows});
        let draft = LabReportDraft::parse(&body).unwrap();
        let recorded = laboratory::record_report(change, sites[site], draft.into()).await;
        recorded.unwrap_or_else(|refusal| panic!("{body}: {refusal:?}"));
    }
    Entered { groups, people }
}

async fn enter_group(change: &mut Change, site: Uuid, code: &str, group: &Group, agent_code: &str) -> Uuid {
    let body = json!({"code": code, "title": "Group"});
    let id = fact::<GroupFact>(change, Under::Site, Some(site), &body).await;
    if group.expected {
        let body = json!({"agent_code": agent_code, "from": START, "source": "Data sheet"});
        fact::<ExpectedAgent>(change, Under::Group, Some(id), &body).await;
    }
    for (from, may_raise) in &group.changes {
        let body = json!({"from": from.to_string(), "kind": "process", "description": "New line.",
            "may_raise": may_raise});
        fact::<GroupChange>(change, Under::Group, Some(id), &body).await;
    }
    if let Some((from, to)) = group.control {
        let body = json!({"code": format!("T{code}"), "title": "Task", "group_id": id});
        let task = fact::<Task>(change, Under::Site, Some(site), &body).await;
        let body = json!({"code": format!("C{code}"), "title": "Hood", "kind": "engineering"});
        let control = fact::<Control>(change, Under::Site, Some(site), &body).await;
        let mut body = json!({"control_id": control, "from": from.to_string()});
        if let Some(to) = to {
            body["to"] = json!(to.to_string());
        }
        fact::<ControlPeriod>(change, Under::Task, Some(task), &body).await;
    }
    id
}

async fn enter_person(change: &mut Change, number: &str, person: &Person, groups: &[Uuid]) -> Uuid {
    let body = json!({"employee_number": number, "given_name": "Given", "family_name": "Family",
        "employer": "Reedmere", "hired_on": "2023-01-02"});
    let (entered, _) = worker::enter(change, &body).await.unwrap();
    let of_worker = Some(entered.id);
    for plan in &person.plans {
        let mut body = json!({"group_id": groups[plan.group], "from": plan.from.to_string(),
            "shifts_per_week": f64::from(i32::try_from(plan.tenths).unwrap()) / 10.0, "hours_per_shift": 8});
        if let Some(to) = plan.to {
            body["to"] = json!(to.to_string());
        }
        fact::<Assignment>(change, Under::AnyWorker, of_worker, &body).await;
    }
    for (on, group) in &person.recorded {
        let body = json!({"date": on.to_string(), "group_id": groups[*group], "hours": 4});
        fact::<WorkedDay>(change, Under::Worker, of_worker, &body).await;
    }
    for (from, to) in &person.absences {
        let body = json!({"from": from.to_string(), "to": to.to_string()});
        fact::<Absence>(change, Under::Worker, of_worker, &body).await;
    }
    entered.id
}

fn event_body(plant: &Drawn, event: &Event, name: &str, group: Uuid, people: &[Uuid]) -> Value {
    let utc = |instant: NaiveDateTime| instant.and_utc().to_rfc3339();
    let samples: Vec<Value> = event
        .samples
        .iter()
        .enumerate()
        .map(|(k, sample)| {
            let end = sample.start + Duration::minutes(sample.minutes);
            json!({"number": format!("S{name}-{k}"), "position": "breathing_zone", "covers": sample.covers,
                "shift_date": sample.date.to_string(), "worker_id": people[sample.worker], "group_id": group,
                "agent_codes": [plant.substance.code], "sampler_kind": "passive",
                "representative": sample.representative,
                "runs": [{"start": utc(sample.start), "end": utc(end)}]})
        })
        .collect();
    let mut body = json!({"reference": format!("E{name}"), "sampled_by": "A. Sampler",
        "purpose": event.purposes, "shift_minutes": event.shift_minutes, "samples": samples});
    if !event.stated.is_empty() {
        let stated = event.stated.iter().map(|stated| {
            let mut shift = json!({"worker_id": people[stated.worker], "shift_date": stated.date.to_string(),
                "group_id": group, "shift_minutes": stated.minutes});
            if let Some(unsampled) = stated.unsampled {
                shift["unsampled"] = json!({"as": unsampled, "reason": "As in the log."});
            }
            shift
        });
        body["shifts"] = stated.collect();
    }
    body
}

/// A row of the laboratory's report.
fn row(plant: &Drawn, sample: &Sample, number: &str) -> Value {
    let decimal = |thousandths: i64| format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
    let mut concentration = json!({"unit": plant.substance.unit});
    let (comparator, value) = match sample.reported {
        Reported::Value(value) => (None, value),
        Reported::Less(value) => (Some("<"), value),
        Reported::More(value) => (Some(">"), value),
    };
    concentration["value"] = json!(decimal(value));
    if let Some(comparator) = comparator {
        concentration["comparator"] = json!(comparator);
    }
    let limit = if comparator == Some("<") { value } else { plant.substance.action_level / 10 };
    json!({"sample_number": number, "agent_code": plant.substance.code, "concentration": concentration,
        "reporting_limit": {"value": decimal(limit), "unit": plant.substance.unit}, "blank_corrected": "yes"})
}
