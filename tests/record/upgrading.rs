//! A registry of an earlier schema, and one of a later: the first is brought up to date, the second is refused.

use crate::fresh::{Fresh, by_the_back_door};
use crate::plant;
use doseward::model::facts::worker::RecordRequest;
use doseward::registry::place::Under;
use doseward::registry::verify::verify;
use doseward::store::backend::Database;
use doseward::store::error::StoreError;
use doseward::store::open::newest_schema;
use serde_json::json;

/// Takes back what the migrations after the first brought: no fact of the small plant stands in it.
const BACK_TO_THE_FIRST: &[&str] = &[
    "DROP TABLE record_request",
    "DROP INDEX letter_parent",
    "DROP INDEX exposure_limit_agent",
    "ALTER TABLE exposure_limit DROP COLUMN agent_code",
    "DROP TABLE authority_clause",
    "DROP TABLE legal_hold",
    "DROP TABLE disposal",
    "DROP TABLE access_head",
    "DROP TABLE signing_key",
    "DROP TABLE blinding_secret",
    "DROP INDEX access_line_place",
    "DROP INDEX access_line_scope",
    "ALTER TABLE access_line DROP COLUMN client",
    "ALTER TABLE access_line DROP COLUMN purpose",
    "ALTER TABLE access_line DROP COLUMN place",
    "ALTER TABLE access_line DROP COLUMN digest",
    "DROP TABLE session",
    "DROP TABLE second_factor",
    "DROP TABLE sign_in_code",
    "DROP TABLE known_device",
    "DROP TABLE failed_attempt",
    "DROP TABLE draft",
    "DROP TABLE original_file",
    "DROP TABLE original_bytes",
    "DROP TABLE hand_over",
    "DROP TABLE taken_over",
    "DROP TABLE journal_gap",
    "DROP TABLE key_announcement",
    "DELETE FROM _sqlx_migrations WHERE version > 1",
];

async fn applied(database: &Database) -> Vec<i64> {
    let sql = "SELECT version FROM _sqlx_migrations ORDER BY version";
    let rows: Vec<(i64,)> = match database {
        Database::Sqlite(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
        Database::Postgres(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
    };
    rows.into_iter().map(|(version,)| version).collect()
}

#[tokio::test]
async fn a_registry_of_the_first_schema_is_brought_up_to_date_with_everything_in_it() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let known = plant::history(&registry).await;
    registry.settle().await.unwrap();
    let before = verify(&registry, |_| {}).await.unwrap();
    for sql in BACK_TO_THE_FIRST {
        by_the_back_door(&registry.database, *sql).await;
    }
    assert_eq!(applied(&registry.database).await, [1]);
    registry.database.close().await;

    let registry = fresh.registry().await;
    assert_eq!(applied(&registry.database).await, [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]);
    let after = verify(&registry, |_| {}).await.unwrap();
    assert!(after.sound, "{:?}", after.first_fault);
    assert_eq!((after.entries, after.chains), (before.entries, before.chains));
    // What the new table is for works.
    let request = json!({"received_on": "2026-02-27", "from": "worker", "what": "All of it."});
    plant::record::<RecordRequest>(&registry, Under::Worker, Some(known.worker), request).await.unwrap();
    assert!(verify(&registry, |_| {}).await.unwrap().sound);
}

#[tokio::test]
async fn a_schema_newer_than_the_program_is_refused_and_who_runs_already_goes_on() {
    let fresh = Fresh::make().await;
    let running = fresh.registry().await;
    let later = match &running.database {
        Database::Sqlite(_) => "x'00'",
        Database::Postgres(_) => "'\\x00'",
    };
    by_the_back_door(&running.database, "CREATE TABLE of_a_later_release (id BIGINT)").await;
    by_the_back_door(
        &running.database,
        format!(
            "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) \
             VALUES (9999, 'later', TRUE, {later}, 0)"
        ),
    )
    .await;
    let newest = newest_schema();
    match Database::open(&fresh.url).await {
        Err(StoreError::Unfit(sentence)) => assert_eq!(
            sentence,
            format!(
                "the registry's schema is newer than this program: it holds migration 9999, and {newest} is the last \
                 one known here"
            )
        ),
        other => panic!("{other:?}"),
    }
    // An instance of the release before, while the next one is being brought in.
    plant::history(&running).await;
    assert!(verify(&running, |_| {}).await.unwrap().sound);
}

#[tokio::test]
async fn a_migration_that_is_not_the_one_known_here_is_refused() {
    let fresh = Fresh::make().await;
    let database = fresh.open().await;
    let other = crate::fresh::bytes(&database, &[0; 48]);
    by_the_back_door(&database, format!("UPDATE _sqlx_migrations SET checksum = {other} WHERE version = 1"))
        .await;
    database.close().await;
    match Database::open(&fresh.url).await {
        Err(StoreError::Unfit(sentence)) => {
            assert_eq!(
                sentence,
                "migration 1 of the registry's schema is not the one that this program knows"
            );
        }
        other => panic!("{other:?}"),
    }
}
