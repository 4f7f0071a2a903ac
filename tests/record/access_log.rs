//! The running digest of the access log: it forks under no load, finds every change, and takes in what an earlier release wrote.

use crate::fresh::{self, Fresh, by_the_back_door};
use crate::plant::{self, caller};
use doseward::model::facts::account::Role;
use doseward::model::identifiers::WorkerId;
use doseward::registry::reading::Read;
use doseward::registry::verify::{Verification, verify};
use doseward::registry::writer::Registry;
use doseward::store::access_log;
use std::sync::Arc;
use uuid::Uuid;

fn read(n: u128) -> Read {
    Read {
        request: "GET /a/{test}".into(),
        worker: n.is_multiple_of(2).then(|| WorkerId(Uuid::from_u128(n))),
        scope: (!n.is_multiple_of(2)).then(|| format!("test {n}")),
        position: 1,
        workers: 1,
        client: Some("192.0.2.1".into()),
        purpose: n.is_multiple_of(3).then(|| "a test".into()),
    }
}

async fn note(registry: &Registry, n: u128) {
    registry.note_reading(&caller(Role::Corporate, None), read(n)).await.unwrap();
}

async fn verified(registry: &Registry) -> Verification {
    verify(registry, |_| {}).await.unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn many_readers_and_writers_at_once_leave_one_chain() {
    let fresh = Fresh::make().await;
    // Two pools, as of two processes.
    let registries = [fresh.registry_of_the_machine().await, fresh.registry_of_the_machine().await];
    let registries = registries.map(Arc::new);
    let mut tasks = Vec::new();
    for n in 0..8_u128 {
        let registry = Arc::clone(&registries[usize::from(!n.is_multiple_of(2))]);
        tasks.push(tokio::spawn(async move {
            for k in 0..12 {
                note(&registry, 100 * n + k).await;
            }
            if n < 2 {
                plant::site(&registry, &format!("S{n}")).await;
            }
        }));
    }
    for task in tasks {
        task.await.unwrap();
    }
    let found = verified(&registries[0]).await;
    assert!(found.sound, "{:?}", found.first_fault);
    assert_eq!((found.access_log.lines, found.access_log.without_place), (96, 0));
}

#[tokio::test]
async fn every_column_of_every_line_is_guarded() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    for n in 0..4 {
        note(&registry, n).await;
    }
    assert!(verified(&registry).await.sound);
    let database = &registry.database;
    for name in ["access_line", "access_head"] {
        by_the_back_door(database, format!("CREATE TABLE kept_{name} AS SELECT * FROM {name}")).await;
    }
    let other = fresh::id(database, Uuid::from_u128(99));
    let wrong = fresh::bytes(database, &[5; 32]);
    let flips = [
        format!("id = {other}"),
        "at = (SELECT min(k.at) FROM kept_access_line k WHERE k.place <> access_line.place)".to_owned(),
        format!("account_id = {other}"),
        "request = request || 'x'".to_owned(),
        format!("worker_id = {other}"),
        "scope = COALESCE(scope, '') || 'x'".to_owned(),
        "position = position + 1".to_owned(),
        "workers = workers + 1".to_owned(),
        "client = NULL".to_owned(),
        "purpose = COALESCE(purpose, '') || 'x'".to_owned(),
        "place = place + 1000".to_owned(),
        "place = NULL".to_owned(),
        format!("digest = {wrong}"),
        "digest = NULL".to_owned(),
    ];
    for place in 1..=4 {
        let changes = flips.iter().map(|flip| format!("UPDATE access_line SET {flip} WHERE place = {place}"));
        let dropped = format!("DELETE FROM access_line WHERE place = {place}");
        for sql in changes.chain([dropped]) {
            by_the_back_door(database, &*sql).await;
            let fault = verified(&registry).await.first_fault.unwrap_or_else(|| panic!("not found: {sql}"));
            assert_eq!(fault.chain.as_deref(), Some("access-log"), "{sql}");
            // Of the last line only the head tells that it is missing.
            let named =
                fault.what.contains(&format!("line {place} ")) || (place == 4 && fault.what.contains("head"));
            assert!(named, "{sql}: {}", fault.what);
            let back = "DELETE FROM access_line; INSERT INTO access_line SELECT * FROM kept_access_line";
            by_the_back_door(database, back).await;
        }
    }
    for set in ["lines = lines + 1".to_owned(), "lines = lines - 1".to_owned(), format!("digest = {wrong}")] {
        by_the_back_door(database, format!("UPDATE access_head SET {set}")).await;
        assert!(!verified(&registry).await.sound, "{set}");
        by_the_back_door(
            database,
            "DELETE FROM access_head; INSERT INTO access_head SELECT * FROM kept_access_head",
        )
        .await;
    }
    assert!(verified(&registry).await.sound);
}

#[tokio::test]
async fn lines_of_an_earlier_release_are_taken_in_on_the_next_start() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    note(&registry, 0).await;
    let database = &registry.database;
    for n in [11, 12, 13_u128] {
        // As the release before writes a line.
        let sql = format!(
            "INSERT INTO access_line (id, at, account_id, request, worker_id, scope, position, workers) \
             VALUES ({0}, '2026-03-01T0{1}:00:00.123456+00:00', {0}, 'GET /before', {0}, NULL, 1, 1)",
            fresh::id(database, Uuid::from_u128(n)),
            // Not in the order of their identifiers.
            20 - n,
        );
        by_the_back_door(database, sql).await;
    }
    let found = verified(&registry).await;
    assert_eq!((found.sound, found.access_log.lines, found.access_log.without_place), (true, 1, 3));
    assert_eq!(registry.take_in_lines().await.unwrap(), 3);
    assert_eq!(registry.take_in_lines().await.unwrap(), 0);
    note(&registry, 1).await;
    let found = verified(&registry).await;
    assert_eq!((found.sound, found.access_log.lines, found.access_log.without_place), (true, 5, 0));
    let mut tx = database.read().await.unwrap();
    let ids: Vec<u128> =
        access_log::placed(&mut tx, 1, 3).await.unwrap().iter().map(|one| one.line.id.as_u128()).collect();
    assert_eq!(ids, [13, 12, 11], "in order of time");
}
