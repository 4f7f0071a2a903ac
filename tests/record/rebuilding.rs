//! Stored conclusions are nothing but a fold of facts.

use crate::fresh::{Fresh, by_the_back_door};
use crate::plant;
use doseward::registry::rebuild::rebuild;
use doseward::registry::verify::verify;
use doseward::registry::writer::Registry;
use doseward::store::derived;
use doseward::store::marks::MarkKind;

const TABLES: [&str; 4] = ["group_profile", "control_verdict", "worker_shifts", "worker_summary"];

async fn settled() -> (Fresh, Registry) {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    plant::history(&registry).await;
    registry.settle().await.unwrap();
    (fresh, registry)
}

async fn stored(registry: &Registry) -> Vec<(uuid::Uuid, String, String)> {
    let mut tx = registry.database.read().await.unwrap();
    let mut all = Vec::new();
    for kind in MarkKind::ALL {
        let of_kind = derived::all(&mut tx, kind).await.unwrap();
        assert!(!of_kind.is_empty(), "the plant's history gives a {}", kind.as_str());
        all.extend(of_kind);
    }
    all
}

#[tokio::test]
async fn conclusions_thrown_away_come_back_the_same() {
    let (_fresh, registry) = settled().await;
    let before = stored(&registry).await;
    let rebuilt = rebuild(&registry, |_| {}).await.unwrap();
    assert_eq!((rebuilt.differing, rebuilt.first_differing), (0, vec![]));
    assert_eq!(usize::try_from(rebuilt.rows).unwrap(), before.len());
    assert_eq!(stored(&registry).await, before);
    assert!(verify(&registry, |_| {}).await.unwrap().sound);
}

#[tokio::test]
async fn a_stored_conclusion_that_was_changed_is_found_and_mended() {
    let (_fresh, registry) = settled().await;
    for table in TABLES {
        by_the_back_door(&registry.database, format!("UPDATE {table} SET body = replace(body, ':', ': ')"))
            .await;
        let found = verify(&registry, |_| {}).await.unwrap();
        let fault = found.first_fault.unwrap_or_else(|| panic!("{table} was changed"));
        assert!(fault.what.starts_with("the stored"), "{}", fault.what);
        let rebuilt = rebuild(&registry, |_| {}).await.unwrap();
        assert_eq!(rebuilt.differing, 1, "{table}");
        assert!(verify(&registry, |_| {}).await.unwrap().sound);
    }
}

#[tokio::test]
async fn a_conclusion_that_is_marked_as_stale_is_no_fault() {
    let (_fresh, registry) = settled().await;
    by_the_back_door(&registry.database, "UPDATE group_profile SET body = '{}'").await;
    by_the_back_door(
        &registry.database,
        "INSERT INTO mark (kind, subject_id, agent_code, wanted) \
         SELECT 'profile', group_id, agent_code, position FROM group_profile",
    )
    .await;
    assert!(verify(&registry, |_| {}).await.unwrap().sound);
}
