//! A fact makes stale only what depends on it, however large the registry is.

use crate::stage::Stage;
use doseward::store::derived::{self, Kept};
use doseward::store::marks::{self, Mark, MarkKind};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A group with a worker, a task and a measured sample.
struct Bay {
    group: String,
    task: String,
    worker: String,
}

struct Bays {
    site: String,
    bays: Vec<Bay>,
}

async fn made(stage: &Stage, path: &str, body: &Value) -> String {
    let answer = stage.post("hygienist", path, body).await;
    answer.id().unwrap_or_else(|| panic!("{path}: {}", answer.text))
}

async fn founded(stage: &Stage, many: usize) -> Bays {
    let site = json!({"code": "NRD", "name": "Works", "time_zone": "America/Denver",
        "rule_set": "us_general_industry"});
    let site = made(stage, "/sites", &site).await;
    let mut bays = Vec::new();
    for n in 0..many {
        let body = json!({"code": format!("G{n}"), "title": "Group"});
        let group = made(stage, &format!("/sites/{site}/groups"), &body).await;
        let body = json!({"code": format!("T{n}"), "title": "Task", "group_id": group});
        let task = made(stage, &format!("/sites/{site}/tasks"), &body).await;
        let body = json!({"employee_number": format!("W{n}"), "given_name": "Given", "family_name": "Family",
            "employer": "Reedmere", "hired_on": "2025-01-06"});
        let worker = made(stage, "/workers", &body).await;
        let body =
            json!({"group_id": group, "from": "2025-01-06", "shifts_per_week": 5, "hours_per_shift": 8});
        made(stage, &format!("/workers/{worker}/assignments"), &body).await;
        let bay = Bay { group, task, worker };
        sampled(stage, &site, &bay, &format!("S{n}"), "2026-01-12").await;
        reported(stage, &site, &format!("S{n}")).await;
        bays.push(bay);
    }
    stage.settle().await;
    Bays { site, bays }
}

async fn sampled(stage: &Stage, site: &str, bay: &Bay, number: &str, date: &str) {
    let sample = json!({"number": number, "position": "breathing_zone", "shift_date": date,
        "worker_id": bay.worker, "task_id": bay.task, "agent_codes": ["chromium_vi"],
        "runs": [{"start": format!("{date}T08:00:00-07:00"), "end": format!("{date}T15:00:00-07:00")}],
        "flow_before": {"value": "2.00", "unit": "L/min"}, "flow_after": {"value": "2.00", "unit": "L/min"}});
    let body = json!({"reference": format!("E-{number}"), "sampled_by": "A. Sampler", "samples": [sample]});
    made(stage, &format!("/sites/{site}/sampling-events"), &body).await;
}

async fn reported(stage: &Stage, site: &str, number: &str) {
    let row = json!({"sample_number": number, "agent_code": "chromium_vi",
        "mass": {"value": "4.20", "unit": "ug"}, "reporting_limit": {"value": "0.02", "unit": "ug"}});
    let body = json!({"report_number": format!("L-{number}"), "laboratory": "Reed Laboratory",
        "received_on": "2026-03-01", "results": [row]});
    made(stage, &format!("/sites/{site}/lab-reports"), &body).await;
}

async fn marked(stage: &Stage) -> i64 {
    marks::count(&mut stage.registry.database.read().await.unwrap()).await.unwrap()
}

async fn rows(stage: &Stage) -> Vec<(MarkKind, Kept)> {
    let mut tx = stage.registry.database.read().await.unwrap();
    let mut all = Vec::new();
    for kind in MarkKind::ALL {
        let of_kind = derived::page(&mut tx, kind, None, 10_000).await.unwrap();
        all.extend(of_kind.into_iter().map(|kept| (kind, kept)));
    }
    all
}

/// Enters one more sample's result in a registry of so many groups; gives how many marks that set.
async fn marks_of_one_result(many: usize) -> i64 {
    let stage = Stage::set().await;
    let Bays { site, bays } = founded(&stage, many).await;
    let bay = &bays[many / 2];
    sampled(&stage, &site, bay, "ONE-MORE", "2026-01-13").await;
    stage.settle().await;
    let before = rows(&stage).await;
    reported(&stage, &site, "ONE-MORE").await;
    let set = marked(&stage).await;
    let id = |text: &str| Uuid::parse_str(text).unwrap();
    let reached = [
        (MarkKind::Profile, id(&bay.group)),
        (MarkKind::Verdict, id(&bay.task)),
        (MarkKind::Shifts, id(&bay.worker)),
        (MarkKind::Summary, id(&bay.worker)),
    ];
    let mut tx = stage.registry.database.read().await.unwrap();
    for (kind, subject) in reached {
        let mark = Mark { kind, subject, agent: "chromium_vi".into() };
        assert!(marks::is_set(&mut tx, &mark).await.unwrap(), "{mark:?}");
    }
    drop(tx);
    stage.settle().await;
    let after = rows(&stage).await;
    assert_eq!(before.len(), after.len());
    let reached: BTreeSet<_> = reached.into_iter().collect();
    for ((kind, before), (_, after)) in before.iter().zip(&after) {
        let touched = before.derived.position != after.derived.position;
        assert_eq!(touched, reached.contains(&(*kind, before.subject)), "{kind:?} {}", before.subject);
    }
    set
}

#[tokio::test]
async fn one_result_sets_as_many_marks_among_sixty_groups_as_among_ten() {
    let (ten, sixty) = (marks_of_one_result(10).await, marks_of_one_result(60).await);
    assert_eq!((ten, sixty), (4, 4), "group, task, the worker's shifts, the worker's summary");
}

/// The body of a stored row.
async fn stored(stage: &Stage, kind: MarkKind, subject: &str) -> Option<String> {
    let subject = Uuid::parse_str(subject).unwrap();
    let found = rows(stage).await.into_iter().find(|(of, kept)| *of == kind && kept.subject == subject);
    found.map(|(_, kept)| kept.derived.body)
}

/// Enters a worker who is never sampled.
async fn onlooker(stage: &Stage) -> String {
    let body = json!({"employee_number": "X", "given_name": "Given", "family_name": "Family",
        "employer": "Reedmere", "hired_on": "2025-01-06"});
    made(stage, "/workers", &body).await
}

#[tokio::test]
async fn a_void_assignment_takes_its_days_out_of_the_summary() {
    let stage = Stage::set().await;
    let Bays { bays, .. } = founded(&stage, 1).await;
    let worker = onlooker(&stage).await;
    let body =
        json!({"group_id": bays[0].group, "from": "2025-01-06", "shifts_per_week": 5, "hours_per_shift": 8});
    let assignment = made(&stage, &format!("/workers/{worker}/assignments"), &body).await;
    stage.settle().await;
    let before = stored(&stage, MarkKind::Summary, &worker).await.unwrap();
    // 4.20 ug in 840 L are 5 ug/m3, above the action level of 2.5 (29 CFR 1910.1026(b)).
    assert!(!before.contains(r#""by_standing":0"#), "{before}");
    let reason = json!({"reason": "The wrong worker."});
    made(&stage, &format!("/assignments/{assignment}/voiding"), &reason).await;
    stage.settle().await;
    let after = stored(&stage, MarkKind::Summary, &worker).await.unwrap();
    assert!(after.starts_with(r#"{"measured":0,"by_standing":0,"undecided":0"#), "{after}");
}

#[tokio::test]
async fn a_day_recorded_in_a_group_without_an_assignment_there_is_summed_up() {
    let stage = Stage::set().await;
    let Bays { site, bays } = founded(&stage, 1).await;
    let worker = onlooker(&stage).await;
    let body = json!({"date": "2026-01-12", "group_id": bays[0].group, "hours": 8});
    made(&stage, &format!("/workers/{worker}/worked-days"), &body).await;
    stage.settle().await;
    assert!(stored(&stage, MarkKind::Summary, &worker).await.is_some(), "his group was measured");
    // When the group's profile changes, so may what is concluded of him.
    sampled(&stage, &site, &bays[0], "LATER", "2026-01-13").await;
    reported(&stage, &site, "LATER").await;
    let before = rows(&stage).await;
    stage.settle().await;
    let position = |rows: &[(MarkKind, Kept)]| {
        let of_worker = |(kind, kept): &&(MarkKind, Kept)| {
            *kind == MarkKind::Summary && kept.subject.to_string() == worker
        };
        rows.iter().find(of_worker).unwrap().1.derived.position
    };
    assert!(position(&before) < position(&rows(&stage).await));
}

#[tokio::test]
async fn a_sample_reaches_the_other_groups_of_its_worker_on_that_day_and_the_tasks_of_its_group() {
    let stage = Stage::set().await;
    let Bays { site, bays } = founded(&stage, 3).await;
    let body = json!({"code": "T-OTHER", "title": "Task", "group_id": bays[0].group});
    let neighbour = made(&stage, &format!("/sites/{site}/tasks"), &body).await;
    stage.settle().await;
    // The worker of the second bay helps in the first, on the very day on which he was sampled in his own.
    let sample = json!({"number": "HELP", "position": "breathing_zone", "shift_date": "2026-01-12",
        "worker_id": bays[1].worker, "group_id": bays[0].group, "agent_codes": ["chromium_vi"],
        "runs": [{"start": "2026-01-12T15:30:00-07:00", "end": "2026-01-12T16:30:00-07:00"}],
        "flow_before": {"value": "2.00", "unit": "L/min"}, "flow_after": {"value": "2.00", "unit": "L/min"}});
    let body = json!({"reference": "E-HELP", "sampled_by": "A. Sampler", "samples": [sample]});
    made(&stage, &format!("/sites/{site}/sampling-events"), &body).await;
    let mut tx = stage.registry.database.read().await.unwrap();
    let mut set = async |kind, subject: &str| {
        let mark = Mark { kind, subject: Uuid::parse_str(subject).unwrap(), agent: "chromium_vi".into() };
        marks::is_set(&mut tx, &mark).await.unwrap()
    };
    assert!(set(MarkKind::Profile, &bays[0].group).await);
    assert!(set(MarkKind::Profile, &bays[1].group).await, "the shift there is longer now");
    assert!(set(MarkKind::Verdict, &bays[0].task).await && set(MarkKind::Verdict, &neighbour).await);
    assert!(!set(MarkKind::Profile, &bays[2].group).await, "nobody from there was sampled");
    assert!(!set(MarkKind::Shifts, &bays[0].worker).await, "he was not");
}

#[tokio::test]
async fn a_void_control_reaches_the_groups_whose_samples_name_it() {
    let stage = Stage::set().await;
    let Bays { site, bays } = founded(&stage, 2).await;
    let body = json!({"code": "C", "title": "Hood", "kind": "engineering"});
    let control = made(&stage, &format!("/sites/{site}/controls"), &body).await;
    let sample = json!({"number": "NAMES", "position": "area", "shift_date": "2026-01-13",
        "task_id": bays[0].task, "agent_codes": ["chromium_vi"], "control_ids_running": [control],
        "runs": [{"start": "2026-01-13T08:00:00-07:00", "end": "2026-01-13T12:00:00-07:00"}],
        "flow_before": {"value": "2.00", "unit": "L/min"}, "flow_after": {"value": "2.00", "unit": "L/min"}});
    let body = json!({"reference": "E-NAMES", "sampled_by": "A. Sampler", "samples": [sample]});
    made(&stage, &format!("/sites/{site}/sampling-events"), &body).await;
    stage.settle().await;
    made(&stage, &format!("/controls/{control}/voiding"), &json!({"reason": "Never built."})).await;
    let mut tx = stage.registry.database.read().await.unwrap();
    for (bay, marked) in [(&bays[0], true), (&bays[1], false)] {
        let subject = Uuid::parse_str(&bay.task).unwrap();
        let mark = Mark { kind: MarkKind::Verdict, subject, agent: "chromium_vi".into() };
        assert_eq!(marks::is_set(&mut tx, &mark).await.unwrap(), marked);
    }
}
