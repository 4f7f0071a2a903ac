//! Stored conclusions are a fold of facts, and nobody ever meets a stale one.

use crate::questions::{conclusions, without_position};
use crate::script::Script;
use crate::stage::Stage;
use doseward::registry::rebuild::rebuild;
use doseward::registry::verify::verify;
use doseward::store::derived;
use doseward::store::marks::MarkKind;
use uuid::Uuid;

/// How many steps a history has.
const STEPS: usize = 60;
/// How many conclusions are read before and after the marks are followed.
const READ: usize = 6;

async fn stored(stage: &Stage) -> Vec<(MarkKind, Uuid, String, String)> {
    let mut tx = stage.registry.database.read().await.unwrap();
    let mut all = Vec::new();
    for kind in MarkKind::ALL {
        let rows = derived::all(&mut tx, kind).await.unwrap();
        all.extend(rows.into_iter().map(|(subject, agent, body)| (kind, subject, agent, body)));
    }
    all
}

async fn a_history_rebuilds_to_the_same(seed: u64) {
    let stage = Stage::set().await;
    let mut script = Script::begin(&stage, seed).await;
    for n in 0..STEPS {
        script.step().await;
        if n % 6 == 5 {
            stage.settle().await;
        }
    }
    stage.settle().await;
    let before = stored(&stage).await;
    let rebuilt = rebuild(&stage.registry, |_| {}).await.unwrap();
    let after = stored(&stage).await;
    let differing: Vec<String> = before
        .iter()
        .filter(|row| !after.contains(row))
        .map(|(kind, subject, agent, body)| {
            let now = after.iter().find(|row| (row.0, row.1, &row.2) == (*kind, *subject, agent));
            format!("{kind:?} {subject} {agent}:\n  {body}\n  {}", now.map_or("gone", |row| &row.3))
        })
        .collect();
    assert!(differing.is_empty(), "seed {seed}: {}", differing.join("\n"));
    assert_eq!(before, after, "seed {seed}");
    assert_eq!((rebuilt.differing, rebuilt.first_differing), (0, vec![]), "seed {seed}");
    let found = verify(&stage.registry, |_| {}).await.unwrap();
    assert!(found.sound, "seed {seed}: {:?}", found.first_fault);
}

#[tokio::test]
async fn after_any_history_a_rebuild_gives_the_same_bytes() {
    for seed in 1..=4 {
        a_history_rebuilds_to_the_same(seed).await;
    }
}

#[tokio::test]
async fn a_rebuild_on_a_later_day_finds_no_difference() {
    let stage = Stage::set().await;
    let mut script = Script::begin(&stage, 7).await;
    for _ in 0..STEPS {
        script.step().await;
    }
    stage.settle().await;
    // The service stood still for three days; windows that slid are no fault of what was stored.
    stage.pass(3 * 86_400);
    let rebuilt = rebuild(&stage.registry, |_| {}).await.unwrap();
    assert_eq!((rebuilt.differing, rebuilt.first_differing), (0, vec![]));
}

#[tokio::test]
async fn who_meets_a_mark_reads_the_same_as_who_comes_after_it_was_followed() {
    let stage = Stage::set().await;
    let mut script = Script::begin(&stage, 11).await;
    let mut turn = 0;
    for _ in 0..2 * STEPS {
        script.step().await;
        let all = conclusions(&script.plant);
        let some: Vec<String> = (turn..turn + READ).map(|n| all[n * 7 % all.len()].clone()).collect();
        turn += READ;
        let mut met = Vec::new();
        for address in &some {
            met.push(stage.read("physician", address).await);
        }
        stage.settle().await;
        for (address, met) in some.iter().zip(met) {
            let after = stage.read("physician", address).await;
            let (met, after) = (without_position(&met), without_position(&after));
            assert!(met == after, "{address}: with marks\n{met}\nand after they were followed\n{after}");
        }
    }
}
