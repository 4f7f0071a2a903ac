//! One laboratory report in a registry of 1,000 groups and 20,000 workers works out again what it touches, and no more:
//! just what it would among ten groups.
//!
//! The bounds follow from the facts: a report reaches the groups and tasks of its samples, their workers, and the members of
//! a group only where its profile changed (the design of marks: this registry's own rule).

use crate::many::{Bay, IN_A_GROUP, founded};
use crate::stage::Stage;
use doseward::registry::verify::verify;
use doseward::store::derived;
use doseward::store::marks::{self, Mark, MarkKind};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Stored conclusions worked out and marks set, by kind; statements sent, rows given back.
#[derive(Debug, Clone, PartialEq)]
struct Cost {
    worked_out: [u64; 4],
    marks: [u64; 4],
    statements: u64,
    rows: u64,
}

impl Cost {
    /// What the service has counted so far, read as whoever watches it reads it.
    async fn so_far(stage: &Stage) -> Self {
        let text = stage.read("hygienist", "/metrics").await;
        let counted: BTreeMap<&str, u64> = text
            .lines()
            .filter(|line| !line.starts_with('#'))
            .filter_map(|line| line.rsplit_once(' '))
            .filter_map(|(name, number)| Some((name, number.parse().ok()?)))
            .collect();
        let of_kinds =
            |name: &str| MarkKind::ALL.map(|kind| counted[&*format!("{name}{{kind=\"{}\"}}", kind.as_str())]);
        Self {
            worked_out: of_kinds("doseward_conclusions_worked_out_total"),
            marks: of_kinds("doseward_marks_set_total"),
            statements: counted["doseward_database_statements_total"],
            rows: counted["doseward_database_rows_total"],
        }
    }

    fn since(&self, before: &Self) -> Self {
        let less = |one: [u64; 4], two: [u64; 4]| std::array::from_fn(|n| one[n] - two[n]);
        Self {
            worked_out: less(self.worked_out, before.worked_out),
            marks: less(self.marks, before.marks),
            statements: self.statements - before.statements,
            rows: self.rows - before.rows,
        }
    }
}

async fn made(stage: &Stage, path: &str, body: &Value) -> Value {
    let answer = stage.post("hygienist", path, body).await;
    assert_eq!(answer.status, 201, "{path}: {}", answer.text);
    answer.json()
}

/// An event of a bay: a whole shift of each of these workers, and one post of the room.
async fn sampled(stage: &Stage, bay: &Bay, number: &str, date: &str, workers: &[Uuid]) {
    let sample = |number: String| {
        json!({"number": number, "shift_date": date, "task_id": bay.task, "agent_codes": ["chromium_vi"],
            "runs": [{"start": format!("{date}T07:00:00-07:00"), "end": format!("{date}T15:00:00-07:00")}],
            "flow_before": {"value": "2.00", "unit": "L/min"}, "flow_after": {"value": "2.00", "unit": "L/min"}})
    };
    let mut samples: Vec<Value> = Vec::new();
    for (n, worker) in workers.iter().enumerate() {
        let mut personal = sample(format!("{number}-{n}"));
        personal["position"] = "breathing_zone".into();
        personal["worker_id"] = worker.to_string().into();
        samples.push(personal);
    }
    let mut area = sample(format!("{number}-AREA"));
    area["position"] = "area".into();
    area["location"] = "by the door".into();
    samples.push(area);
    let event = json!({"reference": number, "sampled_by": "A. Sampler", "samples": samples});
    made(stage, &format!("/sites/{}/sampling-events", bay.site), &event).await;
}

async fn reported(stage: &Stage, bay: &Bay, numbers: &[String]) {
    let row = |number: &String| {
        json!({"sample_number": number, "agent_code": "chromium_vi",
            "mass": {"value": "0.96", "unit": "ug"}, "reporting_limit": {"value": "0.02", "unit": "ug"}})
    };
    let rows: Vec<Value> = numbers.iter().map(row).collect();
    let report = json!({"report_number": format!("L-{}", numbers[0]), "laboratory": "Reed Laboratory",
        "received_on": "2026-03-01", "results": rows});
    made(stage, &format!("/sites/{}/lab-reports", bay.site), &report).await;
}

/// The stored rows, and at which position each was worked out.
async fn rows(stage: &Stage) -> BTreeMap<(MarkKind, Uuid, String), i64> {
    let mut tx = stage.registry.database.read().await.unwrap();
    let mut all = BTreeMap::new();
    for kind in MarkKind::ALL {
        for kept in derived::page(&mut tx, kind, None, 100_000).await.unwrap() {
            all.insert((kind, kept.subject, kept.agent), kept.derived.position);
        }
    }
    all
}

/// What a report costs until everything that it made stale is worked out; and which rows were.
async fn cost_of(stage: &Stage, bay: &Bay, numbers: &[String]) -> (Cost, BTreeSet<(MarkKind, Uuid)>) {
    let (before, counted) = (rows(stage).await, Cost::so_far(stage).await);
    reported(stage, bay, numbers).await;
    stage.settle().await;
    let cost = Cost::so_far(stage).await.since(&counted);
    let touched = rows(stage).await.into_iter().filter(|(key, position)| before.get(key) != Some(position));
    (cost, touched.map(|((kind, subject, _), _)| (kind, subject)).collect())
}

/// A registry of sites and groups in which one group of each site was measured once, and everything is worked out.
async fn measured((sites, groups): (usize, usize)) -> (Stage, Vec<Bay>) {
    let stage = Stage::set().await;
    let bays = founded(&stage.registry, sites, groups).await;
    for (n, bay) in bays.iter().enumerate().step_by(groups) {
        let number = format!("M{n}");
        sampled(&stage, bay, &number, "2026-01-12", &bay.workers[..2]).await;
        reported(&stage, bay, &[format!("{number}-0"), format!("{number}-1")]).await;
    }
    stage.settle().await;
    (stage, bays)
}

/// The costs of two reports on a group that was measured before: one on two of its workers, one on the room alone.
async fn costs(stage: &Stage, bays: &[Bay], (sites, groups): (usize, usize)) -> [Cost; 2] {
    // Founded in one go and never marked: nothing is to be concluded of who was never measured, and following says so.
    let kept = rows(stage).await;
    assert_eq!(kept.len(), sites * (1 + 1 + 2 + IN_A_GROUP));
    let mut tx = stage.registry.database.write().await.unwrap();
    for bay in bays.iter().skip(1).step_by(groups) {
        let mark = |kind, subject| Mark { kind, subject, agent: marks::EVERY_AGENT.into() };
        marks::set(&mut tx, &mark(MarkKind::Profile, bay.group), 1).await.unwrap();
        marks::set(&mut tx, &mark(MarkKind::Summary, bay.workers[0]), 1).await.unwrap();
    }
    tx.commit().await.unwrap();
    stage.settle().await;
    assert_eq!(rows(stage).await, kept);

    let bay = &bays[bays.len() / 2 / groups * groups];
    sampled(stage, bay, "NEXT", "2026-02-09", &bay.workers[..2]).await;
    stage.settle().await;
    let (personal, touched) = cost_of(stage, bay, &["NEXT-0".into(), "NEXT-1".into()]).await;
    let mut expected: BTreeSet<_> = bay.workers.iter().map(|worker| (MarkKind::Summary, *worker)).collect();
    expected.extend([(MarkKind::Profile, bay.group), (MarkKind::Verdict, bay.task)]);
    expected.extend(bay.workers[..2].iter().map(|worker| (MarkKind::Shifts, *worker)));
    assert_eq!(
        touched, expected,
        "the group, its task, its members since the profile changed, who was sampled"
    );

    let (room, touched) = cost_of(stage, bay, &["NEXT-AREA".into()]).await;
    let expected = BTreeSet::from([(MarkKind::Profile, bay.group), (MarkKind::Verdict, bay.task)]);
    assert_eq!(touched, expected, "the profile is the same: no member is looked at again");
    assert_eq!(marks::count(&mut stage.registry.database.read().await.unwrap()).await.unwrap(), 0);
    [personal, room]
}

#[tokio::test]
async fn one_report_among_a_thousand_groups_costs_what_it_costs_among_ten() {
    let size = (20, 50);
    let (stage, bays) = measured(size).await;
    assert_eq!((bays.len(), bays.iter().map(|bay| bay.workers.len()).sum()), (1_000, 20_000_usize));
    let large = costs(&stage, &bays, size).await;
    let [personal, room] = &large;
    println!("among 1,000 groups and 20,000 workers: {personal:?}; the room alone: {room:?}");
    // In the order of the kinds: profiles, verdicts, shifts, summaries.
    let members = u64::try_from(IN_A_GROUP).unwrap();
    assert_eq!(personal.worked_out, [1, 1, 2, members]);
    assert_eq!(room.worked_out, [1, 1, 0, 0]);
    // What the report reaches, and the members once the profile has changed; two of them were marked already.
    assert_eq!(personal.marks, [1, 1, 2, 2 + members]);
    assert_eq!(room.marks, [1, 1, 0, 0]);

    // Statements and rows: not one more than where there are two sites of five groups.
    let size = (2, 5);
    let (stage, bays) = measured(size).await;
    let small = costs(&stage, &bays, size).await;
    assert_eq!(large, small);
    // Written hundreds to a statement, it is a registry like any other: its journal and its conclusions prove.
    let proved = verify(&stage.registry, |_| {}).await.unwrap();
    assert!(proved.sound, "{:?}", proved.first_fault);
}
