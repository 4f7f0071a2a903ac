//! A small plant with a history: every kind of relation that the record keeps, through the use cases.

use doseward::access::caller::Caller;
use doseward::model::facts::account::{Grant, Role};
use doseward::model::facts::agent::Agent;
use doseward::model::facts::control::Task;
use doseward::model::facts::group::Group;
use doseward::model::facts::laboratory::LabReportDraft;
use doseward::model::facts::letter::Letter;
use doseward::model::facts::site::Site;
use doseward::model::facts::worker::{Assignment, MedicalGround};
use doseward::model::identifiers::{AccountId, SiteId};
use doseward::model::shape::Shape as _;
use doseward::registry::enter_pack::console;
use doseward::registry::facts::laboratory::{self, Report};
use doseward::registry::facts::{sampling, worker};
use doseward::registry::place::Under;
use doseward::registry::recording::{self, Recorded};
use doseward::registry::refusal::Refusal;
use doseward::registry::writer::Registry;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use std::fmt::Write as _;
use uuid::Uuid;

/// Whoever may record everything.
pub(crate) fn recorder() -> Caller {
    console("tester")
}

/// A caller with one role, on all sites or on some.
pub(crate) fn caller(role: Role, sites: Option<&[Uuid]>) -> Caller {
    let site_ids = sites.map(|sites| sites.iter().copied().map(SiteId).collect());
    Caller {
        account: AccountId(Uuid::from_u128(7)),
        grants: vec![Grant { role, site_ids }],
        console_user: None,
    }
}

/// Records one fact in a request of its own; gives its identifier.
pub(crate) async fn record<F: Recorded>(
    registry: &Registry,
    under: Under,
    parent: Option<Uuid>,
    body: Value,
) -> Result<Uuid, Refusal> {
    let mut change = registry.begin_plain(&recorder()).await?;
    let id = recording::record::<F>(&mut change, under, parent, &body).await?.id;
    registry.commit(change, None).await?;
    Ok(id)
}

/// Voids a fact in a request of its own, or takes the voiding back.
pub(crate) async fn void<F: Recorded>(registry: &Registry, id: Uuid, voided: bool) -> Result<(), Refusal> {
    let mut change = registry.begin_plain(&recorder()).await?;
    if voided {
        recording::void::<F>(&mut change, id, "entered by mistake").await?;
    } else {
        recording::withdraw_voiding::<F>(&mut change, id, "it was right").await?;
    }
    registry.commit(change, None).await
}

/// A site.
pub(crate) async fn site(registry: &Registry, code: &str) -> Uuid {
    let body = json!({"code": code, "name": format!("Works {code}"), "time_zone": "America/Denver",
        "rule_set": "us_general_industry"});
    record::<Site>(registry, Under::Nothing, None, body).await.unwrap()
}

/// A group of a site.
pub(crate) async fn group(registry: &Registry, site: Uuid, code: &str) -> Result<Uuid, Refusal> {
    record::<Group>(
        registry,
        Under::Site,
        Some(site),
        json!({"code": code, "title": format!("Group {code}")}),
    )
    .await
}

/// An event with area samples.
pub(crate) async fn event(
    registry: &Registry,
    site: Uuid,
    reference: &str,
    samples: usize,
) -> Result<Uuid, Refusal> {
    let mut change = registry.begin_plain(&recorder()).await?;
    let (event, _) = sampling::record_event(&mut change, site, &event_body(reference, samples)).await?;
    registry.commit(change, None).await?;
    Ok(event.id)
}

/// What is sent to record an event with area samples.
pub(crate) fn event_body(reference: &str, samples: usize) -> Value {
    let samples: Vec<Value> = (0..samples)
        .map(|n| {
            json!({"number": format!("{reference}-{n}"), "position": "area", "shift_date": "2026-02-03",
                "agent_codes": ["test_dust"], "location": format!("post {n}"),
                "runs": [{"start": "2026-02-03T08:00:00-07:00", "end": "2026-02-03T12:00:00-07:00"}],
                "flow_before": {"value": "2.00", "unit": "L/min"}, "flow_after": {"value": "1.98", "unit": "L/min"}})
        })
        .collect();
    json!({"reference": reference, "sampled_by": "A. Tester", "samples": samples})
}

/// A letter about the first report, with a text of its own.
pub(crate) async fn letter(registry: &Registry, plant: &Plant, text: &str) {
    let check = Sha256::digest(text).iter().fold(String::new(), |mut check, byte| {
        write!(check, "{byte:02x}").unwrap();
        check
    });
    let letter = json!({"worker_id": plant.worker.to_string(), "agent_code": "test_dust", "body": text,
        "says": {"name": "Ilka Moorhen", "site_name": "Works NORTH", "agent_name": "Test dust", "results": []},
        "sha256": check, "issued_on": "2026-03-02", "issued_by": Uuid::from_u128(7).to_string(), "basis": [1]});
    let letter = Letter::parse(&letter).unwrap();
    let mut change = registry.begin_plain(&recorder()).await.unwrap();
    let scope = change.everything();
    change.add(&scope, Some(SiteId(plant.site)), None, letter).await.unwrap();
    registry.commit(change, None).await.unwrap();
}

/// Numbers that look random and are the same on every run (the xorshift of G. Marsaglia, 2003, J. Stat. Softw. 8(14)).
pub(crate) struct Draws(pub(crate) u64);

impl Draws {
    /// A number from 0 to one below `bound`.
    pub(crate) fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % bound as u64).unwrap()
    }
}

/// A row of a laboratory report.
fn result(sample: &str, milligrams: &str) -> Value {
    json!({"sample_number": sample, "agent_code": "test_dust", "mass": {"value": milligrams, "unit": "mg"},
        "reporting_limit": {"value": "0.05", "unit": "mg"}})
}

/// What a history left behind.
pub(crate) struct Plant {
    pub(crate) site: Uuid,
    pub(crate) other_site: Uuid,
    pub(crate) group: Uuid,
    pub(crate) worker: Uuid,
    pub(crate) assignment: Uuid,
    pub(crate) medical_ground: Uuid,
}

/// Lets a small plant live for a while.
pub(crate) async fn history(registry: &Registry) -> Plant {
    let site = site(registry, "NORTH").await;
    let dust = json!({"code": "test_dust", "name": "Test dust", "state": "particulate"});
    record::<Agent>(registry, Under::Nothing, None, dust).await.unwrap();
    let group = group(registry, site, "G1").await.unwrap();
    let task = json!({"code": "T1", "title": "Sanding", "group_id": group.to_string()});
    let task = record::<Task>(registry, Under::Site, Some(site), task).await.unwrap();
    let person = json!({"employee_number": "17", "given_name": "Ilka", "family_name": "Moorhen",
        "employer": "Tern Works", "hired_on": "2020-01-06"});
    let mut change = registry.begin_plain(&recorder()).await.unwrap();
    let (worker, _) = worker::enter(&mut change, &person).await.unwrap();
    registry.commit(change, None).await.unwrap();
    let in_group = json!({"group_id": group.to_string(), "from": "2020-01-06", "shifts_per_week": 5.0, "hours_per_shift": 8.0});
    let assignment =
        record::<Assignment>(registry, Under::AnyWorker, Some(worker.id), in_group).await.unwrap();
    event(registry, site, "E1", 2).await.unwrap();
    let mut personal = event_body("E2", 1);
    personal["samples"][0]["position"] = "breathing_zone".into();
    personal["samples"][0]["worker_id"] = worker.id.to_string().into();
    personal["samples"][0]["task_id"] = task.to_string().into();
    let mut change = registry.begin_plain(&recorder()).await.unwrap();
    sampling::record_event(&mut change, site, &personal).await.unwrap();
    registry.commit(change, None).await.unwrap();
    let report = json!({"report_number": "L-1", "laboratory": "Reed Laboratory", "received_on": "2026-02-20",
        "results": [result("E1-0", "0.50"), result("E2-0", "0.62")]});
    let mut change = registry.begin_plain(&recorder()).await.unwrap();
    let report = Report::from(LabReportDraft::parse(&report).unwrap());
    laboratory::record_report(&mut change, site, report).await.unwrap();
    registry.commit(change, None).await.unwrap();
    void::<Assignment>(registry, assignment, true).await.unwrap();
    void::<Assignment>(registry, assignment, false).await.unwrap();
    let other_site = self::site(registry, "SOUTH").await;
    self::group(registry, other_site, "G1").await.unwrap();
    let mut change = registry.begin_plain(&recorder()).await.unwrap();
    let ground = MedicalGround::parse(
        &json!({"kind": "recommendation", "on": "2026-02-02", "agent_code": "test_dust"}),
    )
    .unwrap();
    let scope = change.everything();
    let medical_ground = change.add(&scope, None, Some(worker.id), ground).await.unwrap().id;
    registry.commit(change, None).await.unwrap();
    Plant { site, other_site, group, worker: worker.id, assignment, medical_ground }
}
